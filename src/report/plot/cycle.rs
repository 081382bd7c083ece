//! The trace of one cycle: wash and rinse windows, limit, settled minimum.

use super::words::Word;
use super::{Line, Plot, Point, Shade, Shape, Stroke, Window, ticks};
use crate::core::cycle::minimum::Unjudged;
use crate::core::cycle::strength::OffRange;
use crate::core::cycle::verdict::Verdict;
use crate::core::cycle::words::verdict;
use crate::core::effect::{Trace, TraceReading};
use crate::core::reader::Reader;
use crate::core::record::{Basis, Cycle};

/// Plots a cycle on record with its trace.
///
/// The record does not hold when the settled minimum was read; it is marked at the time of the last
/// reading of the rinse window that shows what the record says was shown, and at the value that the verdict
/// stands on: one that was corrected for the probe's delay lies off the curve.
#[must_use]
pub fn plot(machine: &str, cycle: &Cycle, trace: &Trace, reader: &Reader) -> Plot {
    let say = |word: Word| word.say(reader.language);
    let scale = |celsius: f64| reader.scale.temperature(celsius);
    let seconds = |at: crate::core::time::Timestamp| at.seconds_since(cycle.started);
    let curve = |readings: &[TraceReading]| -> Vec<(f64, f64)> {
        readings.iter().map(|reading| (seconds(reading.at), scale(reading.celsius.0))).collect()
    };
    let (rinse, wash) = (curve(&trace.rinse), curve(&trace.wash));

    let (rinse_from, rinse_to) = (seconds(cycle.rinse_started), seconds(cycle.rinse_ended));
    // The wash ends with its last reading, and the pause that follows it is no wash. Of one without readings nothing else
    // is known than that it was before the rinse.
    let wash_to = wash.last().map_or(rinse_from, |last| last.0.min(rinse_from));
    let all = || rinse.iter().chain(&wash);
    let from = all().map(|point| point.0).fold(0.0, f64::min);
    let to = all().map(|point| point.0).fold(rinse_to, f64::max);
    let limit = scale(cycle.limit_c);
    let mark = settled(cycle, &rinse, (rinse_from, rinse_to), reader);
    let heights = || all().map(|point| point.1).chain(mark.as_ref().map(|mark| mark.y));
    let low = heights().fold(limit - 1.0, f64::min);
    let high = heights().fold(limit + 1.0, f64::max);

    let (headline, spoken) = told(machine, cycle, reader);
    let limit_name = format!("{} {}", say(Word::Limit), reader.temperature(cycle.limit_c));
    let mut lines =
        vec![Line { points: rinse.clone(), stroke: Stroke::Rinse, name: say(Word::Rinse).to_owned() }];
    if !wash.is_empty() {
        lines.push(Line { points: wash, stroke: Stroke::Wash, name: say(Word::WashTank).to_owned() });
    }
    let ends = vec![(from, limit), (to, limit)];
    lines.push(Line { points: ends, stroke: Stroke::Limit, name: limit_name });

    let window = |from, to, word: Word, shade| Window { from, to, label: say(word).to_owned(), shade };
    Plot {
        title: headline,
        description: spoken,
        x: ticks::axis(say(Word::SecondsFromStart).to_owned(), from, to, 10, false),
        y: ticks::axis(reader.scale.symbol().to_owned(), low, high, 6, true),
        windows: vec![
            window(0.0, wash_to, Word::Wash, Shade::Light),
            window(rinse_from, rinse_to, Word::RinseWindow, Shade::Strong),
        ],
        bands: Vec::new(),
        lines,
        points: mark.into_iter().collect(),
        key: Vec::new(),
    }
}

/// The settled minimum, where the trace shows it.
fn settled(cycle: &Cycle, rinse: &[(f64, f64)], window: (f64, f64), reader: &Reader) -> Option<Point> {
    let raw = reader.scale.temperature(cycle.rinse_min_raw_c?);
    let (x, _) = rinse
        .iter()
        .copied()
        .filter(|(at, _)| (window.0..=window.1).contains(at))
        .rev()
        .min_by(|one, other| (one.1 - raw).abs().total_cmp(&(other.1 - raw).abs()))?;
    let judged = cycle.rinse_min_c?;
    let y = reader.scale.temperature(judged);
    let (shown, _) = reader.pair(judged, cycle.limit_c);
    let note = match cycle.basis {
        Basis::Raw => String::new(),
        Basis::LagCorrected => format!(" ({})", Word::Corrected.say(reader.language)),
    };
    let name = Word::SettledMinimum.say(reader.language);
    let label = format!("{name} {shown} {}{note}", reader.scale.symbol());
    Some(Point { x, y, shape: Shape::of(cycle.verdict), label })
}

/// Title and description.
fn told(machine: &str, cycle: &Cycle, reader: &Reader) -> (String, String) {
    let say = |word: Word| word.say(reader.language);
    let judged = verdict(cycle.verdict, reader.language);
    let unjudged = Unjudged::of(cycle);
    let figures = match cycle.rinse_min_c.or(unjudged.map(|unjudged| unjudged.celsius)) {
        Some(minimum) => {
            let (measured, limit) = reader.pair(minimum, cycle.limit_c);
            let symbol = reader.scale.symbol();
            let beside = unjudged.map(|unjudged| format!(", {}", unjudged.word(reader.language)));
            let beside = beside.unwrap_or_default();
            format!("{measured} {symbol} {} {limit} {symbol}{beside}", say(Word::Against))
        }
        None => say(Word::NoMinimum).to_owned(),
    };
    let off = OffRange::of(cycle).map(|off| off.told(reader.language));
    // What decided stands over the curve; the temperature of a weak rack may be fine.
    let why = match &off {
        Some(off) if cycle.verdict == Verdict::Weak => off.clone(),
        Some(off) => format!("{figures}; {off}"),
        None => figures.clone(),
    };
    let title = format!("{machine} · {} · {judged}: {why}", reader.clock(cycle.rinse_started));
    let off = off.map(|off| format!(" {}.", capital(&off))).unwrap_or_default();
    let description = format!(
        "{machine}, {}: {judged}.{off} {}: {figures}.",
        reader.moment(cycle.rinse_started),
        capital(say(Word::SettledMinimum)),
    );
    (title, description)
}

/// The text with its first letter as a capital.
pub(super) fn capital(text: &str) -> String {
    let mut characters = text.chars();
    characters.next().map(|first| first.to_uppercase().chain(characters).collect()).unwrap_or_default()
}
