use proptest::prelude::*;

use super::*;

fn point(reference: f64, indicated: f64) -> Point {
    Point { reference: Celsius(reference), indicated: Celsius(indicated) }
}

#[test]
fn corrects_at_one_point() {
    let calibration = Calibration::one_point(point(0.0, -0.6)).expect("a sound point");
    assert!((calibration.apply(Celsius(81.4)).0 - 82.0).abs() < 1e-12);
    assert_eq!(Calibration::None.apply(Celsius(81.4)), Celsius(81.4));
}

// T = (Tm − Ti)(Tb − T0)/(Tbm − Ti) + T0, worked by hand: ice 0.4 shown for
// 0.0, boil 99.1 shown for 99.974 (1013.25 hPa, IAPWS-IF97): gain 1.012908,
// 82.0 shown is 82.6533.
#[test]
fn corrects_by_the_line_through_two_points() {
    let (ice, boil) = (point(0.0, 0.4), point(99.974, 99.1));
    for calibration in [Calibration::two_point(ice, boil), Calibration::two_point(boil, ice)] {
        let calibration = calibration.expect("sound points");
        assert!((calibration.apply(Celsius(82.0)).0 - 82.6533).abs() < 1e-4, "{calibration:?}");
        assert!((calibration.apply(Celsius(0.4)).0).abs() < 1e-9);
        assert!((calibration.apply(Celsius(99.1)).0 - 99.974).abs() < 1e-9);
    }
}

// The bounds are this program's own choice, as their docs say.
#[test]
fn refuses_what_is_a_fault_or_no_number() {
    use CalibrationError::{Correction, Gain, NotANumber, PointsTooNear};
    for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
        assert_eq!(Calibration::one_point(point(bad, 0.0)), Err(NotANumber));
        assert_eq!(Calibration::one_point(point(0.0, bad)), Err(NotANumber));
        assert_eq!(Calibration::two_point(point(bad, 0.0), point(100.0, 100.0)), Err(NotANumber));
        assert_eq!(Calibration::two_point(point(0.0, 0.0), point(100.0, bad)), Err(NotANumber));
    }
    assert!(matches!(Calibration::one_point(point(0.0, 5.1)), Err(Correction { .. })));
    assert!(Calibration::one_point(point(0.0, 5.0)).is_ok());
    for (one, other) in [
        (point(0.0, 0.0), point(0.0, 0.0)),
        (point(70.0, 70.0), point(99.0, 99.0)),
        (point(60.0, 60.5), point(90.1, 90.0)),
    ] {
        assert!(matches!(Calibration::two_point(one, other), Err(PointsTooNear { .. })), "{one:?} {other:?}");
    }
    for (boil, indicated) in [(100.0, 96.9), (100.0, 103.2)] {
        let refused = Calibration::two_point(point(0.0, 0.0), point(boil, indicated));
        assert!(matches!(refused, Err(Gain { .. })), "{indicated}: {refused:?}");
    }
    assert!(Calibration::two_point(point(0.0, 0.0), point(100.0, 97.1)).is_ok());
}

proptest! {
    #[test]
    fn an_accepted_line_rises_and_meets_its_points(
        ice in -6.0..6.0_f64, boil in 90.0..106.0_f64, measured in -20.0..120.0_f64,
    ) {
        let (one, other) = (point(0.0, ice), point(97.5, boil));
        if let Ok(calibration) = Calibration::two_point(one, other) {
            prop_assert!((calibration.apply(one.indicated).0 - one.reference.0).abs() < 1e-9);
            prop_assert!((calibration.apply(other.indicated).0 - other.reference.0).abs() < 1e-9);
            prop_assert!(calibration.apply(Celsius(measured + 0.1)) > calibration.apply(Celsius(measured)));
        }
    }
}
