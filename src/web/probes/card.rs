//! The part of one probe.

use std::fmt::Write as _;

use askama::Template;

use super::words::{self, Words, words};
use super::{Due, Seen};
use crate::core::presence::Recency;
use crate::core::reader::Reader;
use crate::core::technician::gauge::KEPT_S;
use crate::core::technician::told;
use crate::core::technician::words::correction;
use crate::web::age::Line;
use crate::web::frame::said;
use crate::web::now::Card;

#[derive(Template)]
#[template(path = "web/probes/card.html", config = ".askama.toml")]
struct CardPart<'a> {
    seen: &'a Seen,
    up: &'a str,
    /// The class of the frame: `good`, `doubt`, `bad`.
    tells: &'static str,
    /// How it is: a sign, and in a word.
    sign: &'static str,
    how: &'static str,
    place: &'static str,
    value: Option<String>,
    before: Option<String>,
    trend: &'static str,
    rate: Option<String>,
    heard: Option<String>,
    troubles: Vec<Line>,
    /// That a comparison found it off.
    off: &'static str,
    lines: Vec<String>,
    minute: Option<String>,
}

/// The parts of these probes; `up` leads to the top of the site.
pub(in crate::web) fn cards<'a>(
    seen: impl IntoIterator<Item = &'a Seen>,
    reader: &Reader,
    up: &str,
) -> Result<Vec<Card>, askama::Error> {
    seen.into_iter().map(|seen| card(seen, reader, up)).collect()
}

fn card(seen: &Seen, reader: &Reader, up: &str) -> Result<Card, askama::Error> {
    let language = reader.language;
    let words = words(language);
    let troubles = troubles(seen, words, reader);
    let (tells, sign, how) = how_it_is(seen, words);
    let heard = seen.recency.and_then(|recency| match recency {
        Recency::Now => Some(words.just_now.to_owned()),
        Recency::Aged(_) | Recency::Late(_) | Recency::Silent(_) => told::aged(language, recency),
    });
    let counts = seen.recency.is_none_or(Recency::counts);
    let part = CardPart {
        seen,
        up,
        tells,
        sign,
        how,
        place: words::place(seen.place, language),
        value: seen.shown_c.map(|(_, corrected)| reader.temperature(corrected)),
        before: seen
            .shown_c
            .filter(|_| seen.in_force.correction.is_some())
            .map(|(measured, _)| format!("{} {}", reader.temperature(measured), words.before)),
        trend: seen.trend.filter(|_| counts).map_or("", |trend| told::trend(language, trend)),
        rate: seen.per_s.filter(|_| counts).map(rate),
        heard,
        troubles,
        off: words.off,
        lines: lines(seen, words, reader),
        minute: minute(seen),
    };
    Ok(Card { html: part.render()? })
}

/// How a probe is: the class of its frame, a sign, and a word.
fn how_it_is(seen: &Seen, words: &Words) -> (&'static str, &'static str, &'static str) {
    match seen.recency {
        None | Some(Recency::Silent(_)) => return ("bad", "✗", words.is_silent),
        Some(Recency::Late(_)) => return ("bad", "✗", words.is_late),
        Some(Recency::Now | Recency::Aged(_)) => {}
    }
    if seen.fault.is_some() {
        return ("bad", "✗", words.at_fault);
    }
    if !seen.down.is_empty() {
        return ("bad", "⚠", words.source_down);
    }
    if seen.off.is_some() {
        return ("bad", "✗", words.is_off);
    }
    match seen.in_force.due {
        Due::Never | Due::Doubted | Due::Over | Due::Soon => ("doubt", "⚠", words.to_calibrate),
        Due::Holds => ("good", "✓", words.well),
    }
}

fn rate(per_s: f64) -> String {
    if per_s >= 0.5 { format!("{per_s:.1}/s") } else { format!("1/{:.0} s", 1.0 / per_s) }
}

fn troubles(seen: &Seen, words: &Words, reader: &Reader) -> Vec<Line> {
    let language = reader.language;
    let mut troubles: Vec<Line> = Vec::new();
    let fault = || seen.fault.map(|fault| told::fault(language, fault).into());
    match seen.recency {
        None => troubles.push(words.unheard.into()),
        Some(recency) => {
            let old = told::old(language, recency, seen.shown_c.is_some());
            let old =
                old.map(|old| Line { text: old.what.to_owned(), age: Some(old.age), ..Line::default() });
            troubles.extend(old.or_else(fault));
        }
    }
    let down = seen.down.iter().map(|(source, cause)| format!("{} «{source}»: {cause}", words.down).into());
    troubles.extend(down);
    troubles
}

