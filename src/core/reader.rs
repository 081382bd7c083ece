//! In which words and on which scale somebody wants to read.

use std::fmt;
use std::str::FromStr;

use jiff::civil::Date;
use jiff::tz::TimeZone;
use serde::{Deserialize, Serialize};

use super::time::Timestamp;

/// Language of a message, a picture or a page.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default, Serialize, Deserialize)]
pub enum Language {
    /// English.
    #[default]
    #[serde(rename = "en")]
    English,
    /// Spanish.
    #[serde(rename = "es")]
    Spanish,
}

impl Language {
    /// Every language.
    pub const ALL: [Self; 2] = [Self::English, Self::Spanish];

    /// Its code of ISO 639-1, as in configuration and in the `lang` of a page.
    #[must_use]
    pub const fn code(self) -> &'static str {
        match self {
            Self::English => "en",
            Self::Spanish => "es",
        }
    }
}

impl fmt::Display for Language {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.code())
    }
}

/// The word names no language of this program.
#[derive(Clone, Copy, PartialEq, Eq, Debug, thiserror::Error)]
#[error("a language is one of en, es")]
pub struct UnknownLanguage;

impl FromStr for Language {
    type Err = UnknownLanguage;

    fn from_str(text: &str) -> Result<Self, UnknownLanguage> {
        Self::ALL.into_iter().find(|language| language.code() == text).ok_or(UnknownLanguage)
    }
}

/// One of two texts that say the same.
#[must_use]
pub const fn said(language: Language, english: &'static str, spanish: &'static str) -> &'static str {
    match language {
        Language::English => english,
        Language::Spanish => spanish,
    }
}

/// Scale of the temperatures somebody reads.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Scale {
    /// Degrees Celsius.
    #[default]
    Celsius,
    /// Degrees Fahrenheit.
    Fahrenheit,
}

impl Scale {
    /// Every scale.
    pub const ALL: [Self; 2] = [Self::Celsius, Self::Fahrenheit];

    /// Its word in configuration.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Celsius => "celsius",
            Self::Fahrenheit => "fahrenheit",
        }
    }

    /// Its symbol.
    #[must_use]
    pub const fn symbol(self) -> &'static str {
        match self {
            Self::Celsius => "°C",
            Self::Fahrenheit => "°F",
        }
    }

    /// A temperature given in °C, on this scale.
    #[must_use]
    pub fn temperature(self, celsius: f64) -> f64 {
        match self {
            Self::Celsius => celsius,
            Self::Fahrenheit => super::units::Celsius(celsius).fahrenheit(),
        }
    }

    /// A difference of temperatures given in K, on this scale: 1 K is 1.8 °F.
    #[must_use]
    pub fn difference(self, kelvin: f64) -> f64 {
        match self {
            Self::Celsius => kelvin,
            Self::Fahrenheit => kelvin * 1.8,
        }
    }

    /// The offset of a line `gain · value + offset` that is given for values in °C, for values on this scale: with
    /// F = 1.8 C + 32 on either side it is 1.8 times as much, and 32 · (1 − gain).
    #[must_use]
    pub fn offset(self, gain: f64, offset_c: f64) -> f64 {
        match self {
            Self::Celsius => offset_c,
            Self::Fahrenheit => self.difference(offset_c) + 32.0 * (1.0 - gain),
        }
    }
}

impl fmt::Display for Scale {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.as_str())
    }
}

/// The word names no scale.
#[derive(Clone, Copy, PartialEq, Eq, Debug, thiserror::Error)]
#[error("units are one of celsius, fahrenheit")]
pub struct UnknownScale;

impl FromStr for Scale {
    type Err = UnknownScale;

    fn from_str(text: &str) -> Result<Self, UnknownScale> {
        Self::ALL.into_iter().find(|scale| scale.as_str() == text).ok_or(UnknownScale)
    }
}

/// How somebody reads: language, scale, and the time zone of the site.
#[derive(Clone, PartialEq, Debug)]
pub struct Reader {
    /// Language.
    pub language: Language,
    /// Scale of temperatures.
    pub scale: Scale,
    /// Zone in which times are told: that of the site, wherever the reader is.
    pub zone: TimeZone,
}

