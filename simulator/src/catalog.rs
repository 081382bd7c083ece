//! The machines of the scenarios: what their data plates say, and their measures.
//!
//! Limits are FDA Food Code 4-501.110, .112, .114 as read in state adoptions; of a printed pair of
//! °C and °F the stricter is taken. Volumes, powers and times are common practice, no source.

use serde::{Deserialize, Serialize};

use crate::plant::{BoosterSpec, LineSpec, PlantSpec, SupplySpec, TankSpec};
use crate::probe::ProbeSpec;

/// Kind of machine, in the words of FDA Food Code 4-501.110.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum MachineKind {
    /// Door machine, one temperature for wash and rinse.
    StationaryRackSingleTemperature,
    /// Door machine, hotter final rinse.
    StationaryRackDualTemperature,
    /// Racks travel through one tank.
    SingleTankConveyor,
    /// Racks travel through several tanks.
    MultitankConveyor,
}

impl MachineKind {
    /// Whether racks travel, so that one final rinse may run for minutes.
    #[must_use]
    pub const fn is_conveyor(self) -> bool {
        matches!(self, Self::SingleTankConveyor | Self::MultitankConveyor)
    }
}

/// How the machine sanitizes.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Sanitizing {
    /// By heat.
    HotWater,
    /// By chlorine.
    Chlorine,
    /// By iodine.
    Iodine,
    /// By a quaternary ammonium compound.
    Quat,
}

/// Where the rinse probe meets the rinse water.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum RinseFrom {
    /// In the line to the manifold.
    FreshLine,
    /// In the sump of a machine that dumps its wash water and refills with the rinse.
    Sump,
}

/// A sanitizer as it should be.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct SanitizerFacts {
    /// Lowest permitted concentration at the machine's rinse limit, mg/L.
    pub min_mg_per_l: f64,
    /// Highest permitted concentration, mg/L.
    pub max_mg_per_l: f64,
    /// What the strip shows when all is well, mg/L.
    pub usual_mg_per_l: f64,
    /// pH, where it is measured.
    pub ph: Option<f64>,
}

/// What a gateway's configuration needs to know of a machine.
#[derive(Clone, PartialEq, Debug)]
pub struct MachineFacts {
    /// Name: channels are `<name>/wash`, `<name>/rinse`, `<name>/running`, `<name>/sanitizer`,
    /// `<name>/ph`.
    pub name: String,
    /// Kind.
    pub kind: MachineKind,
    /// Sanitizing method.
    pub sanitizing: Sanitizing,
    /// Where the rinse probe is.
    pub rinse_from: RinseFrom,
    /// Wash time of the data plate, s; on a conveyor the time a rack spends in the wash.
    pub wash_s: f64,
    /// From the end of the wash to the start of the rinse, s, drain and refill included.
    pub pause_s: f64,
    /// Rinse time of the data plate, s; on a conveyor the time a rack spends in the rinse.
    pub rinse_s: f64,
    /// Lowest permitted wash, °C.
    pub wash_min_c: f64,
    /// Lowest permitted final rinse, °C.
    pub rinse_min_c: f64,
    /// Highest permitted final rinse, °C.
    pub rinse_max_c: f64,
    /// How long the limit must be held, s.
    pub dwell_min_s: f64,
    /// Time constant of the rinse probe as a response test would find it, s.
    pub rinse_tau_s: f64,
    /// Time constant of the wash probe, s.
    pub wash_tau_s: f64,
    /// Step of the readings of both probes, K.
    pub quantum_c: f64,
    /// Bound (±) on the error of both probes, as their class or data sheet gives it, K.
    pub probe_within_c: f64,
    /// Readings per second of each probe.
    pub readings_per_s: f64,
    /// Whether the node sends a run signal.
    pub has_run_signal: bool,
    /// The sanitizer; `None` for hot water.
    pub sanitizer: Option<SanitizerFacts>,
}

/// A machine with its measures and probes.
#[derive(Clone, Debug)]
pub struct MachineSpec {
    /// What the gateway may know.
    pub facts: MachineFacts,
    /// What only the simulator knows.
    pub plant: PlantSpec,
    /// Probe in the tank or sump.
    pub wash_probe: ProbeSpec,
    /// Probe in the line or sump.
    pub rinse_probe: ProbeSpec,
}

impl MachineSpec {
    /// The same machine with another rinse probe, known to the facts.
    #[must_use]
    pub fn with_rinse_probe(mut self, probe: ProbeSpec) -> Self {
        self.facts.rinse_tau_s = probe.tau_s;
        self.facts.quantum_c = probe.quantum_c;
        self.rinse_probe = probe;
        self.wash_probe.quantum_c = probe.quantum_c;
        self
    }

    /// The same machine with a run signal.
    #[must_use]
    pub fn with_run_signal(mut self) -> Self {
        self.facts.has_run_signal = true;
        self
    }

    /// The same machine with uncalibrated wire: what is known of a reading is less, though the
    /// readings are the same.
    #[must_use]
    pub fn with_plain_wire(mut self) -> Self {
        self.facts.probe_within_c = CLASS_1_C;
        self
    }

