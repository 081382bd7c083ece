//! The strength of the sanitizer that a rack was judged by, where it was outside its range: what it was, and its limit.
//!
//! Whoever shows a rack shows it beside the temperature, which may be fine. A record holds the strength, on which side of
//! its range it lies, and the limit that was in force. Where an earlier record holds none, the limit is named where it
//! is the same at every site; where a label or a site sets it, its side is named alone: what is configured today need
//! not be what the rack was judged by.

use super::plate::Sanitizing;
use super::verdict::Reason;
use crate::core::reader::Language;
use crate::core::record::Cycle;
use crate::core::sanitizer::bound::Bound;
use crate::core::sanitizer::{CHLORINE_MIN_MG_PER_L, CHLORINE_PH_MAX, Refusal, Rules, shown};

/// A strength outside its range.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct OffRange {
    mg_per_l: f64,
    ph: Option<f64>,
    refusal: Refusal,
    bound: Option<Bound>,
}

impl OffRange {
    /// That of a rack; absent where the strength was not what spoke against it.
    #[must_use]
    pub fn of(cycle: &Cycle) -> Option<Self> {
        Self::among(&cycle.reasons, cycle.sanitizing, cycle.ph)
    }

    fn among(reasons: &[Reason], sanitizing: Sanitizing, ph: Option<f64>) -> Option<Self> {
        reasons.iter().find_map(|reason| {
            let Reason::Concentration { refusal, mg_per_l, limit } = *reason else { return None };
            let everywhere = match (refusal, sanitizing) {
                (Refusal::TooWeak, Sanitizing::Chlorine) => Some(CHLORINE_MIN_MG_PER_L),
                (Refusal::PhTooHigh, Sanitizing::Chlorine) => Some(CHLORINE_PH_MAX),
                (Refusal::TooWeak | Refusal::TooStrong | Refusal::PhTooHigh, _) => None,
                (Refusal::NotAMeasurement | Refusal::NotChemical, _) => return None,
            };
            let bound = limit.or(everywhere).and_then(|limit| Bound::beyond(refusal, limit));
            Some(Self { mg_per_l, ph, refusal, bound })
        })
    }

    /// The limit beyond which it lies; absent where none is known.
    #[must_use]
    pub const fn bound(self) -> Option<Bound> {
        self.bound
    }

    /// «10 mg/L», with its pH where that is what is too high.
    #[must_use]
    pub fn measured(self) -> String {
        let ph = self.ph.filter(|_| self.refusal == Refusal::PhTooHigh);
        let ph = ph.map(|ph| format!(", pH {ph}")).unwrap_or_default();
        format!("{} mg/L{ph}", shown(self.mg_per_l))
    }

    /// Its limit, or on which side of its range it lies where that is not known.
    #[must_use]
    pub fn against(self, language: Language) -> String {
        let (english, spanish) = match (self.bound, self.refusal) {
            (Some(bound), _) => return bound.told(language),
            (None, Refusal::TooWeak) => ("too weak", "demasiado débil"),
            (None, Refusal::PhTooHigh) => ("pH too high", "pH demasiado alto"),
            (None, Refusal::TooStrong | Refusal::NotAMeasurement | Refusal::NotChemical) => {
                ("too strong", "demasiado fuerte")
            }
        };
        match language {
            Language::English => english.to_owned(),
            Language::Spanish => spanish.to_owned(),
        }
    }

    /// The sanitizer, its strength, and its limit or on which side of it that lies.
    #[must_use]
    pub fn told(self, language: Language) -> String {
        let name = match language {
            Language::English => "sanitizer",
            Language::Spanish => "desinfectante",
        };
        format!("{name} {} ({})", self.measured(), self.against(language))
    }
}

