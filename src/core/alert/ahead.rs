//! What comes of an open alert while nobody does anything about it.

use std::time::Duration;

use super::desk::Desk;
use super::event::{Effects, Event};
use super::notice::Occasion;
use super::open::AlertNumber;
use super::state::Open;
use crate::core::time::Timestamp;

/// Most instants that are looked at, and how far ahead (own choice: every round of the steps of a night).
const INSTANTS_MAX: usize = 200;
const AHEAD_MAX: Duration = Duration::from_secs(2 * 86_400);

/// Who is told next.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Next {
    /// When.
    pub at: Timestamp,
    /// Names of the contacts, in their order; empty where nobody more is told.
    pub contacts: Vec<String>,
    /// Of what they are told; `None` where nobody is.
    pub occasion: Option<Occasion>,
}

impl Desk {
    /// Who is told next of an open alert if nothing happens after `now`, found by letting time pass for a copy of
    /// the desk. More of the same racks is no news. `None` where nothing is waited for.
    #[must_use]
    pub fn next(&self, now: Timestamp, alert: AlertNumber) -> Option<Next> {
        let mut later = self.clone();
        let mut last = now;
        if !later.waiting(alert)?.waits() {
            return None;
        }
        for _ in 0..INSTANTS_MAX {
            let due = later.deadline().filter(|due| *due <= now.plus(AHEAD_MAX))?;
            last = last.max(due);
            let mut effects = Effects::default();
            // Time alone is refused nothing.
            later.handle(last, Event::Tick, &mut effects).ok()?;
            let of_it = |notice: &&_| is_news(notice, alert);
            let told: Vec<_> = effects.notices.iter().filter(of_it).collect();
            if let Some(first) = told.first() {
                let contacts = told.iter().map(|notice| notice.contact.clone()).collect();
                return Some(Next { at: last, contacts, occasion: Some(first.occasion) });
            }
            let open = later.waiting(alert)?;
            if !open.waits() {
                return Some(Next { at: last, contacts: Vec::new(), occasion: None });
            }
        }
        None
    }

    fn waiting(&self, alert: AlertNumber) -> Option<&Open> {
        self.state.all().find(|open| open.alert.number == alert)
    }
}

impl Open {
    /// Whether somebody is told of it in time, or at the end of work on its machine.
    fn waits(&self) -> bool {
        self.telling.next_step.is_some() || self.telling.reminder.is_some() || self.telling.held
    }
}

/// Whether a message tells more of this alert than that it goes on, or is over.
fn is_news(notice: &super::Notice, alert: AlertNumber) -> bool {
    notice.alert.number == alert
        && match notice.occasion {
            Occasion::Summary | Occasion::Cleared | Occasion::Closed | Occasion::Test => false,
            Occasion::Raised
            | Occasion::Grew
            | Occasion::Returned
            | Occasion::Escalated
            | Occasion::ActionMissing
            | Occasion::AfterMaintenance => true,
        }
}
