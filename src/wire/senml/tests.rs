use super::*;
use crate::core::id::ChannelId;
use RefusedBecause as No;
use proptest::prelude::*;

const RECEIVED: Timestamp = Timestamp::from_micros(1_700_000_000_000_000);

fn directory() -> Directory {
    let mut directory = Directory::default();
    for (channel, (name, unit)) in [
        ("dm1/rinse", WireUnit::Celsius),
        ("dm1/wash", WireUnit::Celsius),
        ("dm1/running", WireUnit::Flag),
        ("dm1/cj", WireUnit::Kelvin),
        ("dm1/tc", WireUnit::Volt),
        ("dm1/pt", WireUnit::Ohm),
        ("dm1/f", WireUnit::Fahrenheit),
        ("dm1/ppm", WireUnit::MilligramPerLitre),
        ("dm1/ph", WireUnit::Ph),
        // Sensors of the examples of RFC 8428.
        ("urn:dev:ow:10e2073a01080063", WireUnit::Celsius),
        ("urn:dev:ow:10e2073a0108006:voltage", WireUnit::Volt),
        ("urn:dev:ow:10e2073a01080063:label", WireUnit::Celsius),
        ("urn:dev:ow:10e2073a01080063:open", WireUnit::Flag),
    ]
    .into_iter()
    .enumerate()
    {
        let channel = u16::try_from(channel).expect("a few channels");
        directory.insert(name.to_owned(), ChannelId(channel), unit);
    }
    directory
}

fn decoded(pack: &[u8]) -> Decoded {
    let mut decoded = Decoded::default();
    decode(pack, &directory(), RECEIVED, &mut decoded);
    decoded
}

/// Samples as (channel, seconds relative to [`RECEIVED`], value) and refusals as (what, why).
fn check(pack: &str, samples: &[(u16, f64, Value)], refusals: &[(&str, RefusedBecause)]) {
    let decoded = decoded(pack.as_bytes());
    let seen: Vec<_> = decoded
        .samples
        .iter()
        .map(|sample| (sample.channel.0, sample.at.seconds_since(RECEIVED), sample.value))
        .collect();
    assert_eq!(seen, samples, "{pack}");
    let seen: Vec<_> = decoded.refusals.iter().map(|refusal| (refusal.what.as_str(), refusal.why)).collect();
    assert_eq!(seen, refusals, "{pack}");
}

fn number(value: f64) -> Value {
    Value::Number(value)
}

// RFC 8428 §5.1.1 (single datapoint), §5.1.2 (volts and amperes, now), §5.1.6 (data types). Amperes and
// humidity are not for a dish machine: those names are not configured.
#[test]
fn reads_the_examples_of_rfc_8428() {
    check(r#"[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]"#, &[(9, 0.0, number(23.1))], &[]);
    check(
        r#"[{"bn":"urn:dev:ow:10e2073a0108006:","n":"voltage","u":"V","v":120.1},
            {"n":"current","u":"A","v":1.2}]"#,
        &[(10, 0.0, number(120.1))],
        &[("urn:dev:ow:10e2073a0108006:current", No::UnknownName)],
    );
    check(
        r#"[{"bn":"urn:dev:ow:10e2073a01080063:","n":"temp","u":"Cel","v":23.1},
            {"n":"label","vs":"Machine Room"},{"n":"open","vb":false},{"n":"nfc-reader","vd":"aGkgCg"}]"#,
        &[(11, 0.0, Value::Fault(Fault::Reported)), (12, 0.0, Value::Flag(false))],
        &[
            ("urn:dev:ow:10e2073a01080063:temp", No::UnknownName),
            ("urn:dev:ow:10e2073a01080063:nfc-reader", No::UnknownName),
        ],
    );
}

