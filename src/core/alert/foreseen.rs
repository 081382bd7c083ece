//! Who is told next of an open alert while nobody does anything about it.

use std::time::Duration;

use super::desk::Desk;
use super::event::{Effects, Event};
use super::notice::{Notice, Occasion};
use super::open::AlertNumber;
use super::state::{Open, SITE};
use crate::core::time::Timestamp;

/// How far ahead it is looked (own choice: as far as the next change of duty is looked for).
const AHEAD_MAX: Duration = Duration::from_secs(9 * 86_400);

/// Most instants that are looked at (own choice: some hundred of the plan of a day and of the steps, for nine days).
const INSTANTS_MAX: usize = 1_000;

/// What comes of an open alert if nothing happens but time.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Foreseen {
    /// Somebody is told.
    Told {
        /// When.
        at: Timestamp,
        /// Names of the contacts, each once.
        contacts: Vec<String>,
        /// Of what the first of them is told.
        occasion: Occasion,
    },
    /// Nobody has taken it on, and everybody was told as often as they are.
    NobodyElse {
        /// When that is on record.
        at: Timestamp,
    },
    /// The corrective action is missing, and was asked for as often as it is.
    AskedNoMore {
        /// When that is on record.
        at: Timestamp,
    },
    /// Nobody is told until then; further ahead it is not looked.
    NotBefore {
        /// Up to when it was looked.
        at: Timestamp,
    },
}

impl Desk {
    /// A copy that knows of this alert alone, for [`Desk::foreseen`]; `None` where it is not open.
    #[must_use]
    pub fn alone(&self, alert: AlertNumber) -> Option<Self> {
        let mut copy = self.clone();
        copy.forget_all_but(alert);
        copy.one(alert).is_some().then_some(copy)
    }

    /// What comes of an alert if nothing happens after `now`, found by letting time pass for a copy of the desk. That
    /// it goes on, or is over, is no news. `None` where nobody waits for anything. At most nine days and
    /// a thousand instants are looked at; beyond them it is [`Foreseen::NotBefore`].
    ///
    /// # Panics
    /// Never: time alone is refused nothing.
    #[must_use]
    pub fn foreseen(&self, now: Timestamp, alert: AlertNumber) -> Option<Foreseen> {
        let mut later = self.alone(alert)?;
        let mut at = now;
        if !later.waits(later.one(alert)?) {
            return None;
        }
        for _ in 0..INSTANTS_MAX {
            let Some(due) = later.deadline().filter(|due| *due <= now.plus(AHEAD_MAX)) else { break };
            at = at.max(due);
            let mut effects = Effects::default();
            later.handle(at, Event::Tick, &mut effects).expect("time alone is refused nothing");
            if let Some(told) = told(&effects.notices, alert, at) {
                return Some(told);
            }
            let open = later.one(alert)?;
            if !later.waits(open) {
                return open.ends(at);
            }
            // What the plan has raised meanwhile is another alert's.
            later.forget_all_but(alert);
        }
        Some(Foreseen::NotBefore { at })
    }

    fn one(&self, alert: AlertNumber) -> Option<&Open> {
        self.state.all().find(|open| open.alert.number == alert)
    }

    /// Whether somebody is told of it in time, or at the end of work on its machine.
    fn waits(&self, open: &Open) -> bool {
        let (telling, machine) = (&open.telling, open.alert.machine.as_deref().unwrap_or(SITE));
        telling.next_step.is_some() || telling.reminder.is_some() || self.state.holds(machine)
    }

    fn forget_all_but(&mut self, alert: AlertNumber) {
        for open in self.state.open.values_mut() {
            open.retain(|_, open| open.alert.number == alert);
        }
        // What would raise others again at once.
        self.state.clock_bad_since = None;
        self.state.machines.values_mut().for_each(|memory| memory.tank = None);
    }
}

impl Open {
    /// What it ends in where nobody is waited for any more.
    fn ends(&self, at: Timestamp) -> Option<Foreseen> {
        if self.alert.wants_somebody() {
            Some(Foreseen::NobodyElse { at })
        } else {
            self.alert.action_missing().then_some(Foreseen::AskedNoMore { at })
        }
    }
}

/// Who is told of this alert by these messages of one instant.
fn told(notices: &[Notice], alert: AlertNumber, at: Timestamp) -> Option<Foreseen> {
    let own = notices.iter().filter(|notice| notice.alert.number == alert && is_news(notice.occasion));
    let mut contacts: Vec<String> = Vec::new();
    for notice in own.clone() {
        if !contacts.contains(&notice.contact) {
            contacts.push(notice.contact.clone());
        }
    }
    own.clone().next().map(|first| Foreseen::Told { at, contacts, occasion: first.occasion })
}

/// Whether a message tells more than that an alert goes on, or is over.
const fn is_news(occasion: Occasion) -> bool {
    match occasion {
        // By time alone it grows or comes back where the plan asks for one check more: that is another finding.
        Occasion::Grew
        | Occasion::Returned
        | Occasion::Summary
        | Occasion::Cleared
        | Occasion::Closed
        | Occasion::Test => false,
        Occasion::Raised | Occasion::Escalated | Occasion::ActionMissing | Occasion::AfterMaintenance => true,
    }
}
