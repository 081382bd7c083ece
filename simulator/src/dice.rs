//! Reproducible chance. One generator per concern, so that a change in one does not shift another.

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};

/// A source of chance that depends on nothing but its seed and its stream.
#[derive(Clone, Debug)]
pub struct Dice {
    generator: ChaCha8Rng,
}

impl Dice {
    /// The dice of one `stream` of a `seed`.
    #[must_use]
    pub fn new(seed: u64, stream: u64) -> Self {
        let mut generator = ChaCha8Rng::seed_from_u64(seed);
        generator.set_stream(stream);
        Self { generator }
    }

    /// A number in [0, 1).
    pub fn unit(&mut self) -> f64 {
        // 53 bits: every such number is a double.
        (self.generator.next_u64() >> 11) as f64 * (1.0 / 9_007_199_254_740_992.0)
    }

    /// A number in [low, high).
    pub fn uniform(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// True with the probability given.
    pub fn chance(&mut self, probability: f64) -> bool {
        self.unit() < probability
    }

    /// A standard normal number, by the Box–Muller transform (1958).
    pub fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.unit()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.unit()).cos()
    }

    /// A normal number of this mean and standard deviation, held inside three deviations.
    pub fn gauss(&mut self, mean: f64, deviation: f64) -> f64 {
        mean + deviation * self.normal().clamp(-3.0, 3.0)
    }

    /// An exponential number of this mean: the time to the next event of a Poisson process.
    pub fn exponential(&mut self, mean: f64) -> f64 {
        -mean * (1.0 - self.unit()).ln()
    }

    /// A whole number in low..=high.
    pub fn whole(&mut self, low: u32, high: u32) -> u32 {
        low + u32::try_from(self.generator.next_u64() % u64::from(high - low + 1)).unwrap_or(0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn moments_are_those_of_the_distributions() {
        // Mean 0 and variance 1; mean of an exponential: any textbook of statistics.
        let mut dice = Dice::new(7, 0);
        let normal: Vec<f64> = (0..100_000).map(|_| dice.normal()).collect();
        let mean = normal.iter().sum::<f64>() / 1e5;
        let variance = normal.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / 1e5;
        assert!(mean.abs() < 0.02 && (variance - 1.0).abs() < 0.02, "{mean} {variance}");
        let mean = (0..100_000).map(|_| dice.exponential(60.0)).sum::<f64>() / 1e5;
        assert!((mean - 60.0).abs() < 1.0, "{mean}");
    }
}
