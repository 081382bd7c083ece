//! Supplies that are short, and what takes that back.

use super::fixture::{Play, at, settings};
use crate::core::alert::supplies::Shortage;
use crate::core::alert::{Alert, AlertNumber, Condition, Desk, Event, Occasion, Severity};
use crate::core::record::{Amendment, AmendmentChange, Body, Check, CheckKind, Supply};

fn look(minutes: f64, enough: bool, note: Option<&str>, by: &str) -> Check {
    Check::Supply {
        at: at(minutes),
        enough,
        short: Vec::new(),
        note: note.map(str::to_owned),
        by: by.to_owned(),
    }
}

fn enter(play: &mut Play, minutes: f64, enough: bool, note: Option<&str>, by: &str) {
    play.until(minutes);
    play.record("chem", Body::Check(look(minutes, enough, note, by)));
}

fn amend(play: &mut Play, minutes: f64, of: u64, change: AmendmentChange) {
    play.until(minutes);
    let (reason, by) = ("misread".to_owned(), "ana".to_owned());
    play.record("chem", Body::Amendment(Box::new(Amendment { of, reason, by, change })));
}

/// What is short at present: who said so, and what.
fn short(play: &Play) -> Vec<String> {
    let open = play.open(Condition::SuppliesShort).filter(|alert| alert.cleared.is_none());
    open.map(|alert| alert.about.clone()).unwrap_or_default()
}

// Own promise: what is short stands in the alert by its kind, so that each reader has it in the own language; what
// somebody typed is never taken for a kind that was pressed.
#[test]
fn what_is_short_is_told_in_the_language_of_the_reader() {
    use crate::core::logbook::words::{found_short, short_of_look};
    use crate::core::reader::Language::{English, Spanish};
    use Supply::{Detergent, TestStrips};
    for (pressed, note, by, about, english, spanish) in [
        (&[Detergent][..], None, "ana", "[detergent] ana", "detergent (ana)", "detergente (ana)"),
        (
            &[Detergent, TestStrips],
            Some("half a can"),
            "ana",
            "[detergent test-strips] ana: half a can",
            "detergent, test strips (ana: half a can)",
            "detergente, tiras reactivas (ana: half a can)",
        ),
        (&[], Some("arms"), "ana", "ana: arms", "ana: arms", "ana: arms"),
        (
            &[],
            Some("arms"),
            "[sanitizer] x",
            "[] [sanitizer] x: arms",
            "[sanitizer] x: arms",
            "[sanitizer] x: arms",
        ),
        (&[], None, "[soap] x", "[] [soap] x", "[soap] x", "[soap] x"),
    ] {
        let mut play = Play::new(settings());
        let mut check = look(1.0, false, note, by);
        if let Check::Supply { short, .. } = &mut check {
            *short = pressed.to_vec();
        }
        play.until(1.0);
        play.record("chem", Body::Check(check));
        assert_eq!(short(&play), [about]);
        assert_eq!([found_short(about, English), found_short(about, Spanish)], [english, spanish]);
        let [in_english, in_spanish] = [English, Spanish].map(|language| short_of_look(about, language));
        if pressed.is_empty() {
            assert_eq!(in_english, format!("something ({english})"));
            assert_eq!(in_spanish, format!("algo ({spanish})"));
        } else {
            assert_eq!([in_english.as_str(), &in_spanish], [english, spanish]);
        }
    }
    // Of before there were kinds, and of no kind.
    for about in ["ana: [detergent] of mine", "[soap] ana", "[detergent]"] {
        assert_eq!(found_short(about, English), about);
    }
}

