//! The command line of what people enter: checks, notes, amendments, and what is due.

use clap::{Args, Subcommand};

use super::people::scale;
use super::{ConfigArgs, Moment};
use crate::core::reader::{Language, Scale};
use crate::core::record::Supply;
use crate::core::units::Celsius;

/// Arguments of `enter`.
#[derive(Args, Debug)]
pub struct EnterArgs {
    /// What.
    #[command(subcommand)]
    pub entry: EnterCommand,
}

/// What is entered.
#[derive(Subcommand, Debug)]
pub enum EnterCommand {
    /// Concentration of the sanitizer, by a test kit; judged at once.
    Sanitizer(SanitizerArgs),
    /// A look at detergent, rinse additive and sanitizer.
    Supply(SupplyArgs),
    /// The machine was drained and cleaned.
    DrainAndClean(DrainAndCleanArgs),
    /// A thermometer or a probe was compared with a reference; judged at once.
    Thermometer(ThermometerArgs),
    /// Something that is to be on record.
    Note(NoteArgs),
    /// What is to be known of an earlier record; the record itself stays as it is.
    Amendment(Box<AmendmentArgs>),
    /// Show which checks are due or overdue now.
    Due(DueArgs),
}

/// What every entry needs.
#[derive(Args, Debug)]
pub struct EntryArgs {
    /// Who made it: name or initials.
    #[arg(long, value_name = "NAME")]
    pub by: String,
    /// When it was made, where not just now: 14:30 of today, «yesterday 14:30», a date and time of the
    /// site, or RFC 3339.
    #[arg(long, value_name = "TIME")]
    pub at: Option<Moment>,
    /// It was made more than 31 days ago and is entered only now.
    #[arg(long, requires = "at")]
    pub late: bool,
    /// Configuration.
    #[command(flatten)]
    pub config: ConfigArgs,
    /// How to answer.
    #[command(flatten)]
    pub answer: AnswerArgs,
}

