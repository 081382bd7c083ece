//! Which part of the time a machine should have been watched it was, and what is missing.
//!
//! A machine is watched while every probe of it gives usable readings and the service
//! runs. What is missing comes from two kinds of records: gaps of probes, where an open
//! one ends with the next closing one of the same probe, and starts of the service, which
//! say what was on record before. Readings that came after all, late, fill a gap: the
//! cycles in it are judged, but nobody could have been told in time, so that filled time
//! is told apart and does not count as watched (own choice, on the careful side).
//!
//! The time it should have been watched is the site's opening hours; without them its
//! shifts; without either all of it.

use std::collections::BTreeMap;
use std::time::Duration;

use jiff::ToSpan;
use jiff::tz::TimeZone;

use super::alert::hours::Stretch;
use super::alert::{Hours, Settings};
use super::reading::Fault;
use super::record::{Body, Record};
use super::time::Timestamp;
use crate::core::wall_clock::{local_date, midnight};

/// Most days of one look at the hours of the week (own choice: a hundred years).
const DAYS_MAX: i64 = 36_525;
/// How long nothing may come on record before the service counts as down (own choice: a
/// quiet site puts something on record each minute or so).
const QUIET_MAX: Duration = Duration::from_secs(600);

/// A stretch in which something is missing.
#[derive(Clone, PartialEq, Debug)]
pub struct Blank {
    /// Index of the record that tells of it: of its end, where that is on record.
    pub index: u64,
    /// The machine; absent where the service itself was down.
    pub machine: Option<String>,
    /// Channel of the probe; absent where the service itself was down.
    pub probe: Option<String>,
    /// Why; absent where the service itself was down.
    pub fault: Option<Fault>,
    /// Last usable reading before it, or the start of the service, if that was later; the last record, where the
    /// service itself was down.
    pub from: Timestamp,
    /// First usable reading, or the start of the service, after it; absent while it lasts.
    pub to: Option<Timestamp>,
    /// Whether its readings came after all, late.
    pub filled: bool,
}

/// How much of a span was watched.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
pub struct Monitored {
    /// Time it should have been, s.
    pub operating_s: f64,
    /// Part of that in which nothing was missing, s.
    pub monitored_s: f64,
    /// Part of what was missing whose readings came after all, s.
    pub filled_s: f64,
    /// Stretches of that time in which something was missing, joined where they overlap or touch.
    pub gaps: u64,
}

impl Monitored {
    /// The share, 0 to 1; `None` where it should not have been watched at all.
    #[must_use]
    pub fn share(&self) -> Option<f64> {
        (self.operating_s > 0.0).then(|| self.monitored_s / self.operating_s)
    }
}

/// Measures how much of `operating` inside `span` has none of `gaps`. Neither list needs to
/// be in order or without overlap; a gap without an end lasts.
#[must_use]
pub fn monitored<'a>(
    span: Stretch,
    operating: &[Stretch],
    gaps: impl IntoIterator<Item = &'a Blank>,
) -> Monitored {
    let operating = union(operating.iter().filter_map(|stretch| cut(*stretch, span)).collect());
    let (mut missing, mut all) = (Vec::new(), Vec::new());
    for gap in gaps {
        let stretch = Stretch { from: gap.from, to: gap.to.unwrap_or(span.to) };
        if let Some(stretch) = cut(stretch, span) {
            all.push(stretch);
            if !gap.filled {
                missing.push(stretch);
            }
        }
    }
    let all = union(all);
    let (missing_s, all_s) = (common_s(&operating, &union(missing)), common_s(&operating, &all));
    let gaps = all.iter().filter(|gap| common_s(&operating, std::slice::from_ref(*gap)) > 0.0).count() as u64;
    // From 0: the sum of nothing would be -0, and be printed so.
    let operating_s = operating.iter().map(length_s).fold(0.0, |sum, length_s| sum + length_s);
    Monitored { operating_s, monitored_s: operating_s - all_s, filled_s: all_s - missing_s, gaps }
}

/// When the site's machines should be watched, inside `span`, by the hours of the configuration.
#[must_use]
pub fn operating(settings: &Settings, span: Stretch) -> Vec<Stretch> {
    let hours: Vec<&Hours> = match &settings.open {
        Some(open) => vec![open],
        None => settings.shifts.iter().map(|shift| &shift.hours).collect(),
    };
    if hours.is_empty() {
        return vec![span];
    }
    let stretches = hours.into_iter().flat_map(|hours| within(hours, &settings.zone, span));
    union(stretches.filter_map(|stretch| cut(stretch, span)).collect())
}

/// The stretches of these hours that touch the span.
fn within(hours: &Hours, zone: &TimeZone, span: Stretch) -> Vec<Stretch> {
    let days = || {
        let (first, last) = (local_date(zone, span.from)?, local_date(zone, span.to)?);
        first.until((jiff::Unit::Day, last)).ok().map(|days| i64::from(days.get_days()))
    };
    // A stretch that began the day before may reach into the first day.
    hours.around(zone, span.from, 1, days().unwrap_or(0).min(DAYS_MAX))
}

/// The local days that touch the span, each from its midnight to the next: 23, 24 or 25 h.
#[must_use]
pub fn days(zone: &TimeZone, span: Stretch) -> Vec<(jiff::civil::Date, Stretch)> {
    let mut days = Vec::new();
    let Some(mut date) = local_date(zone, span.from) else { return days };
    while let Some((next, stretch)) = day(zone, date) {
        if stretch.from >= span.to {
            break;
        }
        if stretch.to > span.from {
            days.push((date, stretch));
        }
        date = next;
    }
    days
}

