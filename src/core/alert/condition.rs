//! What an alert can be about, and what follows from that alone.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use crate::core::cycle::verdict::{Finding, Verdict};
use crate::core::record::{CheckKind, Cycle};

/// What is wrong. One alert at a time is open for each machine (or the site) and condition.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Condition {
    /// A final rinse stayed below its limit.
    Cold,
    /// The limit was held too short.
    Brief,
    /// The concentration on file is outside its permitted range.
    Weak,
    /// Several cycles in a row could not be judged, and no probe explains it.
    Unproven,
    /// The wash was colder than its limit.
    WashLow,
    /// The final rinse was hotter than its maximum.
    RinseHot,
    /// Several cycles in a row passed by less than the uncertainty.
    Narrow,
    /// The settled minima move away from where they were.
    Drifting,
    /// The tank is not up to temperature at opening.
    TankCold,
    /// A probe gives a fault in place of values.
    ProbeFault,
    /// A probe gives nothing.
    ProbeSilent,
    /// A check of the shift, the meal or the day is missing.
    CheckOverdue,
    /// The calibration of a probe has run out.
    CalibrationOverdue,
    /// A thermometer that was compared is off by more than its tolerance.
    ThermometerOff,
    /// Supplies were looked at, and something is short that was not filled up.
    SuppliesShort,
    /// A record of a calibration, of a response test or of a withdrawal cannot be read.
    RecordDamaged,
    /// The disk of the ledger is filling.
    DiskFilling,
    /// The gateway's clock is not synchronised.
    ClockUnsynchronised,
    /// The time series server does not take what is written.
    SeriesBacklog,
    /// A message could not be delivered.
    Undelivered,
}

/// How bad a condition is, worst first.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Severity {
    /// Ware that was not sanitized may reach a customer.
    Critical,
    /// The proof is missing, or soon will be.
    Serious,
    /// Something to look at on this shift.
    Warning,
}

impl Condition {
    /// Every condition, in the order of declaration.
    pub const ALL: [Self; 20] = [
        Self::Cold,
        Self::Brief,
        Self::Weak,
        Self::Unproven,
        Self::WashLow,
        Self::RinseHot,
        Self::Narrow,
        Self::Drifting,
        Self::TankCold,
        Self::ProbeFault,
        Self::ProbeSilent,
        Self::CheckOverdue,
        Self::CalibrationOverdue,
        Self::ThermometerOff,
        Self::SuppliesShort,
        Self::RecordDamaged,
        Self::DiskFilling,
        Self::ClockUnsynchronised,
        Self::SeriesBacklog,
        Self::Undelivered,
    ];

