//! The settled minima of many days against their limit: a week, a month, a year.
//!
//! One mark for each rack, at its time of day within its day; marks that would cover one another
//! are drawn once, so that a year stays a picture of bounded size and no bad rack is lost.

use std::collections::BTreeSet;

use jiff::civil::Date;
use jiff::tz::TimeZone;

use super::cycle::capital;
use super::day::{BY_HOURS_S, hours};
use super::words::Word;
use super::{Axis, Band, Line, Plot, Point, Shade, Shape, Stroke, Tick, Window, ticks};
use crate::core::cycle::verdict::Verdict;
use crate::core::cycle::words::{of_these_in_doubt, verdict};
use crate::core::reader::Reader;
use crate::core::time::Timestamp;
use crate::report::account::DayAccount;

/// The days of one machine.
#[derive(Clone, Copy, Debug)]
pub struct Days<'a> {
    /// Name of the machine.
    pub machine: &'a str,
    /// Start of the span.
    pub from: Timestamp,
    /// First instant after it.
    pub to: Timestamp,
    /// Its days, in order.
    pub days: &'a [DayAccount],
    /// Stretches in which nothing is known.
    pub gaps: &'a [(Timestamp, Timestamp)],
}

impl<'a> Days<'a> {
    /// Racks that all lie in a small part of the span would stand in one heap.
    const PART_MAX: f64 = 0.2;

    /// The days on which there were racks, where they are a small part of the span; else all of it.
    #[must_use]
    pub fn narrowed(self, zone: &TimeZone) -> Self {
        let washed = |day: &DayAccount| !day.minima.is_empty();
        let first = self.days.iter().position(washed);
        let last = self.days.iter().rposition(washed);
        let (Some(first), Some(last)) = (first, last) else { return self };
        let midnight = |day: Date| {
            let at = day.to_zoned_datetime(zone.clone()).ok()?.timestamp();
            Some(Timestamp::from_micros(at.as_microsecond()))
        };
        let from = midnight(self.days[first].day);
        let to = self.days[last].day.tomorrow().ok().and_then(midnight);
        let (Some(from), Some(to)) = (from, to) else { return self };
        let (from, to) = (from.max(self.from), to.min(self.to));
        if to.seconds_since(from) > Self::PART_MAX * self.to.seconds_since(self.from) {
            return self;
        }
        Self { from, to, days: &self.days[first..=last], ..self }
    }
}

/// Marks that lie in the same cell of this many columns and rows are drawn once.
const CELLS: (f64, f64) = (260.0, 70.0);
/// Most marks on the axis of days.
const TICKS_MAX: usize = 10;

/// Plots the days. The band is the limit ± the largest expanded uncertainty (k = 2) of each day.
/// A rack without a minimum has no mark here: the counts in the key hold it.
#[must_use]
pub fn plot(span: Days<'_>, reader: &Reader) -> Plot {
    let say = |word: Word| word.say(reader.language);
    let scale = |celsius: f64| reader.scale.temperature(celsius);
    let length = span.to.seconds_since(span.from);
    let minima =
        || span.days.iter().flat_map(|day| day.minima.iter().map(|(_, celsius, _)| f64::from(*celsius)));
    let edges = |sign: f64| {
        let margin = move |day: &DayAccount| sign * day.uncertainty_c.unwrap_or(0.0).max(1.0);
        span.days.iter().filter_map(move |day| Some(day.limit_c? + margin(day)))
    };
    let low = edges(-1.0).chain(minima()).fold(f64::INFINITY, f64::min);
    let high = edges(1.0).chain(minima()).fold(f64::NEG_INFINITY, f64::max);
    let mut y = ticks::axis(reader.scale.symbol().to_owned(), scale(low), scale(high), 6, true);
    if !low.is_finite() {
        y.ticks.clear();
    }
    let within = |(from, to): &&(Timestamp, Timestamp)| *from < span.to && *to > span.from;
    let gap = |(from, to): &(Timestamp, Timestamp)| Window {
        from: (*from).max(span.from).seconds_since(span.from),
        to: (*to).min(span.to).seconds_since(span.from),
        label: say(Word::NoData).to_owned(),
        shade: Shade::Hatched,
    };
    let (title, description) = told(span, reader);
    Plot {
        title,
        description,
        x: days(span, reader, length),
        windows: span.gaps.iter().filter(within).map(gap).collect(),
        bands: band(span, reader, length).into_iter().collect(),
        lines: limit(span, reader, length).into_iter().collect(),
        points: points(span, reader, &y, length),
        key: key(span, reader),
        y,
    }
}

/// Seconds from the start of the span to the start of a day of the site.
fn starts(day: &DayAccount, span: Days<'_>, reader: &Reader) -> Option<f64> {
    let midnight = day.day.to_zoned_datetime(reader.zone.clone()).ok()?.timestamp();
    Some(Timestamp::from_micros(midnight.as_microsecond()).seconds_since(span.from))
}

