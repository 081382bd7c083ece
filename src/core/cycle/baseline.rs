//! The idle line's trend, and the departure from it that a flow makes.
//!
//! An idle line follows Newtonian cooling; over the few seconds that matter
//! that is a straight line, tracked by double exponential smoothing (Holt,
//! in NIST/SEMATECH e-Handbook §6.4.3.3) with time constants, so that any
//! sampling rate gives the same answer. What departs is found by a two-sided
//! CUSUM on the residual in units of its standard deviation (tabular form,
//! NIST/SEMATECH e-Handbook §6.3.2.3): a flow may warm the line or cool it.

use serde::{Deserialize, Serialize};

use crate::core::time::Timestamp;

/// Time constant of the level, s (own choice: a few readings at 1 Hz).
const LEVEL_TAU_S: f64 = 4.0;
/// Time constant of the slope, s (own choice: well below the minutes of a pipe's cooling).
const SLOPE_TAU_S: f64 = 15.0;
/// Steepest trend of an idle line, °C/s. Hotter water than 90 °C in a line at
/// 20 °C that cools within two minutes would be this fast.
const SLOPE_MAX_C_PER_S: f64 = 0.6;
/// Least standard deviation of the residual, °C: the digits of a good converter.
const SIGMA_MIN_C: f64 = 0.05;
/// Time constant of the residual's variance, s.
const SIGMA_TAU_S: f64 = 30.0;
/// CUSUM reference value, in standard deviations.
const CUSUM_K: f64 = 1.5;
/// CUSUM decision value, in standard deviations. Far above the usual 5, since
/// a false alarm costs a look at the trace and the true ones are huge.
const CUSUM_H: f64 = 12.0;
/// Largest step of the CUSUM from one reading, so that one odd reading alone is no alarm.
const CUSUM_STEP_MAX: f64 = 8.0;

/// A trend is believed after this long, s: an alarm before it would be about the start, not the line.
const WARM_UP_S: f64 = 6.0;

/// Level, trend and noise of a quiet line.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize)]
pub struct Baseline {
    #[serde(with = "crate::core::time::micros")]
    at: Timestamp,
    level: f64,
    slope: f64,
    variance: f64,
    seen_s: f64,
    up: f64,
    down: f64,
    #[serde(with = "crate::core::time::micros")]
    quiet_at: Timestamp,
    quiet_level: f64,
    quiet_slope: f64,
}

/// The line left its trend.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize)]
pub struct Departure {
    /// The last instant that still fitted the trend.
    #[serde(with = "crate::core::time::micros")]
    pub at: Timestamp,
    /// The line's temperature then, °C.
    pub level: f64,
    /// Its trend then, °C/s.
    pub slope: f64,
}

impl Departure {
    /// Where the line would be at `at` had it stayed idle, °C.
    #[must_use]
    pub fn idle_at(&self, at: Timestamp) -> f64 {
        // The trend is trusted for half a minute; beyond it the line is held.
        self.level + self.slope * at.seconds_since(self.at).clamp(0.0, 30.0)
    }
}

impl Baseline {
    /// Starts at a reading.
    #[must_use]
    pub const fn new(at: Timestamp, celsius: f64) -> Self {
        Self {
            at,
            level: celsius,
            slope: 0.0,
            variance: SIGMA_MIN_C * SIGMA_MIN_C,
            seen_s: 0.0,
            up: 0.0,
            down: 0.0,
            quiet_at: at,
            quiet_level: celsius,
            quiet_slope: 0.0,
        }
    }

    /// Goes on from a line at rest whose trend is known, °C/s.
    #[must_use]
    pub const fn resting(at: Timestamp, celsius: f64, slope: f64) -> Self {
        let mut baseline = Self::new(at, celsius);
        baseline.slope = slope;
        baseline.quiet_slope = slope;
        baseline.seen_s = WARM_UP_S;
        baseline
    }

    /// The same with the noise that the readings are known to have, °C.
    #[must_use]
    pub const fn with_sigma(mut self, sigma: f64) -> Self {
        self.variance = sigma * sigma;
        self
    }

