//! In which words and on which scale somebody wants to read.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

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
}
