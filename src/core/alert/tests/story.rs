//! The story on record has the figures that the desk has, while an alert is open and once it is closed.

use std::collections::BTreeMap;
use std::time::Duration;

use super::fixture::{Play, Rack, at, in_ice, settings};
use crate::core::alert::past::Past;
use crate::core::alert::story::{Released, Story, note};
use crate::core::alert::{Alert, AlertNumber, Condition, Event, Quantity};
use crate::core::record::{AlertChanged, AlertCleared, AlertRaised, Body, Change, Clearing, Cycle, Record};

/// The one alert of a condition, as records and cycles tell it.
fn told(play: &Play, cycles: &[(u64, Cycle)], condition: Condition) -> Story {
    let mut stories = BTreeMap::new();
    play.effects.records.iter().for_each(|record| note(&mut stories, record));
    let mut own = stories.into_values().filter(|story: &Story| story.alert.condition == condition);
    let mut story = own.next().expect("it was raised");
    let mut past = Past::default();
    // The desk's records come behind all racks.
    (1_000..).zip(&play.effects.records).for_each(|(index, record)| past.note(index, record));
    for (index, cycle) in cycles {
        story.last_good(*index, cycle);
        let counted = past.rack("hot", *index, cycle, None);
        let number = story.alert.number;
        counted.iter().filter(|counted| counted.alert == number).for_each(|own| story.racks(own));
    }
    story
}

fn figures(alert: &Alert) -> impl PartialEq + std::fmt::Debug {
    let back = (alert.before_return, alert.returns.clone());
    (alert.measured, alert.worst, alert.limit, alert.racks.clone(), alert.last_good, back)
}

/// Ends one rack a minute with these settled minima; the last ones are good, and the action is written.
fn play(minima: &[f64]) -> (Play, Vec<(u64, Cycle)>, Alert) {
    let mut play = Play::new(settings());
    let mut cycles = Vec::new();
    let mut open = None;
    for (place, minimum) in (0_u32..).zip(minima) {
        let minute = f64::from(place);
        play.until(minute);
        let kind = if *minimum < 82.2 { Rack::Cold } else { Rack::Good };
        let mut cycle = kind.cycle(at(minute));
        cycle.rinse_min_c = Some(*minimum);
        play.record("hot", Body::Cycle(Box::new(cycle.clone())));
        cycles.push((u64::from(place), cycle));
        if let Some(alert) = play.open(Condition::Cold).cloned() {
            let story = told(&play, &cycles, Condition::Cold);
            assert_eq!(figures(&story.alert), figures(&alert), "rack {place}");
            open = Some(alert);
        }
    }
    let alert = open.expect("it was raised");
    let act =
        Event::Act { alert: alert.number, by: "Ana", racks: "rewashed", done: "booster reset", covers: None };
    play.handle(act).expect("an open alert takes an action");
    play.until(minima.len() as f64 + 60.0);
    assert!(play.open(Condition::Cold).is_none(), "closed");
    (play, cycles, alert)
}

// Own promise: open and closed tell the same. The limit, 82.2 °C, is that of the fixture; the minima are made up.
// The worst rack is neither the first nor the last, and grows the alert without a record of its own.
#[test]
fn a_closed_alert_has_the_figures_of_the_open_one() {
    let minima = [85.0, 85.0, 70.0, 69.0, 62.6, 55.2, 81.9, 85.0, 85.0, 85.0];
    let (play, cycles, open) = play(&minima);
    let closed = told(&play, &cycles, Condition::Cold);
    assert!(closed.closed.is_some());
    assert_eq!(figures(&closed.alert), figures(&open));
    assert_eq!(closed.alert.worst, Some(Quantity::Celsius(55.2)));
    assert_eq!(closed.alert.measured, Some(Quantity::Celsius(81.9)));
    assert_eq!(closed.alert.racks.count, 5);
}

// Own promise: the records say as the desk does whether somebody takes care of an alert, and with whom that ended: not
// where it grows, nor where it comes back before it had settled, but where it comes back after that.
#[test]
fn whoever_takes_care_no_longer_is_on_record() {
    let mut play = Play::new(settings());
    play.rack(0.0, "hot", Rack::Cold);
    let number = play.open(Condition::Cold).expect("an alert").number;
    play.handle(Event::Acknowledge { alert: number, by: "Ana", via: "link", note: None })
        .expect("it is open");
    let taken = |play: &Play| {
        let open = play.open(Condition::Cold).expect("open").acknowledged.clone();
        let story = told(play, &[], Condition::Cold);
        assert_eq!(story.alert.acknowledged, open);
        (open.map(|taken| taken.by), story.released)
    };
    let ana = || (Some("Ana".to_owned()), Vec::new());
    play.racks(1.0, "hot", &[Rack::Cold, Rack::Cold]);
    assert_eq!(taken(&play), ana(), "several in a row");
    play.racks(4.0, "hot", &[Rack::Good, Rack::Good, Rack::Good, Rack::Cold]);
    assert_eq!(taken(&play), ana(), "back at once");
    play.racks(9.0, "hot", &[Rack::Good, Rack::Good, Rack::Good]);
    play.rack(60.0, "hot", Rack::Cold);
    let released = Released { by: "Ana".to_owned(), taken: at(0.0), at: at(60.0) };
    assert_eq!(taken(&play), (None, vec![released]));
}

