//! What is typed into the forms of the logbook, and what of it can be true.

use std::collections::BTreeMap;

use jiff::tz::TimeZone;
use serde::{Deserialize, Serialize};

use super::supplies::{Looked, looked, ticked};
use crate::core::cycle::plate::Sanitizing;
use crate::core::logbook::{
    self, Impossible, MG_PER_L, NAME_BYTES_MAX, PH, SOLUTION_C, THERMOMETER_C, method,
};
use crate::core::reader::{Language, Reader, Scale};
use crate::core::record::Supply;
use crate::core::sanitizer::strip_colours;
use crate::core::time::Timestamp;
use crate::core::units::Celsius;
use crate::web::form::clock::{Which, instant, which};
use crate::web::form::{Fault, Field, number, optional, text};

/// Longest note, in characters (own choice: a few lines; the record takes 4,000 bytes).
pub(super) const NOTE_CHARS_MAX: usize = 1_000;
/// Longest name of one press of a button.
const ONCE_CHARS_MAX: usize = 64;

/// What is sent of any check. A browser leaves out what was not chosen.
#[derive(Serialize, Deserialize, Default, Debug)]
#[serde(default)]
pub(in crate::web) struct Sent {
    pub(super) machine: String,
    pub(super) strip: String,
    pub(super) mg_per_l: String,
    pub(super) ph: String,
    pub(super) solution: String,
    pub(super) enough: String,
    pub(super) note: String,
    pub(super) what: String,
    pub(super) other: String,
    pub(super) shown: String,
    pub(super) right: String,
    pub(super) reference: String,
    pub(super) device: String,
    pub(super) at: String,
    pub(super) offset: String,
    pub(super) late: String,
    pub(super) once: String,
    /// What of the supplies was ticked as short, see [`Sent::take_ticks`].
    #[serde(skip_deserializing)]
    pub(super) short: Vec<Supply>,
    /// What the form does not know: it was made by another version, or by hand.
    #[serde(flatten)]
    pub(super) unknown: BTreeMap<String, String>,
}

impl Sent {
    /// Reads the ticks of a look at the supplies, which no other form has.
    pub(super) fn take_ticks(&mut self) {
        self.short = ticked(&mut self.unknown);
    }
}

/// The form of a check as it is shown.
#[derive(Default, Debug)]
pub(super) struct Fields {
    pub(super) machine: Field,
    pub(super) strip: String,
    pub(super) mg_per_l: Field,
    pub(super) ph: Field,
    pub(super) solution: Field,
    pub(super) enough: Field,
    pub(super) short: Vec<Supply>,
    pub(super) note: Field,
    pub(super) what: Field,
    pub(super) other: Field,
    pub(super) shown: Field,
    pub(super) right: Field,
    pub(super) reference: Field,
    pub(super) device: Field,
    pub(super) at: Field,
    pub(super) offset: String,
    pub(super) late: bool,
    pub(super) once: String,
    /// Whether another thermometer than a probe is meant, which is then named here.
    pub(super) is_other: bool,
    /// Whether something was sent, which stays where it is asked again.
    pub(super) is_sent: bool,
    /// Why the whole was refused.
    pub(super) refused: Option<String>,
}

impl From<&Sent> for Fields {
    fn from(sent: &Sent) -> Self {
        let with = |text: &String| Field::with(text.as_str());
        Self {
            machine: with(&sent.machine),
            strip: sent.strip.clone(),
            mg_per_l: with(&sent.mg_per_l),
            ph: with(&sent.ph),
            solution: with(&sent.solution),
            enough: with(&sent.enough),
            short: sent.short.clone(),
            note: with(&sent.note),
            what: with(&sent.what),
            other: with(&sent.other),
            shown: with(&sent.shown),
            right: with(&sent.right),
            reference: with(&sent.reference),
            device: with(&sent.device),
            at: with(&sent.at),
            offset: sent.offset.clone(),
            late: !sent.late.is_empty(),
            once: sent.once.chars().take(ONCE_CHARS_MAX).collect(),
            is_other: sent.what.is_empty() || !sent.other.is_empty(),
            is_sent: true,
            refused: None,
        }
    }
}

