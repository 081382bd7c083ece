//! `account.json` of a report with one thing changed in it: every list both ways, and what stays whole.
//!
//! The ledger has what makes an account hard to reckon again: alerts, gaps and a calibration from
//! before the day, and of what belongs to the day a cycle, a check and amendments that came days later.

use std::sync::OnceLock;

use rinseward::core::alert::{AlertNumber, Condition, Earlier, Quantity, Rack, Racks, Route};
use rinseward::core::cycle::verdict::Verdict;
use rinseward::core::reading::Fault;
use rinseward::core::record::{
    AlertAcknowledged, AlertChanged, AlertCleared, AlertClosed, AlertRaised, AmendmentChange, Body,
    CalibrationDone, Change, Check, CheckKind, Clearing, Correction, CorrectiveAction, Gap, MissedDue, Note,
    Notification, Outcome, Record, ServiceStart,
};
use rinseward::ledger::NewRecord;
use serde_json::{Value, json};

use super::{PAGELESS, Site, key, pdf, said, verify_bytes};
use crate::ledger::fixture::{at, cycle, plain, start, stop, trace};
use crate::records::{self, SITE, amendment, first_key, machine, traced};

/// 2026-01-02 of New York begins 29 h after the New Year of UTC (own arithmetic).
const DAY: f64 = 29.0 * 3600.0;

/// Calibration of the final-rinse probe of `dm1`.
const PROBE: &str = r#"
[[probe]]
name = "dm1/rinse"
place = "final-rinse"
calibration.low-reads = "0.4 °C"
calibration.low-is = "0 °C"
calibration.high-reads = "99.1 °C"
calibration.high-is = "99.97 °C"
calibrated-on = "2025-12-15"
"#;

fn put(seconds: f64, machine: Option<&str>, body: Body) -> NewRecord {
    records::put(at(seconds), machine, body)
}

/// A configuration that differs from the others by a comment only.
fn configured(seconds: f64) -> NewRecord {
    let hot = machine("dm1", "probes = [\"wash\"]");
    let chlorine = machine("dm2", "sanitizing = \"chlorine\"\nprobes = [\"rinse\"]");
    records::configured(at(seconds), format!("{SITE}{hot}{PROBE}{chlorine}# as of {seconds}\n"))
}

/// A rack of dm1; the readings are with those that are cold.
fn rack(seconds: f64, recorded: f64, verdict: Verdict) -> NewRecord {
    let record = Record { recorded: at(recorded), ..cycle("dm1", seconds, verdict) };
    if verdict == Verdict::Pass { plain(record) } else { traced(record, trace(seconds)) }
}

fn raised(seconds: f64, number: u64, condition: Condition, about: &[&str], cause: Option<u64>) -> NewRecord {
    let due = at(seconds - 60.0);
    let missed = MissedDue { check: CheckKind::Sanitizer, due, counts_from: due };
    let raised = AlertRaised {
        measured: Some(Quantity::Celsius(71.3)),
        limit: Some(Quantity::Celsius(82.2)),
        about: about.iter().map(|word| (*word).to_owned()).collect(),
        cause,
        missed: (condition == Condition::CheckOverdue).then_some(missed),
        ..AlertRaised::new(AlertNumber(number), condition, due)
    };
    put(seconds, Some("dm1"), Body::AlertRaised(Box::new(raised)))
}

fn strip(seconds: f64, mg_per_l: f64) -> Check {
    Check::Sanitizer {
        at: at(seconds),
        mg_per_l,
        ph: Some(7.0),
        solution_c: Some(50.0),
        method: None,
        by: "Ana".to_owned(),
    }
}

fn amend(seconds: f64, machine: &str, of: u64, change: AmendmentChange) -> NewRecord {
    put(seconds, Some(machine), amendment(of, "slip of the pen", "Tom", change))
}

fn gap(seconds: f64, from: f64, to: Option<f64>) -> NewRecord {
    let (probe, to) = ("dm1/rinse".to_owned(), to.map(at));
    let gap = Gap { probe, fault: Fault::OpenCircuit, from: at(from), to, filled: false };
    put(seconds, Some("dm1"), Body::Gap(gap))
}

