//! Who is told, when, who next, and when nobody is told again.

use std::time::Duration;

use jiff::tz::TimeZone;

use super::fixture::{Play, Rack, at, contact, settings};
use crate::core::alert::{Condition, Event, Foreseen, Occasion, Route};
use crate::core::record::{Body, Change, Clock, ClockStep, Outcome};
use crate::core::time::Timestamp;
use crate::core::wall_clock::local_date;

use Occasion::{
    ActionMissing, AfterMaintenance, Cleared, Closed, Escalated, Grew, Raised, Returned, Summary,
};
use Rack::{Cold, Good, Hot, WorkedOn};

#[test]
fn steps_are_told_until_somebody_acknowledges() {
    let mut play = Play::new(settings());
    play.rack(0.0, "hot", Cold);
    assert_eq!(play.told(), [("ana", Raised)]);
    play.until(9.9);
    assert_eq!(play.told().len(), 1);
    play.until(10.0);
    assert_eq!(play.told(), [("ana", Raised), ("ben", Escalated)]);
    play.until(39.9);
    assert_eq!(play.told().len(), 2, "half an hour until the steps start over");
    play.until(41.0);
    assert_eq!(play.told()[2..], [("ana", Escalated)]);
    let alert = play.open(Condition::Cold).expect("an alert").number;
    let acknowledge = Event::Acknowledge { alert, by: "Ana", via: "link", note: None };
    play.handle(acknowledge).expect("it is open");
    play.until(300.0);
    assert_eq!(play.told().len(), 3, "somebody takes care");
}

// Own promise: whoever is said to be told next is told then; `what_is_foreseen_comes` says it for any sequence.
#[test]
fn who_is_told_next_is_known() {
    let foreseen = |play: &Play| {
        let alert = play.open(Condition::Cold).expect("an alert").number;
        play.desk.foreseen(play.now, alert)
    };
    let told = |minutes, contact: &str, occasion| {
        Some(Foreseen::Told { at: at(minutes), contacts: vec![contact.to_owned()], occasion })
    };
    let mut play = Play::new(settings());
    play.rack(0.0, "hot", Cold);
    assert_eq!(foreseen(&play), told(10.0, "ben", Escalated));
    play.until(10.0);
    assert_eq!(foreseen(&play), told(40.0, "ana", Escalated));
    play.until(100.0);
    assert_eq!(foreseen(&play), Some(Foreseen::NobodyElse { at: at(120.0) }), "the third round ends");
    play.until(130.0);
    assert_eq!(foreseen(&play), None);

    // Taken on and recovered: the corrective action is asked for every four hours, three times.
    let mut play = Play::new(settings());
    play.rack(0.0, "hot", Cold);
    let alert = play.open(Condition::Cold).expect("an alert").number;
    play.handle(Event::Acknowledge { alert, by: "Ana", via: "link", note: None }).expect("it is open");
    assert_eq!(foreseen(&play), None);
    play.racks(1.0, "hot", &[Good, Good, Good]);
    let recovered = play.open(Condition::Cold).and_then(|alert| alert.cleared).expect("it has recovered");
    let hours = |count: u64| recovered.plus(Duration::from_secs(count * 4 * 3_600));
    let asked = |at| Some(Foreseen::Told { at, contacts: vec!["ana".to_owned()], occasion: ActionMissing });
    assert_eq!(foreseen(&play), asked(hours(1)));
    let minutes = |instant: Timestamp| instant.seconds_since(at(0.0)) / 60.0;
    play.until(minutes(hours(2)) + 1.0);
    let third = foreseen(&play).expect("one more");
    let Foreseen::Told { at: third, .. } = third else { panic!("a reminder: {third:?}") };
    play.until(minutes(third) + 1.0);
    let end = foreseen(&play);
    assert!(matches!(end, Some(Foreseen::AskedNoMore { .. })), "somebody took care: {end:?}");

    // Raised and over within work on the machine: nobody is needed at its end.
    let mut play = Play::new(settings());
    let until = at(20.0);
    play.handle(Event::Maintenance { machine: Some("hot"), until, by: "Tom" }).expect("work");
    play.rack(1.0, "hot", Hot);
    play.racks(2.0, "hot", &[Good, Good, Good]);
    if let Some(over) = play.open(Condition::RinseHot) {
        assert!(over.cleared.is_some(), "{over:?}");
        assert_eq!(play.desk.foreseen(play.now, over.number), None);
    }

    // On Friday evening of a site that works from Monday to Friday: not before Monday.
    let weekdays: &[&str] = &["mon-fri 06:00-17:00"];
    let mut office = settings();
    office.contacts = vec![contact("ana", 1, Some(weekdays))];
    let mut play = Play::new(office);
    let friday = (0..7).map(|day| f64::from(day) * 1_440.0 + 600.0).find(|minutes| {
        let day = local_date(&TimeZone::UTC, at(*minutes)).expect("a day");
        day.weekday() == jiff::civil::Weekday::Friday
    });
    play.rack(friday.expect("a week has one"), "hot", Cold);
    let Some(Foreseen::Told { at: monday, contacts, occasion: Raised }) = foreseen(&play) else {
        panic!("somebody comes: {:?}", foreseen(&play));
    };
    assert_eq!(contacts, ["ana"]);
    let zoned =
        jiff::Timestamp::from_microsecond(monday.micros()).expect("near").to_zoned_datetime(TimeZone::UTC);
    assert_eq!((zoned.weekday(), zoned.hour()), (jiff::civil::Weekday::Monday, 6));
}

