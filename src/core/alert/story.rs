//! The story of alerts as their records tell it, without the desk.
//!
//! The records of an alert say what became of it; its figures and its racks are those of the cycles, which are
//! given to [`Story::racks`] as [`super::past::Past`] counts them, once the records are told: an alert whose records
//! speak of three racks out of thirty has the same figures as the one the desk had. Of a condition without racks
//! (drifting, a disk filling) the records alone are told.

use std::collections::BTreeMap;

use super::affected::Measured;
use super::condition::Condition;
use super::earlier::Earlier;
use super::open::{Acknowledgement, Action, Alert, AlertNumber, Quantity, Rack, Racks};
use super::past::Counted;
use super::quantity::side;
use super::raise::worse;
use super::returns::Returns;
use crate::core::record::{
    AlertChanged, AlertRaised, Body, Change, Clearing, Cycle, MissedDue, OfAlert, Outcome, Record,
};
use crate::core::time::Timestamp;

/// One alert from its first record to its latest.
#[derive(Clone, PartialEq, Debug)]
pub struct Story {
    /// The alert as it is now, or was when it closed. Its racks are counted by its records, and named once
    /// they were given to [`Story::racks`].
    pub alert: Alert,
    /// Index of the last good cycle before it, or before it came back, which [`Story::last_good`] wants.
    pub last_good: Option<u64>,
    /// How many of its racks were given.
    pub taken: u64,
    /// Who had taken it on, where that ended when it came back.
    pub released: Vec<Released>,
    /// When it closed.
    pub closed: Option<Timestamp>,
    /// When it came back without a word of whoever takes care: where a later record shows that nobody did, it ended then.
    returned: Option<Timestamp>,
    /// When what was measured was counted anew: what its racks showed before that was misread in part.
    measured_anew: Option<Timestamp>,
    /// The checks that it found missing, each due time once, in order of the record.
    pub missed: Vec<MissedDue>,
    overdue: Overdue,
    /// The worst that was measured on either side of what may be too high and too low, each with its limit.
    sides: Vec<(Quantity, Quantity)>,
    /// Messages that were delivered.
    pub delivered: u64,
    /// Messages that were given up.
    pub given_up: u64,
}

/// Somebody who had taken it on, and takes care no longer: it came back after it had settled.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Released {
    /// Who.
    pub by: String,
    /// When they took it on.
    pub taken: Timestamp,
    /// When it came back.
    pub at: Timestamp,
}

/// Takes one record, in order of the ledger; those that tell of no alert are passed over.
pub fn note(stories: &mut BTreeMap<AlertNumber, Story>, record: &Record) {
    let Some(told) = record.body.of_alert() else { return };
    if let OfAlert::Raised(raised) = told {
        let alert = raised_by(record, raised);
        let last_good = raised.last_good;
        let mut story = Story {
            alert,
            last_good,
            taken: 0,
            released: Vec::new(),
            returned: None,
            measured_anew: None,
            closed: None,
            missed: Vec::new(),
            overdue: Overdue::default(),
            sides: Vec::new(),
            delivered: 0,
            given_up: 0,
        };
        story.earlier(raised.earlier.as_ref());
        story.missed(raised.missed);
        story.overdue.take(told);
        story.keep_side();
        stories.insert(raised.alert, story);
    } else if let Some(story) = told.alert().and_then(|number| stories.get_mut(&number)) {
        story.note(told, record.recorded);
        story.keep_side();
    }
}

/// The entry that a record of the story of an alert says to hold it: what raised or changed it, or one that failed while
/// it was open. By what it recovered is another.
#[must_use]
pub fn held_by(index: u64, record: &Record) -> Option<u64> {
    match record.body.of_alert() {
        Some(told @ (OfAlert::Raised(_) | OfAlert::Changed(_))) => told.cause(),
        Some(
            OfAlert::Acknowledged(_)
            | OfAlert::Cleared(_)
            | OfAlert::Closed(_)
            | OfAlert::Action(_)
            | OfAlert::Notification(_),
        ) => None,
        None => matches!(record.body, Body::Check(_)).then_some(index),
    }
}

