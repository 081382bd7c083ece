//! One cycle as every report shows it.

use serde::Serialize;

use super::{said, words};
use crate::core::alert::AlertNumber;
use crate::core::cycle::figures::Overtaken;
use crate::core::cycle::minimum::Unjudged;
use crate::core::cycle::plate::{LimitSource, MachineKind, Sanitizing};
use crate::core::cycle::verdict::Verdict;
use crate::core::late::late_by;
use crate::core::record::{Amendment, Basis, Cycle, DoseBasis, Record, Rule, WindowFrom};
use crate::core::time::Timestamp;

/// One cycle, flat. The order of the fields is the order of keys in JSON and of
/// columns in CSV; a field is added at the end and never taken away.
#[derive(Clone, PartialEq, Debug, Serialize)]
pub struct CycleRow {
    /// Name of the machine.
    pub machine: String,
    /// Start of the wash.
    pub started: Timestamp,
    /// Start of the final-rinse flow.
    pub rinse_started: Timestamp,
    /// End of the final-rinse flow.
    pub rinse_ended: Timestamp,
    /// Verdict.
    pub verdict: Verdict,
    /// Why, one sentence each, the decisive one first; empty for a plain pass.
    pub reasons: Vec<String>,
    /// The same as stable words for programs.
    pub reason_codes: Vec<&'static str>,
    /// What else was found, one sentence each.
    pub findings: Vec<String>,
    /// The same as stable words for programs.
    pub finding_codes: Vec<&'static str>,
    /// Settled final-rinse minimum that the verdict stands on, °C.
    pub rinse_min_c: Option<f64>,
    /// Settled minimum as the calibrated probe showed it, °C.
    pub rinse_min_raw_c: Option<f64>,
    /// Settled minimum corrected for the probe's time constant, °C.
    pub rinse_min_corrected_c: Option<f64>,
    /// A settled minimum that was not judged; for people only.
    #[serde(skip)]
    pub unjudged: Option<Unjudged>,
    /// Which of these two the verdict stands on.
    pub basis: Basis,
    /// Limit for the final rinse, °C.
    pub limit_c: f64,
    /// Where that limit comes from.
    pub limit_source: LimitSource,
    /// Highest final-rinse reading, °C.
    pub rinse_peak_c: Option<f64>,
    /// Time at or above the limit, s.
    pub dwell_s: f64,
    /// Time required, s.
    pub dwell_required_s: f64,
    /// From the start of the flow to the first reading at or above the limit, s.
    pub settled_after_s: Option<f64>,
    /// Integral of limit − reading where the reading is below, °C·s.
    pub area_below_c_s: f64,
    /// Wash minimum, °C.
    pub wash_min_c: Option<f64>,
    /// Limit for the wash, °C.
    pub wash_limit_c: f64,
    /// A0 (EN ISO 15883-1), s at 80 °C.
    pub a0: f64,
    /// Heat unit equivalents.
    pub hue: f64,
    /// What the two doses were computed from.
    pub dose_basis: DoseBasis,
    /// Expanded uncertainty (k = 2) of the settled minimum, °C.
    pub uncertainty: f64,
    /// Probability that the true minimum is at or above the limit, 0 to 1.
    pub conformance: Option<f64>,
    /// Decision rule.
    pub rule: Rule,
    /// Kind of machine.
    pub machine_kind: MachineKind,
    /// Sanitizing method.
    pub sanitizing: Sanitizing,
    /// Concentration on file, mg/L.
    pub concentration_mg_per_l: Option<f64>,
    /// pH on file.
    pub ph: Option<f64>,
    /// What set the rinse window.
    pub window_from: WindowFrom,
    /// When the last reading it stands on arrived.
    pub received: Timestamp,
    /// Index of the record in the ledger; absent without a ledger.
    pub ledger_index: Option<u64>,
    /// When it was recorded.
    pub recorded: Option<Timestamp>,
    /// Whether it was recorded late, see [`crate::core::late`].
    pub late: bool,
    /// Indices of the records that amend it; absent where nobody looked for any.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub amendments: Option<Vec<u64>>,
    /// Numbers of the alerts that put it in doubt, where it passed; absent where nobody looked for any.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub in_doubt_by: Option<Vec<u64>>,
    /// What it passed by, and what the test found by which it is in doubt; for people only.
    #[serde(skip)]
    pub overtaken: Option<Overtaken>,
    /// What the amendments say, one sentence each; for people only.
    #[serde(skip)]
    pub remarks: Vec<String>,
}