    /// The same machine far from its booster: this much more water lies and cools in the line
    /// between two racks, kg.
    #[must_use]
    pub fn with_longer_line(mut self, more_kg: f64) -> Self {
        let line = &mut self.plant.line;
        let ratio = (line.water_kg + more_kg) / line.water_kg;
        line.water_kg *= ratio;
        line.wall_j_per_k *= ratio;
        line.wall_w_per_k *= ratio;
        line.loss_w_per_k *= ratio;
        self
    }

    /// The same machine in a hotter corner: its body soaks up more of booster and tank, and the
    /// line near the manifold follows the body sooner.
    #[must_use]
    pub fn soaked(mut self) -> Self {
        self.plant.soak_from_tank = 0.55;
        self.plant.soak_from_booster = 0.42;
        self.plant.line.loss_w_per_k *= 1.6;
        self
    }
}

/// A probe calibrated at ice and boil (own choice).
const CALIBRATED_C: f64 = 0.3;
/// Type K wire of class 1 below 375 °C: IEC 60584-1:2013, table 12 (from memory).
const CLASS_1_C: f64 = 1.5;
/// 180 °F, the stricter of the pair 82 °C / 180 °F (4-501.112).
const RINSE_DUAL_C: f64 = 82.222_222_222_222_22;
/// 160 °F, the stricter of the pair 71 °C / 160 °F (4-501.110).
const WASH_CONVEYOR_C: f64 = 71.111_111_111_111_11;

fn facts(name: &str, kind: MachineKind) -> MachineFacts {
    MachineFacts {
        name: name.to_owned(),
        kind,
        sanitizing: Sanitizing::HotWater,
        rinse_from: RinseFrom::FreshLine,
        wash_s: 44.0,
        pause_s: 3.0,
        rinse_s: 12.0,
        wash_min_c: 66.0,
        rinse_min_c: RINSE_DUAL_C,
        rinse_max_c: 90.0,
        dwell_min_s: 5.0,
        rinse_tau_s: ProbeSpec::default().tau_s,
        wash_tau_s: 3.0,
        quantum_c: ProbeSpec::default().quantum_c,
        probe_within_c: CALIBRATED_C,
        readings_per_s: 4.0,
        has_run_signal: false,
        sanitizer: None,
    }
}

fn plant() -> PlantSpec {
    PlantSpec {
        tank: TankSpec {
            capacity_kg: 42.0,
            wall_j_per_k: 9_000.0,
            heater_w: 6_000.0,
            set_c: 69.0,
            hysteresis_c: 1.5,
            loss_w_per_k: 8.0,
            spray_loss_w_per_k: 20.0,
            pump_w: 700.0,
            drain_kg_per_s: 0.6,
            probe_covered_kg: 8.0,
        },
        booster: Some(BoosterSpec {
            water_kg: 12.0,
            layers: 5,
            heater_w: 9_000.0,
            set_c: 86.5,
            hysteresis_c: 1.5,
            loss_w_per_k: 1.5,
        }),
        line: LineSpec {
            water_kg: 0.35,
            cells: 6,
            wall_j_per_k: 220.0,
            wall_w_per_k: 60.0,
            // Bare pipe in still air loses about 1 W/(K m); the end at the manifold hangs in spray and
            // steam. Set so that the line lies at 70 to 78 °C between racks in a rush.
            loss_w_per_k: 14.0,
        },
        supply: SupplySpec { mean_c: 57.0, daily_c: 2.0, wander_c: 0.8 },
        rinse_kg_per_s: 0.29,
        room_c: 24.0,
        soak_from_tank: 0.5,
        soak_from_booster: 0.3,
        soak_tau_s: 900.0,
    }
}

fn spec(facts: MachineFacts, plant: PlantSpec) -> MachineSpec {
    let wash_probe = ProbeSpec { tau_s: facts.wash_tau_s, ..ProbeSpec::default() };
    MachineSpec { facts, plant, wash_probe, rinse_probe: ProbeSpec::default() }
}

/// A door machine, hot water, wash at 66 °C, rinse at 180 °F.
#[must_use]
pub fn dual_temperature(name: &str) -> MachineSpec {
    spec(facts(name, MachineKind::StationaryRackDualTemperature), plant())
}

/// A door machine, hot water, wash and rinse at 74 °C.
#[must_use]
pub fn single_temperature(name: &str) -> MachineSpec {
    let mut facts = facts(name, MachineKind::StationaryRackSingleTemperature);
    (facts.wash_min_c, facts.rinse_min_c) = (74.0, 74.0);
    (facts.wash_s, facts.rinse_s) = (55.0, 14.0);
    let mut plant = plant();
    plant.tank.set_c = 77.0;
    if let Some(booster) = &mut plant.booster {
        booster.set_c = 79.0;
    }
    spec(facts, plant)
}

