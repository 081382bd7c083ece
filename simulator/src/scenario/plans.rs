//! What runs in each scenario of recognition, when, and what goes wrong.

use super::{MachinePlan, Plan};
use crate::catalog::{self, MachineSpec};
use crate::day::Meal;
use crate::fault::{Fault, FaultKind, Place};
use crate::probe::ProbeSpec;

fn dual() -> MachineSpec {
    catalog::dual_temperature("dm1")
}

fn morning() -> Vec<Meal> {
    vec![Meal::hours(0.7, 4.0)]
}

fn trains() -> Vec<Meal> {
    vec![Meal::hours(0.7, 4.0).every(420.0, 240.0)]
}

pub(super) fn quiet_day() -> Plan {
    one(6.0, 6.0, dual(), vec![Meal::hours(0.7, 5.2).every(420.0, 240.0)], vec![])
}

pub(super) fn rush() -> Plan {
    one(10.5, 4.5, dual().with_rinse_probe(tenth()), morning(), vec![])
}

pub(super) fn heat_soaked() -> Plan {
    let meals = vec![Meal::hours(0.7, 4.0).every(120.0, 60.0)];
    one(10.5, 4.5, dual().soaked(), meals, vec![])
}

pub(super) fn booster_dead() -> Plan {
    let faults =
        vec![Fault::hours(FaultKind::BoosterDead, 1.5, 2.0), Fault::hours(FaultKind::BoosterDead, 2.8, 3.2)];
    let meals = vec![Meal::hours(0.7, 4.0).every(120.0, 70.0)];
    one(10.5, 4.5, dual().soaked(), meals, faults)
}

pub(super) fn booster_undersized() -> Plan {
    let faults = vec![Fault::always(FaultKind::BoosterUndersized { part: 0.45 })];
    one(10.5, 4.5, dual(), morning(), faults)
}

pub(super) fn thermostat_drift() -> Plan {
    let drift = FaultKind::ThermostatDrift { c_per_hour: -2.0 };
    one(10.5, 4.5, dual(), morning(), vec![Fault::hours(drift, 0.5, 4.5)])
}

pub(super) fn slow_probe() -> Plan {
    let probe = ProbeSpec { tau_s: 6.0, ..ProbeSpec::default() };
    let faults = vec![Fault::hours(FaultKind::BoosterDead, 2.0, 2.4)];
    one(10.5, 4.5, dual().with_rinse_probe(probe), morning(), faults)
}

pub(super) fn open_circuit() -> Plan {
    let rinse = FaultKind::OpenCircuit { place: Place::Rinse };
    let wash = FaultKind::OpenCircuit { place: Place::Wash };
    let faults = vec![Fault::hours(rinse, 1.5, 2.5), Fault::hours(wash, 3.0, 3.5)];
    one(10.5, 4.5, dual(), morning(), faults)
}

pub(super) fn spikes() -> Plan {
    let faults = vec![
        Fault::always(FaultKind::Spikes { place: Place::Rinse, per_minute: 3.0 }),
        Fault::always(FaultKind::Spikes { place: Place::Wash, per_minute: 1.0 }),
    ];
    one(10.5, 4.5, dual(), morning(), faults)
}

pub(super) fn dropouts() -> Plan {
    let gaps = FaultKind::Dropouts { per_minute: 3.0, mean_s: 1.5 };
    one(10.5, 4.5, dual(), morning(), vec![Fault::always(gaps)])
}

pub(super) fn stuck() -> Plan {
    let stuck = FaultKind::Stuck { place: Place::Rinse };
    let faults = vec![Fault::hours(stuck, 1.6, 2.0), Fault::hours(stuck, 2.9, 3.1)];
    one(10.5, 4.5, dual(), morning(), faults)
}

pub(super) fn aborted() -> Plan {
    let aborts = FaultKind::Aborted { in_wash: 0.12, in_rinse: 0.15 };
    one(10.5, 4.5, dual(), morning(), vec![Fault::always(aborts)])
}

pub(super) fn clock_step() -> Plan {
    let ahead = FaultKind::ClockStep { by_s: 3_600.0 };
    one(10.5, 4.5, dual(), morning(), vec![Fault::hours(ahead, 1.6, 2.7)])
}

pub(super) fn buffered_node() -> Plan {
    let faults = vec![Fault::hours(FaultKind::Buffering, 1.5, 2.5)];
    one(10.5, 4.5, dual(), morning(), faults)
}

pub(super) fn run_signal() -> Plan {
    let faults = vec![
        Fault::hours(FaultKind::BoosterDead, 1.5, 1.9),
        Fault::hours(FaultKind::Aborted { in_wash: 0.15, in_rinse: 0.15 }, 2.4, 3.4),
    ];
    one(10.5, 4.5, dual().soaked().with_run_signal(), morning(), faults)
}

pub(super) fn single_temperature() -> Plan {
    one(10.5, 4.5, catalog::single_temperature("dm1"), morning(), vec![])
}

pub(super) fn conveyor() -> Plan {
    one(10.5, 4.5, catalog::conveyor("dm1"), trains(), vec![])
}

