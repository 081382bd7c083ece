//! Heat and water of one machine: supply → booster → rinse line → spray → tank → drain.
//!
//! Ordinary heat balances, integrated by Euler's explicit method at [`crate::time::STEP_S`]; the
//! shortest time constant, a cell of the rinse line under flow, is several steps long. Every joule
//! that enters or leaves is counted in an [`Audit`], and a test checks that the balance closes.
//!
//! Left out: pressure, evaporated mass, the change of density with temperature (1.7 % at 60 °C),
//! radiation apart from Newton's law. The machine body and the air in the hood are followers: they
//! set temperatures around the line and a bare probe, and stand outside the balance.

mod booster;
mod line;
mod supply;
mod tank;

pub use booster::{Booster, BoosterDrive, BoosterSpec};
pub use line::{Line, LineSpec};
pub use supply::{Supply, SupplySpec};
pub use tank::{Tank, TankDrive, TankSpec};

/// Specific heat of water, J/(kg K): 4,186 at 15 °C, within 0.5 % up to 90 °C (CRC Handbook, from
/// memory).
pub const WATER_J_PER_KG_K: f64 = 4_186.0;

/// Heat that entered and left, J, counted from 0 °C.
#[derive(Clone, Copy, Default, Debug)]
pub struct Audit {
    /// Heat that entered.
    pub in_j: f64,
    /// Heat that left.
    pub out_j: f64,
}

/// Measures of a whole machine.
#[derive(Clone, Debug)]
pub struct PlantSpec {
    /// Wash tank or sump.
    pub tank: TankSpec,
    /// Booster heater; `None` where the rinse comes straight from the supply.
    pub booster: Option<BoosterSpec>,
    /// Line from the booster or the supply to the probe.
    pub line: LineSpec,
    /// Hot supply of the building.
    pub supply: SupplySpec,
    /// Flow of the final rinse, of a fill, and of a refill, kg/s.
    pub rinse_kg_per_s: f64,
    /// Temperature of the room, °C.
    pub room_c: f64,
    /// How much of the tank's excess over the room the body takes, 0 to 1.
    pub soak_from_tank: f64,
    /// How much of the booster's excess over the room the body takes, 0 to 1.
    pub soak_from_booster: f64,
    /// Time constant of the body, s.
    pub soak_tau_s: f64,
}

/// The racks being washed, as one lump of heat capacity.
#[derive(Clone, Copy, Debug)]
pub struct Ware {
    /// Heat capacity, J/K.
    pub heat_j_per_k: f64,
    /// Temperature, °C.
    pub at_c: f64,
}

/// What the controller does to the plant in one step.
#[derive(Clone, Copy, Default, Debug)]
pub struct Drive {
    /// Heaters are switched on.
    pub power: bool,
    /// The wash pump runs.
    pub pump: bool,
    /// Flow through the rinse line, kg/s.
    pub flow_kg_per_s: f64,
    /// Part of that flow that reaches the tank (a hose wets the floor as well).
    pub into_tank: f64,
    /// The drain is open.
    pub drain: bool,
    /// The rinse sprays over the ware.
    pub rinse_on_ware: bool,
}

/// What is broken.
#[derive(Clone, Copy, Debug)]
pub struct Weakness {
    /// Part of the booster's element that works.
    pub booster: f64,
    /// Shift of the booster's thermostat, K.
    pub booster_shift_c: f64,
    /// Part of the tank heater that works.
    pub tank: f64,
    /// Shift of the supply, K.
    pub supply_shift_c: f64,
}

impl Default for Weakness {
    fn default() -> Self {
        Self { booster: 1.0, booster_shift_c: 0.0, tank: 1.0, supply_shift_c: 0.0 }
    }
}

/// Conductance between ware and wash spray, W/K: a rack of plates takes about half of its heat in
/// 40 s (common practice, no source).
const WARE_WASH_W_PER_K: f64 = 150.0;
/// Conductance between ware and rinse spray, W/K (own choice, as above).
const WARE_RINSE_W_PER_K: f64 = 90.0;
/// Part of its excess over the hood's air that rinse water loses in its fall (own choice).
const FALL_LOSS: f64 = 0.12;
/// Time constant of the air in the hood, s (own choice).
const HOOD_TAU_S: f64 = 45.0;
/// How far the air follows water that splashes about in an empty tank, 0 to 1 (own choice).
const SPLASH_SHARE: f64 = 0.3;
/// Time constant of the air meanwhile, s (own choice).
const SPLASH_TAU_S: f64 = 6.0;

