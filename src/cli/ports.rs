//! The command line of `ports`.

use std::path::PathBuf;

use clap::Args;

use crate::core::reader::Language;

/// Arguments of `ports`.
#[derive(Args, Debug)]
pub struct PortsArgs {
    /// Configuration file, to say which source uses which port; may be given more than once. Where
    /// not given, /etc/rinseward/gateway.toml if it is there.
    #[arg(long = "config", value_name = "FILE")]
    pub files: Vec<PathBuf>,
    /// A device or a link to look at beside the serial ports of this computer; may be given more than once.
    #[arg(long, value_name = "PATH")]
    pub also: Vec<PathBuf>,
    /// Language of the answer: en or es.
    #[arg(long, value_name = "LANGUAGE", default_value = "en")]
    pub language: Language,
    /// One JSON object.
    #[arg(long)]
    pub json: bool,
}
