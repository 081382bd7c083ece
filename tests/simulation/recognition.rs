//! Recognition, scored against the truth over every scenario and several seeds.

use std::collections::BTreeMap;

use rinseward::core::record::{Body, Record};
use rinseward::core::time::Timestamp;
use rinseward_simulator::checker::{self, Score, Table};
use rinseward_simulator::scenario::Scenario;
use rinseward_simulator::truth::TruthEntry;
use rinseward_simulator::world::World;

use crate::gateway::{Gateway, Response};

/// Scenarios that a probe of unknown response must not get wrong in the unsafe direction.
const UNKNOWN_RESPONSE: [Scenario; 6] = [
    Scenario::Rush,
    Scenario::BoosterDead,
    Scenario::BoosterUndersized,
    Scenario::ThermostatDrift,
    Scenario::SlowProbe,
    Scenario::DumpAndRefill,
];

/// Share of the racks that may be called brief though they were good (own choice): each is a critical
/// alert, and a kitchen of a thousand racks a week would hear of one in two weeks.
const FALSELY_BRIEF_MAX: f64 = 0.000_5;

/// Every scenario and seed with the probes' response on file.
///
/// `SEEDS=20 cargo test --release --test simulation recognition -- --nocapture` prints the table
/// of 20 seeds; `SCENARIO=rush` picks one scenario, `DETAIL=1` prints what went wrong.
#[test]
fn recognition_meets_its_budget() {
    let table = score(Scenario::RECOGNITION, Response::OnFile);
    let whole = table.total();
    assert!(whole.recall() >= 0.995, "recall {}", whole.recall());
    assert!(whole.precision() >= 0.995, "precision {}", whole.precision());
    assert_eq!(whole.cold_called_pass, 0, "a cold cycle was called a pass");
    let falsely_brief = whole.pass_called_brief as f64;
    assert!(falsely_brief <= FALSELY_BRIEF_MAX * whole.recognised as f64, "{falsely_brief} good racks brief");
}

#[test]
fn an_unknown_response_never_hides_a_cold_cycle() {
    let whole = score(&UNKNOWN_RESPONSE, Response::Unknown).total();
    assert!(whole.recall() >= 0.98, "recall {}", whole.recall());
    assert_eq!(whole.cold_called_pass, 0, "a cold cycle was called a pass");
}

/// Each scenario is played by a thread of its own; the rows keep their order.
#[expect(clippy::print_stdout, reason = "the table is what this test is run for")]
fn score(scenarios: &[Scenario], response: Response) -> Table {
    let only = std::env::var("SCENARIO").ok();
    let seeds = std::env::var("SEEDS").ok().and_then(|text| text.parse().ok()).unwrap_or(1);
    let wanted = scenarios.iter().filter(|one| only.as_deref().is_none_or(|only| only == one.as_str()));
    let table = std::thread::scope(|scope| {
        let players: Vec<_> =
            wanted.map(|scenario| (scenario, scope.spawn(|| row(*scenario, seeds, response)))).collect();
        let mut table = Table::default();
        for (scenario, player) in players {
            table.add(scenario.as_str(), &player.join().expect("the scenario is played to its end"));
        }
        table
    });
    println!("{table}");
    table
}

/// The sum of one scenario's seeds.
fn row(scenario: Scenario, seeds: u64, response: Response) -> Score {
    let mut sum = Score::default();
    for seed in 1..=seeds {
        let report = play(scenario, seed, response);
        if std::env::var_os("DETAIL").is_some() {
            detail(scenario, seed, &report);
        }
        sum.add(&report.score);
    }
    sum
}

/// One scenario and seed, played through the core.
fn play(scenario: Scenario, seed: u64, response: Response) -> checker::Report {
    let mut world = World::new(scenario, seed);
    let mut gateway = Gateway::of(&world, response);
    let mut truth: Vec<TruthEntry> = Vec::new();
    while let Some(emission) = world.next() {
        gateway.take(&emission);
        truth.extend(world.take_truth());
    }
    truth.extend(world.take_truth());
    gateway.finish();
    check_order(scenario, seed, &gateway.records);
    checker::compare(&truth, &gateway.rows()).expect("both sides write RFC 3339 times")
}

/// Time never runs back on record, but after a step of a clock, and no machine is in two cycles at once.
fn check_order(scenario: Scenario, seed: u64, records: &[Record]) {
    let mut recorded = None;
    let mut ended: BTreeMap<&str, Timestamp> = BTreeMap::new();
    for record in records {
        assert!(
            recorded <= Some(record.recorded),
            "SEED={seed} {scenario}: recorded before the one before it: {record:?}"
        );
        recorded = Some(record.recorded);
        let Some(machine) = record.machine.as_deref() else { continue };
        match &record.body {
            Body::Cycle(cycle) => {
                let inside = cycle.started <= cycle.rinse_started && cycle.rinse_started <= cycle.rinse_ended;
                assert!(inside, "SEED={seed} {scenario}: a cycle runs back: {cycle:?}");
                let before = ended.insert(machine, cycle.rinse_ended);
                let apart = before.is_none_or(|before| before <= cycle.started);
                assert!(
                    apart,
                    "SEED={seed} {scenario}: overlaps the one that ended at {before:?}: {cycle:?}"
                );
            }
            Body::ClockStep(_) => {
                ended.remove(machine);
            }
            Body::Gap(_)
            | Body::Check(_)
            | Body::ServiceStart(_)
            | Body::ServiceStop(_)
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
            | Body::Access(_) => {}
        }
    }
}

#[expect(clippy::print_stdout, reason = "asked for by the variable DETAIL")]
fn detail(scenario: Scenario, seed: u64, report: &checker::Report) {
    for cycle in &report.missed {
        println!("{scenario} seed {seed}, missed: {cycle:?}");
    }
    for row in &report.invented {
        println!("{scenario} seed {seed}, invented: {row:?}");
    }
    for (cycle, row) in &report.misjudged {
        println!("{scenario} seed {seed}, misjudged: {cycle:?}\n  as {row:?}");
    }
}
