//! Racks that passed, once what they passed by is found wrong.

use super::fixture::{Play, Rack, at, in_ice, settings};
use crate::core::alert::doubts::Doubts;
use crate::core::alert::story::note;
use crate::core::alert::{Alert, Amended, Condition, Earlier, Event, Quantity};
use crate::core::record::{Amendment, AmendmentChange, Body, Check, Clearing};

pub(super) fn strip(minute: f64, mg_per_l: f64) -> Check {
    let by = "ana".to_owned();
    Check::Sanitizer { at: at(minute), mg_per_l, ph: None, solution_c: None, method: None, by }
}

pub(super) fn enter(play: &mut Play, minute: f64, machine: &str, check: Check) {
    play.until(minute);
    play.record(machine, Body::Check(check));
}

pub(super) fn amend(play: &mut Play, minute: f64, machine: &str, of: u64, change: AmendmentChange) {
    play.until(minute);
    let (reason, by) = ("misread".to_owned(), "ana".to_owned());
    play.record(machine, Body::Amendment(Box::new(Amendment { of, reason, by, change })));
}

pub(super) fn open(play: &Play, condition: Condition) -> &Alert {
    play.open(condition).expect("an alert")
}

/// What the records say of racks that had passed.
fn on_record(play: &Play) -> Vec<&Earlier> {
    play.effects.records.iter().filter_map(|record| record.body.of_alert()?.earlier()).collect()
}

fn cleared(play: &Play) -> Vec<Clearing> {
    let of = |body: &Body| if let Body::AlertCleared(cleared) = body { Some(cleared.clearing) } else { None };
    play.effects.records.iter().filter_map(|record| of(&record.body)).collect()
}

// Food Code 4-501.114 asks for 50 mg/L of chlorine at 38 °C (column for pH 10): 10 mg/L can sanitize nothing. Own
// promise: whoever enters that need not wait for the next rack, and the two that passed since the good strip of 12:01
// are in doubt, those of before it are not.
#[test]
fn a_weak_strip_puts_what_passed_since_the_good_one_in_doubt() {
    for restores in [false, true] {
        let mut play = Play::new(settings());
        play.restores = restores;
        play.racks(0.0, "chem", &[Rack::Good]);
        enter(&mut play, 1.0, "chem", strip(1.0, 100.0));
        play.racks(2.0, "chem", &[Rack::Good, Rack::Good]);
        enter(&mut play, 4.0, "chem", strip(4.0, 10.0));
        let alert = open(&play, Condition::Weak);
        assert_eq!((alert.racks.count, alert.earlier, alert.needs_action), (2, 2, true));
        let named: Vec<u64> = alert.racks.named.iter().map(|rack| rack.index).collect();
        assert_eq!(named, [2, 3]);
        // A rack of after it has a verdict of its own.
        play.rack(5.0, "chem", Rack::Weak);
        let alert = open(&play, Condition::Weak);
        assert_eq!((alert.racks.count, alert.earlier), (3, 2));
        // Good again: it recovers without waiting for a rack, and every one is to be accounted for.
        enter(&mut play, 6.0, "chem", strip(6.0, 100.0));
        let alert = open(&play, Condition::Weak);
        assert_eq!((alert.cleared.is_some(), alert.racks_uncovered()), (true, 3));
        play.rack(7.0, "chem", Rack::Good);
        assert_eq!(open(&play, Condition::Weak).racks.count, 3);
    }
}

// Regression: an alert that came back by a strip named as the last good rack one that this very strip puts in doubt. 300 mg/L
// are more than 40 CFR 180.940 permits.
#[test]
fn a_rack_in_doubt_is_not_the_last_good_one_of_an_alert_that_came_back() {
    for restores in [false, true] {
        let mut play = Play::new(settings());
        play.restores = restores;
        play.rack(0.0, "chem", Rack::Good);
        enter(&mut play, 1.0, "chem", strip(1.0, 10.0));
        enter(&mut play, 2.0, "chem", strip(2.0, 100.0));
        play.racks(3.0, "chem", &[Rack::Good, Rack::Good]);
        enter(&mut play, 5.0, "chem", strip(5.0, 300.0));
        let alert = open(&play, Condition::Weak);
        assert_eq!((alert.racks.count, alert.before_return, alert.last_good), (3, 1, None));
        let mut stories = std::collections::BTreeMap::new();
        play.effects.records.iter().for_each(|record| note(&mut stories, record));
        let told = &stories[&alert.number];
        assert_eq!((told.alert.before_return, told.last_good), (1, None));
    }
}