/// The day after a local date, and the stretch of that date.
#[must_use]
pub fn day(zone: &TimeZone, date: jiff::civil::Date) -> Option<(jiff::civil::Date, Stretch)> {
    let next = date.checked_add(1.day()).ok()?;
    Some((next, Stretch { from: midnight(zone, date)?, to: midnight(zone, next)? }))
}

/// Collects what is missing from the records that tell of it, in order of their index.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Blanks {
    over: Vec<Blank>,
    open: BTreeMap<String, Blank>,
    stopped: Option<(u64, Timestamp)>,
}

impl Blanks {
    /// Kinds of records that it wants to see.
    pub const KINDS: [&'static str; 3] = ["gap", "service-start", "service-stop"];

    /// Takes a record; those of other kinds say nothing of what is missing.
    pub fn note(&mut self, index: u64, record: &Record) {
        if let Body::Gap(gap) = &record.body {
            let (machine, probe) = (record.machine.clone(), Some(gap.probe.clone()));
            let (fault, from, to, filled) = (Some(gap.fault), gap.from, gap.to, gap.filled);
            let blank = Blank { index, machine, probe, fault, from, to, filled };
            // A silent probe that is heard again with a fault opens the same gap under another cause.
            let before = self.open.remove(&gap.probe);
            let before = before.filter(|before| before.from != from && to.is_none());
            // An earlier one that was never closed ends where the next one begins.
            self.over.extend(before.map(|before| Blank { to: Some(from.max(before.from)), ..before }));
            if to.is_some() {
                self.over.push(blank);
            } else {
                self.open.insert(gap.probe.clone(), blank);
            }
        } else if let Body::ServiceStart(start) = &record.body {
            self.stopped = None;
            let down = start.last_record.filter(|last| *last < record.recorded);
            self.over.extend(down.map(|last| service(index, last, Some(record.recorded))));
        } else if let Body::ServiceStop(_) = &record.body {
            self.stopped = Some((index, record.recorded));
        }
    }

    /// Whether a gap is open: only then a configuration says anything.
    #[must_use]
    pub fn is_open(&self) -> bool {
        !self.open.is_empty()
    }

    /// Ends the open gaps of probes that the configuration in force from `at` on has no longer.
    pub fn configured(&mut self, at: Timestamp, has: impl Fn(&str) -> bool) {
        let gone: Vec<String> = self.open.keys().filter(|probe| !has(probe)).cloned().collect();
        for blank in gone.iter().filter_map(|probe| self.open.remove(probe)) {
            self.over.push(Blank { to: Some(at.max(blank.from)), ..blank });
        }
    }

    /// All of them, in order of their start, then of their probe: a gap stays at its place when it ends, under the
    /// index of another record. `last_record` is the last instant on record: where
    /// `now` is much later, or the service has stopped, it is down since.
    #[must_use]
    pub fn finish(self, last_record: Option<(u64, Timestamp)>, now: Timestamp) -> Vec<Blank> {
        let down = self.down(last_record, now);
        in_order(self.over.into_iter().chain(self.open.into_values()).chain(down).collect())
    }

    /// The same, but only those that touch a span, and more records can be taken.
    #[must_use]
    pub fn touching(
        &self,
        span: Stretch,
        last_record: Option<(u64, Timestamp)>,
        now: Timestamp,
    ) -> Vec<Blank> {
        let down = self.down(last_record, now);
        let touches = |blank: &&Blank| blank.from < span.to && blank.to.is_none_or(|to| to > span.from);
        let known = self.over.iter().chain(self.open.values()).chain(&down);
        in_order(known.filter(touches).cloned().collect())
    }

    fn down(&self, last_record: Option<(u64, Timestamp)>, now: Timestamp) -> Option<Blank> {
        let quiet = last_record.filter(|(_, last)| now.since(*last) > QUIET_MAX);
        self.stopped.or(quiet).map(|(index, since)| service(index, since, None))
    }
}

fn in_order(mut blanks: Vec<Blank>) -> Vec<Blank> {
    blanks.sort_by(|one, other| {
        (one.from, &one.probe, one.index).cmp(&(other.from, &other.probe, other.index))
    });
    blanks
}

fn service(index: u64, from: Timestamp, to: Option<Timestamp>) -> Blank {
    Blank { index, machine: None, probe: None, fault: None, from, to, filled: false }
}

fn cut(stretch: Stretch, span: Stretch) -> Option<Stretch> {
    let cut = Stretch { from: stretch.from.max(span.from), to: stretch.to.min(span.to) };
    (cut.from < cut.to).then_some(cut)
}

/// In order, without overlap.
fn union(mut stretches: Vec<Stretch>) -> Vec<Stretch> {
    stretches.sort_unstable();
    let mut union: Vec<Stretch> = Vec::with_capacity(stretches.len());
    for stretch in stretches {
        match union.last_mut() {
            Some(last) if stretch.from <= last.to => last.to = last.to.max(stretch.to),
            Some(_) | None => union.push(stretch),
        }
    }
    union
}

/// Time that two lists have in common; both in order and without overlap.
fn common_s(some: &[Stretch], others: &[Stretch]) -> f64 {
    let (mut some, mut others) = (some.iter().peekable(), others.iter().peekable());
    let mut common_s = 0.0;
    while let (Some(one), Some(other)) = (some.peek(), others.peek()) {
        common_s += cut(**one, **other).as_ref().map_or(0.0, length_s);
        if one.to <= other.to {
            some.next();
        } else {
            others.next();
        }
    }
    common_s
}

fn length_s(stretch: &Stretch) -> f64 {
    stretch.to.seconds_since(stretch.from)
}

#[cfg(test)]
mod tests;
