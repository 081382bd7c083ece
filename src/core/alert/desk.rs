//! The desk: every open alert, and what is to be done about it.

use super::condition::Condition;
use super::event::{Effects, Event, Refusal};
use super::open::Alert;
use super::raise::Turn;
use super::settings::Settings;
use super::state::{Open, SITE, State, VERSION};
use crate::core::record::{Body, Clock, Record};
use crate::core::time::Timestamp;

/// All alerts of the site.
///
/// Driven by [`Desk::handle`] and [`Desk::deadline`]. The same events at the same
/// instants give the same effects, whether or not the desk was stored between them.
#[derive(Clone, Debug)]
pub struct Desk {
    pub(super) settings: Settings,
    pub(super) state: State,
}

/// Why a stored state was refused.
#[derive(Debug, thiserror::Error)]
pub enum StateError {
    /// Not a state of the desk.
    #[error("not a state of the alert desk")]
    Shape(#[source] serde_json::Error),
    /// Written by another version of this program.
    #[error("the state has version {found}, this program reads {VERSION}")]
    Version {
        /// Version found.
        found: u32,
    },
}

impl Desk {
    /// A desk that has seen nothing.
    #[must_use]
    pub fn new(settings: Settings) -> Self {
        Self { settings, state: State { v: VERSION, ..State::default() } }
    }

    /// A desk that has seen nothing and begins at this record: what was before it raises nothing.
    #[must_use]
    pub fn begin_at(settings: Settings, next_record: u64) -> Self {
        let mut desk = Self::new(settings);
        desk.state.next_record = next_record;
        desk
    }

    /// Brings a stored desk back under the settings in force.
    ///
    /// # Errors
    /// [`StateError`] where the bytes are no state, or one of another version.
    pub fn restore(settings: Settings, bytes: &[u8]) -> Result<Self, StateError> {
        #[derive(serde::Deserialize)]
        struct Version {
            v: u32,
        }
        let version: Version = serde_json::from_slice(bytes).map_err(StateError::Shape)?;
        if version.v != VERSION {
            return Err(StateError::Version { found: version.v });
        }
        let state = serde_json::from_slice(bytes).map_err(StateError::Shape)?;
        Ok(Self { settings, state })
    }

    /// The state, to be stored in the commit of the effects that led to it.
    ///
    /// # Panics
    /// Never: every field has a JSON form, and every map key is text.
    #[must_use]
    pub fn state(&self) -> Vec<u8> {
        serde_json::to_vec(&self.state).expect("the state holds nothing that JSON cannot print")
    }

    /// Index of the first record that was not handled.
    #[must_use]
    pub const fn next_record(&self) -> u64 {
        self.state.next_record
    }

    /// The open alerts, by machine (those of the site first) and condition.
    pub fn alerts(&self) -> impl Iterator<Item = &Alert> {
        self.state.all().map(|open| &open.alert)
    }

    /// Until when messages about a machine (`None`: the site) are held.
    #[must_use]
    pub fn held_until(&self, machine: Option<&str>) -> Option<Timestamp> {
        let covers = |name: &Option<String>| name.is_none() || name.as_deref() == machine;
        self.state.windows.iter().filter(|window| covers(&window.machine)).map(|window| window.until).max()
    }

    /// Applies one event at `now`, by the gateway's clock; adds what must be done to the effects.
    ///
    /// What became due before is done first. A clock that was set back is told by
    /// its record; what was waited for then comes no later than it would have.
    ///
    /// # Errors
    /// [`Refusal`] where a person's wish cannot be followed; time alone has then passed.
    pub fn handle(&mut self, now: Timestamp, event: Event<'_>, effects: &mut Effects) -> Result<(), Refusal> {
        let Self { settings, state, .. } = self;
        state.born.get_or_insert(now);
        let mut turn = Turn { now, settings, state, effects, cause: None };
        turn.due();
        match event {
            Event::Record { index, record } => turn.committed(index, record),
            Event::Tick => {}
            Event::Health(health) => turn.health(health),
            Event::Damaged(records) => turn.damaged(records),
            Event::Tank { machine, at, celsius } => turn.tank(machine, at, celsius),
            Event::Acknowledge { alert, by, via, note } => return turn.acknowledge(alert, by, via, note),
            Event::Act { alert, by, racks, done, covers } => {
                return turn.act(alert, by, (racks, done), covers);
            }
            Event::Maintenance { machine, until, by } => return turn.maintenance(machine, until, by),
            Event::Dialog { machine, stands, by, why } => return turn.dialog(machine, stands, by, why),
            Event::Test { contact } => return turn.test(contact),
        }
        Ok(())
    }

    /// Goes on under other settings: a calibration came on record or was withdrawn, so that another day is
    /// the last one on which it holds.
    pub fn go_on_under(&mut self, now: Timestamp, settings: Settings) {
        self.settings = settings;
        self.state.timetable_at = Some(now);
    }

    /// Leaves a record out that it cannot take.
    pub fn pass_over(&mut self, index: u64) {
        self.state.next_record = self.state.next_record.max(index + 1);
    }

