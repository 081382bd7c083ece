//! The part of a channel of the sanitizing solution: its newest test, how old that is, and where it comes from.
//!
//! Nothing of it is calibrated or measured for its response as a temperature probe is.

use std::time::Duration;

use askama::Template;

use super::words::{self, Words, words};
use crate::core::channel::Solution;
use crate::core::reader::{Language, Reader};
use crate::core::sanitizer::bound::Asked;
use crate::core::sanitizer::shown;
use crate::core::technician::told::ago;
use crate::core::time::Timestamp;
use crate::web::age::Line;
use crate::web::frame::said;
use crate::web::now::Card;

/// A value of the sanitizing solution, and where it comes from.
#[derive(Clone, PartialEq, Debug)]
pub struct Tested {
    /// Concentration in mg/L, or pH.
    pub value: f64,
    /// When it was measured.
    pub at: Timestamp,
    /// Who entered it; `None` where a probe measured it.
    pub by: Option<String>,
    /// The channel of the probe that measured it, `<machine>/<probe>`, where that is known.
    pub channel: Option<String>,
    /// Its record; absent where it is newer than what is on record of its line.
    pub record: Option<u64>,
}

impl Tested {
    /// Where it comes from, as it stands behind the value.
    #[must_use]
    pub fn origin(&self, language: Language) -> String {
        match (&self.by, &self.channel) {
            (None, Some(channel)) => {
                format!("{} {channel}", said(language, "measured by the probe", "medido por la sonda"))
            }
            (None, None) => said(language, "measured by its probe", "medido por su sonda").to_owned(),
            (Some(by), _) => format!("{} {by}", said(language, "test entered by", "prueba anotada por")),
        }
    }
}

/// One channel of the sanitizing solution as it is just now.
#[derive(Clone, PartialEq, Debug)]
pub struct SolutionSeen {
    /// Its place among the channels; names its part of the page.
    pub number: u16,
    /// Name of its machine.
    pub machine: String,
    /// Its own name.
    pub probe: String,
    /// What it tells.
    pub solution: Solution,
    /// The newest value that is known.
    pub tested: Option<Tested>,
    /// How old that is.
    pub age: Option<Duration>,
    /// When its line delivered anything last; `None` where it did not since the start.
    pub arrived: Option<Timestamp>,
    /// Whether nothing is known that racks are still judged by.
    pub silent: bool,
    /// Whether that value is outside what sanitizes.
    pub off: bool,
    /// What is asked of it; absent where nothing is.
    pub asked: Option<Asked>,
    /// For how long racks are judged by a value.
    pub holds: Duration,
    /// Sources that are down and could deliver it, and why.
    pub down: Vec<(String, String)>,
}

#[derive(Template)]
#[template(path = "web/probes/solution.html", config = ".askama.toml")]
struct SolutionPart<'a> {
    seen: &'a SolutionSeen,
    tells: &'static str,
    sign: &'static str,
    how: &'static str,
    what: &'static str,
    value: Option<String>,
    asked: Option<String>,
    troubles: Vec<String>,
    lines: Vec<Line>,
}

/// A value with its unit.
#[must_use]
pub fn value(solution: Solution, value: f64) -> String {
    match solution {
        Solution::Strength => format!("{} mg/L", shown(value)),
        Solution::Ph => format!("pH {value}"),
    }
}

/// The parts of these channels.
pub(in crate::web) fn parts<'a>(
    seen: impl IntoIterator<Item = &'a SolutionSeen>,
    reader: &Reader,
) -> Result<Vec<Card>, askama::Error> {
    seen.into_iter().map(|seen| part(seen, reader)).collect()
}

fn part(seen: &SolutionSeen, reader: &Reader) -> Result<Card, askama::Error> {
    let language = reader.language;
    let words = words(language);
    let (tells, sign, how) = match (seen.silent, seen.off) {
        (true, _) => ("bad", "✗", words.is_silent),
        (false, true) => ("bad", "✗", words.off_range),
        (false, false) => ("good", "✓", words.well),
    };
    let part = SolutionPart {
        seen,
        tells,
        sign,
        how,
        what: words::solution(seen.solution, language),
        value: seen.tested.as_ref().map(|tested| value(seen.solution, tested.value)),
        asked: seen.asked.map(|asked| asked.told(language)),
        troubles: troubles(seen, words),
        lines: lines(seen, words, reader),
    };
    Ok(Card { html: part.render()? })
}

