//! Instants as times of a clock at the wall, and the name of its zone.

use jiff::tz::TimeZone;

use crate::core::time::Timestamp;

/// An instant in a zone, to the minute.
#[must_use]
pub fn minute(at: Timestamp, zone: &TimeZone) -> String {
    printed(at, zone, "%Y-%m-%d %H:%M")
}

/// The day of an instant in a zone.
#[must_use]
pub fn day(at: Timestamp, zone: &TimeZone) -> String {
    printed(at, zone, "%Y-%m-%d")
}

/// An instant in a zone, to the second.
#[must_use]
pub fn second(at: Timestamp, zone: &TimeZone) -> String {
    printed(at, zone, "%Y-%m-%d %H:%M:%S")
}

/// Name of a zone: that of the tz database, else its offset at the instant.
#[must_use]
pub fn zone_name(zone: &TimeZone, at: Timestamp) -> String {
    zone.iana_name().map_or_else(|| printed(at, zone, "UTC%:z"), str::to_owned)
}

/// An instant to the minute with the name of the zone behind it.
#[must_use]
pub fn minute_and_zone(at: Timestamp, zone: &TimeZone) -> String {
    format!("{} ({})", minute(at, zone), zone_name(zone, at))
}

fn printed(at: Timestamp, zone: &TimeZone, form: &str) -> String {
    jiff::Timestamp::from_microsecond(at.micros()).map_or_else(
        |_| at.to_string(),
        |known| known.to_zoned_datetime(zone.clone()).strftime(form).to_string(),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    // 2026-07-01T18:30:05Z by the IANA time zone data base.
    #[test]
    fn times_carry_their_zone() {
        let at: Timestamp = "2026-07-01T18:30:05Z".parse().expect("a time");
        let york = TimeZone::get("America/New_York").expect("the zone data base is built in");
        assert_eq!(minute_and_zone(at, &york), "2026-07-01 14:30 (America/New_York)");
        assert_eq!(second(at, &york), "2026-07-01 14:30:05");
        assert_eq!(zone_name(&TimeZone::fixed(jiff::tz::offset(2)), at), "UTC+02:00");
    }
}
