//! What a judged cycle says: which conditions hold, and which have a good cycle more.

use super::condition::Condition;
use super::open::{Pattern, Quantity, Rack, Racks};
use super::raise::{Report, Turn};
use super::state::{Drift, Memory};
use crate::core::channel::Place;
use crate::core::cycle::verdict::{Finding, Reason, Verdict};
use crate::core::reading::Fault;
use crate::core::record::{CheckKind, Clearing, Cycle};
use crate::core::time::Timestamp;
use crate::core::trend::{Cusum, Ewma};

/// Weight of the moving average (design value of the NIST/SEMATECH e-Handbook §6.3.2.4: 0.2 to 0.3).
const EWMA_WEIGHT: f64 = 0.2;
/// Limits of the moving average, in its standard deviations (the same, L = 3).
const EWMA_WIDTH: f64 = 3.0;
/// Slack of the cumulative sums, in standard deviations: half the shift to be found (§6.3.2.3).
const CUSUM_SLACK: f64 = 0.5;
/// Decision interval of the cumulative sums (§6.3.2.3: 4 or 5).
const CUSUM_DECISION: f64 = 5.0;
/// Least standard deviation of settled minima, K (own choice: the resolution of common converters).
const SIGMA_MIN_K: f64 = 0.1;
/// First cycles after idle that the charts leave out (own choice: the line and
/// the booster have settled by the third).
const SETTLING_CYCLES: u32 = 2;

/// Why an unproven cycle is unproven, as far as it decides whom to tell of what.
enum Doubt {
    /// The probe of the final rinse.
    Probe(Fault),
    /// No concentration check on file.
    Check,
    /// Anything else.
    Other,
}

