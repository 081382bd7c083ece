//! What a judged cycle says: which conditions hold, and which have a good cycle more.

use super::affected::{self, Doubt, InRow, Measured, OF_PROBES, doubt};
use super::condition::Condition;
use super::open::{Pattern, Quantity, Rack, Racks};
use super::raise::{Report, Turn};
use crate::core::channel::Place;
use crate::core::cycle::verdict::{Finding, Verdict};
use crate::core::drift::{self, Drift, SETTLING_CYCLES, Step};
use crate::core::record::{CheckKind, Clearing, Cycle, MissedDue};
use crate::core::time::Timestamp;

impl Turn<'_> {
    /// Takes one judged cycle.
    pub(super) fn cycle(&mut self, machine: &str, cycle: &Cycle, index: u64) {
        if cycle.is_worked_on() {
            // Neither a rack nor a sign that anything is well again.
            return;
        }
        let rack = Rack::of(index, cycle);
        let verdict = cycle.verdict;
        let good = verdict.is_good();
        self.count(machine, cycle);
        match verdict {
            Verdict::Cold => self.bad(machine, cycle, rack, Condition::Cold, affected::settled(cycle)),
            Verdict::Brief => self.bad(machine, cycle, rack, Condition::Brief, affected::brief(cycle)),
            Verdict::Weak => self.bad(machine, cycle, rack, Condition::Weak, affected::weak(cycle)),
            Verdict::Unproven => self.unproven(machine, cycle, rack),
            Verdict::Narrow | Verdict::Pass => {}
        }
        self.row_of_narrow(machine, cycle, rack);
        self.wash(machine, cycle, rack);
        self.too_hot(machine, cycle, rack);
        let needed = self.settings.rules.good_cycles;
        for condition in [Condition::Cold, Condition::Brief] {
            self.recover(machine, condition, good, needed);
        }
        let shows = good && !self.predates_weak(machine, rack.at);
        self.recover(machine, Condition::Weak, shows, 1);
        self.recover(machine, Condition::Narrow, verdict == Verdict::Pass, needed);
        if verdict != Verdict::Unproven {
            self.proven(machine, cycle.rinse_ended);
        }
        if good {
            self.drift(machine, cycle);
            self.passed(machine, cycle, rack);
            self.state.memory(machine).last_good = Some(rack);
        } else {
            self.not_passed(machine, cycle, rack);
        }
        self.missing_checks(machine);
    }

    /// Counts cycles since idle, and the bad ones in a row.
    fn count(&mut self, machine: &str, cycle: &Cycle) {
        let idle = self.settings.rules.idle;
        let memory = self.state.memory(machine);
        memory.since_idle = drift::since_idle(memory.last_rinse, memory.since_idle, cycle, idle);
        memory.last_rinse = memory.last_rinse.max(Some(cycle.rinse_ended));
        memory.dirty_since.get_or_insert(cycle.rinse_ended);
        let wash_low = cycle.findings.iter().find_map(|finding| match finding {
            Finding::WashLow { .. } => Some(Some(true)),
            // Nothing is known of it: the row is as it was.
            Finding::WashUnproven { .. } => Some(None),
            Finding::RinseTooHot { .. } => None,
        });
        for (condition, bad) in [
            (Condition::Cold, Some(cycle.verdict == Verdict::Cold)),
            (Condition::Brief, Some(cycle.verdict == Verdict::Brief)),
            (Condition::WashLow, wash_low.unwrap_or(Some(false))),
        ] {
            let row = memory.in_a_row.entry(condition).or_default();
            match bad {
                Some(true) => *row = row.saturating_add(1),
                Some(false) => *row = 0,
                None => {}
            }
        }
    }

    fn pattern(&self, machine: &str, condition: Condition) -> Option<Pattern> {
        let memory = self.state.machines.get(machine)?;
        let row = *memory.in_a_row.get(&condition)?;
        Some(Pattern::of(row, memory.since_idle, self.settings.rules.repeated))
    }

    fn bad(&mut self, machine: &str, cycle: &Cycle, rack: Rack, condition: Condition, measured: Measured) {
        let report = Report {
            place: Some(Place::FinalRinse),
            measured: measured.value,
            limit: measured.limit,
            racks: Racks::of(rack),
            pattern: self.pattern(machine, condition),
            ..Report::new(condition, machine, cycle.rinse_ended)
        };
        self.report(report);
    }

    /// A cycle without proof: told as what hides the proof, never as cold.
    fn unproven(&mut self, machine: &str, cycle: &Cycle, rack: Rack) {
        let probe = self.settings.machines.get(machine).and_then(|machine| machine.rinse_probe.clone());
        let report = |condition, place, about| Report {
            place,
            racks: Racks::of(rack),
            about,
            unproven: true,
            ..Report::new(condition, machine, cycle.rinse_ended)
        };
        let named = |condition: &Condition| {
            probe.as_ref().is_some_and(|probe| self.names(machine, *condition, probe))
        };
        match doubt(cycle, OF_PROBES.into_iter().find(named)) {
            Doubt::Probe(condition) => self.report(report(condition, Some(Place::FinalRinse), probe)),
            Doubt::Check => {
                // The first rack without it says since when it is missing.
                let (check, due) = (CheckKind::Sanitizer, cycle.rinse_started);
                let counts_from = cycle.rinse_ended.minus(super::due::CHECK_LEAD);
                let memory = self.state.memory(machine);
                let is_new = !memory.missing.contains_key(&check);
                memory.missing.entry(check).or_insert(counts_from);
                memory.overdue.entry(check).or_insert(due);
                let missed = is_new.then_some(MissedDue { check, due, counts_from });
                let told = report(Condition::CheckOverdue, None, Some(check.as_str().to_owned()));
                self.report(Report { since: due, missed, ..told });
            }
            Doubt::Other => self.row_of_unproven(machine, rack),
        }
    }

    fn row_of_unproven(&mut self, machine: &str, rack: Rack) {
        let needed = u64::from(self.settings.rules.unproven);
        let open = self.state.open(machine, Condition::Unproven).is_some_and(|o| o.alert.cleared.is_none());
        let memory = self.state.memory(machine);
        memory.unproven.push(rack);
        if !open && memory.unproven.count < needed {
            return;
        }
        let racks = std::mem::take(&mut memory.unproven);
        let report = Report {
            measured: Some(Quantity::Count(racks.count)),
            racks,
            ..Report::new(Condition::Unproven, machine, rack.at)
        };
        self.report(report);
    }

    /// A cycle with proof: its probe works, and a row of unproven ones is broken.
    fn proven(&mut self, machine: &str, at: Timestamp) {
        self.state.memory(machine).unproven = Racks::default();
        self.recover(machine, Condition::Unproven, true, 1);
        let probe = self.settings.machines.get(machine).and_then(|machine| machine.rinse_probe.clone());
        for condition in [Condition::ProbeFault, Condition::ProbeSilent] {
            // A cycle from before the fault may be judged after it.
            let before = self.state.open(machine, condition).is_none_or(|open| open.alert.since >= at);
            if let Some(probe) = probe.as_ref().filter(|_| !before) {
                self.resolve(machine, condition, probe);
            }
        }
    }

    fn row_of_narrow(&mut self, machine: &str, cycle: &Cycle, rack: Rack) {
        let needed = u64::from(self.settings.rules.narrow);
        let open = self.state.open(machine, Condition::Narrow).is_some_and(|o| o.alert.cleared.is_none());
        let memory = self.state.memory(machine);
        match affected::in_row(Condition::Narrow, cycle, None) {
            Some(InRow::Adds) => memory.narrow.push(rack),
            Some(InRow::Neither) | None => return,
            Some(InRow::Breaks) => {
                memory.narrow = Racks::default();
                return;
            }
        }
        if !open && memory.narrow.count < needed {
            return;
        }
        let racks = std::mem::take(&mut memory.narrow);
        let Measured { value: measured, limit } = affected::settled(cycle);
        let report = Report {
            place: Some(Place::FinalRinse),
            measured,
            limit,
            racks,
            ..Report::new(Condition::Narrow, machine, rack.at)
        };
        self.report(report);
    }

    fn wash(&mut self, machine: &str, cycle: &Cycle, rack: Rack) {
        let low = affected::wash_low(cycle);
        if let Some(Measured { value: measured, limit }) = low {
            let report = Report {
                place: Some(Place::WashTank),
                measured,
                limit,
                racks: Racks::of(rack),
                pattern: self.pattern(machine, Condition::WashLow),
                ..Report::new(Condition::WashLow, machine, cycle.rinse_ended)
            };
            self.report(report);
        }
        let good = low.is_none() && cycle.wash_min_c.is_some_and(|min| min >= cycle.wash_limit_c);
        self.recover(machine, Condition::WashLow, good, self.settings.rules.good_cycles);
        if good {
            self.tank_is_up(machine);
        }
    }

    fn too_hot(&mut self, machine: &str, cycle: &Cycle, rack: Rack) {
        let hot = affected::too_hot(cycle);
        if let Some(Measured { value: measured, limit }) = hot {
            let report = Report {
                place: Some(Place::FinalRinse),
                measured,
                limit,
                racks: Racks::of(rack),
                ..Report::new(Condition::RinseHot, machine, cycle.rinse_ended)
            };
            self.report(report);
        }
        let good = hot.is_none() && cycle.verdict != Verdict::Unproven;
        self.recover(machine, Condition::RinseHot, good, self.settings.rules.good_cycles);
    }

    /// Feeds the charts with the settled minimum of a good cycle in the middle of
    /// work: a cold one is told as cold.
    fn drift(&mut self, machine: &str, cycle: &Cycle) {
        let rules = drift::Rules::of(&self.settings.rules);
        let open = self.state.open(machine, Condition::Drifting).is_some_and(|o| o.alert.cleared.is_none());
        let memory = self.state.memory(machine);
        let Some(settled_c) = cycle.rinse_min_c.filter(|_| memory.since_idle > SETTLING_CYCLES) else {
            return;
        };
        match memory.drift.take(settled_c, rules, open) {
            Step::Drifting { average_c, limit_c } => {
                let report = Report {
                    place: Some(Place::FinalRinse),
                    measured: Some(Quantity::Celsius(average_c)),
                    limit: Some(Quantity::Celsius(limit_c)),
                    ..Report::new(Condition::Drifting, machine, cycle.rinse_ended)
                };
                self.report(report);
            }
            Step::Recovered => self.clear(machine, Condition::Drifting, Clearing::Recovered),
            Step::Learning | Step::Usual => {}
        }
    }

    /// The charts learn anew: somebody has worked on the machine.
    pub(super) fn learn_anew(&mut self, machine: &str) {
        self.state.memory(machine).drift = Drift::default();
        self.clear(machine, Condition::Drifting, Clearing::Lapsed);
    }
}
