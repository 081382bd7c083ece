//! The command line of keeping the record: holds.

use clap::{Args, Subcommand};

use super::{ConfigArgs, LedgerArgs};

/// Arguments of `hold`.
#[derive(Args, Debug)]
pub struct HoldArgs {
    /// What to do with it.
    #[command(subcommand)]
    pub command: HoldCommand,
}

/// What to do with a lawful hold.
#[derive(Subcommand, Debug)]
pub enum HoldCommand {
    /// Keep all readings, however old, until the hold is ended; in force over restarts.
    On(HoldChangeArgs),
    /// End every hold: readings are pruned by their age again.
    Off(HoldChangeArgs),
    /// Show whether a hold is in force, by whom, why and since when.
    Status(HoldStatusArgs),
}

/// Arguments of `hold on` and `hold off`.
#[derive(Args, Debug)]
pub struct HoldChangeArgs {
    /// Who asked for it and why, such as the number of a case.
    #[arg(long, value_name = "TEXT")]
    pub reason: String,
    /// Who says so.
    #[arg(long, value_name = "NAME")]
    pub by: String,
    /// Configuration.
    #[command(flatten)]
    pub config: ConfigArgs,
    /// Print what was recorded as JSON.
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `hold status`.
#[derive(Args, Debug)]
pub struct HoldStatusArgs {
    /// Where to read.
    #[command(flatten)]
    pub from: LedgerArgs,
    /// One JSON object.
    #[arg(long)]
    pub json: bool,
}