pub(super) fn multitank() -> Plan {
    let weak = FaultKind::BoosterUndersized { part: 0.5 };
    one(10.5, 4.5, catalog::multitank("dm1"), trains(), vec![Fault::hours(weak, 2.0, 3.0)])
}

pub(super) fn chlorine() -> Plan {
    let cold = FaultKind::SupplyCold { by_c: 14.0 };
    one(10.5, 4.5, catalog::chlorine("dm1"), morning(), vec![Fault::hours(cold, 2.0, 2.6)])
}

pub(super) fn chlorine_weak() -> Plan {
    let meals = vec![Meal::hours(0.7, 2.2), Meal::hours(3.2, 4.5)];
    let weak = FaultKind::SanitizerWeak { mg_per_l: 10.0 };
    one(10.5, 5.2, catalog::chlorine("dm1"), meals, vec![Fault::hours(weak, 2.3, 9.0)])
}

pub(super) fn dump_and_refill() -> Plan {
    let cold = FaultKind::SupplyCold { by_c: 12.0 };
    one(10.5, 4.5, catalog::dump_and_refill("dm1"), morning(), vec![Fault::hours(cold, 2.0, 2.5)])
}

pub(super) fn cleaning() -> Plan {
    let meals = vec![Meal::hours(0.6, 1.3), Meal::hours(2.2, 2.9), Meal::hours(3.8, 4.5)];
    one(6.0, 5.2, catalog::dual_temperature("dm1"), meals, vec![])
}

pub(super) fn night() -> Plan {
    let meals = vec![Meal::hours(0.0, 1.0).closing(), Meal::hours(10.6, 11.4)];
    let mut plan = one(20.5, 12.0, catalog::dual_temperature("dm1"), meals, vec![]);
    for machine in &mut plan.machines {
        machine.warm = true;
    }
    plan
}

pub(super) fn wash_low() -> Plan {
    let weak = Fault::hours(FaultKind::WashHeaterWeak { part: 0.05 }, 1.0, 9.0);
    let meals = vec![Meal::hours(0.7, 4.0).every(100.0, 65.0)];
    one(10.5, 4.5, catalog::dual_temperature("dm1"), meals, vec![weak])
}

pub(super) fn too_hot() -> Plan {
    let hot = FaultKind::RinseTooHot { by_c: 8.0 };
    one(10.5, 4.5, catalog::dual_temperature("dm1"), morning(), vec![Fault::hours(hot, 1.8, 9.0)])
}

/// A probe whose readings come in steps of 0.1 K.
fn tenth() -> ProbeSpec {
    ProbeSpec { quantum_c: 0.1, ..ProbeSpec::default() }
}

/// One cold machine, from a clock time in hours.
fn one(clock_h: f64, hours: f64, spec: MachineSpec, meals: Vec<Meal>, faults: Vec<Fault>) -> Plan {
    let machines = vec![MachinePlan { spec, meals, faults, warm: false }];
    Plan { clock_s: clock_h * 3_600.0, hours, machines, opens_s: None }
}

/// Twelve hours of service without a break; the booster of `dm1` is small, so that its trip shows
/// after two racks.
pub(super) fn demo() -> Plan {
    let mut hot = catalog::dual_temperature("dm1");
    if let Some(booster) = &mut hot.plant.booster {
        booster.water_kg = 8.0;
    }
    let service = |quiet_s, rush_s| vec![Meal::hours(0.0, 12.0).every(quiet_s, rush_s).uncleaned()];
    let trip = |from_s, until_s| Fault { kind: FaultKind::BoosterDead, from_s, until_s };
    let faults = vec![trip(150.0, 480.0), trip(5_400.0, 6_600.0), trip(20_000.0, 20_900.0)];
    let machines = vec![
        MachinePlan { spec: hot, meals: service(70.0, 60.0), faults, warm: true },
        MachinePlan {
            spec: catalog::chlorine("dm2"),
            meals: service(100.0, 90.0),
            faults: vec![],
            warm: true,
        },
    ];
    Plan { clock_s: 12.0 * 3_600.0, hours: 12.0, machines, opens_s: None }
}

/// Seven days of breakfast, lunch and dinner.
pub(super) fn week() -> Plan {
    let meals = || {
        (0..7_u32)
            .flat_map(|day| {
                let at = f64::from(day) * 24.0;
                [
                    Meal::hours(at + 6.5, at + 9.5),
                    Meal::hours(at + 11.0, at + 14.5),
                    Meal::hours(at + 17.0, at + 21.5).closing(),
                ]
            })
            .collect::<Vec<_>>()
    };
    let faults = vec![
        Fault::hours(FaultKind::BoosterDead, 60.0, 60.5),
        Fault::hours(FaultKind::ThermostatDrift { c_per_hour: -0.6 }, 105.0, 112.0),
    ];
    let machine = |spec, faults| MachinePlan { spec, meals: meals(), faults, warm: false };
    let machines =
        vec![machine(catalog::dual_temperature("dm1"), faults), machine(catalog::chlorine("dm2"), vec![])];
    Plan { clock_s: 0.0, hours: 168.0, machines, opens_s: None }
}