impl Fields {
    /// Whether somebody looks at more than the big field: the rest is then shown open.
    pub(super) fn wants_more(&self) -> bool {
        let used = |field: &Field| !field.value.is_empty() || field.fault.is_some();
        used(&self.ph) || used(&self.solution)
    }

    /// Whether the form itself is wanted, and not first which thermometer is meant.
    pub(super) const fn is_asked_for(&self) -> bool {
        self.is_other || self.is_sent
    }

    /// Whether it is said to have been made earlier.
    pub(super) fn is_earlier(&self) -> bool {
        self.late || !self.at.value.is_empty()
    }

    /// The concentration, mg/L, and whether the strip says it: by its colour, or as a number. Two that differ are
    /// none, since nobody but who looked at the strip knows which is right; nor is a colour that the strip of the
    /// machine has not.
    pub(super) fn strength(&mut self, reader: &Reader, of: Option<Sanitizing>) -> Option<(f64, bool)> {
        let read = |typed: &str| within(typed, MG_PER_L, |value| value);
        let tapped = read(&self.strip).and_then(|strip| match strip.zip(of) {
            Some((strip, of)) if method::colour(strip, of).is_err() => {
                Err(Fault::NoColour(strip, strip_colours(of)))
            }
            Some(_) | None => Ok(strip),
        });
        let found = match (tapped, read(&self.mg_per_l.value)) {
            (Err(fault), _) | (_, Err(fault)) => Err(fault),
            (Ok(Some(strip)), Ok(Some(typed))) if strip.total_cmp(&typed).is_ne() => {
                Err(Fault::NotTheStrip(strip, typed))
            }
            (Ok(Some(strip)), Ok(_)) => Ok((strip, true)),
            (Ok(None), Ok(Some(typed))) => Ok((typed, false)),
            (Ok(None), Ok(None)) => Err(Fault::Missing),
        };
        self.mg_per_l.take(found, reader.language)
    }

    /// The pH, where one was measured; the outer `None` where it cannot be.
    pub(super) fn ph(&mut self, reader: &Reader) -> Option<Option<f64>> {
        let found = within(&self.ph.value, PH, |value| value);
        self.ph.take(found, reader.language)
    }

    /// The temperature of the solution, °C, as the pH.
    pub(super) fn solution(&mut self, reader: &Reader) -> Option<Option<f64>> {
        let found = temperature(&self.solution.value, SOLUTION_C, reader.scale);
        self.solution.take(found, reader.language)
    }

    /// What a thermometer and its reference showed, °C.
    pub(super) fn compared(&mut self, reader: &Reader) -> Option<(f64, f64)> {
        let read = |field: &mut Field| {
            let found = temperature(&field.value, THERMOMETER_C, reader.scale);
            field.take(found.and_then(|value| value.ok_or(Fault::Missing)), reader.language)
        };
        let (shown, right) = (read(&mut self.shown), read(&mut self.right));
        shown.zip(right)
    }

    /// The note; the outer `None` where it cannot be.
    pub(super) fn note(&mut self, reader: &Reader) -> Option<Option<String>> {
        let found = optional(&self.note.value, NOTE_CHARS_MAX);
        self.note.take(found, reader.language)
    }

    /// What a look at the supplies found, and its note.
    pub(super) fn looked(&mut self, note: Option<String>, language: Language) -> Option<Looked> {
        let found = looked(&self.enough.value, &self.short, note);
        let field = if found == Err(Fault::NothingShort) { &mut self.note } else { &mut self.enough };
        field.take(found, language)
    }

    /// A name in a field.
    pub(super) fn name(field: &mut Field, reader: &Reader) -> Option<String> {
        let found = text(&field.value, NAME_BYTES_MAX).and_then(|name| {
            if name.len() > NAME_BYTES_MAX {
                Err(Fault::TooLong(NAME_BYTES_MAX))
            } else if name.contains(['\n', '\t']) {
                Err(Fault::Control)
            } else {
                Ok(name)
            }
        });
        field.take(found, reader.language)
    }

