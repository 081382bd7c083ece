//! The story of alerts as their records tell it, without the desk.

use std::collections::BTreeMap;

use super::open::{Acknowledgement, Action, Alert, AlertNumber, Rack, Racks};
use super::raise::worse;
use crate::core::record::{AlertRaised, Change, OfAlert, Outcome, Record};
use crate::core::time::Timestamp;

/// One alert from its first record to its latest.
#[derive(Clone, PartialEq, Debug)]
pub struct Story {
    /// The alert as it is now, or was when it closed; of its racks only the count is told.
    pub alert: Alert,
    /// When it closed.
    pub closed: Option<Timestamp>,
    /// Messages that were delivered.
    pub delivered: u64,
    /// Messages that were given up.
    pub given_up: u64,
}

/// Takes one record, in order of the ledger; those that tell of no alert are passed over.
pub fn note(stories: &mut BTreeMap<AlertNumber, Story>, record: &Record) {
    let Some(told) = record.body.of_alert() else { return };
    if let OfAlert::Raised(raised) = told {
        let alert = raised_by(record, raised);
        stories.insert(raised.alert, Story { alert, closed: None, delivered: 0, given_up: 0 });
    } else if let Some(story) = told.alert().and_then(|number| stories.get_mut(&number)) {
        story.note(told, record.recorded);
    }
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
        last_good: raised.last_good.map(|index| Rack { index, at: raised.since }),
        pattern: raised.pattern,
        about: raised.about.clone(),
        acknowledged: None,
        cleared: None,
        needs_action: raised.condition.needs_action(),
        action: None,
    }
}

impl Story {
    fn note(&mut self, told: OfAlert<'_>, at: Timestamp) {
        let alert = &mut self.alert;
        match told {
            // Where a story begins.
            OfAlert::Raised(_) => {}
            OfAlert::Changed(changed) => {
                alert.racks.count = changed.racks;
                alert.pattern = changed.pattern.or(alert.pattern);
                alert.measured = changed.measured.or(alert.measured);
                alert.worst = worse(alert.condition, alert.worst, changed.measured);
                for about in &changed.about {
                    if !alert.about.contains(about) {
                        alert.about.push(about.clone());
                    }
                }
                match changed.change {
                    // What is new must be taken on anew.
                    Change::Grew => alert.acknowledged = None,
                    Change::Returned => (alert.acknowledged, alert.cleared) = (None, None),
                    Change::Escalated | Change::EscalationEnded | Change::NobodyToTell | Change::Held => {}
                }
            }
            OfAlert::Acknowledged(taken) => {
                let (by, via, note) = (taken.by.clone(), taken.via.clone(), taken.note.clone());
                alert.acknowledged = Some(Acknowledgement { by, at, via, note });
            }
            OfAlert::Cleared(cleared) => {
                alert.racks.count = cleared.racks;
                alert.cleared = Some(at);
            }
            OfAlert::Closed(closed) => {
                alert.racks.count = closed.racks;
                alert.needs_action = closed.needed_action;
                self.closed = Some(at);
            }
            OfAlert::Action(action) => {
                let (by, racks, done) = (action.by.clone(), action.racks.clone(), action.done.clone());
                let covers = action.covers.unwrap_or(alert.racks.count);
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
