//! Every point that leaves is found on the real server, and as it left.

use std::collections::BTreeMap;

use rinseward::config::resolve::Configuration;
use rinseward::config::series::Readings;
use rinseward::core::cycle::verdict::{Finding, Reason, Verdict};
use rinseward::core::on_file::OnFile;
use rinseward::core::reading::{self, Value};
use rinseward::core::record::{Body, Check, Gap, Record, ServiceStop, StopCause};
use rinseward::core::time::Timestamp;
use rinseward::series::answer::{Fault, Outcome};
use rinseward::series::batch::Batch;
use rinseward::series::point::{Field, Point};
use rinseward::series::reading::{Reading, ReadingPoints, Stretch, Thinning};
use rinseward::series::record;

use super::victoria::{Series, Victoria};
use super::{options, sender};

/// Name with tags, and milliseconds: what the server knows a value by.
type Sample = (BTreeMap<String, String>, i64);

/// What the real server keeps of these points: a number for each field, to the millisecond; of text
/// a zero.
fn kept(points: &[Point]) -> BTreeMap<Sample, f64> {
    let mut kept = BTreeMap::new();
    for point in points {
        for (name, value) in point.fields() {
            let value = match value {
                Field::Float(number) => *number,
                Field::Integer(number) => *number as f64,
                Field::Flag(flag) => f64::from(u8::from(*flag)),
                Field::Text(_) => 0.0,
            };
            let mut metric: BTreeMap<String, String> =
                point.tags().map(|(name, value)| (name.to_owned(), value.to_owned())).collect();
            metric.insert("__name__".to_owned(), format!("{}_{name}", point.measurement()));
            kept.insert((metric, point.nanos().div_euclid(1_000_000)), value);
        }
    }
    kept
}

fn found(series: Vec<Series>) -> BTreeMap<Sample, f64> {
    let mut found = BTreeMap::new();
    for series in series {
        for (at, value) in series.timestamps.iter().zip(&series.values) {
            found.insert((series.metric.clone(), *at), *value);
        }
    }
    found
}

fn assert_same(found: &BTreeMap<Sample, f64>, wanted: &BTreeMap<Sample, f64>, log: &str) {
    let same = |found: &f64, wanted: &f64| (found - wanted).abs() <= 1e-14 * wanted.abs();
    let is_there = |key: &Sample, wanted: &f64| found.get(key).is_some_and(|found| same(found, wanted));
    let lost: Vec<_> = wanted.iter().filter(|(key, value)| !is_there(key, value)).take(3).collect();
    let more: Vec<_> = found.keys().filter(|key| !wanted.contains_key(*key)).take(3).collect();
    let counts = (found.len(), wanted.len());
    assert!(lost.is_empty() && more.is_empty(), "{counts:?} lost {lost:#?} more {more:#?}\n{log}");
}

/// The names have every character to which line protocol gives a meaning, but none that no line
/// can hold.
#[tokio::test]
async fn points_with_any_legal_name_come_back() {
    let server = Victoria::start();
    let options = options(&server.url());
    let mut points = Vec::new();
    let start: Timestamp = "2026-11-25T10:00:00Z".parse().expect("a time");
    for (number, site) in
        ["kitchen", "Main St, 1", "a=b", "Großküche 日本", r"C:\kitchen", "\"quoted\"", "#1"]
            .into_iter()
            .enumerate()
    {
        let at = Timestamp::from_micros(start.micros() + 1_000 * i64::try_from(number).expect("few"));
        let point = Point::new("reading", at).tag("site", site.to_owned()).tag("probe", "rinse");
        points
            .push(point.float("celsius", 80.0 + 0.1 * number as f64).flag("flag", true).integer("fault", -3));
    }
    // Before 1970 the server keeps nothing; the earliest it takes is told by its own documentation.
    points.push(
        Point::new("reading", Timestamp::from_micros(1_000_000)).tag("site", "1970").float("celsius", 1e-7),
    );
    let mut batch = Batch::default();
    for point in &points {
        batch.push(point).expect("a legal point");
    }
    assert_eq!(sender(&options).write(batch.lines()).await, Outcome::Taken);
    assert_same(&found(server.export()), &kept(&points), &server.log());
}

const SITE: &str = "[[machine]]\nname = \"dm1\"\nkind = \"stationary-rack-dual-temperature\"\n\
                    probes = [\"wash\", \"rinse\", \"running\"]\n";