    /// Takes a reading; tells when the line has left its trend.
    pub fn push(&mut self, at: Timestamp, celsius: f64) -> Option<Departure> {
        let dt = at.seconds_since(self.at);
        if dt <= 0.0 {
            return None;
        }
        let predicted = self.level + self.slope * dt;
        let residual = celsius - predicted;
        let sigma = self.sigma();
        let step = (residual / sigma).clamp(-CUSUM_STEP_MAX, CUSUM_STEP_MAX);
        self.up = (self.up + step - CUSUM_K).max(0.0);
        self.down = (self.down - step - CUSUM_K).max(0.0);
        self.follow(at, dt, predicted, residual, sigma);
        if self.seen_s < WARM_UP_S {
            self.up = 0.0;
            self.down = 0.0;
        }
        if self.up <= 0.0 && self.down <= 0.0 {
            self.quiet_at = at;
            self.quiet_level = self.level;
            self.quiet_slope = self.slope;
        }
        if self.up <= CUSUM_H && self.down <= CUSUM_H {
            return None;
        }
        let departure = Departure { at: self.quiet_at, level: self.quiet_level, slope: self.quiet_slope };
        self.up = 0.0;
        self.down = 0.0;
        Some(departure)
    }

    /// Standard deviation of the residual, °C.
    #[must_use]
    pub fn sigma(&self) -> f64 {
        self.variance.sqrt().max(SIGMA_MIN_C)
    }

    fn follow(&mut self, at: Timestamp, dt: f64, predicted: f64, residual: f64, sigma: f64) {
        let before = self.level;
        // While young, the plain mean converges faster than a fixed time constant.
        self.seen_s += dt;
        let level_gain = gain(dt, LEVEL_TAU_S.min(self.seen_s));
        self.level = predicted + level_gain * residual;
        let slope_gain = gain(dt, SLOPE_TAU_S.min(self.seen_s));
        let trend = (self.level - before) / dt;
        let slope = self.slope + slope_gain * (trend - self.slope);
        self.slope = slope.clamp(-SLOPE_MAX_C_PER_S, SLOPE_MAX_C_PER_S);
        let young = self.seen_s < WARM_UP_S;
        let bounded = if young { residual } else { residual.abs().min(4.0 * sigma) };
        let sigma_gain = gain(dt, SIGMA_TAU_S.min(self.seen_s));
        self.variance += sigma_gain * (bounded * bounded - self.variance);
        self.at = at;
    }
}

/// Weight of a new value after `dt` for an exponential average of time constant `tau`.
fn gain(dt: f64, tau: f64) -> f64 {
    dt / (tau + dt)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Runs `celsius(t)` at 4 Hz for `seconds`; gives the first departure.
    fn run(seconds: f64, celsius: impl Fn(f64) -> f64) -> Option<(f64, Departure)> {
        let mut baseline = Baseline::new(Timestamp::from_micros(0), celsius(0.0));
        (1..).map(|i| f64::from(i) * 0.25).take_while(|t| *t < seconds).find_map(|t| {
            let at = Timestamp::from_seconds(t).expect("a small number of seconds");
            baseline.push(at, celsius(t)).map(|departure| (t, departure))
        })
    }

    // Newton's law of cooling, 84 °C to an ambient of 30 °C with 500 s; the flow is a
    // first-order response (tau 2 s) towards hotter or colder water.
    #[test]
    fn a_flow_departs_in_either_direction_and_cooling_does_not() {
        let cooling = |t: f64| 30.0 + 54.0 * (-t / 500.0).exp();
        assert_eq!(run(600.0, cooling), None, "an idle line");
        for water in [84.0, 50.0] {
            let flow = |t: f64| {
                let idle = cooling(t);
                if t < 60.0 { idle } else { water + (cooling(60.0) - water) * (-(t - 60.0) / 2.0).exp() }
            };
            let (found, departure) = run(80.0, flow).expect("a departure");
            assert!((60.0..62.0).contains(&found), "water {water}: found at {found}");
            let onset = departure.at.seconds();
            assert!((59.0..=60.5).contains(&onset), "water {water}: onset {onset}");
        }
    }
}
