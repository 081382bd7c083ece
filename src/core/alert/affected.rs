//! What a judged cycle measured of a condition, alike for the desk and for the story on record.

use super::condition::Condition;
use super::open::Quantity;
use crate::core::cycle::verdict::{Finding, Verdict};
use crate::core::record::Cycle;

/// What was measured of one rack, and against what.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
pub struct Measured {
    /// The value; absent where none was read.
    pub value: Option<Quantity>,
    /// Its limit; absent where it has none of its own.
    pub limit: Option<Quantity>,
}

impl Measured {
    fn celsius(value: f64, limit: f64) -> Self {
        Self { value: Some(Quantity::Celsius(value)), limit: Some(Quantity::Celsius(limit)) }
    }
}

/// Whether such an alert is about racks whose own records hold its figures.
#[must_use]
pub const fn has_racks(condition: Condition) -> bool {
    match condition {
        Condition::Cold
        | Condition::Narrow
        | Condition::Brief
        | Condition::Weak
        | Condition::Unproven
        | Condition::WashLow
        | Condition::RinseHot => true,
        Condition::Drifting
        | Condition::TankCold
        | Condition::ProbeFault
        | Condition::ProbeSilent
        | Condition::CheckOverdue
        | Condition::CalibrationOverdue
        | Condition::ThermometerOff
        | Condition::RecordDamaged
        | Condition::DiskFilling
        | Condition::ClockUnsynchronised
        | Condition::SeriesBacklog
        | Condition::Undelivered => false,
    }
}

/// What a cycle says of a condition; `None` where it is no rack of such an alert.
#[must_use]
pub fn measured(condition: Condition, cycle: &Cycle) -> Option<Measured> {
    if cycle.is_worked_on() {
        return None;
    }
    let judged = |verdict| cycle.believed() == verdict;
    match condition {
        Condition::Cold => judged(Verdict::Cold).then(|| settled(cycle)),
        Condition::Narrow => judged(Verdict::Narrow).then(|| settled(cycle)),
        Condition::Brief => judged(Verdict::Brief).then(|| brief(cycle)),
        Condition::Weak => judged(Verdict::Weak).then(|| weak(cycle)),
        Condition::Unproven => {
            judged(Verdict::Unproven).then_some(Measured { value: Some(Quantity::Count(1)), limit: None })
        }
        Condition::WashLow => wash_low(cycle),
        Condition::RinseHot => too_hot(cycle),
        Condition::Drifting
        | Condition::TankCold
        | Condition::ProbeFault
        | Condition::ProbeSilent
        | Condition::CheckOverdue
        | Condition::CalibrationOverdue
        | Condition::ThermometerOff
        | Condition::RecordDamaged
        | Condition::DiskFilling
        | Condition::ClockUnsynchronised
        | Condition::SeriesBacklog
        | Condition::Undelivered => None,
    }
}

/// The settled minimum against the limit.
pub(super) fn settled(cycle: &Cycle) -> Measured {
    let value = cycle.rinse_min_c.map(Quantity::Celsius);
    Measured { value, limit: Some(Quantity::Celsius(cycle.limit_c)) }
}

/// How long the limit was held against how long it must be.
pub(super) fn brief(cycle: &Cycle) -> Measured {
    let limit = Some(Quantity::Seconds(cycle.dwell_required_s));
    Measured { value: Some(Quantity::Seconds(cycle.dwell_s)), limit }
}

/// The concentration on file; its range stands with the verdict.
pub(super) fn weak(cycle: &Cycle) -> Measured {
    Measured { value: cycle.concentration_mg_per_l.map(Quantity::MgPerL), limit: None }
}

/// The finding of a wash below its limit.
pub(super) fn wash_low(cycle: &Cycle) -> Option<Measured> {
    cycle.findings.iter().find_map(|finding| match finding {
        Finding::WashLow { measured_c, limit_c } => Some(Measured::celsius(*measured_c, *limit_c)),
        Finding::RinseTooHot { .. } | Finding::WashUnproven { .. } => None,
    })
}

/// The finding of a final rinse above its maximum.
pub(super) fn too_hot(cycle: &Cycle) -> Option<Measured> {
    cycle.findings.iter().find_map(|finding| match finding {
        Finding::RinseTooHot { measured_c, limit_c } => Some(Measured::celsius(*measured_c, *limit_c)),
        Finding::WashLow { .. } | Finding::WashUnproven { .. } => None,
    })
}
