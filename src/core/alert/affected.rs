//! What a judged cycle measured of a condition, alike for the desk and for the story on record.

use super::condition::Condition;
use super::open::Quantity;
use crate::core::cycle::strength::OffRange;
use crate::core::cycle::verdict::{Finding, Reason, Verdict};
use crate::core::reading::Fault;
use crate::core::record::Cycle;
use crate::core::sanitizer::bound::Bound;

/// Conditions of a probe that gives no values, in the order in which they explain a rack.
pub const OF_PROBES: [Condition; 2] = [Condition::ProbeSilent, Condition::ProbeFault];

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

    /// What a sanitizing solution showed, mg/L and pH, and which limit that crossed: of the two the one that it crossed.
    pub(super) fn solution(mg_per_l: Option<f64>, ph: Option<f64>, bound: Option<Bound>) -> Self {
        if let (Some(ph), Some(Bound::PhAtMost(limit))) = (ph, bound) {
            return Self { value: Some(Quantity::Ph(ph)), limit: Some(Quantity::Ph(limit)) };
        }
        let limit = bound.and_then(Bound::mg_per_l).map(Quantity::MgPerL);
        Self { value: mg_per_l.map(Quantity::MgPerL), limit }
    }
}

/// Whether such an alert can be about racks.
#[must_use]
pub const fn has_racks(condition: Condition) -> bool {
    match condition {
        Condition::Cold
        | Condition::Narrow
        | Condition::Brief
        | Condition::Weak
        | Condition::Unproven
        | Condition::WashLow
        | Condition::RinseHot
        | Condition::ProbeFault
        | Condition::ProbeSilent
        | Condition::CheckOverdue
        | Condition::ThermometerOff => true,
        Condition::Drifting
        | Condition::TankCold
        | Condition::CalibrationOverdue
        | Condition::SuppliesShort
        | Condition::RecordDamaged
        | Condition::DiskFilling
        | Condition::ClockUnsynchronised
        | Condition::SeriesBacklog
        | Condition::Undelivered => false,
    }
}

/// What a cycle says of a condition; `None` where it is no rack of such an alert. `probe` explains it where nothing
/// else does, see [`doubt`].
#[must_use]
pub fn measured(condition: Condition, cycle: &Cycle, probe: Option<Condition>) -> Option<Measured> {
    if !condition.tells_of(cycle) {
        return None;
    }
    match condition {
        Condition::Cold | Condition::Narrow => Some(settled(cycle)),
        Condition::Brief => Some(brief(cycle)),
        Condition::Weak => Some(weak(cycle)),
        Condition::Unproven => matches!(doubt(cycle, probe), Doubt::Other)
            .then_some(Measured { value: Some(Quantity::Count(1)), limit: None }),
        // Nothing is measured of these, and the racks are theirs all the same.
        Condition::ProbeFault | Condition::ProbeSilent => {
            let told = matches!(doubt(cycle, probe), Doubt::Probe(told) if told == condition);
            told.then_some(Measured::default())
        }
        Condition::CheckOverdue => matches!(doubt(cycle, probe), Doubt::Check).then_some(Measured::default()),
        Condition::WashLow => wash_low(cycle),
        Condition::RinseHot => too_hot(cycle),
        Condition::Drifting
        | Condition::TankCold
        | Condition::CalibrationOverdue
        | Condition::ThermometerOff
        | Condition::SuppliesShort
        | Condition::RecordDamaged
        | Condition::DiskFilling
        | Condition::ClockUnsynchronised
        | Condition::SeriesBacklog
        | Condition::Undelivered => None,
    }
}

/// What a cycle is to a row that an alert counts once it is long enough.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum InRow {
    /// One more of it.
    Adds,
    /// Nothing: it neither adds to the row nor breaks it.
    Neither,
    /// Its end.
    Breaks,
}

/// What a cycle is to the row of a condition; `None` where the condition counts no rows back. `probe` explains it
/// where nothing else does, see [`doubt`].
#[must_use]
pub fn in_row(condition: Condition, cycle: &Cycle, probe: Option<Condition>) -> Option<InRow> {
    if cycle.is_worked_on() {
        return Some(InRow::Neither);
    }
    match condition {
        Condition::Narrow => Some(match cycle.verdict {
            Verdict::Narrow => InRow::Adds,
            // Nothing is known of it.
            Verdict::Unproven => InRow::Neither,
            Verdict::Cold | Verdict::Brief | Verdict::Weak | Verdict::Pass => InRow::Breaks,
        }),
        Condition::Unproven => Some(match (cycle.verdict, doubt(cycle, probe)) {
            (Verdict::Unproven, Doubt::Other) => InRow::Adds,
            (Verdict::Unproven, Doubt::Probe(_) | Doubt::Check) => InRow::Neither,
            (Verdict::Cold | Verdict::Brief | Verdict::Weak | Verdict::Narrow | Verdict::Pass, _) => {
                InRow::Breaks
            }
        }),
        Condition::Cold
        | Condition::Brief
        | Condition::Weak
        | Condition::WashLow
        | Condition::RinseHot
        | Condition::Drifting
        | Condition::TankCold
        | Condition::ProbeFault
        | Condition::ProbeSilent
        | Condition::CheckOverdue
        | Condition::CalibrationOverdue
        | Condition::ThermometerOff
        | Condition::SuppliesShort
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

/// The concentration or the pH on file, whichever lies outside, against the limit beyond which it lies.
pub(super) fn weak(cycle: &Cycle) -> Measured {
    let bound = OffRange::of(cycle).and_then(OffRange::bound);
    Measured::solution(cycle.concentration_mg_per_l, cycle.ph, bound)
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

/// What an unproven cycle is told as.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Doubt {
    /// This condition of the probe of its final rinse.
    Probe(Condition),
    /// No concentration check on file.
    Check,
    /// One of a row that nothing explains.
    Other,
}

/// What an unproven cycle is told as: its probe explains it before anything else does, since nothing measured by it
/// can be believed. `probe` is the first of [`OF_PROBES`] of which an alert is open, has not recovered and names the
/// probe of its final rinse: that explains what nothing on the cycle itself does.
#[must_use]
pub fn doubt(cycle: &Cycle, probe: Option<Condition>) -> Doubt {
    let fault = cycle
        .reasons
        .iter()
        .find_map(|reason| if let Reason::RinseProbe { fault } = reason { Some(*fault) } else { None });
    match fault {
        Some(fault) => Doubt::Probe(condition_of(fault)),
        None if cycle.reasons.contains(&Reason::NoConcentrationCheck) => Doubt::Check,
        None => probe.map_or(Doubt::Other, Doubt::Probe),
    }
}

/// Whether nothing on a cycle itself explains that it is unproven.
#[must_use]
pub fn is_unexplained(cycle: &Cycle) -> bool {
    measured(Condition::Unproven, cycle, None).is_some()
}

/// Which of the two probe conditions a fault is.
#[must_use]
pub const fn condition_of(fault: Fault) -> Condition {
    match fault {
        Fault::Silent => Condition::ProbeSilent,
        Fault::OpenCircuit
        | Fault::Short
        | Fault::Reversed
        | Fault::OutOfRange
        | Fault::Stuck
        | Fault::NoColdJunction
        | Fault::Reported => Condition::ProbeFault,
    }
}
