//! Round trips and sizes of the block format.

use proptest::prelude::*;

use super::*;

fn value() -> impl Strategy<Value = Value> {
    prop_oneof![
        8 => (-500_i32..2_000).prop_map(|tenths| Value::Number(f64::from(tenths) / 10.0)),
        2 => any::<u64>().prop_map(|bits| Value::Number(f64::from_bits(bits))),
        1 => any::<bool>().prop_map(Value::Flag),
        1 => prop::sample::select(Fault::ALL.to_vec()).prop_map(Value::Fault),
    ]
}

fn same(a: &[Point], b: &[Point]) -> bool {
    a.len() == b.len() && a.iter().zip(b).all(|(a, b)| a.at == b.at && same_value(a.value, b.value))
}

proptest! {
    #[test]
    fn readings_come_back_bit_by_bit(
        steps in prop::collection::vec((0_i64..5_000_000, value()), 1..300),
        start in -2_000_000_000_000_000_i64..4_000_000_000_000_000,
    ) {
        let mut at = start;
        let points: Vec<Point> = steps.into_iter().map(|(step, value)| {
            at += step;
            Point { at: Timestamp::from_micros(at), value }
        }).collect();
        let back = decode(&encode(&points)).expect("a block just made");
        prop_assert!(same(&points, &back));
    }

    #[test]
    fn bytes_that_are_no_block_are_refused(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
        prop_assert_eq!(decode(&bytes), Err(Malformed));
        prop_assert_eq!(decode(&seal(VERSION, &bytes)).is_ok(), false);
    }
}

/// Minimal generator of Park and Miller (Communications of the ACM 31, 1988), so that sizes repeat.
struct Draw(u64);

impl Draw {
    fn unit(&mut self) -> f64 {
        self.0 = self.0 * 48_271 % 2_147_483_647;
        self.0 as f64 / 2_147_483_647.0
    }

    /// Sum of twelve uniform draws less six: mean 0, standard deviation 1.
    fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.unit()).sum::<f64>() - 6.0
    }
}

/// 17 minutes of a final-rinse line at 4 Hz: idle at 60 °C, a 12 s rinse at 85 °C every 2 minutes, 1 s time constant.
fn rinse_line(resolution_c: f64, jitter_ms: f64) -> Vec<Point> {
    let mut draw = Draw(12_345);
    let mut probe_c = 60.0;
    (0..4096)
        .map(|n| {
            let seconds = n as f64 / 4.0;
            let water_c = if seconds % 120.0 < 12.0 { 85.0 } else { 60.0 };
            let tau_s = if seconds % 120.0 < 12.0 { 1.0 } else { 40.0 };
            probe_c += (water_c - probe_c) * (1.0 - (-0.25_f64 / tau_s).exp());
            let seen = ((probe_c + 0.05 * draw.normal()) / resolution_c).round();
            // As a decoder meets it: the digits of the line, read as the nearest double.
            let digits = format!("{:.4}", seen * resolution_c);
            let celsius: f64 = digits.parse().expect("digits just printed");
            let ms = (seconds * 1000.0 + jitter_ms * draw.normal()).round();
            let at = Timestamp::from_seconds(1_764_000_000.0 + ms / 1000.0).expect("a time of this century");
            Point { at, value: Value::Number(celsius) }
        })
        .collect()
}

// Budget of DEVELOPERS.md: at most 1.0 byte per reading, time included, for a
// quantised 4 Hz trace. Resolutions: 0.1 °C a common Modbus register, 0.25 °C
// and 0.0625 °C the data sheets of thermocouple converters with 12 and 14 bits
// (from memory); jitter of a few milliseconds: common practice, no source.
#[test]
fn a_quantised_trace_takes_under_one_byte_a_reading() {
    for (resolution_c, jitter_ms) in
        [(0.1, 0.0), (0.1, 2.0), (0.25, 2.0), (0.0625, 0.0), (0.0625, 2.0), (0.1, 5.0)]
    {
        let mut points = rinse_line(resolution_c, jitter_ms);
        points.sort_by_key(|point| point.at);
        let bytes = encode(&points);
        let each = bytes.len() as f64 / points.len() as f64;
        assert!(each <= 1.0, "{resolution_c} °C, {jitter_ms} ms: {each:.3} bytes a reading");
        assert!(same(&points, &decode(&bytes).expect("a block just made")));
    }
}

// Stored numbers never change; they are those of the module's description.
#[test]
fn kinds_keep_their_numbers() {
    for (kind, value) in [
        (0, Value::Number(1.5)),
        (1, Value::Flag(false)),
        (2, Value::Flag(true)),
        (3, Value::Fault(Fault::OpenCircuit)),
        (4, Value::Fault(Fault::Short)),
        (5, Value::Fault(Fault::Reversed)),
        (6, Value::Fault(Fault::OutOfRange)),
        (7, Value::Fault(Fault::Stuck)),
        (8, Value::Fault(Fault::Silent)),
        (9, Value::Fault(Fault::Reported)),
        (10, Value::Fault(Fault::NoColdJunction)),
    ] {
        assert_eq!(kind_of(value), kind, "{value:?}");
        assert!(kind == NUMBER || value_of(kind) == Some(value), "{value:?}");
    }
    assert_eq!(value_of(11), None);
}

#[test]
fn a_trace_comes_back_whole() {
    let reading = |n: i32, celsius: f64| TraceReading {
        at: Timestamp::from_micros(i64::from(n) * 250_000),
        celsius: Celsius(celsius),
    };
    for trace in [
        Trace::default(),
        Trace { rinse: vec![reading(1, 82.2), reading(2, 82.300_000_000_000_01)], wash: Vec::new() },
        Trace { rinse: vec![reading(1, 0.1 + 0.2)], wash: vec![reading(0, -0.0)] },
    ] {
        let back = decode_trace(&encode_trace(&trace)).expect("a trace just made");
        assert_eq!(back.canonical_bytes(), trace.canonical_bytes());
    }
}
