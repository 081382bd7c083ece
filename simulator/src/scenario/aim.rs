//! What a scenario is for, and which conditions the people must be told of in it.
//!
//! The words are those of the trade. They stand here a second time, beside those of any gateway,
//! so that the two can be held against each other.

use std::fmt;

/// What a scenario is for.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Aim {
    /// To see whether cycles are recognised and judged; who is told of what is left open.
    Recognition,
    /// To raise exactly these conditions.
    Raises(&'static [Expected]),
    /// To come near this condition, and raise none.
    NearlyRaises(Condition),
}

impl Aim {
    /// What must be raised.
    #[must_use]
    pub const fn expected(self) -> &'static [Expected] {
        match self {
            Self::Raises(expected) => expected,
            Self::Recognition | Self::NearlyRaises(_) => &[],
        }
    }
}

/// A condition that must be raised.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Expected {
    /// Machine.
    pub machine: &'static str,
    /// Condition.
    pub condition: Condition,
    /// How it shows, where that tells one cause from another.
    pub pattern: Option<Pattern>,
}

/// How cold racks follow each other.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Pattern {
    /// Only the first rack after a rest: the line has cooled.
    FirstAfterIdle,
    /// Rack after rack: the heat is missing.
    Repeated,
}

macro_rules! conditions {
    ($($(#[doc = $doc:literal])+ $variant:ident = $name:literal,)+) => {
        /// Something that a person must hear of in time.
        #[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
        pub enum Condition { $($(#[doc = $doc])+ $variant,)+ }

        impl Condition {
            /// Every condition.
            pub const ALL: &[Self] = &[$(Self::$variant,)+];

            /// The word for it.
            #[must_use]
            pub const fn as_str(self) -> &'static str {
                match self { $(Self::$variant => $name,)+ }
            }
        }
    };
}

conditions! {
    /// A final rinse below its limit.
    Cold = "cold",
    /// The limit held too short.
    Brief = "brief",
    /// A sanitizer out of its range.
    Weak = "weak",
    /// Several racks in a row that could not be judged.
    Unproven = "unproven",
    /// A wash below its limit.
    WashLow = "wash-low",
    /// A final rinse above its maximum.
    RinseHot = "rinse-hot",
    /// Several narrow passes in a row.
    Narrow = "narrow",
    /// Settled minima that drift, though none is cold.
    Drifting = "drifting",
    /// A tank not up to temperature at opening.
    TankCold = "tank-cold",
    /// A probe that reports a fault.
    ProbeFault = "probe-fault",
    /// A probe that is not heard.
    ProbeSilent = "probe-silent",
    /// A check that was not made in time.
    CheckOverdue = "check-overdue",
    /// A calibration that has run out.
    CalibrationOverdue = "calibration-overdue",
    /// A thermometer that was compared and is off.
    ThermometerOff = "thermometer-off",
    /// Supplies that were looked at and are short.
    SuppliesShort = "supplies-short",
    /// A record of a calibration that cannot be read.
    RecordDamaged = "record-damaged",
    /// A disk that fills up.
    DiskFilling = "disk-filling",
    /// A clock that nobody sets.
    ClockUnsynchronised = "clock-unsynchronised",
    /// Readings that wait for the time-series server.
    SeriesBacklog = "series-backlog",
    /// A message that could not be delivered.
    Undelivered = "undelivered",
}

impl fmt::Display for Condition {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.as_str())
    }
}

/// Conditions that come from the calendar and the machine room: water raises them
/// seldom or never. Beside each, how a test raises it.
pub const NOT_FROM_WATER: [(Condition, &str); 9] = [
    (Condition::CheckOverdue, "not from water: a clock moved past the start of a shift without a check"),
    (Condition::CalibrationOverdue, "not from water: a clock moved past the day the calibration runs out"),
    (
        Condition::ThermometerOff,
        "not from water: a thermometer beside a reference, off by more than its tolerance",
    ),
    (Condition::SuppliesShort, "not from water: a look at the supplies that finds something short"),
    (Condition::RecordDamaged, "not from water: a report of a record of a calibration that cannot be read"),
    (Condition::DiskFilling, "not from water: a report of little free space on the disk of the records"),
    (Condition::ClockUnsynchronised, "not from water: a report of a clock without a source of time"),
    (Condition::SeriesBacklog, "not from water: a report of an old oldest reading that waits"),
    (Condition::Undelivered, "not from water: a report of a message that was given up"),
];

impl fmt::Display for Aim {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Recognition => Ok(()),
            Self::Raises(expected) => expected.iter().enumerate().try_for_each(|(place, one)| {
                let lead = if place == 0 { "raises" } else { "," };
                let pattern = match one.pattern {
                    Some(Pattern::FirstAfterIdle) => " (first after idle)",
                    Some(Pattern::Repeated) => " (repeated)",
                    None => "",
                };
                write!(f, "{lead} {} on {}{pattern}", one.condition, one.machine)
            }),
            Self::NearlyRaises(condition) => write!(f, "raises nothing, though nearly {condition}"),
        }
    }
}

pub(super) const fn on(machine: &'static str, condition: Condition) -> Expected {
    Expected { machine, condition, pattern: None }
}

pub(super) const fn repeated(machine: &'static str) -> Expected {
    Expected { machine, condition: Condition::Cold, pattern: Some(Pattern::Repeated) }
}

pub(super) const fn first_after_idle(machine: &'static str) -> Expected {
    Expected { machine, condition: Condition::Cold, pattern: Some(Pattern::FirstAfterIdle) }
}
