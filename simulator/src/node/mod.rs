//! The node at the machine: samples the probes, packs SenML (RFC 8428), buffers when told to.

pub mod modbus;
pub mod mqtt;
mod pace;
mod pack;
pub mod serial;

pub use pace::{Pace, Stop};
pub use pack::{Emission, Record, RecordValue};

use std::collections::VecDeque;

use crate::catalog::RinseFrom;
use crate::dice::Dice;
use crate::fault::{Fault, FaultKind, Place};
use crate::machine::Machine;
use crate::probe::{Probe, Sample};
use crate::time::{STEP_S, micros};

/// How often an unchanged run signal is repeated, s.
const RUN_SIGNAL_EVERY_S: f64 = 30.0;
/// Packs a node hands over per step once its link is back: 20 steps a second make 200 packs.
const BURST_PER_STEP: usize = 10;
/// Standard deviation of the sampling instant, s.
const SAMPLING_JITTER_S: f64 = 0.003;

/// The node of one machine.
#[derive(Debug)]
pub struct Node {
    index: usize,
    base_name: String,
    start_micros: i64,
    wash: Probe,
    rinse: Probe,
    readings_per_s: f64,
    samples: u64,
    next_s: f64,
    dropout_until_s: f64,
    running: Option<bool>,
    running_said_s: f64,
    rinse_heard_s: f64,
    kept: VecDeque<Emission>,
    dice: Dice,
}

impl Node {
    /// The node of machine `index`, its probes in place.
    #[must_use]
    pub fn new(
        index: usize,
        machine: &Machine,
        probes: (Probe, Probe),
        start_micros: i64,
        dice: Dice,
    ) -> Self {
        let facts = machine.facts();
        Self {
            index,
            base_name: format!("{}/", facts.name),
            start_micros,
            wash: probes.0,
            rinse: probes.1,
            readings_per_s: facts.readings_per_s,
            samples: 0,
            next_s: 0.02,
            dropout_until_s: 0.0,
            running: None,
            running_said_s: 0.0,
            rinse_heard_s: 0.0,
            kept: VecDeque::new(),
            dice,
        }
    }

    /// When the rinse probe last delivered a reading worth its name.
    #[must_use]
    pub fn rinse_heard_s(&self) -> f64 {
        self.rinse_heard_s
    }

    /// Time constant of the rinse probe at `now_s`, s.
    #[must_use]
    pub fn rinse_tau_s(&self, faults: &[Fault], now_s: f64) -> f64 {
        self.rinse.tau_s(faults, now_s)
    }

    /// The node's clock less the true time at `now_s`, s.
    #[must_use]
    pub fn clock_error_s(faults: &[Fault], now_s: f64) -> f64 {
        let mut error_s = 0.0;
        for fault in faults.iter().filter(|fault| fault.holds(now_s)) {
            if let FaultKind::ClockStep { by_s } = fault.kind {
                error_s += by_s;
            }
        }
        error_s
    }

    /// Advances by one step to `now_s`; what leaves the node is pushed to `out`.
    pub fn step(&mut self, now_s: f64, machine: &Machine, out: &mut Vec<Emission>) {
        let faults = machine.faults();
        let tank = machine.plant().tank();
        let (wet, air_c) = (tank.probe_wet(), machine.plant().hood_c());
        self.wash.step(STEP_S, self.wash.tau_s(faults, now_s), tank.water_c(), air_c, wet);
        let tau_s = self.rinse.tau_s(faults, now_s);
        let rinse_wet = match machine.facts().rinse_from {
            RinseFrom::FreshLine => 1.0,
            RinseFrom::Sump => wet,
        };
        self.rinse.step(STEP_S, tau_s, machine.rinse_water_c(), air_c, rinse_wet);
        while self.next_s <= now_s {
            self.sample(now_s, machine);
        }
        self.say_running(now_s, machine);
        let buffering = faults.iter().any(|fault| fault.kind == FaultKind::Buffering && fault.holds(now_s));
        if !buffering {
            let at_micros = self.start_micros + micros(now_s);
            for mut emission in self.kept.drain(..self.kept.len().min(BURST_PER_STEP)) {
                emission.at_micros = at_micros;
                out.push(emission);
            }
        }
    }

