//! An open alert: what is known of it, and what people did about it.

use std::cmp::Reverse;
use std::fmt;

use serde::{Deserialize, Serialize};

use super::condition::Condition;
use super::returns::Returns;
use crate::core::channel::Place;
use crate::core::record::{CheckKind, Cycle};
use crate::core::time::Timestamp;

/// Number of an alert, counted from 1 over the life of the ledger.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Serialize, Deserialize)]
#[serde(transparent)]
pub struct AlertNumber(pub u64);

impl fmt::Display for AlertNumber {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

/// A measured value or a limit, with its unit.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Quantity {
    /// A temperature, °C.
    Celsius(f64),
    /// A time, s.
    Seconds(f64),
    /// A concentration, mg/L.
    MgPerL(f64),
    /// A pH.
    Ph(f64),
    /// A share of a whole, 0 to 1.
    Fraction(f64),
    /// A number of things.
    Count(u64),
}

/// A judged cycle, as an alert points at it.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Rack {
    /// Index of its record in the ledger.
    pub index: u64,
    /// When its final rinse ended, by which it is told whether a check came before or after it.
    pub at: Timestamp,
    /// When its final rinse began, by which people know it; absent where an earlier version kept it.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub began: Option<Timestamp>,
}

impl Rack {
    /// That of a cycle on record.
    #[must_use]
    pub const fn of(index: u64, cycle: &Cycle) -> Self {
        Self { index, at: cycle.rinse_ended, began: Some(cycle.rinse_started) }
    }

    /// The time that names it to people, as in every list: when its final rinse began.
    #[must_use]
    pub fn rinsed(&self) -> Timestamp {
        self.began.unwrap_or(self.at)
    }
}

/// Most racks that an alert names one by one; beyond it the first and the last
/// half stay, and the count goes on (own choice: what a message or a page can show).
pub const RACKS_NAMED_MAX: usize = 20;

/// The racks an alert is about.
#[derive(Clone, PartialEq, Eq, Debug, Default, Serialize, Deserialize)]
pub struct Racks {
    /// How many.
    pub count: u64,
    /// The first and the latest ones, at most [`RACKS_NAMED_MAX`].
    pub named: Vec<Rack>,
}

impl Racks {
    /// Counts one more.
    pub fn push(&mut self, rack: Rack) {
        if self.named.len() == RACKS_NAMED_MAX {
            self.named.remove(RACKS_NAMED_MAX / 2);
        }
        self.named.push(rack);
        self.count += 1;
    }

    /// This one alone.
    #[must_use]
    pub fn of(rack: Rack) -> Self {
        Self { count: 1, named: vec![rack] }
    }

    /// Counts others after these. Of a row longer than it names, the count goes on.
    pub fn add(&mut self, others: &Self) {
        let count = self.count + others.count;
        others.named.iter().for_each(|rack| self.push(*rack));
        self.count = count;
    }

    /// When the first and the last of those were rinsed that were counted latest, so many; `None` where it is not known which
    /// these are. What is counted later may have been washed earlier.
    #[must_use]
    pub fn latest_span(&self, count: u64) -> Option<(Timestamp, Timestamp)> {
        let before = self.count.checked_sub(count)?;
        let left_out = self.count.saturating_sub(self.named.len() as u64);
        let half = (RACKS_NAMED_MAX / 2) as u64;
        let place = if left_out == 0 || before == 0 {
            before
        } else if self.named.len() < RACKS_NAMED_MAX {
            // Racks of steps of a margin: not one after the other.
            return None;
        } else if before < half {
            before
        } else {
            before.checked_sub(left_out).filter(|place| *place >= half)?
        };
        let latest =
            || self.named.iter().skip(usize::try_from(place).unwrap_or(usize::MAX)).map(Rack::rinsed);
        latest().min().zip(latest().max())
    }

    /// The first one.
    #[must_use]
    pub fn first(&self) -> Option<Rack> {
        self.named.first().copied()
    }

    /// The latest one.
    #[must_use]
    pub fn last(&self) -> Option<Rack> {
        self.named.last().copied()
    }
}

/// What the racks of an alert look like together.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Pattern {
    /// The first rack after an idle time: often the booster or the line recovering.
    FirstAfterIdle,
    /// One rack in the middle of work.
    Single,
    /// Several in a row: in a hot-water machine the booster has probably failed.
    Repeated,
}

impl Pattern {
    /// What a bad rack belongs to that is the `row`th bad one in a row and the `since_idle`th
    /// since the machine was idle; `repeated` bad ones in a row are several.
    #[must_use]
    pub const fn of(row: u32, since_idle: u32, repeated: u32) -> Self {
        if row >= repeated {
            Self::Repeated
        } else if since_idle == 1 {
            Self::FirstAfterIdle
        } else {
            Self::Single
        }
    }
}

/// A named person has seen it and takes care.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Acknowledgement {
    /// Who.
    pub by: String,
    /// When.
    pub at: Timestamp,
    /// How: `link`, `command`, `page`.
    pub via: String,
    /// What they added.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub note: Option<String>,
}