// Own promise: the desk counts each return of an alert, and its records tell the same.
#[test]
fn every_return_is_counted() {
    let mut play = Play::new(settings());
    play.rack(0.0, "hot", Rack::Cold);
    for minute in [10.0, 20.0] {
        play.racks(minute - 8.0, "hot", &[Rack::Good, Rack::Good, Rack::Good]);
        play.rack(minute, "hot", Rack::Cold);
    }
    let open = play.open(Condition::Cold).expect("open").returns.clone();
    assert_eq!(open, [at(10.0), at(20.0)].into_iter().collect());
    assert_eq!(told(&play, &[], Condition::Cold).alert.returns, open);
}

// Own promise: an alert that came back after it had settled is nobody's, also where an earlier version did not put on
// record with whom that ended, once it shows in that others were told for want of somebody, or that somebody else took
// it on; one that came back before keeps its taker, however long settling takes.
#[test]
fn an_old_record_of_a_return_releases_whoever_took_care() {
    for (settle_minutes, back, released) in [(30, 60.0, true), (30, 14.0, false), (120, 60.0, false)] {
        let mut settings = settings();
        settings.rules.settle = Duration::from_secs(settle_minutes * 60);
        let mut play = Play::new(settings);
        play.rack(0.0, "hot", Rack::Cold);
        let number = play.open(Condition::Cold).expect("an alert").number;
        let take = |by| Event::Acknowledge { alert: number, by, via: "link", note: None };
        play.handle(take("Ana")).expect("it is open");
        play.racks(9.0, "hot", &[Rack::Good, Rack::Good, Rack::Good]);
        play.rack(back, "hot", Rack::Cold);
        for record in &mut play.effects.records {
            if let Body::AlertChanged(changed) = &mut record.body {
                changed.released = None;
            }
        }
        let ana = Released { by: "Ana".to_owned(), taken: at(0.0), at: at(back) };
        let ended = if released { vec![ana] } else { Vec::new() };
        let story = told(&play, &[], Condition::Cold);
        assert!(story.alert.acknowledged.is_some(), "nothing shows it yet");
        play.until(back + 60.0);
        let open = play.open(Condition::Cold).expect("open").acknowledged.clone();
        assert_eq!(open.is_none(), released);
        let story = told(&play, &[], Condition::Cold);
        assert_eq!((story.alert.acknowledged, story.released), (open, ended.clone()), "others were told");
        assert_eq!(play.handle(take("Ben")).is_ok(), released);
        let story = told(&play, &[], Condition::Cold);
        assert_eq!(story.released, ended, "taken on anew");
    }
}

// Own promise: what an action covers is what it said it covers, also where the alert is told from its records.
#[test]
fn an_action_for_a_few_racks_is_told_as_one() {
    let mut play = Play::new(settings());
    let cycles: Vec<(u64, Cycle)> = (0..3_u32)
        .map(|place| {
            play.until(f64::from(place));
            let cycle = Rack::Cold.cycle(at(f64::from(place)));
            play.record("hot", Body::Cycle(Box::new(cycle.clone())));
            (u64::from(place), cycle)
        })
        .collect();
    let alert = play.open(Condition::Cold).expect("an alert").number;
    let (racks, done, covers) = ("rewashed", "booster reset", Some(2));
    play.handle(Event::Act { alert, by: "Ana", racks, done, covers }).expect("it is open");
    let open = play.open(Condition::Cold).cloned().expect("one rack is left out");
    let story = told(&play, &cycles, Condition::Cold).alert;
    assert_eq!((story.racks.count, story.racks_uncovered(), story.action_missing()), (3, 1, true));
    assert_eq!(story.action, open.action);
}

// The moment of the last good rack is its own, 12:01, and not that of the first cold one, 12:02.
#[test]
fn the_last_good_rack_is_not_the_cold_one() {
    let (play, cycles, _) = play(&[85.0, 85.0, 70.0, 85.0, 85.0, 85.0]);
    let good = told(&play, &cycles, Condition::Cold).alert.last_good.expect("there was a good one");
    assert_eq!((good.index, good.at), (1, at(1.0)));
    // Where its record cannot be read, the corrective action still says when it was.
    let left = told(&play, &cycles[2..], Condition::Cold).alert.last_good;
    assert_eq!(left.map(|rack| (rack.index, rack.at)), Some((good.index, good.at)));
}

// Own promise: of what was washed between two times of the same alert nobody need doubt, and the racks of the first
// time are still to be accounted for.
#[test]
fn an_alert_that_comes_back_holds_what_was_washed_since_it_was_good() {
    let (_, _, open) = play(&[85.0, 85.0, 70.0, 85.0, 85.0, 85.0, 85.0, 70.0, 85.0, 85.0, 85.0]);
    assert_eq!(open.last_good.map(|rack| (rack.index, rack.at)), Some((6, at(6.0))));
    assert_eq!((open.racks.count, open.before_return, open.has_older_racks()), (2, 1, true));
}