    /// Hands over whatever is still kept.
    pub fn flush(&mut self, now_s: f64, out: &mut Vec<Emission>) {
        let at_micros = self.start_micros + micros(now_s);
        out.extend(self.kept.drain(..).map(|emission| Emission { at_micros, ..emission }));
    }

    /// The node's clock at `now_s`, µs of Unix time.
    fn clock_micros(&self, faults: &[Fault], now_s: f64) -> i64 {
        self.start_micros + micros(now_s + Self::clock_error_s(faults, now_s))
    }

    fn sample(&mut self, now_s: f64, machine: &Machine) {
        let at_s = self.next_s;
        self.samples += 1;
        let jitter_s = self.dice.gauss(0.0, SAMPLING_JITTER_S);
        self.next_s = 0.02 + self.samples as f64 / self.readings_per_s + jitter_s;
        let faults = machine.faults();
        let into_step = (1.0 - (now_s - at_s) / STEP_S).clamp(0.0, 1.0);
        let wash = self.wash.read(into_step, at_s, self.readings_per_s, faults);
        let mut rinse = self.rinse.read(into_step, at_s, self.readings_per_s, faults);
        if self.drops_out(at_s, faults) {
            return;
        }
        let stuck = faults
            .iter()
            .any(|fault| fault.holds(at_s) && fault.kind == FaultKind::Stuck { place: Place::Rinse });
        match rinse {
            Sample::Celsius(value_c) if value_c.is_finite() && !stuck => self.rinse_heard_s = at_s,
            Sample::Celsius(value_c) if !value_c.is_finite() => rinse = Sample::Missing,
            Sample::Celsius(_) | Sample::OpenCircuit | Sample::Missing => {}
        }
        let records: Vec<Record> = [("wash", wash), ("rinse", rinse)]
            .into_iter()
            .filter_map(|(name, sample)| Record::temperature(name, sample))
            .collect();
        self.keep(at_s, faults, records);
    }

    fn drops_out(&mut self, at_s: f64, faults: &[Fault]) -> bool {
        for fault in faults.iter().filter(|fault| fault.holds(at_s)) {
            if let FaultKind::Dropouts { per_minute, mean_s } = fault.kind
                && at_s >= self.dropout_until_s
                && self.dice.chance(per_minute / (60.0 * self.readings_per_s))
            {
                self.dropout_until_s = at_s + self.dice.exponential(mean_s);
            }
        }
        at_s < self.dropout_until_s
    }

    fn say_running(&mut self, now_s: f64, machine: &Machine) {
        if !machine.facts().has_run_signal {
            return;
        }
        let running = machine.is_running();
        if self.running != Some(running) || now_s - self.running_said_s >= RUN_SIGNAL_EVERY_S {
            self.running = Some(running);
            self.running_said_s = now_s;
            let record = Record { name: "running", unit: None, value: RecordValue::Boolean(running) };
            self.keep(now_s, machine.faults(), vec![record]);
        }
    }

    /// Sends what somebody read off a test strip and typed in.
    pub fn say_check(&mut self, now_s: f64, faults: &[Fault], mg_per_l: f64, ph: Option<f64>) {
        let mut records = Vec::new();
        if let Some(ph) = ph {
            records.push(Record { name: "ph", unit: Some("pH"), value: RecordValue::Number(ph) });
        }
        let value = RecordValue::Number(mg_per_l);
        records.push(Record { name: "sanitizer", unit: Some("mg/L"), value });
        self.keep(now_s, faults, records);
    }

    fn keep(&mut self, at_s: f64, faults: &[Fault], records: Vec<Record>) {
        if records.is_empty() {
            return;
        }
        self.kept.push_back(Emission {
            at_micros: 0,
            machine: self.index,
            base_name: self.base_name.clone(),
            time_micros: self.clock_micros(faults, at_s),
            records,
        });
    }
}