    /// The word used in records, in the configuration and on pages.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Cold => "cold",
            Self::Brief => "brief",
            Self::Weak => "weak",
            Self::Unproven => "unproven",
            Self::WashLow => "wash-low",
            Self::RinseHot => "rinse-hot",
            Self::Narrow => "narrow",
            Self::Drifting => "drifting",
            Self::TankCold => "tank-cold",
            Self::ProbeFault => "probe-fault",
            Self::ProbeSilent => "probe-silent",
            Self::CheckOverdue => "check-overdue",
            Self::CalibrationOverdue => "calibration-overdue",
            Self::ThermometerOff => "thermometer-off",
            Self::SuppliesShort => "supplies-short",
            Self::RecordDamaged => "record-damaged",
            Self::DiskFilling => "disk-filling",
            Self::ClockUnsynchronised => "clock-unsynchronised",
            Self::SeriesBacklog => "series-backlog",
            Self::Undelivered => "undelivered",
        }
    }

    /// How bad it is.
    #[must_use]
    pub const fn severity(self) -> Severity {
        match self {
            Self::Cold | Self::Brief | Self::Weak => Severity::Critical,
            Self::Unproven
            | Self::WashLow
            | Self::TankCold
            | Self::ProbeFault
            | Self::ProbeSilent
            | Self::ThermometerOff
            | Self::SuppliesShort
            | Self::RecordDamaged
            | Self::Undelivered
            | Self::DiskFilling => Severity::Serious,
            Self::RinseHot
            | Self::Narrow
            | Self::Drifting
            | Self::CheckOverdue
            | Self::CalibrationOverdue
            | Self::ClockUnsynchronised
            | Self::SeriesBacklog => Severity::Warning,
        }
    }

    /// The check whose failure raises it, and finds wrong what racks had passed by; `None` where none does.
    #[must_use]
    pub const fn found_by(self) -> Option<CheckKind> {
        match self {
            Self::Weak => Some(CheckKind::Sanitizer),
            Self::ThermometerOff => Some(CheckKind::Thermometer),
            Self::Cold
            | Self::Brief
            | Self::Unproven
            | Self::WashLow
            | Self::RinseHot
            | Self::Narrow
            | Self::Drifting
            | Self::TankCold
            | Self::ProbeFault
            | Self::ProbeSilent
            | Self::CheckOverdue
            | Self::CalibrationOverdue
            | Self::SuppliesShort
            | Self::RecordDamaged
            | Self::DiskFilling
            | Self::ClockUnsynchronised
            | Self::SeriesBacklog
            | Self::Undelivered => None,
        }
    }

    /// Whether it closes only with a written corrective action: ware that was
    /// not, or not provably, sanitized may have reached a customer. For a probe
    /// this is so once a rack was washed without proof, see [`super::Alert::needs_action`].
    #[must_use]
    pub const fn needs_action(self) -> bool {
        match self {
            Self::Cold | Self::Brief | Self::Weak | Self::Unproven | Self::WashLow => true,
            Self::RinseHot
            | Self::Narrow
            | Self::Drifting
            | Self::TankCold
            | Self::ProbeFault
            | Self::ProbeSilent
            | Self::CheckOverdue
            | Self::CalibrationOverdue
            | Self::ThermometerOff
            | Self::SuppliesShort
            | Self::RecordDamaged
            | Self::DiskFilling
            | Self::ClockUnsynchronised
            | Self::SeriesBacklog
            | Self::Undelivered => false,
        }
    }

    /// Whether such a cycle can be a rack of an alert of this condition. One without proof is also told of as
    /// what hides the proof; one that somebody worked on is told of by none.
    #[must_use]
    pub fn tells_of(self, cycle: &Cycle) -> bool {
        let verdict = cycle.verdict;
        let found = |wanted: fn(&Finding) -> bool| cycle.findings.iter().any(wanted);
        let told = match self {
            Self::Cold => verdict == Verdict::Cold,
            Self::Brief => verdict == Verdict::Brief,
            Self::Weak => verdict == Verdict::Weak,
            Self::Narrow => verdict == Verdict::Narrow,
            Self::Unproven | Self::ProbeFault | Self::ProbeSilent | Self::CheckOverdue => {
                verdict == Verdict::Unproven
            }
            Self::WashLow => found(|finding| matches!(finding, Finding::WashLow { .. })),
            Self::RinseHot => found(|finding| matches!(finding, Finding::RinseTooHot { .. })),
            Self::Drifting
            | Self::TankCold
            | Self::CalibrationOverdue
            | Self::ThermometerOff
            | Self::SuppliesShort
            | Self::RecordDamaged
            | Self::DiskFilling
            | Self::ClockUnsynchronised
            | Self::SeriesBacklog
            | Self::Undelivered => false,
        };
        told && !cycle.is_worked_on()
    }
}

impl fmt::Display for Condition {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.as_str())
    }
}

/// The word names no condition.
#[derive(Clone, Copy, PartialEq, Eq, Debug, thiserror::Error)]
#[error("no such condition")]
pub struct UnknownCondition;

impl FromStr for Condition {
    type Err = UnknownCondition;

    fn from_str(text: &str) -> Result<Self, UnknownCondition> {
        Self::ALL.into_iter().find(|condition| condition.as_str() == text).ok_or(UnknownCondition)
    }
}
