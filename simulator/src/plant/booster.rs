//! The booster heater of the final rinse: layers of water, an element at the bottom, a thermostat.

use super::{Audit, WATER_J_PER_KG_K};

/// Measures of a booster heater.
#[derive(Clone, Debug)]
pub struct BoosterSpec {
    /// Water it holds, kg.
    pub water_kg: f64,
    /// Layers from bottom to top; 1 is a mixed tank.
    pub layers: usize,
    /// Power of its element, W.
    pub heater_w: f64,
    /// Temperature at which the thermostat switches off, °C.
    pub set_c: f64,
    /// How far below the set point it switches on, K.
    pub hysteresis_c: f64,
    /// Standing loss to the machine body, W/K.
    pub loss_w_per_k: f64,
}

/// A booster heater.
#[derive(Clone, Debug)]
pub struct Booster {
    spec: BoosterSpec,
    layers_c: Vec<f64>,
    heating: bool,
}

/// What is done to a booster in one step.
#[derive(Clone, Copy, Debug)]
pub struct BoosterDrive {
    /// Whether the machine is switched on.
    pub power: bool,
    /// Part of the element that works: 1 sound, 0 dead.
    pub strength: f64,
    /// Shift of the thermostat, K.
    pub set_shift_c: f64,
    /// Water drawn, kg/s.
    pub flow_kg_per_s: f64,
    /// Temperature of the supply, °C.
    pub supply_c: f64,
    /// Temperature around the booster, °C.
    pub ambient_c: f64,
}

impl Booster {
    /// A full booster at one temperature.
    #[must_use]
    pub fn new(spec: BoosterSpec, at_c: f64) -> Self {
        let layers_c = vec![at_c; spec.layers.max(1)];
        Self { spec, layers_c, heating: false }
    }

    /// Temperature of the water at the outlet, °C.
    #[must_use]
    pub fn outlet_c(&self) -> f64 {
        self.layers_c.last().copied().unwrap_or(f64::NAN)
    }

    /// Advances by `dt_s`. Returns the temperature of the water that left.
    pub fn step(&mut self, dt_s: f64, drive: &BoosterDrive, audit: &mut Audit) -> f64 {
        let count = self.layers_c.len();
        let layer_kg = self.spec.water_kg / count as f64;
        let layer_j_per_k = layer_kg * WATER_J_PER_KG_K;
        // The bulb sits half-way up, as it must feel cold water before it reaches the outlet.
        let felt_c = self.layers_c.get(count / 2).copied().unwrap_or(f64::NAN);
        let set_c = self.spec.set_c + drive.set_shift_c;
        if felt_c >= set_c {
            self.heating = false;
        } else if felt_c < set_c - self.spec.hysteresis_c {
            self.heating = true;
        }
        let heater_j =
            if drive.power && self.heating { self.spec.heater_w * drive.strength * dt_s } else { 0.0 };
        let heated = count.div_ceil(2);
        let leaving_c = self.outlet_c();
        let replaced = (drive.flow_kg_per_s * dt_s / layer_kg).min(1.0);
        let mut below_c = drive.supply_c;
        for (index, layer) in self.layers_c.iter_mut().enumerate() {
            let before = *layer;
            let lost_j = self.spec.loss_w_per_k / count as f64 * (before - drive.ambient_c) * dt_s;
            let gained_j = if index < heated { heater_j / heated as f64 } else { 0.0 };
            *layer += replaced * (below_c - before) + (gained_j - lost_j) / layer_j_per_k;
            audit.out_j += lost_j;
            below_c = before;
        }
        audit.in_j += heater_j;
        self.overturn();
        leaving_c
    }

    /// Warmer water under colder rises: the two layers mix.
    fn overturn(&mut self) {
        for lower in 0..self.layers_c.len().saturating_sub(1) {
            if let [a, b] = &mut self.layers_c[lower..=lower + 1]
                && *a > *b
            {
                let mean = (*a + *b) / 2.0;
                (*a, *b) = (mean, mean);
            }
        }
    }

    /// Heat stored above 0 °C, J.
    #[must_use]
    pub fn stored_j(&self) -> f64 {
        self.layers_c.iter().sum::<f64>() * self.spec.water_kg / self.layers_c.len() as f64 * WATER_J_PER_KG_K
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_recovers_in_the_time_its_power_allows() {
        // m c ΔT / P: 12 kg from 57 to 85 °C with 12 kW takes 117 s.
        let spec = BoosterSpec {
            water_kg: 12.0,
            layers: 4,
            heater_w: 12_000.0,
            set_c: 85.0,
            hysteresis_c: 1.5,
            loss_w_per_k: 1.5,
        };
        let mut booster = Booster::new(spec, 57.0);
        let drive = BoosterDrive {
            power: true,
            strength: 1.0,
            set_shift_c: 0.0,
            flow_kg_per_s: 0.0,
            supply_c: 57.0,
            ambient_c: 40.0,
        };
        let mut seconds = 0.0;
        while booster.outlet_c() < 84.5 {
            let _left = booster.step(0.05, &drive, &mut Audit::default());
            seconds += 0.05;
        }
        assert!((110.0..125.0).contains(&seconds), "{seconds}");
    }
}
