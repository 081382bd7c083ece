//! Thermometers that are off, and what takes that back.

use super::fixture::{Play, at, in_ice, settings};
use crate::core::alert::{Condition, Desk};
use crate::core::record::{Amendment, AmendmentChange, Body, CalibrationDone, Check, Correction};

fn compare(play: &mut Play, minutes: f64, what: &str, shown_c: f64) {
    play.until(minutes);
    play.record("hot", Body::Check(in_ice(at(minutes), what, shown_c)));
}

fn amend(play: &mut Play, minutes: f64, of: u64, change: AmendmentChange) {
    play.until(minutes);
    let (reason, by) = ("misread".to_owned(), "ana".to_owned());
    play.record("hot", Body::Amendment(Box::new(Amendment { of, reason, by, change })));
}

fn calibrate(play: &mut Play, minutes: f64, probe: &str) {
    play.until(minutes);
    let none = Correction { gain: 1.0, offset_c: 0.0 };
    let done = CalibrationDone {
        probe: probe.to_owned(),
        at: at(minutes),
        points: Vec::new(),
        found: none,
        left: Correction { offset_c: -1.4, ..none },
        expanded_c: 0.4,
        until: None,
        note: None,
        by: "ben".to_owned(),
    };
    play.record("hot", Body::Calibration(Box::new(done)));
}

/// The thermometers that are off at present.
fn off(play: &Play) -> Vec<String> {
    let open = play.open(Condition::ThermometerOff).filter(|alert| alert.cleared.is_none());
    open.map(|alert| alert.about.clone()).unwrap_or_default()
}

// The tolerance of the fixture is 1 °C; a difference of exactly that agrees (own rule, `core::logbook`).
#[test]
fn what_is_off_is_told_and_taken_back() {
    type Act = fn(&mut Play);
    let rows: [(&str, Act, &[&str]); 10] = [
        ("nearly", |play| compare(play, 1.0, "hot/rinse", 1.0), &[]),
        ("off", |play| compare(play, 1.0, "hot/rinse", -1.1), &["hot/rinse"]),
        ("good again", |play| compare(play, 2.0, "hot/rinse", 0.1), &[]),
        (
            "off again, and a gauge",
            |play| {
                compare(play, 3.0, "hot/rinse", 1.4);
                compare(play, 3.1, "dial gauge", 2.0);
            },
            &["hot/rinse", "dial gauge"],
        ),
        (
            "another probe is calibrated",
            |play| calibrate(play, 4.0, "hot/wash"),
            &["hot/rinse", "dial gauge"],
        ),
        ("the probe is calibrated", |play| calibrate(play, 5.0, "hot/rinse"), &["dial gauge"]),
        (
            "a good one from before is entered",
            |play| {
                play.until(6.0);
                play.record("hot", Body::Check(in_ice(at(2.5), "dial gauge", 0.0)));
            },
            &["dial gauge"],
        ),
        ("a remark", |play| amend(play, 7.0, 4, AmendmentChange::Comment), &["dial gauge"]),
        ("withdrawn", |play| amend(play, 8.0, 4, AmendmentChange::Withdrawn), &[]),
        (
            "the calibration is of no account",
            |play| amend(play, 9.0, 6, AmendmentChange::Withdrawn),
            &["hot/rinse"],
        ),
    ];
    for restores in [false, true] {
        let mut play = Play::new(settings());
        play.restores = restores;
        for (what, act, expected) in &rows {
            act(&mut play);
            assert_eq!(off(&play), *expected, "{what}");
        }
        play.until(24.0 * 60.0);
        assert_eq!(off(&play), ["hot/rinse"], "it does not lapse");
    }
}

