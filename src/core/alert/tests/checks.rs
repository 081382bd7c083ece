//! Checks: when they are due, what withdrawing one does, and the nights on which the clock is set.
//!
//! Changes of 2026 in New York: 8 March 02:00 → 03:00 EDT, 1 November 02:00 → 01:00 EST
//! (15 U.S.C. 260a).

use jiff::tz::TimeZone;

use super::fixture::Rack::{Cold, Good, NoCheck};
use super::fixture::{Play, at, period, settings};
use crate::core::alert::due::planned;
use crate::core::alert::{Alert, Condition, DueCheck, Occasion, Rules, Settings};
use crate::core::record::{Amendment, AmendmentChange, Body, Change, Check, CheckKind};
use crate::core::time::Timestamp;

fn site() -> Settings {
    Settings {
        shifts: vec![period("late", &["mon-sun 14:00-22:00"])],
        meal_periods: vec![period("lunch", &["mon-sun 12:30-14:00"])],
        ..settings()
    }
}

fn amend(play: &mut Play, minutes: f64, of: u64, change: AmendmentChange) {
    play.until(minutes);
    let (reason, by) = ("misread".to_owned(), "ana".to_owned());
    play.record("chem", Body::Amendment(Box::new(Amendment { of, reason, by, change })));
}

fn missing(play: &Play) -> Vec<String> {
    let open = play.open(Condition::CheckOverdue).filter(|alert| alert.cleared.is_none());
    open.map(|alert| alert.about.clone()).unwrap_or_default()
}

/// Machine and kind of what is due, with `!` where it is overdue.
fn due(play: &Play, minutes: f64) -> Vec<String> {
    let word = |due: &DueCheck| {
        let mark = if due.overdue { "!" } else { "" };
        format!("{}:{}{mark}", due.machine, due.check.as_str())
    };
    play.desk.due_checks(at(minutes)).iter().map(word).collect()
}

// Own promise: what was withdrawn counts no more, what was corrected counts as corrected, also
// where the desk is stored and brought back in between.
#[test]
fn an_amended_check_counts_as_amended() {
    for restores in [false, true] {
        let mut play = Play::new(site());
        play.restores = restores;
        play.check(110.0, "chem", CheckKind::Sanitizer); // record 0
        play.check(111.0, "chem", CheckKind::Supply); // record 1
        play.rack(125.0, "chem", Good); // record 2
        play.until(200.0);
        assert!(missing(&play).is_empty());
        amend(&mut play, 201.0, 0, AmendmentChange::Comment);
        assert!(missing(&play).is_empty(), "a comment changes nothing");
        amend(&mut play, 202.0, 0, AmendmentChange::Withdrawn);
        assert_eq!(missing(&play), ["sanitizer"], "it was the only one of the shift");
        play.check(203.0, "chem", CheckKind::Sanitizer); // record 5
        assert!(missing(&play).is_empty());
        // It turns out to have been made yesterday.
        let (early, by) = (at(-1_000.0), "ana".to_owned());
        let corrected = Check::Supply { at: early, enough: true, short: Vec::new(), note: None, by };
        amend(&mut play, 204.0, 1, AmendmentChange::Corrected(corrected));
        assert_eq!(missing(&play), ["supply"]);
        amend(&mut play, 205.0, 77, AmendmentChange::Withdrawn);
        assert_eq!(missing(&play), ["supply"], "a record that is no check of this machine");
    }
}

/// What is on record of checks that were missed: the change, where it is one, the check, and when it was due, minutes.
fn on_record(play: &Play) -> Vec<(Option<Change>, &'static str, Timestamp)> {
    let told = |body: &Body| {
        if let Body::AlertRaised(raised) = body {
            return Some((None, raised.missed?));
        }
        let Body::AlertChanged(changed) = body else { return None };
        Some((Some(changed.change), changed.missed?))
    };
    let all = play.effects.records.iter().filter_map(|record| told(&record.body));
    all.map(|(change, missed)| (change, missed.check.as_str(), missed.due)).collect()
}

