//! Checks that were due and not made in time, day by day.
//!
//! They are those that the account of an export names, by the same reckoning: what an alert found missing, and by
//! which entry it was made after all. A check belongs to the day on which it was due. What was due before a span and not
//! entered when it began is listed at its end.

use jiff::civil::Date;

use super::story::put;
use super::words::check_word;
use crate::core::address::escaped;
pub use crate::core::logbook::MissedSummed;
use crate::core::reader::Reader;
use crate::core::record::CheckKind;
use crate::core::time::Timestamp;
use crate::core::wall_clock::day_begins;
use crate::web::frame::said;

/// Most lines of one page, whole days but for one that alone has more (own choice: a few screens of a desk).
pub const LINES_MAX: usize = 200;

/// A check that was missed.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct MissedLine {
    /// The day of the site on which it was due.
    pub day: Date,
    /// When it was due.
    pub due: Timestamp,
    /// Its machine; `None` is the whole site.
    pub machine: Option<String>,
    /// Its kind, by its word.
    pub check: String,
    /// The alert that found it missing.
    pub alert: u64,
    /// When that closed; absent while it is open.
    pub closed: Option<Timestamp>,
    /// Whether the next of its kind was missed too: no entry can make this one any more.
    pub missed_on: bool,
    /// How it was made after all.
    pub made: Option<MadeLate>,
}

/// How a missed check was made after all.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct MadeLate {
    /// Record of its entry.
    pub record: u64,
    /// When it was made.
    pub at: Timestamp,
    /// When it came on record.
    pub recorded: Timestamp,
    /// When the correction came on record by which it counts.
    pub corrected: Option<Timestamp>,
    /// Whether it failed, as it counts now.
    pub failed: bool,
}

/// A day of missed checks in words.
pub(super) struct MissedDay {
    pub(super) day: String,
    pub(super) lines: Vec<MissedTold>,
}

/// A missed check in words.
pub(super) struct MissedTold {
    pub(super) check: String,
    pub(super) machine: String,
    /// The day of its machine.
    pub(super) to: Option<String>,
    pub(super) due: String,
    /// What became of it.
    pub(super) became: String,
    /// Whether it was made after all, and did not fail.
    pub(super) made: bool,
    /// Record of its entry.
    pub(super) entry: Option<u64>,
    pub(super) alert: u64,
}

/// The lines by day, as they come.
pub(super) fn by_day(lines: &[MissedLine], reader: &Reader) -> Vec<MissedDay> {
    let days = lines.chunk_by(|one, other| one.day == other.day);
    let told = |lines: &[MissedLine]| MissedDay {
        day: lines.first().map(|line| day_of(line.day, reader)).unwrap_or_default(),
        lines: lines.iter().map(|line| told(line, reader)).collect(),
    };
    days.map(told).collect()
}

fn day_of(day: Date, reader: &Reader) -> String {
    reader.day(day_begins(day, &reader.zone))
}

fn told(line: &MissedLine, reader: &Reader) -> MissedTold {
    let language = reader.language;
    let kind = CheckKind::named(&line.check);
    let site = said(language, "the whole site", "toda la cocina");
    MissedTold {
        check: kind.map_or_else(|| line.check.clone(), |kind| check_word(kind, language).to_owned()),
        machine: line.machine.as_deref().unwrap_or(site).to_owned(),
        to: line.machine.as_deref().map(|machine| format!("machines/{}?day={}", escaped(machine), line.day)),
        due: due(line, reader),
        became: became(line, reader),
        made: line.made.is_some_and(|made| !made.failed),
        entry: line.made.map(|made| made.record),
        alert: line.alert,
    }
}

fn due(line: &MissedLine, reader: &Reader) -> String {
    let at = reader.with_article(reader.clock_and_zone(line.due));
    put(reader.language, ("due {at}", "pendiente desde {at}"), &[("at", &at)])
}

/// Whether it was entered after all, and how late.
fn became(line: &MissedLine, reader: &Reader) -> String {
    let language = reader.language;
    let near = |at: Timestamp| reader.near(at, line.due);
    let closed = line.closed.filter(|_| !line.missed_on);
    match (line.made, closed) {
        (Some(MadeLate { at, recorded, corrected, failed, .. }), _) => {
            let failing = (
                "entered late, and FAILED: made {at}, on record {recorded}",
                "anotado tarde, y NO CUMPLIÓ (hecho: {at}; en el registro: {recorded})",
            );
            let passing = (
                "entered late: made {at}, on record {recorded}",
                "anotado tarde (hecho: {at}; en el registro: {recorded})",
            );
            let pair = if failed { failing } else { passing };
            let recorded = match corrected {
                None => near(recorded),
                Some(corrected) => put(
                    language,
                    ("{recorded}, corrected {corrected}", "{recorded}, corregido: {corrected}"),
                    &[("recorded", &near(recorded)), ("corrected", &near(corrected))],
                ),
            };
            put(language, pair, &[("at", &near(at)), ("recorded", &recorded)])
        }
        (None, Some(closed)) => {
            let pair =
                ("NOT ENTERED; its alert closed {closed}", "NO ANOTADO (cierre de su alerta: {closed})");
            put(language, pair, &[("closed", &near(closed))])
        }
        (None, None) if line.missed_on => said(
            language,
            "NOT ENTERED before the next was due",
            "NO ANOTADO antes de que tocara el siguiente",
        )
        .to_owned(),
        (None, None) => said(language, "NOT ENTERED so far", "NO ANOTADO hasta ahora").to_owned(),
    }
}
