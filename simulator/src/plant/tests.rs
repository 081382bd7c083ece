//! The plant against the laws it stands on.

use proptest::prelude::*;

use super::*;
use crate::catalog::{MachineSpec, chlorine, conveyor, dual_temperature, dump_and_refill};
use crate::dice::Dice;
use crate::time::STEP_S;

fn plant(machine: &MachineSpec, warm: bool) -> Plant {
    let supply = Supply::new(machine.plant.supply, Dice::new(1, 0));
    let spec = machine.plant.clone();
    if warm { Plant::warm(spec, supply) } else { Plant::cold(spec, supply) }
}

fn kinds() -> [MachineSpec; 4] {
    [dual_temperature("a"), conveyor("b"), chlorine("c"), dump_and_refill("d")]
}

/// Runs a plant and returns the part of the heat that is unaccounted for.
fn imbalance(plant: &mut Plant, legs: &[(Drive, u32)]) -> f64 {
    let before_j = plant.stored_j();
    let mut ware = Ware { heat_j_per_k: 10_000.0, at_c: 23.0 };
    for (drive, steps) in legs {
        for step in 0..*steps {
            plant.step(STEP_S, f64::from(step) * STEP_S, drive, &Weakness::default(), Some(&mut ware));
        }
    }
    let audit = plant.audit();
    let gained_j = plant.stored_j() - before_j;
    (gained_j - (audit.in_j - audit.out_j)).abs() / (audit.in_j + audit.out_j.abs() + 1.0)
}

fn drives() -> impl Strategy<Value = Drive> {
    (any::<[bool; 4]>(), 0.0..0.7_f64, 0.0..1.0_f64).prop_map(|(flags, flow_kg_per_s, into_tank)| {
        let [power, pump, drain, rinse_on_ware] = flags;
        Drive { power, pump, flow_kg_per_s, into_tank, drain, rinse_on_ware }
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    /// First law of thermodynamics: what is stored is what came in less what went out, whatever is
    /// done to the machine.
    #[test]
    fn the_heat_balance_closes(
        legs in prop::collection::vec((drives(), 1..4_000_u32), 1..8),
        warm in any::<bool>(),
    ) {
        for machine in kinds() {
            let part = imbalance(&mut plant(&machine, warm), &legs);
            prop_assert!(part < 1e-9, "{}: {part}", machine.facts.name);
        }
    }

    /// No water is hotter than the hottest source or colder than the coldest: the second law.
    #[test]
    fn temperatures_stay_between_their_sources(
        legs in prop::collection::vec((drives(), 1..4_000_u32), 1..8),
    ) {
        for machine in kinds() {
            let mut plant = plant(&machine, true);
            let _part = imbalance(&mut plant, &legs);
            for at_c in [plant.line_c(), plant.tank().water_c(), plant.body_c(), plant.hood_c()] {
                prop_assert!((15.0..100.0).contains(&at_c), "{}: {at_c}", machine.facts.name);
            }
        }
    }
}

#[test]
fn a_tank_heats_at_the_rate_of_its_power() {
    // (m c + walls) dT/dt = P - losses: 42 kg with 6 kW from 50 °C rises by about 1.85 K a minute.
    let machine = dual_temperature("dm1");
    let mut tank = Tank::new(machine.plant.tank.clone(), 42.0, 50.0);
    let drive = TankDrive {
        power: true,
        strength: 1.0,
        pump: false,
        drain: false,
        inflow_kg_per_s: 0.0,
        inflow_c: 0.0,
        ware_w: 0.0,
        ambient_c: 24.0,
    };
    for _ in 0..1_200 {
        tank.step(STEP_S, &drive, &mut Audit::default());
    }
    let expected_c = 50.0 + (6_000.0 - 8.0 * 27.0) * 60.0 / (42.0 * WATER_J_PER_KG_K + 9_000.0);
    assert!((tank.water_c() - expected_c).abs() < 0.05, "{} {expected_c}", tank.water_c());
}

#[test]
fn a_dead_booster_ends_at_the_supply() {
    // Once the booster's water is replaced, the rinse can be no warmer than the supply and the
    // little heat its shell still gives.
    let machine = dual_temperature("dm1");
    let mut plant = plant(&machine, true);
    let drive = Drive { power: true, flow_kg_per_s: 0.29, into_tank: 1.0, ..Drive::default() };
    let dead = Weakness { booster: 0.0, ..Weakness::default() };
    for _ in 0..6_000 {
        plant.step(STEP_S, 40_000.0, &drive, &dead, None);
    }
    let supply_c = machine.plant.supply.mean_c;
    assert!((plant.line_c() - supply_c).abs() < 5.0, "{}", plant.line_c());
}
