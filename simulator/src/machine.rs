//! The automatic cycle of one machine: driven by the day's tasks, driving the plant.
//!
//! An interlock that stretches the wash until tank and booster are hot is left out, as is a
//! conveyor's pre-wash.

use std::collections::VecDeque;

use crate::catalog::{MachineFacts, MachineSpec, RinseFrom};
use crate::day::{Action, Task};
use crate::dice::Dice;
use crate::fault::{Fault, FaultKind, weakness};
use crate::plant::{Drive, Plant, Ware};
use crate::time::STEP_S;

/// What a machine is doing.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Stage {
    /// Nothing.
    Idle,
    /// The tank fills through the rinse line.
    Filling,
    /// The wash pump runs.
    Wash {
        /// When it ends.
        until_s: f64,
    },
    /// Between wash and rinse.
    Pause {
        /// When it began.
        from_s: f64,
        /// When it ends.
        until_s: f64,
    },
    /// The final rinse.
    Rinse {
        /// When it ends.
        until_s: f64,
    },
    /// The tank runs empty.
    Draining,
    /// Somebody sprays the machine out.
    Hosing {
        /// When the burst ends.
        until_s: f64,
        /// Part of the rinse flow.
        part: f64,
    },
}

/// Something that began or ended in a step.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Happening {
    /// A wash began.
    WashStarted,
    /// The door was opened in the wash: no rinse follows.
    WashAborted,
    /// A final rinse began.
    RinseStarted,
    /// A final rinse ended, before its time if `aborted`.
    RinseEnded {
        /// The door was opened.
        aborted: bool,
        /// Racks that went through.
        racks: u32,
    },
    /// The tank began to fill through the rinse line.
    FillStarted,
    /// The tank is full.
    FillEnded,
    /// The drain was opened.
    DrainStarted,
    /// The tank is empty.
    DrainEnded,
    /// A burst of hose water began.
    HoseStarted,
    /// It ended.
    HoseEnded,
    /// Somebody read a test strip.
    Checked {
        /// Reading, mg/L.
        mg_per_l: f64,
        /// pH, where it is measured.
        ph: Option<f64>,
    },
}

/// Longest wait for a tank that does not get hot, s (own choice): people lose patience.
const PATIENCE_S: f64 = 900.0;
/// How far below its set point a tank may be for people to start, K.
const WARM_ENOUGH_C: f64 = 2.0;
/// Standard deviation of a cam or electronic timer, s (own choice).
const TIMER_JITTER_S: f64 = 0.15;
/// Time for which a machine that dumps keeps its drain open, s.
const DUMP_S: f64 = 7.5;
/// Temperature of ware before the wash, °C.
const WARE_C: f64 = 23.0;

/// A machine with its day.
#[derive(Clone, Debug)]
pub struct Machine {
    facts: MachineFacts,
    plant: Plant,
    actions: VecDeque<Action>,
    faults: Vec<Fault>,
    stage: Stage,
    idle_since_s: f64,
    power: bool,
    drain_open: bool,
    ware: Option<Ware>,
    ware_fresh_s: f64,
    racks: u32,
    rack_j_per_k: f64,
    cut_short_s: Option<f64>,
    closed: bool,
    dice: Dice,
}

impl Machine {
    /// A machine with a plant, a day and faults.
    #[must_use]
    pub fn new(
        spec: &MachineSpec,
        plant: Plant,
        actions: Vec<Action>,
        faults: Vec<Fault>,
        warm: bool,
        dice: Dice,
    ) -> Self {
        Self {
            facts: spec.facts.clone(),
            plant,
            actions: actions.into(),
            faults,
            stage: Stage::Idle,
            idle_since_s: -60.0,
            power: warm,
            drain_open: false,
            ware: None,
            ware_fresh_s: 0.0,
            racks: 0,
            rack_j_per_k: 0.0,
            cut_short_s: None,
            closed: false,
            dice,
        }
    }

    /// The plant.
    #[must_use]
    pub fn plant(&self) -> &Plant {
        &self.plant
    }

    /// What the machine is doing.
    #[must_use]
    pub fn stage(&self) -> Stage {
        self.stage
    }

    /// The faults asked for.
    #[must_use]
    pub fn faults(&self) -> &[Fault] {
        &self.faults
    }

    /// What the data plate says.
    #[must_use]
    pub fn facts(&self) -> &MachineFacts {
        &self.facts
    }

    /// Whether a run signal would be on: from the start of the wash to the end of the rinse.
    #[must_use]
    pub fn is_running(&self) -> bool {
        matches!(self.stage, Stage::Wash { .. } | Stage::Pause { .. } | Stage::Rinse { .. })
    }

    /// Whether it does something, or is about to.
    #[must_use]
    pub fn is_busy(&self) -> bool {
        self.stage != Stage::Idle || !self.actions.is_empty()
    }

    /// Lets a task come before all others, as soon as the machine is idle.
    pub fn begin(&mut self, task: Task) {
        self.actions.push_front(Action { not_before_s: 0.0, gap_s: 0.0, task });
    }

