//! The shipped queries, asked of a real server that holds cycles whose answer is known.
//!
//! Only the MetricsQL ones: the Flux ones need an InfluxDB 2, and none can be had here.

use std::collections::BTreeMap;
use std::path::Path;
use std::time::Duration;

use rinseward::core::cycle::verdict::Verdict;
use rinseward::core::record::{Body, Record};
use rinseward::core::time::Timestamp;
use rinseward::series::answer::Outcome;
use rinseward::series::batch::Batch;
use rinseward::series::record;

use super::victoria::Victoria;
use super::{options, sender};
use crate::ledger::fixture;

const HOUR: u64 = 3_600;

/// A question as it is shipped, without its comments.
fn question(name: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("deploy/series").join(name);
    let text = std::fs::read_to_string(path).expect("a shipped file");
    text.lines().filter(|line| !line.starts_with('#')).collect::<Vec<&str>>().join(" ")
}

/// Midnight of a day of March 2026, UTC.
fn midnight(day: u64) -> Timestamp {
    let first: Timestamp = "2026-03-01T00:00:00Z".parse().expect("a time");
    first.plus(Duration::from_secs((day - 1) * 24 * HOUR))
}

/// A cycle with this rinse minimum.
fn cycle(machine: &str, at: Timestamp, rinse_min_c: f64, verdict: Verdict) -> Record {
    let mut record = fixture::cycle(machine, 0.0, verdict);
    if let Body::Cycle(cycle) = &mut record.body {
        cycle.rinse_started = at;
        cycle.rinse_min_c = Some(rinse_min_c);
    }
    record
}

async fn server_with(cycles: &[Record]) -> Victoria {
    let server = Victoria::start();
    let mut batch = Batch::default();
    for (index, record) in (0..).zip(cycles) {
        batch.push(&record::point("kitchen", index, record)).expect("a plain point");
    }
    let sender = sender(&options(&server.url()));
    assert_eq!(sender.write(batch.lines()).await, Outcome::Taken);
    server
}

/// Asks; values by the label and the time of each, in seconds since the first of March.
fn ask(server: &Victoria, name: &str, label: &str, range: &str) -> BTreeMap<(String, i64), f64> {
    let answer = server.question(&question(name), range);
    let results = answer["data"]["result"].as_array().expect("results");
    let mut values = BTreeMap::new();
    for result in results {
        let of = result["metric"][label].as_str().expect("the label").to_owned();
        let pairs = result["values"].as_array().cloned().unwrap_or_else(|| vec![result["value"].clone()]);
        for pair in pairs {
            let at = pair[0].as_i64().expect("whole seconds") - midnight(1).micros() / 1_000_000;
            let value = pair[1].as_str().and_then(|text| text.parse().ok()).expect("a number");
            values.insert((of.clone(), at), value);
        }
    }
    values
}

fn close(one: f64, other: f64) -> bool {
    (one - other).abs() < 1e-6
}

#[tokio::test]
async fn the_coldest_rinse_of_each_day() {
    let at = |day, hour| midnight(day).plus(Duration::from_secs(hour * HOUR));
    let pass = Verdict::Pass;
    let cycles = [
        cycle("dm1", at(1, 9), 85.1, pass),
        cycle("dm1", at(1, 12), 82.9, pass),
        cycle("dm1", at(1, 23), 84.0, pass),
        cycle("dm1", at(2, 8), 71.3, Verdict::Cold),
        cycle("dm1", at(2, 9), 85.0, pass),
        cycle("dm2", at(2, 10), 86.2, pass),
    ];
    let server = server_with(&cycles).await;
    let range = format!("query_range?start={}&end={}&step=86400", seconds(midnight(2)), seconds(midnight(3)));
    let found = ask(&server, "coldest-rinse.metricsql", "machine", &range);
    let day = |machine: &str, day: i64| (machine.to_owned(), day * 86_400);
    let expected = [(day("dm1", 1), 82.9), (day("dm1", 2), 71.3), (day("dm2", 2), 86.2)];
    assert_eq!(found, expected.into_iter().collect());
}

#[tokio::test]
async fn the_share_of_cold_cycles_by_hour() {
    let mut cycles = Vec::new();
    for day in 1..=5 {
        for rack in 0..10 {
            // At eight, on a cold start, three of ten; at noon one of ten; at six in the evening none.
            for (hour, cold) in [(8, 3), (12, 1), (18, 0)] {
                let at = midnight(day).plus(Duration::from_secs(hour * HOUR + rack * 300 + 1));
                let verdict = if rack < cold { Verdict::Cold } else { Verdict::Pass };
                cycles.push(cycle("dm1", at, 84.0, verdict));
            }
        }
    }
    let server = server_with(&cycles).await;
    let range = format!("query?time={}", seconds(midnight(6)));
    let found = ask(&server, "cold-share.metricsql", "hour", &range);
    let hours: Vec<(&str, f64)> = found.iter().map(|((hour, _), share)| (hour.as_str(), *share)).collect();
    let is_right = hours.len() == 3
        && [("08", 0.3), ("12", 0.1), ("18", 0.0)]
            .iter()
            .zip(&hours)
            .all(|(expected, found)| expected.0 == found.0 && close(expected.1, found.1));
    assert!(is_right, "{hours:?}");
}

#[tokio::test]
async fn how_the_booster_recovers_in_the_rush() {
    let mut cycles = Vec::new();
    for rack in 0..30 {
        let at = |hour| midnight(1).plus(Duration::from_secs(hour * HOUR + rack * 120 + 1));
        // 0.1 K colder with each rack, thirty racks in an hour: 3 K per hour. The other keeps its own.
        cycles.push(cycle("tired", at(12), 86.0 - 0.1 * rack as f64, Verdict::Pass));
        cycles.push(cycle("sound", at(12), 86.0, Verdict::Pass));
        // An hour of ten racks is no rush.
        if rack < 10 {
            cycles.push(cycle("tired", at(15), 86.0 - 0.5 * rack as f64, Verdict::Pass));
        }
    }
    let server = server_with(&cycles).await;
    let day = midnight(1);
    let range = format!(
        "query_range?start={}&end={}&step=3600",
        seconds(day),
        seconds(day.plus(Duration::from_secs(86_400)))
    );
    let found = ask(&server, "booster-recovery.metricsql", "machine", &range);
    let at_one = 13 * 3_600;
    let keys: Vec<(String, i64)> = found.keys().cloned().collect();
    assert_eq!(keys, [("sound".to_owned(), at_one), ("tired".to_owned(), at_one)], "{found:?}");
    let trend = |machine: &str| found[&(machine.to_owned(), at_one)];
    assert!(close(trend("sound"), 0.0) && (trend("tired") + 3.0).abs() < 0.01, "{found:?}");
}

fn seconds(at: Timestamp) -> i64 {
    at.micros() / 1_000_000
}