    /// When to call [`Desk::handle`] with a tick if nothing else happens.
    #[must_use]
    pub fn deadline(&self) -> Option<Timestamp> {
        let state = &self.state;
        let rules = &self.settings.rules;
        let windows = state.windows.iter().map(|window| window.until);
        let tanks = state.machines.values().filter_map(|memory| memory.tank);
        let tanks = tanks.map(|tank| tank.ask.min(tank.to));
        let clock = state.clock_bad_since.map(|since| since.plus(rules.clock_grace));
        let clock_told = state.open(SITE, Condition::ClockUnsynchronised).is_some()
            || rules.off.contains(&Condition::ClockUnsynchronised);
        let alerts = state.all().flat_map(|open| open.dues(&self.settings)).flatten();
        windows
            .chain(tanks)
            .chain(clock.filter(|_| !clock_told))
            .chain(alerts)
            .chain(state.timetable_at)
            .min()
    }
}

impl Open {
    /// When something is due: the next step, the reminder, settling, a summary.
    fn dues(&self, settings: &Settings) -> [Option<Timestamp>; 4] {
        let settling = self.alert.cleared.filter(|_| !self.telling.settled);
        [
            self.telling.next_step,
            self.telling.reminder,
            settling.map(|cleared| cleared.plus(settings.rules.settle)),
            self.summary_due(settings),
        ]
    }

    fn summary_due(&self, settings: &Settings) -> Option<Timestamp> {
        let more = self.alert.racks.count > self.telling.told_racks;
        let wanted = more && self.alert.cleared.is_none() && !self.alert.is_warning();
        let told = self.telling.last_told.filter(|_| wanted && !self.telling.told.is_empty());
        told.map(|told| told.plus(settings.rules.summary_every))
    }
}

impl Turn<'_> {
    /// Does everything that has become due, in a fixed order.
    fn due(&mut self) {
        let (now, settings) = (self.now, self.settings);
        self.end_windows();
        self.retire();
        self.timetable();
        if self.state.open(SITE, Condition::ClockUnsynchronised).is_none() {
            self.clock();
        }
        // Contacts that the configuration has gained since hear of what is open.
        let unheard = |open: &Open| {
            let telling = &open.telling;
            let waits = telling.next_step.is_some() || telling.held || telling.nobody;
            !settings.contacts.is_empty() && telling.told.is_empty() && !waits && open.alert.wants_somebody()
        };
        for (machine, condition) in self.state.subjects(unheard) {
            self.escalate(&machine, condition);
        }
        let is_due = |due: Option<Timestamp>| due.is_some_and(|due| due <= now);
        for (machine, condition) in self.state.subjects(|open| open.dues(settings).into_iter().any(is_due)) {
            let Some(open) = self.state.open(&machine, condition) else { continue };
            let [step, reminder, settled, _] = open.dues(settings).map(is_due);
            if step {
                self.escalate(&machine, condition);
            }
            if reminder && settled && self.recovery_asks(&machine, condition) {
                self.remind_later(&machine, condition);
            } else if reminder {
                self.remind(&machine, condition);
            }
            // A message of the step has told the count already.
            let open = self.state.open(&machine, condition);
            if open.is_some_and(|open| is_due(open.summary_due(settings))) {
                self.summarise(&machine, condition);
            }
            if settled {
                self.settle(&machine, condition);
            }
        }
    }

    /// Takes a committed record; one that was handled before is passed over.
    fn committed(&mut self, index: u64, record: &Record) {
        if index < self.state.next_record {
            return;
        }
        self.state.next_record = index + 1;
        self.cause = Some(index);
        let machine = record.machine.as_deref().filter(|name| self.settings.machines.contains_key(*name));
        if let Body::Notification(letter) = &record.body {
            self.letter(letter);
        } else if let Body::ClockStep(step) = &record.body {
            if step.clock == Clock::Gateway {
                self.clock_set(step.from, step.to);
            }
        } else if let Some(machine) = machine {
            self.of_machine(machine, index, &record.body);
        } else if record.machine.is_none() {
            self.of_site(index, &record.body);
        }
    }

    /// What is entered of the whole site. A good look at its supplies counts for every machine.
    fn of_site(&mut self, index: u64, body: &Body) {
        if let Body::Check(check) = body {
            self.looked(SITE, index, check);
            // It answers what is due at every machine, as it tells of the supplies of every one.
            for machine in self.settings.machines.keys() {
                self.check(machine, index, check);
            }
        } else if let Body::Amendment(amendment) = body {
            self.looked_otherwise(SITE, amendment);
            for machine in self.settings.machines.keys() {
                self.amended(machine, amendment);
            }
        }
    }

    fn of_machine(&mut self, machine: &str, index: u64, body: &Body) {
        match body {
            Body::Cycle(cycle) => self.cycle(machine, cycle, index),
            Body::Gap(gap) => self.gap(machine, gap),
            Body::Check(check) => {
                self.check(machine, index, check);
                self.compared(machine, index, check);
                self.tested(machine, index, check);
                self.looked(machine, index, check);
            }
            Body::Calibration(done) => self.calibrated(machine, index, done),
            Body::Amendment(amendment) => {
                self.amended(machine, amendment);
                self.compared_otherwise(machine, amendment);
                self.tested_otherwise(machine, amendment);
                self.looked_otherwise(machine, amendment);
            }
            Body::MachineFailure(_) => self.judging_failed(machine),
            // What the desk itself records, and what changes nothing for anybody who is told.
            Body::ServiceStart(_)
            | Body::ServiceStop(_)
            | Body::ClockStep(_)
            | Body::ConfigurationChange(_)
            | Body::AlertRaised(_)
            | Body::AlertChanged(_)
            | Body::AlertAcknowledged(_)
            | Body::AlertCleared(_)
            | Body::AlertClosed(_)
            | Body::CorrectiveAction(_)
            | Body::Notification(_)
            | Body::Maintenance(_)
            | Body::Note(_)
            | Body::SigningKey(_)
            | Body::LawfulHold(_)
            | Body::Pruned(_)
            | Body::Import(_)
            | Body::Restored(_)
            | Body::Response(_)
            | Body::WiringProof(_)
            | Body::SignOff(_)
            | Body::Access(_) => {}
        }
    }
}
