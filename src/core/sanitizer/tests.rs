use proptest::prelude::*;

use super::Refusal::{NotAMeasurement, NotChemical, PhTooHigh, TooStrong, TooWeak};
use super::Sanitizing::{Chlorine, HotWater, Iodine, Quat};
use super::*;

/// FDA Food Code 4-501.114(A) and 4-703.11(C), one row for each cell.
const CHECK: &str = include_str!("../../../tests/data/chlorine_check.csv");

/// Lowest °C and contact in s, or the refusal.
fn asked(sanitizing: Sanitizing, mg_per_l: f64, ph: Option<f64>) -> Result<(f64, u64), Refusal> {
    requirement(sanitizing, mg_per_l, ph, &Rules::default())
        .map(|asked| (asked.min.0, asked.contact.as_secs()))
}

#[test]
fn agrees_with_the_table_of_the_food_code() {
    for line in CHECK.lines().skip(1) {
        let fields: Vec<&str> = line.split(',').collect();
        let number = |index: usize| fields[index].parse::<f64>().expect("a number");
        // The last row is open upwards: to the ceiling of 40 CFR 180.940.
        let to = if fields[1].is_empty() { 200.0 } else { number(1) };
        for (rounding, min) in [
            (Rounding::Celsius, Celsius(number(3))),
            (Rounding::Fahrenheit, Celsius::from_fahrenheit(number(4))),
        ] {
            let rules = Rules { rounding, ..Rules::default() };
            let contact = Duration::from_secs(fields[5].parse().expect("seconds"));
            for mg_per_l in [number(0), to] {
                let expected = Ok(Requirement { min, contact });
                assert_eq!(requirement(Chlorine, mg_per_l, Some(number(2)), &rules), expected, "{line}");
            }
        }
    }
    assert_eq!(CHECK.lines().count(), 7);
}

// Colours and labels: common practice, no source; iodine to 25 mg/L and chlorine to 200 mg/L by the rules. Own promise:
// wherever a strip lies between two colours, what is entered fails if anything between them would.
#[test]
fn between_two_colours_the_one_that_may_fail_is_entered() {
    let labelled = |quat_mg_per_l| Rules { quat_mg_per_l, ..Rules::default() };
    for (sanitizing, rules, expected) in [
        (HotWater, Rules::default(), None),
        (Chlorine, Rules::default(), None),
        (Chlorine, Rules { chlorine_max_mg_per_l: 150.0, ..Rules::default() }, Some((100.0, 200.0))),
        (Iodine, Rules::default(), Some((25.0, 50.0))),
        (Quat, Rules::default(), Some((400.0, 500.0))),
        (Quat, labelled(150.0..=350.0), Some((300.0, 400.0))),
        (Quat, labelled(210.0..=290.0), None),
        (Quat, labelled(200.0..=600.0), None),
    ] {
        let found = too_strong_between(sanitizing, &rules);
        assert_eq!(found, expected, "{sanitizing:?} {rules:?}");
        for pair in strip_colours(sanitizing).windows(2) {
            let entered = if found == Some((pair[0], pair[1])) { pair[1] } else { pair[0] };
            let is_good = |mg_per_l| requirement(sanitizing, mg_per_l, None, &rules).is_ok();
            let all_good =
                (1..100).all(|part| is_good(pair[0] + f64::from(part) / 100.0 * (pair[1] - pair[0])));
            assert!(all_good || !is_good(entered), "{sanitizing:?} between {pair:?}: {entered}");
        }
    }
}

// Food Code 4-501.114 and 4-703.11; the readings of gaps and of an unknown pH
// are this program's careful choice.
#[test]
fn reads_edges_gaps_and_unknown_ph_the_careful_way() {
    for (mg_per_l, ph, expected) in [
        (24.999, Some(7.0), Err(TooWeak)),
        (0.0, None, Err(TooWeak)),
        (25.0, Some(7.0), Ok((49.0, 10))),
        (49.5, Some(7.0), Ok((49.0, 10))),
        (50.0, Some(8.0), Ok((24.0, 7))),
        (50.0, Some(8.001), Ok((38.0, 7))),
        (50.0, None, Ok((38.0, 7))),
        (99.5, Some(7.0), Ok((24.0, 7))),
        (99.5, Some(10.0), Ok((38.0, 7))),
        (100.0, None, Ok((13.0, 10))),
        (100.0, Some(10.0), Ok((13.0, 10))),
        (100.0, Some(10.001), Err(PhTooHigh)),
        (200.0, Some(7.0), Ok((13.0, 10))),
        (200.001, Some(7.0), Err(TooStrong)),
    ] {
        assert_eq!(asked(Chlorine, mg_per_l, ph), expected, "{mg_per_l} mg/L, pH {ph:?}");
    }
}

