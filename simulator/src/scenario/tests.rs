//! The scenarios of alerts against the truth of their water.

use super::*;
use crate::catalog::MachineFacts;
use crate::truth::{CycleTruth, Expected as Verdict, TruthEntry};
use crate::world::World;

fn cycles(scenario: Scenario, seed: u64) -> Vec<CycleTruth> {
    let mut world = World::new(scenario, seed);
    while world.step() {}
    let mut cycles = Vec::new();
    for entry in world.take_truth() {
        if let TruthEntry::Cycle(cycle) = entry {
            cycles.push(*cycle);
        }
    }
    cycles
}

/// A condition, and whether the water of a cycle shows it.
type Sight = (Condition, fn(&MachineFacts, &CycleTruth) -> bool);

/// What the water shows by itself; what lies in the eye of the beholder is left out.
const IN_THE_WATER: [Sight; 5] = [
    (Cold, |_, cycle| cycle.expected == Verdict::Cold),
    (Brief, |_, cycle| cycle.expected == Verdict::Brief),
    (Weak, |_, cycle| cycle.expected == Verdict::Weak),
    (WashLow, |facts, cycle| cycle.wash_min_c < facts.wash_min_c),
    (RinseHot, |facts, cycle| cycle.rinse_max_c > facts.rinse_max_c),
];

/// Cold, brief, weak, low and hot water is there where it is to be raised, and nowhere else.
#[test]
fn the_water_is_what_the_aim_says() {
    for &scenario in Scenario::ALERTS {
        for seed in [1, 2, 3] {
            let cycles = cycles(scenario, seed);
            for machine in scenario.plan().machines {
                let facts = &machine.spec.facts;
                let name = &facts.name;
                for (condition, shows) in IN_THE_WATER {
                    let own = cycles.iter().filter(|cycle| cycle.machine == *name);
                    let shown = own.filter(|cycle| shows(facts, cycle)).count();
                    let raises = |one: &Expected| one.machine == name && one.condition == condition;
                    let aimed = scenario.aim().expected().iter().any(raises);
                    assert_eq!(shown > 0, aimed, "SEED={seed} {scenario} {name}: {shown} {condition}");
                }
            }
        }
    }
}

/// The first rack after a rest is cold and no other one; a failed booster makes many cold in a row.
#[test]
fn a_pattern_is_in_the_water() {
    for seed in [1, 2, 3] {
        let in_a_row = |scenario| {
            let cold = cycles(scenario, seed).into_iter().filter(|cycle| cycle.machine == "dm1");
            let cold: Vec<bool> = cold.map(|cycle| cycle.expected == Verdict::Cold).collect();
            cold.windows(2).filter(|pair| pair[0] && pair[1]).count()
        };
        assert_eq!(in_a_row(Scenario::FirstRackCold), 0, "SEED={seed}");
        assert!(in_a_row(Scenario::BoosterFails) >= 5, "SEED={seed}");
    }
}

/// Every condition is raised by a scenario and nearly raised by another, or not by water at all.
#[test]
fn every_condition_has_both_sides() {
    for condition in Condition::ALL {
        let raised = |scenario: &&Scenario| {
            scenario.aim().expected().iter().any(|expected| expected.condition == *condition)
        };
        let raising = Scenario::ALERTS.iter().filter(raised).count();
        let near = |scenario: &&Scenario| scenario.aim() == Aim::NearlyRaises(*condition);
        let near = Scenario::ALERTS.iter().filter(near).count();
        let dry = NOT_FROM_WATER.iter().any(|(other, _)| other == condition);
        assert!((raising > 0 && near > 0) || dry, "{condition}");
    }
}
