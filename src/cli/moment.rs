//! Times as people type them.

use std::str::FromStr;

use jiff::ToSpan;
use jiff::civil::{Date, DateTime, Time};
use jiff::tz::TimeZone;

use crate::core::time::Timestamp;
use crate::core::wall_clock::{self, Unclear};

/// A time that was typed: an instant, or a time of the clock in a zone that is known only later.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Moment {
    /// An instant, given with its offset.
    Instant(Timestamp),
    /// A local date and time.
    Local(DateTime),
    /// A local date: its beginning, or as an end its end.
    Day(Date),
    /// A time of this day, or of one so many days ago.
    Clock {
        /// How many days ago.
        days_ago: i8,
        /// The time; the whole day where none is given.
        time: Option<Time>,
    },
}

impl Moment {
    /// The instant in this zone, with the day of `now` as today.
    ///
    /// # Errors
    /// [`Unclear`] where the clock of the zone showed that time never or twice.
    pub fn in_zone(self, zone: &TimeZone, now: Timestamp) -> Result<Timestamp, Unclear> {
        match self.dated(zone, now) {
            Dated::Instant(instant) => Ok(instant),
            Dated::Local(local) => wall_clock::instant(local, None, zone),
            Dated::Day(day) => Ok(wall_clock::day_begins(day, zone)),
        }
    }

    /// The first instant after a span that ends with this: a date is meant with all its hours.
    ///
    /// # Errors
    /// As [`Moment::in_zone`].
    pub fn end_in_zone(self, zone: &TimeZone, now: Timestamp) -> Result<Timestamp, Unclear> {
        match self.dated(zone, now) {
            Dated::Day(day) => Ok(wall_clock::day_ends(day, zone)),
            Dated::Instant(_) | Dated::Local(_) => self.in_zone(zone, now),
        }
    }

    fn dated(self, zone: &TimeZone, now: Timestamp) -> Dated {
        match self {
            Self::Instant(instant) => Dated::Instant(instant),
            Self::Local(local) => Dated::Local(local),
            Self::Day(day) => Dated::Day(day),
            Self::Clock { days_ago, time } => {
                let Ok(instant) = jiff::Timestamp::from_microsecond(now.micros()) else {
                    return Dated::Instant(now);
                };
                let today = zone.to_datetime(instant).date();
                let day = today.saturating_sub(i32::from(days_ago).days());
                time.map_or(Dated::Day(day), |time| Dated::Local(day.to_datetime(time)))
            }
        }
    }
}

/// A moment whose day is known.
#[derive(Clone, Copy)]
enum Dated {
    Instant(Timestamp),
    Local(DateTime),
    Day(Date),
}

/// A text that is no time.
#[derive(Debug, thiserror::Error)]
#[error("a time such as 14:30, «yesterday 14:30», 2026-11-25, 2026-11-25T14:30 or 2026-11-25T14:30:00+01:00")]
pub struct MomentError;

impl FromStr for Moment {
    type Err = MomentError;

    fn from_str(text: &str) -> Result<Self, MomentError> {
        if let Ok(instant) = text.parse() {
            return Ok(Self::Instant(instant));
        }
        if let Some(clock) = clock(text) {
            return Ok(clock);
        }
        // A date and time reads as a date too; its time must not be lost.
        let day = if text.len() == "2026-11-25".len() { text.parse().ok() } else { None };
        day.map(Self::Day).or_else(|| text.parse().ok().map(Self::Local)).ok_or(MomentError)
    }
}

/// Reads `14:30`, `today`, `yesterday` and `yesterday 14:30`.
fn clock(text: &str) -> Option<Moment> {
    let (days_ago, time) = match text.split_once(' ').unwrap_or((text, "")) {
        ("today", time) => (0, time),
        ("yesterday", time) => (1, time),
        (time, "") if time.contains(':') && time.len() <= "14:30:00".len() => (0, time),
        _ => return None,
    };
    let time = if time.is_empty() { None } else { Some(time.parse().ok()?) };
    Some(Moment::Clock { days_ago, time })
}

#[cfg(test)]
mod tests {
    use super::*;

    // RFC 3339 §5.8 for the first row; for the others the IANA time zone data base: New York skips 02:30 on
    // 2026-03-08 and has 01:30 twice on 2026-11-01.
    #[test]
    fn a_typed_time_is_one_instant_of_its_zone() {
        let zone = TimeZone::get("America/New_York").expect("the zone data base is built in");
        // 2026-03-08, 22:00 in New York; in UTC it is the day after.
        let now = "2026-03-09T02:00:00Z".parse().expect("an instant");
        for (text, instant) in [
            ("1996-12-19T16:39:57-08:00", "1996-12-20T00:39:57Z"),
            ("2026-11-25", "2026-11-25T05:00:00Z"),
            ("2026-07-01T14:30", "2026-07-01T18:30:00Z"),
            ("2026-11-01T01:30:00-05:00", "2026-11-01T06:30:00Z"),
            ("07:05", "2026-03-08T11:05:00Z"),
            ("today 00:30", "2026-03-08T05:30:00Z"),
            ("today", "2026-03-08T05:00:00Z"),
            ("yesterday 14:30", "2026-03-07T19:30:00Z"),
        ] {
            let moment: Moment = text.parse().expect("a time");
            assert_eq!(moment.in_zone(&zone, now).expect("clear").to_string(), instant, "{text}");
        }
        let day: Moment = "2026-03-08".parse().expect("a day of 23 hours");
        assert_eq!(day.end_in_zone(&zone, now).expect("clear").to_string(), "2026-03-09T04:00:00Z");
        let yesterday: Moment = "yesterday".parse().expect("a day");
        assert_eq!(yesterday.end_in_zone(&zone, now).expect("clear").to_string(), "2026-03-08T05:00:00Z");
        let noon: Moment = "2026-03-08 12:00".parse().expect("a time");
        assert_eq!(noon.end_in_zone(&zone, now), noon.in_zone(&zone, now));
        for (text, skipped) in [("2026-03-08 02:30", true), ("2026-11-01T01:30", false)] {
            let moment: Moment = text.parse().expect("a time");
            for found in [moment.in_zone(&zone, now), moment.end_in_zone(&zone, now)] {
                let unclear = found.expect_err("no one instant");
                assert_eq!(matches!(unclear, Unclear::Skipped { .. }), skipped, "{text}: {unclear}");
            }
        }
        for text in ["tomorrow", "25:00", "yesterday noon", "14", "2026-13-01", ""] {
            assert!(text.parse::<Moment>().is_err(), "{text}");
        }
    }
}
