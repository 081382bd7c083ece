//! What holds for any sequence of events.

use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;

use proptest::prelude::*;

use super::fixture::{Play, Rack, at, contact, hours, period, settings};
use crate::core::alert::{AlertNumber, Effects, Event, Foreseen, Health, Occasion, Settings};
use crate::core::reading::Fault;
use crate::core::record::{Body, Change, CheckKind, Outcome};
use crate::core::time::Timestamp;

#[derive(Clone, Debug)]
enum Step {
    Rack(&'static str, Rack),
    Gap(&'static str, Fault, bool),
    Check(&'static str, CheckKind),
    Health(Health),
    Tank(&'static str, Option<f64>),
    Acknowledge(u64),
    Act { alert: u64, by: &'static str, done: &'static str, covers: Option<u64> },
    Maintenance(Option<&'static str>, f64),
    Letter(usize, Outcome),
    Test,
}

fn step() -> impl Strategy<Value = Step> {
    let machine = prop_oneof![Just("hot"), Just("chem")];
    let rack = prop_oneof![
        4 => Just(Rack::Good),
        1 => Just(Rack::Narrow),
        3 => Just(Rack::Cold),
        1 => Just(Rack::Brief),
        1 => Just(Rack::Weak),
        1 => Just(Rack::WashLow),
        1 => Just(Rack::Hot),
        1 => Just(Rack::NoCheck),
        1 => Just(Rack::Gappy),
        1 => Just(Rack::Fault(Fault::OpenCircuit)),
        1 => Just(Rack::Fault(Fault::Silent)),
    ];
    let probe = prop_oneof![Just("hot/rinse"), Just("hot/wash"), Just("chem/rinse")];
    let fault = prop_oneof![Just(Fault::Silent), Just(Fault::Stuck)];
    let kind = proptest::sample::select(CheckKind::ALL.to_vec());
    let outcome = prop_oneof![Just(Outcome::Delivered), Just(Outcome::GivenUp)];
    let health = (0.0..0.3, any::<bool>(), 0..7_200_u64).prop_map(|(free, clock, behind)| Health {
        disk_free: Some(free),
        clock_synchronised: Some(clock),
        series_behind: Some(std::time::Duration::from_secs(behind)),
    });
    let (by, done) = (prop_oneof![Just("Ana"), Just("Tom")], prop_oneof![Just("called"), Just("reset")]);
    let act = (0..12_u64, by, done, proptest::option::of(0..6_u64))
        .prop_map(|(alert, by, done, covers)| Step::Act { alert, by, done, covers });
    prop_oneof![
        8 => (machine.clone(), rack).prop_map(|(machine, rack)| Step::Rack(machine, rack)),
        1 => (probe, fault, any::<bool>()).prop_map(|(probe, fault, over)| Step::Gap(probe, fault, over)),
        1 => (machine.clone(), kind).prop_map(|(machine, kind)| Step::Check(machine, kind)),
        1 => health.prop_map(Step::Health),
        1 => (machine.clone(), proptest::option::of(50.0..80.0)).prop_map(|(m, celsius)| Step::Tank(m, celsius)),
        1 => (0..12_u64).prop_map(Step::Acknowledge),
        2 => act,
        1 => (proptest::option::of(machine), -5.0..90.0).prop_map(|(m, minutes)| Step::Maintenance(m, minutes)),
        1 => (any::<usize>(), outcome).prop_map(|(place, outcome)| Step::Letter(place, outcome)),
        1 => Just(Step::Test),
    ]
}

fn site() -> Settings {
    let mut site = Settings {
        shifts: vec![period("all", &["mon-sun 06:00-14:00", "mon-sun 14:00-22:00"])],
        meal_periods: vec![period("lunch", &["mon-sun 11:30-14:00"])],
        open: Some(hours(&["mon-sun 13:00-22:00"])),
        ..settings()
    };
    site.contacts.push(contact("kim", 2, None));
    site.rules.drift_baseline = 5;
    site
}

fn play(steps: &[(f64, Step)], restores: bool) -> Play {
    let (mut play, minutes) = played(steps, restores);
    play.until(minutes + 400.0);
    play
}

/// Everything done, and the minute of the last step.
fn played(steps: &[(f64, Step)], restores: bool) -> (Play, f64) {
    let mut play = Play::new(site());
    play.restores = restores;
    let mut minutes = 0.0;
    for (pause, step) in steps {
        minutes += pause;
        play.until(minutes);
        let refused = match step {
            Step::Rack(machine, rack) => {
                play.rack(minutes, machine, *rack);
                Ok(())
            }
            Step::Gap(probe, fault, over) => {
                play.gap(minutes, probe, *fault, *over);
                Ok(())
            }
            Step::Check(machine, kind) => {
                play.check(minutes, machine, *kind);
                Ok(())
            }
            Step::Health(health) => play.handle(Event::Health(*health)),
            Step::Tank(machine, celsius) => {
                play.tank(minutes, machine, *celsius);
                Ok(())
            }
            Step::Acknowledge(number) => play.handle(Event::Acknowledge {
                alert: AlertNumber(*number),
                by: "Ana",
                via: "page",
                note: None,
            }),
            Step::Act { alert, by, done, covers } => {
                let alert = AlertNumber(*alert);
                play.handle(Event::Act { alert, by, racks: "held", done, covers: *covers })
            }
            Step::Maintenance(machine, span) => {
                let until = at(minutes + span);
                play.handle(Event::Maintenance { machine: *machine, until, by: "Tom" })
            }
            Step::Letter(place, outcome) => {
                let count = play.effects.notices.len().max(1);
                if let Some(notice) = play.effects.notices.get(place % count).cloned() {
                    play.letter(minutes, &notice, *outcome);
                }
                Ok(())
            }
            Step::Test => play.handle(Event::Test { contact: "kim" }),
        };
        // A refusal is an answer; what it may change is told in another test.
        drop(refused);
    }
    (play, minutes)
}

/// Numbers of alerts in order of what the records say of them.
fn check_story(effects: &Effects) -> Result<(), TestCaseError> {
    let (mut open, mut cleared, mut acted) = (BTreeSet::new(), BTreeSet::new(), BTreeMap::new());
    let mut subjects = BTreeSet::new();
    let mut raised = BTreeSet::new();
    let mut names = BTreeMap::new();
    for record in &effects.records {
        if let Body::AlertRaised(body) = &record.body {
            prop_assert!(raised.insert(body.alert), "a number twice");
            let subject = (record.machine.clone(), body.condition);
            prop_assert!(subjects.insert(subject.clone()), "two open alerts for one subject: {:?}", subject);
            names.insert(body.alert, subject);
            open.insert(body.alert);
        } else if let Body::AlertClosed(body) = &record.body {
            prop_assert!(open.remove(&body.alert), "closed, but not open");
            let covered = acted.get(&body.alert).copied();
            let written = covered == Some(body.racks) || !body.needed_action;
            prop_assert!(written, "closed with {:?} of {} racks covered", covered, body.racks);
            prop_assert!(cleared.contains(&body.alert), "closed, but not cleared");
            if let Some(subject) = names.get(&body.alert) {
                subjects.remove(subject);
            }
        } else if let Some(alert) =
            record.body.alert().filter(|_| !matches!(record.body, Body::Notification(_)))
        {
            prop_assert!(open.contains(&alert), "{}, but not open", record.body.kind());
        }
        if let Body::AlertChanged(body) = &record.body
            && body.change == Change::Returned
        {
            prop_assert!(cleared.remove(&body.alert), "returned, but not cleared");
        } else if let Body::AlertCleared(body) = &record.body {
            prop_assert!(cleared.insert(body.alert), "cleared twice");
        } else if let Body::CorrectiveAction(body) = &record.body {
            // What an older page covers takes nothing back.
            let covered: &mut u64 = acted.entry(body.alert).or_default();
            *covered = body.covers.map_or(*covered, |covers| covers.max(*covered));
        }
    }
    let mut keys = BTreeSet::new();
    for notice in &effects.notices {
        prop_assert!(keys.insert(&notice.key), "key {} twice", notice.key);
        let known = notice.occasion == Occasion::Test || raised.contains(&notice.alert.number);
        prop_assert!(known, "a notice without its alert: {:?}", notice);
    }
    Ok(())
}

/// When the first message of an alert goes out that asks somebody for an answer, and to whom.
fn first_news(play: &mut Play, alert: AlertNumber, span: Duration) -> Option<(Timestamp, Vec<String>)> {
    let end = play.now.plus(span);
    while let Some(due) = play.desk.deadline().filter(|due| *due <= end) {
        play.now = play.now.max(due);
        let known = play.effects.notices.len();
        play.handle(Event::Tick).expect("time is never refused");
        let news =
            [Occasion::Raised, Occasion::Escalated, Occasion::ActionMissing, Occasion::AfterMaintenance];
        let own = play.effects.notices[known..].iter();
        let own = own.filter(|notice| notice.alert.number == alert && news.contains(&notice.occasion));
        let contacts: Vec<String> = own.map(|notice| notice.contact.clone()).collect();
        if !contacts.is_empty() {
            return Some((play.now, contacts));
        }
    }
    play.now = end;
    None
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, ..ProptestConfig::default() })]

    // Own promise: what is foreseen of an alert is the first news that comes of it, and none comes where none is.
    #[test]
    fn what_is_foreseen_comes(steps in proptest::collection::vec((0.0..40.0, step()), 1..60)) {
        let (before, _) = played(&steps, false);
        let numbers: Vec<AlertNumber> = before.desk.alerts().map(|alert| alert.number).collect();
        for number in numbers {
            let (mut after, _) = played(&steps, false);
            let foreseen = after.desk.foreseen(after.now, number);
            let first = first_news(&mut after, number, Duration::from_secs(2 * 86_400));
            match &foreseen {
                Some(Foreseen::Told { at, contacts, .. }) if *at <= after.now => {
                    prop_assert_eq!(first, Some((*at, contacts.clone())), "{:?}", foreseen);
                }
                Some(Foreseen::Told { .. } | Foreseen::NotBefore { .. }) => {
                    prop_assert_eq!(first, None, "{:?}", foreseen);
                }
                Some(Foreseen::NobodyElse { .. } | Foreseen::AskedNoMore { .. }) | None => {
                    prop_assert_eq!(first, None, "{:?}", foreseen);
                }
            }
        }
    }

    #[test]
    fn any_sequence_tells_one_story(steps in proptest::collection::vec((0.0..40.0, step()), 1..60)) {
        let whole = play(&steps, false);
        check_story(&whole.effects)?;
        for record in &whole.effects.records {
            let back = crate::core::record::Record::from_bytes(&record.to_bytes());
            prop_assert_eq!(&back.expect("a record reads back"), record);
        }
        let broken = play(&steps, true);
        prop_assert_eq!(&whole.effects, &broken.effects);
        prop_assert_eq!(whole.desk.state(), broken.desk.state());
    }
}
