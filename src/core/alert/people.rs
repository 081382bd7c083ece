//! What people do: acknowledge, act, work on a machine, try a contact.

use super::condition::Condition;
use super::event::{Refusal, TEXT_BYTES_MAX};
use super::notice::{Notice, Occasion};
use super::open::{Acknowledgement, Action, Alert, AlertNumber};
use super::raise::Turn;
use super::state::{SITE, Window};
use crate::core::record::{AlertAcknowledged, Body, CorrectiveAction, Maintenance};
use crate::core::time::Timestamp;

impl Turn<'_> {
    /// A named person takes an alert on.
    pub(super) fn acknowledge(
        &mut self,
        alert: AlertNumber,
        by: &str,
        via: &str,
        note: Option<&str>,
    ) -> Result<(), Refusal> {
        let by = entered("the name of the person", by)?;
        let note = note.filter(|note| !note.trim().is_empty());
        let note = note.map(|note| entered("the note", note)).transpose()?;
        let (machine, condition) = self.state.subject_of(alert).ok_or(Refusal::NotOpen { alert })?;
        let open = self.state.open(&machine, condition).ok_or(Refusal::NotOpen { alert })?;
        if let Some(Acknowledgement { by, at, .. }) = open.alert.acknowledged.clone() {
            return Err(Refusal::AlreadyAcknowledged { alert, by, at });
        }
        self.take_on(&machine, condition, Acknowledgement { by, at: self.now, via: via.to_owned(), note });
        Ok(())
    }

    fn take_on(&mut self, machine: &str, condition: Condition, acknowledged: Acknowledgement) {
        let Some(open) = self.state.open_mut(machine, condition) else { return };
        open.alert.acknowledged = Some(acknowledged.clone());
        open.telling.next_step = None;
        let alert = open.alert.number;
        let Acknowledgement { by, via, note, .. } = acknowledged;
        self.record(machine, Body::AlertAcknowledged(AlertAcknowledged { alert, by, via, note }));
    }

    /// A named person writes down the corrective action for the racks they were shown; a recovered alert closes
    /// once all its racks are covered. Of two who write at once about the same racks the first is taken; who
    /// wrote it may add to it.
    pub(super) fn act(
        &mut self,
        alert: AlertNumber,
        by: &str,
        (racks, done): (&str, &str),
        covers: Option<u64>,
    ) -> Result<(), Refusal> {
        let by = entered("the name of the person", by)?;
        let racks = told("what happened to the racks", racks)?;
        let done = told("what was done", done)?;
        let (machine, condition) = self.state.subject_of(alert).ok_or(Refusal::NotOpen { alert })?;
        let open = self.state.open_mut(&machine, condition).ok_or(Refusal::NotOpen { alert })?;
        let held = open.alert.racks.count;
        let shown = covers.unwrap_or(held);
        if shown > held {
            return Err(Refusal::FewerRacks { alert, given: shown, held });
        }
        let before = open.alert.action.as_ref().filter(|before| before.covers >= shown);
        let same = |before: &Action| (&before.racks, &before.done) == (&racks, &done);
        if let Some(Action { by, at, .. }) = before.filter(|before| before.by != by || same(before)) {
            return Err(Refusal::AlreadyActed { alert, by: by.clone(), at: *at });
        }
        // What was covered stays so, whichever page more was written on; the record says what was shown.
        let covers = open.alert.action.as_ref().map_or(shown, |before| before.covers.max(shown));
        open.alert.action =
            Some(Action { by: by.clone(), at: self.now, racks: racks.clone(), done: done.clone(), covers });
        let covers_all = open.alert.racks_uncovered() == 0;
        let is_over = open.alert.cleared.is_some() && !open.alert.action_missing();
        if !open.alert.action_missing() {
            open.telling.reminder = None;
        }
        let last_good = open.alert.last_good.map(|rack| rack.at);
        // Nobody has taken on racks that nobody was shown: the next contact is told of them.
        if covers_all && open.alert.acknowledged.is_none() {
            let acknowledged =
                Acknowledgement { by: by.clone(), at: self.now, via: "action".to_owned(), note: None };
            self.take_on(&machine, condition, acknowledged);
        }
        self.record(
            &machine,
            Body::CorrectiveAction(CorrectiveAction {
                alert,
                by,
                racks,
                done,
                last_good,
                covers: Some(shown),
            }),
        );
        if is_over {
            self.close(&machine, condition);
        }
        Ok(())
    }

    /// Somebody begins, prolongs or ends work on a machine or the site.
    pub(super) fn maintenance(
        &mut self,
        machine: Option<&str>,
        until: Timestamp,
        by: &str,
    ) -> Result<(), Refusal> {
        let by = entered("the name of the person", by)?;
        if let Some(machine) = machine.filter(|machine| !self.settings.machines.contains_key(*machine)) {
            return Err(Refusal::UnknownMachine { machine: machine.to_owned() });
        }
        let longest = self.settings.rules.maintenance_max;
        if until > self.now.plus(longest) {
            return Err(Refusal::TooFarAhead { max_h: longest.as_secs() / 3_600 });
        }
        let place = self.state.windows.iter().position(|window| window.machine.as_deref() == machine);
        if until <= self.now {
            let place = place.ok_or(Refusal::NoMaintenance)?;
            self.end_window(place, Some(by));
            return Ok(());
        }
        let mut begun = None;
        match place.and_then(|place| self.state.windows.get_mut(place)) {
            Some(window) => {
                (window.until, window.by_dialog, window.by_hand) = (until, false, None);
                window.note(&by, None);
                begun = window.begun;
            }
            None => {
                let mut window = Window::new(machine.map(str::to_owned), until, self.now);
                window.note(&by, None);
                self.state.windows.push(window);
            }
        }
        let (by, worked) = (Some(by), Vec::new());
        let body = Maintenance { until, by, why: None, ended: false, begun, dialog: None, worked };
        self.record(machine.unwrap_or(SITE), Body::Maintenance(body));
        Ok(())
    }

    /// Ends the windows whose time is over.
    pub(super) fn end_windows(&mut self) {
        while let Some(place) = self.state.windows.iter().position(|window| window.until <= self.now) {
            self.end_window(place, None);
        }
    }

    /// Ends a window, and tells what is still open.
    fn end_window(&mut self, place: usize, by: Option<String>) {
        let window = self.state.windows.remove(place);
        // By hand it is over also for a dialog that is open.
        if let (Some(machine), Some(_)) = (&window.machine, &by) {
            self.state.called_off.insert(machine.clone(), self.now);
        }
        let (until, begun, worked) = (self.now, window.begun, window.worked.clone());
        let body = Maintenance { until, by, why: None, ended: true, begun, dialog: None, worked };
        self.record(window.machine.as_deref().unwrap_or(SITE), Body::Maintenance(body));
        let machines: Vec<String> = match &window.machine {
            Some(machine) => vec![machine.clone()],
            None => self.settings.machines.keys().cloned().collect(),
        };
        for machine in &machines {
            self.learn_anew(machine);
        }
        let covered =
            self.state.subjects(|open| window.machine.is_none() || open.alert.machine == window.machine);
        for (machine, condition) in covered {
            if self.state.holds(&machine) {
                continue;
            }
            let Some(open) = self.state.open_mut(&machine, condition) else { continue };
            open.telling.held = false;
            let still = open.alert.cleared.is_none() || open.alert.action_missing();
            if !still {
                continue;
            }
            if open.alert.acknowledged.is_some() {
                self.tell_again(&machine, condition, Occasion::AfterMaintenance);
            } else {
                open.telling.start_over();
                self.advance(&machine, condition, Occasion::AfterMaintenance);
            }
        }
    }

    /// Somebody tries the way to a contact, by every route.
    pub(super) fn test(&mut self, contact: &str) -> Result<(), Refusal> {
        let found = self.settings.contacts.iter().find(|known| known.name == contact);
        let contact = found.ok_or_else(|| Refusal::UnknownContact { contact: contact.to_owned() })?;
        self.state.tests += 1;
        self.effects.notices.push(Notice {
            key: format!("test-{}-{}", self.state.tests, contact.name),
            alert: Alert::trial(self.now),
            contact: contact.name.clone(),
            language: contact.language,
            units: contact.units,
            routes: contact.routes.clone(),
            step: 0,
            round: 0,
            occasion: Occasion::Test,
            rested_s: 0,
        });
        Ok(())
    }
}

/// Fewest letters and digits by which a part of a corrective action says anything (own choice: «held» does, «ok» does not).
pub const LETTERS_MIN: usize = 4;

/// Whether a part of a corrective action says anything: it closes an alert, and is what an auditor reads of it.
#[must_use]
pub fn says_something(text: &str) -> bool {
    text.chars().filter(|character| character.is_alphanumeric()).take(LETTERS_MIN).count() == LETTERS_MIN
}

/// A part of a corrective action, without the blanks around it.
fn told(what: &'static str, text: &str) -> Result<String, Refusal> {
    let text = entered(what, text)?;
    if says_something(&text) { Ok(text) } else { Err(Refusal::SaysNothing { what }) }
}

/// A text that a person entered, without the blanks around it.
pub(super) fn entered(what: &'static str, text: &str) -> Result<String, Refusal> {
    let text = text.trim();
    if text.is_empty() {
        return Err(Refusal::Missing { what });
    }
    if text.len() > TEXT_BYTES_MAX {
        return Err(Refusal::TooLong { what });
    }
    Ok(text.to_owned())
}
