//! The span of an export: days of the site, each from its midnight to the next.

use jiff::ToSpan;
use jiff::civil::Date;
use jiff::tz::TimeZone;

use crate::app::Failure;
use crate::cli::{SpanArgs, SpanEnd};
use crate::core::time::Timestamp;
use crate::core::wall_clock::midnight;
use crate::diagnostic::Diagnostic;

/// First instant and first instant after it.
///
/// # Errors
/// Where the span is empty or lies outside the calendar.
pub(in crate::app) fn resolve(
    asked: &SpanArgs,
    zone: &TimeZone,
    now: Timestamp,
) -> Result<(Timestamp, Timestamp), Failure> {
    let bounds = bounds(asked, zone, now);
    let outside = || Diagnostic::error("usage", "these days lie outside the calendar");
    let (from, to) =
        bounds.ok_or_else(|| outside().advice("give days of the years 1 to 9998, such as 2026-11-25"))?;
    if from >= to {
        let summary = format!("the span from {from} to {to} is empty");
        return Err(Diagnostic::error("usage", summary).advice("give --to after --from").into());
    }
    Ok((from, to))
}

fn bounds(asked: &SpanArgs, zone: &TimeZone, now: Timestamp) -> Option<(Timestamp, Timestamp)> {
    let midnight = |day: Date| midnight(zone, day);
    let days = |first: Date, after: Option<Date>| Some((midnight(first)?, midnight(after?)?));
    if let Some(day) = asked.day {
        return days(day, day.checked_add(1.day()).ok());
    }
    if let Some(month) = asked.month {
        return days(month, month.checked_add(1.month()).ok());
    }
    if let Some(year) = asked.year {
        return days(year, year.checked_add(1.year()).ok());
    }
    let from = match asked.from? {
        SpanEnd::Day(day) => midnight(day)?,
        SpanEnd::Instant(instant) => instant,
    };
    let to = match asked.to {
        Some(SpanEnd::Day(day)) => midnight(day.checked_add(1.day()).ok()?)?,
        Some(SpanEnd::Instant(instant)) => instant,
        None => now.max(from.just_after()),
    };
    Some((from, to))
}

#[cfg(test)]
mod tests {
    use super::*;

    // Zones as in the tz database: New York goes to summer time on 2026-03-08 (a day of 23 h) and
    // back on 2026-11-01 (25 h); Kiritimati is 14 h ahead of UTC.
    #[test]
    fn days_are_those_of_the_site() {
        let now: Timestamp = "2026-11-26T12:00:00Z".parse().expect("an instant");
        let none = SpanArgs { from: None, to: None, day: None, month: None, year: None };
        let day = |text: &str| text.parse::<Date>().expect("a date");
        let of = |day| SpanArgs { day: Some(day), ..none.clone() };
        let rows = [
            ("America/New_York", of(day("2026-03-08")), "2026-03-08T05:00:00Z", "2026-03-09T04:00:00Z"),
            ("America/New_York", of(day("2026-11-01")), "2026-11-01T04:00:00Z", "2026-11-02T05:00:00Z"),
            (
                "Pacific/Kiritimati",
                SpanArgs { month: Some(day("2026-02-01")), ..none.clone() },
                "2026-01-31T10:00:00Z",
                "2026-02-28T10:00:00Z",
            ),
            (
                "Europe/Berlin",
                SpanArgs { year: Some(day("2025-01-01")), ..none.clone() },
                "2024-12-31T23:00:00Z",
                "2025-12-31T23:00:00Z",
            ),
            (
                "Europe/Berlin",
                SpanArgs {
                    from: Some(SpanEnd::Day(day("2026-11-01"))),
                    to: Some(SpanEnd::Day(day("2026-11-02"))),
                    ..none.clone()
                },
                "2026-10-31T23:00:00Z",
                "2026-11-02T23:00:00Z",
            ),
            (
                "Europe/Berlin",
                SpanArgs { from: Some(SpanEnd::Day(day("2026-11-25"))), ..none.clone() },
                "2026-11-24T23:00:00Z",
                "2026-11-26T12:00:00Z",
            ),
        ];
        for (zone, asked, from, to) in rows {
            let zone = TimeZone::get(zone).expect("a zone of the database");
            let instant = |text: &str| text.parse().expect("an instant");
            assert_eq!(resolve(&asked, &zone, now), Ok((instant(from), instant(to))), "{asked:?}");
        }
        let back = SpanArgs {
            from: Some(SpanEnd::Day(day("2026-11-02"))),
            to: Some(SpanEnd::Day(day("2026-11-01"))),
            ..none
        };
        assert!(resolve(&back, &TimeZone::UTC, now).is_err_and(|failure| failure.exit_code() == 64));
    }
}
