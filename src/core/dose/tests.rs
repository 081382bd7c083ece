use proptest::prelude::*;

use super::*;

/// A0 by EN ISO 15883-1 without a lower bound, HUE by the curve of Fuchs 1951;
/// each row names its anchor.
const CHECK: &str = include_str!("../../../tests/data/a0_hue_check.csv");

#[test]
fn agrees_with_the_check_values() {
    for line in CHECK.lines().skip(1) {
        let fields: Vec<f64> =
            line.split(',').take(4).map(|field| field.parse().expect("a number")).collect();
        let (at, seconds) = (Celsius(fields[0]), fields[1]);
        // The file prints six digits.
        for (computed, stated) in [(a0(at, at, seconds, None), fields[2]), (hue(at, at, seconds), fields[3])]
        {
            assert!((computed - stated).abs() <= 1e-5 * stated, "{line}: {computed}");
        }
    }
    assert_eq!(CHECK.lines().count(), 41);
}

// HUE/s: milk-pasteurization anchors 143 °F and 161 °F, and the rates that
// follow from the constants, as published in the 2009 slides within 0.5 %.
#[test]
fn has_the_published_hue_rates() {
    for (fahrenheit, rate) in [
        (140.0, 0.450),
        (143.0, 1.0),
        (150.0, 6.436),
        (155.0, 24.33),
        (160.0, 91.98),
        (161.0, 120.0),
        (165.0, 346.8),
        (170.0, 346.8),
        (190.0, 346.8),
    ] {
        let at = Celsius::from_fahrenheit(fahrenheit);
        let computed = hue(at, at, 1.0);
        assert!((computed - rate).abs() < 0.005 * rate, "{fahrenheit} °F: {computed}");
    }
}

#[test]
fn counts_a0_of_the_record_from_65_degrees() {
    for (celsius, expected) in [(60.0, 0.0), (64.999, 0.0), (65.0, 60.0 * 0.031_622_8), (80.0, 60.0)] {
        let mut dose = Dose::default();
        dose.add(Celsius(celsius), Celsius(celsius), 60.0);
        assert!((dose.a0 - expected).abs() < 1e-4, "{celsius}: {dose:?}");
        assert!(dose.hue > 0.0, "HUE has no lower bound");
    }
}

#[test]
fn adds_nothing_for_bad_values() {
    let good = Celsius(80.0);
    for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
        let mut dose = Dose::default();
        dose.add(Celsius(bad), good, 1.0);
        dose.add(good, Celsius(bad), 1.0);
        dose.add(good, good, bad);
        dose.add(good, good, 0.0);
        dose.add(good, good, -1.0);
        assert_eq!(dose, Dose::default(), "{bad}");
    }
    let mut dose = Dose::default();
    dose.add(Celsius(1e300), Celsius(-1e300), 1e6);
    assert!(dose.a0.is_finite() && dose.hue.is_finite(), "{dose:?}");
}

/// Simpson's rule on a fine grid, the independent way to the same integral.
fn simpson(from: f64, to: f64, seconds: f64, rate: impl Fn(f64) -> f64) -> f64 {
    const STEPS: u32 = 20_000;
    let at = |step: u32| rate(from + (to - from) * f64::from(step) / f64::from(STEPS));
    let inner: f64 = (1..STEPS).map(|step| at(step) * if step % 2 == 1 { 4.0 } else { 2.0 }).sum();
    (at(0) + inner + at(STEPS)) * seconds / (3.0 * f64::from(STEPS))
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn closed_form_equals_simpson(from in 20.0..100.0_f64, to in 20.0..100.0_f64, seconds in 0.01..600.0_f64) {
        // The jump of A0 at 65 °C costs the grid one step of its rate.
        let a0_rate = |t: f64| if t < 65.0 { 0.0 } else { 10f64.powf((t - 80.0) / 10.0) };
        let expected = simpson(from, to, seconds, a0_rate);
        let computed = a0(Celsius(from), Celsius(to), seconds, Some(A0_LOWER_BOUND));
        prop_assert!((computed - expected).abs() <= 1e-4 * seconds * 0.032 + 1e-6 * expected, "{computed} {expected}");
        let hue_rate = |t: f64| 3.03438e-17 * (0.265_972 * (t * 1.8 + 32.0).min(165.0)).exp();
        let expected = simpson(from, to, seconds, hue_rate);
        let computed = hue(Celsius(from), Celsius(to), seconds);
        prop_assert!((computed - expected).abs() <= 1e-5 * expected + 1e-12, "{computed} {expected}");
    }

    #[test]
    fn cutting_a_line_in_two_changes_nothing(
        from in 20.0..100.0_f64, to in 20.0..100.0_f64, share in 0.0..1.0_f64, seconds in 0.01..600.0_f64,
    ) {
        let middle = Celsius(from + share * (to - from));
        let (mut whole, mut parts) = (Dose::default(), Dose::default());
        whole.add(Celsius(from), Celsius(to), seconds);
        parts.add(Celsius(from), middle, seconds * share);
        parts.add(middle, Celsius(to), seconds * (1.0 - share));
        prop_assert!((whole.a0 - parts.a0).abs() <= 1e-9 * (1.0 + whole.a0), "{whole:?} {parts:?}");
        prop_assert!((whole.hue - parts.hue).abs() <= 1e-9 * (1.0 + whole.hue), "{whole:?} {parts:?}");
    }
}
