//! Readings as points.

use proptest::prelude::*;

use super::*;
use crate::core::on_file::OnFile;
use crate::core::record::{Body, CalibrationDone, Correction, Record};
use crate::core::time::Timestamp;

/// A site with a probe of every kind; written as an operator would.
const SITE: &str = r#"
[site]
name = "Main St, 1"

[[machine]]
name = "dm1"
kind = "stationary-rack-dual-temperature"
sanitizing = "chlorine"

[[probe]]
name = "dm1/wash"
calibration = { offset = "-0.5 °C" }

[[probe]]
name = "dm1/rinse"
signal = "thermocouple"
thermocouple = "K"
cold-junction = "dm1/cj"

[[probe]]
name = "dm1/cj"
role = "cold-junction"

[[probe]]
name = "dm1/pt"
place = "other"
signal = "pt100"

[[probe]]
name = "dm1/inlet"
place = "other"

[[probe]]
name = "dm1/running"

[[probe]]
name = "dm1/sanitizer"
role = "concentration"
"#;

fn points(readings: Readings) -> ReadingPoints {
    let directory = tempfile::tempdir().expect("the system has a directory for temporary files");
    let path = directory.path().join("gateway.toml");
    std::fs::write(&path, SITE).expect("the directory was just made");
    let loaded = Configuration::load(&[path], []).unwrap_or_else(|problems| panic!("{problems:#?}"));
    ReadingPoints::new(&loaded.configuration, readings)
}

fn at(seconds: f64) -> Timestamp {
    Timestamp::from_seconds(1_700_000_000.0 + seconds).expect("a time of this century")
}

fn stretch(channel: &str, readings: &[(f64, Value)]) -> Stretch {
    let readings =
        readings.iter().map(|(seconds, value)| Reading { at: at(*seconds), value: *value }).collect();
    Stretch { channel: channel.to_owned(), readings }
}

fn lines(points: &ReadingPoints, part: &[Stretch], beside: &[Stretch]) -> Vec<String> {
    let mut batch = Batch::default();
    let aside = points.write(part, beside, &OnFile::default(), &mut Thinning::default(), &mut batch);
    assert!(aside.is_empty(), "{aside:?}");
    let text = String::from_utf8(batch.lines().bytes().to_vec()).expect("UTF-8");
    text.lines().map(str::to_owned).collect()
}

// Own promise: each reading has the correction that was in force when it was measured. The
// configured one is −0.5 °C and without a day, so that the one on record counts after it.
#[test]
fn each_reading_has_the_correction_of_its_time() {
    let correction = |offset_c| Correction { gain: 1.0, offset_c };
    let done = CalibrationDone {
        probe: "dm1/wash".to_owned(),
        at: at(2.0),
        points: Vec::new(),
        found: correction(-0.5),
        left: correction(0.25),
        expanded_c: 0.3,
        until: None,
        note: None,
        by: "Eli".to_owned(),
    };
    let mut file = OnFile::default();
    file.take(7, &Record::new(at(2.0), Some("dm1".to_owned()), Body::Calibration(Box::new(done))));
    let part = [stretch("dm1/wash", &[(1.0, Value::Number(66.5)), (3.0, Value::Number(66.5))])];
    let mut batch = Batch::default();
    points(Readings::All).write(&part, &[], &file, &mut Thinning::default(), &mut batch);
    let text = String::from_utf8(batch.lines().bytes().to_vec()).expect("UTF-8");
    let told: Vec<bool> = text
        .lines()
        .zip(["celsius=66,raw=66.5", "celsius=66.75,raw=66.5"])
        .map(|(l, e)| l.contains(e))
        .collect();
    assert_eq!(told, [true, true], "{text}");
}