/// When an alert came back, as its records tell.
#[must_use]
pub fn returned(records: &[(u64, Record)]) -> Returns {
    let back = |record: &Record| matches!(record.body.of_alert(), Some(OfAlert::Changed(changed)) if changed.change == Change::Returned);
    records.iter().filter(|(_, record)| back(record)).map(|(_, record)| record.recorded).collect()
}

/// The checks that an alert has found missing and that were not made since: of each kind when it was due first.
#[derive(Clone, PartialEq, Debug, Default)]
struct Overdue(Vec<MissedDue>);

impl Overdue {
    /// Takes the records of the alert, in order.
    fn take(&mut self, told: OfAlert<'_>) {
        let missed = match told {
            OfAlert::Raised(raised) => raised.missed,
            OfAlert::Changed(changed) => {
                match changed.change {
                    Change::Returned => self.0.clear(),
                    Change::Eased => {
                        self.0.retain(|own| changed.about.iter().any(|kind| kind == own.check.as_str()));
                    }
                    Change::Grew
                    | Change::MissedAgain
                    | Change::Escalated
                    | Change::EscalationEnded
                    | Change::NobodyToTell
                    | Change::Held => {}
                }
                changed.missed
            }
            OfAlert::Acknowledged(_)
            | OfAlert::Cleared(_)
            | OfAlert::Closed(_)
            | OfAlert::Action(_)
            | OfAlert::Notification(_) => None,
        };
        self.0.extend(missed.filter(|missed| self.0.iter().all(|own| own.check != missed.check)));
    }

    /// Those of the kinds that it is about.
    fn of(&self, about: &[String]) -> impl Iterator<Item = MissedDue> {
        self.0.iter().copied().filter(|own| about.iter().any(|kind| kind == own.check.as_str()))
    }
}

/// When each of several checks was due that an alert finds missing, the first one first; none where it is one.
#[must_use]
pub fn missing(alert: &Alert, records: &[(u64, Record)]) -> Vec<MissedDue> {
    if alert.condition != Condition::CheckOverdue || alert.about.len() < 2 {
        return Vec::new();
    }
    let mut overdue = Overdue::default();
    records.iter().filter_map(|(_, record)| record.body.of_alert()).for_each(|told| overdue.take(told));
    let mut due: Vec<MissedDue> = overdue.of(&alert.about).collect();
    due.sort_by_key(|own| own.due);
    due
}

fn raised_by(record: &Record, raised: &AlertRaised) -> Alert {
    Alert {
        number: raised.alert,
        condition: raised.condition,
        machine: record.machine.clone(),
        place: raised.place,
        raised: record.recorded,
        since: raised.since,
        measured: raised.measured,
        worst: raised.measured,
        limit: raised.limit,
        racks: Racks { count: u64::from(raised.pattern.is_some()), named: Vec::new() },
        earlier: 0,
        beside: 0,
        // When it was, only its own record says, or a corrective action.
        last_good: None,
        before_return: 0,
        returns: Returns::default(),
        pattern: raised.pattern,
        about: raised.about.clone(),
        acknowledged: None,
        cleared: None,
        needs_action: raised.condition.needs_action(),
        action: None,
        amended: None,
        rest_since: None,
        lapsed: false,
        other_side: None,
    }
}

impl Story {
    /// Takes racks that had passed before: their record says which, and they are given to nothing else.
    fn earlier(&mut self, earlier: Option<&Earlier>) {
        let Some(earlier) = earlier else { return };
        let (alert, racks) = (&mut self.alert, earlier.all());
        alert.racks.add(&racks);
        alert.earlier += earlier.racks.count;
        alert.beside += earlier.beside.count;
        alert.needs_action |= racks.count > 0;
        self.taken += racks.count;
    }

    /// Takes a check that was missed; the latest of its kind, made and withdrawn again, is the same.
    fn missed(&mut self, missed: Option<MissedDue>) {
        let Some(missed) = missed else { return };
        if self.missed.iter().rfind(|known| known.check == missed.check) != Some(&missed) {
            self.missed.push(missed);
        }
    }

