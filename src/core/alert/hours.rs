//! Hours of the week in local time: who is on duty, when a shift begins.
//!
//! A span is a start and an end on the clock at the wall, on given days; an end
//! that is not after its start lies on the next day. Where daylight saving
//! makes a time of the clock happen twice the first is meant, and where it never
//! happens it counts by the offset before the change (RFC 5545 §3.3.5): two
//! spans that meet on the clock meet on that night too, without hole or overlap.

#[cfg(test)]
mod tests;

use std::fmt;
use std::str::FromStr;

use jiff::civil::{Date, Time, Weekday};
use jiff::tz::TimeZone;
use jiff::{Span, ToSpan};

use crate::core::time::Timestamp;
use crate::core::wall_clock::{instant_or_next, local_date};

/// Most spans of one set of hours (own choice: two for each day of the week, and room).
pub const SPANS_MAX: usize = 21;

/// Days of the week with a start and an end.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
struct DaySpan {
    /// Monday first.
    days: [bool; 7],
    from: Time,
    /// Not after `from`: on the next day. 24:00 is 00:00 of the next day.
    to: Time,
}

/// Hours of the week, written `mon-fri 07:00-15:30`, `sat,sun 22:00-06:00`.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Hours {
    spans: Vec<DaySpan>,
}

/// One occurrence of a span: from its start up to, not including, its end.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub struct Stretch {
    /// First instant.
    pub from: Timestamp,
    /// First instant after it.
    pub to: Timestamp,
}

/// Why a text names no hours.
#[derive(Clone, Copy, PartialEq, Eq, Debug, thiserror::Error)]
pub enum HoursError {
    /// Not days, a blank and two times.
    #[error("hours are written \"mon-fri 07:00-15:30\"")]
    Shape,
    /// A day that is none.
    #[error("a day is one of mon, tue, wed, thu, fri, sat, sun")]
    Day,
    /// A time that is none.
    #[error("a time is written 00:00 to 24:00")]
    Time,
    /// None at all, or more than [`SPANS_MAX`].
    #[error("from 1 to {SPANS_MAX} spans")]
    Count,
}

const DAYS: [&str; 7] = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"];

impl FromStr for DaySpan {
    type Err = HoursError;

    fn from_str(text: &str) -> Result<Self, HoursError> {
        let (days, times) = text.trim().split_once(char::is_whitespace).ok_or(HoursError::Shape)?;
        let (from, to) = times.trim().split_once('-').ok_or(HoursError::Shape)?;
        let from = time(from)?.ok_or(HoursError::Time)?;
        Ok(Self { days: days_of(days)?, from, to: time(to)?.unwrap_or(Time::midnight()) })
    }
}

/// A time of the clock; the inner `None` is 24:00.
fn time(text: &str) -> Result<Option<Time>, HoursError> {
    let (hour, minute) = text.trim().split_once(':').ok_or(HoursError::Time)?;
    let two = |part: &str| {
        let digits = part.len() == 2 && part.bytes().all(|byte| byte.is_ascii_digit());
        if digits { part.parse::<i8>().map_err(|_| HoursError::Time) } else { Err(HoursError::Time) }
    };
    match (two(hour)?, two(minute)?) {
        (24, 0) => Ok(None),
        (hour, minute) => Time::new(hour, minute, 0, 0).map(Some).map_err(|_| HoursError::Time),
    }
}

/// `mon-fri,sun`; a range may run over the end of the week.
fn days_of(text: &str) -> Result<[bool; 7], HoursError> {
    let day =
        |text: &str| DAYS.iter().position(|day| day.eq_ignore_ascii_case(text.trim())).ok_or(HoursError::Day);
    let mut days = [false; 7];
    for part in text.split(',') {
        let (first, last) = match part.split_once('-') {
            Some((first, last)) => (day(first)?, day(last)?),
            None => (day(part)?, day(part)?),
        };
        let mut at = first;
        loop {
            days[at] = true;
            if at == last {
                break;
            }
            at = (at + 1) % 7;
        }
    }
    Ok(days)
}

impl fmt::Display for DaySpan {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let days: Vec<&str> = DAYS.iter().zip(self.days).filter(|(_, on)| *on).map(|(day, _)| *day).collect();
        let to = if self.to == Time::midnight() { "24:00".to_owned() } else { clock(self.to) };
        write!(f, "{} {}-{to}", days.join(","), clock(self.from))
    }
}

fn clock(time: Time) -> String {
    format!("{:02}:{:02}", time.hour(), time.minute())
}

impl Hours {
    /// Reads a list of spans.
    ///
    /// # Errors
    /// [`HoursError`] with the place of the span that is wrong.
    pub fn parse<'a>(spans: impl IntoIterator<Item = &'a str>) -> Result<Self, (usize, HoursError)> {
        let read = |(place, text): (usize, &str)| text.parse().map_err(|error| (place, error));
        let spans: Vec<DaySpan> = spans.into_iter().enumerate().map(read).collect::<Result<_, _>>()?;
        if spans.is_empty() || spans.len() > SPANS_MAX {
            return Err((0, HoursError::Count));
        }
        Ok(Self { spans })
    }

    /// The spans in canonical spelling.
    #[must_use]
    pub fn texts(&self) -> Vec<String> {
        self.spans.iter().map(ToString::to_string).collect()
    }

    /// Whether the instant lies inside.
    #[must_use]
    pub fn contain(&self, zone: &TimeZone, at: Timestamp) -> bool {
        // A stretch may have begun the day before, and lasts at most 24 hours of the clock, 25 of time.
        self.around(zone, at, 2, 1).iter().any(|stretch| stretch.from <= at && at < stretch.to)
    }

    /// The stretches that touch the days from `before` days before the instant
    /// to `after` days after it, in order of their start.
    #[must_use]
    pub fn around(&self, zone: &TimeZone, at: Timestamp, before: i64, after: i64) -> Vec<Stretch> {
        let Some(today) = local_date(zone, at) else { return Vec::new() };
        let mut stretches = Vec::new();
        for offset in -before..=after {
            let Ok(date) = today.checked_add(offset.days()) else { continue };
            for span in self.spans.iter().filter(|span| span.days[monday_first(date.weekday())]) {
                stretches.extend(span.on(zone, date));
            }
        }
        stretches.sort_unstable();
        stretches
    }

    /// The first start or end after the instant, within nine days.
    #[must_use]
    pub fn next_change(&self, zone: &TimeZone, at: Timestamp) -> Option<Timestamp> {
        let stretches = self.around(zone, at, 2, 8);
        stretches.iter().flat_map(|stretch| [stretch.from, stretch.to]).filter(|change| *change > at).min()
    }
}

impl DaySpan {
    fn on(&self, zone: &TimeZone, date: Date) -> Option<Stretch> {
        let end = if self.to > self.from { date } else { date.checked_add(Span::new().days(1)).ok()? };
        let [from, to] = [instant_or_next(zone, date, self.from)?, instant_or_next(zone, end, self.to)?];
        (from < to).then_some(Stretch { from, to })
    }
}

fn monday_first(weekday: Weekday) -> usize {
    usize::try_from(weekday.to_monday_zero_offset()).unwrap_or(0)
}