/// Of an alert: everything after it was raised.
fn story(seconds: f64, number: u64, racks: u64) -> Vec<NewRecord> {
    let alert = AlertNumber(number);
    let (by, via, racks_then, done) = ("Ana", "page", "washed again", "called the service");
    let changed = AlertChanged { racks, ..AlertChanged::new(alert, Change::Grew) };
    let notified = Notification {
        key: format!("{number}"),
        alert: Some(alert),
        occasion: None,
        contact: "chef".to_owned(),
        route: Route::Mqtt,
        outcome: Outcome::Delivered,
        attempts: 1,
        error: None,
        why: None,
    };
    let (by, via, racks_then) = (by.to_owned(), via.to_owned(), racks_then.to_owned());
    let taken = AlertAcknowledged { alert, by: by.clone(), via, note: None };
    let done = CorrectiveAction {
        alert,
        by,
        racks: racks_then,
        done: done.to_owned(),
        last_good: None,
        covers: None,
    };
    let cleared =
        AlertCleared { alert, clearing: Clearing::Recovered, racks, worst: None, limit: None, cause: None };
    let bodies = [
        Body::AlertChanged(changed),
        Body::Notification(Box::new(notified)),
        Body::AlertAcknowledged(taken),
        Body::AlertCleared(cleared),
        Body::CorrectiveAction(done),
        Body::AlertClosed(AlertClosed { alert, racks, needed_action: true }),
    ];
    (0_u32..).zip(bodies).map(|(n, body)| put(seconds + f64::from(n), Some("dm1"), body)).collect()
}

/// Three days. The index of a record is told where another one names it.
fn records() -> Vec<NewRecord> {
    let mut records = vec![first_key(at(0.0), &key()), configured(0.0)];
    records.push(plain(start(1.0)));
    // The day before: its racks, another configuration, what was open when the day began.
    for n in 0..40_u32 {
        let seconds = 20_000.0 + 1_800.0 * f64::from(n);
        records.push(rack(seconds, seconds + 17.5, Verdict::Pass));
        if n == 20 {
            records.push(configured(seconds + 20.0));
        }
    }
    records.push(raised(DAY - 4_000.0, 1, Condition::Cold, &[], None));
    records.push(gap(DAY - 3_000.0, DAY - 3_100.0, None));
    records.push(put(DAY - 2_900.0, None, Body::Note(noted("opened late"))));
    records.extend((0..6).map(|n| {
        rack(DAY - 2_000.0 + 300.0 * f64::from(n), DAY - 1_900.0 + 300.0 * f64::from(n), Verdict::Pass)
    }));
    // The day.
    records.push(gap(DAY + 600.0, DAY - 3_100.0, Some(DAY + 590.0)));
    records.extend(story(DAY + 700.0, 1, 3));
    let first = records.len() as u64;
    for n in 0..60_u32 {
        let seconds = DAY + 3_600.0 + 600.0 * f64::from(n);
        let verdict = if n % 15 == 7 { Verdict::Cold } else { Verdict::Pass };
        records.push(rack(seconds, seconds + 17.5, verdict));
    }
    let mut now = DAY + 40_000.0;
    let mut next = || {
        now += 60.0;
        now
    };
    records.push(raised(next(), 2, Condition::Cold, &[], Some(first + 7)));
    records.push(raised(next(), 3, Condition::CheckOverdue, &["sanitizer"], None));
    let good = next();
    records.push(put(good + 1.0, Some("dm1"), Body::Check(strip(good, 50.0))));
    let weak = records.len() as u64;
    let tested = next();
    records.push(put(tested, Some("dm2"), Body::Check(strip(tested, 10.0))));
    records.push(put(next(), Some("dm2"), Body::Note(noted("new hose"))));
    records.push(amend(next(), "dm1", first + 7, AmendmentChange::Comment));
    let broken = next();
    records.push(gap(broken + 30.0, broken, Some(broken + 20.0)));
    let stopped = next();
    records.push(plain(stop(stopped)));
    let again = ServiceStart {
        version: "0.1.0".to_owned(),
        last_record: Some(at(stopped)),
        after_clean_stop: true,
        from_file: false,
        replayed: 0,
    };
    records.push(put(stopped + 900.0, None, Body::ServiceStart(again)));
    records.push(gap(DAY + 80_000.0, DAY + 79_000.0, None));
    // Afterwards: the end of what was open, and what came late.
    records.extend((0..5).map(|n| {
        rack(DAY + 90_000.0 + 600.0 * f64::from(n), DAY + 90_020.0 + 600.0 * f64::from(n), Verdict::Pass)
    }));
    records.push(configured(DAY + 93_000.0));
    records.push(gap(DAY + 94_000.0, DAY + 79_000.0, Some(DAY + 93_990.0)));
    records.push(rack(DAY + 50_000.0, DAY + 95_000.0, Verdict::Cold));
    records.push(put(DAY + 95_100.0, Some("dm2"), Body::Check(strip(DAY + 51_000.0, 20.0))));
    records.push(amend(DAY + 95_200.0, "dm2", weak, AmendmentChange::Corrected(strip(tested, 100.0))));
    records.push(amend(DAY + 95_300.0, "dm1", first + 22, AmendmentChange::Comment));
    records.push(configured(DAY + 95_400.0));
    records.extend(story(DAY + 95_500.0, 2, 5));
    records
}