#[test]
fn what_is_short_is_told_and_taken_back() {
    type Act = fn(&mut Play);
    let corrected = |enough| AmendmentChange::Corrected(look(7.0, enough, Some("tiras"), "ben"));
    let rows: [(&str, Act, &[&str]); 12] = [
        ("everything is there", |play| enter(play, 1.0, true, None, "ana"), &[]),
        ("short", |play| enter(play, 2.0, false, Some("detergent"), "ana"), &["ana: detergent"]),
        ("said again", |play| enter(play, 3.0, false, Some("detergent"), "ana"), &["ana: detergent"]),
        (
            "something else, by another, who says no more",
            |play| enter(play, 4.0, false, None, "ben"),
            &["ana: detergent", "ben"],
        ),
        (
            "a look of before is entered late",
            |play| {
                play.until(5.0);
                play.record("chem", Body::Check(look(1.5, true, None, "ana")));
            },
            &["ana: detergent", "ben"],
        ),
        ("filled up", |play| enter(play, 6.0, true, None, "ana"), &[]),
        ("short again", |play| enter(play, 7.0, false, Some("strips"), "ben"), &["ben: strips"]),
        ("a remark", |play| amend(play, 8.0, 6, AmendmentChange::Comment), &["ben: strips"]),
        ("withdrawn", |play| amend(play, 9.0, 6, AmendmentChange::Withdrawn), &[]),
        (
            "the good look is of no account",
            |play| amend(play, 10.0, 5, AmendmentChange::Withdrawn),
            &["ana: detergent", "ben"],
        ),
        (
            "the first of them is not",
            |play| {
                amend(play, 11.0, 1, AmendmentChange::Withdrawn);
                amend(play, 11.1, 2, AmendmentChange::Withdrawn);
            },
            &["ben"],
        ),
        ("filled up at last", |play| enter(play, 12.0, true, None, "ben"), &[]),
    ];
    for restores in [false, true] {
        let mut play = Play::new(settings());
        play.restores = restores;
        for (what, act, expected) in &rows {
            act(&mut play);
            assert_eq!(short(&play), *expected, "{what}");
        }
    }
    for (enough, expected) in [(true, &[] as &[&str]), (false, &["ben: tiras"])] {
        let mut play = Play::new(settings());
        enter(&mut play, 7.0, false, Some("strips"), "ben");
        amend(&mut play, 8.0, 0, corrected(enough));
        assert_eq!(short(&play), expected, "corrected: {enough}");
        enter(&mut play, 9.0, true, None, "ana");
        amend(&mut play, 10.0, 2, AmendmentChange::Corrected(look(9.0, false, None, "ana")));
        assert_eq!(short(&play).last().map(String::as_str), Some("ana"), "it was not filled up after all");
    }
}

// Own promise: whatever is short stays so until a later look says that it is put right, however many shifts later,
// with who found it, when, and the alert that is open by it; of a machine that is gone nothing is asked.
#[test]
fn what_is_short_stays_short_until_it_is_put_right() {
    let mut play = Play::new(settings());
    let short = |play: &Play| -> Vec<_> {
        let told = |one: Shortage| {
            let kinds: Vec<_> = one.supplies.iter().map(|supply| supply.as_str()).collect();
            (one.machine, one.look, one.since, format!("{} / {}", kinds.join(" "), one.said), one.alert)
        };
        play.desk.shortages().into_iter().map(told).collect()
    };
    let chem = || Some("chem".to_owned());
    let mut check = look(1.0, false, Some("half a can"), "ana");
    if let Check::Supply { short, .. } = &mut check {
        *short = vec![Supply::Detergent, Supply::TestStrips];
    }
    play.until(1.0);
    play.record("chem", Body::Check(check.clone()));
    play.until(2.0);
    play.record("chem", Body::Check(check));
    play.commit(None, Body::Check(look(2.0, false, Some("gloves"), "ben")));
    let told = "detergent test-strips / ana: half a can".to_owned();
    let alert = |machine: Option<String>| {
        let mut open = play.desk.alerts().filter(|one| one.condition == Condition::SuppliesShort);
        open.find(|one| one.machine == machine).map(|one| one.number)
    };
    let (of_site, of_chem) = (alert(None), alert(chem()));
    assert!(of_site.is_some() && of_chem.is_some());
    let site = (None, 3, at(2.0), " / ben: gloves".to_owned(), of_site);
    let own = (chem(), 0, at(1.0), told, of_chem);
    // Record 2 is what the alert put down: the site's look is the one behind it.
    let found = short(&play);
    assert_eq!((found.len(), &found[1]), (2, &own));
    assert_eq!((&found[0].0, found[0].2, &found[0].3, found[0].4), (&site.0, site.2, &site.3, site.4));
    play.until(3.0 * 24.0 * 60.0);
    assert_eq!(short(&play).len(), 2, "days later");
    let mut gone = settings();
    gone.machines.remove("chem");
    let desk = Desk::restore(gone, &play.desk.state()).expect("its own state");
    assert_eq!(desk.shortages().len(), 1, "that of the site");
    enter(&mut play, 3.0 * 24.0 * 60.0 + 1.0, true, None, "ana");
    assert_eq!(short(&play).iter().map(|one| &one.0).collect::<Vec<_>>(), [&None]);
}