// After the third example of RFC 8428 §5.1.2 (with the version 5 of its draft; other names and units):
// one series, five seconds back from 1276020076.001; a record with its own unit keeps it.
#[test]
fn adds_base_and_own_time() {
    let pack = br#"[{"bn":"urn:dev:ow:10e2073a0108006:","bt":1.276020076001e+09,"bu":"A","bver":5,
        "n":"voltage","u":"V","v":120.1},{"n":"voltage","u":"V","t":-5,"v":1.2},
        {"n":"voltage","u":"V","t":-4,"v":1.3},{"n":"voltage","t":-3,"v":1.4}]"#;
    let decoded = decoded(pack);
    let micros: Vec<_> = decoded.samples.iter().map(|sample| sample.at.micros()).collect();
    assert_eq!(micros, [1_276_020_071_001_000, 1_276_020_072_001_000, 1_276_020_076_001_000]);
    assert_eq!(decoded.refusals.len(), 1, "the ampere of bu is no volt");
    assert_eq!(decoded.refusals[0].why, No::Unit);
}

// Worked by the rules of RFC 8428 §4.5 by hand.
#[test]
fn resolves_base_fields() {
    for (pack, samples) in [
        (
            r#"[{"bn":"dm1/","bt":1700000000,"bu":"Cel","n":"rinse","v":82.4},{"n":"wash","t":1,"v":66.1}]"#,
            &[(0, 0.0, number(82.4)), (1, 1.0, number(66.1))][..],
        ),
        // A base field holds until it comes again.
        (
            r#"[{"bn":"dm1/","bv":80,"n":"rinse","v":2.5},{"n":"wash","bv":60,"v":1},{"n":"wash","v":2,"t":1}]"#,
            &[(0, 0.0, number(82.5)), (1, 0.0, number(61.0)), (1, 1.0, number(62.0))],
        ),
        // The name may stand in bn alone.
        (r#"[{"bn":"dm1/rinse","v":1},{"v":2,"t":0.25}]"#, &[(0, 0.0, number(1.0)), (0, 0.25, number(2.0))]),
        // Below 2^28 s a time is relative to now, from there on absolute (2^28 s = 1978-07-04T21:24:16Z).
        (r#"[{"n":"dm1/rinse","t":-30,"v":1}]"#, &[(0, -30.0, number(1.0))]),
        (r#"[{"n":"dm1/rinse","t":268435455,"v":1}]"#, &[(0, 268_435_455.0, number(1.0))]),
        (r#"[{"n":"dm1/rinse","t":268435456,"v":1}]"#, &[(0, 268_435_456.0 - 1.7e9, number(1.0))]),
        // The sum of both decides.
        (r#"[{"n":"dm1/rinse","bt":268435450,"t":6,"v":1}]"#, &[(0, 268_435_456.0 - 1.7e9, number(1.0))]),
        // Records of a pack come out in order of time (§4.6).
        (
            r#"[{"bn":"dm1/","n":"rinse","t":-1,"v":1},{"n":"rinse","v":2},{"n":"wash","t":-1,"v":3}]"#,
            &[(0, -1.0, number(1.0)), (1, -1.0, number(3.0)), (0, 0.0, number(2.0))],
        ),
        ("[]", &[]),
        ("\u{feff} [ ] ", &[]),
    ] {
        check(pack, samples, &[]);
    }
}

#[test]
fn reads_every_unit_flag_and_fault() {
    for (pack, value) in [
        (r#"[{"n":"dm1/rinse","v":1}]"#, (0, 0.0, number(1.0))),
        (r#"[{"n":"dm1/cj","u":"K","v":295.15}]"#, (3, 0.0, number(295.15))),
        (r#"[{"n":"dm1/tc","u":"V","v":4.096e-3}]"#, (4, 0.0, number(0.004_096))),
        (r#"[{"n":"dm1/pt","u":"Ohm","v":138.51}]"#, (5, 0.0, number(138.51))),
        (r#"[{"n":"dm1/f","u":"degF","v":180}]"#, (6, 0.0, number(180.0))),
        (r#"[{"n":"dm1/ppm","u":"mg/L","v":50}]"#, (7, 0.0, number(50.0))),
        (r#"[{"n":"dm1/ppm","v":50}]"#, (7, 0.0, number(50.0))),
        (r#"[{"n":"dm1/ph","u":"pH","v":8}]"#, (8, 0.0, number(8.0))),
        (r#"[{"n":"dm1/running","vb":true}]"#, (2, 0.0, Value::Flag(true))),
        (r#"[{"n":"dm1/running","bu":"Cel","vb":true}]"#, (2, 0.0, Value::Flag(true))),
        (r#"[{"n":"dm1/rinse","vs":"open-circuit"}]"#, (0, 0.0, Value::Fault(Fault::OpenCircuit))),
        (r#"[{"n":"dm1/rinse","vs":"no idea"}]"#, (0, 0.0, Value::Fault(Fault::Reported))),
        (r#"[{"n":"dm1\/rinse","v":1,"ut":3,"s":4,"other":[{"a":[]}]}]"#, (0, 0.0, number(1.0))),
        (r#"[{"n":"dm1/rinse","v":1,"bver":10,"bs":1}]"#, (0, 0.0, number(1.0))),
    ] {
        check(pack, &[value], &[]);
    }
    check(r#"[{"n":"dm1/rinse","s":12}]"#, &[], &[]);
}

#[test]
fn refuses_one_record_and_keeps_the_others() {
    for (record, what, why) in [
        (r#"{"n":"dm1/rinse","u":"degF","v":180}"#, "dm1/rinse", No::Unit),
        (r#"{"n":"dm1/f","u":"Cel","v":82}"#, "dm1/f", No::Unit),
        (r#"{"n":"dm1/rinse","u":7,"v":82}"#, "dm1/rinse", No::Unit),
        (r#"{"n":"dm1/rinse","vb":true}"#, "dm1/rinse", No::ValueType),
        (r#"{"n":"dm1/rinse","v":true}"#, "dm1/rinse", No::ValueType),
        (r#"{"n":"dm1/rinse","v":"82"}"#, "dm1/rinse", No::ValueType),
        (r#"{"n":"dm1/rinse","v":null}"#, "dm1/rinse", No::ValueType),
        (r#"{"n":"dm1/rinse","v":[[[]]]}"#, "dm1/rinse", No::ValueType),
        (r#"{"n":"dm1/rinse","v":1e999}"#, "dm1/rinse", No::ValueType),
        (r#"{"n":"dm1/rinse","v":1,"v":2}"#, "dm1/rinse", No::ValueType),
        (r#"{"n":"dm1/rinse","v":1,"vs":"short"}"#, "dm1/rinse", No::ValueType),
        (r#"{"n":"dm1/rinse","vd":"aGkgCg"}"#, "dm1/rinse", No::ValueType),
        (r#"{"n":"dm1/rinse"}"#, "dm1/rinse", No::ValueType),
        (r#"{"n":"dm1/running","v":1}"#, "dm1/running", No::ValueType),
        (r#"{"n":"dm1/rinse","vs":"\ud800"}"#, "dm1/rinse", No::ValueType),
        (r#"{"n":"dm1/rinse","v":1,"t":"now"}"#, "dm1/rinse", No::Time),
        (r#"{"n":"dm1/rinse","v":1,"t":1e30}"#, "dm1/rinse", No::Time),
        (r#"{"n":"dm1/rinse","v":1,"t":-1e30}"#, "dm1/rinse", No::Time),
        (r#"{"n":"dm2/rinse","v":1}"#, "dm2/rinse", No::UnknownName),
        (r#"{"n":"-dm1","v":1}"#, "-dm1", No::Name),
        (r#"{"n":"dm 1\u0007","v":1}"#, "dm 1\u{fffd}", No::Name),
        (r#"{"v":1}"#, "", No::Name),
        (r#"{"n":3,"v":1}"#, "", No::Name),
        ("3", "", No::NotSenml),
        ("[]", "", No::NotSenml),
    ] {
        let pack = format!(r#"[{{"n":"dm1/wash","v":66.1}},{record},{{"n":"dm1/wash","v":66.2}}]"#);
        check(&pack, &[(1, 0.0, number(66.1)), (1, 0.0, number(66.2))], &[(what, why)]);
    }
}

// A base field that cannot be read would give later records a wrong name, time, unit or value.
#[test]
fn refuses_what_depends_on_a_bad_base_field() {
    for (base, why) in [
        (r#""bt":"noon""#, No::Time),
        (r#""bt":1e999"#, No::Time),
        (r#""bu":1"#, No::Unit),
        (r#""bv":null"#, No::ValueType),
    ] {
        let pack = format!(r#"[{{"bn":"dm1/",{base},"n":"rinse","v":1}},{{"n":"wash","v":2}}]"#);
        check(&pack, &[], &[("dm1/rinse", why), ("dm1/wash", why)]);
    }
    check(
        r#"[{"bn":3,"n":"rinse","v":1},{"bn":"dm1/","n":"wash","v":2}]"#,
        &[(1, 0.0, number(2.0))],
        &[("rinse", No::Name)],
    );
}

#[test]
fn refuses_the_whole_pack() {
    let good = r#"{"n":"dm1/rinse","v":1}"#;
    for (pack, why) in [
        (format!("[{good},"), No::NotSenml),
        (format!("[{good}]]"), No::NotSenml),
        (good.to_owned(), No::NotSenml),
        (String::new(), No::NotSenml),
        (r#"[{"n":"dm1/rinse","v":NaN}]"#.to_owned(), No::NotSenml),
        ("[".repeat(100_000), No::NotSenml),
        (format!("[{good},{}1", r#"{"a":"#.repeat(50_000)), No::NotSenml),
        (format!(r#"[{good},{{"bver":11,"n":"dm1/wash","v":1}}]"#), No::UnknownVersion),
        (format!(r#"[{good},{{"bver":"10","n":"dm1/wash","v":1}}]"#), No::UnknownVersion),
        (format!(r#"[{good},{{"scale_":2,"n":"dm1/wash","v":1}}]"#), No::UnknownVersion),
    ] {
        let decoded = decoded(pack.as_bytes());
        assert_eq!(decoded.samples, [], "{:.60}", pack);
        let reasons: Vec<_> = decoded.refusals.iter().map(|refusal| refusal.why).collect();
        assert_eq!(reasons, [why], "{:.60}", pack);
        assert!(decoded.refusals[0].what.chars().count() <= 80);
    }
    let decoded = decoded(b"[{\"n\":\"dm1/rin\xff\",\"v\":1}]");
    assert_eq!(decoded.refusals[0].why, No::NotText);
}

#[test]
fn skips_deep_nesting_in_an_unknown_label() {
    let depth = 100_000;
    let pack = format!(r#"[{{"n":"dm1/rinse","x":{}{},"v":1}}]"#, "[".repeat(depth), "]".repeat(depth));
    check(&pack, &[(0, 0.0, number(1.0))], &[]);
}

#[test]
fn limits_the_records_of_a_pack() {
    let records = vec![r#"{"v":1}"#; RECORDS_MAX + 2].join(",");
    let decoded = decoded(format!(r#"[{{"bn":"dm1/rinse","v":1}},{records}]"#).as_bytes());
    assert_eq!(decoded.samples.len(), RECORDS_MAX);
    assert_eq!(decoded.refusals, [super::super::refusal::Refusal::new(b"3 records", No::TooLong)]);
}

/// One record of a generated pack: base name (0 none), base time, own time, base value, own value.
type Generated = (u8, Option<i32>, Option<i32>, Option<i16>, i16);

/// Resolves one record after the other on its own: looks back for each base field (RFC 8428 §4.5, §4.6).
fn resolve(records: &[Generated]) -> Vec<Sample> {
    let mut samples = Vec::new();
    for (at, record) in records.iter().enumerate() {
        let back = || records[..=at].iter().rev();
        let base = back().map(|record| record.0).find(|base| *base != 0).unwrap_or(0);
        if base != 1 {
            continue;
        }
        let quarters = back().find_map(|record| record.1).unwrap_or(0) as i64 + record.2.unwrap_or(0) as i64;
        let eighths = back().find_map(|record| record.3).unwrap_or(0) as i32 + record.4 as i32;
        let micros = quarters * 250_000;
        let absolute = quarters >= 4 * 268_435_456;
        let instant = if absolute { micros } else { RECEIVED.micros() + micros };
        samples.push(Sample {
            channel: ChannelId(0),
            at: Timestamp::from_micros(instant),
            value: Value::Number(f64::from(eighths) / 8.0),
        });
    }
    samples.sort_by_key(|sample| sample.at);
    samples
}

/// Writes the pack as JSON; times are quarters of a second, values eighths, so that doubles hold them exactly.
fn write(records: &[Generated]) -> String {
    let records: Vec<_> = records
        .iter()
        .map(|(base, base_time, time, base_value, value)| {
            let mut fields = serde_json::Map::new();
            let mut put = |label: &str, value: serde_json::Value| {
                fields.insert(label.to_owned(), value);
            };
            match base {
                1 => put("bn", "dm1/".into()),
                2 => put("bn", "dm2/".into()),
                _ => {}
            }
            base_time.iter().for_each(|quarters| put("bt", (f64::from(*quarters) / 4.0).into()));
            time.iter().for_each(|quarters| put("t", (f64::from(*quarters) / 4.0).into()));
            base_value.iter().for_each(|eighths| put("bv", (f64::from(*eighths) / 8.0).into()));
            put("n", "rinse".into());
            put("v", (f64::from(*value) / 8.0).into());
            serde_json::Value::Object(fields)
        })
        .collect();
    serde_json::Value::Array(records).to_string()
}

proptest! {
    #[test]
    fn a_generated_pack_is_resolved_as_by_the_rules(
        records in proptest::collection::vec(
            (0_u8..3, any::<Option<i32>>(), any::<Option<i32>>(), any::<Option<i16>>(), any::<i16>()), 0..30),
    ) {
        prop_assert_eq!(decoded(write(&records).as_bytes()).samples, resolve(&records));
    }

    #[test]
    fn any_bytes_are_survived(bytes in proptest::collection::vec(any::<u8>(), 0..300)) {
        let _decoded = decoded(&bytes);
    }
}

// The lines that the recipe for a node shows. Names, units and faults: RFC 8428, sections 4 and 12.1.
#[test]
fn every_line_of_the_recipe_for_a_node_is_taken() {
    const RECIPE: &str = include_str!("../../../deploy/node/README.md");
    let mut directory = Directory::default();
    for (channel, name) in ["dm1/wash", "dm1/rinse", "dm1/running", "dm1/cold-junction"].iter().enumerate() {
        let unit = if *name == "dm1/running" { WireUnit::Flag } else { WireUnit::Celsius };
        directory.insert((*name).to_owned(), ChannelId(u16::try_from(channel).expect("few")), unit);
    }
    let packs = RECIPE.lines().filter_map(|line| line.find("[{\"").map(|start| &line[start..]));
    let mut lines = 0;
    for pack in packs.filter(|pack| pack.ends_with("}]")) {
        lines += 1;
        if pack.contains("\"u\":\"V\"") {
            directory.insert("dm1/rinse".to_owned(), ChannelId(1), WireUnit::Volt);
        }
        let mut decoded = Decoded::default();
        decode(pack.as_bytes(), &directory, RECEIVED, &mut decoded);
        assert_eq!(decoded.refusals, [], "{pack}");
        assert_eq!(decoded.samples.len(), pack.matches("\"n\":").count(), "{pack}");
        directory.insert("dm1/rinse".to_owned(), ChannelId(1), WireUnit::Celsius);
    }
    assert!(lines >= 5, "{lines} lines");
}
