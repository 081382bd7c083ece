//! Recognition, scored against the truth over every scenario and several seeds.

use rinseward_simulator::checker::{self, Score, Table};
use rinseward_simulator::scenario::Scenario;
use rinseward_simulator::truth::TruthEntry;
use rinseward_simulator::world::World;

use crate::gateway::{Gateway, Response};

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
    if let Ok(dump) = std::env::var("DUMP") {
        let lines = |entries: Vec<String>| entries.join("\n");
        let json = |row: &checker::CycleRow| serde_json::to_string(row).expect("a row is JSON");
        std::fs::write(
            format!("{dump}/{scenario}-{seed}.cycles"),
            lines(gateway.rows().iter().map(json).collect()),
        )
        .expect("the dump folder can be written");
        let json = |entry: &TruthEntry| serde_json::to_string(entry).expect("an entry is JSON");
        std::fs::write(format!("{dump}/{scenario}-{seed}.truth"), lines(truth.iter().map(json).collect()))
            .expect("the dump folder can be written");
    }
    checker::compare(&truth, &gateway.rows()).expect("both sides write RFC 3339 times")
}

fn seeds() -> u64 {
    std::env::var("SEEDS").ok().and_then(|text| text.parse().ok()).unwrap_or(2)
}

/// `SEEDS=20 cargo test --release --test simulation recognition -- --nocapture` prints the table.
#[test]
#[expect(clippy::print_stdout, reason = "the table is what this test is run for")]
fn recognition_meets_its_budget() {
    let only = std::env::var("SCENARIO").ok();
    let mut table = Table::default();
    let mut whole = Score::default();
    for scenario in Scenario::ALL {
        if only.as_deref().is_some_and(|only| only != scenario.as_str()) {
            continue;
        }
        let mut score = Score::default();
        for seed in 1..=seeds() {
            let report = play(*scenario, seed, Response::OnFile);
            if std::env::var("DETAIL").is_ok() {
                for cycle in &report.missed {
                    println!("missed seed {seed}: {cycle:?}");
                }
                for row in &report.invented {
                    println!("invented seed {seed}: {row:?}");
                }
                for (cycle, row) in &report.misjudged {
                    println!("misjudged seed {seed}: {cycle:?}\n   as {row:?}");
                }
            }
            score.add(&report.score);
        }
        table.add(scenario.as_str(), &score);
        whole.add(&score);
    }
    println!("{table}");
    assert!(whole.recall() >= 0.995, "recall {}", whole.recall());
    assert!(whole.precision() >= 0.995, "precision {}", whole.precision());
    assert_eq!(whole.cold_called_pass, 0, "cold called pass");
}
