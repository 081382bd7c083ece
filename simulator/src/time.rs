//! Simulated time: seconds since the start of the run, and the instants they stand for.

/// Fixed integration step of every equation, s.
pub const STEP_S: f64 = 0.05;

/// Integration steps per second.
pub const STEPS_PER_S: u64 = 20;

/// Midnight before every scenario unless told otherwise: 2026-03-02T00:00:00Z, a Monday, in
/// microseconds of Unix time.
pub const MIDNIGHT_MICROS: i64 = 1_772_409_600_000_000;

/// Microseconds in `seconds`, rounded.
#[expect(clippy::cast_possible_truncation, reason = "a run is shorter than 292,000 years")]
#[must_use]
pub fn micros(seconds: f64) -> i64 {
    (seconds * 1e6).round() as i64
}

/// An instant in RFC 3339, UTC, with microseconds.
#[must_use]
pub fn rfc3339(unix_micros: i64) -> String {
    jiff::Timestamp::from_microsecond(unix_micros).map_or_else(|_| String::new(), |at| format!("{at:.6}"))
}

/// The instant that an RFC 3339 text names, in microseconds of Unix time.
///
/// # Errors
/// When the text is no RFC 3339 timestamp.
pub fn parse_rfc3339(text: &str) -> Result<i64, jiff::Error> {
    text.parse::<jiff::Timestamp>().map(jiff::Timestamp::as_microsecond)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn instants_round_trip() {
        assert_eq!(rfc3339(MIDNIGHT_MICROS), "2026-03-02T00:00:00.000000Z");
        assert_eq!(parse_rfc3339("2026-03-02T01:00:00.5+01:00").expect("valid"), MIDNIGHT_MICROS + 500_000);
    }
}