/// Heat and water of one machine.
#[derive(Clone, Debug)]
pub struct Plant {
    spec: PlantSpec,
    tank: Tank,
    booster: Option<Booster>,
    line: Line,
    supply: Supply,
    body_c: f64,
    hood_c: f64,
    audit: Audit,
}

impl Plant {
    /// A machine that stood still all night: drained, everything at room temperature.
    #[must_use]
    pub fn cold(spec: PlantSpec, supply: Supply) -> Self {
        let room_c = spec.room_c;
        Self::at(spec, supply, 0.0, room_c, room_c, room_c)
    }

    /// A machine in the middle of service: full, hot, soaked.
    #[must_use]
    pub fn warm(spec: PlantSpec, supply: Supply) -> Self {
        let tank_c = if spec.tank.heater_w > 0.0 { spec.tank.set_c } else { spec.supply.mean_c - 3.0 };
        let booster_c = spec.booster.as_ref().map_or(spec.supply.mean_c, |booster| booster.set_c);
        let full_kg = spec.tank.capacity_kg;
        let body_c = soak_c(&spec, tank_c, booster_c);
        Self::at(spec, supply, full_kg, tank_c, booster_c, body_c)
    }

    fn at(spec: PlantSpec, supply: Supply, water_kg: f64, tank_c: f64, booster_c: f64, body_c: f64) -> Self {
        Self {
            tank: Tank::new(spec.tank.clone(), water_kg, tank_c),
            booster: spec.booster.clone().map(|booster| Booster::new(booster, booster_c)),
            line: Line::new(&spec.line, body_c),
            supply,
            body_c,
            hood_c: body_c,
            audit: Audit::default(),
            spec,
        }
    }

    /// Advances by `dt_s` to `now_s` seconds after midnight.
    pub fn step(
        &mut self,
        dt_s: f64,
        clock_s: f64,
        drive: &Drive,
        weakness: &Weakness,
        ware: Option<&mut Ware>,
    ) {
        let supply_c = self.supply.step(dt_s, clock_s) + weakness.supply_shift_c;
        let flow = drive.flow_kg_per_s;
        self.audit.in_j += flow * dt_s * WATER_J_PER_KG_K * supply_c;
        let boosted_c = match &mut self.booster {
            Some(booster) => {
                let boost = BoosterDrive {
                    power: drive.power,
                    strength: weakness.booster,
                    set_shift_c: weakness.booster_shift_c,
                    flow_kg_per_s: flow,
                    supply_c,
                    ambient_c: self.body_c,
                };
                booster.step(dt_s, &boost, &mut self.audit)
            }
            None => supply_c,
        };
        let sprayed_c = self.line.step(dt_s, flow, boosted_c, self.body_c, &mut self.audit);
        self.fall_into_tank(dt_s, drive, weakness, sprayed_c, ware);
        self.follow(dt_s, boosted_c, flow > 0.0);
    }

    /// The spray meets the ware and the air, and what is left falls into the tank.
    fn fall_into_tank(
        &mut self,
        dt_s: f64,
        drive: &Drive,
        weakness: &Weakness,
        sprayed_c: f64,
        ware: Option<&mut Ware>,
    ) {
        let flow = drive.flow_kg_per_s;
        let (mut wash_w, mut rinse_w) = (0.0, 0.0);
        if let Some(ware) = ware {
            if drive.pump {
                wash_w = WARE_WASH_W_PER_K * (self.tank.water_c() - ware.at_c);
            }
            if drive.rinse_on_ware && flow > 0.0 {
                rinse_w = WARE_RINSE_W_PER_K * (sprayed_c - ware.at_c);
            }
            ware.at_c += (wash_w + rinse_w) * dt_s / ware.heat_j_per_k;
        }
        self.audit.out_j += (wash_w + rinse_w) * dt_s;
        let mut fallen_c = sprayed_c;
        if flow > 0.0 {
            fallen_c -= rinse_w / (flow * WATER_J_PER_KG_K);
            fallen_c -= FALL_LOSS * (fallen_c - self.hood_c);
            let taken_j = flow * dt_s * WATER_J_PER_KG_K * (sprayed_c - fallen_c);
            self.audit.out_j += taken_j - rinse_w * dt_s;
            self.audit.out_j += flow * (1.0 - drive.into_tank) * dt_s * WATER_J_PER_KG_K * fallen_c;
        }
        let tank = TankDrive {
            power: drive.power,
            strength: weakness.tank,
            pump: drive.pump,
            drain: drive.drain,
            inflow_kg_per_s: flow * drive.into_tank,
            inflow_c: fallen_c,
            ware_w: wash_w,
            ambient_c: self.spec.room_c,
        };
        self.tank.step(dt_s, &tank, &mut self.audit);
    }