// Own promise: each check that was missed is on record with the time it was due, also where the one before it is
// missing still, and where one was entered and withdrawn; a machine that stands still misses none.
#[test]
fn each_check_that_was_missed_is_on_record() {
    let shifts = vec![period("late", &["mon-sun 14:00-22:00"]), period("night", &["mon-sun 23:00-24:00"])];
    let rules = Rules { checks: [CheckKind::Sanitizer].into(), ..settings().rules };
    let mut play = Play::new(Settings { shifts, meal_periods: Vec::new(), rules, ..settings() });
    play.rack(125.0, "chem", Good);
    play.until(151.0);
    let first = (None, "sanitizer", at(120.0));
    assert_eq!(on_record(&play), [first]);
    play.rack(640.0, "chem", Good);
    play.until(689.0);
    assert_eq!(on_record(&play), [first], "the grace of the next one still runs");
    play.until(691.0);
    let next = (Some(Change::MissedAgain), "sanitizer", at(660.0));
    assert_eq!(on_record(&play), [first, next]);
    play.check(700.0, "chem", CheckKind::Sanitizer);
    amend(&mut play, 702.0, 2, AmendmentChange::Withdrawn);
    assert_eq!(on_record(&play), [first, next, (Some(Change::Returned), "sanitizer", at(660.0))]);
    // The day after it stands still.
    play.until(48.0 * 60.0);
    assert_eq!(on_record(&play).len(), 3);
}

// Own promise: checks that are overdue at the same moment are told in one message, which names each of them.
#[test]
fn checks_that_are_overdue_at_once_are_told_at_once() {
    let rules = Rules { checks: [CheckKind::Sanitizer, CheckKind::Supply].into(), ..settings().rules };
    let shifts = vec![period("late", &["mon-sun 14:00-22:00"])];
    let mut play = Play::new(Settings { shifts, meal_periods: Vec::new(), rules, ..settings() });
    play.rack(125.0, "chem", Good);
    play.until(151.0);
    assert_eq!(missing(&play), ["sanitizer", "supply"]);
    assert_eq!(on_record(&play).len(), 2, "each is on record");
    let told: Vec<(&str, Occasion, usize)> = (play.effects.notices.iter())
        .map(|notice| (notice.contact.as_str(), notice.occasion, notice.alert.about.len()))
        .collect();
    assert_eq!(told, [("ana", Occasion::Raised, 2)]);
}

#[test]
fn withdrawing_a_drain_brings_the_dirt_back() {
    let mut play = Play::new(Settings { shifts: Vec::new(), ..site() });
    play.rack(100.0, "chem", Good);
    play.check(121.0, "chem", CheckKind::DrainAndClean);
    play.until(149.0);
    amend(&mut play, 149.5, 1, AmendmentChange::Withdrawn);
    assert!(missing(&play).is_empty(), "the grace still runs");
    play.until(151.0);
    assert_eq!(missing(&play), ["drain-and-clean"]);
}

// Own rule: before a shift its checks are due, after the grace they are overdue at a machine in use.
#[test]
fn what_is_due_is_told_before_it_is_overdue() {
    let mut play = Play::new(site());
    let day = vec!["chem:supply", "hot:supply"];
    assert_eq!(due(&play, 59.0), day, "from midnight");
    let both = vec!["chem:sanitizer", "chem:supply", "hot:supply"];
    assert_eq!(due(&play, 60.0), both, "an hour before the shift");
    play.check(70.0, "chem", CheckKind::Supply);
    play.check(71.0, "hot", CheckKind::Supply);
    assert_eq!(due(&play, 72.0), ["chem:sanitizer"], "hot water needs no strip");
    play.rack(80.0, "hot", Good);
    play.until(95.0);
    assert_eq!(due(&play, 95.0), ["chem:sanitizer", "hot:drain-and-clean"]);
    play.rack(125.0, "chem", Good);
    play.until(151.0);
    assert_eq!(due(&play, 151.0), ["chem:sanitizer!", "hot:drain-and-clean!"]);
    let since = |place: usize| play.desk.due_checks(at(151.0))[place].since;
    assert_eq!((since(0), since(1)), (at(120.0), at(120.0)), "since when they were due");
    play.check(152.0, "chem", CheckKind::Sanitizer);
    play.check(153.0, "hot", CheckKind::DrainAndClean);
    assert!(due(&play, 154.0).is_empty());
    // The shift is over and the machine stood still from then on.
    assert!(due(&play, 23.0 * 60.0 - 720.0).is_empty());
}

