//! The settled minima of one day, or of a week, against their limit.

use super::cycle::capital;
use super::words::Word;
use super::{Axis, Band, Line, Plot, Point, Shade, Shape, Stroke, Tick, Window, ticks};
use crate::core::cycle::verdict::Verdict;
use crate::core::cycle::words::{of_these_in_doubt, verdict};
use crate::core::reader::Reader;
use crate::core::record::Cycle;
use crate::core::time::Timestamp;

/// One day of one machine; a week is drawn just as well.
#[derive(Clone, Copy, Debug)]
pub struct Day<'a> {
    /// Name of the machine.
    pub machine: &'a str,
    /// Start of the day.
    pub from: Timestamp,
    /// Start of the next day: 23, 24 or 25 hours later.
    pub to: Timestamp,
    /// Its cycles in order of time.
    pub cycles: &'a [&'a Cycle],
    /// Of each of them whether it is in doubt since it passed; where none is named, none is.
    pub in_doubt: &'a [bool],
    /// Stretches without usable readings of the final-rinse probe.
    pub gaps: &'a [(Timestamp, Timestamp)],
}

/// Shortest stretch of a day that is drawn, in hours (own choice: fewer spread a few racks too far apart).
const HOURS_MIN: u64 = 3;

/// Plots a day: the whole hours that hold its racks and gaps, so that they can be told apart on a small
/// screen; a day without racks and a longer stretch in full. The band is the limit ± expanded
/// uncertainty (k = 2) of each cycle: a minimum inside it cannot be told from the limit. A cycle without a minimum stands on the lower edge.
#[must_use]
pub fn plot(day: Day<'_>, reader: &Reader) -> Plot {
    let whole = day;
    let day = closer(day);
    let say = |word: Word| word.say(reader.language);
    let scale = |celsius: f64| reader.scale.temperature(celsius);
    let seconds = |at: Timestamp| at.seconds_since(day.from);
    let length = seconds(day.to);

    let minima = || day.cycles.iter().filter_map(|cycle| cycle.rinse_min_c);
    let limits = || day.cycles.iter().map(|cycle| cycle.limit_c);
    let margin = |cycle: &Cycle| cycle.uncertainty_c.max(1.0);
    let low = day.cycles.iter().map(|cycle| cycle.limit_c - margin(cycle)).chain(minima());
    let high = day.cycles.iter().map(|cycle| cycle.limit_c + margin(cycle)).chain(minima());
    let mut y = ticks::axis(
        reader.scale.symbol().to_owned(),
        scale(low.fold(f64::INFINITY, f64::min)),
        scale(high.fold(f64::NEG_INFINITY, f64::max)),
        6,
        true,
    );
    if day.cycles.is_empty() {
        y.ticks.clear();
    }

    let lowest = day.cycles.iter().filter(|cycle| cycle.rinse_min_c.is_some()).min_by(|one, other| {
        let value = |cycle: &Cycle| cycle.rinse_min_c.unwrap_or(f64::INFINITY);
        value(one).total_cmp(&value(other))
    });
    // The worst are drawn last, over the others.
    let doubted = |place: usize| day.in_doubt.get(place).copied().unwrap_or(false);
    let mut by_verdict: Vec<(&Cycle, bool)> =
        day.cycles.iter().enumerate().map(|(place, cycle)| (*cycle, doubted(place))).collect();
    by_verdict.sort_by_key(|(cycle, in_doubt)| (std::cmp::Reverse(cycle.verdict), *in_doubt));
    let points = by_verdict.into_iter().map(|(cycle, in_doubt)| Point {
        x: seconds(cycle.rinse_started),
        y: cycle.rinse_min_c.map_or(y.from, scale),
        shape: Shape::of_rack(cycle.verdict, in_doubt),
        label: match lowest {
            Some(lowest) if std::ptr::eq(*lowest, cycle) => labelled(cycle, length, reader),
            Some(_) | None => String::new(),
        },
    });

    let gap = |(from, to): &(Timestamp, Timestamp)| Window {
        from: seconds(*from),
        to: seconds(*to),
        label: say(Word::NoData).to_owned(),
        shade: Shade::Hatched,
    };
    let (title, description) = told(whole, lowest.copied(), reader);
    Plot {
        title,
        description,
        x: hours(day.from, day.to, reader),
        windows: day.gaps.iter().map(gap).collect(),
        bands: bands(day, reader, length),
        lines: limits().next().map(|_| limit(day, reader, length)).into_iter().collect(),
        points: points.collect(),
        key: counted(day, reader),
        y,
    }
}