impl CycleRow {
    /// Takes a cycle from its record.
    #[must_use]
    pub fn new(machine: &str, cycle: &Cycle, ledger_index: Option<u64>) -> Self {
        Self {
            machine: machine.to_owned(),
            started: cycle.started,
            rinse_started: cycle.rinse_started,
            rinse_ended: cycle.rinse_ended,
            verdict: cycle.verdict,
            reasons: cycle.reasons.iter().map(words::reason).collect(),
            reason_codes: cycle.reasons.iter().map(words::reason_code).collect(),
            findings: cycle.findings.iter().map(words::finding).collect(),
            finding_codes: cycle.findings.iter().map(words::finding_code).collect(),
            rinse_min_c: cycle.rinse_min_c,
            rinse_min_raw_c: cycle.rinse_min_raw_c,
            rinse_min_corrected_c: cycle.rinse_min_corrected_c,
            unjudged: Unjudged::of(cycle),
            basis: cycle.basis,
            limit_c: cycle.limit_c,
            limit_source: cycle.limit_source,
            rinse_peak_c: cycle.rinse_peak_c,
            dwell_s: cycle.dwell_s,
            dwell_required_s: cycle.dwell_required_s,
            settled_after_s: cycle.settled_after_s,
            area_below_c_s: cycle.area_below_c_s,
            wash_min_c: cycle.wash_min_c,
            wash_limit_c: cycle.wash_limit_c,
            a0: cycle.a0,
            hue: cycle.hue,
            dose_basis: cycle.dose_basis,
            uncertainty: cycle.uncertainty_c,
            conformance: cycle.conformance,
            rule: cycle.rule,
            machine_kind: cycle.machine_kind,
            sanitizing: cycle.sanitizing,
            concentration_mg_per_l: cycle.concentration_mg_per_l,
            ph: cycle.ph,
            window_from: cycle.window_from,
            received: cycle.received,
            ledger_index,
            recorded: None,
            late: false,
            amendments: None,
            in_doubt_by: None,
            overtaken: None,
            remarks: Vec::new(),
        }
    }

    /// Adds what its record says beside the cycle.
    #[must_use]
    pub fn recorded(mut self, record: &Record) -> Self {
        self.recorded = Some(record.recorded);
        self.late = late_by(record).is_some();
        self
    }

    /// Adds the alerts that put it in doubt.
    #[must_use]
    pub fn in_doubt(mut self, by: &[AlertNumber]) -> Self {
        self.in_doubt_by = Some(by.iter().map(|alert| alert.0).collect());
        self
    }

    /// Adds the amendments that speak of it; of one that cannot be read that is said.
    #[must_use]
    pub fn amended(mut self, amendments: &[(u64, Option<Amendment>)]) -> Self {
        self.amendments = Some(amendments.iter().map(|(index, _)| *index).collect());
        self.remarks =
            amendments.iter().map(|(index, amendment)| said::amended(*index, amendment.as_ref())).collect();
        self
    }
}

#[cfg(test)]
pub(crate) mod samples {
    use super::*;
    use crate::core::cycle::verdict::{Finding, Reason};

    /// A cycle of a hot-water machine, 2023-11-14 22:13:20 UTC plus `after_s`.
    pub(crate) fn cycle(after_s: u64, verdict: Verdict, rinse_min_c: f64, reasons: Vec<Reason>) -> Cycle {
        let started =
            Timestamp::from_micros(1_700_000_000_000_000).plus(std::time::Duration::from_secs(after_s));
        let second = |count| started.plus(std::time::Duration::from_secs(count));
        Cycle {
            started,
            rinse_started: second(45),
            rinse_ended: second(57),
            received: second(62),
            machine_kind: MachineKind::StationaryRackDualTemperature,
            sanitizing: Sanitizing::HotWater,
            window_from: WindowFrom::Trace,
            verdict,
            reasons,
            findings: if verdict == Verdict::Cold {
                vec![Finding::WashLow { measured_c: 61.0, limit_c: 65.6 }]
            } else {
                Vec::new()
            },
            rinse_min_c: Some(rinse_min_c),
            rinse_min_raw_c: Some(rinse_min_c),
            rinse_min_corrected_c: None,
            basis: Basis::Raw,
            limit_c: 82.222,
            limit_source: LimitSource::FoodCode,
            rinse_peak_c: Some(rinse_min_c + 2.0),
            settled_after_s: None,
            dwell_s: if verdict == Verdict::Cold { 0.0 } else { 9.5 },
            dwell_required_s: 5.0,
            area_below_c_s: 0.0,
            wash_min_c: Some(67.25),
            wash_limit_c: 65.556,
            a0: 12.5,
            hue: 4.0,
            dose_basis: DoseBasis::WaterSideEstimate,
            uncertainty_c: 0.9,
            conformance: Some(0.98),
            rule: Rule::SimpleAcceptance,
            concentration_mg_per_l: None,
            ph: None,
            rinse_readings: 48,
            spikes: 0,
            trace_sha256: None,
        }
    }

    /// A pass, a narrow one, a cold one, an unproven one.
    pub(crate) fn rows() -> Vec<CycleRow> {
        let cold = vec![Reason::RinseBelowLimit { measured_c: 71.31, limit_c: 82.222 }];
        let narrow = vec![Reason::InsideUncertainty { margin_c: 0.4, uncertainty_c: 0.9 }];
        let unproven =
            vec![Reason::RinseProbe { fault: crate::core::reading::Fault::OpenCircuit }, Reason::EndNotSeen];
        let cycles = [
            cycle(0, Verdict::Pass, 85.11, Vec::new()),
            cycle(120, Verdict::Narrow, 82.62, narrow),
            cycle(240, Verdict::Cold, 71.31, cold),
            cycle(7200, Verdict::Unproven, 80.0, unproven),
        ];
        let mut rows: Vec<_> =
            cycles.iter().zip(41..).map(|(cycle, index)| CycleRow::new("dm1", cycle, Some(index))).collect();
        rows[3].rinse_min_c = None;
        rows[3].ledger_index = None;
        rows[3].machine = "a-machine-with-a-long-name".to_owned();
        rows
    }
}
