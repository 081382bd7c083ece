//! What people may do, what is refused, and what closes an alert.

use super::fixture::{Play, Rack, at, settings};
use crate::core::alert::{AlertNumber, Condition, Desk, Event, Occasion, Refusal, StateError};
use crate::core::record::{Body, Record};

use Rack::{Cold, Good};

fn act(alert: AlertNumber) -> Event<'static> {
    Event::Act {
        alert,
        by: "Ana",
        racks: "two racks rewashed",
        done: "booster reset by the electrician",
        covers: None,
    }
}

fn acknowledge(alert: AlertNumber) -> Event<'static> {
    Event::Acknowledge { alert, by: "Ana", via: "link", note: Some("on my way") }
}

#[test]
fn the_whole_story_is_on_record() {
    let mut play = Play::new(settings());
    play.racks(0.0, "hot", &[Cold, Cold]);
    let alert = play.open(Condition::Cold).expect("an alert").number;
    play.handle(acknowledge(alert)).expect("it is open");
    play.racks(2.0, "hot", &[Good, Good, Good]);
    play.until(10.0);
    play.handle(act(alert)).expect("it is open");
    let story = [
        "alert-raised",
        "alert-changed",
        "alert-acknowledged",
        "alert-cleared",
        "corrective-action",
        "alert-closed",
    ];
    assert_eq!(play.story(), story);
    assert_eq!(play.desk.alerts().count(), 0);
}

#[test]
fn an_alert_that_reached_a_customer_never_closes_by_itself() {
    let mut play = Play::new(settings());
    play.racks(0.0, "hot", &[Cold, Good, Good, Good]);
    play.until(10_000.0);
    assert!(play.open(Condition::Cold).is_some(), "a week later");
}

#[test]
fn an_action_covers_only_the_racks_before_it() {
    let mut play = Play::new(settings());
    play.rack(0.0, "hot", Cold);
    let alert = play.open(Condition::Cold).expect("an alert").number;
    play.handle(act(alert)).expect("it is open");
    play.racks(1.0, "hot", &[Cold, Good, Good, Good]);
    play.until(120.0);
    assert!(play.open(Condition::Cold).is_some(), "a further rack was cold after it was written");
    play.handle(act(alert)).expect("it is open");
    assert_eq!(play.open(Condition::Cold), None);

    let mut play = Play::new(settings());
    play.rack(0.0, "hot", Cold);
    let alert = play.open(Condition::Cold).expect("an alert").number;
    play.handle(act(alert)).expect("it is open");
    play.racks(1.0, "hot", &[Good, Good, Good]);
    assert!(play.open(Condition::Cold).is_some(), "it must stay away for a while");
    play.until(40.0);
    assert_eq!(play.open(Condition::Cold), None, "written before it recovered");
}