#[test]
fn the_steps_stop_at_their_limit_and_that_is_on_record() {
    let mut play = Play::new(settings());
    play.rack(0.0, "hot", Cold);
    play.until(540.0);
    let rounds = [("ana", Escalated), ("ben", Escalated)];
    let expected = [[("ana", Raised), ("ben", Escalated)], rounds, rounds].concat();
    assert_eq!(play.told(), expected);
    let ended = play.effects.records.iter().filter(|record| {
        matches!(&record.body, Body::AlertChanged(changed) if changed.change == Change::EscalationEnded)
    });
    assert_eq!(ended.count(), 1);
}

#[test]
fn nobody_on_duty_means_the_last_resort() {
    // 22:30, after hours.
    let mut play = Play::new(settings());
    play.rack(630.0, "hot", Cold);
    assert_eq!(play.told(), [("eve", Raised)]);
    // 21:55: Ana is on duty, at 22:05 Ben is not: Eve in his place.
    let mut play = Play::new(settings());
    play.rack(595.0, "hot", Cold);
    play.until(606.0);
    assert_eq!(play.told(), [("ana", Raised), ("eve", Escalated)]);
    // Ana off, Ben on: his step at once.
    let mut settings_ben = settings();
    settings_ben.contacts[0] = contact("ana", 1, Some(&["mon-sun 06:00-11:00"]));
    let mut play = Play::new(settings_ben);
    play.rack(0.0, "hot", Cold);
    assert_eq!(play.told(), [("ben", Raised)]);
    // Nobody at all, and no last resort: on record, and told when somebody comes.
    let mut settings_none = settings();
    settings_none.contacts.pop();
    let mut play = Play::new(settings_none);
    play.rack(630.0, "hot", Cold);
    assert!(play.told().is_empty());
    assert_eq!(play.story(), ["alert-raised", "alert-changed"]);
    play.until(18.0 * 60.0);
    assert_eq!(play.told(), [("ana", Raised)], "at six in the morning");
}

#[test]
fn a_warning_wakes_nobody() {
    let mut play = Play::new(settings());
    play.rack(630.0, "hot", Hot);
    play.until(17.9 * 60.0);
    assert!(play.told().is_empty());
    play.until(48.0 * 60.0);
    assert_eq!(play.told(), [("ana", Raised)], "once, in the morning, and nobody after her");
}

#[test]
fn without_contacts_alerts_are_recorded_and_nobody_is_told() {
    let mut nobody = settings();
    nobody.contacts.clear();
    let mut play = Play::new(nobody);
    play.racks(0.0, "hot", &[Cold, Cold, Good, Good, Good]);
    play.until(2_000.0);
    assert!(play.told().is_empty());
    assert_eq!(play.story()[..3], ["alert-raised", "alert-changed", "alert-cleared"]);
}

#[test]
fn a_contact_that_is_added_hears_of_what_is_open() {
    let mut nobody = settings();
    nobody.contacts.clear();
    let mut play = Play::new(nobody);
    play.rack(0.0, "hot", Cold);
    play.settings = settings();
    play.restores = true;
    play.until(1_500.0);
    assert_eq!(play.told()[..1], [("ana", Raised)]);
}

