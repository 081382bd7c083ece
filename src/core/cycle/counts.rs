//! Racks counted by verdict.

use serde::{Deserialize, Serialize};

use super::verdict::Verdict;
use crate::core::record::Cycle;

/// Racks by verdict.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default, Serialize, Deserialize)]
pub struct Counts {
    /// Final rinse below its limit.
    pub cold: u64,
    /// Limit held too short.
    pub brief: u64,
    /// Concentration out of range.
    pub weak: u64,
    /// Evidence missing.
    pub unproven: u64,
    /// Passed by less than the uncertainty.
    pub narrow: u64,
    /// Passed.
    pub pass: u64,
    /// Those among the unproven that were made while somebody worked on the machine.
    #[serde(default)]
    pub worked_on: u64,
}

impl Counts {
    /// Counts one more.
    pub fn take(&mut self, cycle: &Cycle) {
        *self.at(cycle.verdict) += 1;
        self.worked_on += u64::from(cycle.verdict == Verdict::Unproven && cycle.is_worked_on());
    }

    /// The place of one verdict.
    pub const fn at(&mut self, verdict: Verdict) -> &mut u64 {
        match verdict {
            Verdict::Cold => &mut self.cold,
            Verdict::Brief => &mut self.brief,
            Verdict::Weak => &mut self.weak,
            Verdict::Unproven => &mut self.unproven,
            Verdict::Narrow => &mut self.narrow,
            Verdict::Pass => &mut self.pass,
        }
    }

    /// Those of one verdict.
    #[must_use]
    pub const fn of(&self, verdict: Verdict) -> u64 {
        match verdict {
            Verdict::Cold => self.cold,
            Verdict::Brief => self.brief,
            Verdict::Weak => self.weak,
            Verdict::Unproven => self.unproven,
            Verdict::Narrow => self.narrow,
            Verdict::Pass => self.pass,
        }
    }

    /// The two together.
    #[must_use]
    pub const fn plus(self, other: Self) -> Self {
        Self {
            cold: self.cold + other.cold,
            brief: self.brief + other.brief,
            weak: self.weak + other.weak,
            unproven: self.unproven + other.unproven,
            narrow: self.narrow + other.narrow,
            pass: self.pass + other.pass,
            worked_on: self.worked_on + other.worked_on,
        }
    }

    /// Racks that were not sanitized as they must be.
    #[must_use]
    pub const fn bad(&self) -> u64 {
        self.cold + self.brief + self.weak
    }

    /// All of them.
    #[must_use]
    pub const fn total(&self) -> u64 {
        self.bad() + self.unproven + self.passed()
    }

    /// Racks that passed, barely or plainly: an unproven one is none of them.
    #[must_use]
    pub const fn passed(&self) -> u64 {
        self.narrow + self.pass
    }
}
