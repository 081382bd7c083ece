//! The rinse line from the booster to the probe: stagnant between rinses, purged by one.
//!
//! A row of well-mixed cells (the tanks-in-series model of residence times, O. Levenspiel,
//! "Chemical Reaction Engineering"): many cells are a plug, one is a stirred pot. Each cell has a
//! pipe wall that takes and gives heat and loses it to the air around it (Newton's law).

use super::{Audit, WATER_J_PER_KG_K};

/// Measures of a rinse line.
#[derive(Clone, Debug)]
pub struct LineSpec {
    /// Water between booster (or supply) and probe, kg.
    pub water_kg: f64,
    /// Number of cells; more is closer to plug flow.
    pub cells: usize,
    /// Heat capacity of the pipe wall, J/K.
    pub wall_j_per_k: f64,
    /// Conductance between water and wall, W/K.
    pub wall_w_per_k: f64,
    /// Conductance from the wall to the air, W/K.
    pub loss_w_per_k: f64,
}

/// A rinse line. Its last cell is the water at the probe.
#[derive(Clone, Debug)]
pub struct Line {
    water_c: Vec<f64>,
    wall_c: Vec<f64>,
    cell_kg: f64,
    wall_j_per_k: f64,
    wall_w_per_k: f64,
    loss_w_per_k: f64,
}

impl Line {
    /// A line at one temperature.
    #[must_use]
    pub fn new(spec: &LineSpec, at_c: f64) -> Self {
        let cells = spec.cells.max(1);
        let share = 1.0 / cells as f64;
        Self {
            water_c: vec![at_c; cells],
            wall_c: vec![at_c; cells],
            cell_kg: spec.water_kg * share,
            wall_j_per_k: spec.wall_j_per_k * share,
            wall_w_per_k: spec.wall_w_per_k * share,
            loss_w_per_k: spec.loss_w_per_k * share,
        }
    }

    /// Temperature of the water at the probe, °C.
    #[must_use]
    pub fn outlet_c(&self) -> f64 {
        self.water_c.last().copied().unwrap_or(f64::NAN)
    }

    /// Advances by `dt_s` with `flow_kg_per_s` of water at `inlet_c` coming in, in air of
    /// `ambient_c`. Returns the mean temperature of the water that left.
    pub fn step(
        &mut self,
        dt_s: f64,
        flow_kg_per_s: f64,
        inlet_c: f64,
        ambient_c: f64,
        audit: &mut Audit,
    ) -> f64 {
        let replaced = (flow_kg_per_s * dt_s / self.cell_kg).min(1.0);
        let heat_j_per_k = self.cell_kg * WATER_J_PER_KG_K;
        let leaving_c = self.outlet_c();
        let mut upstream_c = inlet_c;
        for (water, wall) in self.water_c.iter_mut().zip(self.wall_c.iter_mut()) {
            let before = *water;
            let to_wall_j = self.wall_w_per_k * (before - *wall) * dt_s;
            let to_air_j = self.loss_w_per_k * (*wall - ambient_c) * dt_s;
            *water += replaced * (upstream_c - before) - to_wall_j / heat_j_per_k;
            *wall += (to_wall_j - to_air_j) / self.wall_j_per_k;
            audit.out_j += to_air_j;
            upstream_c = before;
        }
        leaving_c
    }

    /// Heat stored above 0 °C, J.
    #[must_use]
    pub fn stored_j(&self) -> f64 {
        let water: f64 = self.water_c.iter().sum::<f64>() * self.cell_kg * WATER_J_PER_KG_K;
        water + self.wall_c.iter().sum::<f64>() * self.wall_j_per_k
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn spec() -> LineSpec {
        LineSpec { water_kg: 0.4, cells: 6, wall_j_per_k: 250.0, wall_w_per_k: 60.0, loss_w_per_k: 8.0 }
    }

    #[test]
    fn an_idle_line_cools_by_newtons_law() {
        // Newton: T - Ta = (T0 - Ta) exp(-t UA/C), once the wall has found its small lag.
        let mut line = Line::new(&spec(), 85.0);
        // Water-to-wall and wall-to-air conductances stand in series.
        let tau_s = (0.4 * WATER_J_PER_KG_K + 250.0) / (8.0 * 60.0 / (8.0 + 60.0));
        for step in 1..=12_000_u32 {
            let _left = line.step(0.05, 0.0, 0.0, 60.0, &mut Audit::default());
            if step % 1_000 == 0 {
                let newton = 60.0 + 25.0 * (-f64::from(step) * 0.05 / tau_s).exp();
                assert!((line.outlet_c() - newton).abs() < 1.0, "{} {newton}", line.outlet_c());
            }
        }
    }

    #[test]
    fn a_flow_purges_the_line_in_a_few_residence_times() {
        // Six tanks in series: 3 residence times leave exp(-18) * sum(18^i/i!, i < 6) = 0.0003
        // of the old water (Levenspiel); the wall's heat leaves a little more.
        let mut line = Line::new(&spec(), 25.0);
        for _ in 0..80 {
            let _left = line.step(0.05, 0.3, 85.0, 25.0, &mut Audit::default());
        }
        assert!((line.outlet_c() - 85.0).abs() < 3.0, "{}", line.outlet_c());
    }
}