fn noted(text: &str) -> Note {
    Note { at: None, text: text.to_owned(), by: "Tom".to_owned() }
}

fn site() -> &'static Site {
    static SITE: OnceLock<Site> = OnceLock::new();
    SITE.get_or_init(|| Site::of(records(), "2026-01-02"))
}

/// What `verify` says of a report whose account was changed.
fn changed(change: impl FnOnce(&mut Value)) -> (Option<i32>, String) {
    changed_of(site(), change)
}

fn changed_of(site: &Site, change: impl FnOnce(&mut Value)) -> (Option<i32>, String) {
    let mut account: Value = serde_json::from_slice(&site.read("account.json")).expect("JSON");
    let before = account.clone();
    change(&mut account);
    assert_ne!(account, before, "something is changed");
    let inside = [
        ("cycles.csv", site.read("cycles.csv")),
        ("evidence.jsonl", site.read("evidence.jsonl")),
        ("account.json", account.to_string().into_bytes()),
    ];
    verify_bytes(PAGELESS, &pdf::with_files(&inside), None)
}

/// Takes the first entry of a list away.
fn drop_first(list: &mut Value) {
    list.as_array_mut().expect("a list").remove(0);
}

/// Puts the first entry of a list in once more.
fn double_first(list: &mut Value) {
    let list = list.as_array_mut().expect("a list");
    list.push(list[0].clone());
}

#[test]
fn a_report_with_late_and_amended_records_is_whole_and_says_what_was_not_reckoned() {
    let (code, said) = changed(|account| account["program"] = "9.9.9".into());
    assert_eq!(code, Some(0), "{said}");
    let note = said.lines().find(|line| line.contains("not reckoned again in account.json: "));
    let note = note.unwrap_or_else(|| panic!("no note: {said}"));
    for open in [
        "monitored time",
        "early warnings",
        "gaps that last beyond the span",
        "whether checks entered outside the span are good",
        "since when calibrations from before the span have been in force",
    ] {
        assert!(note.contains(open), "«{open}»: {note}");
    }
}

// What is open at either end of a span differs from day to day, and what came late with it; one day has not begun.
#[test]
fn the_reports_of_the_days_around_it_are_whole_too() {
    for day in ["2026-01-01", "2026-01-03", "2025-12-31", "2999-12-31"] {
        let site = Site::of(records(), day);
        let output = site.verify(PAGELESS, None);
        assert_eq!(output.status.code(), Some(0), "{day}: {}", said(&output));
    }
}