    /// Body and hood follow what is hot.
    fn follow(&mut self, dt_s: f64, boosted_c: f64, splash: bool) {
        let spec = &self.spec;
        let tank_c = spec.room_c + self.tank.probe_wet() * (self.tank.water_c() - spec.room_c);
        let aim_c = soak_c(spec, tank_c, boosted_c);
        self.body_c += (aim_c - self.body_c) * dt_s / spec.soak_tau_s;
        let still_c = spec.room_c + 0.6 * (self.body_c.max(tank_c) - spec.room_c);
        let (aim_c, tau_s) = if splash && self.tank.probe_wet() < 0.5 {
            (still_c + SPLASH_SHARE * (self.line.outlet_c() - still_c), SPLASH_TAU_S)
        } else {
            (still_c, HOOD_TAU_S)
        };
        self.hood_c += (aim_c - self.hood_c) * dt_s / tau_s;
    }

    /// Leaves the booster full of supply water, as racks do after its element has failed.
    pub fn draw_off(&mut self) {
        let supply_c = self.supply.current_c();
        if let Some(spec) = &self.spec.booster {
            let cold = Booster::new(spec.clone(), supply_c);
            let before_j = self.booster.as_ref().map_or(0.0, Booster::stored_j);
            self.audit.out_j += before_j - cold.stored_j();
            self.booster = Some(cold);
        }
    }

    /// Water at the probe of the rinse line, °C.
    #[must_use]
    pub fn line_c(&self) -> f64 {
        self.line.outlet_c()
    }

    /// Wash tank or sump.
    #[must_use]
    pub fn tank(&self) -> &Tank {
        &self.tank
    }

    /// Air in the hood, °C.
    #[must_use]
    pub fn hood_c(&self) -> f64 {
        self.hood_c
    }

    /// Machine body around line and booster, °C.
    #[must_use]
    pub fn body_c(&self) -> f64 {
        self.body_c
    }

    /// Water at the outlet of the booster; `None` without one.
    #[must_use]
    pub fn booster_c(&self) -> Option<f64> {
        self.booster.as_ref().map(Booster::outlet_c)
    }

    /// Flow of the final rinse, kg/s.
    #[must_use]
    pub fn rinse_kg_per_s(&self) -> f64 {
        self.spec.rinse_kg_per_s
    }

    /// Time in which the rinse replaces the water of the line three times, s.
    #[must_use]
    pub fn purge_s(&self) -> f64 {
        3.0 * self.spec.line.water_kg / self.spec.rinse_kg_per_s
    }

    /// Heat counted so far.
    #[must_use]
    pub fn audit(&self) -> Audit {
        self.audit
    }

    /// Heat stored above 0 °C, J.
    #[must_use]
    pub fn stored_j(&self) -> f64 {
        self.tank.stored_j() + self.line.stored_j() + self.booster.as_ref().map_or(0.0, Booster::stored_j)
    }
}

/// Temperature the body tends to.
fn soak_c(spec: &PlantSpec, tank_c: f64, booster_c: f64) -> f64 {
    spec.room_c
        + spec.soak_from_tank * (tank_c - spec.room_c).max(0.0)
        + spec.soak_from_booster * (booster_c - spec.room_c).max(0.0)
}

#[cfg(test)]
mod tests;