fn points(span: Days<'_>, reader: &Reader, y: &Axis, length: f64) -> Vec<Point> {
    let mut taken = BTreeSet::new();
    let mut by_verdict: Vec<[Vec<Point>; 2]> = vec![[const { Vec::new() }; 2]; Verdict::ALL.len()];
    for day in span.days {
        let Some(start) = starts(day, span, reader) else { continue };
        let mut doubted = day.minima_in_doubt.iter().copied().peekable();
        for (own, (second, celsius, place)) in (0..).zip(&day.minima) {
            let in_doubt = doubted.next_if_eq(&own).is_some();
            let Some(judged) = Verdict::ALL.get(usize::from(*place)) else { continue };
            let (x, value) = (start + f64::from(*second), reader.scale.temperature(f64::from(*celsius)));
            let column = super::area::cut(x / length * CELLS.0);
            let row = super::area::cut((value - y.from) / (y.to - y.from) * CELLS.1);
            let shape = Shape::of_rack(*judged, in_doubt);
            if taken.insert((shape, column, row)) {
                let point = Point { x, y: value, shape, label: String::new() };
                by_verdict[usize::from(*place)][usize::from(in_doubt)].push(point);
            }
        }
    }
    // The worst are drawn last, over the others; those in doubt over their like.
    by_verdict.into_iter().rev().flatten().flatten().collect()
}

/// Marks at the start of days, so many that their names fit; hours where it is one day.
fn days(span: Days<'_>, reader: &Reader, length: f64) -> Axis {
    if length <= BY_HOURS_S {
        return hours(span.from, span.to, reader);
    }
    let step = span.days.len().div_ceil(TICKS_MAX).max(1);
    let label = |at: f64| {
        // A second into the day, where rounding cannot fall into the one before.
        let at = span.from.plus(std::time::Duration::from_secs_f64(at.max(0.0) + 1.0));
        reader.day(at).split(' ').skip(1).take(2).collect::<Vec<&str>>().join(" ")
    };
    let ticks = span
        .days
        .iter()
        .step_by(step)
        .filter_map(|day| starts(day, span, reader))
        .filter(|at| (0.0..=length).contains(at))
        .map(|at| Tick { at, label: label(at) })
        .collect();
    Axis { label: Word::Day.say(reader.language).to_owned(), from: 0.0, to: length, ticks }
}

/// The limit in steps, and its edges above and below, from day to day.
fn steps(
    span: Days<'_>,
    reader: &Reader,
    length: f64,
    value: impl Fn(&DayAccount) -> Option<(f64, f64)>,
) -> Vec<(f64, f64, f64)> {
    let scale = |celsius: f64| reader.scale.temperature(celsius);
    let mut edges: Vec<(f64, f64, f64)> = Vec::new();
    for day in span.days {
        let (Some((low, high)), Some(start)) = (value(day), starts(day, span, reader)) else { continue };
        let (low, high) = (scale(low), scale(high));
        match edges.last().copied() {
            None => edges.push((0.0, low, high)),
            Some((_, before, above)) if before.total_cmp(&low).is_ne() || above.total_cmp(&high).is_ne() => {
                edges.extend([(start, before, above), (start, low, high)]);
            }
            Some(_) => {}
        }
    }
    edges.extend(edges.last().map(|(_, low, high)| (length, *low, *high)));
    edges
}

fn band(span: Days<'_>, reader: &Reader, length: f64) -> Option<Band> {
    let edges = steps(span, reader, length, |day| {
        let (limit, width) = (day.limit_c?, day.uncertainty_c?);
        Some((limit - width, limit + width))
    });
    (!edges.is_empty()).then(|| Band { edges, name: Word::Uncertainty.say(reader.language).to_owned() })
}

fn limit(span: Days<'_>, reader: &Reader, length: f64) -> Option<Line> {
    let edges = steps(span, reader, length, |day| Some((day.limit_c?, day.limit_c?)));
    let first = span.days.iter().find_map(|day| day.limit_c)?;
    let constant =
        span.days.iter().filter_map(|day| day.limit_c).all(|limit| limit.total_cmp(&first).is_eq());
    let name = Word::Limit.say(reader.language);
    let name = if constant { format!("{name} {}", reader.temperature(first)) } else { name.to_owned() };
    let points = edges.into_iter().map(|(at, value, _)| (at, value)).collect();
    Some(Line { points, stroke: Stroke::Limit, name })
}