/// How to answer.
#[derive(Args, Debug, Clone, Copy)]
pub struct AnswerArgs {
    /// Language of the answer: en or es.
    #[arg(long, value_name = "LANGUAGE", default_value = "en")]
    pub language: Language,
    /// Scale of temperatures in the answer: c or f.
    #[arg(long, value_name = "SCALE", value_parser = scale, default_value = "c")]
    pub scale: Scale,
    /// Print what was recorded as JSON, in °C.
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `enter supply`.
#[derive(Args, Debug)]
pub struct SupplyArgs {
    /// Name of the machine.
    #[arg(value_name = "MACHINE")]
    pub machine: String,
    /// Something is short and was not filled up: detergent, rinse-additive, sanitizer, test-strips, several with a
    /// comma; what is none of these goes into the note.
    #[arg(long, value_name = "WHAT", num_args = 0.., require_equals = true, value_delimiter = ',')]
    pub short: Option<Vec<Supply>>,
    /// What was refilled, or is short beside that.
    #[arg(long, value_name = "TEXT")]
    pub note: Option<String>,
    /// The entry.
    #[command(flatten)]
    pub entry: EntryArgs,
}

/// Arguments of `enter drain-and-clean`.
#[derive(Args, Debug)]
pub struct DrainAndCleanArgs {
    /// Name of the machine.
    #[arg(value_name = "MACHINE")]
    pub machine: String,
    /// What was found.
    #[arg(long, value_name = "TEXT")]
    pub note: Option<String>,
    /// The entry.
    #[command(flatten)]
    pub entry: EntryArgs,
}

/// Arguments of `enter sanitizer`.
#[derive(Args, Debug)]
pub struct SanitizerArgs {
    /// Name of the machine.
    #[arg(value_name = "MACHINE")]
    pub machine: String,
    /// Concentration, mg/L (ppm on a test strip).
    #[arg(long, value_name = "NUMBER", value_parser = number, allow_negative_numbers = true)]
    pub mg_per_l: f64,
    /// pH, where it was measured.
    #[arg(long, value_name = "NUMBER", value_parser = number, allow_negative_numbers = true)]
    pub ph: Option<f64>,
    /// Temperature of the solution, such as 49C or 120F, where it was measured.
    #[arg(long, value_name = "TEMPERATURE", value_parser = temperature, allow_hyphen_values = true)]
    pub solution: Option<Celsius>,
    /// How it was measured.
    #[arg(long, value_name = "METHOD", value_parser = ["strip", "titration", "meter"])]
    pub method: Option<String>,
    /// The entry.
    #[command(flatten)]
    pub entry: EntryArgs,
}

/// Arguments of `enter thermometer`.
#[derive(Args, Debug)]
pub struct ThermometerArgs {
    /// Name of the machine; `all` is the whole site.
    #[arg(value_name = "MACHINE")]
    pub machine: String,
    /// What was compared: a probe by its channel, a gauge or a hand thermometer by its name.
    #[arg(long, value_name = "NAME")]
    pub what: String,
    /// What it showed, such as 0.4C or 180F.
    #[arg(long, value_name = "TEMPERATURE", value_parser = temperature, allow_hyphen_values = true)]
    pub shown: Celsius,
    /// What the reference showed.
    #[arg(long, value_name = "TEMPERATURE", value_parser = temperature, allow_hyphen_values = true)]
    pub should: Celsius,
    /// The reference: `ice bath`, a thermometer with its number.
    #[arg(long, value_name = "NAME")]
    pub reference: String,
    /// Largest difference that is still good, such as 1.5C or 3F; 1.5 °C for a device in water
    /// (Food Code 4-203.12) where not given.
    #[arg(long, value_name = "DIFFERENCE", value_parser = difference)]
    pub tolerance: Option<f64>,
    /// It is a thermometer for food: 1 °C (Food Code 4-203.11) where no tolerance is given.
    #[arg(long, conflicts_with = "tolerance")]
    pub food: bool,
    /// The entry.
    #[command(flatten)]
    pub entry: EntryArgs,
}

/// Arguments of `enter note`.
#[derive(Args, Debug)]
pub struct NoteArgs {
    /// Name of the machine it is about, then the text; the text alone is about the whole site.
    #[arg(value_name = "[MACHINE] TEXT", num_args = 1..=2, required = true)]
    pub words: Vec<String>,
    /// The entry.
    #[command(flatten)]
    pub entry: EntryArgs,
}

/// Arguments of `enter amendment`.
#[derive(Args, Debug)]
pub struct AmendmentArgs {
    /// Number of the record it is about.
    #[arg(value_name = "RECORD")]
    pub record: u64,
    /// Why.
    #[arg(long, value_name = "TEXT")]
    pub reason: String,
    /// The check or note was entered by mistake: it counts no more.
    #[arg(long)]
    pub withdraw: bool,
    /// The right values of a check, in place of --withdraw; without either it is a comment.
    #[command(flatten)]
    pub right: CorrectionArgs,
    /// Who says so: name or initials.
    #[arg(long, value_name = "NAME")]
    pub by: String,
    /// Configuration.
    #[command(flatten)]
    pub config: ConfigArgs,
    /// How to answer.
    #[command(flatten)]
    pub answer: AnswerArgs,
}

/// The right values of a check; what is not given stays as it was entered.
#[derive(Args, Debug)]
#[group(id = "right", multiple = true, conflicts_with = "withdraw")]
pub struct CorrectionArgs {
    /// When the check was made: RFC 3339, or a date and time of the site.
    #[arg(long, value_name = "TIME")]
    pub at: Option<Moment>,
    /// Concentration, mg/L.
    #[arg(long, value_name = "NUMBER", value_parser = number, allow_negative_numbers = true)]
    pub mg_per_l: Option<f64>,
    /// pH.
    #[arg(long, value_name = "NUMBER", value_parser = number, allow_negative_numbers = true)]
    pub ph: Option<f64>,
    /// Temperature of the solution.
    #[arg(long, value_name = "TEMPERATURE", value_parser = temperature, allow_hyphen_values = true)]
    pub solution: Option<Celsius>,
    /// How it was measured.
    #[arg(long, value_name = "METHOD", value_parser = ["strip", "titration", "meter"])]
    pub method: Option<String>,
    /// Whether the supplies were there or filled up.
    #[arg(long, value_name = "BOOL")]
    pub enough: Option<bool>,
    /// What of them was short, as in `enter supply`.
    #[arg(long, value_name = "WHAT", num_args = 0.., require_equals = true, value_delimiter = ',')]
    pub short: Option<Vec<Supply>>,
    /// The note.
    #[arg(long, value_name = "TEXT")]
    pub note: Option<String>,
    /// What the thermometer showed.
    #[arg(long, value_name = "TEMPERATURE", value_parser = temperature, allow_hyphen_values = true)]
    pub shown: Option<Celsius>,
    /// What the reference showed.
    #[arg(long, value_name = "TEMPERATURE", value_parser = temperature, allow_hyphen_values = true)]
    pub should: Option<Celsius>,
}

/// Arguments of `enter due`.
#[derive(Args, Debug)]
pub struct DueArgs {
    /// Only at this machine.
    #[arg(value_name = "MACHINE")]
    pub machine: Option<String>,
    /// Configuration.
    #[command(flatten)]
    pub config: ConfigArgs,
    /// Language of the answer: en or es.
    #[arg(long, value_name = "LANGUAGE", default_value = "en")]
    pub language: Language,
    /// One JSON object a check, one a line.
    #[arg(long)]
    pub json: bool,
}

#[derive(Debug, thiserror::Error)]
pub(super) enum QuantityError {
    #[error("a number such as 100 or 7.2")]
    Number,
    #[error("a temperature with its unit, such as 49C or 120F")]
    Temperature,
    #[error("a difference with its unit, such as 1.5C or 3F")]
    Difference,
}

/// What is no number at all has no form in an order; what cannot be measured is refused with its range.
fn number(text: &str) -> Result<f64, QuantityError> {
    text.parse().ok().filter(|number: &f64| number.is_finite()).ok_or(QuantityError::Number)
}

pub(super) fn temperature(text: &str) -> Result<Celsius, QuantityError> {
    crate::config::text::temperature(text).map_err(|_| QuantityError::Temperature)
}

fn difference(text: &str) -> Result<f64, QuantityError> {
    crate::config::text::difference(text).map_err(|_| QuantityError::Difference)
}
