//! What a judged cycle measured of a condition, alike for the desk and for the story on record.

use super::condition::Condition;
use super::cycles::condition_of;
use super::open::Quantity;
use crate::core::cycle::verdict::{Finding, Reason, Verdict};
use crate::core::reading::Fault;
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
        | Condition::CheckOverdue => true,
        Condition::Drifting
        | Condition::TankCold
        | Condition::CalibrationOverdue
        | Condition::ThermometerOff
        | Condition::SuppliesShort
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
    if !condition.tells_of(cycle) {
        return None;
    }
    match condition {
        Condition::Cold | Condition::Narrow => Some(settled(cycle)),
        Condition::Brief => Some(brief(cycle)),
        Condition::Weak => Some(weak(cycle)),
        Condition::Unproven => matches!(doubt(cycle), Doubt::Other)
            .then_some(Measured { value: Some(Quantity::Count(1)), limit: None }),
        // Nothing is measured of these, and the racks are theirs all the same.
        Condition::ProbeFault | Condition::ProbeSilent => match doubt(cycle) {
            Doubt::Probe(fault) => (condition_of(fault) == condition).then_some(Measured::default()),
            Doubt::Other => Some(Measured::default()),
            Doubt::Check => None,
        },
        Condition::CheckOverdue => matches!(doubt(cycle), Doubt::Check).then_some(Measured::default()),
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

/// What a cycle is to the row of a condition; `None` where the condition counts no rows back. A row without proof
/// also passes over racks that are told as what hides their proof, which the cycle alone does not say.
#[must_use]
pub fn in_row(condition: Condition, cycle: &Cycle) -> Option<InRow> {
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
        Condition::Unproven => Some(match (cycle.verdict, doubt(cycle)) {
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

/// Why an unproven cycle is unproven, as far as it decides whom to tell of what.
pub(super) enum Doubt {
    /// The probe of the final rinse.
    Probe(Fault),
    /// No concentration check on file.
    Check,
    /// Anything else.
    Other,
}

/// A probe explains a cycle before anything else does: nothing measured by it can be believed.
pub(super) fn doubt(cycle: &Cycle) -> Doubt {
    let fault = cycle
        .reasons
        .iter()
        .find_map(|reason| if let Reason::RinseProbe { fault } = reason { Some(*fault) } else { None });
    match fault {
        Some(fault) => Doubt::Probe(fault),
        None if cycle.reasons.contains(&Reason::NoConcentrationCheck) => Doubt::Check,
        None => Doubt::Other,
    }
}
