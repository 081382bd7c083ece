//! A time of the site's clock as a form sends it, and which of two it is.
//!
//! Of one that the clock showed twice it is asked which is meant, and the answer is its offset from UTC, see
//! [`crate::core::wall_clock`].

use jiff::civil::DateTime;
use jiff::tz::{Offset, TimeZone};

use super::Fault;
use crate::core::reader::{Language, Reader, said};
use crate::core::time::Timestamp;
use crate::core::wall_clock::{self, Unclear};

/// One of the two times that a clock showed as one.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(in crate::web) struct Which {
    /// Its offset, as the form sends it.
    pub(in crate::web) offset: String,
    /// The same in words.
    pub(in crate::web) shown: String,
    /// Whether it is the chosen one.
    pub(in crate::web) chosen: bool,
}

/// A moment as a form has it, to the minute.
pub(in crate::web) fn local(reader: &Reader, at: Timestamp) -> String {
    let at = jiff::Timestamp::from_microsecond(at.micros()).unwrap_or_default();
    at.to_zoned_datetime(reader.zone.clone()).strftime("%Y-%m-%dT%H:%M").to_string()
}

/// The instant of a time of the clock, which may carry the offset that tells two of one name apart.
pub(in crate::web) fn instant(typed: &str, offset: &str, zone: &TimeZone) -> Result<Timestamp, Fault> {
    let local: DateTime = typed.trim().parse().map_err(|_| Fault::NotATime)?;
    chosen(local, offset, zone).map_err(|unclear| match unclear {
        Unclear::Skipped { last, next } => Fault::Skipped(last, next),
        Unclear::Twice { .. } => Fault::Twice,
        Unclear::Beyond => Fault::NotATime,
    })
}

/// The instant of a time of the clock, with the offset as a form sends it, such as `-04`.
///
/// # Errors
/// As [`wall_clock::instant`].
pub(in crate::web) fn chosen(local: DateTime, offset: &str, zone: &TimeZone) -> Result<Timestamp, Unclear> {
    let found = wall_clock::instant(local, None, zone);
    let Err(Unclear::Twice { before, after }) = found else { return found };
    let meant = [before, after].into_iter().find(|one| one.to_string() == offset.trim());
    wall_clock::instant(local, meant, zone)
}

/// The two times that this one may be; none where it is only one.
pub(in crate::web) fn which(typed: &str, offset: &str, zone: &TimeZone, language: Language) -> Vec<Which> {
    let Ok(local) = typed.trim().parse::<DateTime>() else { return Vec::new() };
    let Err(Unclear::Twice { before, after }) = wall_clock::instant(local, None, zone) else {
        return Vec::new();
    };
    let of = |one: Offset, word: &str| {
        let instant = one.to_timestamp(local).unwrap_or_default();
        let name = instant.to_zoned_datetime(zone.clone()).strftime("%Z").to_string();
        let chosen = one.to_string() == offset.trim();
        Which { offset: one.to_string(), shown: format!("{word}: {name} (UTC{one})"), chosen }
    };
    vec![
        of(before, said(language, "the first, before the clocks went back", "la primera, antes del cambio")),
        of(after, said(language, "the second, after it", "la segunda, después del cambio")),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    // Energy Policy Act of 2005, §110: New York's clocks went back at 2 o'clock on 2026-11-01. Lord Howe Island's go
    // back by half an hour (tz database, Australasia).
    #[test]
    fn of_a_time_that_came_twice_both_are_offered() {
        let of = |zone: &str, typed: &str, offset: &str| -> Vec<(String, bool)> {
            let zone = TimeZone::get(zone).expect("the zone data is built in");
            let choices = which(typed, offset, &zone, Language::English);
            choices.into_iter().map(|one| (one.shown, one.chosen)).collect()
        };
        let shown = of("America/New_York", "2026-11-01T01:30", "-05");
        assert!(shown[0].0.contains("EDT (UTC-04)") && shown[1].0.contains("EST (UTC-05)"), "{shown:?}");
        assert_eq!([shown[0].1, shown[1].1], [false, true]);
        assert_eq!(of("Australia/Lord_Howe", "2026-04-05T01:45", "").len(), 2);
        for typed in ["2026-11-26T12:30", "2026-03-08T02:30", "soon"] {
            assert!(of("America/New_York", typed, "").is_empty(), "{typed}");
        }
    }
}