    /// Lets a fault come; those that are over when it begins are forgotten.
    pub fn fail(&mut self, fault: Fault) {
        self.faults.retain(|known| known.until_s > fault.from_s);
        self.faults.push(fault);
    }

    /// Lets somebody have drawn off what was hot in the booster.
    pub fn draw_off(&mut self) {
        self.plant.draw_off();
    }

    /// Lets the machine finish what it is doing, and begin nothing more.
    pub fn close(&mut self) {
        self.closed = true;
    }

    /// Whether it has been idle for `rest_s` at `now_s`.
    #[must_use]
    pub fn is_at_rest(&self, now_s: f64, rest_s: f64) -> bool {
        self.stage == Stage::Idle && now_s - self.idle_since_s >= rest_s
    }

    /// Water at the rinse probe, °C.
    #[must_use]
    pub fn rinse_water_c(&self) -> f64 {
        match self.facts.rinse_from {
            RinseFrom::FreshLine => self.plant.line_c(),
            RinseFrom::Sump => self.plant.tank().water_c(),
        }
    }

    /// Advances by one step to `now_s` seconds after the start, `clock_s` after midnight.
    pub fn step(&mut self, now_s: f64, clock_s: f64) -> Option<Happening> {
        let happening = self.control(now_s);
        let drive = self.drive(now_s);
        if let Some(ware) = &mut self.ware
            && self.facts.kind.is_conveyor()
        {
            // A fresh rack takes the place of the one before.
            self.ware_fresh_s += STEP_S;
            if self.ware_fresh_s >= self.facts.rinse_s {
                self.ware_fresh_s = 0.0;
                ware.at_c = WARE_C;
            }
        }
        let weakness = weakness(&self.faults, now_s);
        self.plant.step(STEP_S, clock_s, &drive, &weakness, self.ware.as_mut());
        happening
    }

    fn drive(&self, now_s: f64) -> Drive {
        let full = self.plant.rinse_kg_per_s();
        let sump = self.facts.rinse_from == RinseFrom::Sump;
        let mut drive =
            Drive { power: self.power, drain: self.drain_open, into_tank: 1.0, ..Drive::default() };
        match self.stage {
            Stage::Idle | Stage::Draining => {}
            Stage::Filling => drive.flow_kg_per_s = full,
            Stage::Wash { .. } => drive.pump = true,
            Stage::Pause { from_s, .. } if sump => {
                drive.drain = now_s < from_s + DUMP_S;
                drive.flow_kg_per_s = if drive.drain { 0.0 } else { full };
            }
            Stage::Pause { .. } => drive.pump = self.facts.kind.is_conveyor(),
            Stage::Rinse { .. } if sump => drive.pump = true,
            Stage::Rinse { .. } => {
                drive.flow_kg_per_s = full;
                drive.rinse_on_ware = true;
                drive.pump = self.facts.kind.is_conveyor();
            }
            Stage::Hosing { part, .. } => {
                drive.flow_kg_per_s = full * part;
                drive.into_tank = 0.4;
            }
        }
        drive
    }

    fn control(&mut self, now_s: f64) -> Option<Happening> {
        match self.stage {
            Stage::Idle => self.next_task(now_s),
            Stage::Filling => self.plant.tank().is_full().then(|| self.rest(now_s, Happening::FillEnded)),
            Stage::Wash { until_s } => self.wash(now_s, until_s),
            Stage::Pause { until_s, .. } => (now_s >= until_s).then(|| self.start_rinse(now_s)),
            Stage::Rinse { until_s } => {
                let aborted = self.cut_short_s.is_some_and(|at_s| now_s >= at_s);
                (aborted || now_s >= until_s).then(|| self.end_rinse(now_s, aborted))
            }
            Stage::Draining => {
                (self.plant.tank().water_kg() <= 0.0).then(|| self.rest(now_s, Happening::DrainEnded))
            }
            Stage::Hosing { until_s, .. } => {
                (now_s >= until_s).then(|| self.rest(now_s, Happening::HoseEnded))
            }
        }
    }

    fn rest(&mut self, now_s: f64, happening: Happening) -> Happening {
        self.stage = Stage::Idle;
        self.idle_since_s = now_s;
        happening
    }

    fn wash(&mut self, now_s: f64, until_s: f64) -> Option<Happening> {
        if self.cut_short_s.is_some_and(|at_s| now_s >= at_s) {
            self.ware = None;
            self.cut_short_s = None;
            self.wash_again();
            return Some(self.rest(now_s, Happening::WashAborted));
        }
        if now_s >= until_s {
            let pause_s = self.facts.pause_s + self.dice.gauss(0.0, TIMER_JITTER_S);
            self.stage = Stage::Pause { from_s: now_s, until_s: now_s + pause_s };
        }
        None
    }

    fn start_rinse(&mut self, now_s: f64) -> Happening {
        let timer_s = f64::from(self.racks) * self.facts.rinse_s;
        let timer_s = shortened_s(&self.faults, now_s).map_or(timer_s, |short_s| timer_s.min(short_s));
        let length_s = timer_s + self.dice.gauss(0.0, TIMER_JITTER_S);
        let part = part_of(&self.faults, now_s, |(_, in_rinse)| in_rinse);
        if self.dice.chance(part) {
            self.cut_short_s = Some(now_s + length_s * self.dice.uniform(0.15, 0.85));
        }
        self.stage = Stage::Rinse { until_s: now_s + length_s };
        Happening::RinseStarted
    }