/// What is in force.
fn lines(seen: &Seen, words: &Words, reader: &Reader) -> Vec<String> {
    let in_force = &seen.in_force;
    let mut lines = Vec::new();
    let record = |record: Option<u64>| {
        record.map(|record| format!(" [{} {record}]", words.record)).unwrap_or_default()
    };
    let corrects = in_force
        .correction
        .map_or_else(|| words.uncorrected.to_owned(), |found| correction(found, reader.scale));
    let until = in_force.until.as_ref().map(|until| format!(", {} {until}", words.holds));
    let due = words::due(in_force.due, reader.language);
    let due = if due.is_empty() { String::new() } else { format!(" · {due}") };
    lines.push(format!(
        "{}: {corrects}{}{}{due}",
        words.correction,
        record(in_force.calibration),
        until.unwrap_or_default()
    ));
    lines.push(match in_force.tau_s {
        Some(tau_s) => format!("{}: {tau_s:.2} s{}", words.tau, record(in_force.response)),
        None => words.no_tau.to_owned(),
    });
    let (expanded_c, near_c) = in_force.expanded_c;
    lines.push(format!(
        "{}: ±{:.2} {} {} {}",
        words.uncertain_now,
        reader.scale.difference(expanded_c),
        reader.scale.symbol(),
        said(reader.language, "at", "a"),
        reader.temperature(near_c)
    ));
    if let Some((kind, by)) = &seen.work {
        lines.push(format!("{}: {by} {}", words::kind(*kind, reader.language), words.at_work));
    }
    lines
}

/// Size of the drawing; it is stretched to the width of its card.
const DRAWN: (f64, f64) = (240.0, 40.0);
/// A minute of less than this is drawn as if it were so high, °C: the noise of a still probe is no mountain.
const HIGH_MIN_C: f64 = 2.0;

/// The last minute as a line; what it shows stands beside it in words.
fn minute(seen: &Seen) -> Option<String> {
    let values = || seen.minute.iter().map(|(_, celsius)| *celsius);
    let (low, high) = (values().fold(f64::INFINITY, f64::min), values().fold(f64::NEG_INFINITY, f64::max));
    if seen.minute.len() < 2 {
        return None;
    }
    let (middle, height) = (f64::midpoint(low, high), (high - low).max(HIGH_MIN_C));
    let mut points = String::new();
    for (ago, celsius) in &seen.minute {
        let x = (1.0 - (ago / KEPT_S).clamp(0.0, 1.0)) * DRAWN.0;
        let y = DRAWN.1 / 2.0 - (celsius - middle) / height * (DRAWN.1 - 6.0);
        // Writing to a String cannot fail.
        let _fits = write!(points, "{x:.0},{y:.1} ");
    }
    Some(format!(
        "<svg class=\"minute\" viewBox=\"0 0 {} {}\" preserveAspectRatio=\"none\" aria-hidden=\"true\">\
         <polyline points=\"{}\"/></svg>",
        DRAWN.0,
        DRAWN.1,
        points.trim_end()
    ))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::alert::AlertNumber;
    use crate::core::reader::{Language, Scale};
    use crate::web::fixture::probes;

    // Own promise: a probe that a comparison found off is never shown as well, and leads to its alert.
    #[test]
    fn what_was_found_off_is_not_well() {
        for (language, word) in [(Language::English, "found off"), (Language::Spanish, "se halló desviada")]
        {
            let reader = Reader { language, scale: Scale::Celsius, zone: jiff::tz::TimeZone::UTC };
            let mut rinse = probes().remove(1);
            assert_eq!(how_it_is(&rinse, words(language)), ("good", "✓", words(language).well));
            rinse.off = Some(AlertNumber(7));
            let html = card(&rinse, &reader, "../").expect("it renders").html;
            assert!(html.contains("tells-bad") && html.contains("../alerts/7"), "{html}");
            assert!(html.contains(word) && !html.contains("✓"), "{html}");
        }
    }
}