/// Most digits behind the point that it takes to tell two temperatures apart.
const DIGITS_MAX: usize = 6;

impl Reader {
    /// A temperature given in °C, to one digit, with its symbol: «82.2 °C».
    ///
    /// The decimal sign is a point in both languages: the kitchens of the Americas write it so
    /// (own choice), and the displays of the machines do too.
    #[must_use]
    pub fn temperature(&self, celsius: f64) -> String {
        format!("{:.1} {}", self.scale.temperature(celsius), self.scale.symbol())
    }

    /// A difference given in K, to one digit, without a sign, with its symbol.
    #[must_use]
    pub fn difference(&self, kelvin: f64) -> String {
        format!("{:.1} {}", self.scale.difference(kelvin).abs(), self.scale.symbol())
    }

    /// Two temperatures with as many digits as it takes to tell them apart, so that a value below
    /// its limit never looks equal to it. Without the symbol; equal ones have one digit.
    #[must_use]
    pub fn pair(&self, one_c: f64, other_c: f64) -> (String, String) {
        let (one, other) = (self.scale.temperature(one_c), self.scale.temperature(other_c));
        let shown = |digits: usize| (format!("{one:.digits$}"), format!("{other:.digits$}"));
        // Both were measured in °C; equal there is equal on every scale.
        if one_c.total_cmp(&other_c).is_eq() {
            return shown(1);
        }
        (1..=DIGITS_MAX).map(shown).find(|(one, other)| one != other).unwrap_or_else(|| shown(DIGITS_MAX))
    }

    /// Time of day without seconds, «14:05».
    #[must_use]
    pub fn clock(&self, at: Timestamp) -> String {
        self.local(at).strftime("%H:%M").to_string()
    }

    /// Time of day with seconds, «14:05:30».
    #[must_use]
    pub fn clock_to_the_second(&self, at: Timestamp) -> String {
        self.local(at).strftime("%H:%M:%S").to_string()
    }

    /// Time of day with the zone, «14:05 EDT».
    #[must_use]
    pub fn clock_and_zone(&self, at: Timestamp) -> String {
        self.local(at).strftime("%H:%M %Z").to_string()
    }

    /// The day, «Wed 25 Nov 2026».
    #[must_use]
    pub fn day(&self, at: Timestamp) -> String {
        self.date(self.local(at).date())
    }

    /// A day of the calendar, «Wed 25 Nov 2026».
    #[must_use]
    pub fn date(&self, date: Date) -> String {
        const ENGLISH: ([&str; 7], [&str; 12]) = (
            ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"],
            ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"],
        );
        const SPANISH: ([&str; 7], [&str; 12]) = (
            ["lun", "mar", "mié", "jue", "vie", "sáb", "dom"],
            ["ene", "feb", "mar", "abr", "may", "jun", "jul", "ago", "sep", "oct", "nov", "dic"],
        );
        let (weekdays, months) = match self.language {
            Language::English => ENGLISH,
            Language::Spanish => SPANISH,
        };
        let place = |number: i8| usize::try_from(number).unwrap_or(0);
        let weekday = weekdays[place(date.weekday().to_monday_zero_offset())];
        let month = months[place(date.month() - 1)];
        format!("{weekday} {} {month} {}", date.day(), date.year())
    }

    /// Day and time of day with the zone, «Wed 25 Nov 2026, 14:05 EST».
    #[must_use]
    pub fn moment(&self, at: Timestamp) -> String {
        format!("{}, {}", self.day(at), self.clock_and_zone(at))
    }

    /// Time of day with the zone, and before it the day where that is another than the day of `now`.
    #[must_use]
    pub fn near(&self, at: Timestamp, now: Timestamp) -> String {
        if self.day(at) == self.day(now) { self.clock_and_zone(at) } else { self.moment(at) }
    }

    /// A time as this reader shows it, in the middle of a sentence, where Spanish gives it an article: «las 14:05 EST»,
    /// «el mié 7 ene 2026, 10:04 EST».
    #[must_use]
    pub fn with_article(&self, time: String) -> String {
        match self.language {
            Language::English => time,
            Language::Spanish if time.starts_with("01:") => format!("la {time}"),
            Language::Spanish if time.starts_with(|c: char| c.is_ascii_digit()) => format!("las {time}"),
            Language::Spanish => format!("el {time}"),
        }
    }

