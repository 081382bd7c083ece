//! A thermocouple in its well: it answers late, its reading is noisy and comes in steps; and what a
//! faulty one does.

use crate::dice::Dice;
use crate::fault::{Fault, FaultKind, Place};

/// Character of a probe.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct ProbeSpec {
    /// Time constant in moving water, s.
    pub tau_s: f64,
    /// Time constant of a second lag, such as a thermowell, s; 0 for none.
    pub second_tau_s: f64,
    /// Standard deviation of one reading, K.
    pub noise_c: f64,
    /// Step of the readings, K.
    pub quantum_c: f64,
    /// Constant error, K.
    pub offset_c: f64,
}

impl Default for ProbeSpec {
    fn default() -> Self {
        Self { tau_s: 1.5, second_tau_s: 0.0, noise_c: 0.05, quantum_c: 0.0625, offset_c: 0.0 }
    }
}

/// How much slower a bare probe is in air than in water (own choice; handbooks give 10 to 100).
const AIR_SLOWNESS: f64 = 12.0;

/// One delivered reading.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Sample {
    /// A temperature, °C.
    Celsius(f64),
    /// The node found the circuit open.
    OpenCircuit,
    /// Nothing was delivered.
    Missing,
}

/// A probe.
#[derive(Clone, Debug)]
pub struct Probe {
    spec: ProbeSpec,
    place: Place,
    first_c: f64,
    tip_c: f64,
    before_c: f64,
    held_c: Option<f64>,
    spike_c: f64,
    spike_left: u32,
    dice: Dice,
}

impl Probe {
    /// A probe that has taken the temperature around it.
    #[must_use]
    pub fn new(spec: ProbeSpec, place: Place, at_c: f64, dice: Dice) -> Self {
        Self {
            spec,
            place,
            first_c: at_c,
            tip_c: at_c,
            before_c: at_c,
            held_c: None,
            spike_c: 0.0,
            spike_left: 0,
            dice,
        }
    }

    /// Time constant at `now_s`, s.
    #[must_use]
    pub fn tau_s(&self, faults: &[Fault], now_s: f64) -> f64 {
        if self.place == Place::Rinse {
            for fault in faults.iter().filter(|fault| fault.holds(now_s)) {
                if let FaultKind::SlowProbe { tau_s } = fault.kind {
                    return tau_s;
                }
            }
        }
        self.spec.tau_s
    }

    /// Advances by `dt_s` in water of `water_c`, of which it is in touch with the part `wet`, the
    /// rest being air of `air_c`.
    pub fn step(&mut self, dt_s: f64, tau_s: f64, water_c: f64, air_c: f64, wet: f64) {
        let around_c = wet * water_c + (1.0 - wet) * air_c;
        let tau_s = tau_s * (1.0 + (1.0 - wet) * AIR_SLOWNESS);
        self.before_c = self.tip_c;
        // Backward Euler: stable for every time constant, exact to dt/tau.
        if self.spec.second_tau_s > 0.0 {
            self.first_c += (around_c - self.first_c) * dt_s / (self.spec.second_tau_s + dt_s);
        } else {
            self.first_c = around_c;
        }
        self.tip_c += (self.first_c - self.tip_c) * dt_s / (tau_s + dt_s);
    }

    /// The reading at the part `into_step` of the step just taken.
    pub fn read(&mut self, into_step: f64, now_s: f64, readings_per_s: f64, faults: &[Fault]) -> Sample {
        let true_c = self.before_c + (self.tip_c - self.before_c) * into_step;
        let noisy_c = true_c + self.spec.offset_c + self.dice.gauss(0.0, self.spec.noise_c);
        let mut value_c = self.quantised(noisy_c);
        let holding = |kind: FaultKind| faults.iter().any(|fault| fault.kind == kind && fault.holds(now_s));
        if holding(FaultKind::OpenCircuit { place: self.place }) {
            return Sample::OpenCircuit;
        }
        if holding(FaultKind::Silent { place: self.place }) {
            return Sample::Missing;
        }
        if holding(FaultKind::Stuck { place: self.place }) {
            value_c = *self.held_c.get_or_insert(value_c);
        } else {
            self.held_c = None;
        }
        for fault in faults.iter().filter(|fault| fault.holds(now_s)) {
            if let FaultKind::Spikes { place, per_minute } = fault.kind
                && place == self.place
            {
                let error_c = self.spike(per_minute / (60.0 * readings_per_s));
                value_c = self.quantised(value_c + error_c);
            }
        }
        Sample::Celsius(value_c)
    }

    /// The error of this reading if it belongs to a spike, which begins with `probability`.
    fn spike(&mut self, probability: f64) -> f64 {
        if self.spike_left == 0 && self.dice.chance(probability) {
            self.spike_left = self.dice.whole(1, 2);
            let size_c = self.dice.uniform(8.0, 150.0);
            self.spike_c = if self.dice.chance(0.5) { size_c } else { -size_c };
        }
        if self.spike_left == 0 {
            return 0.0;
        }
        self.spike_left -= 1;
        self.spike_c
    }

    fn quantised(&self, value_c: f64) -> f64 {
        (value_c / self.spec.quantum_c).round() * self.spec.quantum_c
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_step_is_answered_to_63_percent_after_tau() {
        // First-order lag: 1 - 1/e after one time constant (any textbook of control).
        let mut probe = Probe::new(ProbeSpec::default(), Place::Rinse, 20.0, Dice::new(1, 1));
        for _ in 0..30 {
            probe.step(0.05, 1.5, 100.0, 20.0, 1.0);
        }
        assert!((probe.tip_c - (20.0 + 80.0 * 0.632)).abs() < 1.0, "{}", probe.tip_c);
    }
}
