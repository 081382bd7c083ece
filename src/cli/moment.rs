//! Times as people type them.

use std::str::FromStr;

use jiff::ToSpan;
use jiff::civil::{Date, DateTime};
use jiff::tz::TimeZone;

use crate::core::time::Timestamp;

/// A time that was typed: an instant, or a time of the clock in a zone that is known only later.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Moment {
    /// An instant, given with its offset.
    Instant(Timestamp),
    /// A local date and time.
    Local(DateTime),
    /// A local date: its beginning, or as an end its end.
    Day(Date),
}

impl Moment {
    /// The instant in this zone. Of a time that happens twice the first is meant; one that never
    /// happens counts by the offset before the change (RFC 5545 §3.3.5).
    #[must_use]
    pub fn in_zone(self, zone: &TimeZone) -> Timestamp {
        match self {
            Self::Instant(instant) => instant,
            Self::Local(local) => instant_of(local, zone),
            Self::Day(day) => instant_of(day.into(), zone),
        }
    }

    /// The first instant after a span that ends with this: a date is meant with all its hours.
    #[must_use]
    pub fn end_in_zone(self, zone: &TimeZone) -> Timestamp {
        match self {
            Self::Day(day) => {
                day.checked_add(1.day()).map_or(Timestamp::MAX, |next| instant_of(next.into(), zone))
            }
            Self::Instant(_) | Self::Local(_) => self.in_zone(zone),
        }
    }
}

fn instant_of(local: DateTime, zone: &TimeZone) -> Timestamp {
    zone.to_ambiguous_timestamp(local)
        .compatible()
        .map_or(Timestamp::MAX, |instant| Timestamp::from_micros(instant.as_microsecond()))
}

/// A text that is no time.
#[derive(Debug, thiserror::Error)]
#[error("a time such as 2026-11-25, 2026-11-25T14:30 or 2026-11-25T14:30:00+01:00")]
pub struct MomentError;

impl FromStr for Moment {
    type Err = MomentError;

    fn from_str(text: &str) -> Result<Self, MomentError> {
        if let Ok(instant) = text.parse() {
            return Ok(Self::Instant(instant));
        }
        // A date and time reads as a date too; its time must not be lost.
        let day = if text.len() == "2026-11-25".len() { text.parse().ok() } else { None };
        day.map(Self::Day).or_else(|| text.parse().ok().map(Self::Local)).ok_or(MomentError)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // RFC 3339 §5.8 for the first row; for the others the rules of RFC 5545 §3.3.5 and of the IANA
    // time zone data base: New York skips 02:30 on 2026-03-08 and has 01:30 twice on 2026-11-01.
    #[test]
    fn a_typed_time_is_one_instant_of_its_zone() {
        let zone = TimeZone::get("America/New_York").expect("the zone data base is built in");
        for (text, instant) in [
            ("1996-12-19T16:39:57-08:00", "1996-12-20T00:39:57Z"),
            ("2026-11-25", "2026-11-25T05:00:00Z"),
            ("2026-07-01T14:30", "2026-07-01T18:30:00Z"),
            ("2026-03-08 02:30", "2026-03-08T07:30:00Z"),
            ("2026-11-01T01:30", "2026-11-01T05:30:00Z"),
        ] {
            let moment: Moment = text.parse().expect("a time");
            assert_eq!(moment.in_zone(&zone).to_string(), instant, "{text}");
        }
        let day: Moment = "2026-03-08".parse().expect("a day of 23 hours");
        assert_eq!(day.end_in_zone(&zone).to_string(), "2026-03-09T04:00:00Z");
        let noon: Moment = "2026-03-08 12:00".parse().expect("a time");
        assert_eq!(noon.end_in_zone(&zone), noon.in_zone(&zone));
        for text in ["yesterday", "2026-13-01", ""] {
            assert!(text.parse::<Moment>().is_err(), "{text}");
        }
    }
}