/// The action of somebody who was shown so many racks.
fn act_for(alert: AlertNumber, by: &'static str, covers: u64) -> Event<'static> {
    Event::Act { alert, by, racks: "rewashed", done: "booster reset", covers: Some(covers) }
}

// Own promise: no action covers a rack that its writer was not shown.
#[test]
fn an_action_covers_only_the_racks_that_were_shown() {
    let mut play = Play::new(settings());
    // A second rack ran cold while the form for the first was open; then all was well.
    play.racks(0.0, "hot", &[Cold, Cold, Good, Good, Good]);
    play.until(120.0);
    let alert = play.open(Condition::Cold).expect("an alert").number;
    play.handle(act_for(alert, "Ana", 1)).expect("it is open");
    let open = play.open(Condition::Cold).expect("the second rack is nobody's").clone();
    assert_eq!((open.racks_uncovered(), open.action_missing()), (1, true));
    assert_eq!(open.left_out(), Some((1, open.racks.last())));
    assert_eq!(open.acknowledged, None, "nobody has taken on the rack that nobody was shown");
    let covers = |record: &Record| {
        let Body::CorrectiveAction(action) = &record.body else { return None };
        action.covers
    };
    assert_eq!(play.effects.records.iter().filter_map(covers).collect::<Vec<u64>>(), [1], "as it was given");
    // It is asked for again in time.
    let told = play.effects.notices.len();
    play.until(120.0 + 4.0 * 60.0 + 5.0);
    assert!(play.effects.notices.len() > told, "reminded");

    // Pressed twice; from an older page by somebody else; for racks that are not there.
    for event in [act_for(alert, "Ana", 1), act_for(alert, "Tom", 1)] {
        assert!(matches!(play.handle(event), Err(Refusal::AlreadyActed { .. })));
    }
    let refused = Refusal::FewerRacks { alert, given: 3, held: 2 };
    assert_eq!(play.handle(act_for(alert, "Tom", 3)), Err(refused));
    assert!(play.open(Condition::Cold).is_some());
    play.handle(act_for(alert, "Tom", 2)).expect("for both");
    assert_eq!(play.open(Condition::Cold), None);
}

// Own promise: what is covered stays covered, whichever page more was written on.
#[test]
fn more_from_an_older_page_uncovers_nothing() {
    let mut play = Play::new(settings());
    play.racks(0.0, "hot", &[Cold, Cold]);
    let alert = play.open(Condition::Cold).expect("an alert").number;
    play.handle(act(alert)).expect("for both");
    let more = Event::Act { alert, by: "Ana", racks: "and thrown away", done: "called", covers: Some(1) };
    play.handle(more).expect("her own");
    let open = play.open(Condition::Cold).expect("it lasts");
    assert_eq!((open.racks_uncovered(), open.left_out()), (0, None));
}

// Own promise: one corrective action for the same racks, whoever is first; who wrote it may add to it.
#[test]
fn of_two_who_act_at_once_the_first_is_taken() {
    let mut play = Play::new(settings());
    play.rack(0.0, "hot", Cold);
    let alert = play.open(Condition::Cold).expect("an alert").number;
    play.handle(act(alert)).expect("it is open");
    let written = play.open(Condition::Cold).expect("it is open").action.clone();
    let (by, at) = written.as_ref().map(|action| (action.by.clone(), action.at)).expect("an action");
    let before = (play.story().len(), play.desk.state());
    let tom =
        Event::Act { alert, by: "Tom", racks: "three racks thrown away", done: "nothing", covers: None };
    for event in [tom.clone(), act(alert)] {
        let refused = Refusal::AlreadyActed { alert, by: by.clone(), at };
        assert_eq!(play.handle(event), Err(refused));
        assert_eq!((play.story().len(), play.desk.state()), before);
    }
    let more =
        Event::Act { alert, by: "Ana", racks: "and a third one", done: "booster reset again", covers: None };
    play.handle(more).expect("her own");
    play.rack(1.0, "hot", Cold);
    play.handle(tom).expect("a further rack was cold");
}

#[test]
fn what_makes_no_sense_is_refused_and_changes_nothing() {
    let mut play = Play::new(settings());
    play.rack(0.0, "hot", Cold);
    let alert = play.open(Condition::Cold).expect("an alert").number;
    let none = AlertNumber(99);
    let long = "x".repeat(4_001);
    let before = play.desk.state();
    for (event, expected) in [
        (acknowledge(none), Refusal::NotOpen { alert: none }),
        (act(none), Refusal::NotOpen { alert: none }),
        (
            Event::Acknowledge { alert, by: "  ", via: "link", note: None },
            Refusal::Missing { what: "the name of the person" },
        ),
        (
            Event::Act { alert, by: "Ana", racks: "", done: "x", covers: None },
            Refusal::Missing { what: "what happened to the racks" },
        ),
        (
            Event::Act { alert, by: "Ana", racks: "held", done: &long, covers: None },
            Refusal::TooLong { what: "what was done" },
        ),
        (
            Event::Maintenance { machine: Some("hat"), until: at(10.0), by: "Tom" },
            Refusal::UnknownMachine { machine: "hat".to_owned() },
        ),
        (
            Event::Maintenance { machine: None, until: at(2_000.0), by: "Tom" },
            Refusal::TooFarAhead { max_h: 24 },
        ),
        (Event::Maintenance { machine: None, until: at(-10.0), by: "Tom" }, Refusal::NoMaintenance),
        (Event::Test { contact: "zoe" }, Refusal::UnknownContact { contact: "zoe".to_owned() }),
    ] {
        assert_eq!(play.handle(event.clone()), Err(expected), "{event:?}");
    }
    assert_eq!(play.desk.state(), before);
    play.handle(acknowledge(alert)).expect("it is open");
    let twice = play.handle(acknowledge(alert));
    assert!(matches!(twice, Err(Refusal::AlreadyAcknowledged { .. })), "{twice:?}");
}

// Own rule: what closes an alert says what became of the racks and what was done, each with at least four letters or
// digits of any writing (Unicode, Alphabetic and Numeric).
#[test]
fn an_action_that_says_nothing_closes_nothing() {
    let mut play = Play::new(settings());
    play.racks(0.0, "hot", &[Cold, Good, Good, Good]);
    play.until(120.0);
    let alert = play.open(Condition::Cold).expect("an alert").number;
    let before = play.desk.state();
    for nothing in ["x", "ok.", " x y z ", "-----", "...a1b...", "1 2 3", "\u{200b}\u{200b}\u{200b}\u{200b}"]
    {
        for (racks, done, what) in
            [(nothing, "reset", "what happened to the racks"), ("held", nothing, "what was done")]
        {
            let refused = play.handle(Event::Act { alert, by: "Ana", racks, done, covers: None });
            assert_eq!(refused, Err(Refusal::SaysNothing { what }), "{nothing:?}");
        }
    }
    assert_eq!(play.desk.state(), before);
    for (racks, done) in [("held", "reset"), ("3 · 120", "añej"), ("再洗浄済", "修理済み")] {
        let mut play = Play::new(settings());
        play.racks(0.0, "hot", &[Cold, Good, Good, Good]);
        play.until(120.0);
        play.handle(Event::Act { alert, by: "Ana", racks, done, covers: None }).expect("it says something");
        assert_eq!(play.open(Condition::Cold), None, "{racks}");
    }
}

#[test]
fn a_test_goes_by_every_route_and_leaves_no_alert() {
    let mut play = Play::new(settings());
    play.handle(Event::Test { contact: "ben" }).expect("a contact");
    play.handle(Event::Test { contact: "ben" }).expect("a contact");
    let keys: Vec<&str> = play.effects.notices.iter().map(|notice| notice.key.as_str()).collect();
    assert_eq!(keys, ["test-1-ben", "test-2-ben"]);
    assert_eq!(play.effects.notices[0].occasion, Occasion::Test);
    assert!(play.effects.records.is_empty());
}

#[test]
fn a_window_can_end_early() {
    let mut play = Play::new(settings());
    play.until(0.0);
    play.handle(Event::Maintenance { machine: None, until: at(60.0), by: "Tom" }).expect("an hour");
    play.rack(5.0, "hot", Cold);
    play.until(10.0);
    play.handle(Event::Maintenance { machine: None, until: at(10.0), by: "Tom" }).expect("it is open");
    assert_eq!(play.told(), [("ana", Occasion::AfterMaintenance)]);
    let mut windows = Vec::new();
    for record in &play.effects.records {
        if let Body::Maintenance(window) = &record.body {
            windows.push((window.ended, window.by.as_deref()));
        }
    }
    assert_eq!(windows, [(false, Some("Tom")), (true, Some("Tom"))]);
}

#[test]
fn a_state_of_another_version_is_refused() {
    let state = |bytes: &[u8]| Desk::restore(settings(), bytes);
    assert!(matches!(state(b"{\"v\":2}"), Err(StateError::Version { found: 2 })));
    assert!(matches!(state(b"{\"v\":0}"), Err(StateError::Version { found: 0 })));
    assert!(matches!(state(b"{\"v\":1}"), Err(StateError::Shape(_))));
    assert!(matches!(state(b"nonsense"), Err(StateError::Shape(_))));
    assert!(state(&Desk::new(settings()).state()).is_ok());
}
