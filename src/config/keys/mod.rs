//! The one table of legal keys: meaning, form, range, default and example of
//! each. What is refused, what is taken where nothing is written, and what
//! `config/reference.toml` says all come from here, so that they cannot differ.

mod alert;
mod delivery;
mod machine;
mod modbus;
mod probe;
mod series;
mod service;
mod site;
mod source;

use std::fmt;
use std::time::Duration;

pub use alert::{ALERT, CONTACT, DIGESTS, DigestWord, LANGUAGES, MEAL_PERIOD, SCALES, SHIFT};
pub use delivery::{HEARTBEAT, MAIL, METHODS, PUBLISH, SECURITIES, WEBHOOK};
pub use machine::{KINDS, LIMIT_SOURCES, MACHINE, RINSE_FROMS, ROUNDINGS, SANITIZINGS};
pub use modbus::{
    FUNCTIONS, MODBUS, MODBUS_REGISTER, MODBUS_RTU, MODBUS_TCP, MODBUS_UNIT, PRESETS, REGISTER_TYPES,
    WORD_ORDERS,
};
pub use probe::{
    ACCURACY, CALIBRATION, CLASSES, ClassWord, PLACES, PROBE, ROLES, RoleWord, SIGNALS, SignalWord,
    THERMOCOUPLES,
};
pub use series::{READINGS, ReadingsWord, SERIES};
pub use service::{SERVICE, WEB};
pub use site::{LEDGER, SITE};
pub use source::{
    FORMATS, MQTT, PARITIES, PAYLOADS, PayloadWord, REPLAY, SERIAL, SOURCE, SOURCE_KINDS, SUBSCRIPTION,
    SourceWord, VERSIONS,
};

use super::text;

/// One legal key.
#[derive(Debug)]
pub struct Key {
    /// Its name.
    pub name: &'static str,
    /// What a value looks like and how far it may go.
    pub form: Form,
    /// What holds where the key is not given.
    pub default: Default,
    /// A legal value as TOML, for the reference.
    pub example: &'static str,
    /// What it means, in sentences.
    pub meaning: &'static str,
}

/// What holds where a key is not given.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Default {
    /// The key must be given.
    Required,
    /// This value, written as in a file but without quotes.
    Value(&'static str),
    /// It follows from other keys, in these words.
    Follows(&'static str),
    /// The thing is then absent, in these words.
    Absent(&'static str),
}

/// What a value looks like and how far it may go; both ends are legal.
#[derive(Clone, Copy, Debug)]
pub enum Form {
    /// Text that is not empty.
    Text,
    /// A path; a relative one counts from the directory of the file that names it.
    Path,
    /// Path of a file that only the service may read.
    Secret,
    /// A list of paths of files that only the service may read.
    Secrets,
    /// `true` or `false`.
    Flag,
    /// A whole number.
    Integer {
        /// Smallest.
        min: u64,
        /// Largest.
        max: u64,
    },
    /// A number; its unit stands in the key.
    Number {
        /// Smallest.
        min: f64,
        /// Largest.
        max: f64,
    },
    /// A duration with its unit.
    Duration {
        /// Shortest.
        min: Duration,
        /// Longest.
        max: Duration,
    },
    /// A duration with its unit, or `"off"`.
    DurationOrOff {
        /// Shortest.
        min: Duration,
        /// Longest.
        max: Duration,
    },
    /// A temperature with its unit.
    Temperature {
        /// Lowest, °C.
        min_c: f64,
        /// Highest, °C.
        max_c: f64,
    },
    /// A difference of temperatures with its unit.
    Difference {
        /// Lowest, K.
        min_k: f64,
        /// Highest, K.
        max_k: f64,
    },
    /// One of these words.
    Choice(&'static [&'static str]),
    /// A list of names.
    Names,
    /// The address of a register, counted from 0.
    Register,
    /// A list of values of a register, each with a word behind it or none.
    Values,
    /// Hours of the week, a list of spans.
    Hours,
    /// A day.
    Date,
    /// A time of the clock.
    Time,
    /// A table of keys of its own.
    Table(&'static [Key]),
    /// A list of tables, each with keys of its own.
    Tables(&'static [Key]),
}

impl fmt::Display for Form {
    /// What would fit, for people: `a duration such as "10s", from 1s to 1h`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Text => f.write_str("text that is not empty"),
            Self::Path => f.write_str("a path"),
            Self::Secret => f.write_str("path of a file that others may not read"),
            Self::Secrets => f.write_str("a list of paths of files that others may not read"),
            Self::Flag => f.write_str("true or false"),
            Self::Integer { min, max } => write!(f, "a whole number from {min} to {max}"),
            Self::Number { min, max } => write!(f, "a number from {min} to {max}"),
            Self::Duration { min, max } => {
                write!(f, "a duration with its unit, \"{}\" to \"{}\"", of(*min), of(*max))
            }
            Self::DurationOrOff { min, max } => {
                write!(f, "a duration with its unit, \"{}\" to \"{}\", or \"off\"", of(*min), of(*max))
            }
            Self::Temperature { min_c, max_c } => write!(
                f,
                "a temperature with its unit, such as \"82.2 °C\" or \"180 °F\", {min_c} °C to {max_c} °C"
            ),
            Self::Difference { min_k, max_k } => {
                write!(f, "a difference with its unit, such as \"0.5 °C\", {min_k} °C to {max_k} °C")
            }
            Self::Choice(words) => {
                f.write_str("one of ")?;
                for (index, word) in words.iter().enumerate() {
                    write!(f, "{}\"{word}\"", if index == 0 { "" } else { ", " })?;
                }
                Ok(())
            }
            Self::Names => f.write_str("a list of names"),
            Self::Register => f.write_str(
                "a whole number from 0 to 65535, counted from 0; one from 30001 to 49999 as \"0x9c41\"",
            ),
            Self::Values => f.write_str("a list of values such as [\"-32768\", \"0x7fff open-circuit\"]"),
            Self::Hours => f.write_str("hours such as [\"mon-fri 07:00-15:30\"]"),
            Self::Time => f.write_str("a time from \"00:00\" to \"23:59\""),
            Self::Date => f.write_str("a day such as \"2026-03-01\""),
            Self::Table(_) => f.write_str("a table"),
            Self::Tables(_) => f.write_str("a list of tables"),
        }
    }
}

fn of(duration: Duration) -> String {
    text::of_duration(duration)
}

/// The words of a table of words and what they stand for.
const fn words<T: Copy, const N: usize>(table: &[(&'static str, T); N]) -> [&'static str; N] {
    let mut words = [""; N];
    let mut index = 0;
    while index < N {
        words[index] = table[index].0;
        index += 1;
    }
    words
}

/// Keys at the top of a file.
pub const TOP: [&str; 16] = [
    "site",
    "ledger",
    "service",
    "web",
    "machine",
    "probe",
    "source",
    "series",
    "contact",
    "alert",
    "shift",
    "meal-period",
    "mail",
    "webhook",
    "publish",
    "heartbeat",
];

const fn millis(millis: u64) -> Duration {
    Duration::from_millis(millis)
}

const fn secs(secs: u64) -> Duration {
    Duration::from_secs(secs)
}

const fn days(days: u64) -> Duration {
    Duration::from_secs(days * 86_400)
}
