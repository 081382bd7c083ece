//! The hot supply of the building: a mean, a daily swing, a slow wander.

use crate::dice::Dice;

/// Character of a hot supply.
#[derive(Clone, Copy, Debug)]
pub struct SupplySpec {
    /// Mean temperature, °C.
    pub mean_c: f64,
    /// Half of the daily swing, K: warmest at night, coldest in the evening when the building draws.
    pub daily_c: f64,
    /// Standard deviation of the slow wander, K.
    pub wander_c: f64,
}

/// A hot supply.
#[derive(Clone, Debug)]
pub struct Supply {
    spec: SupplySpec,
    dice: Dice,
    wander_c: f64,
    current_c: f64,
    since_update_s: f64,
}

/// How fast the wander forgets, s.
const WANDER_TAU_S: f64 = 1_800.0;

impl Supply {
    /// A supply with its own dice.
    #[must_use]
    pub fn new(spec: SupplySpec, mut dice: Dice) -> Self {
        let wander_c = dice.gauss(0.0, spec.wander_c);
        Self { spec, dice, wander_c, current_c: spec.mean_c + wander_c, since_update_s: 1.0 }
    }

    /// Temperature by the last step, °C.
    #[must_use]
    pub fn current_c(&self) -> f64 {
        self.current_c
    }

    /// Advances by `dt_s` to `clock_s` seconds after midnight; returns the temperature. Chance and
    /// swing are worked out once a second, for they take minutes to matter.
    pub fn step(&mut self, dt_s: f64, clock_s: f64) -> f64 {
        self.since_update_s += dt_s;
        if self.since_update_s >= 1.0 {
            let decay = self.since_update_s / WANDER_TAU_S;
            let kick = self.spec.wander_c * (2.0 * decay).sqrt();
            self.wander_c += -self.wander_c * decay + kick * self.dice.normal();
            let day = std::f64::consts::TAU * (clock_s / 86_400.0 - 4.0 / 24.0);
            self.current_c = self.spec.mean_c + self.spec.daily_c * day.cos() + self.wander_c;
            self.since_update_s = 0.0;
        }
        self.current_c
    }
}