    /// Takes the record of the last good cycle before it.
    pub fn last_good(&mut self, index: u64, cycle: &Cycle) {
        if self.last_good == Some(index) {
            self.alert.last_good = Some(Rack::of(index, cycle));
        }
    }

    /// Takes racks that it counts, in order after its records: what was measured last and at worst is theirs. Once it
    /// has recovered, no more than its records counted.
    pub fn racks(&mut self, counted: &Counted) {
        let over = self.alert.cleared.or(self.closed).is_some();
        let alert = &mut self.alert;
        if over && self.taken >= alert.racks.count {
            return;
        }
        self.taken += counted.racks.len() as u64;
        let count = alert.racks.count.max(self.taken);
        alert.needs_action |= alert.condition == Condition::ThermometerOff;
        counted.racks.iter().for_each(|rack| alert.racks.push(*rack));
        alert.racks.count = count;
        let Measured { value, limit } = counted.measured;
        let is_newer = |rack: &Rack| self.measured_anew.is_none_or(|anew| rack.at > anew);
        if value.is_some() && counted.racks.last().is_none_or(is_newer) {
            (alert.measured, alert.limit) = (value, limit);
            alert.worst = worse(alert.condition, alert.worst, counted.measured);
            self.keep_side();
        }
    }

    /// Keeps what was measured at worst on the side on which it is now: of two sides the alert names the latest alone.
    fn keep_side(&mut self) {
        let Some((worst, limit)) = self.alert.worst.zip(self.alert.limit) else { return };
        let condition = self.alert.condition;
        let crossed = side(condition, worst, limit);
        match self.sides.iter_mut().find(|(known, of)| side(condition, *known, *of) == crossed) {
            Some(known) => {
                let now = Measured { value: Some(worst), limit: Some(limit) };
                let is_worse = worse(condition, Some(known.0), now) == Some(worst);
                *known = if is_worse { (worst, limit) } else { *known };
            }
            None => self.sides.push((worst, limit)),
        }
    }

    /// The worst that was measured on the side on which it was latest, with its limit, however often it came back, and
    /// that on the other side. `None` where nothing was.
    #[must_use]
    pub fn worst_of_sides(&self) -> [Option<(Quantity, Quantity)>; 2] {
        let Some((worst, limit)) = self.alert.worst.zip(self.alert.limit) else { return [None; 2] };
        let of = |(known, limit): &(Quantity, Quantity)| side(self.alert.condition, *known, *limit);
        let crossed = of(&(worst, limit));
        let kept = |is_latest| self.sides.iter().copied().find(|known| (of(known) == crossed) == is_latest);
        [true, false].map(kept)
    }

    /// Whoever takes care does no longer, as this record shows. How long it takes to settle is configured and on no
    /// record; earlier versions put on record that it came back, and not that nobody takes care of it any more.
    fn release(&mut self, shown: Timestamp) {
        let at = self.returned.take().unwrap_or(shown);
        let taken = self.alert.acknowledged.take();
        self.released.extend(taken.map(|taken| Released { by: taken.by, taken: taken.at, at }));
    }

