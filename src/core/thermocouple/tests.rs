use proptest::prelude::*;

use super::ThermocoupleType::{E, J, K, N, R, S, T};
use super::*;

/// NIST SRD 60 printed tables (emf to 0.001 mV) and values of the reference
/// functions on which two independent programs agree; each row names its source.
const ITS90_CHECK: &str = include_str!("../../../tests/data/its90_check.csv");

fn type_of(letter: &str) -> ThermocoupleType {
    ThermocoupleType::ALL.into_iter().find(|kind| kind.as_str() == letter).expect("a type of the table")
}

#[test]
fn agrees_with_the_published_tables() {
    let mut rows = 0;
    for line in ITS90_CHECK.lines().skip(1) {
        let fields: Vec<&str> = line.splitn(4, ',').collect();
        let kind = type_of(fields[0]);
        let published: f64 = fields[1].parse().expect("an emf");
        let celsius = Celsius(fields[2].parse().expect("a temperature"));
        // Printed tables round to 0.001 mV, the computed rows to 1e-9 mV.
        let rounding = if fields[3].contains("printed table") { 0.0005 } else { 1e-9 };
        let computed = emf(kind, celsius).expect("inside the range");
        assert!((computed.0 - published).abs() <= rounding + 1e-9, "{line}: computed {}", computed.0);
        rows += 1;
    }
    assert_eq!(rows, 671);
}

// The check file holds no R and S. NIST SRD 60 printed tables, from memory.
#[test]
fn agrees_with_the_published_tables_of_platinum_types() {
    for (kind, celsius, millivolts) in [
        (R, 0.0, 0.0),
        (R, 100.0, 0.647),
        (R, 1000.0, 10.506),
        (R, 1768.0, 21.101),
        (S, 0.0, 0.0),
        (S, 100.0, 0.646),
        (S, 1000.0, 9.587),
        (S, 1768.0, 18.693),
    ] {
        let computed = emf(kind, Celsius(celsius)).expect("inside the range");
        assert!((computed.0 - millivolts).abs() <= 0.0005, "{kind} {celsius}: {}", computed.0);
    }
}

// Type, hot °C, cold °C, measured mV: computed from the reference functions by
// two independent programs.
#[test]
fn compensates_by_emf() {
    for (kind, hot, cold, measured) in [
        (K, 82.2222, 25.0, 2.358_714),
        (T, 82.2222, 25.0, 2.466_549),
        (K, 71.1111, 38.0, 1.367_540),
        (J, 74.0, 31.2, 2.264_917),
    ] {
        let result = compensated(kind, Millivolts(measured), Celsius(cold)).expect("inside the range");
        assert!((result.0 - hot).abs() < 1e-4, "{kind}: {result:?} for {hot}");
        let naive = temperature(kind, Millivolts(measured)).expect("inside the range").0 + cold;
        assert!(naive > hot + 0.8, "{kind}: adding temperatures reads hot");
    }
}

// Derivatives of the reference functions, µV/K; types K to N computed by an
// independent program, R and S by differentiating the coefficients of NIST SRD 60 by hand.
#[test]
fn states_the_sensitivity() {
    for (kind, at_0, at_25, at_82) in [
        (K, 39.45, 40.52, 41.54),
        (T, 38.75, 40.68, 45.43),
        (J, 50.38, 51.75, 53.91),
        (E, 58.67, 60.95, 66.05),
        (N, 26.16, 26.78, 28.96),
        (R, 5.29, 5.94, 7.16),
        (S, 5.40, 5.99, 7.06),
    ] {
        for (celsius, stated) in [(0.0, at_0), (25.0, at_25), (82.0, at_82)] {
            let slope = kind.curve().value_and_slope(celsius).1 * 1e3;
            assert!((slope - stated).abs() < 0.0051, "{kind} at {celsius}: {slope}");
        }
    }
}

#[test]
fn refuses_what_is_no_number_or_out_of_range() {
    for kind in ThermocoupleType::ALL {
        let refused = Err(ThermocoupleError::NotANumber { kind });
        assert_eq!(emf(kind, Celsius(f64::NAN)).map(|_| ()), refused);
        assert_eq!(temperature(kind, Millivolts(f64::NAN)).map(|_| ()), refused);
        assert_eq!(compensated(kind, Millivolts(f64::NAN), Celsius(20.0)).map(|_| ()), refused);
        assert_eq!(compensated(kind, Millivolts(1.0), Celsius(f64::NAN)).map(|_| ()), refused);
        let (low, high) = kind.range();
        for outside in [low.0 - 0.001, high.0 + 0.001, f64::INFINITY, f64::NEG_INFINITY] {
            assert!(
                matches!(emf(kind, Celsius(outside)), Err(ThermocoupleError::TemperatureOutOfRange { .. })),
                "{kind} {outside}"
            );
        }
        let (lowest, highest) =
            (emf(kind, low).expect("its own end").0, emf(kind, high).expect("its own end").0);
        for outside in [lowest - 1e-6, highest + 1e-6, f64::INFINITY, f64::NEG_INFINITY] {
            assert!(
                matches!(
                    temperature(kind, Millivolts(outside)),
                    Err(ThermocoupleError::EmfOutOfRange { .. })
                ),
                "{kind} {outside}"
            );
        }
    }
}

#[test]
fn inverts_both_ends_and_every_join() {
    for kind in ThermocoupleType::ALL {
        let joins = kind.curve().forward.iter().flat_map(|polynomial| [polynomial.from, polynomial.to]);
        for celsius in joins.flat_map(|join| [join - 1e-4, join, join + 1e-4]) {
            let Ok(millivolts) = emf(kind, Celsius(celsius)) else { continue };
            let back = temperature(kind, millivolts).expect("an emf of the curve");
            assert!((back.0 - celsius).abs() <= 0.001, "{kind} {celsius}: {back:?}");
        }
    }
}

fn any_type() -> impl Strategy<Value = ThermocoupleType> {
    prop::sample::select(ThermocoupleType::ALL.to_vec())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(4000))]

    #[test]
    fn inverse_undoes_forward(kind in any_type(), fraction in 0.0..=1.0) {
        let (low, high) = kind.range();
        let celsius = low.0 + fraction * (high.0 - low.0);
        let millivolts = emf(kind, Celsius(celsius)).expect("inside the range");
        let back = temperature(kind, millivolts).expect("an emf of the curve");
        prop_assert!((back.0 - celsius).abs() <= 0.001, "{kind} {celsius}: {back:?}");
    }

    #[test]
    fn hotter_gives_more_emf(kind in any_type(), fraction in 0.0..=1.0_f64, step in 0.001..50.0_f64) {
        let (low, high) = kind.range();
        let celsius = low.0 + fraction * (high.0 - low.0 - step);
        let colder = emf(kind, Celsius(celsius.max(low.0))).expect("inside the range");
        let hotter = emf(kind, Celsius(celsius.max(low.0) + step)).expect("inside the range");
        prop_assert!(hotter > colder, "{kind} at {celsius} + {step}");
    }

    #[test]
    fn compensation_undoes_the_terminals(kind in any_type(), hot in -40.0..120.0, cold in -20.0..80.0) {
        let measured = emf(kind, Celsius(hot)).expect("in range").0 - emf(kind, Celsius(cold)).expect("in range").0;
        let back = compensated(kind, Millivolts(measured), Celsius(cold)).expect("in range");
        prop_assert!((back.0 - hot).abs() <= 0.001, "{kind} {hot} {cold}: {back:?}");
    }
}
