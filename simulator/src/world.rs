//! All machines of a scenario, stepped together.

use std::collections::VecDeque;

use crate::catalog::{MachineFacts, RinseFrom};
use crate::day::plan;
use crate::dice::Dice;
use crate::fault::Place;
use crate::machine::{Happening, Machine};
use crate::node::{Emission, Node};
use crate::plant::{Plant, Supply};
use crate::probe::Probe;
use crate::scenario::{MachinePlan, Plan, Scenario};
use crate::time::{MIDNIGHT_MICROS, STEP_S, STEPS_PER_S, micros};
use crate::truth::{Recorder, TruthEntry};

/// Rest of every machine before the end of a run, s.
const TAIL_S: f64 = 30.0;

/// A machine, its node and its recorder.
#[derive(Debug)]
struct Unit {
    machine: Machine,
    node: Node,
    recorder: Recorder,
}

/// A scenario in motion. As an iterator it yields emissions in the order in which they leave the
/// nodes; the truth is taken with [`World::take_truth`].
#[derive(Debug)]
pub struct World {
    units: Vec<Unit>,
    clock_at_start_s: f64,
    start_micros: i64,
    steps: u64,
    steps_total: u64,
    ready: VecDeque<Emission>,
    fresh: Vec<Emission>,
    truth: Vec<TruthEntry>,
}

impl World {
    /// The world of a named scenario on its own day, 2026-03-02.
    #[must_use]
    pub fn new(scenario: Scenario, seed: u64) -> Self {
        Self::of(&scenario.plan(), seed, MIDNIGHT_MICROS)
    }

    /// The world of a plan whose first midnight is `midnight_micros`.
    #[must_use]
    pub fn of(plan: &Plan, seed: u64, midnight_micros: i64) -> Self {
        let start_micros = midnight_micros + micros(plan.clock_s);
        let units = plan
            .machines
            .iter()
            .enumerate()
            .map(|(index, machine)| Unit::new(index, machine, seed, start_micros))
            .collect();
        Self {
            units,
            clock_at_start_s: plan.clock_s,
            start_micros,
            steps: 0,
            steps_total: steps_in(plan.hours * 3_600.0),
            ready: VecDeque::new(),
            fresh: Vec::new(),
            truth: Vec::new(),
        }
    }

    /// The world of a plan that starts at `start_micros` of Unix time, whatever the plan's clock says.
    #[must_use]
    pub fn starting_at(plan: &Plan, seed: u64, start_micros: i64) -> Self {
        Self::of(plan, seed, start_micros - micros(plan.clock_s))
    }

    /// Start of the run, µs of Unix time.
    #[must_use]
    pub fn start_micros(&self) -> i64 {
        self.start_micros
    }

    /// Time simulated so far, s.
    #[must_use]
    pub fn now_s(&self) -> f64 {
        self.steps as f64 * STEP_S
    }

    /// The facts of each machine, in the order of [`Emission::machine`].
    pub fn facts(&self) -> impl Iterator<Item = &MachineFacts> {
        self.units.iter().map(|unit| unit.machine.facts())
    }

    /// The machine of that index, to look inside.
    #[must_use]
    pub fn machine(&self, index: usize) -> Option<&Machine> {
        self.units.get(index).map(|unit| &unit.machine)
    }

    /// The truth completed since the last call.
    pub fn take_truth(&mut self) -> Vec<TruthEntry> {
        std::mem::take(&mut self.truth)
    }

    /// Advances by one integration step. Returns false at the end of the run.
    ///
    /// When the planned time is over, nothing more is begun, and the run goes on until every
    /// machine has finished what it was doing and rested for half a minute: no cycle is cut.
    pub fn step(&mut self) -> bool {
        let now_s = self.now_s();
        if self.steps >= self.steps_total {
            self.units.iter_mut().for_each(|unit| unit.machine.close());
            if self.units.iter().all(|unit| unit.machine.is_at_rest(now_s, TAIL_S)) {
                return self.flush(now_s);
            }
        }
        self.steps += 1;
        let now_s = self.now_s();
        for unit in &mut self.units {
            self.truth.extend(unit.step(now_s, self.clock_at_start_s + now_s, &mut self.fresh));
        }
        self.ready.extend(self.fresh.drain(..));
        true
    }

    /// Lets the nodes hand over what they kept; false if there was nothing.
    fn flush(&mut self, now_s: f64) -> bool {
        for unit in &mut self.units {
            unit.node.flush(now_s, &mut self.fresh);
        }
        let any = !self.fresh.is_empty();
        self.ready.extend(self.fresh.drain(..));
        any
    }
}

impl Iterator for World {
    type Item = Emission;

    fn next(&mut self) -> Option<Emission> {
        loop {
            if let Some(emission) = self.ready.pop_front() {
                return Some(emission);
            }
            if !self.step() {
                return None;
            }
        }
    }
}

impl Unit {
    fn new(index: usize, plan_of: &MachinePlan, seed: u64, start_micros: i64) -> Self {
        let spec = &plan_of.spec;
        let facts = &spec.facts;
        let mut stream = index as u64 * 16;
        let mut dice = || {
            stream += 1;
            Dice::new(seed, stream)
        };
        let supply = Supply::new(spec.plant.supply, dice());
        let plant = if plan_of.warm {
            Plant::warm(spec.plant.clone(), supply)
        } else {
            Plant::cold(spec.plant.clone(), supply)
        };
        let conveyor = facts.kind.is_conveyor();
        let actions = plan(&plan_of.meals, conveyor, facts.sanitizer.is_some(), plan_of.warm, &mut dice());
        let (line_c, tank_c) = (plant.line_c(), plant.tank().water_c());
        let machine = Machine::new(spec, plant, actions, plan_of.faults.clone(), plan_of.warm, dice());
        let wash = Probe::new(spec.wash_probe, Place::Wash, tank_c, dice());
        let rinse_c = match facts.rinse_from {
            RinseFrom::FreshLine => line_c,
            RinseFrom::Sump => tank_c,
        };
        let rinse = Probe::new(spec.rinse_probe, Place::Rinse, rinse_c, dice());
        let node = Node::new(index, &machine, (wash, rinse), start_micros, dice());
        Self { machine, node, recorder: Recorder::new(start_micros) }
    }

    fn step(&mut self, now_s: f64, clock_s: f64, out: &mut Vec<Emission>) -> Option<TruthEntry> {
        let happening = self.machine.step(now_s, clock_s);
        self.node.step(now_s, &self.machine, out);
        if let Some(Happening::Checked { mg_per_l, ph }) = happening {
            self.node.say_check(now_s, self.machine.faults(), mg_per_l, ph);
        }
        self.recorder.step(now_s, &self.machine, &self.node, happening)
    }
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a run has a positive length")]
fn steps_in(seconds: f64) -> u64 {
    (seconds * STEPS_PER_S as f64).round() as u64
}

#[cfg(test)]
mod tests;
