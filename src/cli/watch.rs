//! The command line of `watch`.

use clap::Args;

use super::ConfigArgs;
use super::people::scale;
use crate::core::reader::{Language, Scale};

/// Arguments of `watch`.
#[derive(Args, Debug)]
pub struct WatchArgs {
    /// Configuration.
    #[command(flatten)]
    pub config: ConfigArgs,
    /// Only the probes of this machine; may be given more than once.
    #[arg(long = "machine", value_name = "NAME")]
    pub machines: Vec<String>,
    /// Only this probe, `<machine>/<probe>`; may be given more than once.
    #[arg(long = "probe", value_name = "NAME")]
    pub probes: Vec<String>,
    /// End by itself after N seconds; goes on until it is stopped where not given.
    #[arg(long, value_name = "N")]
    pub seconds: Option<u64>,
    /// Scale of the temperatures: c or f. JSON is always in °C.
    #[arg(long, value_name = "SCALE", value_parser = scale, default_value = "c")]
    pub scale: Scale,
    /// Language of what is shown: en or es.
    #[arg(long, value_name = "LANGUAGE", default_value = "en")]
    pub language: Language,
    /// Print lines where a terminal would get the full view.
    #[arg(long, conflicts_with = "json")]
    pub plain: bool,
    /// Every event as one JSON object, one a line, as it comes.
    #[arg(long)]
    pub json: bool,
}