    fn local(&self, at: Timestamp) -> jiff::ZonedDateTime {
        // Every `Timestamp` lies within what jiff can hold.
        jiff::Timestamp::from_microsecond(at.micros())
            .unwrap_or_default()
            .to_zoned_datetime(self.zone.clone())
    }
}

/// A phrase with each `{name}` in it replaced by its value. A name without a value stays as it is.
#[must_use]
pub fn filled(phrase: &str, values: &[(&str, &str)]) -> String {
    let mut rest = phrase;
    let mut out = String::with_capacity(rest.len() + 32);
    // In one pass, so that a brace inside a value is only a brace.
    while let Some((before, after)) = rest.split_once('{') {
        out.push_str(before);
        let found = after.split_once('}').and_then(|(name, behind)| {
            values.iter().find(|(known, _)| *known == name).map(|(_, value)| (*value, behind))
        });
        match found {
            Some((value, behind)) => {
                out.push_str(value);
                rest = behind;
            }
            None => {
                out.push('{');
                rest = after;
            }
        }
    }
    out.push_str(rest);
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_are_those_of_the_serialised_form() {
        for language in Language::ALL {
            assert_eq!(serde_json::to_value(language).expect("a word"), language.code());
            assert_eq!(language.code().parse(), Ok(language));
        }
        for scale in Scale::ALL {
            assert_eq!(serde_json::to_value(scale).expect("a word"), scale.as_str());
            assert_eq!(scale.as_str().parse(), Ok(scale));
        }
    }

    // 180 °F = 82.222… °C and an interval of 1 K = 1.8 °F, by definition of the scales (NIST SP 811, B.8).
    #[test]
    fn differences_have_no_offset() {
        assert!((Scale::Fahrenheit.temperature(82.222_222) - 180.0).abs() < 1e-5);
        assert!((Scale::Fahrenheit.difference(1.0) - 1.8).abs() < 1e-12);
        assert!((Scale::Celsius.difference(1.0) - 1.0).abs() < 1e-12);
    }

    fn reader(language: Language, scale: Scale) -> Reader {
        let zone = TimeZone::get("America/New_York").expect("the zone data is built in");
        Reader { language, scale, zone }
    }

    // Own rule; the values on the second scale by its definition.
    #[test]
    fn a_value_below_its_limit_never_looks_equal() {
        for (scale, measured_c, limit_c, measured, limit) in [
            (Scale::Celsius, 71.31, 82.0, "71.3", "82.0"),
            (Scale::Celsius, 81.96, 82.0, "81.96", "82.00"),
            (Scale::Celsius, 81.9996, 82.0, "81.9996", "82.0000"),
            (Scale::Celsius, 82.0, 82.0, "82.0", "82.0"),
            (Scale::Fahrenheit, 82.2, 82.222_222_222, "179.96", "180.00"),
            (Scale::Fahrenheit, 71.31, 82.222_222_222, "160.4", "180.0"),
        ] {
            let shown = reader(Language::English, scale).pair(measured_c, limit_c);
            assert_eq!(shown, (measured.to_owned(), limit.to_owned()), "{measured_c} against {limit_c}");
        }
    }

    // Daylight saving time in New York ended on 2026-11-01 at 06:00 UTC (Energy Policy Act of 2005, §110).
    #[test]
    fn times_are_those_of_the_site() {
        for (language, at, expected) in [
            (Language::English, "2026-11-01T05:30:00Z", "Sun 1 Nov 2026, 01:30 EDT"),
            (Language::English, "2026-11-01T06:30:00Z", "Sun 1 Nov 2026, 01:30 EST"),
            (Language::Spanish, "2026-01-07T15:04:59Z", "mié 7 ene 2026, 10:04 EST"),
        ] {
            let at = at.parse().expect("RFC 3339");
            assert_eq!(reader(language, Scale::Celsius).moment(at), expected);
        }
        let far = reader(Language::English, Scale::Celsius);
        assert!(!far.moment(Timestamp::MIN).is_empty() && !far.moment(Timestamp::MAX).is_empty());
    }
}
