//! A limit of the sanitizing solution, and on which side of it what sanitizes lies.

use super::{Refusal, Rules, shown};
use crate::core::cycle::plate::Sanitizing;
use crate::core::reader::Language;

/// A limit of the strength or of the pH.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Bound {
    /// Lowest strength, mg/L.
    AtLeast(f64),
    /// Highest strength, mg/L.
    AtMost(f64),
    /// Highest pH.
    PhAtMost(f64),
}

impl Bound {
    /// The limit beyond which a solution lies that was refused, by its bare number: mg/L, or pH.
    #[must_use]
    pub const fn beyond(refusal: Refusal, limit: f64) -> Option<Self> {
        match refusal {
            Refusal::TooWeak => Some(Self::AtLeast(limit)),
            Refusal::TooStrong => Some(Self::AtMost(limit)),
            Refusal::PhTooHigh => Some(Self::PhAtMost(limit)),
            Refusal::NotAMeasurement | Refusal::NotChemical => None,
        }
    }

    /// The limit of a strength that lies beyond it, mg/L.
    #[must_use]
    pub fn beside(mg_per_l: f64, limit_mg_per_l: f64) -> Self {
        if mg_per_l < limit_mg_per_l { Self::AtLeast(limit_mg_per_l) } else { Self::AtMost(limit_mg_per_l) }
    }

    /// The bare number: mg/L, or pH.
    #[must_use]
    pub const fn number(self) -> f64 {
        match self {
            Self::AtLeast(limit) | Self::AtMost(limit) | Self::PhAtMost(limit) => limit,
        }
    }

    /// The limit where it is one of the strength, mg/L.
    #[must_use]
    pub const fn mg_per_l(self) -> Option<f64> {
        match self {
            Self::AtLeast(limit) | Self::AtMost(limit) => Some(limit),
            Self::PhAtMost(_) => None,
        }
    }

    /// The limit where it is one of the pH.
    #[must_use]
    pub const fn ph(self) -> Option<f64> {
        match self {
            Self::AtLeast(_) | Self::AtMost(_) => None,
            Self::PhAtMost(limit) => Some(limit),
        }
    }

    /// «at least 25 mg/L», «at most 200 mg/L», «pH at most 10».
    #[must_use]
    pub fn told(self, language: Language) -> String {
        match (self, language) {
            (Self::AtLeast(limit), Language::English) => format!("at least {} mg/L", shown(limit)),
            (Self::AtLeast(limit), Language::Spanish) => format!("al menos {} mg/L", shown(limit)),
            (Self::AtMost(limit), Language::English) => format!("at most {} mg/L", shown(limit)),
            (Self::AtMost(limit), Language::Spanish) => format!("como máximo {} mg/L", shown(limit)),
            (Self::PhAtMost(limit), Language::English) => format!("pH at most {limit}"),
            (Self::PhAtMost(limit), Language::Spanish) => format!("pH como máximo {limit}"),
        }
    }
}

/// What is asked of a value that is on file: the limit beyond which it lies, or the range that it lies in.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Asked {
    /// One limit.
    Limit(Bound),
    /// A strength between two, mg/L.
    Between {
        /// Lowest.
        least: f64,
        /// Highest.
        most: f64,
    },
}

impl Asked {
    /// «at least 25 mg/L» of what lies beyond it, «25 to 200 mg/L» of what does not.
    #[must_use]
    pub fn told(self, language: Language) -> String {
        match (self, language) {
            (Self::Limit(bound), _) => bound.told(language),
            (Self::Between { least, most }, Language::English) => {
                format!("{} to {} mg/L", shown(least), shown(most))
            }
            (Self::Between { least, most }, Language::Spanish) => {
                format!("de {} a {} mg/L", shown(least), shown(most))
            }
        }
    }
}

impl Rules {
    /// What is asked of a strength; `None` where none counts.
    #[must_use]
    pub fn asked(&self, sanitizing: Sanitizing, mg_per_l: f64) -> Option<Asked> {
        let (least, most) = self.permitted(sanitizing)?.into_inner();
        Some(if (least..=most).contains(&mg_per_l) {
            Asked::Between { least, most }
        } else {
            Asked::Limit(if mg_per_l < least { Bound::AtLeast(least) } else { Bound::AtMost(most) })
        })
    }

    /// What is asked of a pH; `None` where none is.
    #[must_use]
    pub fn asked_of_ph(&self, sanitizing: Sanitizing) -> Option<Asked> {
        self.crossed(sanitizing, Refusal::PhTooHigh).map(Asked::Limit)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // 25 mg/L and pH 10: FDA Food Code 4-501.114(A); 200 mg/L: 40 CFR 180.940; pH 5 of iodine: 4-501.114(B).
    #[test]
    fn a_value_on_file_stands_with_what_is_asked_of_it() {
        use Sanitizing::{Chlorine, HotWater, Iodine, Quat};
        let rules = Rules::default();
        for (sanitizing, mg_per_l, english, spanish) in [
            (Chlorine, 10.0, "at least 25 mg/L", "al menos 25 mg/L"),
            (Chlorine, 25.0, "25 to 200 mg/L", "de 25 a 200 mg/L"),
            (Chlorine, 300.0, "at most 200 mg/L", "como máximo 200 mg/L"),
            (Iodine, 10.0, "at least 12.5 mg/L", "al menos 12.5 mg/L"),
        ] {
            let asked = rules.asked(sanitizing, mg_per_l).expect("a chemical has a range");
            let told = (asked.told(Language::English), asked.told(Language::Spanish));
            assert_eq!(told, (english.to_owned(), spanish.to_owned()));
        }
        assert_eq!(rules.asked(HotWater, 10.0), None);
        let ph = |sanitizing| rules.asked_of_ph(sanitizing).map(|asked| asked.told(Language::English));
        assert_eq!(
            [Chlorine, Iodine].map(ph),
            ["pH at most 10", "pH at most 5"].map(|told| Some(told.to_owned()))
        );
        assert_eq!([Quat, HotWater].map(ph), [None, None]);
    }
}
