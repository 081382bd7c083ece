//! What the clock at the wall asks for: checks, tanks at opening, calibrations.
//!
//! A check is due by shift or meal, but only a machine that is used misses it:
//! one that stands still needs none. It stays missing until it is made.

use std::time::Duration;

use super::affected::OF_PROBES;
use super::condition::Condition;
use super::due;
use super::open::Quantity;
use super::raise::{Report, Turn};
use super::state::{Due, EnteredCheck, SITE, TankWait};
use crate::core::channel::Place;
use crate::core::record::{Amendment, AmendmentChange, Change, Check, CheckKind, Clearing, MissedDue};
use crate::core::time::Timestamp;
use crate::core::units::Celsius;
use crate::core::wall_clock::{local_date, midnight};

/// Time between two looks at a tank that is not up to temperature (own choice: a tank gains some 5 K in it).
const TANK_AGAIN: Duration = Duration::from_secs(300);
/// Most checks of one kind and machine that are remembered, for amendments (own choice: two days
/// of three shifts, and room). What becomes of an older one changes nothing that is due.
const ENTERED_MAX: usize = 8;
/// When the timetable is looked at again where nothing is in sight.
const FAR: Duration = Duration::from_secs(86_400);

impl Turn<'_> {
    /// Does what is due by the clock.
    pub(super) fn timetable(&mut self) {
        if self.state.timetable_at.is_none_or(|at| self.now >= at) {
            let mut next = self.now.plus(FAR);
            self.due_checks(&mut next);
            self.openings(&mut next);
            self.calibrations(&mut next);
            self.state.timetable_at = Some(next);
            let machines: Vec<String> = self.settings.machines.keys().cloned().collect();
            for machine in machines {
                self.missing_checks(&machine);
            }
        }
        self.ask_tanks();
    }

    /// Sets the latest due time of each kind of check whose grace is over.
    fn due_checks(&mut self, next: &mut Timestamp) {
        let settings = self.settings;
        let planned = due::planned(settings, self.now).into_iter();
        let mut dues: Vec<(CheckKind, Due)> = planned.map(|planned| (planned.kind, planned.due)).collect();
        let born = self.state.born.unwrap_or(self.now);
        dues.retain(|(_, due)| due.at > born);
        self.state.dues.clear();
        for (kind, due) in dues {
            let over = due.at.plus(settings.rules.check_grace);
            if over > self.now {
                *next = over.min(*next);
            } else if self.state.dues.get(&kind).is_none_or(|known| known.at < due.at) {
                self.state.dues.insert(kind, due);
            }
        }
    }

    /// Reports the checks that a machine in use is missing.
    pub(super) fn missing_checks(&mut self, machine: &str) {
        let Some(settings) = self.settings.machines.get(machine) else { return };
        let dues: Vec<(CheckKind, Due)> = self.state.dues.iter().map(|(kind, due)| (*kind, *due)).collect();
        let told = self.effects.notices.len();
        for (kind, due) in dues {
            if kind == CheckKind::Sanitizer && settings.sanitizer.is_none() {
                continue;
            }
            let memory = self.state.memory(machine);
            let (used, made) = (memory.was_used(kind, due), memory.was_checked(kind, due));
            let known = memory.missing.get(&kind).is_some_and(|since| *since >= due.counts_from);
            if !used || made || known {
                continue;
            }
            memory.missing.insert(kind, due.counts_from);
            // It is overdue since it was due first; what was due meanwhile is told beside that.
            memory.overdue.entry(kind).or_insert(due.at);
            let about = Some(kind.as_str().to_owned());
            let missed = Some(MissedDue { check: kind, due: due.at, counts_from: due.counts_from });
            self.report(Report { about, missed, ..Report::new(Condition::CheckOverdue, machine, due.at) });
            self.say_since(machine);
        }
        self.tell_together(machine, Condition::CheckOverdue, told);
    }

    /// Somebody made a check.
    pub(super) fn check(&mut self, machine: &str, index: u64, check: &Check) {
        let (kind, at) = (check.kind(), check.at());
        let memory = self.state.memory(machine);
        let own = |known: &EnteredCheck| known.kind == kind;
        if memory.entered.iter().filter(|known| own(known)).count() >= ENTERED_MAX
            && let Some(oldest) = memory.entered.iter().position(own)
        {
            memory.entered.remove(oldest);
        }
        memory.entered.push(EnteredCheck {
            index,
            kind,
            at,
            withdrawn: false,
            dirty_before: memory.dirty_since,
        });
        self.made(machine, kind, at);
    }

    /// A check of this kind counts, made at this instant.
    fn made(&mut self, machine: &str, kind: CheckKind, at: Timestamp) {
        let memory = self.state.memory(machine);
        let latest = memory.checked.entry(kind).or_insert(at);
        *latest = at.max(*latest);
        if kind == CheckKind::DrainAndClean && memory.dirty_since.is_some_and(|since| since <= at) {
            // A rinse after it that is on record already is dirt of its own.
            memory.dirty_since = memory.last_rinse.filter(|rinse| *rinse > at);
        }
        if memory.missing.get(&kind).is_some_and(|since| at >= *since) {
            memory.missing.remove(&kind);
            memory.overdue.remove(&kind);
            let open = self.state.open(machine, Condition::CheckOverdue);
            let others =
                open.is_some_and(|open| open.alert.lasts_about(kind.as_str()) && open.alert.about.len() > 1);
            self.resolve(machine, Condition::CheckOverdue, kind.as_str());
            if others {
                self.changed(machine, Condition::CheckOverdue, Change::Eased);
            }
            self.say_since(machine);
        }
    }

    /// Says of the alert of overdue checks since when those that are overdue now are; once none is, it goes on naming
    /// the last, and since when that was.
    fn say_since(&mut self, machine: &str) {
        let Some(first) = self.state.memory(machine).overdue.values().copied().min() else { return };
        if let Some(open) = self.state.open_mut(machine, Condition::CheckOverdue) {
            open.alert.rest_since = Some(first).filter(|since| *since != open.alert.since);
        }
    }

    /// Somebody withdrew or corrected a check: what is due is seen as if it had been so entered.
    pub(super) fn amended(&mut self, machine: &str, amendment: &Amendment) {
        let corrected = match &amendment.change {
            AmendmentChange::Comment => return,
            AmendmentChange::Withdrawn => None,
            AmendmentChange::Corrected(check) => Some(check.at()),
        };
        let memory = self.state.memory(machine);
        let Some(place) = memory.entered.iter().position(|check| check.index == amendment.of) else { return };
        let check = memory.entered[place];
        memory.entered[place] =
            EnteredCheck { at: corrected.unwrap_or(check.at), withdrawn: corrected.is_none(), ..check };
        let counts = |known: &&EnteredCheck| known.kind == check.kind && !known.withdrawn;
        let left = memory.entered.iter().filter(counts).map(|known| known.at).max();
        match left {
            Some(at) => memory.checked.insert(check.kind, at),
            None => memory.checked.remove(&check.kind),
        };
        if check.kind == CheckKind::DrainAndClean {
            let dirt = [check.dirty_before, memory.dirty_since].into_iter().flatten().min();
            memory.dirty_since =
                dirt.filter(|since| left.is_none_or(|at| *since > at)).or(memory.dirty_since);
        }
        if let Some(at) = corrected {
            self.made(machine, check.kind, at);
        }
        self.missing_checks(machine);
    }

    /// Begins to ask for the tanks of an opening whose grace is over.
    fn openings(&mut self, next: &mut Timestamp) {
        let settings = self.settings;
        let Some(open) =
            settings.open.as_ref().filter(|_| !settings.rules.off.contains(&Condition::TankCold))
        else {
            return;
        };
        let born = self.state.born.unwrap_or(self.now);
        for stretch in open.around(&settings.zone, self.now, 2, 2) {
            let due = stretch.from.plus(settings.rules.tank_grace);
            if due > self.now {
                *next = due.min(*next);
                continue;
            }
            if self.now >= stretch.to || stretch.from <= born {
                continue;
            }
            for machine in settings.machines.iter().filter(|(_, machine)| machine.tank_min.is_some()) {
                let memory = self.state.memory(machine.0);
                if memory.opened.is_none_or(|opened| opened < stretch.from) {
                    memory.opened = Some(stretch.from);
                    memory.tank = Some(TankWait { from: stretch.from, to: stretch.to, ask: self.now });
                }
            }
        }
    }

    /// Asks for the tanks that are due, and lets those go whose hours are over.
    fn ask_tanks(&mut self) {
        let (now, mut over) = (self.now, Vec::new());
        for (machine, memory) in &mut self.state.machines {
            let Some(tank) = &mut memory.tank else { continue };
            if now >= tank.to {
                memory.tank = None;
                over.push(machine.clone());
            } else if now >= tank.ask {
                tank.ask = now.plus(TANK_AGAIN);
                self.effects.ask_tank.push(machine.clone());
            }
        }
        for machine in over {
            self.clear(&machine, Condition::TankCold, Clearing::Lapsed);
        }
    }

    /// The tank of a machine as it was read. Not known is not cold: it is asked for again.
    pub(super) fn tank(&mut self, machine: &str, at: Timestamp, celsius: Option<Celsius>) {
        let celsius = celsius.filter(|_| self.now.since(at) <= TANK_AGAIN);
        let limit = self.settings.machines.get(machine).and_then(|machine| machine.tank_min);
        let waits = self.state.machines.get(machine).and_then(|memory| memory.tank);
        let (Some(celsius), Some(limit), Some(wait)) = (celsius, limit, waits) else { return };
        if self.wash_probe_at_fault(machine) {
            return;
        }
        if celsius >= limit {
            self.tank_is_up(machine);
            return;
        }
        let report = Report {
            place: Some(Place::WashTank),
            measured: Some(Quantity::Celsius(celsius.0)),
            limit: Some(Quantity::Celsius(limit.0)),
            ..Report::new(Condition::TankCold, machine, wait.from)
        };
        self.report(report);
    }

    /// Whether nothing that the probe in the tank shows is believed: its last value may be what it stuck at.
    fn wash_probe_at_fault(&self, machine: &str) -> bool {
        let probe = self.settings.machines.get(machine).and_then(|machine| machine.wash_probe.as_ref());
        probe.is_some_and(|probe| OF_PROBES.into_iter().any(|known| self.names(machine, known, probe)))
    }

    /// The tank is up to temperature: nobody asks for it again today.
    pub(super) fn tank_is_up(&mut self, machine: &str) {
        self.state.memory(machine).tank = None;
        self.clear(machine, Condition::TankCold, Clearing::Recovered);
    }

    /// Reports calibrations that have run out, and takes back those that have been renewed.
    fn calibrations(&mut self, next: &mut Timestamp) {
        let settings = self.settings;
        let Some(today) = local_date(&settings.zone, self.now) else { return };
        for (name, machine) in &settings.machines {
            let mut overdue = Vec::new();
            for (probe, until) in &machine.calibrated_until {
                let after = until.tomorrow().ok().and_then(|day| midnight(&settings.zone, day));
                match after {
                    Some(after) if after > self.now => *next = after.min(*next),
                    Some(after) if *until < today => overdue.push((probe.clone(), after)),
                    Some(_) | None => {}
                }
            }
            let known: Vec<String> = match self.state.open(name, Condition::CalibrationOverdue) {
                Some(open) if open.alert.cleared.is_none() => open.alert.about.clone(),
                Some(_) | None => Vec::new(),
            };
            for (probe, after) in &overdue {
                if !known.contains(probe) {
                    let about = Some(probe.clone());
                    self.report(Report { about, ..Report::new(Condition::CalibrationOverdue, name, *after) });
                }
            }
            for probe in known.iter().filter(|known| overdue.iter().all(|(probe, _)| probe != *known)) {
                self.resolve(name, Condition::CalibrationOverdue, probe);
            }
        }
    }

    /// The gateway's clock was set. Set back, it would make everything wait that was to come.
    pub(super) fn clock_set(&mut self, from: Timestamp, to: Timestamp) {
        let back = from.since(to);
        if back.is_zero() {
            return;
        }
        let earlier = |due: &mut Option<Timestamp>| *due = due.map(|due| due.minus(back));
        let not_ahead = |at: &mut Timestamp| *at = (*at).min(to);
        for open in self.state.open.values_mut().flat_map(|conditions| conditions.values_mut()) {
            let telling = &mut open.telling;
            let dues = [&mut telling.next_step, &mut telling.reminder, &mut telling.last_told];
            dues.into_iter().chain([&mut open.alert.cleared]).for_each(earlier);
        }
        for memory in self.state.machines.values_mut() {
            let own = memory.checked.values_mut().chain(memory.missing.values_mut());
            own.chain(memory.overdue.values_mut()).for_each(not_ahead);
            memory.entered.iter_mut().for_each(|check| not_ahead(&mut check.at));
            memory.compared.iter_mut().for_each(|one| not_ahead(&mut one.at));
            memory.tested.iter_mut().for_each(|one| not_ahead(&mut one.at));
            memory.tank = None;
        }
        self.state.windows.iter_mut().for_each(|window| window.until = window.until.minus(back));
        self.state.called_off.values_mut().for_each(not_ahead);
        self.state.windows.iter_mut().filter_map(|window| window.begun.as_mut()).for_each(not_ahead);
        self.state.failing.iter_mut().for_each(|(_, since)| not_ahead(since));
        self.state.born.iter_mut().for_each(not_ahead);
        self.state.clock_bad_since.iter_mut().for_each(not_ahead);
        self.state.timetable_at = None;
    }

    /// Clears what can no longer clear by itself: its machine is gone, or its condition is off.
    pub(super) fn retire(&mut self) {
        let settings = self.settings;
        let gone = |machine: &str| machine != SITE && !settings.machines.contains_key(machine);
        let retired = self.state.subjects(|open| {
            let alert = &open.alert;
            alert.cleared.is_none()
                && (settings.rules.off.contains(&alert.condition)
                    || alert.machine.as_deref().is_some_and(gone))
        });
        for (machine, condition) in retired {
            self.clear(&machine, condition, Clearing::Retired);
        }
    }
}
