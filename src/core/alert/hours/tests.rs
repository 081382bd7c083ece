//! Hours at the clock on the wall, through both changes of a year.
//!
//! Changes of 2026: New York 8 March 02:00 → 03:00 EDT and 1 November 02:00 →
//! 01:00 EST (15 U.S.C. 260a: second Sunday in March, first in November);
//! Berlin 29 March 02:00 → 03:00 CEST and 25 October 03:00 → 02:00 CET
//! (Directive 2000/84/EC: last Sundays of March and October, 01:00 UTC).

use jiff::tz::TimeZone;

use super::*;

fn zone(name: &str) -> TimeZone {
    TimeZone::get(name).expect("a zone of the tz database")
}

fn at(text: &str) -> Timestamp {
    text.parse().expect("an instant")
}

fn hours(spans: &[&str]) -> Hours {
    Hours::parse(spans.iter().copied()).expect("hours")
}

#[test]
fn a_stretch_follows_the_clock_on_the_wall() {
    for (name, span, around, from, to) in [
        (
            "America/New_York",
            "mon 07:00-15:30",
            "2026-03-02T12:00:00Z",
            "2026-03-02T12:00:00Z",
            "2026-03-02T20:30:00Z",
        ),
        (
            "America/New_York",
            "mon 07:00-15:30",
            "2026-03-09T12:00:00Z",
            "2026-03-09T11:00:00Z",
            "2026-03-09T19:30:00Z",
        ),
        (
            "America/New_York",
            "mon 07:00-15:30",
            "2026-11-02T12:00:00Z",
            "2026-11-02T12:00:00Z",
            "2026-11-02T20:30:00Z",
        ),
        (
            "Europe/Berlin",
            "mon 06:00-14:00",
            "2026-03-23T08:00:00Z",
            "2026-03-23T05:00:00Z",
            "2026-03-23T13:00:00Z",
        ),
        (
            "Europe/Berlin",
            "mon 06:00-14:00",
            "2026-03-30T08:00:00Z",
            "2026-03-30T04:00:00Z",
            "2026-03-30T12:00:00Z",
        ),
        (
            "Europe/Berlin",
            "mon 06:00-14:00",
            "2026-10-26T08:00:00Z",
            "2026-10-26T05:00:00Z",
            "2026-10-26T13:00:00Z",
        ),
        // Nights of the change: an hour shorter in spring, an hour longer in autumn.
        (
            "America/New_York",
            "sat 22:00-06:00",
            "2026-03-08T05:00:00Z",
            "2026-03-08T03:00:00Z",
            "2026-03-08T10:00:00Z",
        ),
        (
            "America/New_York",
            "sat 22:00-06:00",
            "2026-11-01T05:00:00Z",
            "2026-11-01T02:00:00Z",
            "2026-11-01T11:00:00Z",
        ),
        (
            "Europe/Berlin",
            "sat 22:00-06:00",
            "2026-03-29T00:00:00Z",
            "2026-03-28T21:00:00Z",
            "2026-03-29T04:00:00Z",
        ),
        (
            "Europe/Berlin",
            "sat 22:00-06:00",
            "2026-10-25T00:00:00Z",
            "2026-10-24T20:00:00Z",
            "2026-10-25T05:00:00Z",
        ),
        // 02:30 does not happen in spring and counts by the offset before (RFC 5545 §3.3.5).
        (
            "America/New_York",
            "sun 02:30-08:00",
            "2026-03-08T09:00:00Z",
            "2026-03-08T07:30:00Z",
            "2026-03-08T12:00:00Z",
        ),
        (
            "Europe/Berlin",
            "sun 02:30-08:00",
            "2026-03-29T03:00:00Z",
            "2026-03-29T01:30:00Z",
            "2026-03-29T06:00:00Z",
        ),
        // 01:30 and 02:30 happen twice in autumn: the first is meant.
        (
            "America/New_York",
            "sun 01:30-08:00",
            "2026-11-01T09:00:00Z",
            "2026-11-01T05:30:00Z",
            "2026-11-01T13:00:00Z",
        ),
        (
            "Europe/Berlin",
            "sun 02:30-08:00",
            "2026-10-25T03:00:00Z",
            "2026-10-25T00:30:00Z",
            "2026-10-25T07:00:00Z",
        ),
    ] {
        let (hours, zone) = (hours(&[span]), zone(name));
        let expected = Stretch { from: at(from), to: at(to) };
        let found = hours.around(&zone, at(around), 1, 1);
        assert!(found.contains(&expected), "{name} {span}: {found:?}");
        let second = std::time::Duration::from_secs(1);
        for (instant, inside) in [
            (expected.from.minus(second), false),
            (expected.from, true),
            (expected.to.minus(second), true),
            (expected.to, false),
        ] {
            assert_eq!(hours.contain(&zone, instant), inside, "{name} {span} at {instant}");
        }
    }
}

/// Spans that meet on the clock meet on the nights of the change too: somebody
/// is on duty at every minute, and never two of them.
#[test]
fn spans_that_meet_leave_no_hole() {
    for (name, day) in [
        ("America/New_York", "2026-03-08T00:00:00Z"),
        ("America/New_York", "2026-11-01T00:00:00Z"),
        ("Europe/Berlin", "2026-03-29T00:00:00Z"),
        ("Europe/Berlin", "2026-10-25T00:00:00Z"),
    ] {
        let zone = zone(name);
        for meet in ["01:30", "02:00", "02:30", "03:00"] {
            let early = hours(&[&format!("mon-sun 14:00-{meet}")]);
            let late = hours(&[&format!("mon-sun {meet}-14:00")]);
            for minute in 0..48 * 60 {
                let instant = at(day).plus(std::time::Duration::from_secs(minute * 60));
                let (one, other) = (early.contain(&zone, instant), late.contain(&zone, instant));
                assert!(one != other, "{name} {meet} at {instant}: {one} {other}");
            }
        }
    }
}

#[test]
fn the_next_change_is_a_start_or_an_end() {
    let hours = hours(&["mon-fri 07:00-15:30"]);
    for (now, expected) in [
        ("2026-11-23T06:00:00Z", "2026-11-23T07:00:00Z"),
        ("2026-11-23T07:00:00Z", "2026-11-23T15:30:00Z"),
        ("2026-11-27T15:30:00Z", "2026-11-30T07:00:00Z"),
    ] {
        assert_eq!(hours.next_change(&TimeZone::UTC, at(now)), Some(at(expected)), "{now}");
    }
}

#[test]
fn texts_are_read_and_printed() {
    for (text, expected) in [
        ("mon-fri 07:00-15:30", Ok("mon,tue,wed,thu,fri 07:00-15:30")),
        ("Sat,SUN 22:00-06:00", Ok("sat,sun 22:00-06:00")),
        ("sat-mon 00:00-24:00", Ok("mon,sat,sun 00:00-24:00")),
        ("mon-fri", Err(HoursError::Shape)),
        ("mon 7-15", Err(HoursError::Time)),
        ("mon 07:00-25:00", Err(HoursError::Time)),
        ("mon 24:00-06:00", Err(HoursError::Time)),
        ("mo 07:00-15:00", Err(HoursError::Day)),
    ] {
        let found = Hours::parse([text]).map(|hours| hours.texts().join("; "));
        assert_eq!(found.as_deref().map_err(|(_, error)| *error), expected, "{text}");
        if let Ok(printed) = found {
            assert_eq!(Hours::parse([printed.as_str()]).map(|hours| hours.texts()), Ok(vec![printed]));
        }
    }
    assert_eq!(Hours::parse([]), Err((0, HoursError::Count)));
}
