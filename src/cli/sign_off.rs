//! The command line of `sign-off`.

use std::path::PathBuf;

use clap::Args;

use super::ConfigArgs;
use super::people::scale;
use crate::core::reader::{Language, Scale};

/// Arguments of `sign-off`.
#[derive(Args, Debug)]
pub struct SignOffArgs {
    /// Name of the machine.
    #[arg(value_name = "MACHINE")]
    pub machine: String,
    /// Who signs.
    #[arg(long, value_name = "NAME", required_unless_present = "sheet_only")]
    pub by: Option<String>,
    /// What is to be known beside it.
    #[arg(long, value_name = "TEXT")]
    pub note: Option<String>,
    /// The test cycle, by the number of its record; the newest one since the wiring was proved and
    /// the probes were calibrated where not given.
    #[arg(long, value_name = "RECORD")]
    pub cycle: Option<u64>,
    /// The open points are known and accepted; they go on record as such.
    #[arg(long)]
    pub open_points_are_known: bool,
    /// Write the sheet for paper to this file, as HTML.
    #[arg(long, value_name = "FILE")]
    pub out: Option<PathBuf>,
    /// Write over what stands at --out.
    #[arg(long, requires = "out")]
    pub force: bool,
    /// Show or print the sheet of an earlier sign-off again, by the number of its record.
    #[arg(
        long,
        value_name = "RECORD",
        conflicts_with_all = ["by", "note", "cycle", "open_points_are_known", "yes"]
    )]
    pub sheet_only: Option<u64>,
    /// Sign without being asked.
    #[arg(long)]
    pub yes: bool,
    /// Language of the sheet: en or es.
    #[arg(long, value_name = "LANGUAGE", default_value = "en")]
    pub language: Language,
    /// Scale of temperatures on the sheet: c or f.
    #[arg(long, value_name = "SCALE", value_parser = scale, default_value = "c")]
    pub scale: Scale,
    /// Print what is signed as JSON, in °C.
    #[arg(long)]
    pub json: bool,
    /// Configuration.
    #[command(flatten)]
    pub config: ConfigArgs,
}