    fn note_change(&mut self, changed: &AlertChanged, at: Timestamp) {
        self.earlier(changed.earlier.as_ref());
        self.missed(changed.missed);
        let alert = &mut self.alert;
        let has_racks = changed.last_good.is_some() || changed.earlier.is_some();
        if changed.change == Change::Returned && has_racks {
            let earlier = changed.earlier.as_ref().map_or(0, |earlier| earlier.all().count);
            alert.before_return = alert.racks.count.saturating_sub(earlier);
            // Earlier records name one that is in doubt itself.
            self.last_good = changed.last_good.filter(|_| changed.earlier.is_none());
            alert.last_good = None;
        }
        alert.racks.count = changed.racks;
        alert.amended = changed.amended.as_deref().cloned().or(alert.amended.take());
        alert.pattern = changed.pattern.or(alert.pattern);
        if changed.measured.is_some() {
            // Of a sanitizer the side may be another one, or it is the pH that lies outside.
            let before = alert.limit.filter(|_| alert.condition != Condition::Weak);
            let limit = changed.limit.or(before);
            alert.measured = changed.measured;
            alert.take_worst(Measured { value: changed.measured, limit });
        }
        if changed.worst.is_some() {
            (alert.worst, self.measured_anew) = (changed.worst, Some(at));
            self.sides.clear();
        }
        if matches!(changed.change, Change::Eased | Change::Returned) && !changed.about.is_empty() {
            // What it is about no more is named no more.
            alert.about.clone_from(&changed.about);
        }
        for about in &changed.about {
            if !alert.about.contains(about) {
                alert.about.push(about.clone());
            }
        }
        if changed.released.is_some() {
            self.returned = Some(at);
            self.release(at);
        } else if changed.change == Change::Returned {
            self.returned = Some(at);
        } else if changed.change == Change::Escalated {
            // Nobody is told next for want of somebody while somebody takes care.
            self.release(at);
        }
        let alert = &mut self.alert;
        match changed.change {
            Change::Returned => {
                alert.returns.push(at);
                (alert.cleared, alert.amended, alert.lapsed) = (None, None, false);
                alert.needs_action |= alert.condition.needs_action();
                let since = if alert.condition == Condition::Drifting { at } else { alert.since };
                alert.since = changed.missed.map_or(since, |missed| missed.due);
            }
            Change::Grew
            | Change::Eased
            | Change::MissedAgain
            | Change::Escalated
            | Change::EscalationEnded
            | Change::NobodyToTell
            | Change::Held => {}
        }
        // Since when those have been overdue that are so still.
        let first = self.overdue.of(&alert.about).map(|missed| missed.due).min();
        alert.rest_since = first.filter(|first| *first != alert.since);
    }

    fn note(&mut self, told: OfAlert<'_>, at: Timestamp) {
        self.overdue.take(told);
        let alert = &mut self.alert;
        match told {
            // Where a story begins.
            OfAlert::Raised(_) => {}
            OfAlert::Changed(changed) => self.note_change(changed, at),
            OfAlert::Acknowledged(taken) => {
                // The desk takes nobody beside another: whoever had it had been released.
                self.release(at);
                let (by, via, note) = (taken.by.clone(), taken.via.clone(), taken.note.clone());
                self.alert.acknowledged = Some(Acknowledgement { by, at, via, note });
            }
            OfAlert::Cleared(cleared) => {
                alert.racks.count = cleared.racks;
                alert.cleared = Some(at);
                alert.lapsed = cleared.clearing == Clearing::Lapsed;
                if cleared.worst.is_some() {
                    (alert.worst, alert.limit) = (cleared.worst, cleared.limit);
                }
                if cleared.clearing == Clearing::Withdrawn {
                    (alert.earlier, alert.beside, alert.needs_action) = (0, 0, false);
                    alert.racks = Racks::default();
                    self.taken = 0;
                    self.sides.clear();
                }
            }
            OfAlert::Closed(closed) => {
                alert.racks.count = closed.racks;
                alert.needs_action = closed.needed_action;
                self.closed = Some(at);
            }
            OfAlert::Action(action) => {
                let (by, racks, done) = (action.by.clone(), action.racks.clone(), action.done.clone());
                if let (Some(index), Some(at)) = (self.last_good, action.last_good) {
                    alert.last_good = Some(Rack { index, at, began: None });
                }
                let before = alert.action.as_ref().map_or(0, |before| before.covers);
                let covers = action.covers.unwrap_or(alert.racks.count).max(before);
                alert.racks.count = alert.racks.count.max(covers);
                alert.action = Some(Action { by, at, racks, done, covers });
            }
            OfAlert::Notification(notification) => match notification.outcome {
                Outcome::Delivered => self.delivered += 1,
                Outcome::GivenUp => self.given_up += 1,
            },
        }
    }
}