/// Since when the logbook says that a machine's checks are overdue, by the earliest.
fn overdue_since(play: &Play, minutes: f64, machine: &str) -> Option<Timestamp> {
    let due = play.desk.due_checks(at(minutes)).into_iter();
    due.filter(|due| due.overdue && due.machine == machine).map(|due| due.since).min()
}

// Own promise: logbook, alert and what its records tell give one time for what is overdue, also where it is missed again
// on a new day, and where an alert that its racks keep open comes back on another day. Where the first of two is made,
// the alert goes on since it began, and the logbook says since when the other one is overdue.
#[test]
fn logbook_and_alert_say_the_same_of_what_is_overdue() {
    let day = 1_440.0;
    let mut play = Play::new(site());
    let agree = |play: &mut Play, minutes: f64, since: f64| {
        play.until(minutes);
        let alert = play.open(Condition::CheckOverdue).filter(|alert| alert.cleared.is_none());
        let said = (overdue_since(play, minutes, "hot"), alert.map(|alert| alert.since));
        assert_eq!(said, (Some(at(since)), Some(at(since))), "at {minutes}");
        let mut stories = std::collections::BTreeMap::new();
        play.effects.records.iter().for_each(|record| crate::core::alert::story::note(&mut stories, record));
        let alert = alert.expect("it is open");
        let told = &stories[&alert.number].alert;
        let of = |alert: &Alert| (alert.since, alert.rest_since, alert.about.clone());
        assert_eq!(of(told), of(alert), "told from its records too, at {minutes}");
    };
    play.rack(60.0, "hot", Good);
    // The meal ends at 14:00; the shift begins then.
    play.rack(130.0, "hot", Good);
    agree(&mut play, 155.0, 120.0);
    play.rack(day + 130.0, "hot", Good);
    agree(&mut play, day + 155.0, 120.0);
    play.check(day + 160.0, "hot", CheckKind::DrainAndClean);
    agree(&mut play, day + 161.0, 120.0);
    play.check(day + 162.0, "hot", CheckKind::Supply);
    assert_eq!(overdue_since(&play, day + 163.0, "hot"), None);
    play.until(day + 170.0);
    // Back before it had settled: the same alert, and another day's check.
    let mut late = site();
    late.rules.settle = std::time::Duration::from_secs(3 * 86_400);
    let mut play = Play::new(late);
    play.rack(130.0, "hot", Good);
    agree(&mut play, 155.0, 120.0);
    play.check(160.0, "hot", CheckKind::Supply);
    play.check(161.0, "hot", CheckKind::DrainAndClean);
    play.rack(day + 130.0, "hot", Good);
    agree(&mut play, day + 155.0, day + 120.0);
    // Two that were missed on different days, of which the first is made.
    let mut play =
        Play::new(Settings { meal_periods: vec![period("lunch", &["mon-sun 12:30-17:00"])], ..site() });
    play.rack(130.0, "hot", Good);
    agree(&mut play, 155.0, 120.0);
    play.rack(250.0, "hot", Good);
    agree(&mut play, 340.0, 120.0);
    play.check(345.0, "hot", CheckKind::Supply);
    play.until(346.0);
    assert_eq!(overdue_since(&play, 346.0, "hot"), Some(at(300.0)));
    let left =
        |play: &Play| play.open(Condition::CheckOverdue).map(|alert| (alert.since, alert.lasts_since()));
    assert_eq!(
        left(&play),
        Some((at(120.0), at(300.0))),
        "begun with the first, lasting since the one that is left"
    );
    // Of the third record, after two racks.
    let (reason, by, change) = ("twice".to_owned(), "ana".to_owned(), AmendmentChange::Withdrawn);
    play.record("hot", Body::Amendment(Box::new(Amendment { of: 2, reason, by, change })));
    assert_eq!(left(&play), Some((at(120.0), at(120.0))), "the first is missing again");
    play.check(348.0, "hot", CheckKind::Supply);
    assert_eq!(left(&play), Some((at(120.0), at(300.0))));
    play.check(350.0, "hot", CheckKind::DrainAndClean);
    // It names that one alone, so the time is of that one too, by its records as well.
    assert_eq!(left(&play), Some((at(120.0), at(300.0))), "the last that was left");
    let mut stories = std::collections::BTreeMap::new();
    play.effects.records.iter().for_each(|record| crate::core::alert::story::note(&mut stories, record));
    let told =
        stories.values().find(|told| told.alert.condition == Condition::CheckOverdue).expect("it is told");
    assert_eq!(
        (told.alert.lasts_since(), told.alert.about.as_slice()),
        (at(300.0), &["drain-and-clean".to_owned()][..])
    );
}