    fn end_rinse(&mut self, now_s: f64, aborted: bool) -> Happening {
        self.ware = None;
        self.cut_short_s = None;
        let racks = self.racks;
        if aborted {
            self.wash_again();
        }
        self.rest(now_s, Happening::RinseEnded { aborted, racks })
    }

    /// Who opened the door closes it again and starts anew.
    fn wash_again(&mut self) {
        let gap_s = self.dice.uniform(6.0, 30.0);
        let task = Task::Racks { count: self.racks, heat_j_per_k: self.rack_j_per_k };
        self.actions.push_front(Action { not_before_s: 0.0, gap_s, task });
    }

    fn next_task(&mut self, now_s: f64) -> Option<Happening> {
        if self.closed {
            return None;
        }
        let action = *self.actions.front()?;
        let ready_s = action.not_before_s.max(self.idle_since_s + action.gap_s);
        if now_s < ready_s || !self.can_do(action.task, now_s, ready_s) {
            return None;
        }
        let _done = self.actions.pop_front();
        match action.task {
            Task::PowerOn => {
                self.power = true;
                None
            }
            Task::PowerOff => {
                self.power = false;
                None
            }
            Task::Fill => {
                self.drain_open = false;
                self.stage = Stage::Filling;
                Some(Happening::FillStarted)
            }
            Task::Check => self.check(now_s),
            Task::Racks { count, heat_j_per_k } => Some(self.start_wash(now_s, count, heat_j_per_k)),
            Task::Drain => {
                self.drain_open = true;
                self.stage = Stage::Draining;
                Some(Happening::DrainStarted)
            }
            Task::Hose { length_s, part } => {
                self.stage = Stage::Hosing { until_s: now_s + length_s, part };
                Some(Happening::HoseStarted)
            }
        }
    }

    /// People start washing when the tank is full and hot, or when their patience ends.
    fn can_do(&self, task: Task, now_s: f64, ready_s: f64) -> bool {
        match task {
            Task::Racks { .. } => {
                let tank = self.plant.tank();
                let warm = tank.set_c().is_none_or(|set_c| tank.water_c() > set_c - WARM_ENOUGH_C);
                // Between racks nobody waits for the gauge.
                let in_service = now_s - self.idle_since_s < 120.0 && self.racks > 0;
                warm || in_service || now_s > ready_s + PATIENCE_S
            }
            Task::PowerOn | Task::PowerOff | Task::Fill | Task::Check | Task::Drain | Task::Hose { .. } => {
                true
            }
        }
    }

    fn check(&mut self, now_s: f64) -> Option<Happening> {
        let sanitizer = self.facts.sanitizer?;
        let forgets = |fault: &Fault| fault.kind == FaultKind::CheckForgotten && fault.holds(now_s);
        if self.faults.iter().any(forgets) {
            return None;
        }
        let mg_per_l = self.faults.iter().filter(|fault| fault.holds(now_s)).find_map(|fault| {
            if let FaultKind::SanitizerWeak { mg_per_l } = fault.kind { Some(mg_per_l) } else { None }
        });
        Some(Happening::Checked { mg_per_l: mg_per_l.unwrap_or(sanitizer.usual_mg_per_l), ph: sanitizer.ph })
    }

    fn start_wash(&mut self, now_s: f64, racks: u32, heat_j_per_k: f64) -> Happening {
        (self.racks, self.rack_j_per_k, self.ware_fresh_s) = (racks, heat_j_per_k, 0.0);
        self.ware = Some(Ware { heat_j_per_k, at_c: WARE_C });
        let length_s = self.facts.wash_s + self.dice.gauss(0.0, TIMER_JITTER_S);
        let part = part_of(&self.faults, now_s, |(in_wash, _)| in_wash);
        if self.dice.chance(part) {
            self.cut_short_s = Some(now_s + length_s * self.dice.uniform(0.1, 0.9));
        }
        self.stage = Stage::Wash { until_s: now_s + length_s };
        Happening::WashStarted
    }
}

/// Length of a final rinse whose timer is at fault at `now_s`, s.
fn shortened_s(faults: &[Fault], now_s: f64) -> Option<f64> {
    faults.iter().filter(|fault| fault.holds(now_s)).find_map(|fault| {
        if let FaultKind::RinseTimerShort { length_s } = fault.kind { Some(length_s) } else { None }
    })
}

/// Part of the cycles that are cut short at `now_s`.
fn part_of(faults: &[Fault], now_s: f64, which: fn((f64, f64)) -> f64) -> f64 {
    let mut part = 0.0;
    for fault in faults.iter().filter(|fault| fault.holds(now_s)) {
        if let FaultKind::Aborted { in_wash, in_rinse } = fault.kind {
            part += which((in_wash, in_rinse));
        }
    }
    part
}
