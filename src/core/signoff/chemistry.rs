//! What the sanitizer of a machine is judged by, as a sign-off holds it and as it is told.

use crate::core::channel::Solution;
use crate::core::cycle::plate::{Profile, Sanitizing};
use crate::core::reader::{Language, Reader, filled};
use crate::core::record::{SignedChemistry, SignedMinimum, SignedSolution};
use crate::core::sanitizer::bound::{Asked, Bound};
use crate::core::sanitizer::{requirement, shown};

/// Strengths and pH at which the table of 4-501.114(A) asks another temperature of chlorine.
const CHLORINE_STEPS: [(f64, Option<f64>); 4] =
    [(25.0, None), (50.0, None), (50.0, Some(8.0)), (100.0, None)];

impl SignedChemistry {
    /// That of a machine with these channels; `None` for hot water.
    #[must_use]
    pub fn of(profile: &Profile, channels: Vec<SignedSolution>) -> Option<Self> {
        let (sanitizing, rules) = (profile.sanitizing, &profile.sanitizer);
        let (least, most) = rules.permitted(sanitizing)?.into_inner();
        let steps = match sanitizing {
            Sanitizing::HotWater => Vec::new(),
            Sanitizing::Chlorine => CHLORINE_STEPS.to_vec(),
            Sanitizing::Iodine | Sanitizing::Quat => vec![(least, None)],
        };
        let minimum = |(from_mg_per_l, ph_max): (f64, Option<f64>)| {
            let needed = requirement(sanitizing, from_mg_per_l, ph_max, rules).ok()?;
            // A plate or a site may ask for more whatever the strength.
            let rinse_c = needed.min.0.max(profile.rinse_min.at.0);
            Some(SignedMinimum { from_mg_per_l, ph_max, rinse_c })
        };
        let ph_max = match rules.asked_of_ph(sanitizing) {
            Some(Asked::Limit(bound)) => Some(bound.number()),
            Some(Asked::Between { .. }) | None => None,
        };
        let minima = steps.into_iter().filter_map(minimum).collect();
        Some(Self { least_mg_per_l: least, most_mg_per_l: most, ph_max, minima, channels })
    }

    /// Each limit with its name.
    #[must_use]
    pub fn limits(&self, reader: &Reader) -> Vec<(&'static str, String)> {
        let language = reader.language;
        let say = |english, spanish| match language {
            Language::English => english,
            Language::Spanish => spanish,
        };
        let range = Asked::Between { least: self.least_mg_per_l, most: self.most_mg_per_l };
        let mut limits = vec![(say("Sanitizer", "Desinfectante"), range.told(language))];
        limits.extend(self.ph_max.map(|most| {
            (say("pH of the sanitizer", "pH del desinfectante"), Bound::PhAtMost(most).told(language))
        }));
        let name = say("Final rinse by strength, at least", "Enjuague final según concentración, al menos");
        limits.push((name, self.minima_told(reader)));
        limits
    }

    /// The lowest final rinse by strength; where it is the same at each, that once.
    fn minima_told(&self, reader: &Reader) -> String {
        let each = |minimum: &SignedMinimum| of_minimum(minimum, reader);
        let told = || self.minima.iter().map(each).collect::<Vec<_>>().join("; ");
        let [first, rest @ ..] = self.minima.as_slice() else { return told() };
        let is_same = |other: &SignedMinimum| other.rinse_c.total_cmp(&first.rinse_c).is_eq();
        if rest.is_empty() || !rest.iter().all(is_same) {
            return told();
        }
        let phrase = match reader.language {
            Language::English => "{rinse} at every strength",
            Language::Spanish => "{rinse} con cualquier concentración",
        };
        filled(phrase, &[("rinse", &reader.temperature(first.rinse_c))])
    }
}

fn of_minimum(minimum: &SignedMinimum, reader: &Reader) -> String {
    let phrase = match (minimum.ph_max, reader.language) {
        (None, Language::English) => "from {from} mg/L: {rinse}",
        (None, Language::Spanish) => "desde {from} mg/L: {rinse}",
        (Some(_), Language::English) => "from {from} mg/L up to pH {ph}: {rinse}",
        (Some(_), Language::Spanish) => "desde {from} mg/L hasta pH {ph}: {rinse}",
    };
    let ph = minimum.ph_max.map(|ph| ph.to_string()).unwrap_or_default();
    let (from, rinse) = (shown(minimum.from_mg_per_l), reader.temperature(minimum.rinse_c));
    filled(phrase, &[("from", &from), ("ph", &ph), ("rinse", &rinse)])
}

/// What a channel of a sanitizing solution measures.
#[must_use]
pub const fn measures(solution: Solution, language: Language) -> &'static str {
    match (solution, language) {
        (Solution::Strength, Language::English) => "sanitizer, mg/L",
        (Solution::Strength, Language::Spanish) => "desinfectante, mg/L",
        (Solution::Ph, Language::English) => "pH of the sanitizer",
        (Solution::Ph, Language::Spanish) => "pH del desinfectante",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::cycle::fixture::chemical;
    use crate::core::reader::Scale;

    // FDA Food Code 4-501.114(A), the stricter of each printed pair; 200 mg/L: 40 CFR 180.940. Where the machine asks for
    // more whatever the strength, that is told.
    #[test]
    fn the_limits_of_a_sanitizer_are_told() {
        let mut profile = chemical(Sanitizing::Chlorine);
        profile.rinse_min.at.0 = 20.0;
        let signed = SignedChemistry::of(&profile, Vec::new()).expect("a chemical");
        let reader = |language| Reader { language, scale: Scale::Celsius, zone: jiff::tz::TimeZone::UTC };
        let told: Vec<String> =
            signed.limits(&reader(Language::English)).into_iter().map(|(_, told)| told).collect();
        assert_eq!(
            told,
            [
                "25 to 200 mg/L",
                "pH at most 10",
                "from 25 mg/L: 49.0 °C; from 50 mg/L: 38.0 °C; from 50 mg/L up to pH 8: 24.0 °C; from 100 mg/L: 20.0 °C",
            ]
        );
        let spanish = signed.limits(&reader(Language::Spanish));
        assert!(spanish[2].1.contains("desde 50 mg/L hasta pH 8: 24.0 °C"), "{spanish:?}");
        // Regression: one figure stood there four times.
        profile.rinse_min.at.0 = 49.0;
        let same = SignedChemistry::of(&profile, Vec::new()).expect("a chemical");
        for (language, told) in [
            (Language::English, "49.0 °C at every strength"),
            (Language::Spanish, "49.0 °C con cualquier concentración"),
        ] {
            assert_eq!(same.limits(&reader(language))[2].1, told);
        }
        assert_eq!(SignedChemistry::of(&chemical(Sanitizing::HotWater), Vec::new()), None);
    }
}
