//! What runs in the scenarios that raise an alert or nearly do: short stretches of service, each
//! with one thing wrong.

use super::{MachinePlan, Plan};
use crate::catalog::{self, MachineSpec};
use crate::day::Meal;
use crate::fault::{Fault, FaultKind, Place};

/// Start of a stretch of service, h after midnight.
const NOON_H: f64 = 12.0;

fn dual() -> MachineSpec {
    catalog::dual_temperature("dm1")
}

/// Racks at one mean distance, s, in a machine that runs already.
fn steady(hours: f64, every_s: f64) -> Vec<Meal> {
    vec![Meal::hours(0.0, hours).every(every_s, every_s).uncleaned()]
}

/// One machine in the middle of service.
fn service(hours: f64, spec: MachineSpec, every_s: f64, faults: Vec<Fault>) -> Plan {
    let machines = vec![MachinePlan { spec, meals: steady(hours, every_s), faults, warm: true }];
    Plan { clock_s: NOON_H * 3_600.0, hours, machines, opens_s: None }
}

/// The same beside a second machine that is well.
fn beside(mut plan: Plan, every_s: f64) -> Plan {
    let meals = steady(plan.hours, every_s);
    let spec = catalog::chlorine("dm2");
    plan.machines.push(MachinePlan { spec, meals, faults: vec![], warm: true });
    plan
}

pub(super) fn booster_fails() -> Plan {
    let fault = Fault::hours(FaultKind::BoosterDead, 0.4, 0.8);
    beside(service(1.2, dual(), 75.0, vec![fault]), 120.0)
}

pub(super) fn booster_blinks() -> Plan {
    let blink = |from_s: f64| Fault { kind: FaultKind::BoosterDead, from_s, until_s: from_s + 40.0 };
    service(1.0, dual(), 240.0, vec![blink(1_200.0), blink(2_400.0)])
}

/// Bursts of a few racks, half an hour of rest between; a mean distance in s between two racks of one burst.
fn bursts(every_s: f64) -> Vec<Meal> {
    let burst = |at_h: f64| Meal::hours(at_h, at_h + 0.04).every(every_s, every_s).uncleaned();
    vec![burst(0.0), burst(0.65), burst(1.3), burst(1.95)]
}

fn in_bursts(spec: MachineSpec, every_s: f64) -> Plan {
    let machines = vec![MachinePlan { spec, meals: bursts(every_s), faults: vec![], warm: true }];
    Plan { clock_s: NOON_H * 3_600.0, hours: 2.1, machines, opens_s: None }
}

pub(super) fn first_rack_cold() -> Plan {
    in_bursts(dual().with_longer_line(0.8), 25.0)
}

pub(super) fn first_rack_warm() -> Plan {
    in_bursts(dual(), 60.0)
}

fn timer_ends_after(length_s: f64) -> Plan {
    let fault = Fault::hours(FaultKind::RinseTimerShort { length_s }, 0.3, 9.0);
    service(0.8, dual().with_run_signal(), 90.0, vec![fault])
}

pub(super) fn rinse_brief() -> Plan {
    timer_ends_after(4.0)
}

pub(super) fn rinse_shortened() -> Plan {
    timer_ends_after(10.5)
}

fn strip_reads(mg_per_l: f64) -> Plan {
    let fault = Fault::always(FaultKind::SanitizerWeak { mg_per_l });
    service(0.7, catalog::chlorine("dm1"), 120.0, vec![fault])
}

pub(super) fn sanitizer_weak() -> Plan {
    strip_reads(10.0)
}

pub(super) fn sanitizer_thin() -> Plan {
    strip_reads(30.0)
}

pub(super) fn strip_forgotten() -> Plan {
    service(0.7, catalog::chlorine("dm1"), 120.0, vec![Fault::always(FaultKind::CheckForgotten)])
}

pub(super) fn strip_in_time() -> Plan {
    let mut plan = service(0.7, catalog::chlorine("dm1"), 120.0, vec![]);
    for machine in &mut plan.machines {
        // Nobody washes in the first half, and the strip is read just before the first rack.
        machine.meals = vec![Meal::hours(0.35, 0.7).every(120.0, 120.0).uncleaned()];
    }
    plan
}

fn tank_heater(part: f64) -> Plan {
    service(1.0, dual(), 75.0, vec![Fault::hours(FaultKind::WashHeaterWeak { part }, 0.2, 9.0)])
}

pub(super) fn tank_heater_fails() -> Plan {
    tank_heater(0.0)
}

pub(super) fn tank_heater_worn() -> Plan {
    tank_heater(0.67)
}

fn set_higher(by_c: f64) -> Plan {
    service(0.8, dual(), 120.0, vec![Fault::hours(FaultKind::RinseTooHot { by_c }, 0.2, 9.0)])
}

pub(super) fn rinse_scalds() -> Plan {
    set_higher(8.0)
}

pub(super) fn rinse_warmer() -> Plan {
    set_higher(2.0)
}

