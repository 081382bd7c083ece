//! Tests of the sanitizer that were amended more than once while their alert is open.

use std::collections::BTreeMap;

use super::earlier::{amend, enter, open, strip};
use super::fixture::{Play, Rack, at, settings};
use crate::core::alert::doubts::Doubts;
use crate::core::alert::story::note;
use crate::core::alert::{Alert, Condition, Occasion, Quantity};
use crate::core::record::{AmendmentChange, Check};

fn right(minute: f64, mg_per_l: f64) -> AmendmentChange {
    AmendmentChange::Corrected(strip(minute, mg_per_l))
}

/// A test of 100 mg/L, with its pH.
fn with_ph(minute: f64, ph: f64) -> Check {
    let (solution_c, method, by) = (None, None, "ana".to_owned());
    Check::Sanitizer { at: at(minute), mg_per_l: 100.0, ph: Some(ph), solution_c, method, by }
}

/// The alert of a weak sanitizer as its records tell it.
fn on_record(play: &Play) -> Alert {
    let mut stories = BTreeMap::new();
    play.effects.records.iter().for_each(|record| note(&mut stories, record));
    stories.remove(&open(play, Condition::Weak).number).expect("on record").alert
}

/// Whether the rack of the first record is in doubt.
fn is_doubted(play: &Play) -> bool {
    let mut doubts = Doubts::default();
    (0..).zip(&play.effects.records).for_each(|(index, record)| doubts.take(index, record));
    !doubts.by("chem", 0, &Rack::Good.cycle(at(0.0))).is_empty()
}

// Own promise: what was said of an entry last is what its alert says, with what it showed as it was entered first; who
// was told that no rack is to be held is told once more.
#[test]
fn an_entry_that_is_amended_again_is_told_as_it_counts_last() {
    for (again, counts, doubted) in
        [(AmendmentChange::Withdrawn, None, true), (right(1.0, 80.0), Some(Quantity::MgPerL(80.0)), false)]
    {
        for restores in [false, true] {
            let mut play = Play::new(settings());
            play.restores = restores;
            play.racks(0.0, "chem", &[Rack::Good]);
            enter(&mut play, 1.0, "chem", strip(1.0, 10.0));
            play.rack(2.0, "chem", Rack::Weak);
            amend(&mut play, 3.0, "chem", 1, right(1.0, 12.0));
            amend(&mut play, 4.0, "chem", 1, right(1.0, 100.0));
            assert!(open(&play, Condition::Weak).was_entered_wrongly() && !is_doubted(&play));
            let told = |play: &Play| {
                play.told().iter().filter(|(_, occasion)| *occasion == Occasion::Cleared).count()
            };
            let before = told(&play);
            assert!(before > 0);
            amend(&mut play, 5.0, "chem", 1, again.clone());
            let alert = open(&play, Condition::Weak).clone();
            let amended = alert.amended.clone().expect("said");
            let said = (amended.of, amended.at, amended.was, amended.counts);
            assert_eq!(said, (Some(1), at(5.0), Quantity::MgPerL(10.0), counts));
            assert_eq!(on_record(&play).amended, alert.amended);
            assert_eq!(is_doubted(&play), doubted);
            assert_eq!(told(&play), before * 2, "who was told of it");
        }
    }
}

// Own promise: an entry that is corrected to a weak one is a weak one, also where a good strip followed: the alert stands
// by it again, and needs an action.
#[test]
fn an_entry_that_is_corrected_back_to_weak_raises_its_alert_again() {
    for judged in [true, false] {
        for later in [true, false] {
            let mut play = Play::new(settings());
            play.racks(0.0, "chem", &[Rack::Good]);
            enter(&mut play, 1.0, "chem", strip(1.0, 10.0));
            if judged {
                play.rack(2.0, "chem", Rack::Weak);
            }
            amend(&mut play, 3.0, "chem", 1, right(1.0, 100.0));
            if later {
                enter(&mut play, 4.0, "chem", strip(4.0, 100.0));
            }
            amend(&mut play, 5.0, "chem", 1, right(1.0, 5.0));
            let alert = open(&play, Condition::Weak).clone();
            let case = format!("judged {judged}, a later one {later}");
            assert_eq!((alert.amended.as_ref(), alert.cleared.is_some()), (None, later), "{case}");
            assert_eq!((alert.measured, alert.needs_action), (Some(Quantity::MgPerL(5.0)), true), "{case}");
            let told = on_record(&play);
            assert_eq!((told.amended, told.needs_action), (None, true), "{case}");
            assert_eq!(is_doubted(&play), judged || !later, "{case}");
        }
    }
}