// Own promise: what is to be held is what is counted: every rack since the good strip, whatever its own verdict, also
// those that come while the sanitizer is known to be wrong; none that a good strip followed, and none of work.
#[test]
fn a_weak_strip_holds_racks_without_proof_too() {
    use crate::core::reading::Fault;
    for restores in [false, true] {
        let mut play = Play::new(settings());
        play.restores = restores;
        play.racks(0.0, "chem", &[Rack::Gappy]);
        enter(&mut play, 1.0, "chem", strip(1.0, 100.0));
        play.racks(2.0, "chem", &[Rack::Gappy, Rack::Good, Rack::Fault(Fault::Silent), Rack::WorkedOn]);
        play.racks(6.0, "chem", &[Rack::Cold]);
        enter(&mut play, 7.0, "chem", strip(7.0, 10.0));
        let named = |play: &Play| -> Vec<u64> {
            open(play, Condition::Weak).racks.named.iter().map(|rack| rack.index).collect()
        };
        let alert = open(&play, Condition::Weak);
        assert_eq!((alert.racks.count, alert.earlier, alert.beside), (4, 1, 3));
        assert_eq!(named(&play), [2, 3, 4, 6]);
        let mut stories = std::collections::BTreeMap::new();
        play.effects.records.iter().for_each(|record| note(&mut stories, record));
        let story = stories.remove(&alert.number).expect("on record").alert;
        assert_eq!((&story.racks, story.earlier, story.beside), (&alert.racks, 1, 3));
        play.racks(8.0, "chem", &[Rack::Weak, Rack::Gappy]);
        assert_eq!((named(&play), open(&play, Condition::Weak).beside), (vec![2, 3, 4, 6, 8, 9], 4));
        enter(&mut play, 11.0, "chem", strip(11.0, 100.0));
        play.rack(12.0, "chem", Rack::Gappy);
        assert_eq!(open(&play, Condition::Weak).racks.count, 6);
    }
}

// Own promise: of a strip that was misread nothing is held, and the next one finds each rack again, once.
#[test]
fn racks_without_proof_are_held_by_the_next_strip_after_one_that_was_misread() {
    let mut play = Play::new(settings());
    play.racks(0.0, "chem", &[Rack::Good, Rack::Gappy]);
    enter(&mut play, 2.0, "chem", strip(2.0, 10.0));
    amend(&mut play, 3.0, "chem", 2, AmendmentChange::Withdrawn);
    assert_eq!((open(&play, Condition::Weak).racks.count, cleared(&play)), (0, vec![Clearing::Withdrawn]));
    play.until(60.0);
    enter(&mut play, 61.0, "chem", strip(61.0, 10.0));
    let alert = open(&play, Condition::Weak);
    assert_eq!((alert.racks.count, alert.earlier, alert.beside), (2, 1, 1));
}

// Own promise: what was entered wrongly puts nothing in doubt once it is corrected; the racks stand by the strip again.
#[test]
fn a_weak_strip_that_was_misread_is_dismissed() {
    let right = || AmendmentChange::Corrected(strip(2.0, 100.0));
    for change in [AmendmentChange::Withdrawn, right()] {
        let mut play = Play::new(settings());
        play.racks(0.0, "chem", &[Rack::Good, Rack::Good]);
        enter(&mut play, 2.0, "chem", strip(2.0, 10.0));
        assert_eq!(open(&play, Condition::Weak).racks_uncovered(), 2);
        amend(&mut play, 3.0, "chem", 2, change.clone());
        let alert = open(&play, Condition::Weak);
        assert_eq!((alert.racks.count, alert.earlier, alert.action_missing()), (0, 0, false));
        assert_eq!(cleared(&play), [Clearing::Withdrawn]);
        play.until(60.0);
        assert!(play.open(Condition::Weak).is_none(), "closed");
        // The next one puts in doubt what a strip has not found right since.
        enter(&mut play, 61.0, "chem", strip(61.0, 10.0));
        let expected = if change == AmendmentChange::Withdrawn { 2 } else { 0 };
        assert_eq!(open(&play, Condition::Weak).racks.count, expected, "{change:?}");
    }
}

