//! A judged cycle, and a stretch in which a probe gave nothing usable.

use serde::{Deserialize, Serialize};

use crate::core::cycle::plate::{LimitSource, MachineKind, Sanitizing};
use crate::core::cycle::verdict::{Finding, Reason, Verdict};
use crate::core::reading::Fault;
use crate::core::time::Timestamp;

/// Which value the verdict stands on.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Basis {
    /// The probe's own settled minimum.
    Raw,
    /// The settled minimum corrected for the probe's time constant.
    LagCorrected,
}

/// What set the rinse window.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum WindowFrom {
    /// The trace of the final-rinse probe alone.
    Trace,
    /// The machine's run signal and the data-plate times.
    RunSignal,
}

/// A judged cycle. Temperatures in °C, times in s unless the name says otherwise.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Cycle {
    /// Start of the wash: seen by the run signal, else placed by the data-plate times.
    pub started: Timestamp,
    /// Start of the final-rinse flow.
    pub rinse_started: Timestamp,
    /// End of the final-rinse flow.
    pub rinse_ended: Timestamp,
    /// When the last reading it stands on arrived, by the gateway's clock.
    pub received: Timestamp,
    /// Kind of machine.
    pub machine_kind: MachineKind,
    /// Sanitizing method.
    pub sanitizing: Sanitizing,
    /// What set the rinse window.
    pub window_from: WindowFrom,
    /// Verdict.
    pub verdict: Verdict,
    /// Reasons, the decisive one first; empty for a plain pass.
    pub reasons: Vec<Reason>,
    /// Findings beside the verdict.
    pub findings: Vec<Finding>,
    /// Settled final-rinse minimum that the verdict stands on; `basis` says which of the two below it is.
    /// The only one that is summed up, charted or compared: absent where no reading settled, and
    /// where none proves anything, see [`put_in_doubt`](Self::put_in_doubt).
    pub rinse_min_c: Option<f64>,
    /// Settled minimum as the calibrated probe showed it.
    pub rinse_min_raw_c: Option<f64>,
    /// Settled minimum corrected for the probe's time constant; absent where that is not on file.
    pub rinse_min_corrected_c: Option<f64>,
    /// Which of the two the verdict stands on.
    pub basis: Basis,
    /// Limit for the final rinse.
    pub limit_c: f64,
    /// Origin of that limit.
    pub limit_source: LimitSource,
    /// Highest final-rinse reading.
    pub rinse_peak_c: Option<f64>,
    /// From the start of the flow to the first reading at or above the limit.
    pub settled_after_s: Option<f64>,
    /// Time at or above the limit during the flow.
    pub dwell_s: f64,
    /// Time required.
    pub dwell_required_s: f64,
    /// Integral of (limit − reading) over the flow where the reading is below, °C·s.
    pub area_below_c_s: f64,
    /// Wash minimum over the wash window; absent where its probe gave no reading in it, or was at fault.
    pub wash_min_c: Option<f64>,
    /// Limit for the wash.
    pub wash_limit_c: f64,
    /// A0 (EN ISO 15883-1) over wash and final rinse, s at 80 °C.
    pub a0: f64,
    /// Heat unit equivalents over wash and final rinse.
    pub hue: f64,
    /// What the doses were computed from.
    pub dose_basis: DoseBasis,
    /// Expanded uncertainty (k = 2) of the settled minimum.
    pub uncertainty_c: f64,
    /// Probability that the true minimum is at or above the limit (JCGM 106:2012).
    pub conformance: Option<f64>,
    /// Decision rule; always simple acceptance, as an inspector applies it.
    pub rule: Rule,
    /// Concentration on file that was used, mg/L.
    pub concentration_mg_per_l: Option<f64>,
    /// pH on file that was used.
    pub ph: Option<f64>,
    /// Final-rinse readings in the rinse window.
    pub rinse_readings: u32,
    /// Readings set aside as spikes in the rinse window.
    pub spikes: u32,
    /// SHA-256 of the stored trace in hexadecimal; absent where none is kept.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub trace_sha256: Option<String>,
}

impl Cycle {
    /// Makes it unproven, whatever was measured, for a reason that comes before all others: its probe was
    /// at fault, or it is open whether it was a cycle at all. No verdict stands on its minimum then: what
    /// was shown is kept as raw and as corrected, and counts as a measured minimum nowhere.
    pub fn put_in_doubt(&mut self, reason: Reason) {
        self.verdict = Verdict::Unproven;
        self.reasons.insert(0, reason);
        self.rinse_min_c = None;
        self.conformance = None;
    }

    /// Whether it was made while somebody worked on the machine.
    #[must_use]
    pub fn is_worked_on(&self) -> bool {
        self.reasons.contains(&Reason::WorkedOn)
    }
}

/// What a thermal dose was computed from.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum DoseBasis {
    /// A probe in the water: an upper bound for the ware.
    WaterSideEstimate,
    /// A probe at the surface of a ware.
    WareSurface,
}

/// Decision rule of ILAC-G8:09/2019.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Rule {
    /// Guard band zero: at or above the limit is accepted.
    SimpleAcceptance,
}

/// A stretch without usable readings of one probe.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Gap {
    /// Name of the channel.
    pub probe: String,
    /// Why.
    pub fault: Fault,
    /// Instant of the last usable reading before it, or of the start of the service, if that was later.
    pub from: Timestamp,
    /// Instant of the first usable reading after it; absent while it lasts. Where nothing had arrived between the start
    /// of the service and the beginning of the gap, both are by the gateway's clock.
    pub to: Option<Timestamp>,
    /// Whether readings for this stretch arrived after all, late.
    #[serde(skip_serializing_if = "std::ops::Not::not", default)]
    pub filled: bool,
}
