//! One alert of an account: what became of it, and what was done about it.

use std::ops::Not;

use serde::{Deserialize, Serialize};

use crate::core::alert::open::is_zero;
use crate::core::alert::story::Story;
use crate::core::alert::{Condition, Quantity, Returns};
use crate::core::time::Timestamp;

/// One alert and what became of it.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct AlertAccount {
    /// Its number.
    pub number: u64,
    /// What it was about.
    pub condition: Condition,
    /// Which machine; absent for the site.
    pub machine: Option<String>,
    /// Probes, checks or routes it was about.
    pub about: Vec<String>,
    /// Since when it was so: of racks, when the final rinse of the first began, or where that one lies outside the span,
    /// when it ended.
    pub since: Timestamp,
    /// When it was raised.
    pub raised: Timestamp,
    /// Whether that was after the span: it is about racks of it.
    #[serde(skip_serializing_if = "Not::not", default)]
    pub later: bool,
    /// What was measured at worst.
    pub measured: Option<Quantity>,
    /// Against which limit.
    pub limit: Option<Quantity>,
    /// The worst that was measured on the other side, with its limit there, of what may be too high and too low and was
    /// both.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub other_side: Option<(Quantity, Quantity)>,
    /// Racks affected.
    pub racks: u64,
    /// How many of them are not among the racks of the span: washed before or after it, or not readable.
    #[serde(skip_serializing_if = "is_zero", default)]
    pub racks_outside: u64,
    /// How many of them had passed, and are in doubt for what was found wrong.
    #[serde(skip_serializing_if = "is_zero", default)]
    pub doubted: u64,
    /// How many of these are not among the racks of the span.
    #[serde(skip_serializing_if = "is_zero", default)]
    pub doubted_outside: u64,
    /// Whether it needs a corrective action.
    pub needs_action: bool,
    /// Who took it on, and when.
    pub acknowledged: Option<(String, Timestamp)>,
    /// Who had taken it on before, when, and when that ended: it came back after it had settled.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub released: Vec<(String, Timestamp, Timestamp)>,
    /// The corrective actions, in order of the record.
    pub actions: Vec<ActionAccount>,
    /// When it came back after it had recovered.
    #[serde(skip_serializing_if = "Returns::is_empty", default)]
    pub returns: Returns,
    /// When it recovered; absent while it lasts, and where it came back after it had.
    pub cleared: Option<Timestamp>,
    /// When it was closed; absent while it is open.
    pub closed: Option<Timestamp>,
    /// Messages that were delivered.
    pub delivered: u64,
    /// Messages that were given up.
    pub given_up: u64,
}

/// A corrective action.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct ActionAccount {
    /// Index of its record.
    pub index: u64,
    /// When it was put on record.
    pub at: Timestamp,
    /// Who did it.
    pub by: String,
    /// What happened to the racks.
    pub racks: String,
    /// What was done.
    pub done: String,
    /// Affected racks it covers: those that its writer was shown, counted from the first. Absent where the record
    /// does not say, and all of then were meant.
    pub covers: Option<u64>,
}

impl AlertAccount {
    /// Racks that its corrective actions cover, counted from the first.
    #[must_use]
    pub fn covered(&self) -> u64 {
        let covers = |action: &ActionAccount| action.covers.unwrap_or(self.racks);
        self.actions.iter().map(covers).max().unwrap_or(0)
    }

    /// How many of its racks no corrective action covers, where one is needed; none once it has closed, since it does
    /// not close before.
    #[must_use]
    pub fn uncovered(&self) -> u64 {
        let open = self.needs_action && self.closed.is_none();
        if open { self.racks.saturating_sub(self.covered()) } else { 0 }
    }

    /// Whether a corrective action is needed that nobody has written: none was, or racks came after it.
    #[must_use]
    pub fn action_missing(&self) -> bool {
        let open = self.needs_action && self.closed.is_none();
        open && (self.actions.is_empty() || self.uncovered() > 0)
    }
}

/// `later` is whether it was raised after the span, `inside` how many racks of the span it counts, and how many of these
/// are in doubt by it.
pub(super) fn account_of(
    told: &Story,
    later: bool,
    inside: (u64, u64),
    actions: Vec<ActionAccount>,
) -> AlertAccount {
    let alert = &told.alert;
    let [worst, other_side] = told.worst_of_sides();
    AlertAccount {
        number: alert.number.0,
        condition: alert.condition,
        machine: alert.machine.clone(),
        about: alert.about.clone(),
        since: alert.lasts_since(),
        raised: alert.raised,
        later,
        measured: worst.map(|(worst, _)| worst).or(alert.worst),
        limit: worst.map(|(_, limit)| limit).or(alert.limit),
        other_side,
        racks: alert.racks.count,
        racks_outside: alert.racks.count.saturating_sub(inside.0),
        doubted: alert.doubted(),
        doubted_outside: alert.doubted().saturating_sub(inside.1),
        needs_action: alert.needs_action,
        acknowledged: alert.acknowledged.as_ref().map(|taken| (taken.by.clone(), taken.at)),
        released: told.released.iter().map(|who| (who.by.clone(), who.taken, who.at)).collect(),
        actions,
        returns: alert.returns.clone(),
        cleared: alert.cleared,
        closed: told.closed,
        delivered: told.delivered,
        given_up: told.given_up,
    }
}