fn troubles(seen: &SolutionSeen, words: &Words) -> Vec<String> {
    let minutes = seen.holds.as_secs() / 60;
    let holds =
        if minutes.is_multiple_of(60) { format!("{} h", minutes / 60) } else { format!("{minutes} min") };
    let silent = match (seen.silent, &seen.tested) {
        (true, None) => Some(words.untested.to_owned()),
        (true, Some(_)) => Some(format!("{} {holds}", words.too_old)),
        (false, _) => None,
    };
    let down = seen.down.iter().map(|(source, cause)| format!("{} «{source}»: {cause}", words.down));
    silent.into_iter().chain(down).collect()
}

/// When it was measured, and where that comes from.
fn lines(seen: &SolutionSeen, words: &Words, reader: &Reader) -> Vec<Line> {
    let (Some(tested), Some(age)) = (&seen.tested, seen.age) else { return Vec::new() };
    let when = reader.near(tested.at, tested.at.plus(age));
    let record = tested.record.map(|record| format!(" [{} {record}]", words.record)).unwrap_or_default();
    vec![
        Line { text: when, age: Some(format!(", {}", ago(age, reader.language))), ..Line::default() },
        format!("{}{record}", tested.origin(reader.language)).into(),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::cycle::plate::Sanitizing;
    use crate::core::reader::Scale;
    use crate::core::sanitizer::Rules;
    use crate::web::fixture::{NOW, solutions};

    // Own promise: each says what it is, its newest value with its unit, how old that is and where it comes from, in
    // either language; one that is too old, outside its range or unknown is never shown as well.
    #[test]
    fn each_says_how_old_its_value_is_and_where_it_comes_from() {
        let rules = Rules::default();
        let minutes = |count: u64| Duration::from_secs(60 * count);
        let made = |language, tested: Option<(f64, u64, Option<&str>)>, solution, off| {
            let reader = Reader { language, scale: Scale::Celsius, zone: jiff::tz::TimeZone::UTC };
            let seen = SolutionSeen {
                solution,
                off,
                asked: tested.and_then(|(value, ..)| rules.asked(Sanitizing::Chlorine, value)),
                silent: tested.is_none_or(|(_, age, _)| age > 8 * 60),
                age: tested.map(|(_, age, _)| minutes(age)),
                tested: tested.map(|(value, age, by)| Tested {
                    value,
                    at: NOW.minus(minutes(age)),
                    by: by.map(str::to_owned),
                    channel: by.is_none().then(|| "dm1/sanitizer".to_owned()),
                    record: by.map(|_| 12),
                }),
                ..solutions().remove(0)
            };
            part(&seen, &reader).expect("it renders").html
        };
        use Language::{English, Spanish};
        use Solution::{Ph, Strength};
        for (language, tested, solution, off, said) in [
            (
                English,
                Some((100.0, 141, None)),
                Strength,
                false,
                &[
                    "✓</span> well",
                    "100 mg/L<small>25 to 200 mg/L</small>",
                    "09:39 UTC<span class=\"age\">, 2 h 21 min ago</span>",
                    "measured by the probe dm1/sanitizer",
                ][..],
            ),
            (
                Spanish,
                Some((7.5, 20, Some("Ana <b>"))),
                Ph,
                false,
                &[
                    "✓</span> bien",
                    "pH 7.5",
                    "hace 20 min",
                    "prueba anotada por Ana &#60;b&#62; [asiento 12]",
                ],
            ),
            (
                English,
                Some((10.0, 5, None)),
                Strength,
                true,
                &["✗</span> outside its range", "10 mg/L<small>at least 25 mg/L</small>"],
            ),
            (
                Spanish,
                Some((300.0, 5, None)),
                Strength,
                true,
                &["300 mg/L<small>como máximo 200 mg/L</small>"],
            ),
            (
                English,
                Some((100.0, 481, None)),
                Strength,
                false,
                &["✗</span> silent", "100 mg/L", "TOO OLD: racks are judged by a test for 8 h"],
            ),
            (English, None, Strength, false, &["✗</span> silent", "NOTHING ON RECORD", "–"]),
        ] {
            let html = made(language, tested, solution, off);
            for said in said {
                assert!(html.contains(said), "{said}: {html}");
            }
            assert_eq!(html.contains("tells-good"), html.contains("✓"), "{html}");
            assert!(!html.contains("href"), "nothing is done with it: {html}");
        }
    }
}
