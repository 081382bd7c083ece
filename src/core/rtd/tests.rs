use proptest::prelude::*;

use super::*;

// °C, Ω. −50 to 200 °C: computed from the equation of IEC 60751 by an
// independent program; −200, −100 and 850 °C: IEC 60751 table, from memory.
#[test]
fn agrees_with_the_standard() {
    for (celsius, ohms, rounding) in [
        (-200.0, 18.52, 0.005),
        (-100.0, 60.26, 0.005),
        (-50.0, 80.3063, 5e-5),
        (0.0, 100.0, 1e-12),
        (25.0, 109.7347, 5e-5),
        (50.0, 119.3971, 5e-5),
        (71.0, 127.4578, 5e-5),
        (74.0, 128.6052, 5e-5),
        (82.0, 131.6597, 5e-5),
        (82.2222, 131.7445, 5e-5),
        (90.0, 134.7069, 5e-5),
        (100.0, 138.5055, 5e-5),
        (150.0, 157.3251, 5e-5),
        (200.0, 175.8560, 5e-5),
        (850.0, 390.48, 0.005),
    ] {
        let computed = resistance(Celsius(celsius)).expect("inside the range");
        assert!((computed.0 - ohms).abs() <= rounding + 1e-9, "{celsius} °C: {} Ω", computed.0);
        if rounding < 0.001 {
            let back = temperature(Ohms(ohms)).expect("inside the range");
            assert!((back.0 - celsius).abs() < 3e-4, "{ohms} Ω: {} °C", back.0);
        }
    }
}

#[test]
fn refuses_what_is_no_number_or_out_of_range() {
    assert_eq!(resistance(Celsius(f64::NAN)), Err(RtdError::NotANumber));
    assert_eq!(temperature(Ohms(f64::NAN)), Err(RtdError::NotANumber));
    for outside in [-200.001, 850.001, f64::INFINITY, f64::NEG_INFINITY] {
        let temperature = Celsius(outside);
        assert_eq!(resistance(temperature), Err(RtdError::TemperatureOutOfRange { temperature }));
    }
    // A shorted probe reads near 0 Ω, a broken one rails high.
    for outside in [-1.0, 0.0, 18.5, 390.5, 1e9, f64::INFINITY, f64::NEG_INFINITY] {
        let resistance = Ohms(outside);
        assert_eq!(temperature(resistance), Err(RtdError::ResistanceOutOfRange { resistance }));
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2000))]

    #[test]
    fn inverse_undoes_forward(celsius in -200.0..=850.0) {
        let ohms = resistance(Celsius(celsius)).expect("inside the range");
        let back = temperature(ohms).expect("a resistance of the curve");
        prop_assert!((back.0 - celsius).abs() < 1e-6, "{celsius}: {back:?}");
    }

    #[test]
    fn hotter_has_more_resistance(celsius in -200.0..=849.0_f64, step in 1e-6..1.0_f64) {
        let colder = resistance(Celsius(celsius)).expect("inside the range");
        prop_assert!(resistance(Celsius(celsius + step)).expect("inside the range") > colder);
    }
}
