//! Control charts: whether a series of values has left the level that was usual.
//!
//! Two charts of ISO 7870, with the formulas as printed in the NIST/SEMATECH
//! e-Handbook of Statistical Methods: the exponentially weighted moving average
//! (ISO 7870-6; §6.3.2.4) and the tabular cumulative sum (ISO 7870-4; §6.3.2.3).
//! Both stand on a mean and a standard deviation that a [`Baseline`] learns from
//! moving ranges (individuals chart, ISO 7870-2; §6.3.2.2).
//!
//! The charts assume values that do not depend on one another. Minima of
//! consecutive rinses do, a little, so a signal is a reason to look, never a
//! verdict.

use serde::{Deserialize, Serialize};

/// What was usual: mean and standard deviation.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize)]
pub struct Usual {
    /// Mean.
    pub mean: f64,
    /// Standard deviation, above zero.
    pub sigma: f64,
}

/// Mean moving range of two values over the standard deviation: d2 for samples
/// of two (NIST/SEMATECH e-Handbook §6.3.2.2; ISO 7870-2).
const D2: f64 = 1.128;

/// Learns what is usual from the first values of a series.
#[derive(Clone, Copy, PartialEq, Debug, Default, Serialize, Deserialize)]
pub struct Baseline {
    count: u32,
    sum: f64,
    ranges: f64,
    last: f64,
}

impl Baseline {
    /// Takes one value.
    pub fn push(&mut self, value: f64) {
        if self.count > 0 {
            self.ranges += (value - self.last).abs();
        }
        self.count += 1;
        self.sum += value;
        self.last = value;
    }

    /// How many values it has taken.
    #[must_use]
    pub const fn count(&self) -> u32 {
        self.count
    }

    /// Mean, and standard deviation from the mean moving range but at least `sigma_min`; `None` below two values.
    #[must_use]
    pub fn usual(&self, sigma_min: f64) -> Option<Usual> {
        if self.count < 2 {
            return None;
        }
        let range = self.ranges / f64::from(self.count - 1);
        Some(Usual { mean: self.sum / f64::from(self.count), sigma: (range / D2).max(sigma_min) })
    }
}

/// Exponentially weighted moving average: `z = λ·x + (1 − λ)·z`, begun at the mean.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize)]
pub struct Ewma {
    lambda: f64,
    width: f64,
    usual: Usual,
    value: f64,
    count: u32,
}

impl Ewma {
    /// Begins a chart with weight `lambda` (0 to 1) and limits of `width` standard deviations of the average.
    #[must_use]
    pub const fn new(usual: Usual, lambda: f64, width: f64) -> Self {
        Self { lambda, width, usual, value: usual.mean, count: 0 }
    }

    /// Takes one value and gives the average.
    pub fn push(&mut self, value: f64) -> f64 {
        self.value = self.lambda * value + (1.0 - self.lambda) * self.value;
        self.count = self.count.saturating_add(1);
        self.value
    }

    /// The average.
    #[must_use]
    pub const fn value(&self) -> f64 {
        self.value
    }

    /// Half width of the limits at this value: exact for the count so far, which
    /// matters for the first ones only.
    #[must_use]
    pub fn half_width(&self) -> f64 {
        let begun = 1.0 - libm::pow(1.0 - self.lambda, 2.0 * f64::from(self.count));
        self.width * self.usual.sigma * libm::sqrt(self.lambda / (2.0 - self.lambda) * begun)
    }

    /// What it holds for usual.
    #[must_use]
    pub const fn usual(&self) -> Usual {
        self.usual
    }

    /// Average less the mean.
    #[must_use]
    pub fn shift(&self) -> f64 {
        self.value - self.usual.mean
    }

    /// The limit on the side to which the average has moved.
    #[must_use]
    pub fn limit(&self) -> f64 {
        self.usual.mean + self.half_width().copysign(self.shift())
    }

    /// Whether the average is outside its limits.
    #[must_use]
    pub fn signals(&self) -> bool {
        self.shift().abs() > self.half_width()
    }
}

/// Tabular cumulative sum on both sides, in standard deviations.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize)]
pub struct Cusum {
    slack: f64,
    decision: f64,
    usual: Usual,
    high: f64,
    low: f64,
}

