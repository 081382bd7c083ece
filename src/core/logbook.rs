//! The logbook: what people enter, refused where it cannot be true and judged where it can.
//!
//! [`admit`] says whether an entry is possible at all, [`judge`] whether what was found is
//! good, and `words` puts both into the language of whoever stands at the machine. Commands
//! and pages use the same three. A failed check is a true entry: it is judged, never refused.
//!
//! | check | good where | source |
//! |---|---|---|
//! | sanitizer | concentration, pH and, where measured, temperature fit together | Food Code 4-501.114, ceiling of [`Rules`](super::sanitizer::Rules) (label, 40 CFR 180.940) |
//! | thermometer | it differs by no more than its tolerance | see [`Device`] |
//! | supply | everything was there or was filled up | common practice, no source |
//! | drain and clean | not judged: it says that something was done | Food Code 4-501.14 asks for the cleaning |
//!
//! A check made on a hot-water machine with a test kit for chemicals is not judged either.
//! What was entered long after it was made is taken, since a late truth is better than none;
//! its record holds both times, and [`lateness`] tells every reader of it.

mod field;
mod judge;
mod lacking;
pub mod method;
mod missed;
mod missed_summed;
#[cfg(test)]
mod tests;
pub mod words;

use std::ops::RangeInclusive;
use std::time::Duration;

pub use self::field::Field;
pub use self::judge::{Finding, Judgement, judge, judge_known};
pub use self::lacking::Lacking;
pub use self::missed::Missed;
pub use self::missed_summed::MissedSummed;
use super::cycle::plate::Sanitizing;
use super::food_code::{Printed, Rounding};
use super::record::{AmendmentChange, Check};
use super::time::Timestamp;

/// How far a clock at the machine may be ahead of the gateway's (own choice: two clocks on a wall).
pub const AHEAD_MAX: Duration = Duration::from_secs(120);
/// An entry made later than this after its check is a late one (own choice: a break in between).
pub const LATE_AFTER: Duration = Duration::from_secs(15 * 60);
/// The oldest check that can be entered without saying that it is meant (own choice: a wrong month
/// or year is a slip of the hand).
pub const OLDEST: Duration = Duration::from_secs(31 * 86_400);
/// Longest text, in bytes (own choice: a page of writing).
pub const TEXT_BYTES_MAX: usize = 4_000;
/// Longest name of a person, a device or a method, in bytes (own choice).
pub const NAME_BYTES_MAX: usize = 200;
/// Concentrations that a test kit can show, mg/L (own choice: five times the strongest label for ware).
pub const MG_PER_L: RangeInclusive<f64> = 0.0..=2_000.0;
/// pH of water (definition of the scale, as far as a test kit shows it).
pub const PH: RangeInclusive<f64> = 0.0..=14.0;
/// Temperature of a solution in an open tank, °C: it neither freezes nor boils.
pub const SOLUTION_C: RangeInclusive<f64> = 0.0..=100.0;
/// What a thermometer near a dish machine may show, °C (own choice: a cold store to a booster under pressure).
pub const THERMOMETER_C: RangeInclusive<f64> = -40.0..=150.0;
/// Tolerances that can be meant, °C (own choice).
pub const TOLERANCE_C: RangeInclusive<f64> = 0.05..=5.0;

/// What kind of thermometer was checked: it decides the tolerance that the Food Code asks for.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub enum Device {
    /// In water or air: a machine's gauge, a probe. ±1.5 °C, or ±3 °F (4-203.12).
    #[default]
    Water,
    /// In food: ±1 °C, or ±2 °F (4-203.11).
    Food,
}

impl Device {
    /// The largest permitted difference, °C. 4-203.11 and 4-203.12 print a figure for devices
    /// that show °C and a wider one for those that show only °F.
    #[must_use]
    pub fn tolerance_c(self, rounding: Rounding) -> f64 {
        let printed = match self {
            Self::Water => Printed { celsius: 1.5, fahrenheit: 3.0 },
            Self::Food => Printed { celsius: 1.0, fahrenheit: 2.0 },
        };
        let fahrenheit = printed.fahrenheit / 1.8;
        match rounding {
            Rounding::Stricter => printed.celsius.min(fahrenheit),
            Rounding::Celsius => printed.celsius,
            Rounding::Fahrenheit => fahrenheit,
        }
    }
}