#[test]
fn further_racks_make_no_storm() {
    // A booster that has failed: 120 racks in two hours, acknowledged after five minutes.
    let mut play = Play::new(settings());
    play.racks(0.0, "hot", &[Cold; 6]);
    assert_eq!(play.told(), [("ana", Raised), ("ana", Grew)], "the first, and that it is several in a row");
    let alert = play.open(Condition::Cold).expect("an alert").number;
    play.handle(Event::Acknowledge { alert, by: "Ana", via: "link", note: None }).expect("it is open");
    play.racks(6.0, "hot", &[Cold; 114]);
    assert_eq!(play.told()[2..], [("ana", Summary)], "once in an hour");
    let alert = play.open(Condition::Cold).expect("one alert");
    assert_eq!((alert.racks.count, alert.racks.named.len()), (120, 20));
    assert_eq!(
        (alert.racks.first().map(|rack| rack.at), alert.racks.last().map(|rack| rack.at)),
        (Some(at(0.0)), Some(at(119.0)))
    );
}

#[test]
fn flapping_raises_once() {
    let mut play = Play::new(settings());
    for round in 0..6 {
        play.racks(f64::from(round) * 5.0, "hot", &[Hot, Good, Good, Good]);
    }
    play.until(28.0);
    assert_eq!(play.told(), [("ana", Raised), ("ana", Cleared), ("ana", Returned)]);
    play.until(120.0);
    assert_eq!(play.told()[3..], [("ana", Cleared)], "told once it has lasted");
    assert_eq!(play.open(Condition::RinseHot), None);
    assert_eq!(play.story().iter().filter(|kind| **kind == "alert-raised").count(), 1);
}

// Own promise: a recovery that is still to last does not stop the search for somebody, since its racks want them; the
// message that says so carries it, and so does the one that tells of it later.
#[test]
fn a_recovery_that_settles_is_carried_by_every_message() {
    let mut play = Play::new(settings());
    play.racks(0.0, "hot", &[Cold, Good, Good, Good, Cold, Good, Good, Good]);
    let recovered = play.open(Condition::Cold).and_then(|alert| alert.cleared).expect("it has recovered");
    play.until(38.0);
    let mut told: Vec<_> =
        play.effects.notices.iter().map(|notice| (notice.occasion, notice.alert.cleared)).collect();
    // Both who know of it hear of its end.
    told.dedup();
    let again = Some(recovered);
    let first = Some(at(3.0));
    assert_eq!(
        told,
        [(Raised, None), (Cleared, first), (Returned, None), (Escalated, again), (Cleared, again)]
    );
    let mut rested: Vec<u64> = play.effects.notices.iter().map(|notice| notice.rested_s).collect();
    rested.dedup();
    assert_eq!(rested, [0, 1_800], "the one that is told later says for how long it has lasted");
}

#[test]
fn a_return_after_it_had_settled_wants_somebody_anew() {
    let mut play = Play::new(settings());
    play.rack(0.0, "hot", Cold);
    let alert = play.open(Condition::Cold).expect("an alert").number;
    play.handle(Event::Acknowledge { alert, by: "Ana", via: "link", note: None }).expect("it is open");
    play.racks(1.0, "hot", &[Good; 3]);
    play.rack(60.0, "hot", Cold);
    let alert = play.open(Condition::Cold).expect("the same, its action is missing");
    assert_eq!((alert.number.0, alert.racks.count, alert.acknowledged.is_none()), (1, 2, true));
    play.until(71.0);
    assert_eq!(play.told(), [("ana", Raised), ("ana", Cleared), ("ana", Returned), ("ben", Escalated)]);
}

// Own promise: nobody is told the same twice at once: the message of a recovery asks for the corrective action, and is
// asked for again no sooner than four hours later.
#[test]
fn a_recovery_that_asks_is_no_reminder_besides() {
    let mut slow = settings();
    slow.rules.settle = slow.rules.action_reminder;
    let mut play = Play::new(slow);
    play.rack(0.0, "hot", Cold);
    let alert = play.open(Condition::Cold).expect("an alert").number;
    play.handle(Event::Acknowledge { alert, by: "Ana", via: "link", note: None }).expect("it is open");
    play.racks(1.0, "hot", &[Good, Good, Good, Cold, Good, Good, Good]);
    play.until(260.0);
    let told = [("ana", Raised), ("ana", Cleared), ("ana", Returned), ("ana", Cleared)];
    assert_eq!(play.told(), told);
    play.until(490.0);
    assert_eq!(play.told()[4..], [("ana", ActionMissing)]);
}