impl Cusum {
    /// Begins both sums at zero, with slack `k` and decision interval `h`.
    #[must_use]
    pub const fn new(usual: Usual, slack: f64, decision: f64) -> Self {
        Self { slack, decision, usual, high: 0.0, low: 0.0 }
    }

    /// Takes one value.
    pub fn push(&mut self, value: f64) {
        let z = (value - self.usual.mean) / self.usual.sigma;
        self.high = (self.high + z - self.slack).max(0.0);
        self.low = (self.low - z - self.slack).max(0.0);
    }

    /// The sum above the mean.
    #[must_use]
    pub const fn high(&self) -> f64 {
        self.high
    }

    /// The sum below the mean.
    #[must_use]
    pub const fn low(&self) -> f64 {
        self.low
    }

    /// Puts both sums back to zero.
    pub const fn restart(&mut self) {
        self.high = 0.0;
        self.low = 0.0;
    }

    /// Whether one of the sums is beyond the decision interval.
    #[must_use]
    pub fn signals(&self) -> bool {
        self.high > self.decision || self.low > self.decision
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A series that drifts down from 84 °C; the figures below were computed
    /// from it with the formulas of the NIST/SEMATECH e-Handbook (§6.3.2.2 to
    /// §6.3.2.4), apart from this program.
    const SERIES: [f64; 10] = [84.1, 83.8, 84.3, 83.6, 83.2, 82.9, 83.1, 82.6, 82.4, 82.5];
    const USUAL: Usual = Usual { mean: 84.0, sigma: 0.5 };

    fn near(found: f64, expected: f64, what: &str) {
        assert!((found - expected).abs() < 1e-6, "{what}: {found}, not {expected}");
    }

    #[test]
    fn the_moving_average_is_that_of_the_handbook() {
        let expected = [
            84.02,
            83.976,
            84.0408,
            83.952_64,
            83.802_112,
            83.621_689_6,
            83.517_351_68,
            83.333_881_344,
            83.147_105_075_2,
            83.017_684_060_16,
        ];
        let mut chart = Ewma::new(USUAL, 0.2, 3.0);
        let mut first = None;
        for (point, (value, expected)) in SERIES.into_iter().zip(expected).enumerate() {
            near(chart.push(value), expected, "average");
            if chart.signals() && first.is_none() {
                first = Some(point + 1);
            }
        }
        assert_eq!(first, Some(8), "the first signal");
    }

    #[test]
    fn the_limits_widen_to_their_asymptote() {
        let mut chart = Ewma::new(Usual { mean: 0.0, sigma: 1.0 }, 0.2, 3.0);
        for expected in [0.6000, 0.7684, 0.8590] {
            chart.push(0.0);
            assert!((chart.half_width() - expected).abs() < 5e-5, "{}, not {expected}", chart.half_width());
        }
        for _ in 0..200 {
            chart.push(0.0);
        }
        near(chart.half_width(), 1.0, "half width in the limit");
    }

    #[test]
    fn the_sums_are_those_of_the_handbook() {
        let expected = [0.0, 0.0, 0.0, 0.3, 1.4, 3.1, 4.4, 6.7, 9.4, 11.9];
        for (decision, first_expected) in [(4.0, 7), (5.0, 8)] {
            let mut chart = Cusum::new(USUAL, 0.5, decision);
            let mut first = None;
            for (point, (value, expected)) in SERIES.into_iter().zip(expected).enumerate() {
                chart.push(value);
                near(chart.low(), expected, "sum below");
                if chart.signals() && first.is_none() {
                    first = Some(point + 1);
                }
            }
            assert_eq!(first, Some(first_expected), "h = {decision}");
            chart.restart();
            assert!(!chart.signals());
        }
    }

    // Mean 83.25, mean moving range 0.35556, sigma = that / 1.128.
    #[test]
    fn what_is_usual_comes_from_moving_ranges() {
        let mut baseline = Baseline::default();
        assert_eq!(baseline.usual(0.1), None);
        for value in SERIES {
            baseline.push(value);
        }
        let usual = baseline.usual(0.1).expect("ten values");
        near(usual.mean, 83.25, "mean");
        assert!((usual.sigma - 0.355_56 / 1.128).abs() < 1e-5, "{usual:?}");
        near(baseline.usual(0.7).expect("ten values").sigma, 0.7, "the least sigma");
    }
}