/// What was done about it, in writing.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Action {
    /// Who says so.
    pub by: String,
    /// When it was written.
    pub at: Timestamp,
    /// What happened to the racks since the last good cycle.
    pub racks: String,
    /// What was done.
    pub done: String,
    /// Affected racks it covers: those that its writer was shown, counted from the first.
    pub covers: u64,
}

/// That the entry by which an alert stood was entered wrongly.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Amended {
    /// Who withdrew or corrected it.
    pub by: String,
    /// When that went on record.
    pub at: Timestamp,
    /// Index of the record of the entry; absent where an earlier version wrote it.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub of: Option<u64>,
    /// What it showed as it was entered first.
    pub was: Quantity,
    /// What it shows as it was corrected, which is right; absent where it was withdrawn.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub counts: Option<Quantity>,
}

/// One open alert. A message carries it as it was when the message was made.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Alert {
    /// Its number.
    pub number: AlertNumber,
    /// What is wrong.
    pub condition: Condition,
    /// With which machine; `None` for the site.
    pub machine: Option<String>,
    /// At which place of the machine, where the condition has one.
    pub place: Option<Place>,
    /// When it was raised.
    pub raised: Timestamp,
    /// Since when it has been so: the end of the first affected rinse, the last good reading of a probe, a due time; of a
    /// drift that came back, when it did, since what it measures is of then.
    pub since: Timestamp,
    /// What was measured last.
    pub measured: Option<Quantity>,
    /// The worst that was measured.
    pub worst: Option<Quantity>,
    /// What it is measured against.
    pub limit: Option<Quantity>,
    /// Affected racks.
    pub racks: Racks,
    /// How many of them had passed before it was found, by what was found wrong.
    #[serde(skip_serializing_if = "is_zero", default)]
    pub earlier: u64,
    /// How many more of them had no good verdict of their own, and are held with those.
    #[serde(skip_serializing_if = "is_zero", default)]
    pub beside: u64,
    /// The last cycle of this machine that passed before it, or before it came back: racks since then are in doubt.
    pub last_good: Option<Rack>,
    /// Racks that it counted before it came back last; 0 where it never did.
    #[serde(default)]
    pub before_return: u64,
    /// When it came back after it had ended. What an earlier version did not count, only its records tell.
    #[serde(skip_serializing_if = "Returns::is_empty", default)]
    pub returns: Returns,
    /// What the racks look like together, for cold, brief and wash low.
    pub pattern: Option<Pattern>,
    /// What it is about in detail: probes at fault (`dm1/rinse`), checks that are
    /// missing (`sanitizer`, `supply`, `drain-and-clean`), routes that fail.
    pub about: Vec<String>,
    /// Who has taken it on; withdrawn where it comes back after it had settled.
    pub acknowledged: Option<Acknowledgement>,
    /// When it recovered; `None` while it lasts.
    pub cleared: Option<Timestamp>,
    /// Whether it closes only with a written corrective action.
    pub needs_action: bool,
    /// The latest corrective action; one written before the latest affected rack does not close it.
    pub action: Option<Action>,
    /// What was said later of the last entry that it stood on: that it was entered wrongly.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub amended: Option<Amended>,
    /// Since when what it is still about, or was last, has been so, where that is not `since`: the due time of the checks
    /// that are left. Its records do not tell it.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub rest_since: Option<Timestamp>,
    /// Whether it ended without being seen good again: its hours are over, or somebody worked on the machine.
    #[serde(skip_serializing_if = "std::ops::Not::not", default)]
    pub lapsed: bool,
    /// The worst that was measured on the other side, with its limit there, of a drift that was to both sides.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub other_side: Option<(Quantity, Quantity)>,
}

/// For `serde`, which gives a reference.
#[expect(clippy::trivially_copy_pass_by_ref, reason = "the form that `skip_serializing_if` asks for")]
pub(crate) const fn is_zero(count: &u64) -> bool {
    *count == 0
}

impl Alert {
    /// Whether it has not recovered, and names this among what it is about.
    #[must_use]
    pub fn lasts_about(&self, what: &str) -> bool {
        self.cleared.is_none() && self.about.iter().any(|about| about == what)
    }

    /// Since when what it is about now has been so, as people are told it.
    #[must_use]
    pub fn lasts_since(&self) -> Timestamp {
        self.rest_since.unwrap_or_else(|| self.begun())
    }

    /// Since when it has been so as a whole, as people are told it: a rack is named by when its final rinse began.
    #[must_use]
    pub fn begun(&self) -> Timestamp {
        let first = self.racks.named.iter().find(|rack| rack.at == self.since);
        first.map_or(self.since, Rack::rinsed)
    }

    /// The same alert with [`Alert::begun`] as its `since`, for programs: they read what people read.
    #[must_use]
    pub fn as_told(&self) -> Self {
        Self { since: self.begun(), ..self.clone() }
    }

