//! What is read of a record for an audit, beside all of it. The rest is tested on real ledgers.

use proptest::prelude::*;

use super::glance::{What, glance};
use crate::core::cycle::verdict::Verdict;
use crate::core::record::{Body, Record};

/// A cycle of format 1: record 1 of `tests/golden/ledger-format-1.sqlite`.
const CYCLE: &str = r#"{"v":1,"recorded":"2026-01-01T00:01:57.5Z","machine":"dm1","body":{"cycle":{"started":"2026-01-01T00:00:55Z","rinse_started":"2026-01-01T00:01:40Z","rinse_ended":"2026-01-01T00:01:52Z","received":"2026-01-01T00:01:52.5Z","machine_kind":"stationary-rack-dual-temperature","sanitizing":"hot-water","window_from":"trace","verdict":"cold","reasons":[{"reason":"rinse-below-limit","measured_c":71.3,"limit_c":82.22222222222223}],"findings":[],"rinse_min_c":71.3,"rinse_min_raw_c":71.3,"rinse_min_corrected_c":71.5,"basis":"raw","limit_c":82.22222222222223,"limit_source":"food-code","rinse_peak_c":86.1,"settled_after_s":3.0,"dwell_s":9.0,"dwell_required_s":9.0,"area_below_c_s":0.0,"wash_min_c":66.2,"wash_limit_c":65.55555555555556,"a0":41.7,"hue":3700.25,"dose_basis":"water-side-estimate","uncertainty_c":1.7,"conformance":0.997,"rule":"simple-acceptance","concentration_mg_per_l":null,"ph":null,"rinse_readings":48,"spikes":0}}}"#;

fn cycle() -> Record {
    Record::from_bytes(CYCLE.as_bytes()).expect("a record")
}

/// Compares the glance with the record read whole.
fn check(record: &Record) {
    let bytes = record.to_bytes();
    let glance = glance(&bytes).expect("a record");
    assert_eq!(glance.recorded, record.recorded);
    assert_eq!(glance.machine.as_deref(), record.machine.as_deref());
    assert_eq!(glance.kind(), record.body.kind());
    let (What::Cycle(seen), Body::Cycle(cycle)) = (glance.what, &record.body) else { panic!("a cycle") };
    assert_eq!(seen.rinse_started, cycle.rinse_started);
    assert_eq!(seen.verdict, cycle.verdict);
    assert_eq!(seen.rinse_min_c, cycle.rinse_min_c);
    assert_eq!(seen.trace_sha256.as_deref(), cycle.trace_sha256.as_deref());
}

#[test]
fn a_record_of_another_kind_is_read_whole() {
    let bytes = br#"{"v":1,"recorded":"2026-01-01T00:00:00Z","body":{"service-stop":{"cause":"signal"}}}"#;
    let glance = glance(bytes).expect("a record");
    assert_eq!(glance.kind(), "service-stop");
}

#[test]
fn what_is_no_record_is_refused() {
    for bytes in [
        &b""[..],
        b"{}",
        br#"{"v":2,"recorded":"2026-01-01T00:00:00Z","body":{"service-stop":{"cause":"signal"}}}"#,
        br#"{"v":1,"recorded":"yesterday","body":{"service-stop":{"cause":"signal"}}}"#,
        br#"{"v":1,"recorded":"2026-01-01T00:00:00Z","body":{"unheard-of":{}}}"#,
        &CYCLE.as_bytes()[..CYCLE.len() - 1],
    ] {
        assert!(glance(bytes).is_err(), "{}", String::from_utf8_lossy(bytes));
    }
}

proptest! {
    // Names may need escapes in JSON; then the record is read in another way.
    #[test]
    fn a_glance_sees_what_the_whole_record_says(
        machine in prop::option::of("\\PC{0,12}"),
        verdict in prop::sample::select(Verdict::ALL.to_vec()),
        rinse_min_c in prop::option::of(-300.0..300.0_f64),
        trace in prop::option::of("[0-9a-f]{64}"),
    ) {
        let mut record = cycle();
        record.machine = machine;
        if let Body::Cycle(cycle) = &mut record.body {
            (cycle.verdict, cycle.rinse_min_c, cycle.trace_sha256) = (verdict, rinse_min_c, trace);
        }
        check(&record);
    }
}