// Regression: an alert named a rack by when it ended, every list by when its final rinse began. One that an earlier
// version kept has the one time only.
#[test]
fn a_rack_is_named_by_when_its_final_rinse_began() {
    let mut play = Play::new(site());
    play.rack(10.0, "hot", Cold);
    play.rack(12.0, "hot", Cold);
    let alert = play.open(Condition::Cold).expect("it is open").clone();
    let rinsed = |minutes: f64| at(minutes).minus(std::time::Duration::from_secs(10));
    assert_eq!((alert.since, alert.lasts_since()), (at(10.0), rinsed(10.0)));
    assert_eq!(
        (alert.span(), alert.racks.latest_span(2)),
        ((rinsed(10.0), rinsed(12.0)), Some((rinsed(10.0), rinsed(12.0))))
    );
    let kept = serde_json::to_string(&alert.racks.named[0]).expect("it is written");
    let old = kept.split(",\"began\"").next().expect("a part").to_owned() + "}";
    let old: crate::core::alert::Rack = serde_json::from_str(&old).expect("an earlier version");
    assert_eq!((old.at, old.rinsed()), (at(10.0), at(10.0)));
    // The check that a rack finds missing is due with it.
    play.rack(20.0, "chem", NoCheck);
    let missing = play.open(Condition::CheckOverdue).map(Alert::lasts_since);
    assert_eq!((missing, overdue_since(&play, 21.0, "chem")), (Some(rinsed(20.0)), Some(rinsed(20.0))));
}

// Own promise: a test that failed is to be made again until a good one is on record, whatever the plan asks and
// whether or not the shift is over; a withdrawn good one brings it back.
#[test]
fn a_failed_test_stays_due_until_a_good_one() {
    let mut play = Play::new(Settings { shifts: Vec::new(), meal_periods: Vec::new(), ..site() });
    let strip = |minutes, mg_per_l| {
        let (at, by) = (at(minutes), "ana".to_owned());
        Body::Check(Check::Sanitizer { at, mg_per_l, ph: None, solution_c: None, method: None, by })
    };
    play.until(10.0);
    play.record("chem", strip(10.0, 10.0)); // record 0
    let again = |play: &Play, minutes: f64| {
        let all = play.desk.due_checks(at(minutes)).into_iter();
        all.filter_map(|due| Some((due.machine, due.since, due.again?.record))).collect::<Vec<_>>()
    };
    let waits = [("chem".to_owned(), at(10.0), 0)];
    assert_eq!(again(&play, 10.0), waits);
    assert_eq!(again(&play, 3.0 * 1_440.0), waits, "it does not lapse");
    play.until(20.0);
    play.record("chem", strip(20.0, 100.0));
    assert!(again(&play, 20.0).is_empty());
    let good = play.desk.next_record() - 1;
    amend(&mut play, 30.0, good, AmendmentChange::Withdrawn);
    assert_eq!(again(&play, 30.0), waits, "the good one counts no more");
    amend(&mut play, 31.0, 0, AmendmentChange::Withdrawn);
    assert!(again(&play, 31.0).is_empty(), "none failed any more");
}

// Own promise: what failed is due since it failed, and overdue after the grace of every check; a shift that begins
// meanwhile puts nothing off.
#[test]
fn a_failed_test_is_due_since_it_failed() {
    let mut play = Play::new(site());
    play.until(10.0);
    let (at_ten, by) = (at(10.0), "ana".to_owned());
    let strip = Check::Sanitizer { at: at_ten, mg_per_l: 10.0, ph: None, solution_c: None, method: None, by };
    play.record("chem", Body::Check(strip));
    let grace = site().rules.check_grace.as_secs_f64() / 60.0;
    let mut seen = Vec::new();
    for minutes in [10.0, 10.0 + grace - 1.0, 10.0 + grace, 600.0, 1_430.0, 1_500.0, 2_000.0] {
        play.until(minutes);
        let due = play.desk.due_checks(at(minutes)).into_iter().find(|due| due.again.is_some());
        let due = due.expect("it is to be made again");
        assert!(due.since <= at(10.0), "at {minutes}: {due:?}");
        seen.push(due.overdue);
    }
    assert_eq!(seen[2..], [true; 5], "overdue once the grace is over");
}

