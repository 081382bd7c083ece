//! The words of a judgement.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use crate::core::reading::Fault;

/// Verdict of a cycle, worst first.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// The settled final-rinse minimum is below the limit.
    Cold,
    /// The limit was held for less than the required dwell.
    Brief,
    /// The concentration on file is outside its permitted range.
    Weak,
    /// The evidence is missing. Never shown as a pass.
    Unproven,
    /// Passes, but inside the measurement uncertainty of the limit.
    Narrow,
    /// Passes.
    Pass,
}

impl Verdict {
    /// Whether the rack passed, narrowly or not.
    #[must_use]
    pub const fn is_good(self) -> bool {
        matches!(self, Self::Narrow | Self::Pass)
    }

    /// Every verdict, worst first.
    pub const ALL: [Self; 6] =
        [Self::Cold, Self::Brief, Self::Weak, Self::Unproven, Self::Narrow, Self::Pass];

    /// The word used in records, on pages and in the command line.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Cold => "cold",
            Self::Brief => "brief",
            Self::Weak => "weak",
            Self::Unproven => "unproven",
            Self::Narrow => "narrow",
            Self::Pass => "pass",
        }
    }

    /// Whether somebody must be told at once.
    #[must_use]
    pub const fn is_urgent(self) -> bool {
        match self {
            Self::Cold | Self::Brief | Self::Weak => true,
            Self::Unproven | Self::Narrow | Self::Pass => false,
        }
    }
}

impl fmt::Display for Verdict {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.as_str())
    }
}

/// The word names no verdict.
#[derive(Clone, Copy, PartialEq, Eq, Debug, thiserror::Error)]
#[error("a verdict is one of cold, brief, weak, unproven, narrow, pass")]
pub struct UnknownVerdict;

impl FromStr for Verdict {
    type Err = UnknownVerdict;

    fn from_str(text: &str) -> Result<Self, UnknownVerdict> {
        Self::ALL.into_iter().find(|verdict| verdict.as_str() == text).ok_or(UnknownVerdict)
    }
}

/// Why a cycle got its verdict. A record holds every reason that applies, the
/// decisive one first.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
#[serde(tag = "reason", rename_all = "kebab-case")]
pub enum Reason {
    /// The settled minimum is below the limit.
    RinseBelowLimit {
        /// Settled minimum that was used, °C.
        measured_c: f64,
        /// Limit, °C.
        limit_c: f64,
    },
    /// The limit was held too short.
    DwellTooShort {
        /// Time at or above the limit, s.
        dwell_s: f64,
        /// Time required, s.
        required_s: f64,
    },
    /// The final rinse ended before the line could settle.
    RinseAborted {
        /// Length of the rinse, s.
        rinse_s: f64,
    },
    /// The concentration is outside its permitted range.
    Concentration {
        /// Why, in the words of [`crate::core::sanitizer::Refusal`].
        refusal: crate::core::sanitizer::Refusal,
        /// Concentration on file, mg/L.
        mg_per_l: f64,
        /// The limit beyond which it lies, mg/L, or pH where that is too high; absent where none is known.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        limit: Option<f64>,
    },
    /// No concentration check is on file for this shift.
    NoConcentrationCheck,
    /// The final-rinse probe was at fault during the cycle.
    RinseProbe {
        /// Which fault.
        fault: Fault,
    },
    /// Readings are missing inside the rinse window.
    GapInRinse {
        /// Longest time without a reading, s.
        gap_s: f64,
    },
    /// Fewer readings in the settled window than a minimum can stand on.
    TooFewReadings {
        /// Readings in the settled window.
        readings: u32,
        /// Readings needed.
        needed: u32,
    },
    /// The probe answers too slowly to judge this rinse, and its time constant is not on file.
    ProbeTooSlow,
    /// The rinse ran on after its temperature left the plateau, or did not: the trace does not show it.
    EndNotSeen,
    /// The clock of the source stepped during the cycle.
    ClockStep,
    /// Water came sooner after other water than a wash lasts: one of the two was no rinse, and nothing shows which.
    TooSoon {
        /// Time from the end of what came before, s.
        after_s: f64,
        /// Shortest time that washing takes, s.
        needed_s: f64,
    },
    /// A line that was long at rest cooled a little at once: a rinse of cold water, or none.
    Faint {
        /// By how much, °C.
        change_c: f64,
    },
    /// The wash probe had left the water: nothing shows whether the tank was full, and so whether this was a rack.
    TankUnseen,
    /// Somebody worked on the machine: what its probes show need not be its water.
    WorkedOn,
    /// The settled minimum is above the limit by less than the expanded uncertainty.
    InsideUncertainty {
        /// Settled minimum less the limit, °C.
        margin_c: f64,
        /// Expanded uncertainty (k = 2), °C.
        uncertainty_c: f64,
    },
}

/// Something worth an alert of its own beside the verdict.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
#[serde(tag = "finding", rename_all = "kebab-case")]
pub enum Finding {
    /// The wash was colder than its limit.
    WashLow {
        /// Wash minimum, °C.
        measured_c: f64,
        /// Limit, °C.
        limit_c: f64,
    },
    /// The final rinse was hotter than its maximum.
    RinseTooHot {
        /// Final-rinse peak, °C.
        measured_c: f64,
        /// Maximum, °C.
        limit_c: f64,
    },
    /// The wash could not be judged.
    WashUnproven {
        /// The fault of the wash probe, where it had one.
        fault: Option<Fault>,
    },
}