// Own promise: an alert of racks that a misread strip judged says what that strip showed as it counts; a later strip
// that is weak stands for itself. The records say the same.
#[test]
fn an_alert_by_a_misread_strip_says_what_counts() {
    let right = || AmendmentChange::Corrected(strip(1.0, 100.0));
    for (change, counts) in [(AmendmentChange::Withdrawn, None), (right(), Some(Quantity::MgPerL(100.0)))] {
        let mut play = Play::new(settings());
        play.racks(0.0, "chem", &[Rack::Good]);
        enter(&mut play, 1.0, "chem", strip(1.0, 10.0));
        play.rack(2.0, "chem", Rack::Weak);
        let is_doubted = |play: &Play| {
            let mut doubts = Doubts::default();
            (0..).zip(&play.effects.records).for_each(|(index, record)| doubts.take(index, record));
            !doubts.by("chem", 0, &Rack::Good.cycle(at(0.0))).is_empty()
        };
        assert!(is_doubted(&play));
        amend(&mut play, 3.0, "chem", 1, change);
        assert_eq!(is_doubted(&play), counts.is_none(), "right as corrected, it speaks against no rack");
        let alert = open(&play, Condition::Weak).clone();
        let (by, was) = ("ana".to_owned(), Quantity::MgPerL(10.0));
        let amended = Amended { by, at: at(3.0), of: Some(1), was, counts };
        assert_eq!(alert.amended.as_ref(), Some(&amended));
        assert_eq!((alert.was_entered_wrongly(), alert.action_missing()), (counts.is_some(), true));
        let told = |play: &Play| {
            let mut stories = std::collections::BTreeMap::new();
            play.effects.records.iter().for_each(|record| note(&mut stories, record));
            stories.remove(&alert.number).expect("on record").alert.amended
        };
        assert_eq!(told(&play), Some(amended));
        enter(&mut play, 5.0, "chem", strip(5.0, 10.0));
        assert_eq!((&open(&play, Condition::Weak).amended, told(&play)), (&None, None));
    }
}

// Own promise: nobody is told that no rack is to be held while a strip that the alert stood by was withdrawn, whatever
// the order; once that one is corrected too, it holds none. The records say the same.
#[test]
fn an_alert_by_a_strip_that_was_withdrawn_holds_its_racks() {
    let right = |minute, index| (index, AmendmentChange::Corrected(strip(minute, 100.0)));
    let gone = |index| (index, AmendmentChange::Withdrawn);
    for (case, changes, wrongly) in [
        ("the first withdrawn first", vec![gone(1), right(1.5, 2)], false),
        ("the second withdrawn last", vec![right(1.0, 1), gone(2)], false),
        ("both corrected", vec![right(1.0, 1), right(1.5, 2)], true),
        ("both withdrawn", vec![gone(1), gone(2)], false),
        ("withdrawn, then corrected", vec![gone(1), right(1.0, 1), right(1.5, 2)], true),
    ] {
        let mut play = Play::new(settings());
        play.racks(0.0, "chem", &[Rack::Good]);
        enter(&mut play, 1.0, "chem", strip(1.0, 10.0));
        enter(&mut play, 1.5, "chem", strip(1.5, 20.0));
        play.rack(2.0, "chem", Rack::Weak);
        for (minute, (index, change)) in [3.0, 4.0, 5.0].into_iter().zip(changes) {
            amend(&mut play, minute, "chem", index, change);
        }
        let alert = open(&play, Condition::Weak);
        assert_eq!((alert.cleared.is_some(), alert.was_entered_wrongly()), (true, wrongly), "{case}");
        let mut stories = std::collections::BTreeMap::new();
        play.effects.records.iter().for_each(|record| note(&mut stories, record));
        assert_eq!(stories[&alert.number].alert.amended, alert.amended, "{case}");
    }
}

// Own promise: a rack with a bad verdict of its own keeps its alert, whatever became of the strip.
#[test]
fn a_rack_that_was_judged_weak_is_accounted_for_all_the_same() {
    let mut play = Play::new(settings());
    play.racks(0.0, "chem", &[Rack::Good]);
    enter(&mut play, 1.0, "chem", strip(1.0, 10.0));
    play.rack(2.0, "chem", Rack::Weak);
    amend(&mut play, 3.0, "chem", 1, AmendmentChange::Withdrawn);
    let alert = open(&play, Condition::Weak);
    assert_eq!((alert.racks.count, alert.action_missing()), (2, true));
    assert_eq!(cleared(&play), [Clearing::Recovered]);
}