// Own promise: what is off is to be compared again, each thermometer by itself, until it agrees or is calibrated.
#[test]
fn what_is_off_stays_due_until_it_agrees() {
    let mut play = Play::new(settings());
    let again = |play: &Play| {
        let all = play.desk.due_checks(play.now).into_iter().filter_map(|due| due.again);
        all.filter_map(|again| Some((again.record, again.what?))).collect::<Vec<_>>()
    };
    compare(&mut play, 1.0, "hot/rinse", 1.4);
    compare(&mut play, 2.0, "dial gauge", 2.0);
    let off = play.desk.due_checks(play.now).into_iter().filter_map(|due| due.again).collect::<Vec<_>>();
    assert_eq!(again(&play).len(), 2, "{off:?}");
    let rinse = off[0].record;
    assert_eq!(again(&play)[0], (rinse, "hot/rinse".to_owned()));
    compare(&mut play, 3.0, "hot/rinse", 1.5);
    assert_eq!(
        again(&play).iter().map(|(_, what)| what.as_str()).collect::<Vec<_>>(),
        ["dial gauge", "hot/rinse"]
    );
    calibrate(&mut play, 4.0, "hot/rinse");
    compare(&mut play, 5.0, "dial gauge", 0.2);
    assert!(again(&play).is_empty());
}

// Record 0 is off; it was another thermometer that was read, or another figure.
#[test]
fn a_corrected_comparison_counts_as_corrected() {
    let rinse = |shown_c| AmendmentChange::Corrected(in_ice(at(1.0), "hot/rinse", shown_c));
    let other = AmendmentChange::Corrected(in_ice(at(1.0), "hot/wash", 1.4));
    let supply =
        Check::Supply { at: at(1.0), enough: true, short: Vec::new(), note: None, by: "ana".to_owned() };
    for (change, expected) in [
        (rinse(0.4), &[] as &[&str]),
        (rinse(1.6), &["hot/rinse"]),
        (other, &["hot/wash"]),
        (AmendmentChange::Corrected(supply), &[]),
    ] {
        let mut play = Play::new(settings());
        compare(&mut play, 1.0, "hot/rinse", 1.4);
        amend(&mut play, 2.0, 0, change.clone());
        assert_eq!(off(&play), expected, "{change:?}");
    }
}

// It closes by itself once the good comparison has lasted: no rack is proven bad by it.
#[test]
fn it_closes_without_a_written_action() {
    let mut play = Play::new(settings());
    compare(&mut play, 1.0, "hot/rinse", 1.4);
    assert_eq!(play.open(Condition::ThermometerOff).map(|alert| alert.since), Some(at(1.0)));
    compare(&mut play, 2.0, "hot/rinse", 0.0);
    play.until(120.0);
    assert_eq!(play.open(Condition::ThermometerOff), None);
    assert_eq!(play.story().last(), Some(&"alert-closed"));
}

// Own limit: 64 comparisons of a machine. What is off stays so, however much is compared after it.
#[test]
fn many_comparisons_do_not_push_out_what_is_off() {
    let mut play = Play::new(settings());
    compare(&mut play, 1.0, "hot/rinse", 1.4);
    for n in 0..200 {
        compare(&mut play, 2.0 + f64::from(n), "hot/wash", 0.0);
    }
    assert_eq!(off(&play), ["hot/rinse"]);
    let state: serde_json::Value = serde_json::from_slice(&play.desk.state()).expect("its own state");
    assert_eq!(state["machines"]["hot"]["compared"].as_array().map(Vec::len), Some(64));
    amend(&mut play, 300.0, 0, AmendmentChange::Withdrawn);
    assert!(off(&play).is_empty(), "and can still be withdrawn");
}

// A state of before this was known of.
#[test]
fn an_older_state_is_taken() {
    let mut play = Play::new(settings());
    compare(&mut play, 1.0, "hot/rinse", 0.0);
    let mut state: serde_json::Value = serde_json::from_slice(&play.desk.state()).expect("its own state");
    state["machines"]["hot"].as_object_mut().expect("a machine").remove("compared").expect("it was there");
    let bytes = serde_json::to_vec(&state).expect("JSON");
    play.desk = Desk::restore(settings(), &bytes).expect("an older state");
    compare(&mut play, 2.0, "hot/rinse", 1.4);
    assert_eq!(off(&play), ["hot/rinse"]);
}