/// Why an entry cannot be true, or says nothing. Nothing is recorded then.
#[derive(Clone, PartialEq, Debug, thiserror::Error)]
pub enum Impossible {
    /// A number outside what can be.
    #[error("{what} {} cannot be: it lies from {} to {}", readable(*value, range), range.start(), range.end())]
    OutOfRange {
        /// Which, with its unit.
        what: Field,
        /// What was entered.
        value: f64,
        /// What can be.
        range: RangeInclusive<f64>,
    },
    /// Made in the future.
    #[error("{at} has not come yet: the gateway's clock shows {now}")]
    Future {
        /// When it is said to have been made.
        at: Timestamp,
        /// The gateway's time.
        now: Timestamp,
    },
    /// Made longer ago than [`OLDEST`].
    #[error("{at} is more than {} days ago", OLDEST.as_secs() / 86_400)]
    TooOld {
        /// When it is said to have been made.
        at: Timestamp,
    },
    /// A concentration that no colour of a test strip stands for, though it is said to be read from one.
    #[error(
        "no colour of this machine's test strip stands for {mg_per_l} mg/L: they stand for {}",
        listed(colours)
    )]
    NoColour {
        /// What was entered, mg/L.
        mg_per_l: f64,
        /// What its colours stand for, mg/L.
        colours: &'static [f64],
    },
    /// Something is short, and everything is there.
    #[error("everything was there, and something is named that is short")]
    Both,
    /// A concentration of a machine that has none.
    #[error("this machine sanitizes by hot water: no concentration counts on it")]
    NotChemical,
    /// An empty text where one is needed.
    #[error("{what} is missing")]
    Missing {
        /// Which.
        what: Field,
    },
    /// A text that is too long.
    #[error("{what} is longer than {max} bytes")]
    TooLong {
        /// Which.
        what: Field,
        /// Longest, in bytes.
        max: usize,
    },
    /// A text with characters that no hand writes and some terminals obey.
    #[error("{what} holds a control character")]
    ControlCharacter {
        /// Which.
        what: Field,
    },
}

impl Impossible {
    /// Which value of the entry it is about.
    #[must_use]
    pub const fn field(&self) -> Field {
        match self {
            Self::Future { .. } | Self::TooOld { .. } => Field::At,
            Self::NoColour { .. } => Field::MgPerL,
            Self::Both => Field::Short,
            Self::NotChemical => Field::Machine,
            Self::OutOfRange { what, .. }
            | Self::Missing { what }
            | Self::TooLong { what, .. }
            | Self::ControlCharacter { what } => *what,
        }
    }
}

/// Numbers behind one another, as people read them.
#[must_use]
pub fn listed(numbers: &[f64]) -> String {
    numbers.iter().map(f64::to_string).collect::<Vec<_>>().join(", ")
}

/// Whether a check can have been made as it is entered at `now`. `sanitizing` is that of its
/// machine; absent for a check of the whole site. `late` says that an old one is meant.
///
/// # Errors
/// [`Impossible`], with the first thing that is wrong.
pub fn admit(
    check: &Check,
    sanitizing: Option<Sanitizing>,
    now: Timestamp,
    late: bool,
) -> Result<(), Impossible> {
    possible(check, sanitizing, now, late)?;
    sanitizing.map_or(Ok(()), |sanitizing| method::still_a_colour(None, check, sanitizing))
}

/// Whether a check that was `recorded` then and counted as `was` can have been made as it is corrected: as [`admit`],
/// however long ago, but that a strip's number that stays as it was needs no colour.
///
/// # Errors
/// [`Impossible`], with the first thing that is wrong.
pub fn admit_correction(
    was: &Check,
    check: &Check,
    sanitizing: Option<Sanitizing>,
    recorded: Timestamp,
) -> Result<(), Impossible> {
    possible(check, sanitizing, recorded, true)?;
    sanitizing.map_or(Ok(()), |sanitizing| method::still_a_colour(Some(was), check, sanitizing))
}