fn new_york(shifts: &[&str], meals: &[&str]) -> Settings {
    Settings {
        zone: TimeZone::get("America/New_York").expect("a zone of the tz database"),
        shifts: vec![period("shift", shifts)],
        meal_periods: vec![period("meal", meals)],
        ..settings()
    }
}

/// When this kind is due on the local day that holds the instant and the day after it.
fn dues(settings: &Settings, kind: CheckKind, from: &str, to: &str) -> Vec<String> {
    let [from, to]: [Timestamp; 2] = [from, to].map(|text| text.parse().expect("an instant"));
    let own = planned(settings, from).into_iter().filter(|planned| planned.kind == kind);
    let inside = own.map(|planned| planned.due.at).filter(|at| from <= *at && *at < to);
    inside.map(|at| at.to_string()).collect()
}

// A day of 23 h, one of 25 h: each shift and meal is due once, by the clock on the wall.
#[test]
fn each_shift_is_due_once_on_the_nights_of_the_change() {
    use CheckKind::{DrainAndClean, Sanitizer, Supply};
    let spring = ("2026-03-08T05:00:00Z", "2026-03-09T04:00:00Z");
    let autumn = ("2026-11-01T04:00:00Z", "2026-11-02T05:00:00Z");
    for (shift, meal, kind, (from, to), expected) in [
        (
            "mon-sun 07:00-15:00",
            "mon-sun 11:00-14:00",
            Sanitizer,
            spring,
            &["2026-03-08T11:00:00Z"] as &[&str],
        ),
        ("mon-sun 07:00-15:00", "mon-sun 11:00-14:00", Supply, spring, &["2026-03-08T11:00:00Z"]),
        ("mon-sun 07:00-15:00", "mon-sun 11:00-14:00", DrainAndClean, spring, &["2026-03-08T18:00:00Z"]),
        ("mon-sun 07:00-15:00", "mon-sun 11:00-14:00", DrainAndClean, autumn, &["2026-11-01T19:00:00Z"]),
        // Across midnight: it began the evening before and is due once, at 22:00 EDT or EST.
        ("mon-sun 22:00-06:00", "mon-sun 23:00-03:30", Sanitizer, spring, &["2026-03-09T02:00:00Z"]),
        ("mon-sun 22:00-06:00", "mon-sun 23:00-03:30", Sanitizer, autumn, &["2026-11-02T03:00:00Z"]),
        // 03:30 is an hour earlier after midnight in spring, and an hour later in autumn.
        ("mon-sun 22:00-06:00", "mon-sun 23:00-03:30", DrainAndClean, spring, &["2026-03-08T07:30:00Z"]),
        ("mon-sun 22:00-06:00", "mon-sun 23:00-03:30", DrainAndClean, autumn, &["2026-11-01T08:30:00Z"]),
        // 01:30 happens twice in autumn: the first is meant.
        ("mon-sun 01:30-09:00", "mon-sun 00:15-01:30", Sanitizer, autumn, &["2026-11-01T05:30:00Z"]),
        ("mon-sun 01:30-09:00", "mon-sun 00:15-01:30", DrainAndClean, autumn, &["2026-11-01T05:30:00Z"]),
        // 02:30 does not happen in spring and counts by the offset before: 03:30 EDT.
        ("mon-sun 02:30-09:00", "mon-sun 02:00-02:30", Sanitizer, spring, &["2026-03-08T07:30:00Z"]),
        ("mon-sun 02:30-09:00", "mon-sun 02:00-02:30", DrainAndClean, spring, &["2026-03-08T07:30:00Z"]),
        // A meal that ends with the skipped hour has no time on that night, and asks for nothing.
        ("mon-sun 02:30-09:00", "mon-sun 02:30-03:00", DrainAndClean, spring, &[]),
    ] {
        let found = dues(&new_york(&[shift], &[meal]), kind, from, to);
        assert_eq!(found, expected, "{shift} {meal} {kind:?} from {from}");
    }
}
