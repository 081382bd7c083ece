use proptest::prelude::*;

use super::ThermocoupleType::{E, J, K, N, R, S, T};
use super::tolerance::Pt100Class::{A, Aa, B};
use super::tolerance::ThermocoupleClass::{AstmSpecial, AstmStandard, Iec1, Iec2};
use super::*;

const LIMIT: Celsius = Celsius(82.0);

/// Type T class 1 in a rinse line; standard uncertainties follow JCGM 100:2008.
fn worked_example() -> Budget {
    Budget {
        sensor: Sensor::Thermocouple { kind: T, class: Iec1 },
        cold_junction_c: 0.3,
        converter_c: 0.2,
        resolution_c: 0.1,
        installation_c: 0.3,
        repeatability_c: 0.1,
        drift_c: 0.0,
    }
}

// Worked by hand from JCGM 100:2008: 0.5/√3, 0.3/√3, 0.2/√3, 0.1/√12, 0.3/√3, 0.1, 0.
#[test]
fn lists_each_component() {
    let listed = worked_example().components(LIMIT);
    let expected = [
        ("sensor", 0.2887),
        ("cold junction", 0.1732),
        ("converter", 0.1155),
        ("resolution", 0.0289),
        ("installation", 0.1732),
        ("repeatability", 0.1),
        ("drift", 0.0),
    ];
    for (component, (name, standard)) in listed.iter().zip(expected) {
        assert_eq!(component.name, name);
        assert!((component.standard - standard).abs() < 5e-5, "{component:?}");
    }
}

// The example has uc = 0.4123 with a reference of U = 0.1 °C (k = 2) beside the
// wire; here that 0.05 stands in as a drift of the same standard uncertainty.
#[test]
fn combines_by_root_sum_of_squares() {
    let budget = Budget { drift_c: 0.05 * 3f64.sqrt(), ..worked_example() };
    let u = budget.combined(LIMIT);
    assert!((u.standard - 0.4123).abs() < 1e-4, "{u:?}");
    assert!((u.expanded - 0.8246).abs() < 1e-4, "{u:?}");
    let default = Budget::default().combined(LIMIT);
    assert!((default.expanded - 1.78).abs() < 0.005, "{default:?}");
    let calibrated = Sensor::Calibrated { expanded_c: 0.3 };
    assert!((calibrated.standard(LIMIT) - 0.15).abs() < 1e-12, "U/2 and no tolerance of the wire");
}

// JCGM 106:2012, worked for a minimum of 82.0 °C with u = 0.4123 and u = 0.5.
#[test]
fn works_the_guard_band_example() {
    let u = Uncertainty::from_standard(0.4123);
    for (band, limit) in
        [(GuardBand::SimpleAcceptance, 82.0), (GuardBand::FivePercent, 82.678), (GuardBand::Expanded, 82.825)]
    {
        let accepted = band.acceptance_limit(LIMIT, u);
        assert!((accepted.0 - limit).abs() < 5e-4, "{band:?}: {accepted:?}");
    }
    let half = Uncertainty::from_standard(0.5);
    for (measured, u, expected, rounding) in [
        (82.0, u, 0.500, 5e-4),
        (82.3, u, 0.767, 5e-4),
        (82.6, u, 0.927, 5e-4),
        (82.9, u, 0.9855, 5e-5),
        (83.0, u, 0.992, 5e-4),
        (82.5, half, 0.8413, 5e-5),
        (83.0, half, 0.9772, 5e-5),
    ] {
        let probability = conformance_probability(Celsius(measured), LIMIT, u).expect("finite values");
        assert!((probability - expected).abs() <= rounding, "{measured}: {probability}");
    }
}

