//! A time of a clock at the wall as an instant: never moved, and never guessed.
//!
//! On the night on which the clocks go forward an hour of the clock never happens, and on the one on which they go
//! back an hour happens twice. Of the second the offset from UTC that held then tells which is meant (RFC 9557 tells
//! the two apart in the same way).

use jiff::Timestamp as Instant;
use jiff::civil::{Date, DateTime, Time};
use jiff::tz::{AmbiguousOffset, Offset, TimeZone};

use crate::core::time::Timestamp;

/// Why a time of the clock is no instant.
#[derive(Clone, Copy, PartialEq, Eq, Debug, thiserror::Error)]
pub enum Unclear {
    /// The clock skipped it.
    #[error("the clocks went forward that night: they showed {} and then {}", minute(*last), minute(*next))]
    Skipped {
        /// The last minute before.
        last: Time,
        /// The first minute after.
        next: Time,
    },
    /// The clock showed it twice.
    #[error("the clocks went back that night: they showed this time at UTC{before} and again at UTC{after}")]
    Twice {
        /// The offset of the first.
        before: Offset,
        /// The offset of the second.
        after: Offset,
    },
    /// It lies beyond all that can be reckoned.
    #[error("it lies thousands of years away")]
    Beyond,
}

/// The instant of a time of the clock in a zone; the offset tells two of one name apart.
///
/// # Errors
/// [`Unclear`] where the clock showed it never, or twice and the offset is none of the two.
pub fn instant(local: DateTime, offset: Option<Offset>, zone: &TimeZone) -> Result<Timestamp, Unclear> {
    let at = |offset: Offset| {
        let instant = offset.to_timestamp(local).map_err(|_| Unclear::Beyond)?;
        Ok(Timestamp::from_micros(instant.as_microsecond()))
    };
    match zone.to_ambiguous_timestamp(local).offset() {
        AmbiguousOffset::Unambiguous { offset } => at(offset),
        AmbiguousOffset::Fold { before, after } => {
            let meant = [before, after].into_iter().find(|one| Some(*one) == offset);
            meant.map_or(Err(Unclear::Twice { before, after }), at)
        }
        AmbiguousOffset::Gap { before, after } => {
            let (last, next) = round(local, before, after, zone).ok_or(Unclear::Beyond)?;
            Err(Unclear::Skipped { last, next })
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

/// The local date of an instant.
#[must_use]
pub fn local_date(zone: &TimeZone, at: Timestamp) -> Option<Date> {
    let instant = Instant::from_microsecond(at.micros()).ok()?;
    Some(zone.to_datetime(instant).date())
}

/// The instant of a local date and time: of one that happens twice the first, and where the clock skips it, as long
/// after the change as it lies in the gap (RFC 5545, 3.3.5).
#[must_use]
pub fn instant_or_next(zone: &TimeZone, date: Date, time: Time) -> Option<Timestamp> {
    let zoned = zone.to_ambiguous_timestamp(date.to_datetime(time)).compatible().ok()?;
    Some(Timestamp::from_micros(zoned.as_microsecond()))
}

/// Where a day begins; where its midnight is skipped, after it.
#[must_use]
pub fn midnight(zone: &TimeZone, day: Date) -> Option<Timestamp> {
    instant_or_next(zone, day, Time::midnight())
}

/// The same; a day that cannot be reckoned never begins.
#[must_use]
pub fn day_begins(day: Date, zone: &TimeZone) -> Timestamp {
    midnight(zone, day).unwrap_or(Timestamp::MAX)
}

/// Where the next day begins.
#[must_use]
pub fn day_ends(day: Date, zone: &TimeZone) -> Timestamp {
    day.tomorrow().ok().and_then(|next| midnight(zone, next)).unwrap_or(Timestamp::MAX)
}

/// A time of the clock to the minute.
#[must_use]
pub fn minute(time: Time) -> String {
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
        let skipped = |last, next| Err(Unclear::Skipped { last, next });
        let hours = jiff::tz::offset;
        let twice = Unclear::Twice { before: hours(-4), after: hours(-5) };
        let (none, half) = (None, Offset::from_seconds(37_800).ok());
        for (zone, typed, offset, expected) in [
            ("America/New_York", "2026-11-26T12:30", none, Ok("2026-11-26T17:30:00Z")),
            ("America/New_York", "2026-03-08T02:30", none, skipped(clock(1, 59), clock(3, 0))),
            ("America/New_York", "2026-03-08T03:00", none, Ok("2026-03-08T07:00:00Z")),
            ("America/New_York", "2026-11-01T01:30", none, Err(twice)),
            ("America/New_York", "2026-11-01T01:30", Some(hours(1)), Err(twice)),
            ("America/New_York", "2026-11-01T01:30", Some(hours(-4)), Ok("2026-11-01T05:30:00Z")),
            ("America/New_York", "2026-11-01T01:30", Some(hours(-5)), Ok("2026-11-01T06:30:00Z")),
            ("Australia/Lord_Howe", "2026-04-05T01:45", half, Ok("2026-04-04T15:15:00Z")),
            ("Australia/Lord_Howe", "2026-10-04T02:10", none, skipped(clock(1, 59), clock(2, 30))),
        ] {
            let zone = TimeZone::get(zone).expect("the zone data is built in");
            let at = |text: &str| text.parse::<Timestamp>().expect("a time");
            let local = typed.parse().expect("a time of the clock");
            assert_eq!(instant(local, offset, &zone), expected.map(at), "{typed} {offset:?}");
        }
        assert!(twice.to_string().ends_with("at UTC-04 and again at UTC-05"), "{twice}");
    }
}