// 4.096 mV against 0 °C is 100 °C of type K (NIST ITS-90 table); 138.51 Ω is 100 °C (IEC 60751).
#[test]
fn each_kind_of_channel_has_its_fields() {
    let points = points(Readings::All);
    let number = Value::Number;
    for (channel, value, beside, expected) in [
        ("dm1/inlet", number(55.25), None, r"place=other celsius=55.25"),
        ("dm1/wash", number(66.5), None, r"place=wash-tank celsius=66,raw=66.5"),
        ("dm1/rinse", number(0.004_096), Some(0.0), r"place=final-rinse celsius=100.0…,raw=0.004096"),
        ("dm1/rinse", number(0.004_096), None, r"place=final-rinse raw=0.004096"),
        (
            "dm1/rinse",
            number(-0.004),
            Some(20.0),
            r#"place=final-rinse fault=3i,fault_name="reversed",raw=-0.004"#,
        ),
        ("dm1/pt", number(138.51), None, r"place=other celsius=100.0…,raw=138.51"),
        ("dm1/pt", number(10_000.0), None, r#"place=other fault=4i,fault_name="out-of-range",raw=10000"#),
        ("dm1/inlet", number(300.0), None, r#"place=other fault=4i,fault_name="out-of-range",raw=300"#),
        (
            "dm1/inlet",
            Value::Fault(Fault::OpenCircuit),
            None,
            r#"place=other fault=1i,fault_name="open-circuit""#,
        ),
        ("dm1/cj", number(24.0), None, r"place=cold-junction celsius=24"),
        ("dm1/running", Value::Flag(true), None, r"place=run-signal flag=t"),
        ("dm1/sanitizer", number(75.0), None, r"place=concentration mg_per_l=75"),
        ("dm9/gone", number(1.5), None, r"place=unknown raw=1.5"),
    ] {
        let beside: Vec<Stretch> =
            beside.map(|celsius| stretch("dm1/cj", &[(0.0, number(celsius))])).into_iter().collect();
        let found = lines(&points, &[stretch(channel, &[(1.0, value)])], &beside);
        let (machine, probe) = channel.split_once('/').expect("a name");
        let place_end = expected.find(' ').expect("tags and fields");
        let start = format!(
            r"reading,machine={machine},{},probe={probe},site=Main\ St\,\ 1 ",
            &expected[..place_end]
        );
        let fields = &expected[place_end + 1..];
        let end = " 1700000001000000000";
        assert_eq!(found.len(), 1, "{channel}");
        match fields.split_once('…') {
            // Conversions end in digits that the tables do not hold.
            Some((first, last)) => {
                let first = first.trim_end_matches("100.0").to_owned() + "celsius=";
                let value = found[0].strip_prefix(&start).and_then(|rest| rest.strip_prefix("celsius="));
                let value =
                    value.and_then(|rest| rest.split(',').next()).and_then(|text| text.parse::<f64>().ok());
                assert!(value.is_some_and(|value| (value - 100.0).abs() < 0.02), "{first} {found:?}");
                assert!(found[0].ends_with(&format!("{last}{end}")), "{found:?}");
            }
            None => assert_eq!(found[0], format!("{start}{fields}{end}"), "{channel}"),
        }
    }
}

// Own rule: the newest junction at or before the reading, not older than the probe may be silent.
#[test]
fn a_thermocouple_takes_the_newest_junction_and_asks_for_what_it_lacks() {
    let points = points(Readings::All);
    let emf = |seconds: f64| (seconds, Value::Number(0.003));
    let rinse = stretch("dm1/rinse", &[emf(0.0), emf(10.0), emf(100.0)]);
    let junction = stretch("dm1/cj", &[(9.0, Value::Number(20.0)), (10.5, Value::Number(40.0))]);
    let span = |from: f64, to: f64| JunctionSpan { channel: "dm1/cj".to_owned(), from: at(from), to: at(to) };

    let wanted = points.junctions_wanted(&[rinse.clone(), junction.clone()]);
    assert_eq!(wanted, [span(-30.0, 100.0)]);
    assert_eq!(points.junctions_wanted(std::slice::from_ref(&rinse)), [span(-30.0, 100.0)]);
    assert_eq!(points.junctions_wanted(&[stretch("dm1/rinse", &[emf(10.0)]), junction.clone()]), []);
    assert_eq!(points.junctions_wanted(&[junction.clone(), stretch("dm1/inlet", &[emf(0.0)])]), []);

    let found = lines(&points, &[rinse], &[junction]);
    let has = |line: &str| line.contains(" celsius=");
    assert_eq!(found.iter().map(|line| has(line)).collect::<Vec<_>>(), [false, true, false], "{found:?}");
    // 3 mV above terminals at 20 °C (0.798 mV) is 3.798 mV: 92.8 °C (NIST ITS-90 table, type K).
    assert!(found[1].contains(" celsius=92."), "{found:?}");
}

// The rule as config/reference.toml states it: the first reading of each probe in each whole
// interval since the epoch, and every fault and every flag.
#[test]
fn thinning_keeps_the_first_of_each_interval_and_whatever_is_no_number() {
    let points = points(Readings::Every(Duration::from_secs(1)));
    let number = |seconds: f64| (seconds, Value::Number(80.0 + seconds));
    let mut thinning = Thinning::default();
    let send = |thinning: &mut Thinning, stretches: &[Stretch]| {
        let mut batch = Batch::default();
        assert!(points.write(stretches, &[], &OnFile::default(), thinning, &mut batch).is_empty());
        batch.len()
    };
    let fault = (0.6, Value::Fault(Fault::Short));
    let first = stretch("dm1/inlet", &[number(0.25), number(0.5), fault, number(0.75), number(1.0)]);
    assert_eq!(send(&mut thinning, &[first]), 3);
    // The rule holds across parts, and over a stored state.
    let stored = serde_json::to_string(&thinning).expect("a plain map");
    let mut thinning: Thinning = serde_json::from_str(&stored).expect("what was just written");
    assert_eq!(send(&mut thinning, &[stretch("dm1/inlet", &[number(1.25), number(2.5)])]), 1);
    let flags = [(3.0, Value::Flag(true)), (3.1, Value::Flag(false)), (3.2, Value::Flag(false))];
    assert_eq!(send(&mut thinning, &[stretch("dm1/running", &flags)]), 3);
    assert_eq!(send(&mut thinning, &[stretch("dm1/cj", &[number(2.5)])]), 1);
}

proptest! {
    // However the readings are cut into parts, the same points leave.
    #[test]
    fn thinning_does_not_depend_on_the_parts(steps in prop::collection::vec(1..900_u32, 1..60), cut in 0..60_usize) {
        let points = points(Readings::Every(Duration::from_millis(500)));
        let mut millis = 0.0;
        let mut all = Vec::new();
        for step in steps {
            millis += f64::from(step);
            all.push((millis / 1e3, Value::Number(millis)));
        }
        let cut = cut.min(all.len());
        let mut whole = Batch::default();
        points.write(&[stretch("dm1/inlet", &all)], &[], &OnFile::default(), &mut Thinning::default(), &mut whole);
        let (mut parts, mut thinning) = (Batch::default(), Thinning::default());
        points.write(&[stretch("dm1/inlet", &all[..cut])], &[], &OnFile::default(), &mut thinning, &mut parts);
        points.write(&[stretch("dm1/inlet", &all[cut..])], &[], &OnFile::default(), &mut thinning, &mut parts);
        prop_assert_eq!(parts.lines().bytes(), whole.lines().bytes());
    }
}

#[test]
fn a_reading_that_no_line_can_hold_is_set_aside_and_the_others_go_on() {
    let points = points(Readings::All);
    let mut batch = Batch::default();
    let part = [
        stretch("gone\nx/rinse", &[(1.0, Value::Number(1.0))]),
        stretch("dm1/inlet", &[(1.0, Value::Number(55.0))]),
        stretch("dm9/gone", &[(1.0, Value::Number(f64::NAN))]),
    ];
    let aside = points.write(&part, &[], &OnFile::default(), &mut Thinning::default(), &mut batch);
    assert_eq!(batch.len(), 1);
    assert_eq!(
        aside.iter().map(|aside| aside.of.as_str()).collect::<Vec<_>>(),
        ["gone\nx/rinse", "dm9/gone"]
    );
}