// IEC 60584-1:2013, ASTM E230 and IEC 60751, in °C; the cross-overs of 125,
// 133, 333 and 375 °C are in tables that quote them. R and S: from memory.
#[test]
fn has_the_tolerances_of_the_standards() {
    for (class, kind, at, half_width) in [
        (Iec1, K, 82.0, 1.5),
        (Iec1, K, 375.0, 1.5),
        (Iec1, N, 500.0, 2.0),
        (Iec2, K, 82.0, 2.5),
        (Iec2, J, 400.0, 3.0),
        (Iec2, E, -40.0, 2.5),
        (Iec1, T, 82.0, 0.5),
        (Iec1, T, 250.0, 1.0),
        (Iec2, T, 82.0, 1.0),
        (AstmStandard, K, 82.0, 2.2),
        (AstmSpecial, J, 82.0, 1.1),
        (AstmStandard, T, 82.0, 1.0),
        (AstmSpecial, T, 82.0, 0.5),
        (AstmStandard, E, 82.0, 1.7),
        (AstmSpecial, E, 82.0, 1.0),
        (Iec1, R, 82.0, 1.0),
        (Iec1, S, 1600.0, 2.5),
        (Iec2, S, 82.0, 1.5),
        (AstmSpecial, R, 82.0, 0.6),
    ] {
        let found = class.half_width(kind, Celsius(at));
        assert!((found - half_width).abs() < 1e-9, "{class:?} {kind} {at} °C: {found}");
    }
    for (class, half_width) in [(Aa, 0.2394), (A, 0.314), (B, 0.71)] {
        let found = class.half_width(LIMIT);
        assert!((found - half_width).abs() < 1e-9, "{class:?}: {found}");
    }
}

#[test]
fn refuses_bad_values() {
    let u = Uncertainty::from_standard(0.5);
    for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
        assert_eq!(conformance_probability(Celsius(bad), LIMIT, u), None);
        assert_eq!(conformance_probability(LIMIT, Celsius(bad), u), None);
        assert_eq!(conformance_probability(LIMIT, LIMIT, Uncertainty::from_standard(bad)), None);
    }
    assert_eq!(conformance_probability(LIMIT, LIMIT, Uncertainty::from_standard(-0.1)), None);
    for bad in [f64::NAN, f64::INFINITY, -0.1] {
        let default = Budget::default;
        for (name, budget) in [
            ("sensor", Budget { sensor: Sensor::Within { half_width_c: bad }, ..default() }),
            ("sensor", Budget { sensor: Sensor::Calibrated { expanded_c: bad }, ..default() }),
            ("cold junction", Budget { cold_junction_c: bad, ..default() }),
            ("converter", Budget { converter_c: bad, ..default() }),
            ("resolution", Budget { resolution_c: bad, ..default() }),
            ("installation", Budget { installation_c: bad, ..default() }),
            ("repeatability", Budget { repeatability_c: bad, ..default() }),
            ("drift", Budget { drift_c: bad, ..default() }),
        ] {
            assert_eq!(budget.check(), Err(BudgetError { component: name }), "{bad}");
        }
    }
    assert_eq!(Budget::default().check(), Ok(()));
    assert_eq!(worked_example().check(), Ok(()));
}

#[test]
fn decides_sharply_without_uncertainty() {
    let none = Uncertainty::from_standard(0.0);
    for (measured, expected) in [(81.999, 0.0), (82.0, 1.0), (82.001, 1.0)] {
        assert_eq!(conformance_probability(Celsius(measured), LIMIT, none), Some(expected));
    }
}

proptest! {
    #[test]
    fn probability_rises_with_the_reading_and_mirrors_at_the_limit(
        margin in -5.0..5.0_f64, more in 0.0..2.0_f64, standard in 0.05..3.0_f64,
    ) {
        let u = Uncertainty::from_standard(standard);
        let at = |margin: f64| conformance_probability(Celsius(LIMIT.0 + margin), LIMIT, u).expect("finite values");
        prop_assert!((0.0..=1.0).contains(&at(margin)));
        prop_assert!(at(margin + more) >= at(margin));
        prop_assert!((at(margin) + at(-margin) - 1.0).abs() < 1e-9);
    }
}
