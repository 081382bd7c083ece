//! A span summed up: racks, checks, gaps and alerts counted, and how the machines drift.

use super::Doubted;
use super::missed::MissedSummed;
use crate::core::alert::Condition;
use crate::core::alert::hours::Stretch;
use crate::core::daily::DayNumbers;
use crate::core::drift::Learning;
use crate::core::monitored::Monitored;
use crate::core::record::CheckKind;
use crate::core::time::Timestamp;
use crate::core::trend::Usual;

/// One machine over the span.
#[derive(Clone, PartialEq, Debug)]
pub struct Sum {
    /// Its name.
    pub machine: String,
    /// Days on which it washed.
    pub days: u64,
    /// Racks that are unproven since somebody worked on it.
    pub worked_on: u64,
    /// Its racks in numbers.
    pub numbers: DayNumbers,
    /// How much of the open time was watched.
    pub watched: Monitored,
    /// How many of its racks that passed are in doubt.
    pub doubted: Doubted,
}

/// Checks of one kind.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Tally {
    /// Their kind.
    pub kind: CheckKind,
    /// Those that were good.
    pub good: u64,
    /// Those that were not.
    pub bad: u64,
    /// Those that are not judged: they say that something was done.
    pub done: u64,
}

/// Gaps of a span.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
pub struct GapsSummed {
    /// How many.
    pub count: u64,
    /// Those of them that readings filled later.
    pub filled: u64,
    /// Their length in open time, s.
    pub open_s: f64,
}

/// Alerts of a span.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct AlertsSummed {
    /// Those that were raised.
    pub raised: u64,
    /// Those of them that are not closed.
    pub open: u64,
    /// How many stood open when it began: they are none of those that were raised.
    pub before: u64,
    /// Those of them, the oldest first, at most [`BEFORE_MAX`](super::BEFORE_MAX).
    pub stood: Vec<Stood>,
    /// Those that were raised and put racks in doubt which had passed; at most [`BEFORE_MAX`](super::BEFORE_MAX).
    pub doubting: Vec<DoubtingSummed>,
}

/// An alert that puts racks in doubt which had passed.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct DoubtingSummed {
    /// Its number.
    pub alert: u64,
    /// How many of the racks of the span; absent where not all were looked at.
    pub inside: Option<u64>,
    /// How many racks altogether.
    pub all: u64,
}

/// An alert that stood open when a span began.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Stood {
    /// Its number.
    pub alert: u64,
    /// Its machine; `None` is the whole site.
    pub machine: Option<String>,
    /// What is wrong.
    pub condition: Condition,
    /// When it was raised.
    pub raised: Timestamp,
    /// When it closed; absent while it is open.
    pub closed: Option<Timestamp>,
}

/// The span summed up.
#[derive(Clone, PartialEq, Debug)]
pub struct Summed {
    /// The span.
    pub span: Stretch,
    /// Each machine.
    pub machines: Vec<Sum>,
    /// Gaps.
    pub gaps: GapsSummed,
    /// Checks, one entry for each kind of which there are some.
    pub checks: Vec<Tally>,
    /// Checks that were due and not made in time.
    pub missed: MissedSummed,
    /// Alerts.
    pub alerts: AlertsSummed,
    /// What open time is.
    pub hours: OpenHours,
}

/// What the open time of the site is known by.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum OpenHours {
    /// Opening hours.
    Opening,
    /// Shifts.
    Shifts,
    /// Neither: every hour.
    Every,
}

/// Early warnings of one machine.
#[derive(Clone, PartialEq, Debug)]
pub struct Drift {
    /// Its name.
    pub machine: String,
    /// What counted as usual at the end of the span, °C; absent while too few racks are known.
    pub usual: Option<Usual>,
    /// How far that is learnt, where it is absent.
    pub learning: Option<Learning>,
    /// Where the settled minima left their usual place, in order of time.
    pub shifts: Vec<Shift>,
    /// Cold racks that were the first after a pause.
    pub cold_first: u64,
    /// How long the limit takes where rack follows rack; absent where too few do.
    pub recovery: Option<Recovery>,
}

/// Median time to the limit where rack follows rack.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Recovery {
    /// In the first quarter of the span, s.
    pub first_s: f64,
    /// In its last quarter, s.
    pub last_s: f64,
}

/// The settled minima left their usual place.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Shift {
    /// When it was seen.
    pub at: Timestamp,
    /// By how much, K; colder is below zero.
    pub by_c: f64,
    /// When it began, where that can be said.
    pub since: Option<Timestamp>,
}
