//! The strength of the sanitizer that a rack was judged by, where it was outside its range: what it was, and its limit.
//!
//! Whoever shows a rack shows it beside the temperature, which may be fine. A record holds the strength and on which
//! side of its range it lies. The limit is named where it is the same at every site; where a label or a site sets it,
//! its side is named alone: what is configured today need not be what the rack was judged by.

use super::plate::Sanitizing;
use super::verdict::Reason;
use crate::core::reader::Language;
use crate::core::record::Cycle;
use crate::core::sanitizer::{CHLORINE_MIN_MG_PER_L, CHLORINE_PH_MAX, Refusal, shown};

/// A strength outside its range.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct OffRange {
    mg_per_l: f64,
    ph: Option<f64>,
    refusal: Refusal,
    sanitizing: Sanitizing,
}

impl OffRange {
    /// That of a rack; absent where the strength was not what spoke against it.
    #[must_use]
    pub fn of(cycle: &Cycle) -> Option<Self> {
        Self::among(&cycle.reasons, cycle.sanitizing, cycle.ph)
    }

    fn among(reasons: &[Reason], sanitizing: Sanitizing, ph: Option<f64>) -> Option<Self> {
        reasons.iter().find_map(|reason| {
            let Reason::Concentration { refusal, mg_per_l } = *reason else { return None };
            let is_outside = match refusal {
                Refusal::TooWeak | Refusal::TooStrong | Refusal::PhTooHigh => true,
                Refusal::NotAMeasurement | Refusal::NotChemical => false,
            };
            is_outside.then_some(Self { mg_per_l, ph, refusal, sanitizing })
        })
    }

    /// The sanitizer, its strength, and its limit or on which side of it that lies.
    #[must_use]
    pub fn told(self, language: Language) -> String {
        let say = |english, spanish| match language {
            Language::English => english,
            Language::Spanish => spanish,
        };
        let name = say("sanitizer", "desinfectante");
        let strength = format!("{name} {} mg/L", shown(self.mg_per_l));
        let chlorine = self.sanitizing == Sanitizing::Chlorine;
        match self.refusal {
            Refusal::TooWeak if chlorine => {
                let limit = say("limit", "límite");
                format!("{strength} ({limit} {} mg/L)", shown(CHLORINE_MIN_MG_PER_L))
            }
            Refusal::TooWeak => format!("{strength} ({})", say("too weak", "demasiado débil")),
            Refusal::PhTooHigh => {
                let ph = self.ph.map(|ph| format!(", pH {ph}")).unwrap_or_default();
                let limit = if chlorine {
                    format!("{} {CHLORINE_PH_MAX}", say("pH limit", "límite de pH"))
                } else {
                    say("pH too high", "pH demasiado alto").to_owned()
                };
                format!("{strength}{ph} ({limit})")
            }
            Refusal::TooStrong | Refusal::NotAMeasurement | Refusal::NotChemical => {
                format!("{strength} ({})", say("too strong", "demasiado fuerte"))
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // 25 mg/L and pH 10: FDA Food Code 4-501.114(A). The ranges of the others are those of a label or of the site.
    #[test]
    fn what_lies_outside_is_told_with_its_limit() {
        use Sanitizing::{Chlorine, Quat};
        for (refusal, mg_per_l, sanitizing, english, spanish) in [
            (
                Refusal::TooWeak,
                10.0,
                Chlorine,
                "sanitizer 10 mg/L (limit 25 mg/L)",
                "desinfectante 10 mg/L (límite 25 mg/L)",
            ),
            (
                Refusal::TooWeak,
                24.96,
                Chlorine,
                "sanitizer 24.96 mg/L (limit 25 mg/L)",
                "desinfectante 24.96 mg/L (límite 25 mg/L)",
            ),
            (
                Refusal::TooStrong,
                300.0,
                Chlorine,
                "sanitizer 300 mg/L (too strong)",
                "desinfectante 300 mg/L (demasiado fuerte)",
            ),
            (
                Refusal::PhTooHigh,
                100.0,
                Chlorine,
                "sanitizer 100 mg/L, pH 10.5 (pH limit 10)",
                "desinfectante 100 mg/L, pH 10.5 (límite de pH 10)",
            ),
            (
                Refusal::TooWeak,
                150.0,
                Quat,
                "sanitizer 150 mg/L (too weak)",
                "desinfectante 150 mg/L (demasiado débil)",
            ),
        ] {
            let among = |reasons: &[Reason]| OffRange::among(reasons, sanitizing, Some(10.5));
            // It is found behind what decided as well.
            let cold = Reason::RinseBelowLimit { measured_c: 40.0, limit_c: 49.0 };
            let off = among(&[cold, Reason::Concentration { refusal, mg_per_l }]).expect("it is outside");
            let told = (off.told(Language::English), off.told(Language::Spanish));
            assert_eq!(told, (english.to_owned(), spanish.to_owned()));
            for refusal in [Refusal::NotAMeasurement, Refusal::NotChemical] {
                let other = Reason::Concentration { refusal, mg_per_l };
                assert_eq!(among(&[Reason::NoConcentrationCheck, other]), None, "{refusal:?}");
            }
        }
    }
}