/// Verdicts that occur, with their counts, worst first.
fn counted(span: Days<'_>, reader: &Reader) -> Vec<(Verdict, String)> {
    let count = |verdict| span.days.iter().map(|day| day.counts.of(verdict)).sum::<u64>();
    let all = Verdict::ALL.into_iter().map(|verdict| (verdict, count(verdict)));
    all.filter(|(_, count)| *count > 0)
        .map(|(judged, count)| (judged, format!("{}: {count}", verdict(judged, reader.language))))
        .collect()
}

/// The counts with their marks, and how many of them have none, since nothing settled or nothing of it proves anything.
fn key(span: Days<'_>, reader: &Reader) -> Vec<(Shape, String)> {
    let told = |(judged, text): (Verdict, String)| {
        let is_it = |place: u8| Verdict::ALL.get(usize::from(place)) == Some(&judged);
        let minima = span.days.iter().flat_map(|day| &day.minima);
        let drawn = minima.filter(|(_, _, place)| is_it(*place)).count() as u64;
        let count: u64 = span.days.iter().map(|day| day.counts.of(judged)).sum();
        let text = match count.saturating_sub(drawn) {
            0 => text,
            missing if missing == count => format!("{text} ({})", Word::NotDrawn.say(reader.language)),
            missing => format!("{text} ({missing} {})", Word::NotDrawn.say(reader.language)),
        };
        (Shape::of(judged), text)
    };
    let mut key: Vec<(Shape, String)> = counted(span, reader).into_iter().map(told).collect();
    key.extend(in_doubt(span, reader).map(|told| (Shape::Ring, told)));
    key
}

/// How many racks of the days passed and are in doubt since; `None` where none is.
fn in_doubt(span: Days<'_>, reader: &Reader) -> Option<String> {
    let count: u64 = span.days.iter().map(|day| day.in_doubt).sum();
    (count > 0).then(|| format!("{}: {count}", of_these_in_doubt(reader.language)))
}