// The entry makes the check that was due, and is told of at once; it does not lapse, and wants no written action.
#[test]
fn it_is_told_at_once_and_closes_without_a_written_action() {
    let mut play = Play::new(settings());
    enter(&mut play, 1.0, false, Some("sanitizer"), "cleo");
    let alert = play.open(Condition::SuppliesShort).expect("raised");
    assert_eq!((alert.since, alert.machine.as_deref()), (at(1.0), Some("chem")));
    assert_eq!(alert.condition.severity(), Severity::Serious, "it escalates: a machine may sanitize nothing");
    assert!(!alert.needs_action);
    let told = play.effects.notices.iter().find(|notice| notice.alert.condition == Condition::SuppliesShort);
    assert_eq!(told.map(|notice| notice.occasion), Some(Occasion::Raised));
    play.until(20.0 * 60.0);
    assert_eq!(short(&play), ["cleo: sanitizer"], "it does not lapse");
    enter(&mut play, 20.0 * 60.0 + 1.0, true, None, "cleo");
    play.until(22.0 * 60.0);
    assert_eq!(play.open(Condition::SuppliesShort), None);
    assert_eq!(play.story().last(), Some(&"alert-closed"));
}

// `enter supply all` is about the whole site: so is the alert.
#[test]
fn a_look_at_the_whole_site_is_told_of_the_site() {
    let mut play = Play::new(settings());
    let mut enter = |minutes, enough| {
        play.until(minutes);
        play.commit(None, Body::Check(look(minutes, enough, None, "ana")));
        let open = play.open(Condition::SuppliesShort).cloned();
        open.filter(|alert| alert.cleared.is_none()).map(|alert| (alert.machine, alert.about))
    };
    assert_eq!(enter(1.0, false), Some((None, vec!["ana".to_owned()])));
    assert_eq!(enter(2.0, true), None);
}

// Own rule: a good look of the whole site is one of each machine; a short one of the site says nothing of a machine.
#[test]
fn a_good_look_at_the_whole_site_counts_for_each_machine() {
    for restores in [false, true] {
        let mut play = Play::new(settings());
        play.restores = restores;
        let site = |play: &mut Play, minutes, body| {
            play.until(minutes);
            play.commit(None, body);
        };
        let open = |play: &Play| -> Vec<Option<String>> {
            let open = play.desk.alerts().filter(|alert| alert.condition == Condition::SuppliesShort);
            open.filter(|alert| alert.cleared.is_none()).map(|alert| alert.machine.clone()).collect()
        };
        let chem = || Some("chem".to_owned());
        enter(&mut play, 1.0, false, Some("detergent"), "ana");
        site(&mut play, 2.0, Body::Check(look(2.0, false, None, "ben")));
        assert_eq!(open(&play), [None, chem()], "each by itself");
        site(&mut play, 3.0, Body::Check(look(3.0, true, None, "ben")));
        assert_eq!(open(&play), [], "everything is there, everywhere");
        let amended = |change| {
            let (reason, by) = ("misread".to_owned(), "ana".to_owned());
            Body::Amendment(Box::new(Amendment { of: 2, reason, by, change }))
        };
        site(&mut play, 4.0, amended(AmendmentChange::Corrected(look(0.5, true, None, "ben"))));
        assert_eq!(open(&play), [None, chem()], "it was before both of them");
        site(&mut play, 5.0, amended(AmendmentChange::Corrected(look(3.0, true, None, "ben"))));
        assert_eq!(open(&play), []);
        site(&mut play, 6.0, amended(AmendmentChange::Withdrawn));
        assert_eq!(open(&play), [None, chem()], "it counts no more");
        enter(&mut play, 7.0, true, None, "ana");
        assert_eq!(open(&play), [None], "a look at a machine says nothing of the site");
    }
}

// Own promise: that somebody is told is said of a look only where an alert stands open by it and its message went out.
#[test]
fn a_look_tells_whether_somebody_is_told_of_it() {
    let mut play = Play::new(settings());
    enter(&mut play, 9.0, true, None, "ana");
    enter(&mut play, 12.0, true, None, "ana");
    assert!(!play.desk.tells_of_look(0), "nothing is short");
    amend(&mut play, 13.0, 0, AmendmentChange::Corrected(look(9.0, false, None, "ana")));
    assert!(!play.desk.tells_of_look(0), "a later look found everything there");
    enter(&mut play, 14.0, false, None, "ana");
    assert!(play.desk.tells_of_look(3) && !play.desk.tells_of_look(0), "of the new one alone");
    amend(&mut play, 15.0, 1, AmendmentChange::Withdrawn);
    assert!(play.desk.tells_of_look(3) && play.desk.tells_of_look(0), "of both");
    enter(&mut play, 16.0, true, None, "ana");
    assert!(!play.desk.tells_of_look(3) && !play.desk.tells_of_look(0), "it is over");
    assert!(!play.desk.tells_of_look(99), "no look");

    let mut play = Play::new(settings());
    let work = |play: &mut Play, until| {
        let by = "Tom";
        play.handle(Event::Maintenance { machine: Some("chem"), until, by }).expect("an hour at most");
    };
    play.until(1.0);
    work(&mut play, at(31.0));
    enter(&mut play, 2.0, false, None, "ana");
    assert!(!play.desk.tells_of_look(0), "the message is held");
    play.until(40.0);
    assert!(play.desk.tells_of_look(0), "the work is over");

    let mut nobody = settings();
    nobody.contacts.clear();
    let mut play = Play::new(nobody);
    enter(&mut play, 1.0, false, None, "ana");
    assert!(!play.desk.tells_of_look(0), "there is nobody to tell");
}

