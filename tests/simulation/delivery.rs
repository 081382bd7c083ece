//! What the link does to the packs must not show in the cycles.

use rinseward::core::record::{Body, Cycle};
use rinseward::core::time::Timestamp;
use rinseward_simulator::dice::Dice;
use rinseward_simulator::node::Emission;
use rinseward_simulator::scenario::Scenario;
use rinseward_simulator::world::World;

use crate::gateway::{Gateway, Response};

const SEED: u64 = 1;
/// Longest time that a pack is early or late, µs; well inside the window of 5 s.
const SHIFT_MICROS: f64 = 2e6;
/// Share of the packs that come twice, as an unacknowledged one does (OASIS MQTT, QoS 1).
const TWICE: f64 = 0.1;

#[test]
fn shuffled_and_repeated_packs_give_the_same_cycles() {
    for scenario in [
        Scenario::Rush,
        Scenario::BoosterDead,
        Scenario::Spikes,
        Scenario::Dropouts,
        Scenario::RunSignal,
        Scenario::Conveyor,
        Scenario::Chlorine,
    ] {
        let in_order: Vec<Emission> = World::new(scenario, SEED).collect();
        let expected = play(scenario, &in_order);
        let found = play(scenario, &disturbed(&in_order));
        assert!(!expected.is_empty(), "{scenario}: nothing to compare");
        assert_eq!(expected, found, "SEED={SEED} {scenario}");
    }
}

/// The packs as a poor link delivers them: each shifted, some twice.
fn disturbed(packs: &[Emission]) -> Vec<Emission> {
    let mut dice = Dice::new(SEED, 1_000);
    let mut arrivals = Vec::with_capacity(packs.len() * 2);
    for pack in packs {
        let copies = if dice.chance(TWICE) { 2 } else { 1 };
        for _ in 0..copies {
            #[expect(clippy::cast_possible_truncation, reason = "a few seconds in microseconds")]
            let late = dice.uniform(0.0, 2.0 * SHIFT_MICROS) as i64;
            arrivals.push(Emission { at_micros: pack.at_micros + late, ..pack.clone() });
        }
    }
    arrivals.sort_by_key(|pack| pack.at_micros);
    arrivals
}

/// The cycles on record, without the time of their arrival.
fn play(scenario: Scenario, packs: &[Emission]) -> Vec<Cycle> {
    let mut gateway = Gateway::of(&World::new(scenario, SEED), Response::OnFile);
    for pack in packs {
        gateway.take(pack);
    }
    gateway.finish();
    let cycles = gateway.records.into_iter().filter_map(|record| match record.body {
        Body::Cycle(cycle) => Some(Cycle { received: Timestamp::MIN, ..*cycle }),
        Body::Gap(_)
        | Body::Check(_)
        | Body::ServiceStart(_)
        | Body::ServiceStop(_)
        | Body::ClockStep(_)
        | Body::ConfigurationChange(_)
        | Body::MachineFailure(_)
        | Body::AlertRaised(_)
        | Body::AlertChanged(_)
        | Body::AlertAcknowledged(_)
        | Body::AlertCleared(_)
        | Body::AlertClosed(_)
        | Body::CorrectiveAction(_)
        | Body::Notification(_)
        | Body::Maintenance(_)
        | Body::Note(_)
        | Body::Amendment(_)
        | Body::SigningKey(_)
        | Body::LawfulHold(_)
        | Body::Pruned(_)
        | Body::Import(_)
        | Body::Restored(_)
        | Body::Calibration(_)
        | Body::Response(_)
        | Body::WiringProof(_)
        | Body::SignOff(_)
        | Body::Access(_) => None,
    });
    cycles.collect()
}