impl Turn<'_> {
    /// Takes one judged cycle.
    pub(super) fn cycle(&mut self, machine: &str, cycle: &Cycle, index: u64) {
        let rack = Rack { index, at: cycle.rinse_ended };
        let verdict = believed(cycle);
        let good = matches!(verdict, Verdict::Pass | Verdict::Narrow);
        self.count(machine, cycle);
        match verdict {
            Verdict::Cold => self.bad(machine, cycle, rack, Condition::Cold, cold(cycle)),
            Verdict::Brief => self.bad(machine, cycle, rack, Condition::Brief, brief(cycle)),
            Verdict::Weak => self.bad(machine, cycle, rack, Condition::Weak, weak(cycle)),
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
        self.recover(machine, Condition::Weak, good, 1);
        self.recover(machine, Condition::Narrow, verdict == Verdict::Pass, needed);
        if verdict != Verdict::Unproven {
            self.proven(machine, cycle.rinse_ended);
        }
        if good {
            self.drift(machine, cycle);
            self.state.memory(machine).last_good = Some(rack);
        }
        self.missing_checks(machine);
    }

    /// Counts cycles since idle, and the bad ones in a row.
    fn count(&mut self, machine: &str, cycle: &Cycle) {
        let idle = self.settings.rules.idle;
        let memory = self.state.memory(machine);
        let rested = memory.last_rinse.is_none_or(|last| cycle.rinse_started.since(last) >= idle);
        memory.since_idle = if rested { 1 } else { memory.since_idle.saturating_add(1) };
        memory.last_rinse = memory.last_rinse.max(Some(cycle.rinse_ended));
        memory.dirty_since.get_or_insert(cycle.rinse_ended);
        let wash_low = cycle.findings.iter().any(|finding| matches!(finding, Finding::WashLow { .. }));
        for (condition, bad) in [
            (Condition::Cold, believed(cycle) == Verdict::Cold),
            (Condition::Brief, believed(cycle) == Verdict::Brief),
            (Condition::WashLow, wash_low),
        ] {
            let row = memory.in_a_row.entry(condition).or_default();
            *row = if bad { row.saturating_add(1) } else { 0 };
        }
    }

    fn pattern(&self, machine: &str, condition: Condition) -> Option<Pattern> {
        let memory = self.state.machines.get(machine)?;
        let row = *memory.in_a_row.get(&condition)?;
        Some(match (row, memory.since_idle) {
            (row, _) if row >= self.settings.rules.repeated => Pattern::Repeated,
            (_, 1) => Pattern::FirstAfterIdle,
            (_, _) => Pattern::Single,
        })
    }

    fn bad(
        &mut self,
        machine: &str,
        cycle: &Cycle,
        rack: Rack,
        condition: Condition,
        measured: (Option<Quantity>, Option<Quantity>),
    ) {
        let report = Report {
            place: Some(Place::FinalRinse),
            measured: measured.0,
            limit: measured.1,
            racks: vec![rack],
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
            racks: vec![rack],
            about,
            unproven: true,
            ..Report::new(condition, machine, cycle.rinse_ended)
        };
        match doubt(cycle) {
            Doubt::Probe(fault) => {
                let condition = condition_of(fault);
                self.report(report(condition, Some(Place::FinalRinse), probe));
            }
            Doubt::Check => {
                let since = cycle.rinse_ended.minus(super::due::CHECK_LEAD);
                let memory = self.state.memory(machine);
                memory.missing.entry(CheckKind::Sanitizer).or_insert(since);
                memory.overdue.entry(CheckKind::Sanitizer).or_insert(cycle.rinse_ended);
                let about = Some(CheckKind::Sanitizer.as_str().to_owned());
                self.report(report(Condition::CheckOverdue, None, about));
            }
            Doubt::Other => {
                let open = |condition| {
                    let open = self.state.open(machine, condition);
                    open.is_some_and(|open| {
                        let named = probe.as_ref().is_some_and(|probe| open.alert.about.contains(probe));
                        open.alert.cleared.is_none() && named
                    })
                };
                let known = [Condition::ProbeSilent, Condition::ProbeFault].into_iter().find(|c| open(*c));
                match known {
                    Some(condition) => self.report(report(condition, Some(Place::FinalRinse), probe)),
                    None => self.row_of_unproven(machine, rack),
                }
            }
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
            racks: racks.named,
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
        match believed(cycle) {
            Verdict::Narrow => memory.narrow.push(rack),
            // Nothing is known of it, so it neither adds to the row nor breaks it.
            Verdict::Unproven => return,
            Verdict::Cold | Verdict::Brief | Verdict::Weak | Verdict::Pass => {
                memory.narrow = Racks::default();
                return;
            }
        }
        if !open && memory.narrow.count < needed {
            return;
        }
        let racks = std::mem::take(&mut memory.narrow);
        let (measured, limit) = cold(cycle);
        let report = Report {
            place: Some(Place::FinalRinse),
            measured,
            limit,
            racks: racks.named,
            ..Report::new(Condition::Narrow, machine, rack.at)
        };
        self.report(report);
    }

    fn wash(&mut self, machine: &str, cycle: &Cycle, rack: Rack) {
        let low = cycle.findings.iter().find_map(|finding| match finding {
            Finding::WashLow { measured_c, limit_c } => Some((*measured_c, *limit_c)),
            Finding::RinseTooHot { .. } | Finding::WashUnproven { .. } => None,
        });
        if let Some((measured_c, limit_c)) = low {
            let report = Report {
                place: Some(Place::WashTank),
                measured: Some(Quantity::Celsius(measured_c)),
                limit: Some(Quantity::Celsius(limit_c)),
                racks: vec![rack],
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
        let hot = cycle.findings.iter().find_map(|finding| match finding {
            Finding::RinseTooHot { measured_c, limit_c } => Some((*measured_c, *limit_c)),
            Finding::WashLow { .. } | Finding::WashUnproven { .. } => None,
        });
        if let Some((measured_c, limit_c)) = hot {
            let report = Report {
                place: Some(Place::FinalRinse),
                measured: Some(Quantity::Celsius(measured_c)),
                limit: Some(Quantity::Celsius(limit_c)),
                racks: vec![rack],
                ..Report::new(Condition::RinseHot, machine, cycle.rinse_ended)
            };
            self.report(report);
        }
        let good = hot.is_none() && believed(cycle) != Verdict::Unproven;
        self.recover(machine, Condition::RinseHot, good, self.settings.rules.good_cycles);
    }

    /// Feeds the charts with the settled minimum of a good cycle in the middle of
    /// work: a cold one is told as cold.
    fn drift(&mut self, machine: &str, cycle: &Cycle) {
        let rules = &self.settings.rules;
        let (baseline_of, min_k) = (rules.drift_baseline, rules.drift_min_k);
        let memory = self.state.memory(machine);
        let Some(settled_c) = cycle.rinse_min_c.filter(|_| memory.since_idle > SETTLING_CYCLES) else {
            return;
        };
        let Some((ewma, cusum)) = memory.chart(settled_c, baseline_of) else { return };
        let (moved, far) = (ewma.signals(), ewma.shift().abs() >= min_k);
        let (value, limit) = (ewma.value(), ewma.limit());
        let summed = cusum.signals();
        let open = self.state.open(machine, Condition::Drifting).is_some_and(|o| o.alert.cleared.is_none());
        if moved && far && (summed || open) {
            let report = Report {
                place: Some(Place::FinalRinse),
                measured: Some(Quantity::Celsius(value)),
                limit: Some(Quantity::Celsius(limit)),
                ..Report::new(Condition::Drifting, machine, cycle.rinse_ended)
            };
            self.report(report);
        } else if open && !moved {
            if let Drift::Watching { cusum, .. } = &mut self.state.memory(machine).drift {
                cusum.restart();
            }
            self.clear(machine, Condition::Drifting, Clearing::Recovered);
        }
    }

    /// The charts learn anew: somebody has worked on the machine.
    pub(super) fn learn_anew(&mut self, machine: &str) {
        self.state.memory(machine).drift = Drift::default();
        self.clear(machine, Condition::Drifting, Clearing::Lapsed);
    }
}

impl Memory {
    /// Pushes a settled minimum; gives the charts once they watch.
    fn chart(&mut self, settled_c: f64, baseline_of: u32) -> Option<(Ewma, Cusum)> {
        match &mut self.drift {
            Drift::Learning(baseline) => {
                baseline.push(settled_c);
                if baseline.count() >= baseline_of
                    && let Some(usual) = baseline.usual(SIGMA_MIN_K)
                {
                    let ewma = Ewma::new(usual, EWMA_WEIGHT, EWMA_WIDTH);
                    let cusum = Cusum::new(usual, CUSUM_SLACK, CUSUM_DECISION);
                    self.drift = Drift::Watching { ewma, cusum };
                }
                None
            }
            Drift::Watching { ewma, cusum } => {
                ewma.push(settled_c);
                cusum.push(settled_c);
                Some((*ewma, *cusum))
            }
        }
    }
}

/// Which of the two probe conditions a fault is.
pub(super) const fn condition_of(fault: Fault) -> Condition {
    match fault {
        Fault::Silent => Condition::ProbeSilent,
        Fault::OpenCircuit
        | Fault::Short
        | Fault::Reversed
        | Fault::OutOfRange
        | Fault::Stuck
        | Fault::NoColdJunction
        | Fault::Reported => Condition::ProbeFault,
    }
}

/// The verdict to go by. A cycle whose final-rinse probe was at fault may hold a
/// cold or brief verdict on the readings there were; it is told as the fault of
/// the probe and never as cold water.
fn believed(cycle: &Cycle) -> Verdict {
    let at_fault = cycle.reasons.iter().any(|reason| matches!(reason, Reason::RinseProbe { .. }));
    if at_fault { Verdict::Unproven } else { cycle.verdict }
}

/// A probe explains a cycle before anything else does: nothing measured by it can be believed.
fn doubt(cycle: &Cycle) -> Doubt {
    let fault = cycle
        .reasons
        .iter()
        .find_map(|reason| if let Reason::RinseProbe { fault } = reason { Some(*fault) } else { None });
    match fault {
        Some(fault) => Doubt::Probe(fault),
        None if cycle.reasons.contains(&Reason::NoConcentrationCheck) => Doubt::Check,
        None => Doubt::Other,
    }
}

fn cold(cycle: &Cycle) -> (Option<Quantity>, Option<Quantity>) {
    (cycle.rinse_min_c.map(Quantity::Celsius), Some(Quantity::Celsius(cycle.limit_c)))
}

fn brief(cycle: &Cycle) -> (Option<Quantity>, Option<Quantity>) {
    (Some(Quantity::Seconds(cycle.dwell_s)), Some(Quantity::Seconds(cycle.dwell_required_s)))
}

fn weak(cycle: &Cycle) -> (Option<Quantity>, Option<Quantity>) {
    (cycle.concentration_mg_per_l.map(Quantity::MgPerL), None)
}