// Regression: an alert that was raised after the span was in no list, though it put racks of the span in doubt or counted one
// that came late, and what became of it could not be checked.
#[test]
fn alerts_that_were_raised_later_about_racks_of_the_day_are_told_and_checked() {
    let mut records = records();
    let is_rack = |new: &NewRecord, of: f64| matches!(&new.record.body, Body::Cycle(cycle) if cycle.rinse_started == at(of));
    let place = |of: f64| records.iter().position(|new| is_rack(new, of)).expect("it is one") as u64;
    let (passed, late) = (place(DAY + 3_600.0), place(DAY + 50_000.0));
    let named = vec![Rack { index: passed, at: at(DAY + 3_617.0), began: None }];
    let earlier = Earlier { racks: Racks { count: 1, named }, by_probe: None, beside: Racks::default() };
    let since = at(DAY + 96_000.0);
    let doubting = AlertRaised {
        earlier: Some(earlier),
        ..AlertRaised::new(AlertNumber(8), Condition::ThermometerOff, since)
    };
    records.push(put(DAY + 96_000.0, Some("dm1"), Body::AlertRaised(Box::new(doubting))));
    let cold = AlertRaised::new(AlertNumber(9), Condition::Cold, since);
    records.push(put(DAY + 96_100.0, Some("dm1"), Body::AlertRaised(Box::new(cold))));
    let grew =
        AlertChanged { cause: Some(late), racks: 2, ..AlertChanged::new(AlertNumber(9), Change::Grew) };
    records.push(put(DAY + 96_200.0, Some("dm1"), Body::AlertChanged(grew)));
    records.extend(story(DAY + 96_300.0, 8, 1));
    // An alert of the next day that is about none of these is not told.
    let other = AlertRaised::new(AlertNumber(10), Condition::Drifting, at(DAY + 97_000.0));
    records.push(put(DAY + 97_000.0, Some("dm1"), Body::AlertRaised(Box::new(other))));
    let site = Site::of(records, "2026-01-02");
    let account: Value = serde_json::from_slice(&site.read("account.json")).expect("JSON");
    let alerts = account["alerts"].as_array().expect("a list");
    let told: Vec<_> =
        alerts.iter().map(|own| (own["number"].as_u64(), own["later"] == json!(true))).collect();
    let expected = [(1, false), (2, false), (3, false), (8, true), (9, true)];
    assert_eq!(told, expected.map(|(number, later)| (Some(number), later)));
    assert_eq!(alerts[3]["actions"][0]["done"], json!("called the service"));
    let output = site.verify(PAGELESS, None);
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    let (code, said) = changed_of(&site, |a| a["alerts"][3]["actions"] = json!([]));
    assert_eq!(code, Some(1), "{said}");
    assert!(said.contains("tells alert 8 otherwise"), "{said}");
}

// Where nothing came after the day, it is known that a service which stopped stands still.
#[test]
fn a_service_that_stands_still_at_the_end_cannot_be_left_out() {
    let mut records = records();
    let stopped = records.iter().position(|new| matches!(new.record.body, Body::ServiceStop(_)));
    records.truncate(stopped.expect("it stopped") + 1);
    let site = Site::of(records, "2026-01-02");
    let output = site.verify(PAGELESS, None);
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    let (code, said) = changed_of(&site, |account| {
        let gaps = account["machines"][1]["gaps"].as_array_mut().expect("a list");
        gaps.retain(|gap| !gap["to"].is_null());
    });
    assert_eq!(code, Some(1), "{said}");
    assert!(said.contains("account.json leaves out a gap of «dm2» from"), "{said}");
}

/// What is done to the account, how, and what must be said.
type Row = (&'static str, fn(&mut Value), &'static str);

const LEFT_OUT: [Row; 14] = [
    ("all checks", |a| a["checks"] = json!([]), "leaves out a check of record"),
    ("a check", |a| drop_first(&mut a["checks"]), "leaves out a check of record"),
    ("all alerts", |a| a["alerts"] = json!([]), "leaves out alert 1"),
    ("an alert", |a| drop_first(&mut a["alerts"]), "leaves out alert 1"),
    ("all gaps", |a| a["machines"][0]["gaps"] = json!([]), "leaves out a gap of «dm1» from"),
    ("a gap", |a| drop_first(&mut a["machines"][0]["gaps"]), "leaves out a gap of «dm1» from"),
    ("limits", |a| a["machines"][0]["limits"] = json!([]), "another list of limits of «dm1» in all"),
    ("exceptions", |a| drop_first(&mut a["machines"][0]["exceptions"]), "leaves out a cycle that did not"),
    ("calibrations", |a| a["calibrations"] = json!([]), "leaves out a calibration of «dm1/rinse»"),
    ("remarks", |a| a["remarks"] = json!([]), "leaves out a remark of record"),
    ("service", |a| a["service"] = json!([]), "leaves out an event of record"),
    ("overdue checks", |a| a["overdue"] = json!([]), "leaves out a check «sanitizer» that was overdue"),
    ("a machine", |a| drop_first(&mut a["machines"]), "leaves out the machine «dm1»"),
    ("a day", |a| a["machines"][0]["days"] = json!([]), "counts 0 cold cycles of «dm1» on 2026-01-02"),
];

