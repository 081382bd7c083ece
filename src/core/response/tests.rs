use super::*;
use crate::core::cycle::fixture::at;

/// Noise of about 0.035 °C, and digits of 0.1 °C.
fn shown(t: f64, celsius: f64) -> f64 {
    ((celsius + 0.05 * (t * 37.0).sin()) * 10.0).round() / 10.0
}

/// A probe of one lag, or of two, in the room for 12.3 s and then in water of 82 °C.
fn plunged(hertz: f64, tau_s: f64, second_s: f64, lasts_s: f64) -> StepWatch {
    let answer = |since: f64| {
        if since <= 0.0 {
            0.0
        } else if second_s > 0.0 {
            let (one, other) = (tau_s * (-since / tau_s).exp(), second_s * (-since / second_s).exp());
            1.0 - (one - other) / (tau_s - second_s)
        } else {
            1.0 - (-since / tau_s).exp()
        }
    };
    watched(hertz, 12.3 + lasts_s, |t| 21.0 + 61.0 * answer(t - 12.3))
}

fn watched(hertz: f64, seconds: f64, celsius: impl Fn(f64) -> f64) -> StepWatch {
    let mut watch = StepWatch::default();
    let times = (0..).map(|i| f64::from(i) / hertz).take_while(|t| *t <= seconds);
    times.for_each(|t| watch.reading(at(t), Celsius(shown(t, celsius(t)))));
    watch
}

// The answer of a first-order system has a closed form: the fit must give its time constant back.
#[test]
fn the_time_constant_of_a_step_is_found() {
    for (hertz, tau_s) in
        [(4.0, 0.8), (4.0, 1.2), (4.0, 2.0), (10.0, 0.5), (2.0, 2.0), (1.0, 3.6), (1.0, 8.0), (0.5, 20.0)]
    {
        let watch = plunged(hertz, tau_s, 0.0, 9.0 * tau_s + 4.0);
        assert_eq!(watch.stage(), Stage::Over, "{hertz} Hz, {tau_s} s");
        let found = watch.look().unwrap_or_else(|refused| panic!("{hertz} Hz, {tau_s} s: {refused}"));
        let error = (found.tau_s - tau_s).abs();
        assert!(error < 0.03 * tau_s && error < found.expanded_s, "{hertz} Hz, {tau_s} s: {found:?}");
        assert!((found.from.0 - 21.0).abs() < 0.3 && (found.to.0 - 82.0).abs() < 0.3, "{found:?}");
        assert!((found.at.seconds_since(at(12.3))).abs() < 0.1, "{hertz} Hz, {tau_s} s: {found:?}");
        assert!((0.11..0.6).contains(&found.expanded_s) && found.residual_c < 0.4, "{found:?}");
    }
}

#[test]
fn a_test_tells_where_it_stands() {
    let stage = |seconds: f64| {
        let answer = |t: f64| if t > 12.3 { 82.0 - 61.0 * (-(t - 12.3) / 2.0_f64).exp() } else { 21.0 };
        watched(4.0, seconds, answer).stage()
    };
    assert_eq!(stage(1.0), Stage::Settling);
    assert!(matches!(stage(10.0), Stage::Level { celsius } if (celsius.0 - 21.0).abs() < 0.1));
    assert!(matches!(stage(15.0), Stage::Answering { since_s } if (1.5..3.0).contains(&since_s)));
    assert_eq!(stage(30.0), Stage::Over);
    let warming = watched(4.0, 20.0, |t| 21.0 + t);
    assert_eq!(warming.stage(), Stage::Settling, "a hand that warms it is no level");
}

#[test]
fn what_is_no_step_is_refused_with_its_reason() {
    let quick = plunged(1.0, 0.8, 0.0, 20.0);
    let lifted = |t: f64| match t - 12.3 {
        since if since < 0.0 => 21.0,
        since if since < 4.0 => 82.0 - 61.0 * (-since / 2.0).exp(),
        since => 21.0 + 40.0 * (-(since - 4.0) / 2.0).exp(),
    };
    let hand = |t: f64| if t > 12.3 { 33.0 - 12.0 * (-(t - 12.3) / 2.0_f64).exp() } else { 21.0 };
    let heating = |t: f64| if t > 12.3 { 21.0 + (t - 12.3) } else { 21.0 };
    for (what, watch, wanted) in [
        ("nothing", watched(4.0, 30.0, |_| 21.0), "no step has come"),
        ("a warm hand", watched(4.0, 40.0, hand), "the step was 11.9 °C; at least 20 °C"),
        ("not over", plunged(4.0, 8.0, 0.0, 20.0), "had not ended after 20 s"),
        ("a kettle that heats", watched(4.0, 60.0, heating), "had not ended"),
        ("two equal lags", plunged(4.0, 3.0, 2.9, 60.0), "not of the first order"),
        ("lifted out again", watched(4.0, 60.0, lifted), ""),
        ("read too seldom", quick, "it must be read at least every 0."),
    ] {
        let said = watch.look().expect_err(what).to_string();
        assert!(said.contains(wanted), "{what}: {said}");
    }
    let NoStep::TooSlow { apart_s, wanted_s, .. } =
        plunged(1.0, 1.5, 0.0, 20.0).look().expect_err("too seldom")
    else {
        panic!("another reason")
    };
    assert!((apart_s - 1.0).abs() < 1e-9 && (0.4..0.6).contains(&wanted_s), "{wanted_s}");
}

// The answer of 2 s has its steepest part within the first 3 s after 12.3 s; the limit of four usual times is the
// module's own.
#[test]
fn an_answer_with_a_hole_is_refused() {
    let holed = |from: f64, until: f64| {
        let mut watch = StepWatch::default();
        let times = (0..120).map(|i| f64::from(i) / 4.0).filter(|t| !(from..until).contains(t));
        let answer = |t: f64| if t > 12.3 { 82.0 - 61.0 * (-(t - 12.3) / 2.0_f64).exp() } else { 21.0 };
        times.for_each(|t| watch.reading(at(t), Celsius(shown(t, answer(t)))));
        watch.look()
    };
    for (from, until, refused) in
        [(12.2, 14.0, true), (13.0, 15.0, true), (13.0, 13.5, false), (5.0, 8.0, false), (26.0, 29.0, false)]
    {
        let found = holed(from, until);
        assert_eq!(matches!(found, Err(NoStep::Hole { .. })), refused, "{from} to {until} s: {found:?}");
        assert_eq!(found.is_ok(), !refused, "{from} to {until} s: {found:?}");
    }
}

// A second lag of a tenth, as a bare sheath has, does no harm; its time is added to the first.
#[test]
fn a_thin_sheath_is_of_the_first_order() {
    let found = plunged(4.0, 2.0, 0.2, 30.0).look().expect("a step");
    assert!((1.9..2.2).contains(&found.tau_s), "{found:?}");
}

// The rule of the tracker: the larger of 3 s and three time constants, within half the plate's rinse.
#[test]
fn whether_a_probe_can_show_a_rinse() {
    let seconds = Duration::from_secs_f64;
    for (tau_s, rinse_s, expected) in
        [(1.0, 10.0, true), (1.6, 10.0, true), (1.7, 10.0, false), (0.1, 6.0, true), (0.1, 5.0, false)]
    {
        let found = fast_enough(Place::FinalRinse, seconds(tau_s), seconds(rinse_s));
        assert_eq!(found, Some(expected), "{tau_s} s, {rinse_s} s");
    }
    assert_eq!(fast_enough(Place::WashTank, seconds(9.0), seconds(10.0)), None);
}