    /// When it was made: `now` where nothing else is said.
    pub(super) fn made(&mut self, reader: &Reader, now: Timestamp) -> Option<Timestamp> {
        let found = made((&self.at.value, &self.offset), &reader.zone, now, self.late);
        self.at.take(found, reader.language)
    }

    /// The two times that the one which was typed may be; none where it is only one.
    pub(super) fn twice(&self, reader: &Reader) -> Vec<Which> {
        which(&self.at.value, &self.offset, &reader.zone, reader.language)
    }
}

/// A time of the site's clock as a browser sends it, with the offset that tells two of one name apart; `now` where
/// none was given.
pub(super) fn made(
    (typed, offset): (&str, &str),
    zone: &TimeZone,
    now: Timestamp,
    late: bool,
) -> Result<Timestamp, Fault> {
    let typed = typed.trim();
    if typed.is_empty() {
        return Ok(now);
    }
    let at = instant(typed, offset, zone)?;
    match logbook::time(at, now, late) {
        Ok(()) => Ok(at),
        Err(Impossible::Future { .. }) => Err(Fault::Future),
        // Of a time nothing else is said.
        Err(
            Impossible::TooOld { .. }
            | Impossible::OutOfRange { .. }
            | Impossible::NoColour { .. }
            | Impossible::NotChemical
            | Impossible::Both
            | Impossible::Missing { .. }
            | Impossible::TooLong { .. }
            | Impossible::ControlCharacter { .. },
        ) => Err(Fault::TooOld),
    }
}

pub(super) fn within(
    typed: &str,
    range: std::ops::RangeInclusive<f64>,
    shown: impl Fn(f64) -> f64,
) -> Result<Option<f64>, Fault> {
    match number(typed)? {
        Some(value) if !range.contains(&value) => {
            Err(Fault::Outside(shown(*range.start()), shown(*range.end())))
        }
        value => Ok(value),
    }
}

/// A temperature on the scale of the reader, in °C.
pub(super) fn temperature(
    typed: &str,
    range: std::ops::RangeInclusive<f64>,
    scale: Scale,
) -> Result<Option<f64>, Fault> {
    let celsius = |value: f64| match scale {
        Scale::Celsius => value,
        Scale::Fahrenheit => Celsius::from_fahrenheit(value).0,
    };
    match number(typed)?.map(celsius) {
        Some(value) if !range.contains(&value) => {
            Err(Fault::Outside(scale.temperature(*range.start()), scale.temperature(*range.end())))
        }
        value => Ok(value),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Daylight saving time in New York ended on 2026-11-01 at 06:00 UTC (Energy Policy Act of 2005, §110): half
    // past one came twice.
    #[test]
    fn times_are_those_of_the_site() {
        let york = TimeZone::get("America/New_York").expect("the zone data is built in");
        let now: Timestamp = "2026-11-01T18:00:00Z".parse().expect("a time");
        let at = |text: &str| text.parse::<Timestamp>().expect("a time");
        for (typed, late, expected) in [
            ("", false, Ok(now)),
            ("2026-11-01T12:30", false, Ok(at("2026-11-01T17:30:00Z"))),
            ("2026-11-01T01:30", false, Err(Fault::Twice)),
            ("2026-11-01T13:30", false, Err(Fault::Future)),
            ("2026-09-01T12:00", false, Err(Fault::TooOld)),
            ("2026-09-01T12:00", true, Ok(at("2026-09-01T16:00:00Z"))),
            ("yesterday", false, Err(Fault::NotATime)),
        ] {
            assert_eq!(made((typed, ""), &york, now, late), expected, "{typed}");
        }
    }

    // 32 °F = 0 °C and 212 °F = 100 °C, by definition of the scales (NIST SP 811, B.8).
    #[test]
    fn temperatures_are_read_on_the_scale_of_the_reader() {
        assert_eq!(temperature("32", SOLUTION_C, Scale::Fahrenheit), Ok(Some(0.0)));
        assert_eq!(temperature("213", SOLUTION_C, Scale::Fahrenheit), Err(Fault::Outside(32.0, 212.0)));
        assert_eq!(temperature("49,5", SOLUTION_C, Scale::Celsius), Ok(Some(49.5)));
    }
}