const OTHERWISE: [Row; 23] = [
    ("another form", |a| a["v"] = 1.into(), "account.json is of form 1; this program checks form 6"),
    ("a failed check is good", |a| failed(a)["good"] = true.into(), "tells a check of record"),
    (
        "a failed check missed another limit",
        |a| failed(a)["missed"]["min_mg_per_l"] = 5.into(),
        "tells a check of record",
    ),
    ("a check is amended by none", |a| failed(a)["amended_by"] = Value::Null, "tells a check of record"),
    ("racks", |a| a["alerts"][0]["racks"] = 0.into(), "tells alert 1 otherwise"),
    ("an action", |a| a["alerts"][0]["actions"][0]["done"] = "none".into(), "tells alert 1 otherwise"),
    (
        "what an action covers",
        |a| a["alerts"][0]["actions"][0]["covers"] = 9.into(),
        "tells alert 1 otherwise",
    ),
    ("an action dropped", |a| a["alerts"][0]["actions"] = json!([]), "tells alert 1 otherwise"),
    ("closed", |a| a["alerts"][1]["closed"] = Value::Null, "tells alert 2 otherwise"),
    ("delivered", |a| a["alerts"][1]["delivered"] = 9.into(), "tells alert 2 otherwise"),
    (
        "limit of the cover",
        |a| a["machines"][0]["limits"][0]["limit_c"] = 70.0.into(),
        "another list of limits of «dm1» in all",
    ),
    (
        "racks of somebody's work",
        |a| a["machines"][0]["counts"]["worked_on"] = 1.into(),
        "another number of racks made while somebody worked on it of «dm1» in all",
    ),
    ("kind", |a| a["machines"][0]["kind"] = Value::Null, "another kind of «dm1» in all"),
    (
        "limit of a day",
        |a| a["machines"][0]["days"][0]["limit_c"] = 60.0.into(),
        "another limit of «dm1» on 2026-01-02",
    ),
    (
        "uncertainty of a day",
        |a| a["machines"][0]["days"][0]["uncertainty_c"] = 0.1.into(),
        "another uncertainty of «dm1» on 2026-01-02",
    ),
    (
        "minima of a day",
        |a| drop_first(&mut a["machines"][0]["days"][0]["minima"]),
        "another list of settled",
    ),
    ("a trace", |a| exception(a)["trace"] = Value::Null, "tells a cycle that did not plainly pass of record"),
    (
        "a reading of a trace",
        |a| exception(a)["trace"]["rinse"][0][1] = 90.0.into(),
        "tells a cycle that did not plainly pass of record",
    ),
    ("amendments", |a| exception(a)["amendments"] = json!([]), "tells a cycle that did not plainly pass"),
    ("alerts of one", |a| exception(a)["alerts"] = json!([]), "tells a cycle that did not plainly pass"),
    ("left out", |a| a["machines"][0]["exceptions_left_out"]["cold"] = 1.into(), "exceptions left out"),
    ("the seal", |a| a["seal"] = Value::Null, "tells its seal otherwise"),
    ("an overdue check", |a| a["overdue"][0]["made"] = Value::Null, "tells a check «sanitizer» that was"),
];