    /// Since when it is open as a whole, where what is left has been so since another time.
    #[must_use]
    pub fn open_since(&self) -> Option<Timestamp> {
        self.rest_since.filter(|_| self.cleared.is_none()).map(|_| self.begun())
    }

    /// Whether a corrective action is still to be written: none was, or racks were affected after it.
    #[must_use]
    pub fn action_missing(&self) -> bool {
        self.needs_action && self.action.as_ref().is_none_or(|action| action.covers != self.racks.count)
    }

    /// Whether somebody must still take it on: nobody has, and it lasts or wants its corrective action.
    #[must_use]
    pub fn wants_somebody(&self) -> bool {
        self.acknowledged.is_none() && (self.cleared.is_none() || self.action_missing())
    }

    /// When the first of what it counts was, since when it has been so or its first rack, and when its last rack was.
    #[must_use]
    pub fn span(&self) -> (Timestamp, Timestamp) {
        let (racks, begun) = (|| self.racks.named.iter().map(Rack::rinsed), self.begun());
        (racks().fold(begun, Timestamp::min), racks().max().unwrap_or(begun))
    }

    /// How many of its racks no corrective action covers.
    #[must_use]
    pub fn racks_uncovered(&self) -> u64 {
        self.racks.count.saturating_sub(self.action.as_ref().map_or(0, |action| action.covers))
    }

    /// Whether all that it stands on is right as it was corrected: none of its racks is to be held for it.
    #[must_use]
    pub fn was_entered_wrongly(&self) -> bool {
        self.amended.as_ref().is_some_and(|amended| amended.counts.is_some())
    }

    /// How many of its racks nobody has accounted for, as far as any is to be held for it.
    #[must_use]
    pub fn racks_to_hold(&self) -> u64 {
        if self.was_entered_wrongly() { 0 } else { self.racks_uncovered() }
    }

    /// How many of its racks had passed, and are in doubt for what was found wrong.
    #[must_use]
    pub fn doubted(&self) -> u64 {
        // Of a thermometer all are: what it doubts has no bad verdict of its own.
        if self.condition == Condition::ThermometerOff { self.racks.count } else { self.earlier }
    }

    /// How many racks came after those that its corrective action covers, and the last of them where it is named;
    /// `None` where none is needed or written, or it covers all.
    #[must_use]
    pub fn left_out(&self) -> Option<(u64, Option<Rack>)> {
        let count = self.racks_uncovered();
        (self.needs_action && self.action.is_some() && count > 0).then(|| (count, self.racks.last()))
    }

    /// Whether it came back after racks that it counts: its last good rack is the one before that.
    #[must_use]
    pub const fn came_back(&self) -> bool {
        self.before_return > 0
    }

    /// Whether racks of before it came back are still without a corrective action.
    #[must_use]
    pub fn has_older_racks(&self) -> bool {
        self.before_return > self.action.as_ref().map_or(0, |action| action.covers)
    }

    /// The checks whose entry may take it back, while it lasts.
    #[must_use]
    pub fn answered_by(&self) -> Vec<CheckKind> {
        if self.cleared.is_some() {
            return Vec::new();
        }
        let names = |kind: &CheckKind| self.about.iter().any(|about| about == kind.as_str());
        let supplies = (self.condition == Condition::SuppliesShort).then_some(CheckKind::Supply);
        if self.condition == Condition::CheckOverdue {
            return CheckKind::ALL.into_iter().filter(names).collect();
        }
        self.condition.found_by().or(supplies).into_iter().collect()
    }

    /// Puts the most pressing first: what has racks that nobody has accounted for, what lasts, what is over; of each
    /// what lasts, then the worst, then the newest.
    pub fn most_pressing_first(alerts: &mut [Self]) {
        alerts.sort_by_key(|alert| {
            let is_over = alert.cleared.is_some();
            (!alert.action_missing(), is_over, alert.condition.severity(), Reverse(alert.number))
        });
    }

    /// The invented alert of a test message, with number 0: a cold rinse of a machine that does not exist.
    #[must_use]
    pub fn trial(now: Timestamp) -> Self {
        Self {
            number: AlertNumber(0),
            condition: Condition::Cold,
            machine: Some("test".to_owned()),
            place: Some(Place::FinalRinse),
            raised: now,
            since: now,
            measured: Some(Quantity::Celsius(75.0)),
            worst: Some(Quantity::Celsius(75.0)),
            // 180 °F, FDA Food Code 4-501.112.
            limit: Some(Quantity::Celsius(82.222_222)),
            racks: Racks { count: 1, named: Vec::new() },
            earlier: 0,
            beside: 0,
            last_good: None,
            before_return: 0,
            returns: Returns::default(),
            pattern: Some(Pattern::FirstAfterIdle),
            about: Vec::new(),
            acknowledged: None,
            cleared: None,
            needs_action: true,
            action: None,
            amended: None,
            rest_since: None,
            lapsed: false,
            other_side: None,
        }
    }
}
