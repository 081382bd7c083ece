//! A time of the site's clock as a form sends it: never moved, and never guessed.
//!
//! On the night on which the clocks go forward an hour of the clock never happens, and on the one on which they go
//! back an hour happens twice. The first is refused with the times round it; of the second it is asked which is
//! meant, and the answer is the offset from UTC that held then (RFC 9557 tells the two apart in the same way).

use jiff::Timestamp as Instant;
use jiff::civil::{DateTime, Time};
use jiff::tz::{AmbiguousOffset, Offset, TimeZone};

use super::Fault;
use crate::core::reader::{Language, said};
use crate::core::time::Timestamp;

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

/// The instant of a time of the clock, which may carry the offset that tells two of one name apart.
pub(in crate::web) fn instant(typed: &str, offset: &str, zone: &TimeZone) -> Result<Timestamp, Fault> {
    let local: DateTime = typed.trim().parse().map_err(|_| Fault::NotATime)?;
    let at = |offset: Offset| {
        let instant = offset.to_timestamp(local).map_err(|_| Fault::NotATime)?;
        Ok(Timestamp::from_micros(instant.as_microsecond()))
    };
    match zone.to_ambiguous_timestamp(local).offset() {
        AmbiguousOffset::Unambiguous { offset } => at(offset),
        AmbiguousOffset::Fold { before, after } => {
            let meant = [before, after].into_iter().find(|one| one.to_string() == offset.trim());
            meant.map_or(Err(Fault::Twice), at)
        }
        AmbiguousOffset::Gap { before, after } => {
            let (last, next) = round(local, before, after, zone).ok_or(Fault::NotATime)?;
            Err(Fault::Skipped(last, next))
        }
    }
}

/// The last minute before a gap of the clock and the first after it.
fn round(local: DateTime, before: Offset, after: Offset, zone: &TimeZone) -> Option<(Time, Time)> {
    // Read with the later offset a time of the gap lies before the change.
    let early: Instant = after.to_timestamp(local).ok()?;
    let change = zone.following(early).next()?.timestamp();
    let minute = jiff::SignedDuration::from_mins(1);
    let last = before.to_datetime(change).checked_sub(minute).ok()?;
    Some((last.time(), after.to_datetime(change).time()))
}

/// The two times that this one may be; none where it is only one.
pub(in crate::web) fn which(typed: &str, offset: &str, zone: &TimeZone, language: Language) -> Vec<Which> {
    let Ok(local) = typed.trim().parse::<DateTime>() else { return Vec::new() };
    let AmbiguousOffset::Fold { before, after } = zone.to_ambiguous_timestamp(local).offset() else {
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

/// A time of the clock to the minute.
pub(super) fn minute(time: Time) -> String {
    time.strftime("%H:%M").to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    // New York: daylight saving time began on 2026-03-08 and ended on 2026-11-01, each at 2 o'clock of the clock
    // (Energy Policy Act of 2005, §110). Lord Howe Island moves by half an hour, on 2026-04-05 back at 2 o'clock
    // and on 2026-10-04 forward (tz database, Australasia).
    #[test]
    fn a_time_is_neither_moved_nor_guessed() {
        let clock = |hour, minute| jiff::civil::time(hour, minute, 0, 0);
        for (zone, typed, offset, expected) in [
            ("America/New_York", "2026-11-26T12:30", "", Ok("2026-11-26T17:30:00Z")),
            ("America/New_York", "2026-03-08T02:30", "", Err(Fault::Skipped(clock(1, 59), clock(3, 0)))),
            ("America/New_York", "2026-03-08T03:00", "", Ok("2026-03-08T07:00:00Z")),
            ("America/New_York", "2026-11-01T01:30", "", Err(Fault::Twice)),
            ("America/New_York", "2026-11-01T01:30", "+01", Err(Fault::Twice)),
            ("America/New_York", "2026-11-01T01:30", "-04", Ok("2026-11-01T05:30:00Z")),
            ("America/New_York", "2026-11-01T01:30", "-05", Ok("2026-11-01T06:30:00Z")),
            ("Australia/Lord_Howe", "2026-04-05T01:45", "+10:30", Ok("2026-04-04T15:15:00Z")),
            ("Australia/Lord_Howe", "2026-10-04T02:10", "", Err(Fault::Skipped(clock(1, 59), clock(2, 30)))),
            ("UTC", "soon", "", Err(Fault::NotATime)),
        ] {
            let zone = TimeZone::get(zone).expect("the zone data is built in");
            let at = |text: &str| text.parse::<Timestamp>().expect("a time");
            assert_eq!(instant(typed, offset, &zone), expected.map(at), "{typed} {offset}");
            let choices = which(typed, offset, &zone, Language::English);
            let two = ["2026-11-01T01:30", "2026-04-05T01:45"].contains(&typed);
            assert_eq!(choices.len(), if two { 2 } else { 0 }, "{typed}");
        }
        let york = TimeZone::get("America/New_York").expect("the zone data is built in");
        let shown: Vec<String> = which("2026-11-01T01:30", "-05", &york, Language::English)
            .into_iter()
            .map(|one| one.shown)
            .collect();
        assert!(shown[0].contains("EDT (UTC-04)") && shown[1].contains("EST (UTC-05)"), "{shown:?}");
    }
}