const ADDED: [Row; 9] = [
    ("a check", |a| double_first(&mut a["checks"]), "tells a check of record"),
    ("an alert", |a| double_first(&mut a["alerts"]), "tells alert 1, which"),
    ("a remark", |a| double_first(&mut a["remarks"]), "tells a remark of record"),
    ("an event", |a| a["service"][0]["index"] = 0.into(), "tells an event of record 0, which"),
    ("a gap", |a| double_first(&mut a["machines"][0]["gaps"]), "tells a gap of «dm1» from"),
    ("a calibration", |a| double_first(&mut a["calibrations"]), "tells a calibration of «dm1/rinse», which"),
    ("a damaged record", |a| a["damaged"] = json!([60]), "tells record 60 as one that cannot be read, which"),
    (
        "a doubt",
        |a| {
            let since = a["from"].clone();
            a["doubts"] = json!([{ "index": 60, "since": since, "kind": "calibration" }]);
        },
        "tells a doubt by record 60, which is not told to be damaged",
    ),
    (
        "an action",
        |a| a["alerts"][2]["actions"] = a["alerts"][0]["actions"].clone(),
        "tells alert 3 otherwise",
    ),
];

/// The check that failed, which is the first of dm2.
fn failed(account: &mut Value) -> &mut Value {
    let checks = account["checks"].as_array_mut().expect("a list");
    checks.iter_mut().find(|check| check["good"] == json!(false)).expect("one failed")
}

/// The first cold rack, of which an alert and an amendment speak.
fn exception(account: &mut Value) -> &mut Value {
    &mut account["machines"][0]["exceptions"][0]
}

/// A calibration of dm1/rinse.
fn calibrated(seconds: f64) -> NewRecord {
    let done = CalibrationDone {
        probe: "dm1/rinse".to_owned(),
        at: at(seconds),
        points: Vec::new(),
        found: Correction { gain: 1.0, offset_c: 0.0 },
        left: Correction { gain: 1.0, offset_c: -0.4 },
        expanded_c: 0.3,
        until: None,
        note: None,
        by: "Eli".to_owned(),
    };
    put(seconds, Some("dm1"), Body::Calibration(Box::new(done)))
}

// Own promise: a calibration in doubt is told in the account, and the account is what can be read, whether the
// damaged record is in the evidence, which is not whole then, or lies before it.
#[test]
fn an_account_with_a_calibration_in_doubt_is_what_the_records_say() {
    let first = DAY + 30.0 * 86_400.0;
    for (damaged_at, code, findings) in [(first - 5_000.0, 0, 0), (first + 3_000.0, 1, 1)] {
        let mut records = records();
        records.push(calibrated(first - 6_000.0));
        let before = records.len();
        let mut late = vec![calibrated(damaged_at)];
        late.extend(
            [-4_000.0, -3_000.0, 0.0, 600.0, 1_200.0]
                .map(|s| rack(first + 600.0 + s, first + 700.0 + s, Verdict::Pass)),
        );
        late.sort_by_key(|new| new.record.recorded);
        let place = late.iter().position(|new| matches!(new.record.body, Body::Calibration(_)));
        let damaged = before + place.expect("it is among them");
        records.extend(late);
        records.push(rack(first + 9_000.0, first + 9_100.0, Verdict::Pass));
        let site = Site::damaged(records, "2026-02-01", damaged as u64);
        let account: Value = serde_json::from_slice(&site.read("account.json")).expect("JSON");
        assert_eq!(account["doubts"][0]["index"], json!(damaged), "{account}");
        let doubted = |known: &Value| known["doubted"] == json!(true);
        assert!(account["calibrations"].as_array().is_some_and(|all| all.iter().any(doubted)), "{account}");
        let output = site.verify(PAGELESS, None);
        let said = said(&output);
        assert_eq!((output.status.code(), said.matches("fails:").count()), (Some(code), findings), "{said}");
        assert!(!said.contains("account.json tells"), "{said}");
    }
}

#[test]
fn an_account_that_leaves_out_changes_or_adds_something_is_not_whole() {
    for (what, change, expected) in LEFT_OUT.into_iter().chain(OTHERWISE).chain(ADDED) {
        let (code, said) = changed(change);
        assert_eq!(code, Some(1), "{what}: {said}");
        assert!(said.contains(expected), "{what}, «{expected}»: {said}");
    }
}
