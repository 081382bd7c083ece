//! Instants of the record: microseconds of UTC, never a clock.

use std::fmt;
use std::str::FromStr;
use std::time::Duration;

use serde::{Deserialize, Deserializer, Serialize, Serializer, de};

/// An instant in microseconds since 1970-01-01T00:00:00Z (POSIX time, no leap
/// seconds). Printed and serialised as RFC 3339 in UTC.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Timestamp(i64);

/// 9999-12-30T22:00:00Z, the last instant that RFC 3339 can print in every zone.
const MICROS_MAX: i64 = 253_402_207_200_000_000;
/// 0001-01-02T00:00:00Z, see [`MICROS_MAX`].
const MICROS_MIN: i64 = -62_135_510_400_000_000;

impl Timestamp {
    /// The earliest instant a record can hold.
    pub const MIN: Self = Self(MICROS_MIN);
    /// The latest instant a record can hold.
    pub const MAX: Self = Self(MICROS_MAX);

    /// Takes microseconds since the epoch; values outside the years 1 to 9999
    /// are brought to the nearest bound.
    #[must_use]
    pub const fn from_micros(micros: i64) -> Self {
        if micros < MICROS_MIN {
            Self(MICROS_MIN)
        } else if micros > MICROS_MAX {
            Self(MICROS_MAX)
        } else {
            Self(micros)
        }
    }

    /// Takes seconds since the epoch, rounded to the nearest microsecond.
    ///
    /// `None` where the value is not a number or lies outside the years 1 to 9999.
    #[must_use]
    pub fn from_seconds(seconds: f64) -> Option<Self> {
        let micros = (seconds * 1e6).round();
        if !(micros >= MICROS_MIN as f64 && micros <= MICROS_MAX as f64) {
            return None;
        }
        #[expect(clippy::cast_possible_truncation, reason = "the range was checked above")]
        Some(Self(micros as i64))
    }

    /// Microseconds since the epoch.
    #[must_use]
    pub const fn micros(self) -> i64 {
        self.0
    }

    /// Seconds since the epoch; exact to about 0.2 µs for present dates.
    #[must_use]
    pub fn seconds(self) -> f64 {
        self.0 as f64 / 1e6
    }

    /// This instant moved forward, stopping at [`Timestamp::MAX`].
    #[must_use]
    pub fn plus(self, span: Duration) -> Self {
        Self::from_micros(self.0.saturating_add(micros_of(span)))
    }

    /// The next instant that a record can stand at, for the open end of a span that holds this one.
    #[must_use]
    pub fn just_after(self) -> Self {
        self.plus(Duration::from_micros(1))
    }

    /// This instant moved back, stopping at [`Timestamp::MIN`].
    #[must_use]
    pub fn minus(self, span: Duration) -> Self {
        Self::from_micros(self.0.saturating_sub(micros_of(span)))
    }

    /// The first full minute at which this instant is over: itself, or the next one. For what lasts until then
    /// and is told to the minute; every zone in use is whole minutes from UTC (IANA time zone data base).
    #[must_use]
    pub fn full_minute(self) -> Self {
        const MINUTE: i64 = 60_000_000;
        let past = self.0.rem_euclid(MINUTE);
        if past == 0 { self } else { Self::from_micros(self.0.saturating_add(MINUTE - past)) }
    }

    /// Seconds from `earlier` to this instant; negative where it lies before.
    #[must_use]
    pub fn seconds_since(self, earlier: Self) -> f64 {
        (self.0 - earlier.0) as f64 / 1e6
    }

    /// The time from `earlier` to this instant; zero where it lies before.
    #[must_use]
    pub fn since(self, earlier: Self) -> Duration {
        Duration::from_micros(u64::try_from(self.0 - earlier.0).unwrap_or(0))
    }
}

fn micros_of(span: Duration) -> i64 {
    let seconds = i64::try_from(span.as_secs()).unwrap_or(i64::MAX);
    seconds.saturating_mul(1_000_000).saturating_add(i64::from(span.subsec_micros()))
}

impl fmt::Display for Timestamp {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match jiff::Timestamp::from_microsecond(self.0) {
            Ok(instant) => write!(f, "{instant}"),
            Err(_) => write!(f, "{} µs", self.0),
        }
    }
}

impl fmt::Debug for Timestamp {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

impl FromStr for Timestamp {
    type Err = jiff::Error;

    /// Reads RFC 3339 with any offset; digits past the microsecond are cut.
    fn from_str(text: &str) -> Result<Self, jiff::Error> {
        let instant: jiff::Timestamp = text.parse()?;
        Ok(Self::from_micros(instant.as_microsecond()))
    }
}

impl Serialize for Timestamp {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Timestamp {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = std::borrow::Cow::<str>::deserialize(deserializer)?;
        text.parse().map_err(de::Error::custom)
    }
}

/// Serialises an instant as a whole number of microseconds, for states that only the core reads.
pub mod micros {
    use serde::{Deserialize, Deserializer, Serializer};

    use super::Timestamp;

    /// Writes the microseconds.
    ///
    /// # Errors
    /// Those of the serializer.
    pub fn serialize<S: Serializer>(instant: &Timestamp, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_i64(instant.micros())
    }

    /// Reads the microseconds.
    ///
    /// # Errors
    /// Those of the deserializer.
    pub fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Timestamp, D::Error> {
        i64::deserialize(deserializer).map(Timestamp::from_micros)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Times of RFC 8428 §5.1.3 and RFC 3339 §5.8, in seconds since the epoch.
    #[test]
    fn reads_and_prints_rfc_3339() {
        for (text, micros, printed) in [
            ("1985-04-12T23:20:50.52Z", 482_196_050_520_000, "1985-04-12T23:20:50.52Z"),
            ("1996-12-19T16:39:57-08:00", 851_042_397_000_000, "1996-12-20T00:39:57Z"),
        ] {
            let instant: Timestamp = text.parse().expect("an example of RFC 3339 §5.8");
            assert_eq!(instant.micros(), micros, "{text}");
            assert_eq!(instant.to_string(), printed, "{text}");
        }
    }

    // Arithmetic.
    #[test]
    fn a_full_minute_is_never_before_what_it_is_told_of() {
        for (text, expected) in [
            ("2026-11-27T02:40:00Z", "2026-11-27T02:40:00Z"),
            ("2026-11-27T02:40:00.000001Z", "2026-11-27T02:41:00Z"),
            ("2026-11-27T02:59:59.9Z", "2026-11-27T03:00:00Z"),
            ("1969-12-31T23:59:30Z", "1970-01-01T00:00:00Z"),
        ] {
            let instant: Timestamp = text.parse().expect("a time");
            assert_eq!(instant.full_minute().to_string(), expected, "{text}");
        }
        assert_eq!(Timestamp::MAX.full_minute(), Timestamp::MAX);
    }

    #[test]
    fn refuses_seconds_that_are_no_time() {
        for seconds in [f64::NAN, f64::INFINITY, -1e30, 1e30] {
            assert_eq!(Timestamp::from_seconds(seconds), None, "{seconds}");
        }
    }
}