// The fixture's limit is 82.2 °C, its tolerance 1 °C. A probe that shows 2 K too much: the rack at 84.0 °C had 82.0 °C
// and is in doubt; that at 84.4 °C had 82.4 °C and is not (own rule, in steps of half a kelvin).
#[test]
fn a_probe_that_shows_too_much_puts_those_in_doubt_that_passed_by_it() {
    let racks = [84.0, 84.4, 83.0, 90.0].map(Rack::Minimum);
    for (shown_c, expected) in [
        (2.0, &[0, 2][..]),
        (1.1, &[2]),
        // By more than the last step: every one.
        (9.0, &[0, 1, 2, 3]),
        // Too little: they were hotter than it showed.
        (-2.0, &[]),
    ] {
        let mut play = Play::new(settings());
        play.racks(0.0, "hot", &racks);
        enter(&mut play, 5.0, "hot", in_ice(at(5.0), "hot/rinse", shown_c));
        let alert = open(&play, Condition::ThermometerOff);
        let named: Vec<u64> = alert.racks.named.iter().map(|rack| rack.index).collect();
        assert_eq!(named, expected, "{shown_c}");
        assert_eq!(alert.racks.count, expected.len() as u64, "{shown_c}");
        assert_eq!(alert.needs_action, !expected.is_empty(), "{shown_c}");
    }
}

// Own promise: a good comparison or a calibration ends the doubt for what follows, and for what was before it; the
// alert closes with the action alone.
#[test]
fn racks_of_an_off_probe_want_an_action() {
    let mut play = Play::new(settings());
    play.rack(0.0, "hot", Rack::Minimum(83.0));
    enter(&mut play, 1.0, "hot", in_ice(at(1.0), "hot/rinse", 0.2));
    play.racks(2.0, "hot", &[Rack::Minimum(83.0), Rack::Minimum(86.0)]);
    enter(&mut play, 4.0, "hot", in_ice(at(4.0), "hot/rinse", 1.5));
    // It is known to be off, and somebody goes on washing.
    play.racks(5.0, "hot", &[Rack::Minimum(83.0), Rack::Minimum(86.0), Rack::Cold]);
    let alert = open(&play, Condition::ThermometerOff);
    assert_eq!((alert.racks.count, alert.earlier), (2, 1));
    // Off by more than was known: one more of those before is in doubt, and no rack twice.
    enter(&mut play, 8.0, "hot", in_ice(at(8.0), "hot/rinse", 4.0));
    let alert = open(&play, Condition::ThermometerOff);
    assert_eq!((alert.racks.count, alert.earlier), (4, 3));
    enter(&mut play, 9.0, "hot", in_ice(at(9.0), "hot/rinse", 0.0));
    play.rack(10.0, "hot", Rack::Minimum(83.0));
    play.until(120.0);
    let alert = open(&play, Condition::ThermometerOff);
    assert_eq!((alert.racks.count, alert.cleared.is_some(), alert.action_missing()), (4, true, true));
    let (racks, done) = ("washed again", "calibrated");
    play.handle(Event::Act { alert: alert.number, by: "Ana", racks, done, covers: None })
        .expect("it is open");
    assert!(play.open(Condition::ThermometerOff).is_none(), "closed");
}

#[test]
fn a_comparison_that_was_misread_is_dismissed() {
    let mut play = Play::new(settings());
    play.rack(0.0, "hot", Rack::Minimum(83.0));
    enter(&mut play, 1.0, "hot", in_ice(at(1.0), "hot/rinse", 2.0));
    play.rack(2.0, "hot", Rack::Minimum(83.0));
    assert_eq!(open(&play, Condition::ThermometerOff).racks_uncovered(), 2);
    amend(&mut play, 3.0, "hot", 1, AmendmentChange::Withdrawn);
    let alert = open(&play, Condition::ThermometerOff);
    assert_eq!((alert.racks.count, alert.action_missing(), alert.cleared.is_some()), (0, false, true));
    play.until(60.0);
    assert!(play.open(Condition::ThermometerOff).is_none(), "closed");
    // The next one finds both again.
    enter(&mut play, 61.0, "hot", in_ice(at(61.0), "hot/rinse", 2.0));
    assert_eq!(open(&play, Condition::ThermometerOff).racks.count, 2);
}

// A gauge that no rack is judged by puts none in doubt; 60,000 racks at one margin take no more room than one.
#[test]
fn what_is_remembered_is_bounded() {
    let mut play = Play::new(settings());
    (0..60_000).for_each(|rack| play.rack(f64::from(rack) / 10.0, "hot", Rack::Minimum(83.0)));
    assert!(play.desk.state().len() < 20_000, "{}", play.desk.state().len());
    enter(&mut play, 6_001.0, "hot", in_ice(at(6_001.0), "dial gauge", 2.0));
    assert_eq!(on_record(&play), Vec::<&Earlier>::new());
    enter(&mut play, 6_002.0, "hot", in_ice(at(6_002.0), "hot/rinse", 2.0));
    let alert = open(&play, Condition::ThermometerOff);
    assert_eq!((alert.racks.count, alert.racks.named.len()), (60_000, 2));
    assert_eq!(on_record(&play).len(), 1);
}

