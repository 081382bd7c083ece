//! The checker is checked with cycles made from the truth itself.

use super::*;
use crate::scenario::Scenario;
use crate::world::World;

fn truth_of(scenario: Scenario) -> Vec<TruthEntry> {
    let mut world = World::new(scenario, 3);
    while world.step() {}
    world.take_truth()
}

fn perfect(truth: &[TruthEntry]) -> Vec<CycleRow> {
    let mut rows = Vec::new();
    for entry in truth {
        if let TruthEntry::Cycle(cycle) = entry {
            let verdict = serde_json::to_value(cycle.expected).expect("an enum of words");
            rows.push(CycleRow {
                machine: cycle.machine.clone(),
                started: cycle.started.clone(),
                rinse_started: Some(cycle.rinse_started.clone()),
                rinse_ended: Some(cycle.rinse_ended.clone()),
                verdict: verdict.as_str().expect("a word").to_owned(),
                rinse_min_c: cycle.rinse_min_c,
                rinse_min_corrected_c: None,
                basis: Some("raw".to_owned()),
                limit_c: Some(cycle.limit_c),
                dwell_s: Some(cycle.dwell_s),
            });
        }
    }
    rows
}

#[test]
fn the_truth_scores_perfectly() {
    for scenario in [Scenario::BoosterDead, Scenario::Aborted, Scenario::ClockStep, Scenario::Demo] {
        let truth = truth_of(scenario);
        let score = compare(&truth, &perfect(&truth)).expect("valid times").score;
        assert!(score.recognised > 50, "{scenario}: {score:?}");
        assert_eq!((score.missed, score.invented, score.cold_called_pass), (0, 0, 0), "{scenario}");
        assert!((score.recall() - 1.0).abs() < 1e-12 && (score.precision() - 1.0).abs() < 1e-12);
        assert!(score.min_errors_c.iter().all(|error_c| *error_c < 1e-9), "{scenario}");
    }
}

#[test]
fn each_failure_is_counted_as_what_it_is() {
    let truth = truth_of(Scenario::BoosterDead);
    let mut rows = perfect(&truth);
    let cold = rows.iter().position(|row| row.verdict == "cold").expect("the booster died");
    "pass".clone_into(&mut rows[cold].verdict);
    let good = rows.iter().position(|row| row.verdict == "pass").expect("the booster worked at first");
    "brief".clone_into(&mut rows[good].verdict);
    let missed = rows.remove(cold + 1);
    let hose =
        truth.iter().find_map(|entry| if let TruthEntry::Hose(span) = entry { Some(span) } else { None });
    let hose = hose.expect("the machine was cleaned");
    let mut invented = missed.clone();
    invented.rinse_started = Some(hose.started.clone());
    invented.rinse_ended = Some(hose.ended.clone());
    rows.push(invented);
    let report = compare(&truth, &rows).expect("valid times");
    assert_eq!((report.score.missed, report.score.invented, report.score.cold_called_pass), (1, 1, 1));
    assert_eq!(report.score.pass_called_brief, 1);
    assert_eq!(report.misjudged.len(), 2, "both are shown in full");
    assert_eq!(report.missed[0].rinse_started, missed.rinse_started.expect("it had a rinse"));
    assert_eq!(report.invented_during.get("hose"), Some(&1));
}

#[test]
fn a_quantile_is_the_nearest_rank() {
    // Nearest rank of 95 % of 1..=20 is the 19th (any textbook of statistics).
    let ascending: Vec<f64> = (1..=20).map(f64::from).collect();
    assert_eq!(quantile(&ascending, 0.95), Some(19.0));
    assert_eq!(quantile(&[], 0.95), None);
}
