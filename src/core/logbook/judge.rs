//! Whether what was found is good, by the rules in [`crate::core::logbook`].

use serde::{Deserialize, Serialize};

use crate::core::cycle::plate::{Limit, LimitSource, Profile, Sanitizing};
use crate::core::record::{Check, CheckKind};
use crate::core::sanitizer::{self, Refusal, Rules};
use crate::core::units::Celsius;

/// What a difference of two values printed in tenths may be off by in binary, °C.
const ROUNDING_C: f64 = 1e-9;

/// What was found, as far as it decides.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize)]
#[serde(tag = "finding", rename_all = "kebab-case")]
pub enum Finding {
    /// Below the lowest permitted concentration.
    TooWeak {
        /// Measured, mg/L.
        mg_per_l: f64,
        /// Lowest, mg/L.
        min_mg_per_l: f64,
    },
    /// Above the highest permitted concentration.
    TooStrong {
        /// Measured, mg/L.
        mg_per_l: f64,
        /// Highest, mg/L.
        max_mg_per_l: f64,
    },
    /// The pH is above what is permitted.
    PhTooHigh {
        /// Measured.
        ph: f64,
        /// Highest.
        max_ph: f64,
    },
    /// The solution is colder than its concentration and pH need.
    ColdSolution {
        /// Measured, °C.
        solution_c: f64,
        /// Lowest, °C.
        min_c: f64,
    },
    /// What the final rinse must reach with what was measured; the probe watches it.
    Needs {
        /// Lowest, °C.
        min_c: f64,
        /// Shortest contact, s.
        contact_s: f64,
        /// Lowest by the data plate, °C, where that is on file.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        plate_c: Option<f64>,
    },
    /// The pH was not measured, so that the column for pH 10 counts (chlorine).
    PhAssumed,
    /// A number that no test kit shows.
    NotAMeasurement,
    /// The machine sanitizes by hot water.
    NotChemical,
    /// Something is short and was not filled up.
    Short,
    /// The thermometer is off by more than its tolerance.
    Off {
        /// Shown less reference, °C.
        off_c: f64,
        /// Largest permitted, °C.
        tolerance_c: f64,
    },
    /// The thermometer agrees within its tolerance.
    Agrees {
        /// Shown less reference, °C.
        off_c: f64,
        /// Largest permitted, °C.
        tolerance_c: f64,
    },
}

impl Finding {
    /// Beside what the concentration asks for, what the data plate does.
    const fn beside(&mut self, limit: Limit) {
        if let (Self::Needs { plate_c, .. }, LimitSource::DataPlate) = (self, limit.source) {
            *plate_c = Some(limit.at.0);
        }
    }

    /// Whether it alone makes the check a failed one.
    #[must_use]
    pub const fn fails(&self) -> bool {
        match self {
            Self::TooWeak { .. }
            | Self::TooStrong { .. }
            | Self::PhTooHigh { .. }
            | Self::ColdSolution { .. }
            | Self::NotAMeasurement
            | Self::Short
            | Self::Off { .. } => true,
            Self::Needs { .. } | Self::PhAssumed | Self::NotChemical | Self::Agrees { .. } => false,
        }
    }
}

/// What a check came to.
#[derive(Clone, PartialEq, Debug, Default, Serialize, Deserialize)]
pub struct Judgement {
    /// Whether it is good; absent where it only says that something was done.
    pub good: Option<bool>,
    /// Why, the decisive ones first. `words` tells them and what to do.
    pub findings: Vec<Finding>,
}

