//! The wash tank, or the sump of a machine that dumps and refills.

use super::{Audit, WATER_J_PER_KG_K};

/// Measures of a tank.
#[derive(Clone, Debug)]
pub struct TankSpec {
    /// Water up to the overflow, kg.
    pub capacity_kg: f64,
    /// Heat capacity of its walls, J/K.
    pub wall_j_per_k: f64,
    /// Power of its heater, W; 0 for none.
    pub heater_w: f64,
    /// Temperature at which the thermostat switches off, °C.
    pub set_c: f64,
    /// How far below the set point it switches on, K.
    pub hysteresis_c: f64,
    /// Loss at rest, W/K.
    pub loss_w_per_k: f64,
    /// Further loss by spray and steam while the pump runs, W/K.
    pub spray_loss_w_per_k: f64,
    /// Heat the pump puts into the water, W.
    pub pump_w: f64,
    /// Outflow with the drain open, kg/s.
    pub drain_kg_per_s: f64,
    /// Water at which the probe is just covered, kg.
    pub probe_covered_kg: f64,
}

/// A tank of mixed water.
#[derive(Clone, Debug)]
pub struct Tank {
    spec: TankSpec,
    water_kg: f64,
    water_c: f64,
    heating: bool,
}

/// What is done to a tank in one step.
#[derive(Clone, Copy, Debug)]
pub struct TankDrive {
    /// Whether the machine is switched on.
    pub power: bool,
    /// Part of the heater that works.
    pub strength: f64,
    /// Whether the wash pump runs.
    pub pump: bool,
    /// Whether the drain is open.
    pub drain: bool,
    /// Water coming in, kg/s.
    pub inflow_kg_per_s: f64,
    /// Its temperature, °C.
    pub inflow_c: f64,
    /// Heat taken by the ware, W.
    pub ware_w: f64,
    /// Temperature around the tank, °C.
    pub ambient_c: f64,
}

impl Tank {
    /// A tank holding `water_kg` at `water_c`.
    #[must_use]
    pub fn new(spec: TankSpec, water_kg: f64, water_c: f64) -> Self {
        Self { spec, water_kg, water_c, heating: false }
    }

    /// Temperature of the water, °C.
    #[must_use]
    pub fn water_c(&self) -> f64 {
        self.water_c
    }

    /// Water in the tank, kg.
    #[must_use]
    pub fn water_kg(&self) -> f64 {
        self.water_kg
    }

    /// Part of the probe that is under water, 0 to 1.
    #[must_use]
    pub fn probe_wet(&self) -> f64 {
        (self.water_kg / self.spec.probe_covered_kg).min(1.0)
    }

    /// Whether the water stands at the overflow.
    #[must_use]
    pub fn is_full(&self) -> bool {
        self.water_kg >= self.spec.capacity_kg - 1e-9
    }

    /// Temperature at which the heater switches off; `None` without a heater.
    #[must_use]
    pub fn set_c(&self) -> Option<f64> {
        (self.spec.heater_w > 0.0).then_some(self.spec.set_c)
    }

    /// Advances by `dt_s`.
    pub fn step(&mut self, dt_s: f64, drive: &TankDrive, audit: &mut Audit) {
        let spec = &self.spec;
        if self.water_c >= spec.set_c {
            self.heating = false;
        } else if self.water_c < spec.set_c - spec.hysteresis_c {
            self.heating = true;
        }
        // The low-water cut-out keeps a dry element off.
        let covered = self.water_kg > 0.8 * spec.capacity_kg;
        let heater_w =
            if drive.power && self.heating && covered { spec.heater_w * drive.strength } else { 0.0 };
        let pump_w = if drive.pump { spec.pump_w } else { 0.0 };
        let spray = if drive.pump { spec.spray_loss_w_per_k } else { 0.0 };
        let loss_w = (spec.loss_w_per_k + spray) * (self.water_c - drive.ambient_c);

        let before_j_per_k = self.water_kg * WATER_J_PER_KG_K + spec.wall_j_per_k;
        let inflow_kg = drive.inflow_kg_per_s * dt_s;
        let inflow_j = inflow_kg * WATER_J_PER_KG_K * drive.inflow_c;
        let heat_j =
            before_j_per_k * self.water_c + inflow_j + (heater_w + pump_w - loss_w - drive.ware_w) * dt_s;
        self.water_kg += inflow_kg;
        self.water_c = heat_j / (before_j_per_k + inflow_kg * WATER_J_PER_KG_K);

        let drained_kg = if drive.drain { spec.drain_kg_per_s * dt_s } else { 0.0 };
        let kept_kg = (self.water_kg - drained_kg).clamp(0.0, spec.capacity_kg);
        let left_j = (self.water_kg - kept_kg) * WATER_J_PER_KG_K * self.water_c;
        self.water_kg = kept_kg;
        audit.in_j += (heater_w + pump_w) * dt_s;
        audit.out_j += loss_w * dt_s + left_j;
    }

    /// Heat stored above 0 °C, J.
    #[must_use]
    pub fn stored_j(&self) -> f64 {
        (self.water_kg * WATER_J_PER_KG_K + self.spec.wall_j_per_k) * self.water_c
    }
}