// Own promise: only what takes away the last entry by which an alert stands dismisses it; another time of the same
// finding does not.
#[test]
fn a_weak_strip_of_another_time_is_weak_all_the_same() {
    let mut play = Play::new(settings());
    play.racks(0.0, "chem", &[Rack::Good, Rack::Good]);
    enter(&mut play, 4.0, "chem", strip(4.0, 10.0));
    enter(&mut play, 6.0, "chem", strip(6.0, 100.0));
    amend(&mut play, 7.0, "chem", 2, AmendmentChange::Corrected(strip(3.0, 10.0)));
    assert_eq!(open(&play, Condition::Weak).racks_uncovered(), 2);
    // Nor does a good one that is withdrawn.
    amend(&mut play, 8.0, "chem", 3, AmendmentChange::Withdrawn);
    let alert = open(&play, Condition::Weak);
    assert_eq!((alert.racks_uncovered(), alert.cleared), (2, None), "the weak one is the latest again");
}

// Own promise: a rack of before the weak strip that comes on record after it is in doubt like the others, and shows
// nothing of what is right since.
#[test]
fn a_rack_that_comes_late_is_in_doubt_too() {
    let mut play = Play::new(settings());
    play.racks(0.0, "chem", &[Rack::Good]);
    enter(&mut play, 4.0, "chem", strip(4.0, 10.0));
    play.record("chem", Body::Cycle(Box::new(Rack::Good.cycle(at(3.5)))));
    let alert = open(&play, Condition::Weak);
    assert_eq!((alert.racks.count, alert.earlier, alert.cleared), (2, 2, None));
}

// Own promise: what a strip found right is in doubt again once that strip is withdrawn, or turns out to be later than
// one that was weak.
#[test]
fn what_was_found_right_by_mistake_is_in_doubt_again() {
    let mut play = Play::new(settings());
    play.racks(0.0, "chem", &[Rack::Good, Rack::Good]);
    enter(&mut play, 2.0, "chem", strip(2.0, 100.0));
    amend(&mut play, 3.0, "chem", 2, AmendmentChange::Withdrawn);
    enter(&mut play, 4.0, "chem", strip(4.0, 10.0));
    assert_eq!(open(&play, Condition::Weak).racks.count, 2);

    let mut play = Play::new(settings());
    play.racks(0.0, "chem", &[Rack::Good, Rack::Good]);
    enter(&mut play, 10.0, "chem", strip(10.0, 100.0));
    enter(&mut play, 11.0, "chem", strip(5.0, 10.0));
    let alert = open(&play, Condition::Weak);
    assert_eq!((alert.racks.count, alert.cleared.is_some(), alert.action_missing()), (2, true, true));

    // The same of a probe.
    let mut play = Play::new(settings());
    play.racks(0.0, "hot", &[Rack::Minimum(83.0), Rack::Minimum(83.0)]);
    enter(&mut play, 2.0, "hot", in_ice(at(2.0), "hot/rinse", 0.0));
    amend(&mut play, 3.0, "hot", 2, AmendmentChange::Withdrawn);
    enter(&mut play, 4.0, "hot", in_ice(at(4.0), "hot/rinse", 2.0));
    assert_eq!(open(&play, Condition::ThermometerOff).racks.count, 2);
}

// The fixture's wash: 68 °C against 65.6 °C. Own promise: a rack is counted once, by whichever probe, and what one of
// them put in doubt is not dismissed with a misread other.
#[test]
fn two_probes_that_are_off_count_each_rack_once() {
    let mut play = Play::new(settings());
    play.racks(0.0, "hot", &[Rack::Minimum(83.0), Rack::Minimum(90.0)]);
    enter(&mut play, 2.0, "hot", in_ice(at(2.0), "hot/wash", 3.0));
    assert_eq!(open(&play, Condition::ThermometerOff).racks.count, 2);
    enter(&mut play, 3.0, "hot", in_ice(at(3.0), "hot/rinse", 2.0));
    assert_eq!(open(&play, Condition::ThermometerOff).racks.count, 2);
    enter(&mut play, 4.0, "hot", in_ice(at(4.0), "hot/wash", 0.0));
    assert_eq!(open(&play, Condition::ThermometerOff).about, ["hot/rinse"]);
    amend(&mut play, 5.0, "hot", 3, AmendmentChange::Withdrawn);
    let alert = open(&play, Condition::ThermometerOff);
    assert_eq!((alert.racks_uncovered(), alert.action_missing()), (2, true));
    assert_eq!(cleared(&play), [Clearing::Recovered]);
}