// Food Code 4-501.114(B) and (C), 4-703.11(C)(3); 200 to 400 mg/L quat is common practice, no source.
#[test]
fn knows_iodine_and_quat() {
    for (sanitizing, mg_per_l, ph, expected) in [
        (Iodine, 12.4, Some(4.0), Err(TooWeak)),
        (Iodine, 12.5, Some(5.0), Ok((20.0, 30))),
        (Iodine, 25.0, None, Ok((20.0, 30))),
        (Iodine, 25.1, None, Err(TooStrong)),
        (Iodine, 20.0, Some(5.1), Err(PhTooHigh)),
        (Quat, 199.0, None, Err(TooWeak)),
        (Quat, 200.0, Some(7.0), Ok((24.0, 30))),
        (Quat, 400.0, None, Ok((24.0, 30))),
        (Quat, 401.0, None, Err(TooStrong)),
        (HotWater, 100.0, None, Err(NotChemical)),
    ] {
        assert_eq!(asked(sanitizing, mg_per_l, ph), expected, "{sanitizing:?} {mg_per_l} mg/L, pH {ph:?}");
    }
}

#[test]
fn refuses_what_is_no_measurement() {
    for sanitizing in [Chlorine, Iodine, Quat] {
        for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, -1.0] {
            assert_eq!(asked(sanitizing, bad, None), Err(NotAMeasurement), "{bad} mg/L");
            assert_eq!(asked(sanitizing, 20.0, Some(bad)), Err(NotAMeasurement), "pH {bad}");
        }
        assert_eq!(asked(sanitizing, 20.0, Some(14.1)), Err(NotAMeasurement));
    }
}

#[test]
fn follows_the_site() {
    let rules = Rules {
        chlorine_max_mg_per_l: 150.0,
        iodine_ph_max: 7.0,
        quat_mg_per_l: 150.0..=300.0,
        ..Rules::default()
    };
    let refused = |sanitizing, mg_per_l, ph| requirement(sanitizing, mg_per_l, ph, &rules).err();
    assert_eq!(refused(Chlorine, 151.0, None), Some(TooStrong));
    assert_eq!(refused(Iodine, 20.0, Some(6.0)), None);
    assert_eq!(refused(Quat, 150.0, None), None);
    assert_eq!(refused(Quat, 301.0, None), Some(TooStrong));
    let broken = Rules { chlorine_max_mg_per_l: f64::NAN, ..Rules::default() };
    assert_eq!(requirement(Chlorine, 100.0, None, &broken), Err(TooStrong));
}

proptest! {
    // More chlorine never needs more heat, and a lower pH never does.
    #[test]
    fn stronger_or_sourer_needs_no_more_heat(
        mg_per_l in 25.0..=190.0_f64, more in 0.0..=10.0_f64, ph in 1.0..=10.0_f64, less in 0.0..=1.0_f64,
    ) {
        let base = asked(Chlorine, mg_per_l, Some(ph)).expect("inside the table").0;
        prop_assert!(asked(Chlorine, mg_per_l + more, Some(ph)).expect("inside the table").0 <= base);
        prop_assert!(asked(Chlorine, mg_per_l, Some(ph - less)).expect("inside the table").0 <= base);
        prop_assert!(asked(Chlorine, mg_per_l, None).expect("inside the table").0 >= base);
    }
}

// Own rule: nothing is rounded to a value that it is not.
#[test]
fn a_concentration_is_not_shown_as_the_one_it_missed() {
    for (mg_per_l, expected) in
        [(25.0, "25"), (24.9, "24.9"), (24.96, "24.96"), (12.5, "12.5"), (0.0, "0"), (49.549, "49.5")]
    {
        assert_eq!(shown(mg_per_l), expected);
    }
}