/// What is asked of every check, but the colour of a strip.
fn possible(
    check: &Check,
    sanitizing: Option<Sanitizing>,
    now: Timestamp,
    late: bool,
) -> Result<(), Impossible> {
    time(check.at(), now, late)?;
    match check {
        Check::Sanitizer { mg_per_l, ph, solution_c, method, by, .. } => {
            if sanitizing == Some(Sanitizing::HotWater) {
                return Err(Impossible::NotChemical);
            }
            number(Field::MgPerL, *mg_per_l, MG_PER_L)?;
            ph.map_or(Ok(()), |ph| number(Field::Ph, ph, PH))?;
            solution_c.map_or(Ok(()), |solution| number(Field::SolutionC, solution, SOLUTION_C))?;
            method.as_deref().map_or(Ok(()), |method| name(Field::Method, method))?;
            name(Field::By, by)
        }
        Check::Supply { enough: true, short, .. } if !short.is_empty() => Err(Impossible::Both),
        Check::Supply { note, by, .. } | Check::DrainAndClean { note, by, .. } => {
            note.as_deref().map_or(Ok(()), |note| text(Field::Note, note))?;
            name(Field::By, by)
        }
        Check::Thermometer { what, shown_c, reference_c, tolerance_c, reference, by, .. } => {
            name(Field::What, what)?;
            number(Field::ShownC, *shown_c, THERMOMETER_C)?;
            number(Field::ReferenceC, *reference_c, THERMOMETER_C)?;
            number(Field::ToleranceC, *tolerance_c, TOLERANCE_C)?;
            name(Field::Reference, reference)?;
            name(Field::By, by)
        }
    }
}

/// Whether something can have been done at `at`, as it is entered at `now`. `late` says that an
/// old one is meant.
///
/// # Errors
/// [`Impossible::Future`] beyond [`AHEAD_MAX`], [`Impossible::TooOld`] beyond [`OLDEST`].
pub fn time(at: Timestamp, now: Timestamp, late: bool) -> Result<(), Impossible> {
    if at > now.plus(AHEAD_MAX) {
        Err(Impossible::Future { at, now })
    } else if at < now.minus(OLDEST) && !late {
        Err(Impossible::TooOld { at })
    } else {
        Ok(())
    }
}

/// Whether a name can stand in the record: one line of 1 to [`NAME_BYTES_MAX`] bytes.
///
/// # Errors
/// [`Impossible`], which says why not.
pub fn name(what: Field, name: &str) -> Result<(), Impossible> {
    written(what, name, NAME_BYTES_MAX)?;
    if name.contains(['\n', '\t']) { Err(Impossible::ControlCharacter { what }) } else { Ok(()) }
}

/// Whether a text can stand in the record: 1 to [`TEXT_BYTES_MAX`] bytes of writing, in lines.
///
/// # Errors
/// [`Impossible`], which says why not.
pub fn text(what: Field, text: &str) -> Result<(), Impossible> {
    written(what, text, TEXT_BYTES_MAX)
}

fn written(what: Field, text: &str, max: usize) -> Result<(), Impossible> {
    if text.trim().is_empty() {
        Err(Impossible::Missing { what })
    } else if text.len() > max {
        Err(Impossible::TooLong { what, max })
    } else if text.contains(|c: char| c.is_control() && c != '\n' && c != '\t') {
        Err(Impossible::ControlCharacter { what })
    } else {
        Ok(())
    }
}

/// A value outside its range as people read one: two decimals, or all where it would look permitted.
fn readable(value: f64, range: &RangeInclusive<f64>) -> String {
    let rounded = (value * 100.0).round() / 100.0;
    if range.contains(&rounded) { value.to_string() } else { rounded.to_string() }
}

fn number(what: Field, value: f64, range: RangeInclusive<f64>) -> Result<(), Impossible> {
    if range.contains(&value) { Ok(()) } else { Err(Impossible::OutOfRange { what, value, range }) }
}

/// How long after it was made a check or a note came on record, where that is more than [`LATE_AFTER`].
#[must_use]
pub fn lateness(at: Timestamp, recorded: Timestamp) -> Option<Duration> {
    let late = recorded.since(at);
    (late > LATE_AFTER).then_some(late)
}

/// A check as it counts after all that was said of it, in order, with the record that corrects it; `None` where
/// it counts no more. The newest withdrawal or correction decides, as in the account of a report.
#[must_use]
pub fn counting<'a>(
    check: &'a Check,
    amendments: impl IntoIterator<Item = (u64, &'a AmendmentChange)>,
) -> Option<(&'a Check, Option<u64>)> {
    let mut stands = Some((check, None));
    for (index, change) in amendments {
        match change {
            AmendmentChange::Comment => {}
            AmendmentChange::Withdrawn => stands = None,
            AmendmentChange::Corrected(corrected) => stands = Some((corrected, Some(index))),
        }
    }
    stands
}