pub(super) fn thermostat_low() -> Plan {
    let fault = Fault::hours(FaultKind::ThermostatLow { by_c: 2.2 }, 0.2, 9.0);
    service(1.2, dual().with_plain_wire(), 150.0, vec![fault])
}

pub(super) fn one_narrow() -> Plan {
    in_bursts(dual().with_plain_wire().with_longer_line(0.35), 60.0)
}

/// A long service, sound for the first half of it.
fn long_service(spec: MachineSpec, kind: FaultKind) -> Plan {
    service(4.0, spec, 85.0, vec![Fault::hours(kind, 2.0, 9.0)])
}

pub(super) fn thermostat_creeps() -> Plan {
    long_service(dual(), FaultKind::ThermostatDrift { c_per_hour: -1.0 })
}

pub(super) fn element_scales() -> Plan {
    long_service(dual(), FaultKind::ElementAges { part_per_hour: 0.185 })
}

pub(super) fn steady_service() -> Plan {
    long_service(dual(), FaultKind::ThermostatDrift { c_per_hour: -0.05 })
}

/// Start of a morning, h after midnight.
const MORNING_H: f64 = 6.0;
/// When the machine opens, h after the start: the tank must be up to temperature.
const OPENING_H: f64 = 0.6;

/// A cold machine that opens. It is filled some minutes after opening, negative before it, the
/// first rack comes some minutes after it, and its tank heater has this part of its power.
fn opening(fill_min: f64, rack_min: f64, part: f64) -> Plan {
    let first_h = OPENING_H + rack_min / 60.0;
    let mut meal = Meal::hours(first_h, first_h + 0.6).every(240.0, 240.0).uncleaned();
    meal.fill_s = OPENING_H * 3_600.0 + fill_min * 60.0;
    let faults = vec![Fault::always(FaultKind::WashHeaterWeak { part })];
    let machines = vec![MachinePlan { spec: dual(), meals: vec![meal], faults, warm: false }];
    let opens_s = Some((MORNING_H + OPENING_H) * 3_600.0);
    Plan { clock_s: MORNING_H * 3_600.0, hours: 1.2, machines, opens_s }
}

pub(super) fn tank_late() -> Plan {
    opening(-30.0, 30.0, 0.1)
}

pub(super) fn tank_cold_used() -> Plan {
    opening(-30.0, 0.0, 0.1)
}

pub(super) fn tank_just_warm() -> Plan {
    opening(2.0, 0.0, 1.0)
}

fn at_noon(faults: Vec<Fault>) -> Plan {
    service(0.8, dual(), 90.0, faults)
}

/// One fault again and again, h and s from the start.
fn again(kinds: &[FaultKind], from_h: f64, until_h: f64, every_s: f64, length_s: f64) -> Vec<Fault> {
    let mut faults = Vec::new();
    let mut from_s = from_h * 3_600.0;
    while from_s < until_h * 3_600.0 {
        faults.extend(kinds.iter().map(|kind| Fault { kind: *kind, from_s, until_s: from_s + length_s }));
        from_s += every_s;
    }
    faults
}

/// Some short faults of the rinse probe, while nobody washes between two bursts.
fn at_rest(kind: FaultKind, length_s: f64) -> Plan {
    let mut plan = in_bursts(dual(), 60.0);
    for machine in &mut plan.machines {
        machine.faults = again(&[kind], 0.4, 0.6, 120.0, length_s);
    }
    plan
}

pub(super) fn probe_open() -> Plan {
    let open = FaultKind::OpenCircuit { place: Place::Rinse };
    beside(at_noon(vec![Fault::hours(open, 0.3, 0.63)]), 120.0)
}

pub(super) fn probe_loose() -> Plan {
    let open = FaultKind::OpenCircuit { place: Place::Rinse };
    at_noon(again(&[open], 0.2, 0.6, 20.0, 6.0))
}

pub(super) fn probe_flickers() -> Plan {
    at_rest(FaultKind::OpenCircuit { place: Place::Rinse }, 8.0)
}

pub(super) fn probe_pulled() -> Plan {
    let silent = FaultKind::Silent { place: Place::Rinse };
    beside(at_noon(vec![Fault::hours(silent, 0.3, 0.63)]), 120.0)
}

pub(super) fn probe_pauses() -> Plan {
    at_rest(FaultKind::Silent { place: Place::Rinse }, 8.0)
}

/// Both probes silent for five seconds out of nine: every rinse has a hole.
fn holes(until_h: f64) -> Plan {
    let both = [FaultKind::Silent { place: Place::Rinse }, FaultKind::Silent { place: Place::Wash }];
    service(0.8, dual().with_run_signal(), 90.0, again(&both, 0.3, until_h, 9.0, 5.0))
}

pub(super) fn readings_missing() -> Plan {
    holes(0.6)
}

pub(super) fn readings_patchy() -> Plan {
    holes(0.33)
}

pub(super) fn noise() -> Plan {
    let faults = vec![
        Fault::always(FaultKind::Spikes { place: Place::Rinse, per_minute: 2.0 }),
        Fault::always(FaultKind::Spikes { place: Place::Wash, per_minute: 1.0 }),
    ];
    at_noon(faults)
}