fn told(span: Days<'_>, reader: &Reader) -> (String, String) {
    let say = |word: Word| word.say(reader.language);
    let last = span.to.minus(std::time::Duration::from_secs(1));
    let (first, last) = (reader.day(span.from), reader.day(last));
    let date = if first == last { first } else { format!("{first} – {last}") };
    let racks: u64 = span.days.iter().map(|day| day.counts.total()).sum();
    if racks == 0 {
        let title = format!("{} · {date} · {}", span.machine, say(Word::NoCycles));
        return (title.clone(), format!("{title}."));
    }
    let title = format!("{} · {date} · {racks} {}", span.machine, say(Word::Cycles));
    let counts = counted(span, reader).into_iter().map(|(_, text)| text);
    let counts: Vec<String> = counts.chain(in_doubt(span, reader)).collect();
    let mut description = format!("{title}: {}.", counts.join(", "));
    let lowest = span.days.iter().filter_map(|day| Some((day.rinse_min_c?, day.limit_c?)));
    if let Some((minimum, limit)) = lowest.min_by(|one, other| one.0.total_cmp(&other.0)) {
        let (measured, limit) = reader.pair(minimum, limit);
        let symbol = reader.scale.symbol();
        description.push_str(&format!(
            " {}: {measured} {symbol} {} {limit} {symbol}.",
            capital(say(Word::Lowest)),
            say(Word::Against),
        ));
    }
    (title, description)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::reader::{Language, Scale};
    use crate::report::account::samples;

    fn drawn(account: &crate::report::account::Account, scale: Scale) -> Plot {
        let machine = &account.machines[0];
        let zone = jiff::tz::TimeZone::get(&account.zone).expect("a zone");
        let reader = Reader { language: Language::English, scale, zone };
        let days = Days {
            machine: &machine.machine,
            from: account.from,
            to: account.to,
            days: &machine.days,
            gaps: &[],
        };
        plot(days, &reader)
    }

    /// November 2026 in New York has a day of 25 hours: 721 hours in all (Energy Policy Act of 2005, §110).
    #[test]
    fn every_bad_rack_of_a_month_is_drawn_within_its_day() {
        let account = samples::month();
        let plot = drawn(&account, Scale::Celsius);
        assert!((plot.x.to - 721.0 * 3600.0).abs() < 1e-6, "{}", plot.x.to);
        let cold = plot.points.iter().filter(|point| point.shape == Shape::Cross).count() as u64;
        assert_eq!(cold, account.machines[0].counts.cold);
        assert!(plot.points.iter().all(|point| (0.0..=plot.x.to).contains(&point.x)));
        assert!(plot.points.iter().all(|point| (plot.y.from..=plot.y.to).contains(&point.y)));
    }

    // Own rule: racks of one day in a month are drawn over that day, by the hours of its clock.
    #[test]
    fn one_day_of_a_month_is_drawn_by_its_hours() {
        let mut account = samples::month();
        let zone = TimeZone::get(&account.zone).expect("a zone");
        let washed = account.machines[0].days.iter().position(|day| day.minima.len() > 10).expect("racks");
        for (place, day) in account.machines[0].days.iter_mut().enumerate() {
            if place != washed {
                day.minima.clear();
            }
        }
        let reader = Reader { language: Language::English, scale: Scale::Celsius, zone: zone.clone() };
        let machine = &account.machines[0];
        let (from, to) = (account.from, account.to);
        let gaps = [(from, to)];
        let span = Days { machine: &machine.machine, from, to, days: &machine.days, gaps: &gaps };
        let plot = plot(span.narrowed(&zone), &reader);
        assert!(plot.x.to <= 25.0 * 3600.0 && plot.x.ticks.len() >= 8, "{:?}", plot.x);
        assert!(plot.x.ticks.iter().any(|tick| tick.label == "12:00"), "{:?}", plot.x);
        assert!(plot.points.iter().all(|point| (0.0..=plot.x.to).contains(&point.x)));
        assert!(plot.windows.iter().all(|window| window.from >= 0.0 && window.to <= plot.x.to));
        let whole = samples::month();
        let span = Days { days: &whole.machines[0].days, ..span };
        assert_eq!(span.narrowed(&zone).from, from, "a month of racks stays a month");
    }

    // Own promise: a rack that passed and is in doubt is drawn as one, whatever else lies at its place, and the key and the
    // description count them.
    #[test]
    fn racks_in_doubt_have_a_mark_of_their_own() {
        let mut account = samples::month();
        let rings = |plot: &Plot| plot.points.iter().filter(|point| point.shape == Shape::Ring).count();
        let said = |plot: &Plot| plot.key.iter().any(|(shape, _)| *shape == Shape::Ring);
        let plot = drawn(&account, Scale::Celsius);
        assert!(rings(&plot) == 0 && !said(&plot));
        let day = account.machines[0].days.iter_mut().find(|day| day.minima.len() > 3).expect("racks");
        let pass = u8::try_from(Verdict::ALL.len() - 1).expect("few");
        day.minima = vec![(60, 84.0, pass), (60, 84.0, pass), (9_000, 85.0, pass)];
        // One of them has no mark.
        (day.in_doubt, day.minima_in_doubt) = (3, vec![1, 2]);
        let plot = drawn(&account, Scale::Celsius);
        assert_eq!(rings(&plot), 2);
        assert!(plot.key.contains(&(Shape::Ring, "of these in doubt: 3".to_owned())), "{:?}", plot.key);
        assert!(plot.description.contains(", of these in doubt: 3."), "{}", plot.description);
    }

    // Own promise: the key names no mark that is not in the picture without saying so.
    #[test]
    fn the_key_says_what_is_not_drawn() {
        let mut account = samples::month();
        let place = |judged| Verdict::ALL.iter().position(|verdict| *verdict == judged).expect("it is one");
        let cold = u8::try_from(place(Verdict::Cold)).expect("few");
        let said = |account: &crate::report::account::Account, word: &str| {
            let key = drawn(account, Scale::Celsius).key;
            key.into_iter().map(|(_, text)| text).find(|text| text.starts_with(word)).expect("in the key")
        };
        let all = account.machines[0].counts.cold;
        assert_eq!(said(&account, "cold"), format!("cold: {all}"));
        let days = &mut account.machines[0].days;
        let day = days.iter_mut().find(|day| day.counts.cold > 0).expect("a cold rack");
        let gone = day.counts.cold;
        day.minima.retain(|(_, _, judged)| *judged != cold);
        let some = if gone == all { "not drawn".to_owned() } else { format!("{gone} not drawn") };
        assert_eq!(said(&account, "cold"), format!("cold: {all} ({some})"));
        account.machines[0].days.iter_mut().for_each(|day| day.minima.clear());
        assert_eq!(said(&account, "cold"), format!("cold: {all} (not drawn)"));
    }

    // Own limit: the picture of a year is not larger than its cells for each verdict.
    #[test]
    fn a_year_stays_of_bounded_size() {
        let month = drawn(&samples::month(), Scale::Fahrenheit);
        let year = drawn(&samples::span(365), Scale::Fahrenheit);
        assert!(
            year.points.len() < 8 * month.points.len(),
            "{} of {}",
            year.points.len(),
            month.points.len()
        );
        assert!(year.svg(super::super::Size { width: 720, height: 300 }).len() < 1_500_000);
    }

    #[test]
    fn a_span_without_a_rack_is_drawn() {
        let mut account = samples::month();
        account.machines[0].days.clear();
        let plot = drawn(&account, Scale::Celsius);
        assert!(plot.title.ends_with("no rack"), "{}", plot.title);
        assert!(plot.points.is_empty() && plot.lines.is_empty() && plot.bands.is_empty());
    }
}