// Racks that come once it is over are of another alert; more of them than are named are still counted.
#[test]
fn a_long_story_names_the_racks_that_the_desk_names() {
    let mut minima = vec![85.0];
    minima.extend((0..45).map(|rack| 70.0 - f64::from(rack % 7)));
    minima.extend([85.0; 3]);
    let (mut play, mut cycles, open) = play(&minima);
    play.rack(200.0, "hot", Rack::Cold);
    cycles.push((minima.len() as u64, Rack::Cold.cycle(at(200.0))));
    let closed = told(&play, &cycles, Condition::Cold);
    assert_eq!(figures(&closed.alert), figures(&open));
    assert_eq!(closed.alert.racks.count, 45);
}

// Own promise: the racks that a comparison puts in doubt afterwards, and those that pass by the same probe until it is
// right again, are the same on record as at the desk. The limit is 82.2 °C; the probe shows 2 K too much.
#[test]
fn racks_in_doubt_are_those_of_the_desk() {
    let mut play = Play::new(settings());
    let mut cycles = Vec::new();
    let mut index = 0;
    let compare = |play: &mut Play, minute: f64, shown_c: f64| {
        play.until(minute);
        play.record("hot", Body::Check(in_ice(at(minute), "hot/rinse", shown_c)));
    };
    for (minute, minimum) in (0_u32..).zip([83.0, 90.0, 84.0, 83.5, 90.0, 84.1, 83.0]) {
        let minute = f64::from(minute) * 2.0;
        let comparison = match index {
            3 => Some(2.0),
            7 => Some(0.0),
            _ => None,
        };
        if let Some(shown_c) = comparison {
            compare(&mut play, minute, shown_c);
            index += 1;
        }
        play.until(minute + 1.0);
        let cycle = Rack::Minimum(minimum).cycle(at(minute + 1.0));
        play.record("hot", Body::Cycle(Box::new(cycle.clone())));
        cycles.push((index, cycle));
        index += 1;
    }
    let open = play.open(Condition::ThermometerOff).cloned().expect("it was raised");
    let story = told(&play, &cycles, Condition::ThermometerOff).alert;
    assert_eq!(figures(&story), figures(&open));
    let named: Vec<u64> = story.racks.named.iter().map(|rack| rack.index).collect();
    assert_eq!((named, story.racks.count, story.earlier), (vec![0, 2, 4, 6], 4, 2));
    assert!(story.cleared.is_some() && story.action_missing() && open.action_missing());
}

// Regression: of what was too cold, and too hot when it came back, the story told the latest side alone, beside since when it
// was so on the first; and the worst of one stretch alone. The values are made up.
#[test]
fn the_worst_of_either_side_is_kept() {
    let (alert, condition) = (AlertNumber(3), Condition::Drifting);
    let celsius = |value| Some(Quantity::Celsius(value));
    let raised = AlertRaised {
        measured: celsius(57.1),
        limit: celsius(57.5),
        ..AlertRaised::new(alert, condition, at(0.0))
    };
    let cleared = |worst, limit| {
        let (worst, limit, cause) = (celsius(worst), celsius(limit), None);
        let clearing = Clearing::Recovered;
        Body::AlertCleared(AlertCleared { alert, clearing, racks: 0, worst, limit, cause })
    };
    let returned = |measured, limit| {
        let (measured, limit) = (celsius(measured), celsius(limit));
        let changed = AlertChanged { measured, limit, ..AlertChanged::new(alert, Change::Returned) };
        Body::AlertChanged(AlertChanged { condition: Some(condition), ..changed })
    };
    let mut stories = BTreeMap::new();
    let (mut minute, mut since) = (0.0, at(0.0));
    let mut worst = |body: Body| {
        // What it measures is of one stretch, and so is since when.
        since = if matches!(body, Body::AlertChanged(_)) { at(minute) } else { since };
        note(&mut stories, &Record::new(at(minute), Some("hot".to_owned()), body));
        minute += 1.0;
        let own = &stories[&alert].alert;
        let sides = [own.worst, own.other_side.map(|(worst, _)| worst)];
        assert_eq!(sides, stories[&alert].worst_of_sides().map(|worst| worst.map(|(worst, _)| worst)));
        assert_eq!(own.since, since);
        stories[&alert].worst_of_sides().map(|worst| worst.map(|(worst, _)| worst))
    };
    let cold = celsius(56.4);
    assert_eq!(worst(Body::AlertRaised(Box::new(raised))), [celsius(57.1), None]);
    assert_eq!(worst(cleared(56.4, 57.5)), [cold, None]);
    assert_eq!(worst(returned(58.2, 57.9)), [celsius(58.2), cold]);
    assert_eq!(worst(cleared(58.9, 57.9)), [celsius(58.9), cold]);
    // Once more, and not as bad as before.
    let hot = celsius(58.9);
    assert_eq!(worst(returned(57.0, 57.5)), [cold, hot]);
    assert_eq!(worst(returned(58.3, 57.9)), [hot, cold]);
}