/// A single-tank conveyor, hot water, wash at 160 °F.
#[must_use]
pub fn conveyor(name: &str) -> MachineSpec {
    let mut facts = facts(name, MachineKind::SingleTankConveyor);
    (facts.wash_s, facts.pause_s, facts.rinse_s) = (18.0, 3.0, 9.0);
    facts.wash_min_c = WASH_CONVEYOR_C;
    let mut plant = plant();
    plant.tank.capacity_kg = 85.0;
    plant.tank.heater_w = 18_000.0;
    plant.tank.set_c = 74.5;
    plant.tank.spray_loss_w_per_k = 45.0;
    plant.tank.drain_kg_per_s = 0.9;
    plant.tank.probe_covered_kg = 14.0;
    plant.booster = Some(BoosterSpec {
        water_kg: 30.0,
        layers: 5,
        heater_w: 39_000.0,
        set_c: 87.0,
        hysteresis_c: 1.5,
        loss_w_per_k: 2.5,
    });
    plant.line.water_kg = 0.45;
    plant.rinse_kg_per_s = 0.25;
    spec(facts, plant)
}

/// A multitank conveyor, hot water, wash at 66 °C. Its wash probe is in the wash tank; the pumped
/// rinse tank between is left out.
#[must_use]
pub fn multitank(name: &str) -> MachineSpec {
    let mut machine = conveyor(name);
    machine.facts.kind = MachineKind::MultitankConveyor;
    (machine.facts.wash_s, machine.facts.pause_s, machine.facts.rinse_s) = (20.0, 16.0, 7.0);
    machine.facts.wash_min_c = 66.0;
    machine.plant.tank.set_c = 69.0;
    machine.plant.rinse_kg_per_s = 0.22;
    machine
}

/// A chlorine door machine with a fresh rinse line straight from the supply.
#[must_use]
pub fn chlorine(name: &str) -> MachineSpec {
    let mut facts = facts(name, MachineKind::StationaryRackDualTemperature);
    facts.sanitizing = Sanitizing::Chlorine;
    (facts.wash_s, facts.pause_s, facts.rinse_s) = (50.0, 4.0, 25.0);
    (facts.wash_min_c, facts.rinse_min_c) = (49.0, 49.0);
    facts.dwell_min_s = 10.0;
    facts.sanitizer = Some(SanitizerFacts {
        min_mg_per_l: 25.0,
        max_mg_per_l: 200.0,
        usual_mg_per_l: 100.0,
        ph: Some(7.8),
    });
    let mut plant = plant();
    plant.tank.capacity_kg = 28.0;
    plant.tank.heater_w = 3_000.0;
    plant.tank.set_c = 57.0;
    plant.booster = None;
    plant.soak_from_booster = 0.0;
    plant.line.water_kg = 0.55;
    plant.supply = SupplySpec { mean_c: 59.0, daily_c: 1.5, wander_c: 0.8 };
    plant.rinse_kg_per_s = 0.22;
    spec(facts, plant)
}

/// The same machine dosed with iodine: 4-501.114(B) asks 20 °C and 12.5 to 25 mg/L.
#[must_use]
pub fn iodine(name: &str) -> MachineSpec {
    let mut machine = chlorine(name);
    machine.facts.sanitizing = Sanitizing::Iodine;
    machine.facts.dwell_min_s = 20.0;
    machine.facts.sanitizer =
        Some(SanitizerFacts { min_mg_per_l: 12.5, max_mg_per_l: 25.0, usual_mg_per_l: 20.0, ph: Some(4.5) });
    machine
}

/// The same machine dosed with a quaternary ammonium compound: 4-501.114(C) asks 24 °C and the
/// label's concentration, here 200 to 400 mg/L (common practice, no source).
#[must_use]
pub fn quat(name: &str) -> MachineSpec {
    let mut machine = chlorine(name);
    machine.facts.sanitizing = Sanitizing::Quat;
    machine.facts.dwell_min_s = 20.0;
    machine.facts.sanitizer =
        Some(SanitizerFacts { min_mg_per_l: 200.0, max_mg_per_l: 400.0, usual_mg_per_l: 300.0, ph: None });
    machine
}

/// A chlorine machine that dumps its wash water, refills its sump from the supply, rinses with
/// that, and keeps it for the next wash.
#[must_use]
pub fn dump_and_refill(name: &str) -> MachineSpec {
    let mut machine = chlorine(name);
    let facts = &mut machine.facts;
    facts.rinse_from = RinseFrom::Sump;
    (facts.wash_s, facts.pause_s, facts.rinse_s) = (45.0, 18.0, 25.0);
    machine.plant.tank = TankSpec {
        capacity_kg: 6.5,
        wall_j_per_k: 4_000.0,
        heater_w: 0.0,
        set_c: 0.0,
        hysteresis_c: 1.0,
        loss_w_per_k: 3.0,
        spray_loss_w_per_k: 12.0,
        pump_w: 400.0,
        drain_kg_per_s: 0.95,
        probe_covered_kg: 1.5,
    };
    machine.plant.supply = SupplySpec { mean_c: 61.5, daily_c: 1.2, wander_c: 0.6 };
    machine.plant.rinse_kg_per_s = 0.7;
    machine.wash_probe.tau_s = 1.5;
    machine.facts.wash_tau_s = 1.5;
    machine
}
