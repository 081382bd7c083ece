//! How often an alert came back after it had ended, and when: one list of the words for page, terminal and message.

use serde::{Deserialize, Serialize};

use crate::core::counted::Noun;
use crate::core::reader::{Language, Reader, filled, said};
use crate::core::time::Timestamp;

/// Most returns that are told each with its time (own choice: what one line can show); of more the count and the last.
const TOLD_MAX: usize = 3;

/// The returns of one alert. [`Returns::latest`] holds the latest ones, at most as many as are told.
#[derive(Clone, PartialEq, Eq, Debug, Default, Serialize, Deserialize)]
pub struct Returns {
    /// How many.
    pub count: u64,
    /// When the latest ones were, in order.
    pub latest: Vec<Timestamp>,
}

impl FromIterator<Timestamp> for Returns {
    fn from_iter<I: IntoIterator<Item = Timestamp>>(times: I) -> Self {
        let mut returns = Self::default();
        times.into_iter().for_each(|at| returns.push(at));
        returns
    }
}

impl Returns {
    /// Counts one more.
    pub fn push(&mut self, at: Timestamp) {
        if self.latest.len() == TOLD_MAX {
            self.latest.remove(0);
        }
        self.latest.push(at);
        self.count += 1;
    }

    /// Whether it never came back.
    #[must_use]
    pub const fn is_empty(&self) -> bool {
        self.count == 0
    }

    /// When it did: «Sat 28 Nov 2026, 13:31 and 17:34 UTC», or how often and the last time; without the day where all
    /// were on that of `now`. `None` where it never did.
    #[must_use]
    pub fn when(&self, reader: &Reader, now: Option<Timestamp>) -> Option<String> {
        let last = [*self.latest.last()?];
        if let Some(all) = self.all() {
            return Some(times(all, reader, now));
        }
        let phrase = said(reader.language, "{count}, last {at}", "{count}, la última {at}");
        let (count, at) = (Noun::Times.of(self.count, reader.language), times(&last, reader, now));
        Some(filled(phrase, &[("count", &count), ("at", &reader.with_article(at))]))
    }

    /// Its place in a line: «came back 2 times (13:31 and 17:34 EST)».
    pub(crate) fn in_line(&self, reader: &Reader, now: Timestamp) -> Option<String> {
        let last = [*self.latest.last()?];
        let at = match self.all() {
            Some(all) => times(all, reader, Some(now)),
            None => filled(
                said(reader.language, "last {at}", "última {at}"),
                &[("at", &times(&last, reader, Some(now)))],
            ),
        };
        Some(format!("{} ({at})", self.how_often(reader.language)))
    }

    /// «came back 2 times».
    pub(crate) fn how_often(&self, language: Language) -> String {
        format!("{} {}", said(language, "came back", "volvió"), Noun::Times.of(self.count, language))
    }

    /// That it had ended and came back, when, and of which times its racks are; `None` where it never did.
    #[must_use]
    pub fn told(&self, has_older_racks: bool, reader: &Reader) -> Option<String> {
        let at = self.when(reader, None)?;
        // How often stands first of many, which takes no article.
        let at = if self.all().is_some() { reader.with_article(at) } else { at };
        let language = reader.language;
        let (came, racks) = if has_older_racks {
            (
                said(
                    language,
                    "It had ended, and came back {at}: {racks}",
                    "Había terminado, y volvió {at}: {racks}",
                ),
                filled(
                    said(language, "its racks are those of {all}.", "sus canastas son las de {all}."),
                    &[("all", &all_times(self.count + 1, language))],
                ),
            )
        } else {
            (
                said(language, "It had ended, and came back {at}.", "Había terminado, y volvió {at}."),
                String::new(),
            )
        };
        Some(filled(came, &[("at", &at), ("racks", &racks)]))
    }

    /// Every one, where each is told with its time.
    fn all(&self) -> Option<&[Timestamp]> {
        (self.latest.len() as u64 == self.count).then_some(self.latest.as_slice())
    }
}

/// So many times, every one of them.
fn all_times(count: u64, language: Language) -> String {
    match (count, language) {
        (2, Language::English) => "both times".to_owned(),
        (3, Language::English) => "all three times".to_owned(),
        (4, Language::English) => "all four times".to_owned(),
        (_, Language::English) => format!("all {count} times"),
        (2, Language::Spanish) => "las dos veces".to_owned(),
        (3, Language::Spanish) => "las tres veces".to_owned(),
        (4, Language::Spanish) => "las cuatro veces".to_owned(),
        (_, Language::Spanish) => format!("las {count} veces"),
    }
}

