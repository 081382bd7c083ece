//! Whole runs: reproducible, consistent, and as hard as they are meant to be.

use std::time::Instant;

use super::*;
use crate::catalog;
use crate::time::parse_rfc3339;
use crate::truth::CycleTruth;

fn run(scenario: Scenario, seed: u64, hours: Option<f64>) -> (String, Vec<TruthEntry>) {
    let mut plan = scenario.plan();
    plan.hours = hours.unwrap_or(plan.hours);
    let mut world = World::of(&plan, seed, MIDNIGHT_MICROS);
    let mut text = String::new();
    for emission in world.by_ref() {
        emission.write_line(&mut text);
        text.push('\n');
    }
    (text, world.take_truth())
}

fn cycles(truth: &[TruthEntry]) -> Vec<&CycleTruth> {
    let mut cycles = Vec::new();
    for entry in truth {
        if let TruthEntry::Cycle(cycle) = entry {
            cycles.push(cycle.as_ref());
        }
    }
    cycles
}

#[test]
fn the_same_seed_gives_the_same_bytes() {
    for &scenario in Scenario::ALL {
        let first = run(scenario, 11, Some(1.0));
        assert!(first == run(scenario, 11, Some(1.0)), "{scenario}");
        assert_ne!(first.0, run(scenario, 12, Some(1.0)).0, "{scenario}");
    }
}

#[test]
fn emissions_come_in_order() {
    for scenario in [Scenario::BufferedNode, Scenario::ClockStep, Scenario::Demo] {
        let mut last = i64::MIN;
        for emission in World::new(scenario, 2) {
            assert!(emission.at_micros >= last, "{scenario}");
            last = emission.at_micros;
        }
    }
}

#[test]
fn a_buffering_node_sends_everything_late() {
    let mut world = World::new(Scenario::BufferedNode, 2);
    let late: Vec<i64> = world.by_ref().map(|emission| emission.at_micros - emission.time_micros).collect();
    assert!(late.iter().any(|late| *late > 3_500_000_000));
    let expected = world.now_s() * 4.0;
    assert!((late.len() as f64 - expected).abs() < 3.0, "{}", late.len());
}

#[test]
fn truth_windows_are_consistent() {
    for &scenario in Scenario::RECOGNITION.iter().filter(|scenario| **scenario != Scenario::Week) {
        let mut world = World::new(scenario, 4);
        let facts: Vec<_> = world.facts().cloned().collect();
        while world.step() {}
        let truth = world.take_truth();
        let mut last_ended = vec![i64::MIN; facts.len()];
        assert!(cycles(&truth).len() >= 30, "{scenario}");
        for cycle in cycles(&truth) {
            let index = facts.iter().position(|facts| facts.name == cycle.machine).expect("known");
            let facts = &facts[index];
            let instants = [&cycle.started, &cycle.rinse_started, &cycle.rinse_ended];
            let [started, rinse_started, rinse_ended] =
                instants.map(|text| parse_rfc3339(text).expect("a timestamp") - micros(cycle.clock_error_s));
            assert!(last_ended[index] <= started && started < rinse_started && rinse_started < rinse_ended);
            last_ended[index] = rinse_ended;
            let wash_s = (rinse_started - started) as f64 * 1e-6;
            // Timers are within three deviations each, and steps are 0.05 s.
            assert!((wash_s - facts.wash_s - facts.pause_s).abs() < 1.1, "{scenario} {wash_s}");
            let rinse_s = (rinse_ended - rinse_started) as f64 * 1e-6;
            let plate_s = f64::from(cycle.racks) * facts.rinse_s;
            assert!(cycle.aborted || (rinse_s - plate_s).abs() < 0.6, "{scenario} {rinse_s}");
            assert!(cycle.dwell_s <= rinse_s + 0.11);
            if let (Some(min_c), Some(purged_c)) = (cycle.rinse_min_c, cycle.rinse_purged_min_c) {
                assert!(min_c <= cycle.rinse_max_c && purged_c <= cycle.rinse_max_c);
            }
        }
    }
}