/// Readings of a day at 1 Hz of two probes, with faults and flags among them, in batches, once plain
/// and once compressed, each batch sent twice: the server has every one once.
#[tokio::test]
async fn a_day_of_readings_is_there_once_whatever_is_sent_twice() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let path = directory.path().join("gateway.toml");
    std::fs::write(&path, SITE).expect("our own directory");
    let loaded = Configuration::load(&[path], []).expect("a legal configuration");
    let points = ReadingPoints::new(&loaded.configuration, Readings::All);
    let server = Victoria::start();
    let start = 1_795_000_000_000_000_i64;
    let mut wanted: BTreeMap<(String, i64), f64> = BTreeMap::new();
    for (hour, gzip) in (0..24).zip([true, false].into_iter().cycle()) {
        let mut part = Vec::new();
        for probe in ["wash", "rinse", "running"] {
            let mut readings = Vec::new();
            for second in hour * 3_600..(hour + 1) * 3_600 {
                let at = Timestamp::from_micros(start + second * 1_000_000);
                let celsius = 60.0 + 0.25 * (second % 120) as f64;
                let (name, value, kept) = match (probe, second % 1_000) {
                    ("running", even) => {
                        ("reading_flag", Value::Flag(even < 500), f64::from(u8::from(even < 500)))
                    }
                    (_, 7) => ("reading_fault", Value::Fault(reading::Fault::OpenCircuit), 1.0),
                    (_, _) => ("reading_celsius", Value::Number(celsius), celsius),
                };
                readings.push(Reading { at, value });
                wanted.insert((format!("{name} {probe}"), at.micros() / 1_000), kept);
            }
            part.push(Stretch { channel: format!("dm1/{probe}"), readings });
        }
        let mut batch = Batch::default();
        assert!(
            points.write(&part, &[], &OnFile::default(), &mut Thinning::default(), &mut batch).is_empty()
        );
        let sender = sender(&{
            let mut options = options(&server.url());
            options.gzip = gzip;
            options
        });
        for _ in 0..2 {
            assert_eq!(sender.write(batch.lines()).await, Outcome::Taken);
        }
    }
    let mut found = BTreeMap::new();
    let mut count = 0;
    for series in server.export() {
        assert_eq!(series.metric.get("site").map(String::as_str), Some("site"));
        assert_eq!(series.metric.get("machine").map(String::as_str), Some("dm1"));
        let key = format!("{} {}", series.metric["__name__"], series.metric["probe"]);
        // Of text the server keeps a zero.
        if key.starts_with("reading_fault_name ") {
            assert!(series.values.iter().all(|value| value.abs() < f64::MIN_POSITIVE), "{key}");
            continue;
        }
        count += series.values.len();
        found.extend(
            series.timestamps.iter().zip(&series.values).map(|(at, value)| ((key.clone(), *at), *value)),
        );
    }
    assert_eq!(found.len(), 3 * 86_400);
    assert_eq!(count, found.len(), "a point twice");
    assert!(found == wanted, "values differ");
}

#[tokio::test]
async fn records_of_every_measurement_come_back() {
    let server = Victoria::start();
    let at = |seconds: i64| Timestamp::from_micros(1_795_000_000_000_000 + seconds * 1_000_000);
    let machine = || Some("dm1".to_owned());
    let check = Check::Sanitizer {
        at: at(1),
        mg_per_l: 75.0,
        ph: None,
        solution_c: None,
        method: None,
        by: "A. \"B\" Baker, jr.".to_owned(),
    };
    let gap = Gap {
        probe: "dm1/rinse".to_owned(),
        fault: reading::Fault::Silent,
        from: at(2),
        to: Some(at(14)),
        filled: true,
    };
    let bodies = [
        (machine(), Body::Cycle(Box::new(cycle(at(30))))),
        (machine(), Body::Check(check)),
        (machine(), Body::Gap(gap)),
        (None, Body::ServiceStop(ServiceStop { cause: StopCause::Signal })),
    ];
    let mut points: Vec<Point> = bodies
        .into_iter()
        .zip(41..)
        .map(|((machine, body), index)| {
            record::point("Main St, 1", index, &Record::new(at(100), machine, body))
        })
        .collect();
    let gauges =
        record::Gauges { records: 5, inputs: 9, records_waiting: 1, inputs_waiting: 2, set_aside: 0 };
    points.push(record::gauges("Main St, 1", at(60), &gauges));
    let mut batch = Batch::default();
    for point in &points {
        batch.push(point).expect("a record has a line");
    }
    assert_eq!(sender(&options(&server.url())).write(batch.lines()).await, Outcome::Taken);
    assert_same(&found(server.export()), &kept(&points), &server.log());
}

/// A cold cycle with every figure.
fn cycle(started: Timestamp) -> rinseward::core::record::Cycle {
    let json = serde_json::json!({
        "started": started, "rinse_started": started, "rinse_ended": started, "received": started,
        "machine_kind": "stationary-rack-dual-temperature", "sanitizing": "hot-water", "window_from": "trace",
        "verdict": Verdict::Cold, "reasons": [Reason::RinseBelowLimit { measured_c: 78.2, limit_c: 82.222 }],
        "findings": [Finding::WashLow { measured_c: 61.0, limit_c: 66.0 }],
        "rinse_min_c": 78.2, "rinse_min_raw_c": 78.2, "rinse_min_corrected_c": 78.1, "basis": "raw",
        "limit_c": 82.222, "limit_source": "food-code", "rinse_peak_c": 80.5, "settled_after_s": null,
        "dwell_s": 0.0, "dwell_required_s": 5.0, "area_below_c_s": 30.5, "wash_min_c": 61.0, "wash_limit_c": 66.0,
        "a0": 12.5, "hue": 4.0, "dose_basis": "water-side-estimate", "uncertainty_c": 0.9, "conformance": 0.001,
        "rule": "simple-acceptance", "concentration_mg_per_l": null, "ph": null, "rinse_readings": 48, "spikes": 1,
    });
    serde_json::from_value(json).expect("a cycle as it stands in the ledger")
}

/// A server that comes back has what it had, and takes the rest.
#[tokio::test]
async fn the_server_may_go_and_come_back() {
    let mut server = Victoria::start();
    let sender = sender(&options(&server.url()));
    let batch = super::batch(100);
    let (first, second) = batch.lines().halves();
    assert_eq!(sender.write(first).await, Outcome::Taken);
    server.stop();
    // The connection that was open may end first.
    assert!(matches!(super::fault(sender.write(second).await), Fault::Cut | Fault::ConnectionRefused));
    assert_eq!(super::fault(sender.write(second).await), Fault::ConnectionRefused);
    server.restart();
    assert_eq!(sender.write(second).await, Outcome::Taken);
    let series = server.export();
    assert_eq!(series.iter().map(|series| series.values.len()).collect::<Vec<_>>(), [100]);
}
