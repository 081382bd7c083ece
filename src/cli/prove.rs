//! The command line of `prove`.

use clap::Args;

use super::ConfigArgs;
use super::enter::temperature;
use super::people::scale;
use crate::core::reader::{Language, Scale};
use crate::core::units::Celsius;

/// Arguments of `prove`.
#[derive(Args, Debug)]
pub struct ProveArgs {
    /// The machine whose probes are proved.
    #[arg(value_name = "MACHINE")]
    pub machine: String,
    /// Who does it: name or initials.
    #[arg(long, value_name = "NAME")]
    pub by: String,
    /// Configuration.
    #[command(flatten)]
    pub config: ConfigArgs,
    /// The probes in the order in which they are warmed, such as wash,rinse; all of the machine where not given.
    #[arg(long, value_name = "PROBES", value_delimiter = ',')]
    pub order: Vec<String>,
    /// Longest time for each probe, s.
    #[arg(long, value_name = "N", default_value_t = 60, value_parser = clap::value_parser!(u64).range(1..=3600))]
    pub seconds_each: u64,
    /// A cup of warm water is used, of this temperature by a thermometer, such as 45C; a hand where not given.
    #[arg(long, value_name = "TEMPERATURE", value_parser = temperature)]
    pub water: Option<Celsius>,
    /// Go on without asking: somebody warms each probe when it is its turn.
    #[arg(long)]
    pub yes: bool,
    /// Language of what is said: en or es.
    #[arg(long, value_name = "LANGUAGE", default_value = "en")]
    pub language: Language,
    /// Scale of the temperatures that are said: c or f. JSON is always in °C.
    #[arg(long, value_name = "SCALE", value_parser = scale, default_value = "c")]
    pub scale: Scale,
    /// One JSON object with everything that was found; what is to be done is said on standard error.
    #[arg(long)]
    pub json: bool,
}