/// Judges a check of a machine that sanitizes so, by the rules of its product and site.
///
/// ```
/// use rinseward::core::cycle::plate::Sanitizing;
/// use rinseward::core::logbook::judge;
/// use rinseward::core::record::Check;
/// use rinseward::core::sanitizer::Rules;
/// use rinseward::core::time::Timestamp;
///
/// let at = Timestamp::from_micros(0);
/// let supply = Check::Supply { at, enough: false, short: Vec::new(), note: None, by: "AB".to_owned() };
/// assert_eq!(judge(&supply, Sanitizing::HotWater, &Rules::default()).good, Some(false));
/// ```
#[must_use]
pub fn judge(check: &Check, sanitizing: Sanitizing, rules: &Rules) -> Judgement {
    match check {
        Check::Sanitizer { mg_per_l, ph, solution_c, .. } => {
            let strip = Strip { mg_per_l: *mg_per_l, ph: *ph, solution_c: *solution_c };
            strip.judged(sanitizing, rules)
        }
        Check::Supply { enough, .. } => {
            let findings = if *enough { Vec::new() } else { vec![Finding::Short] };
            Judgement { good: Some(*enough), findings }
        }
        Check::DrainAndClean { .. } => Judgement::default(),
        Check::Thermometer { shown_c, reference_c, tolerance_c, .. } => {
            let (off_c, tolerance_c) = (shown_c - reference_c, *tolerance_c);
            let good = off_c.abs() <= tolerance_c + ROUNDING_C;
            let finding = if good {
                Finding::Agrees { off_c, tolerance_c }
            } else {
                Finding::Off { off_c, tolerance_c }
            };
            Judgement { good: Some(good), findings: vec![finding] }
        }
    }
}

/// Judges a check of a machine as far as it is known: without it a concentration is not judged, and
/// everything else does not depend on it.
#[must_use]
pub fn judge_known(check: &Check, profile: Option<&Profile>) -> Judgement {
    match profile {
        Some(profile) => {
            let mut judgement = judge(check, profile.sanitizing, &profile.sanitizer);
            judgement.findings.iter_mut().for_each(|finding| finding.beside(profile.rinse_min));
            judgement
        }
        None if check.kind() == CheckKind::Sanitizer => Judgement::default(),
        None => judge(check, Sanitizing::HotWater, &Rules::default()),
    }
}

/// What a test kit showed.
#[derive(Clone, Copy)]
struct Strip {
    mg_per_l: f64,
    ph: Option<f64>,
    solution_c: Option<f64>,
}

impl Strip {
    fn judged(self, sanitizing: Sanitizing, rules: &Rules) -> Judgement {
        let mut findings = Vec::new();
        match sanitizer::requirement(sanitizing, self.mg_per_l, self.ph, rules) {
            Ok(needed) => {
                let min_c = needed.min.0;
                if let Some(solution_c) = self.solution_c.filter(|solution| Celsius(*solution) < needed.min) {
                    findings.push(Finding::ColdSolution { solution_c, min_c });
                }
                findings.push(Finding::Needs {
                    min_c,
                    contact_s: needed.contact.as_secs_f64(),
                    plate_c: None,
                });
                if sanitizing == Sanitizing::Chlorine && self.ph.is_none() {
                    findings.push(Finding::PhAssumed);
                }
            }
            Err(Refusal::NotChemical) => {
                return Judgement { good: None, findings: vec![Finding::NotChemical] };
            }
            Err(Refusal::NotAMeasurement) => findings.push(Finding::NotAMeasurement),
            Err(Refusal::PhTooHigh) => findings.extend(self.ph_too_high(sanitizing, rules)),
            Err(Refusal::TooWeak) => {
                let min_mg_per_l = rules.permitted(sanitizing).map_or(0.0, |range| *range.start());
                findings.push(Finding::TooWeak { mg_per_l: self.mg_per_l, min_mg_per_l });
                findings.extend(self.ph_too_high(sanitizing, rules));
            }
            Err(Refusal::TooStrong) => {
                let max_mg_per_l = rules.permitted(sanitizing).map_or(0.0, |range| *range.end());
                findings.push(Finding::TooStrong { mg_per_l: self.mg_per_l, max_mg_per_l });
                findings.extend(self.ph_too_high(sanitizing, rules));
            }
        }
        Judgement { good: Some(!findings.iter().any(Finding::fails)), findings }
    }

    fn ph_too_high(self, sanitizing: Sanitizing, rules: &Rules) -> Option<Finding> {
        let max_ph = match sanitizing {
            Sanitizing::Chlorine => sanitizer::CHLORINE_PH_MAX,
            Sanitizing::Iodine => rules.iodine_ph_max,
            Sanitizing::HotWater | Sanitizing::Quat => return None,
        };
        self.ph.filter(|ph| *ph > max_ph).map(|ph| Finding::PhTooHigh { ph, max_ph })
    }
}