// Own limits: 32 looks of a machine, and 200 characters of what was written.
#[test]
fn long_notes_and_many_looks_are_cut() {
    let mut play = Play::new(settings());
    enter(&mut play, 1.0, false, Some(&"é\n".repeat(500)), "ana");
    let about = short(&play).concat();
    assert_eq!((about.chars().count(), about.contains('\n')), (200, false), "{about}");
    assert!(about.starts_with("ana: é é") && about.ends_with('…'), "{about}");
    for n in 0..100_u32 {
        enter(&mut play, 2.0 + f64::from(n), false, Some(&format!("drum {n}")), "ana");
    }
    let kept = short(&play);
    assert_eq!((kept.len(), kept.last().map(String::as_str)), (32, Some("ana: drum 99")));
    enter(&mut play, 200.0, true, None, "ana");
    assert!(short(&play).is_empty());
}

// A state of before this was known of, and a site that does not want it.
#[test]
fn an_older_state_is_taken_and_the_switch_holds() {
    let mut play = Play::new(settings());
    enter(&mut play, 1.0, true, None, "ana");
    let mut state: serde_json::Value = serde_json::from_slice(&play.desk.state()).expect("its own state");
    state.as_object_mut().expect("a state").remove("looks").expect("it was there");
    let bytes = serde_json::to_vec(&state).expect("JSON");
    play.desk = Desk::restore(settings(), &bytes).expect("an older state");
    enter(&mut play, 2.0, false, None, "ana");
    assert_eq!(short(&play), ["ana"]);

    let mut settings = settings();
    settings.rules.off.insert(Condition::SuppliesShort);
    let mut play = Play::new(settings);
    enter(&mut play, 1.0, false, None, "ana");
    assert_eq!(play.open(Condition::SuppliesShort), None);
}

// Own promise: an alert leads to the entry that takes it back, as long as it lasts.
#[test]
fn an_alert_of_what_is_entered_leads_to_its_entry() {
    let mut play = Play::new(settings());
    enter(&mut play, 1.0, false, None, "Ana");
    let alert = play.open(Condition::SuppliesShort).expect("short").clone();
    assert_eq!(alert.answered_by(), [CheckKind::Supply]);
    let overdue = ["drain-and-clean", "sanitizer"].map(str::to_owned).to_vec();
    let overdue = Alert { condition: Condition::CheckOverdue, about: overdue, ..alert.clone() };
    assert_eq!(overdue.answered_by(), [CheckKind::Sanitizer, CheckKind::DrainAndClean]);
    assert!(Alert { condition: Condition::Cold, ..alert.clone() }.answered_by().is_empty());
    assert!(Alert { cleared: Some(at(2.0)), ..alert }.answered_by().is_empty());
}

// Own promise: racks that nobody has accounted for come first, then what lasts, then the worst, then the newest.
#[test]
fn the_most_pressing_alert_comes_first() {
    let mut play = Play::new(settings());
    enter(&mut play, 1.0, false, None, "Ana");
    let short = play.open(Condition::SuppliesShort).expect("short").clone();
    let of = |number, condition, cleared| Alert {
        number: AlertNumber(number),
        condition,
        cleared,
        ..short.clone()
    };
    let mut alerts = [
        of(1, Condition::Drifting, None),
        of(2, Condition::Cold, Some(at(3.0))),
        of(3, Condition::Cold, None),
        of(4, Condition::Weak, None),
        of(5, Condition::ProbeSilent, None),
    ];
    Alert::most_pressing_first(&mut alerts);
    assert_eq!(alerts.each_ref().map(|alert| alert.number.0), [4, 3, 5, 1, 2]);
    alerts
        .iter_mut()
        .filter(|alert| [1, 2].contains(&alert.number.0))
        .for_each(|alert| alert.needs_action = true);
    Alert::most_pressing_first(&mut alerts);
    assert_eq!(alerts.map(|alert| alert.number.0), [1, 2, 4, 3, 5]);
}