/// The strength on file of a rack and its pH, each with what was asked of it directly behind it: as the record says it, where
/// it says nothing as the machine was configured then, of chlorine by its lowest where that is not known; `None` where
/// nothing is on file.
#[must_use]
pub fn on_file(cycle: &Cycle, rules: Option<&Rules>, language: Language) -> Option<String> {
    let mg_per_l = cycle.concentration_mg_per_l?;
    let off = OffRange::of(cycle).map(|off| (off.refusal == Refusal::PhTooHigh, off.against(language)));
    let (of_ph, of_strength) = match off {
        Some((true, against)) => (Some(against), None),
        Some((false, against)) => (None, Some(against)),
        None => (None, None),
    };
    let everywhere = || {
        (cycle.sanitizing == Sanitizing::Chlorine && mg_per_l >= CHLORINE_MIN_MG_PER_L)
            .then(|| Bound::AtLeast(CHLORINE_MIN_MG_PER_L).told(language))
    };
    let in_force = || Some(rules?.asked(cycle.sanitizing, mg_per_l)?.told(language));
    let of_strength = of_strength.or_else(in_force).or_else(everywhere);
    let of_ph = of_ph.or_else(|| Some(rules?.asked_of_ph(cycle.sanitizing)?.told(language)));
    let behind = |asked: Option<String>| asked.map(|asked| format!(" ({asked})")).unwrap_or_default();
    let ph = cycle.ph.map(|ph| format!(", pH {ph}{}", behind(of_ph)));
    Some(format!("{} mg/L{}{}", shown(mg_per_l), behind(of_strength), ph.unwrap_or_default()))
}

#[cfg(test)]
mod tests {
    use super::*;

    // 25 mg/L and pH 10: FDA Food Code 4-501.114(A); 200 mg/L of chlorine: 40 CFR 180.940. The ranges of the others are
    // those of a label or of the site. Earlier records hold no limit.
    #[test]
    fn what_lies_outside_is_told_with_its_limit() {
        use Refusal::{PhTooHigh, TooStrong, TooWeak};
        use Sanitizing::{Chlorine, Quat};
        for (refusal, mg_per_l, limit, sanitizing, english, spanish) in [
            (TooWeak, 10.0, None, Chlorine, "10 mg/L (at least 25 mg/L)", "10 mg/L (al menos 25 mg/L)"),
            (TooWeak, 10.0, Some(25.0), Chlorine, "10 mg/L (at least 25 mg/L)", "10 mg/L (al menos 25 mg/L)"),
            (
                TooWeak,
                24.96,
                None,
                Chlorine,
                "24.96 mg/L (at least 25 mg/L)",
                "24.96 mg/L (al menos 25 mg/L)",
            ),
            (TooStrong, 300.0, None, Chlorine, "300 mg/L (too strong)", "300 mg/L (demasiado fuerte)"),
            (
                TooStrong,
                300.0,
                Some(200.0),
                Chlorine,
                "300 mg/L (at most 200 mg/L)",
                "300 mg/L (como máximo 200 mg/L)",
            ),
            (
                PhTooHigh,
                100.0,
                None,
                Chlorine,
                "100 mg/L, pH 10.5 (pH at most 10)",
                "100 mg/L, pH 10.5 (pH como máximo 10)",
            ),
            (TooWeak, 150.0, None, Quat, "150 mg/L (too weak)", "150 mg/L (demasiado débil)"),
            (
                TooWeak,
                150.0,
                Some(200.0),
                Quat,
                "150 mg/L (at least 200 mg/L)",
                "150 mg/L (al menos 200 mg/L)",
            ),
        ] {
            let among = |reasons: &[Reason]| OffRange::among(reasons, sanitizing, Some(10.5));
            // It is found behind what decided as well.
            let cold = Reason::RinseBelowLimit { measured_c: 40.0, limit_c: 49.0 };
            let off =
                among(&[cold, Reason::Concentration { refusal, mg_per_l, limit }]).expect("it is outside");
            let told = (off.told(Language::English), off.told(Language::Spanish));
            assert_eq!(told, (format!("sanitizer {english}"), format!("desinfectante {spanish}")));
            for refusal in [Refusal::NotAMeasurement, Refusal::NotChemical] {
                let other = Reason::Concentration { refusal, mg_per_l, limit };
                assert_eq!(among(&[Reason::NoConcentrationCheck, other]), None, "{refusal:?}");
            }
        }
    }
}