// Own promise: once it is known to be off by less, or to show too little, racks pass by it again; a rack that is
// counted stays so.
#[test]
fn a_probe_that_is_off_by_less_doubts_fewer() {
    let mut play = Play::new(settings());
    enter(&mut play, 0.0, "hot", in_ice(at(0.0), "hot/rinse", 3.0));
    play.rack(1.0, "hot", Rack::Minimum(84.0));
    enter(&mut play, 2.0, "hot", in_ice(at(2.0), "hot/rinse", 1.5));
    play.racks(3.0, "hot", &[Rack::Minimum(84.0), Rack::Minimum(83.0)]);
    assert_eq!(open(&play, Condition::ThermometerOff).racks.count, 2);
    enter(&mut play, 5.0, "hot", in_ice(at(5.0), "hot/rinse", -3.0));
    play.rack(6.0, "hot", Rack::Minimum(83.0));
    assert_eq!(open(&play, Condition::ThermometerOff).racks.count, 2);
}

// Own promise: however many tests failed in a row, a good one takes the alert back.
#[test]
fn a_good_test_counts_after_any_number_of_bad_ones() {
    let mut play = Play::new(settings());
    play.racks(0.0, "chem", &[Rack::Good]);
    for bad in 0..100 {
        let minute = 2.0 + 0.01 * f64::from(bad);
        enter(&mut play, minute, "chem", strip(minute, 10.0));
    }
    enter(&mut play, 4.0, "chem", strip(4.0, 100.0));
    assert!(open(&play, Condition::Weak).cleared.is_some());
}

// Own promise: the entry that an alert stands by can be withdrawn, however many were entered after it.
#[test]
fn what_raised_an_alert_is_remembered_behind_many_others() {
    let mut play = Play::new(settings());
    play.racks(0.0, "chem", &[Rack::Good]);
    play.racks(0.0, "hot", &[Rack::Minimum(83.0)]);
    enter(&mut play, 2.0, "chem", strip(2.0, 10.0)); // record 2
    enter(&mut play, 2.0, "hot", in_ice(at(2.0), "hot/rinse", 2.0)); // record 3
    for later in 0..100 {
        let minute = 3.0 + 0.01 * f64::from(later);
        enter(&mut play, minute, "chem", strip(minute, 100.0));
        enter(&mut play, minute, "hot", in_ice(at(minute), "hot/rinse", 0.0));
    }
    amend(&mut play, 5.0, "chem", 2, AmendmentChange::Withdrawn);
    amend(&mut play, 5.0, "hot", 3, AmendmentChange::Withdrawn);
    assert_eq!(
        cleared(&play),
        [Clearing::Recovered, Clearing::Recovered, Clearing::Withdrawn, Clearing::Withdrawn]
    );
}

// Regression of the stored form: racks that stand by the concentration on file are found in a state that an earlier version
// stored, and are put in doubt by the next strip.
#[test]
fn racks_of_an_earlier_state_are_in_doubt() {
    let mut play = Play::new(settings());
    play.racks(0.0, "chem", &[Rack::Good, Rack::Gappy]);
    enter(&mut play, 2.0, "chem", strip(2.0, 100.0));
    play.racks(3.0, "chem", &[Rack::Good]);
    let state = String::from_utf8(play.desk.state()).expect("JSON");
    let (right, since) =
        state.split_once("\"found_right\":{").map(|(since, right)| (right, since)).expect("stored");
    let old = format!("{since}\"found_right\":{{{}", right.replacen("\"by_concentration\"", "\"racks\"", 1));
    assert_ne!(old, state);
    play.desk = crate::core::alert::Desk::restore(settings(), old.as_bytes()).expect("an earlier state");
    amend(&mut play, 5.0, "chem", 2, AmendmentChange::Withdrawn);
    enter(&mut play, 6.0, "chem", strip(6.0, 10.0));
    let alert = open(&play, Condition::Weak);
    assert_eq!((alert.racks.count, alert.earlier, alert.beside), (3, 2, 1));
}