// Own promise: what was misread is not what the alert measured. 20 is too weak, 100 is right, and 5 was meant as 100.
#[test]
fn a_misread_value_is_not_the_worst_of_its_alert() {
    for (change, latest, worst) in [(right(4.0, 100.0), 20.0, 20.0), (right(4.0, 22.0), 22.0, 20.0)] {
        let mut play = Play::new(settings());
        play.racks(0.0, "chem", &[Rack::Good]);
        enter(&mut play, 1.0, "chem", strip(1.0, 20.0));
        play.rack(2.0, "chem", Rack::Weak);
        enter(&mut play, 3.0, "chem", strip(3.0, 100.0));
        enter(&mut play, 4.0, "chem", strip(4.0, 5.0));
        assert_eq!(open(&play, Condition::Weak).worst, Some(Quantity::MgPerL(5.0)));
        amend(&mut play, 5.0, "chem", 4, change);
        let values = (Some(Quantity::MgPerL(latest)), Some(Quantity::MgPerL(worst)));
        for alert in [open(&play, Condition::Weak), &on_record(&play)] {
            assert_eq!((alert.measured, alert.worst), values);
        }
    }
}

// Regression: where the alert came back by another strip, what was misread before stayed the worst. 5 was meant as 100.
#[test]
fn what_was_misread_is_not_the_worst_of_an_alert_that_came_back() {
    let mut play = Play::new(settings());
    play.racks(0.0, "chem", &[Rack::Good]);
    enter(&mut play, 1.0, "chem", strip(1.0, 5.0));
    play.rack(2.0, "chem", Rack::Weak);
    amend(&mut play, 3.0, "chem", 1, right(1.0, 100.0));
    enter(&mut play, 4.0, "chem", strip(4.0, 20.0));
    for alert in [open(&play, Condition::Weak), &on_record(&play)] {
        assert_eq!((alert.cleared, alert.worst), (None, Some(Quantity::MgPerL(20.0))));
    }
}

// Own promise: an alert of the sanitizer says against which limit its latest entry stands: 25 mg/L where it is too weak
// (FDA Food Code 4-501.114(A)), 200 mg/L where it is too strong (40 CFR 180.940); the records say the same.
#[test]
fn an_alert_of_the_sanitizer_has_the_limit_that_its_latest_entry_crossed() {
    let mut play = Play::new(settings());
    play.racks(0.0, "chem", &[Rack::Good]);
    for (at, mg_per_l, limit) in [(1.0, 10.0, 25.0), (2.0, 300.0, 200.0), (3.0, 5.0, 25.0)] {
        enter(&mut play, at, "chem", strip(at, mg_per_l));
        let expected = (Some(Quantity::MgPerL(mg_per_l)), Some(Quantity::MgPerL(limit)));
        let alert = open(&play, Condition::Weak);
        assert_eq!((alert.measured, alert.limit), expected);
    }
    amend(&mut play, 4.0, "chem", 3, AmendmentChange::Withdrawn);
    for alert in [open(&play, Condition::Weak), &on_record(&play)] {
        assert_eq!(alert.limit, Some(Quantity::MgPerL(200.0)));
    }
}

// Own promise: where it is the pH that lies outside, the alert says so, and not the strength, which is fine; the worst is
// of what is wrong now. Chlorine up to pH 10: FDA Food Code 4-501.114(A).
#[test]
fn an_alert_of_a_high_ph_says_that_it_is_the_ph() {
    for restores in [false, true] {
        let mut play = Play::new(settings());
        play.restores = restores;
        play.racks(0.0, "chem", &[Rack::Good]);
        enter(&mut play, 1.0, "chem", strip(1.0, 10.0));
        for (minute, ph, worst) in [(2.0, 10.5, 10.5), (3.0, 11.0, 11.0), (4.0, 10.2, 11.0)] {
            enter(&mut play, minute, "chem", with_ph(minute, ph));
            let alert = open(&play, Condition::Weak);
            let [ph, limit, worst] = [ph, 10.0, worst].map(|own| Some(Quantity::Ph(own)));
            assert_eq!((alert.measured, alert.limit, alert.worst), (ph, limit, worst));
        }
        // The one of 11 was misread.
        amend(&mut play, 5.0, "chem", 3, AmendmentChange::Corrected(with_ph(3.0, 7.5)));
        let amended = open(&play, Condition::Weak).amended.clone();
        // Others stand, so nothing is said of it alone.
        assert_eq!(amended, None);
        // It is over: its records tell the worst, which no rack had.
        enter(&mut play, 6.0, "chem", with_ph(6.0, 7.5));
        let alert = open(&play, Condition::Weak);
        let told = on_record(&play);
        assert!(alert.cleared.is_some(), "{alert:?}");
        assert_eq!((told.worst, told.limit), (alert.worst, alert.limit));
        assert_eq!(told.worst, Some(Quantity::Ph(10.5)));
    }
}

// Own promise: a pH that was misread and corrected is told as a pH, not as a strength that was the same.
#[test]
fn a_ph_that_was_misread_is_told_as_a_ph() {
    let mut play = Play::new(settings());
    play.racks(0.0, "chem", &[Rack::Good]);
    enter(&mut play, 1.0, "chem", with_ph(1.0, 10.5));
    amend(&mut play, 2.0, "chem", 1, AmendmentChange::Corrected(with_ph(1.0, 7.5)));
    let amended = open(&play, Condition::Weak).amended.clone().expect("it stood on that alone");
    assert_eq!((amended.was, amended.counts), (Quantity::Ph(10.5), Some(Quantity::Ph(7.5))));
}