#[test]
fn a_missing_action_is_asked_for() {
    let mut play = Play::new(settings());
    play.rack(0.0, "hot", Cold);
    let alert = play.open(Condition::Cold).expect("an alert").number;
    play.handle(Event::Acknowledge { alert, by: "Ana", via: "link", note: None }).expect("it is open");
    play.racks(1.0, "hot", &[Good; 3]);
    play.until(250.0);
    assert_eq!(play.told(), [("ana", Raised), ("ana", Cleared), ("ana", ActionMissing)]);
    let act =
        Event::Act { alert, by: "Ana", racks: "rewashed", done: "waited for the booster", covers: None };
    play.handle(act).expect("it is open");
    assert_eq!(play.told()[3..], [("ana", Closed)]);
    assert_eq!(play.open(Condition::Cold), None);
}

#[test]
fn a_message_that_cannot_be_delivered_goes_to_others() {
    let mut with_pager = settings();
    with_pager.contacts[1].routes.push(Route::Webhook("pager".to_owned()));
    let mut play = Play::new(with_pager);
    play.rack(0.0, "hot", Cold);
    let first = play.effects.notices[0].clone();
    play.letter(2.0, &first, Outcome::GivenUp);
    assert_eq!(play.told()[1..], [("ben", Escalated), ("ben", Raised)], "the alert, and that a way fails");
    let undelivered = play.open(Condition::Undelivered).expect("an alert of its own");
    assert_eq!(undelivered.about, ["email:ana@example.org"]);
    // Ben's own message fails by e-mail too: only the pager is used from here on.
    let second = play.effects.notices[2].clone();
    play.letter(3.0, &second, Outcome::GivenUp);
    play.rack(4.0, "hot", Hot);
    let last = play.effects.notices.last().expect("a notice");
    assert_eq!(
        (last.contact.as_str(), last.routes.as_slice()),
        ("ben", [Route::Webhook("pager".to_owned())].as_slice())
    );
    play.letter(5.0, &first, Outcome::Delivered);
    assert!(play.open(Condition::Undelivered).expect("settling").cleared.is_some());
}

#[test]
fn a_maintenance_window_keeps_records_and_holds_messages() {
    let mut play = Play::new(settings());
    play.until(0.0);
    let window = Event::Maintenance { machine: Some("hot"), until: at(60.0), by: "Tom" };
    play.handle(window).expect("an hour is permitted");
    play.racks(5.0, "hot", &[Cold, Cold, Hot, Good, Good, Good]);
    play.rack(12.0, "chem", Cold);
    assert_eq!(play.told(), [("ana", Raised)], "only the other machine");
    assert!(play.story().iter().filter(|kind| **kind == "alert-raised").count() == 3, "{:?}", play.story());
    let chem = play.effects.notices[0].alert.number;
    play.handle(Event::Acknowledge { alert: chem, by: "Ana", via: "link", note: None }).expect("it is open");
    play.until(59.0);
    assert_eq!(play.told().len(), 1);
    play.until(61.0);
    assert_eq!(play.told()[1..], [("ana", AfterMaintenance)], "the cold racks still want an action");
    assert_eq!(play.desk.held_until(Some("hot")), None);
    play.until(71.0);
    assert_eq!(play.told()[2..], [("ben", Escalated)], "and somebody");
}

// Neither is anything raised by them, however many, nor is what is open made good.
#[test]
fn racks_made_while_somebody_works_say_nothing() {
    let mut play = Play::new(settings());
    play.racks(0.0, "hot", &[WorkedOn; 12]);
    assert!(play.story().is_empty(), "{:?}", play.story());
    play.racks(30.0, "hot", &[Cold]);
    play.racks(40.0, "hot", &[WorkedOn; 12]);
    assert!(play.open(Condition::Cold).is_some_and(|open| open.cleared.is_none()), "{:?}", play.story());
}

#[test]
fn a_clock_that_is_set_back_makes_nobody_wait() {
    let mut play = Play::new(settings());
    // The gateway believes it is a year later.
    let year = 366.0 * 24.0 * 60.0;
    play.rack(year, "hot", Cold);
    let step = ClockStep { clock: Clock::Gateway, from: at(year + 1.0), to: at(1.0) };
    play.now = at(1.0);
    play.record("", Body::ClockStep(step));
    play.until(12.0);
    assert_eq!(play.told(), [("ana", Raised), ("ben", Escalated)]);
    assert!(play.desk.deadline().is_some_and(|due| due <= at(2_000.0)), "{:?}", play.desk.deadline());
}