/// Each scenario shows what its name says. The bounds are our own; they keep the scenarios hard.
#[test]
fn scenarios_show_what_they_promise() {
    type Test = fn(&CycleTruth) -> bool;
    let share = |scenario, test: Test| {
        let (_, truth) = run(scenario, 1, None);
        let all = cycles(&truth);
        all.iter().filter(|cycle| test(cycle)).count() as f64 / all.len() as f64
    };
    let cold = |cycle: &CycleTruth| cycle.expected == crate::truth::Expected::Cold;
    let weak = |cycle: &CycleTruth| cycle.expected == crate::truth::Expected::Weak;
    // scenario, what is counted, smallest and largest share
    let table: [(Scenario, Test, f64, f64); 14] = [
        (Scenario::Rush, cold, 0.0, 0.0),
        (Scenario::HeatSoaked, |cycle| cycle.swing_c < 9.0, 0.8, 1.0),
        (Scenario::BoosterDead, cold, 0.2, 0.5),
        (Scenario::BoosterUndersized, cold, 0.3, 0.9),
        (Scenario::ThermostatDrift, cold, 0.3, 0.9),
        (Scenario::OpenCircuit, |cycle| !cycle.observable, 0.1, 0.6),
        (Scenario::Stuck, |cycle| !cycle.observable, 0.05, 0.5),
        (Scenario::Aborted, |cycle| cycle.aborted, 0.05, 0.3),
        (Scenario::Chlorine, cold, 0.05, 0.5),
        (Scenario::ChlorineWeak, weak, 0.3, 0.7),
        (Scenario::DumpAndRefill, cold, 0.05, 0.5),
        (Scenario::WashLow, |cycle| cycle.wash_min_c < 66.0, 0.3, 1.0),
        (Scenario::TooHot, |cycle| cycle.rinse_max_c > 90.0, 0.3, 0.95),
        (Scenario::Conveyor, |cycle| cycle.dwell_s > 60.0, 0.3, 1.0),
    ];
    for (scenario, test, least, most) in table {
        let part = share(scenario, test);
        assert!((least..=most).contains(&part), "{scenario}: {part}");
    }
}

#[test]
fn the_demo_shows_a_cold_cycle_soon() {
    let (_, truth) = run(Scenario::Demo, 1, Some(0.2));
    let first = cycles(&truth).into_iter().find(|cycle| cycle.expected == crate::truth::Expected::Cold);
    let ended = parse_rfc3339(&first.expect("the booster trips").rinse_ended).expect("a timestamp");
    let start = World::new(Scenario::Demo, 1).start_micros();
    assert!(ended - start < 500_000_000, "{} s", (ended - start) / 1_000_000);
    assert!(
        cycles(&truth)
            .iter()
            .any(|cycle| parse_rfc3339(&cycle.rinse_ended).is_ok_and(|at| at - start < 90_000_000))
    );
}

#[test]
fn no_cycle_is_cut_by_the_end() {
    for hours in [0.05, 0.06, 0.07, 0.08] {
        let mut plan = Scenario::Demo.plan();
        plan.hours = hours;
        let mut world = World::of(&plan, 3, MIDNIGHT_MICROS);
        while world.step() {}
        assert!((0..2).all(|index| world.machine(index).is_some_and(|machine| !machine.is_running())));
        assert!(world.now_s() >= hours * 3_600.0 && world.now_s() < hours * 3_600.0 + 150.0);
    }
}

/// The other chemicals: the same machine, judged by another range.
#[test]
fn iodine_and_quat_machines_pass_when_well() {
    for spec in [catalog::iodine("dm1"), catalog::quat("dm1")] {
        let meals = vec![crate::day::Meal::hours(0.0, 1.0).uncleaned()];
        let machines = vec![MachinePlan { spec, meals, faults: vec![], warm: true }];
        let plan = Plan { clock_s: 0.0, hours: 1.0, machines, opens_s: None };
        let mut world = World::of(&plan, 1, MIDNIGHT_MICROS);
        while world.step() {}
        let truth = world.take_truth();
        assert!(cycles(&truth).len() > 10);
        assert!(cycles(&truth).iter().all(|cycle| cycle.expected == crate::truth::Expected::Pass));
    }
}

/// A machine runs much faster than real time even without optimisation; the figure of a release
/// build is printed by `cargo test --release -- --nocapture`.
#[test]
fn a_machine_runs_fast() {
    let began = Instant::now();
    let (text, _) = run(Scenario::Rush, 1, None);
    let speed = Scenario::Rush.plan().hours * 3_600.0 / began.elapsed().as_secs_f64();
    assert!(speed > 2_000.0 && !text.is_empty(), "{speed:.0} times real time");
}
