//! What the probes of a machine showed in the last minutes, against the limit of its final rinse.

use super::words::Word;
use super::{Axis, Line, Plot, Stroke, Tick, ticks};
use crate::core::reader::{Reader, filled};
use crate::core::time::Timestamp;

/// The last minutes of one machine.
#[derive(Clone, Copy, Debug)]
pub struct Live<'a> {
    /// Name of the machine.
    pub machine: &'a str,
    /// Where the plot begins.
    pub from: Timestamp,
    /// Where it ends: now.
    pub to: Timestamp,
    /// Instants and °C of the final-rinse probe, in order.
    pub rinse: &'a [(Timestamp, f64)],
    /// The same of the wash tank's.
    pub wash: &'a [(Timestamp, f64)],
    /// Limit of the final rinse, °C.
    pub limit_c: f64,
}

/// Seconds without a reading that break a line.
const BREAK_S: f64 = 15.0;
/// Minutes between two marks.
const MINUTES: i32 = 2;

/// Plots the last minutes.
#[must_use]
pub fn plot(live: Live<'_>, reader: &Reader) -> Plot {
    let say = |word: Word| word.say(reader.language);
    let scale = |celsius: f64| reader.scale.temperature(celsius);
    let minutes = |at: Timestamp| at.seconds_since(live.to) / 60.0;
    let curve = |readings: &[(Timestamp, f64)]| -> Vec<(f64, f64)> {
        let mut points: Vec<(f64, f64)> = Vec::with_capacity(readings.len());
        for (at, celsius) in readings.iter().filter(|(at, _)| *at >= live.from && *at <= live.to) {
            let x = minutes(*at);
            if points.last().is_some_and(|last| (x - last.0) * 60.0 > BREAK_S) {
                points.push((x, f64::NAN));
            }
            points.push((x, scale(*celsius)));
        }
        points
    };
    let (rinse, wash) = (curve(live.rinse), curve(live.wash));
    let newest: Vec<String> = [(live.rinse, Word::Rinse), (live.wash, Word::WashTank)]
        .into_iter()
        .filter_map(|(readings, word)| {
            let (_, celsius) = readings.iter().rev().find(|(at, _)| *at >= live.from && *at <= live.to)?;
            Some(format!("{}: {}", say(word), reader.temperature(*celsius)))
        })
        .collect();
    let limit = scale(live.limit_c);
    let shown = || rinse.iter().chain(&wash).map(|point| point.1).filter(|value| value.is_finite());
    let low = shown().fold(limit - 2.0, f64::min);
    let high = shown().fold(limit + 2.0, f64::max);
    let from = minutes(live.from);
    let mut lines = Vec::new();
    for (points, stroke, word) in [(rinse, Stroke::Rinse, Word::Rinse), (wash, Stroke::Wash, Word::WashTank)]
    {
        if !points.is_empty() {
            lines.push(Line { points, stroke, name: say(word).to_owned() });
        }
    }
    let nothing = lines.is_empty();
    let name = format!("{} {}", say(Word::Limit), reader.temperature(live.limit_c));
    lines.push(Line { points: vec![(from, limit), (0.0, limit)], stroke: Stroke::Limit, name });
    let title = format!("{} · {}", live.machine, say(Word::LastMinutes));
    // What the picture shows, for whoever does not see it; its title is read before.
    let shown = if nothing { super::cycle::capital(say(Word::NoData)) } else { newest.join(", ") };
    let limit = format!("{} {}", say(Word::Limit), reader.temperature(live.limit_c));
    let time = reader.with_article(reader.clock_and_zone(live.to));
    let description = format!("{}. {shown}. {}.", reader.moment(live.to), super::cycle::capital(&limit));
    Plot {
        title,
        description,
        // By the clock, so that it holds also where nobody draws it anew.
        x: axis(filled(say(Word::MinutesBefore), &[("time", &time)]), from),
        y: ticks::axis(reader.scale.symbol().to_owned(), low, high, 6, true),
        lines,
        ..Plot::default()
    }
}

/// Marks at whole minutes before the end.
fn axis(label: String, from: f64) -> Axis {
    let marks = (0..).map(|count| -count * MINUTES).take_while(|at| f64::from(*at) >= from - 1e-9);
    let mut ticks: Vec<Tick> = marks.map(|at| Tick { at: f64::from(at), label: (-at).to_string() }).collect();
    ticks.reverse();
    Axis { label, from, to: 0.0, ticks }
}

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use super::*;
    use crate::core::reader::{Language, Scale};

    // Own promise: the picture says by the clock when it ends, so that it holds also where nobody draws it anew.
    #[test]
    fn the_axis_says_before_when() {
        let to = Timestamp::from_micros(1_795_694_400_000_000);
        for (language, label) in [
            (Language::English, "minutes before 12:00 UTC"),
            (Language::Spanish, "minutos antes de las 12:00 UTC"),
        ] {
            let reader = Reader { language, scale: Scale::Celsius, zone: jiff::tz::TimeZone::UTC };
            let from = to.minus(Duration::from_secs(600));
            let live = Live { machine: "dm1", from, to, rinse: &[], wash: &[], limit_c: 82.2 };
            assert_eq!(plot(live, &reader).x.label, label);
        }
    }

    // Own rules: a line is broken where nothing came, and where nothing came at all that is said.
    #[test]
    fn what_did_not_come_is_not_drawn() {
        let reader =
            Reader { language: Language::English, scale: Scale::Celsius, zone: jiff::tz::TimeZone::UTC };
        let to = Timestamp::from_micros(1_795_694_400_000_000);
        let ago = |seconds| to.minus(Duration::from_secs(seconds));
        let rinse = [(ago(700), 20.0), (ago(120), 60.0), (ago(119), 61.0), (ago(60), 84.0)];
        let live = Live { machine: "dm1", from: ago(600), to, rinse: &rinse, wash: &[], limit_c: 82.2 };
        let drawn = plot(live, &reader);
        let points = &drawn.lines[0].points;
        assert_eq!(points.len(), 4, "{points:?}");
        assert!(points[2].1.is_nan() && !drawn.description.contains("No data"), "{drawn:?}");
        assert_eq!(drawn.x.ticks.first().map(|tick| tick.label.as_str()), Some("10"));
        let empty = plot(Live { rinse: &[], ..live }, &reader);
        assert!(empty.lines.len() == 1 && empty.description.contains("No data."), "{empty:?}");
    }

    // WCAG 2.2, 1.1.1: what the picture is for is said in words, and not its title once more.
    #[test]
    fn the_newest_values_and_the_limit_are_told() {
        let reader =
            Reader { language: Language::English, scale: Scale::Celsius, zone: jiff::tz::TimeZone::UTC };
        let to = Timestamp::from_micros(1_795_694_400_000_000);
        let ago = |seconds| to.minus(Duration::from_secs(seconds));
        let (rinse, wash) = ([(ago(120), 60.0), (ago(60), 84.0)], [(ago(30), 66.5)]);
        let live = Live { machine: "dm1", from: ago(600), to, rinse: &rinse, wash: &wash, limit_c: 82.2 };
        let Plot { title, description, .. } = plot(live, &reader);
        assert!(!description.contains(&title), "{description}");
        for said in ["84.0 °C", "66.5 °C", "imit 82.2 °C"] {
            assert!(description.contains(said), "{said}: {description}");
        }
    }
}
