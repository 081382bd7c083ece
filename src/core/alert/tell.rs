//! Who is told, when, and who next.
//!
//! Contacts of one step are told together. Steps with nobody on duty are passed
//! over; where every step to come has nobody on duty the last resort is told in
//! their place. After the last step the steps start over, a stated number of
//! times. A warning is told once, to the first step with somebody on duty, and
//! waits for them: it wakes nobody.

use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;

use super::condition::Condition;
use super::contact::{Contact, Route};
use super::notice::{Notice, Occasion};
use super::raise::Turn;
use super::state::{Open, State};
use crate::core::record::Change;
use crate::core::time::Timestamp;

/// How long a route rests after a message was given up on it, while another
/// works (own choice: a broken server is rarely mended sooner).
pub(super) const ROUTE_RESTS: Duration = Duration::from_secs(3_600);

/// The step of a notice to a last resort.
const LAST_RESORT: u8 = 0;

impl Turn<'_> {
    /// Tells the next step; the occasion is that of this message.
    pub(super) fn advance(&mut self, machine: &str, condition: Condition, occasion: Occasion) {
        if self.hold(machine, condition) {
            return;
        }
        let Some(open) = self.state.open(machine, condition) else { return };
        let (from, warning) = (open.telling.step, open.alert.is_warning());
        let mut on_duty: BTreeMap<u8, Vec<usize>> = BTreeMap::new();
        for (place, contact) in self.settings.contacts.iter().enumerate() {
            if contact.step > from && self.is_on_duty(contact) {
                on_duty.entry(contact.step).or_default().push(place);
            }
        }
        let mut told = None;
        for (step, contacts) in on_duty {
            let reached = self.send(machine, condition, &contacts, step, occasion);
            told = Some(step);
            if reached {
                break;
            }
        }
        match told {
            Some(step) => {
                let after = if self.has_step_after(step) {
                    self.settings.rules.escalate_after
                } else {
                    self.settings.rules.start_over_after
                };
                let next = (!warning).then(|| self.now.plus(after));
                self.wait(machine, condition, next, Some(step));
            }
            None if self.has_step_after(from) || from == 0 => {
                self.tell_last_resort(machine, condition, occasion);
            }
            None => {
                let next = self.now.plus(self.settings.rules.start_over_after);
                self.wait(machine, condition, Some(next), None);
            }
        }
    }

    /// Nobody of the steps to come is on duty.
    fn tell_last_resort(&mut self, machine: &str, condition: Condition, occasion: Occasion) {
        let Some(open) = self.state.open(machine, condition) else { return };
        let (warning, nobody, step) = (open.alert.is_warning(), open.telling.nobody, open.telling.step);
        let mut resorts: Vec<usize> = Vec::new();
        if !warning && !open.telling.last_resort {
            let contacts = self.settings.contacts.iter().enumerate();
            resorts.extend(contacts.filter(|(_, contact)| contact.last_resort).map(|(place, _)| place));
        }
        if resorts.is_empty() {
            let on_duty = self.next_duty_change();
            let later = Some(self.now.plus(self.settings.rules.start_over_after));
            let next = if step > 0 { later } else { on_duty };
            if step == 0 && !warning && !nobody && !self.settings.contacts.is_empty() {
                self.changed(machine, condition, Change::NobodyToTell);
                self.with_telling(machine, condition, |open| open.telling.nobody = true);
            }
            self.wait(machine, condition, next, None);
            return;
        }
        self.send(machine, condition, &resorts, LAST_RESORT, occasion);
        let next = self.now.plus(self.settings.rules.start_over_after);
        self.with_telling(machine, condition, |open| open.telling.last_resort = true);
        self.wait(machine, condition, Some(next), None);
    }

    /// The time of a step is over and nobody has acknowledged.
    pub(super) fn escalate(&mut self, machine: &str, condition: Condition) {
        let Some(open) = self.state.open(machine, condition) else { return };
        if !open.alert.wants_somebody() {
            self.wait(machine, condition, None, None);
            return;
        }
        let (step, round) = (open.telling.step, open.telling.round);
        let (told, last_resort) = (!open.telling.told.is_empty(), open.telling.last_resort);
        if !told {
            self.with_telling(machine, condition, |open| {
                open.telling.step = 0;
                open.telling.last_resort = false;
            });
            self.advance(machine, condition, Occasion::Raised);
            return;
        }
        if self.hold(machine, condition) {
            return;
        }
        if self.has_step_after(step) && !last_resort {
            self.changed(machine, condition, Change::Escalated);
            self.advance(machine, condition, Occasion::Escalated);
        } else if round + 1 < self.settings.rules.rounds {
            self.with_telling(machine, condition, |open| {
                open.telling.start_over();
                open.telling.round = round + 1;
            });
            self.changed(machine, condition, Change::Escalated);
            self.advance(machine, condition, Occasion::Escalated);
        } else {
            self.wait(machine, condition, None, None);
            self.changed(machine, condition, Change::EscalationEnded);
        }
    }

    /// Of what was found in one moment one message tells all: of the notices of an alert from this place on each contact
    /// keeps the first, with the alert as it is by now.
    pub(super) fn tell_together(&mut self, machine: &str, condition: Condition, from: usize) {
        let Some(open) = self.state.open(machine, condition) else { return };
        let mut told: BTreeSet<String> = BTreeSet::new();
        let later = self.effects.notices.split_off(from);
        self.effects.notices.extend(later.into_iter().filter_map(|notice| {
            if notice.alert.number != open.alert.number {
                return Some(notice);
            }
            let is_first = told.insert(notice.contact.clone());
            is_first.then(|| Notice { alert: open.alert.clone(), ..notice })
        }));
    }

    /// Tells those who know of it already and are on duty; where none is, the steps begin anew.
    pub(super) fn tell_again(&mut self, machine: &str, condition: Condition, occasion: Occasion) {
        if self.hold(machine, condition) {
            return;
        }
        let told = self.told_on_duty(machine, condition);
        if told.is_empty() {
            self.with_telling(machine, condition, |open| open.telling.start_over());
            self.advance(machine, condition, occasion);
        } else {
            self.send_known(machine, condition, &told, occasion);
        }
    }

    /// Tells of a return: anew where it had settled, else at most once in the time of settling.
    pub(super) fn tell_return(&mut self, machine: &str, condition: Condition, anew: bool) {
        let now = self.now;
        let Some(open) = self.state.open(machine, condition) else { return };
        let known = open.telling.cleared_told.is_some();
        let rested =
            open.telling.returned_told.is_none_or(|told| now >= told.plus(self.settings.rules.settle));
        let started = open.telling.next_step.is_some() || open.alert.acknowledged.is_some();
        if anew {
            self.with_telling(machine, condition, |open| open.telling.returned_told = Some(now));
            self.advance(machine, condition, Occasion::Returned);
        } else if known && rested {
            self.with_telling(machine, condition, |open| open.telling.returned_told = Some(now));
            self.tell_again(machine, condition, Occasion::Returned);
        }
        if !anew && !started {
            let warning = self.state.open(machine, condition).is_some_and(|open| open.alert.is_warning());
            let next = (!warning).then(|| now.plus(self.settings.rules.escalate_after));
            self.wait(machine, condition, next, None);
        }
    }

    /// Tells of a recovery: the first at once, a later one once it has lasted.
    pub(super) fn tell_recovery(&mut self, machine: &str, condition: Condition) {
        let Some(open) = self.state.open(machine, condition) else { return };
        if open.telling.cleared_told.is_some() || self.state.holds(machine) {
            self.with_telling(machine, condition, |open| open.telling.cleared_pending = true);
        } else {
            self.tell_told(machine, condition, Occasion::Cleared);
        }
    }

    /// Tells those who know of it already, on duty or not: it is good news, or the end.
    pub(super) fn tell_told(&mut self, machine: &str, condition: Condition, occasion: Occasion) {
        let now = self.now;
        let Some(open) = self.state.open(machine, condition) else { return };
        let known = |contact: &Contact| open.telling.told.contains(&contact.name);
        let told = places(&self.settings.contacts, known);
        if told.is_empty() || self.state.holds(machine) {
            return;
        }
        if occasion == Occasion::Cleared {
            self.with_telling(machine, condition, |open| open.telling.cleared_told = Some(now));
        }
        self.send_known(machine, condition, &told, occasion);
    }

    /// More of the same, at most once in the stated time.
    pub(super) fn summarise(&mut self, machine: &str, condition: Condition) {
        let now = self.now;
        let told = self.told_on_duty(machine, condition);
        if told.is_empty() || self.state.holds(machine) {
            self.with_telling(machine, condition, |open| open.telling.last_told = Some(now));
        } else {
            self.send_known(machine, condition, &told, Occasion::Summary);
        }
    }

    /// Asks for the corrective action.
    pub(super) fn remind(&mut self, machine: &str, condition: Condition) {
        let Some(open) = self.state.open(machine, condition) else { return };
        let reminders = open.telling.reminders;
        if !open.alert.action_missing() {
            self.with_telling(machine, condition, |open| open.telling.reminder = None);
            return;
        }
        if reminders >= self.settings.rules.rounds {
            self.with_telling(machine, condition, |open| open.telling.reminder = None);
            self.changed(machine, condition, Change::EscalationEnded);
            return;
        }
        let mut told = self.told_on_duty(machine, condition);
        if told.is_empty() {
            let first =
                self.settings.contacts.iter().filter(|c| c.step > 0 && self.is_on_duty(c)).map(|c| c.step);
            let first = first.min();
            told = places(&self.settings.contacts, |c| Some(c.step) == first && self.is_on_duty(c));
        }
        let mut next = Some(self.now.plus(self.settings.rules.action_reminder));
        if self.state.holds(machine) {
            // The end of the window tells what is still open.
        } else if told.is_empty() {
            next = self.next_duty_change();
        } else {
            self.with_telling(machine, condition, |open| open.telling.reminders += 1);
            self.send_known(machine, condition, &told, Occasion::ActionMissing);
        }
        self.with_telling(machine, condition, |open| open.telling.reminder = next);
    }

    /// Whether the message of the recovery is about to go out to somebody on duty: it asks for the corrective action too.
    pub(super) fn recovery_asks(&self, machine: &str, condition: Condition) -> bool {
        let pending = self.state.open(machine, condition).is_some_and(|open| open.telling.cleared_pending);
        pending && !self.state.holds(machine) && !self.told_on_duty(machine, condition).is_empty()
    }

    /// Asks for the corrective action no sooner than if it had been asked for now.
    pub(super) fn remind_later(&mut self, machine: &str, condition: Condition) {
        let next = self.now.plus(self.settings.rules.action_reminder);
        self.with_telling(machine, condition, |open| open.telling.reminder = Some(next));
    }

    /// Whether a maintenance window holds the message; that is then on record once.
    fn hold(&mut self, machine: &str, condition: Condition) -> bool {
        if !self.state.holds(machine) {
            return false;
        }
        self.wait(machine, condition, None, None);
        let Some(open) = self.state.open_mut(machine, condition) else { return true };
        if !std::mem::replace(&mut open.telling.held, true) {
            self.changed(machine, condition, Change::Held);
        }
        true
    }

    fn send_known(&mut self, machine: &str, condition: Condition, contacts: &[usize], occasion: Occasion) {
        for place in contacts {
            let step = self.settings.contacts.get(*place).map_or(LAST_RESORT, |contact| contact.step);
            self.send(machine, condition, &[*place], step, occasion);
        }
    }

    /// Makes one notice for each contact; whether one of them has a route that works.
    fn send(
        &mut self,
        machine: &str,
        condition: Condition,
        contacts: &[usize],
        step: u8,
        occasion: Occasion,
    ) -> bool {
        let Self { now, settings, state, effects, .. } = self;
        let mut reached = false;
        let mut notices = Vec::new();
        for contact in contacts.iter().filter_map(|place| settings.contacts.get(*place)) {
            let working = working_routes(state, contact, *now);
            reached |= !working.is_empty();
            // A message about a route that fails never takes it.
            let routes = match working.is_empty() {
                true if condition == Condition::Undelivered => continue,
                true => contact.routes.clone(),
                false => working,
            };
            notices.push((contact, routes));
        }
        let Some(open) = state.open_mut(machine, condition) else { return reached };
        let rested = open.alert.cleared.filter(|_| occasion == Occasion::Cleared && open.telling.settled);
        open.telling.last_told = Some(*now);
        open.telling.told_racks = open.alert.racks.count;
        for (contact, routes) in notices {
            open.telling.messages += 1;
            if !open.telling.told.contains(&contact.name) {
                open.telling.told.push(contact.name.clone());
            }
            effects.notices.push(Notice {
                key: format!("{}-{}-{}", open.alert.number, open.telling.messages, contact.name),
                alert: open.alert.clone(),
                contact: contact.name.clone(),
                language: contact.language,
                units: contact.units,
                routes,
                step,
                round: open.telling.round,
                occasion,
                rested_s: rested.map_or(0, |cleared| now.since(cleared).as_secs()),
            });
        }
        reached
    }

    /// Sets when to go on, and the step that was told.
    fn wait(&mut self, machine: &str, condition: Condition, next: Option<Timestamp>, step: Option<u8>) {
        self.with_telling(machine, condition, |open| {
            // Somebody has it in hand: a step was told for another reason.
            open.telling.next_step = if open.alert.acknowledged.is_some() { None } else { next };
            open.telling.step = step.unwrap_or(open.telling.step);
        });
    }

    pub(super) fn with_telling(
        &mut self,
        machine: &str,
        condition: Condition,
        change: impl FnOnce(&mut Open),
    ) {
        if let Some(open) = self.state.open_mut(machine, condition) {
            change(open);
        }
    }

    fn told_on_duty(&self, machine: &str, condition: Condition) -> Vec<usize> {
        let Some(open) = self.state.open(machine, condition) else { return Vec::new() };
        places(&self.settings.contacts, |c| open.telling.told.contains(&c.name) && self.is_on_duty(c))
    }

    fn is_on_duty(&self, contact: &Contact) -> bool {
        contact.hours.as_ref().is_none_or(|hours| hours.contain(&self.settings.zone, self.now))
    }

    fn has_step_after(&self, step: u8) -> bool {
        self.settings.contacts.iter().any(|contact| contact.step > step)
    }

    /// When somebody may next come on duty.
    fn next_duty_change(&self) -> Option<Timestamp> {
        let hours = self.settings.contacts.iter().filter_map(|contact| contact.hours.as_ref());
        hours.filter_map(|hours| hours.next_change(&self.settings.zone, self.now)).min()
    }
}

/// The contact's routes on which nothing was given up lately.
pub(super) fn working_routes(state: &State, contact: &Contact, now: Timestamp) -> Vec<Route> {
    let rests = |route: &Route| {
        state.failing.iter().any(|(failing, since)| failing == route && now < since.plus(ROUTE_RESTS))
    };
    contact.routes.iter().filter(|route| !rests(route)).cloned().collect()
}

fn places(contacts: &[Contact], wanted: impl Fn(&Contact) -> bool) -> Vec<usize> {
    contacts.iter().enumerate().filter(|(_, contact)| wanted(contact)).map(|(place, _)| place).collect()
}