/// The whole hours of a day that hold what there is to draw.
fn closer(day: Day<'_>) -> Day<'_> {
    if day.to.seconds_since(day.from) > BY_HOURS_S || day.cycles.is_empty() {
        return day;
    }
    let racks = day.cycles.iter().map(|cycle| (cycle.rinse_started, cycle.rinse_started));
    let drawn = || racks.clone().chain(day.gaps.iter().copied());
    let first = drawn().map(|(from, _)| from).fold(day.to, Timestamp::min).max(day.from);
    let last = drawn().map(|(_, to)| to).fold(day.from, Timestamp::max).min(day.to);
    let hours = |count: u64| std::time::Duration::from_secs(count * 3600);
    let (first, last) = (first.since(day.from).as_secs() / 3600, last.since(day.from).as_secs() / 3600 + 1);
    let wanted = last.max(first + HOURS_MIN);
    let to = day.from.plus(hours(wanted)).min(day.to);
    // At the end of the day the hours before stand in for those that are missing.
    let from = day.from.plus(hours(first)).min(to.minus(hours(HOURS_MIN))).max(day.from);
    Day { from, to, ..day }
}

/// Hours between two marks of a stretch that is so long, in s.
fn hours_apart(length: f64) -> i64 {
    match length / 3600.0 {
        hours if hours <= 5.0 => 1,
        hours if hours <= 10.0 => 2,
        _ => 3,
    }
}

fn labelled(cycle: &Cycle, length: f64, reader: &Reader) -> String {
    let minimum = cycle.rinse_min_c.unwrap_or(cycle.limit_c);
    let (shown, _) = reader.pair(minimum, cycle.limit_c);
    let at = cycle.rinse_started;
    let date = if length <= BY_HOURS_S { String::new() } else { format!("{} ", weekday(at, reader)) };
    let name = Word::Lowest.say(reader.language);
    format!("{name} {shown} {} · {date}{}", reader.scale.symbol(), reader.clock(at))
}

/// «Wed 25» of «Wed 25 Nov 2026».
fn weekday(at: Timestamp, reader: &Reader) -> String {
    reader.day(at).split(' ').take(2).collect::<Vec<&str>>().join(" ")
}

/// Longest stretch that is marked by hours, s; a longer one is marked by days.
pub(super) const BY_HOURS_S: f64 = 36.0 * 3600.0;

/// Marks at whole hours of the site's clock, every one to three hours, or at each midnight.
pub(super) fn hours(from: Timestamp, to: Timestamp, reader: &Reader) -> Axis {
    let hour = std::time::Duration::from_secs(3600);
    let length = to.seconds_since(from);
    let (by_hours, apart) = (length <= BY_HOURS_S, hours_apart(length));
    let wanted = |at: Timestamp| {
        let clock = reader.clock(at);
        let hour = clock.split(':').next().and_then(|hour| hour.parse::<i64>().ok());
        hour.is_some_and(|hour| if by_hours { hour % apart == 0 } else { hour == 0 })
    };
    let label = |at: Timestamp| if by_hours { reader.clock(at) } else { weekday(at, reader) };
    let all = std::iter::successors(Some(from), |at| Some(at.plus(hour)));
    let inside = all.take_while(|at| *at <= to && at.plus(hour) > *at);
    let ticks = inside
        .filter(|at| wanted(*at))
        .map(|at| Tick { at: at.seconds_since(from), label: label(at) })
        .collect();
    let word = if by_hours { Word::TimeOfDay } else { Word::Day };
    Axis { label: word.say(reader.language).to_owned(), from: 0.0, to: length, ticks }
}

/// The limit over the day, in steps where it changed.
fn limit(day: Day<'_>, reader: &Reader, length: f64) -> Line {
    let scale = |celsius: f64| reader.scale.temperature(celsius);
    let mut points: Vec<(f64, f64)> = Vec::new();
    for cycle in day.cycles {
        let (at, value) = (cycle.rinse_started.seconds_since(day.from), scale(cycle.limit_c));
        match points.last().copied() {
            None => points.push((0.0, value)),
            Some((_, before)) if before.total_cmp(&value).is_ne() => {
                points.extend([(at, before), (at, value)])
            }
            Some(_) => {}
        }
    }
    points.extend(points.last().map(|(_, value)| (length, *value)));
    let first = day.cycles.first().map_or(0.0, |cycle| cycle.limit_c);
    let constant = day.cycles.iter().all(|cycle| cycle.limit_c.total_cmp(&first).is_eq());
    let name = Word::Limit.say(reader.language);
    let name = if constant { format!("{name} {}", reader.temperature(first)) } else { name.to_owned() };
    Line { points, stroke: Stroke::Limit, name }
}

fn bands(day: Day<'_>, reader: &Reader, length: f64) -> Vec<Band> {
    let scale = |celsius: f64| reader.scale.temperature(celsius);
    let edge = |at: f64, cycle: &Cycle| {
        let (limit, width) = (cycle.limit_c, cycle.uncertainty_c);
        (at, scale(limit - width), scale(limit + width))
    };
    let mut edges: Vec<(f64, f64, f64)> = Vec::new();
    for cycle in day.cycles {
        let at = cycle.rinse_started.seconds_since(day.from);
        let new = edge(at, cycle);
        match edges.last().copied() {
            None => edges.push(edge(0.0, cycle)),
            Some((_, low, high)) if low.total_cmp(&new.1).is_ne() || high.total_cmp(&new.2).is_ne() => {
                edges.extend([(at, low, high), new]);
            }
            Some(_) => {}
        }
    }
    edges.extend(edges.last().map(|(_, low, high)| (length, *low, *high)));
    if edges.is_empty() {
        return Vec::new();
    }
    vec![Band { edges, name: Word::Uncertainty.say(reader.language).to_owned() }]
}

/// Verdicts that occur, with their counts, worst first, and how many of them are in doubt.
fn counted(day: Day<'_>, reader: &Reader) -> Vec<(Shape, String)> {
    let count = |verdict| day.cycles.iter().filter(|cycle| cycle.verdict == verdict).count();
    let all = Verdict::ALL.into_iter().map(|verdict| (verdict, count(verdict)));
    let told =
        |(judged, count)| (Shape::of(judged), format!("{}: {count}", verdict(judged, reader.language)));
    let mut counted: Vec<(Shape, String)> = all.filter(|(_, count)| *count > 0).map(told).collect();
    let doubted = day.in_doubt.iter().filter(|in_doubt| **in_doubt).count();
    if doubted > 0 {
        counted.push((Shape::Ring, format!("{}: {doubted}", of_these_in_doubt(reader.language))));
    }
    counted
}

fn told(day: Day<'_>, lowest: Option<&Cycle>, reader: &Reader) -> (String, String) {
    let say = |word: Word| word.say(reader.language);
    let last = day.to.minus(std::time::Duration::from_secs(1));
    let date = match (reader.day(day.from), reader.day(last)) {
        (first, last) if first == last => first,
        (first, last) => format!("{first} – {last}"),
    };
    if day.cycles.is_empty() {
        let title = format!("{} · {date} · {}", day.machine, say(Word::NoCycles));
        return (title.clone(), format!("{title}."));
    }
    let title = format!("{} · {date} · {} {}", day.machine, day.cycles.len(), say(Word::Cycles));
    let counts: Vec<String> = counted(day, reader).into_iter().map(|(_, text)| text).collect();
    let mut description = format!("{title}: {}.", counts.join(", "));
    if let Some(cycle) = lowest {
        let (measured, limit) = reader.pair(cycle.rinse_min_c.unwrap_or(cycle.limit_c), cycle.limit_c);
        let symbol = reader.scale.symbol();
        description.push_str(&format!(
            " {}: {measured} {symbol} {} {}, {} {limit} {symbol}.",
            capital(say(Word::Lowest)),
            say(Word::At),
            reader.clock(cycle.rinse_started),
            say(Word::Against),
        ));
    }
    (title, description)
}