/// Several times in one sentence: day and zone stand once where they are the same.
fn times(times: &[Timestamp], reader: &Reader, now: Option<Timestamp>) -> String {
    let ([first, ..], [before @ .., last]) = (times, times) else { return String::new() };
    let zone = |at: Timestamp| {
        reader.clock_and_zone(at).strip_prefix(&reader.clock(at)).map(str::to_owned).unwrap_or_default()
    };
    let is_one = |at: &Timestamp| reader.day(*at) == reader.day(*first) && zone(*at) == zone(*first);
    let and = said(reader.language, " and ", " y ");
    if times.iter().all(is_one) {
        let clocks: Vec<String> = before.iter().map(|at| reader.clock(*at)).collect();
        let day = now.is_none_or(|now| reader.day(now) != reader.day(*first));
        let day = if day { format!("{}, ", reader.day(*first)) } else { String::new() };
        let and = if clocks.is_empty() { "" } else { and };
        return format!("{day}{}{and}{}", clocks.join(", "), reader.clock_and_zone(*last));
    }
    let whole = |at: &Timestamp| reader.moment(*at);
    format!("{};{and}{}", before.iter().map(whole).collect::<Vec<_>>().join("; "), whole(last))
}

#[cfg(test)]
mod tests {
    use jiff::tz::TimeZone;

    use super::*;
    use crate::core::reader::Scale;

    fn returns(times: &[&str]) -> Returns {
        times.iter().map(|at| at.parse::<Timestamp>().expect("an instant")).collect()
    }

    // Regression: of an alert that came back twice the second spell was told as «both times», and the one between was
    // not named. Own rule: up to three returns are told each with its time, of more how many and the last.
    #[test]
    fn each_return_is_told_or_how_many() {
        let day =
            ["2026-11-28T13:31:00Z", "2026-11-28T17:34:00Z", "2026-11-28T18:00:00Z", "2026-11-28T19:00:00Z"];
        let days = ["2026-11-27T23:31:00Z", "2026-11-28T17:34:00Z"];
        let rows: [(&[&str], Language, &str); 9] = [
            (&day[..1], Language::English, "Sat 28 Nov 2026, 13:31 UTC: its racks are those of both times."),
            (
                &day[..2],
                Language::English,
                "Sat 28 Nov 2026, 13:31 and 17:34 UTC: its racks are those of all three times.",
            ),
            (
                &day[..3],
                Language::English,
                "28 Nov 2026, 13:31, 17:34 and 18:00 UTC: its racks are those of all four times.",
            ),
            (
                &day,
                Language::English,
                "came back 4 times, last Sat 28 Nov 2026, 19:00 UTC: its racks are those of all 5 times.",
            ),
            (&days, Language::English, "Fri 27 Nov 2026, 23:31 UTC; and Sat 28 Nov 2026, 17:34 UTC: its"),
            (
                &day[..1],
                Language::Spanish,
                "volvió el sáb 28 nov 2026, 13:31 UTC: sus canastas son las de las dos veces.",
            ),
            (
                &day[..2],
                Language::Spanish,
                "volvió el sáb 28 nov 2026, 13:31 y 17:34 UTC: sus canastas son las de las tres veces.",
            ),
            (
                &day,
                Language::Spanish,
                "volvió 4 veces, la última el sáb 28 nov 2026, 19:00 UTC: sus canastas son las de las 5 veces.",
            ),
            (
                &days,
                Language::Spanish,
                "volvió el vie 27 nov 2026, 23:31 UTC; y sáb 28 nov 2026, 17:34 UTC: sus",
            ),
        ];
        for (times, language, expected) in rows {
            let reader = Reader { language, scale: Scale::Celsius, zone: TimeZone::UTC };
            let told = returns(times).told(true, &reader).expect("it came back");
            assert!(told.contains(expected), "{told}");
            let plain = returns(times).told(false, &reader).expect("it came back");
            assert!(plain.ends_with("UTC."), "{plain}");
            assert_eq!(Returns::default().told(true, &reader), None);
        }
    }

    // Own promise: a line of a message leaves the day out where it is its own.
    #[test]
    fn a_line_says_how_often_and_when() {
        let now = "2026-11-28T20:00:00Z".parse::<Timestamp>().expect("an instant");
        let many = ["2026-11-28T13:31:00Z"; 4];
        for (times, language, expected) in [
            (&many[..1], Language::English, "came back 1 time (13:31 UTC)"),
            (&many[..2], Language::Spanish, "volvió 2 veces (13:31 y 13:31 UTC)"),
            (&many, Language::English, "came back 4 times (last 13:31 UTC)"),
        ] {
            let reader = Reader { language, scale: Scale::Celsius, zone: TimeZone::UTC };
            assert_eq!(returns(times).in_line(&reader, now).as_deref(), Some(expected));
        }
    }
}
