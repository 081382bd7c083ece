//! The limits that a check of the sanitizer missed, as they stand behind its values.

use serde::{Deserialize, Serialize};

use super::{Finding, Judgement};
use crate::core::reader::{Language, Reader};
use crate::core::sanitizer::bound::Bound;

/// The limits that a check missed; none of a good one, and of one that is no check of the sanitizer.
#[derive(Clone, Copy, PartialEq, Debug, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Missed {
    /// Lowest strength, mg/L.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub min_mg_per_l: Option<f64>,
    /// Highest strength, mg/L.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub max_mg_per_l: Option<f64>,
    /// Highest pH.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub max_ph: Option<f64>,
    /// Lowest temperature of the solution, °C.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub min_solution_c: Option<f64>,
}

impl Missed {
    /// As a check was judged.
    #[must_use]
    pub fn of(judgement: &Judgement) -> Self {
        let mut missed = Self::default();
        for finding in &judgement.findings {
            match *finding {
                Finding::TooWeak { min_mg_per_l, .. } => missed.min_mg_per_l = Some(min_mg_per_l),
                Finding::TooStrong { max_mg_per_l, .. } => missed.max_mg_per_l = Some(max_mg_per_l),
                Finding::PhTooHigh { max_ph, .. } => missed.max_ph = Some(max_ph),
                Finding::ColdSolution { min_c, .. } => missed.min_solution_c = Some(min_c),
                Finding::Needs { .. }
                | Finding::PhAssumed
                | Finding::NotAMeasurement
                | Finding::NotChemical
                | Finding::Short
                | Finding::Off { .. }
                | Finding::Agrees { .. } => {}
            }
        }
        missed
    }

    /// Whether there is none.
    #[must_use]
    pub fn is_none(&self) -> bool {
        *self == Self::default()
    }

    /// A strength as it was entered, mg/L, with the limit that it missed: rounded it might look like the permitted one.
    #[must_use]
    pub fn strength(&self, mg_per_l: f64, language: Language) -> String {
        let least = self.min_mg_per_l.map(Bound::AtLeast);
        let bound = least.or_else(|| self.max_mg_per_l.map(Bound::AtMost));
        format!("{mg_per_l} mg/L{}", behind(bound, language))
    }

    /// A pH as it was entered, with the limit that it missed.
    #[must_use]
    pub fn ph(&self, ph: f64, language: Language) -> String {
        format!("pH {ph}{}", behind(self.max_ph.map(Bound::PhAtMost), language))
    }

    /// A temperature of the solution, °C, with the limit that it missed.
    #[must_use]
    pub fn solution(&self, celsius: f64, reader: &Reader) -> String {
        let Some(min_c) = self.min_solution_c else { return reader.temperature(celsius) };
        let (measured, limit) = reader.pair(celsius, min_c);
        let symbol = reader.scale.symbol();
        match reader.language {
            Language::English => format!("{measured} {symbol} (at least {limit} {symbol})"),
            Language::Spanish => format!("{measured} {symbol} (al menos {limit} {symbol})"),
        }
    }
}

fn behind(bound: Option<Bound>, language: Language) -> String {
    bound.map(|bound| format!(" ({})", bound.told(language))).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::cycle::plate::Sanitizing;
    use crate::core::logbook::judge;
    use crate::core::reader::Scale;
    use crate::core::record::Check;
    use crate::core::sanitizer::Rules;
    use crate::core::time::Timestamp;

    // Limits: FDA Food Code 4-501.114(A), 200 mg/L of 40 CFR 180.940; the wording is our own.
    #[test]
    fn each_value_stands_with_the_limit_that_it_missed() {
        let told = |mg_per_l, ph: Option<f64>, solution_c: Option<f64>, language| {
            let (at, by) = (Timestamp::from_micros(0), "Ana".to_owned());
            let check = Check::Sanitizer { at, mg_per_l, ph, solution_c, method: None, by };
            let missed = Missed::of(&judge(&check, Sanitizing::Chlorine, &Rules::default()));
            let reader = Reader { language, scale: Scale::Celsius, zone: jiff::tz::TimeZone::UTC };
            let ph = ph.map(|ph| missed.ph(ph, language));
            let solution = solution_c.map(|celsius| missed.solution(celsius, &reader));
            let parts = [Some(missed.strength(mg_per_l, language)), ph, solution];
            parts.into_iter().flatten().collect::<Vec<_>>().join(", ")
        };
        for (mg_per_l, ph, solution_c, english, spanish) in [
            (100.0, Some(7.8), None, "100 mg/L, pH 7.8", "100 mg/L, pH 7.8"),
            (
                10.0,
                Some(7.8),
                None,
                "10 mg/L (at least 25 mg/L), pH 7.8",
                "10 mg/L (al menos 25 mg/L), pH 7.8",
            ),
            (24.99, None, None, "24.99 mg/L (at least 25 mg/L)", "24.99 mg/L (al menos 25 mg/L)"),
            (300.0, None, None, "300 mg/L (at most 200 mg/L)", "300 mg/L (como máximo 200 mg/L)"),
            (
                100.0,
                Some(10.5),
                Some(30.0),
                "100 mg/L, pH 10.5 (pH at most 10), 30.0 °C",
                "100 mg/L, pH 10.5 (pH como máximo 10), 30.0 °C",
            ),
            (
                50.0,
                Some(7.0),
                Some(23.99),
                "50 mg/L, pH 7, 23.99 °C (at least 24.00 °C)",
                "50 mg/L, pH 7, 23.99 °C (al menos 24.00 °C)",
            ),
        ] {
            assert_eq!(told(mg_per_l, ph, solution_c, Language::English), english);
            assert_eq!(told(mg_per_l, ph, solution_c, Language::Spanish), spanish);
        }
    }
}
