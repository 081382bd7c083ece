//! The auditor's questions, each to a ledger that the writer made.

use std::ops::ControlFlow;
use std::path::Path;

use jiff::civil::Date;
use jiff::tz::TimeZone;
use rinseward::core::alert::{AlertNumber, Condition};
use rinseward::core::cycle::verdict::Verdict;
use rinseward::core::daily::MachineDay;
use rinseward::core::reading::Fault;
use rinseward::core::record::{
    AlertClosed, AlertRaised, Amendment, AmendmentChange, Body, Check, CheckKind, ConfigurationChange, Gap,
    KeyChange, Record, SigningKeyChange,
};
use rinseward::core::time::Timestamp;
use rinseward::ledger::{
    Append, Commit, CycleFilter, LedgerError, Order, Reader, RecordFilter, Subject, Writer,
};

use super::append::append;
use super::fixture::{at, commit, cycle, open, place, plain, start};

const HOUR_S: f64 = 3_600.0;
const DAY_S: f64 = 86_400.0;

fn zone(name: &str) -> TimeZone {
    TimeZone::get(name).expect("the zone data base is built in")
}

fn date(text: &str) -> Date {
    text.parse().expect("a date")
}

fn put(writer: &Writer, records: Vec<Record>) {
    let records = records.into_iter().map(plain).collect();
    commit(writer, Commit { records, ..Commit::default() }).expect("a commit");
}

/// Keeps every day that is over at `now`, as the service does.
fn keep(writer: &Writer, reader: &Reader, zone: &TimeZone, now: Timestamp) {
    while let Some((days, bookmark)) = reader.days_to_keep(zone, now).expect("a part") {
        let part = Append { days: Some(days), bookmarks: vec![bookmark], ..Append::default() };
        append(writer, part).expect("an append");
    }
}

/// Changes bytes of a record as a broken disk would.
fn damage(path: &Path, index: u64) {
    let connection = rusqlite::Connection::open(path).expect("a second connection");
    connection
        .execute_batch(&format!(
            "DROP TRIGGER record_stays; UPDATE record SET bytes = CAST(bytes || ' ' AS BLOB) WHERE idx = {index};
             CREATE TRIGGER record_stays BEFORE UPDATE ON record BEGIN SELECT RAISE(ABORT, 'no'); END;"
        ))
        .expect("a damaged record");
}

fn cycles_of(days: &[MachineDay]) -> Vec<(String, &str, u64)> {
    days.iter().map(|day| (day.day.to_string(), &*day.machine, day.numbers.cycles())).collect()
}

// Shows that days are those of the clock at the wall, whether kept or counted: one rack each half
// hour. By the IANA time zone data base 2026-03-08 has 23 h in New York and 2026-03-29 in Berlin;
// 2026-11-01 and 2026-10-25 have 25 h.
#[test]
fn a_day_has_the_racks_of_its_23_24_or_25_hours() {
    for (name, first, last, racks) in [
        ("America/New_York", "2026-03-07", "2026-03-09", [48, 46, 48]),
        ("America/New_York", "2026-10-31", "2026-11-02", [48, 50, 48]),
        ("Europe/Berlin", "2026-03-28", "2026-03-30", [48, 46, 48]),
        ("Europe/Berlin", "2026-10-24", "2026-10-26", [48, 50, 48]),
    ] {
        let (_directory, path) = place();
        let (writer, _) = open(&path);
        let zone = zone(name);
        let begin = date(first).yesterday().expect("a day before").at(0, 0, 0, 0);
        let begin = begin.to_zoned_datetime(zone.clone()).expect("a midnight");
        let begin = Timestamp::from_micros(begin.timestamp().as_microsecond()).seconds_since(at(0.0));
        let racks_of = |n: u32| cycle("dm1", begin + 1_800.0 * f64::from(n), Verdict::Pass);
        put(&writer, (0..6 * 48).map(racks_of).collect());
        let reader = Reader::open(&path).expect("a reader");
        let days = || reader.days(&zone, None, date(first), date(last)).expect("the days");
        let counted = days();
        let found: Vec<u64> = counted.iter().map(|day| day.numbers.cycles()).collect();
        assert_eq!(found, racks, "{name} {first}");
        keep(&writer, &reader, &zone, at(begin + 5.0 * DAY_S));
        assert_eq!(days(), counted, "kept and counted say the same");
        let (known_first, known_last) = reader.days_span(&zone).expect("no failure").expect("a span");
        assert!(known_first < date(first) && known_last > date(last));
    }
}

// Shows that what is kept never hides what came after it, and is of one zone only.
#[test]
fn late_racks_and_another_zone_are_counted_at_once() {
    let (_directory, path) = place();
    let (writer, _) = open(&path);
    let (york, berlin) = (zone("America/New_York"), zone("Europe/Berlin"));
    let days = |from: f64| (0..8).map(move |n| from + f64::from(n) * 6.0 * HOUR_S);
    put(&writer, days(0.0).map(|seconds| cycle("dm1", seconds, Verdict::Pass)).collect());
    put(&writer, days(60.0).map(|seconds| cycle("dm2", seconds, Verdict::Cold)).collect());
    let reader = Reader::open(&path).expect("a reader");
    let look = |zone: &TimeZone, machine: Option<&str>| {
        reader.days(zone, machine, date("2025-12-01"), date("2026-02-01")).expect("the days")
    };
    let (counted_york, counted_berlin) = (look(&york, None), look(&berlin, None));
    assert_ne!(cycles_of(&counted_york), cycles_of(&counted_berlin));
    assert_eq!(counted_york[1].numbers.rinse_min_c, Some(71.3), "the cold ones of dm2");
    keep(&writer, &reader, &york, at(20.0 * DAY_S));
    assert_eq!(look(&york, None), counted_york);
    assert_eq!(look(&berlin, None), counted_berlin);
    assert_eq!(look(&york, Some("dm2")).len(), counted_york.len() / 2);
    assert_eq!(look(&york, Some("dm9")), []);

    let mut late = cycle("dm1", 100.0, Verdict::Brief);
    late.recorded = at(3.0 * DAY_S);
    put(&writer, vec![late]);
    let with_late = look(&york, None);
    let evening = with_late.first().expect("the evening before the new year in New York");
    assert_eq!((evening.numbers.of(Verdict::Brief), evening.numbers.late), (1, 1));
    keep(&writer, &reader, &york, at(20.0 * DAY_S));
    assert_eq!(look(&york, None), with_late);

    keep(&writer, &reader, &berlin, at(20.0 * DAY_S));
    assert_eq!(look(&york, None), with_late, "the zone was changed, and is asked for all the same");
    assert_eq!(
        look(&berlin, Some("dm2")),
        counted_berlin.into_iter().filter(|day| day.machine == "dm2").collect::<Vec<_>>()
    );
    assert_eq!(reader.days_to_keep(&berlin, at(20.0 * DAY_S)).expect("no failure"), None);
}

// Shows that a day under way is not kept, and that a clock that ran ahead holds nothing up.
#[test]
fn only_days_that_are_over_are_kept() {
    let (_directory, path) = place();
    let (writer, _) = open(&path);
    put(
        &writer,
        [HOUR_S, 20.0 * DAY_S, 3.0 * HOUR_S, DAY_S + HOUR_S]
            .map(|seconds| cycle("dm1", seconds, Verdict::Pass))
            .into(),
    );
    let reader = Reader::open(&path).expect("a reader");
    let utc = zone("Etc/UTC");
    let (part, _) = reader.days_to_keep(&utc, at(DAY_S + 2.0 * HOUR_S)).expect("no failure").expect("a part");
    assert_eq!(
        cycles_of(&part.days),
        [("2026-01-01".to_owned(), "dm1", 2), ("2026-01-21".to_owned(), "dm1", 1)]
    );
    keep(&writer, &reader, &utc, at(DAY_S + 2.0 * HOUR_S));
    let days = reader.days(&utc, None, date("2026-01-01"), date("2026-01-31")).expect("the days");
    assert_eq!(days.iter().map(|day| day.numbers.cycles()).collect::<Vec<_>>(), [2, 1, 1]);
}

// Shows that a damaged record is named and stops nothing.
#[test]
fn a_damaged_record_is_named_and_the_rest_shown() {
    let (_directory, path) = place();
    let (writer, _) = open(&path);
    put(&writer, (0..5).map(|n| cycle("dm1", f64::from(n) * 60.0, Verdict::Pass)).collect());
    put(&writer, (5..9).map(|n| check("dm1", f64::from(n) * 60.0, CheckKind::Supply)).collect());
    writer.close().expect("an orderly end");
    damage(&path, 2);
    damage(&path, 6);
    let reader = Reader::open(&path).expect("a reader");
    let (mut sound, mut damaged) = (Vec::new(), Vec::new());
    for order in [Order::OldestFirst, Order::NewestFirst] {
        let mut each = |index, found: rinseward::ledger::Found| {
            match found {
                Ok(_) => sound.push(index),
                Err(error) => {
                    assert!(matches!(error, LedgerError::Damaged(_)), "{error}");
                    damaged.push(index);
                }
            }
            ControlFlow::Continue(())
        };
        reader.cycles_found(order, &CycleFilter::default(), &mut each).expect("the history");
        reader.events(order, &RecordFilter::default(), &mut each).expect("the records");
    }
    assert_eq!(sound, [0, 1, 3, 4, 5, 7, 8, 4, 3, 1, 0, 8, 7, 5]);
    assert_eq!(damaged, [2, 6, 2, 6]);
    let days = reader.days(&zone("Etc/UTC"), None, date("2026-01-01"), date("2026-01-01")).expect("the days");
    assert_eq!((days[0].numbers.cycles(), days[0].numbers.damaged), (4, 1));
    let stopped = reader.cycles(&CycleFilter::default(), |_, _, _| ControlFlow::Continue(()));
    assert!(matches!(stopped, Err(LedgerError::Damaged(_))), "who wants a whole history is told");
}

fn check(machine: &str, seconds: f64, kind: CheckKind) -> Record {
    let (at, by) = (at(seconds), "Ana".to_owned());
    let check = match kind {
        CheckKind::Sanitizer => {
            Check::Sanitizer { at, mg_per_l: 100.0, ph: None, solution_c: None, method: None, by }
        }
        CheckKind::Supply => Check::Supply { at, enough: true, short: Vec::new(), note: None, by },
        CheckKind::DrainAndClean => Check::DrainAndClean { at, note: None, by },
        CheckKind::Thermometer => Check::Thermometer {
            at,
            what: "dial".to_owned(),
            shown_c: 82.0,
            reference_c: 82.5,
            tolerance_c: 1.0,
            reference: "ice".to_owned(),
            by,
        },
    };
    Record::new(at, Some(machine.to_owned()), Body::Check(check))
}

fn gap(machine: &str, from: f64, to: f64) -> Record {
    let probe = format!("{machine}/rinse");
    let gap = Gap { probe, fault: Fault::Silent, from: at(from), to: Some(at(to)), filled: false };
    Record::new(at(to), Some(machine.to_owned()), Body::Gap(gap))
}

fn found(reader: &Reader, order: Order, filter: &RecordFilter) -> Vec<u64> {
    let mut found = Vec::new();
    let each = |index, record: rinseward::ledger::Found| {
        record.expect("a sound record");
        found.push(index);
        ControlFlow::Continue(())
    };
    reader.events(order, filter, each).expect("the records");
    found
}

// Shows filters, order and pages both ways, also of a file of format 1, in which the tables that
// serve them are missing.
#[test]
fn records_are_found_by_kind_and_time() {
    let (_directory, path) = place();
    let (writer, _) = open(&path);
    put(
        &writer,
        vec![
            start(0.0),
            check("dm1", 100.0, CheckKind::Supply),
            cycle("dm1", 150.0, Verdict::Pass),
            check("dm2", 200.0, CheckKind::Sanitizer),
            // Entered late: it stands where it was made.
            check("dm1", 50.0, CheckKind::Sanitizer),
            gap("dm1", 100.0, 300.0),
            check("dm1", 100.0, CheckKind::Supply),
        ],
    );
    writer.close().expect("an orderly end");
    let (_other, old) = place();
    std::fs::copy(&path, &old).expect("a copy");
    rusqlite::Connection::open(&old)
        .expect("it opens")
        .execute_batch(
            "DROP INDEX record_by_kind; DROP TABLE round; DROP TABLE bookmark; DROP TABLE outbox;
             DROP TABLE set_aside; DROP TABLE checkpoint; DROP TABLE event; DROP TABLE about; DROP TABLE day; DROP TABLE subtree;
             ALTER TABLE state DROP COLUMN compacted; PRAGMA user_version = 1",
        )
        .expect("a ledger of format 1");
    let kinds = |kinds: &[&str]| RecordFilter {
        kinds: kinds.iter().map(|kind| (*kind).to_owned()).collect(),
        ..RecordFilter::default()
    };
    for path in [&path, &old, &old] {
        let reader = Reader::open(path).expect("a reader");
        let check = |filter: RecordFilter, oldest_first: &[u64]| {
            assert_eq!(found(&reader, Order::OldestFirst, &filter), oldest_first, "{filter:?}");
        };
        check(RecordFilter::default(), &[0, 4, 1, 5, 6, 3]);
        check(kinds(&["check"]), &[4, 1, 6, 3]);
        check(kinds(&["gap", "service-start"]), &[0, 5]);
        check(kinds(&["note"]), &[]);
        check(RecordFilter { check: Some(CheckKind::Supply), ..RecordFilter::default() }, &[1, 6]);
        check(RecordFilter { machine: Some("dm2".into()), ..kinds(&["check"]) }, &[3]);
        check(RecordFilter { from: Some(at(100.0)), to: Some(at(200.0)), ..kinds(&["check"]) }, &[1, 6]);
        check(RecordFilter { limit: Some(2), ..kinds(&[]) }, &[0, 4]);
        check(RecordFilter { limit: Some(2), after_index: Some(1), ..kinds(&[]) }, &[5, 6]);
        check(RecordFilter { after_index: Some(2), ..kinds(&[]) }, &[]);
        check(RecordFilter { after_index: Some(99), ..kinds(&[]) }, &[]);
        let back = RecordFilter { limit: Some(3), after_index: Some(6), ..kinds(&[]) };
        assert_eq!(found(&reader, Order::NewestFirst, &back), [5, 1, 4]);
        let days = reader.days(&zone("Etc/UTC"), None, date("2026-01-01"), date("2026-01-02")).expect("days");
        assert_eq!(cycles_of(&days), [("2026-01-01".to_owned(), "dm1", 1)]);
    }
    // Brought to the newest format it finds the same.
    drop(open(&old));
    assert_eq!(
        found(&Reader::open(&old).expect("a reader"), Order::OldestFirst, &kinds(&["check"])),
        [4, 1, 6, 3]
    );
}

// Shows that an alert and a record are told with what speaks of them.
#[test]
fn alerts_and_amendments_are_found_by_what_they_speak_of() {
    let (_directory, path) = place();
    let (writer, _) = open(&path);
    let raised = |alert, cause| {
        let raised = AlertRaised {
            cause: Some(cause),
            ..AlertRaised::new(AlertNumber(alert), Condition::Cold, at(0.0))
        };
        Record::new(at(1.0), Some("dm1".to_owned()), Body::AlertRaised(Box::new(raised)))
    };
    let closed = AlertClosed { alert: AlertNumber(1), racks: 1, needed_action: true };
    let amendment = Amendment {
        of: 0,
        reason: "the rack was washed again".to_owned(),
        by: "Ana".to_owned(),
        change: AmendmentChange::Comment,
    };
    put(
        &writer,
        vec![
            cycle("dm1", 0.0, Verdict::Cold),
            cycle("dm1", 60.0, Verdict::Cold),
            raised(1, 0),
            raised(2, 1),
            Record::new(at(5.0), Some("dm1".to_owned()), Body::AlertClosed(closed)),
            Record::new(at(6.0), None, Body::Amendment(Box::new(amendment.clone()))),
        ],
    );
    let reader = Reader::open(&path).expect("a reader");
    assert_eq!(reader.about(Subject::Alert(1)).expect("no failure"), [2, 4]);
    assert_eq!(reader.about(Subject::Alert(2)).expect("no failure"), [3]);
    assert!(reader.about(Subject::Alert(3)).expect("no failure").is_empty());
    assert_eq!(reader.about(Subject::Record(0)).expect("no failure"), [2, 5]);
    assert_eq!(reader.amendments(0).expect("no failure"), [(5, Some(amendment))]);
    assert_eq!(reader.amendments(1).expect("no failure"), []);
    writer.close().expect("an orderly end");
    damage(&path, 5);
    let reader = Reader::open(&path).expect("a reader");
    assert_eq!(reader.amendments(0).expect("no failure"), [(5, None)], "nobody can say what it said");
}

// Shows what was in force before, at and after each change, and that damage is not passed over.
#[test]
fn what_was_in_force_at_a_moment() {
    let (_directory, path) = place();
    let (writer, _) = open(&path);
    let configuration = |seconds, toml: &str| {
        let change = ConfigurationChange { sha256: "ab".repeat(32), toml: toml.to_owned() };
        Record::new(at(seconds), None, Body::ConfigurationChange(change))
    };
    let key = SigningKeyChange {
        key: "north+1+AQ".to_owned(),
        change: KeyChange::First,
        before: None,
        endorsed: None,
        by: None,
    };
    put(
        &writer,
        vec![
            configuration(10.0, "first"),
            Record::new(at(20.0), None, Body::SigningKey(Box::new(key))),
            cycle("dm1", 30.0, Verdict::Pass),
            configuration(40.0, "second"),
            cycle("dm2", 50.0, Verdict::Pass),
        ],
    );
    let reader = Reader::open(&path).expect("a reader");
    for (seconds, configuration, key, limits) in [
        (9.0, None, None, &[][..]),
        (10.0, Some(0), None, &[]),
        (35.0, Some(0), Some(1), &[("dm1", 2)]),
        (40.0, Some(3), Some(1), &[("dm1", 2)]),
        (1e6, Some(3), Some(1), &[("dm1", 2), ("dm2", 4)]),
    ] {
        let force = reader.in_force(at(seconds)).expect("an answer");
        let index = |found: &Option<(u64, Record)>| found.as_ref().map(|(index, _)| *index);
        let seen: Vec<_> = force.limits.iter().map(|limits| (&*limits.machine, limits.index)).collect();
        assert_eq!(
            (index(&force.configuration), index(&force.key), &*seen),
            (configuration, key, limits),
            "{seconds}"
        );
    }
    writer.close().expect("an orderly end");
    damage(&path, 3);
    let reader = Reader::open(&path).expect("a reader");
    assert!(matches!(reader.in_force(at(45.0)), Err(LedgerError::Damaged(_))));
    assert!(reader.in_force(at(15.0)).is_ok(), "it was not in force then");
}

// A record that was damaged before the table of times was made stands nowhere in it: from the one
// before it to the one after it nobody can say what was in force.
#[test]
fn what_was_damaged_before_a_migration_is_not_passed_over() {
    let (_directory, path) = place();
    let (writer, _) = open(&path);
    let configuration = |seconds| {
        let change = ConfigurationChange { sha256: "ab".repeat(32), toml: format!("at = {seconds}") };
        Record::new(at(seconds), None, Body::ConfigurationChange(change))
    };
    put(&writer, vec![configuration(10.0), configuration(20.0), configuration(30.0)]);
    writer.close().expect("an orderly end");
    for (damaged, rows) in [(0, [false, true, true]), (1, [false, false, true]), (2, [true, false, false])] {
        let copy = path.with_extension(format!("{damaged}"));
        std::fs::copy(&path, &copy).expect("a copy");
        damage(&copy, damaged);
        let connection = rusqlite::Connection::open(&copy).expect("a second connection");
        connection.execute("DELETE FROM event WHERE idx = ?1", [damaged]).expect("our own row");
        let reader = Reader::open(&copy).expect("a reader");
        for (seconds, whole) in [15.0, 25.0, 35.0].into_iter().zip(rows) {
            assert_eq!(reader.in_force(at(seconds)).is_ok(), whole, "{damaged} damaged, at {seconds}");
        }
    }
}

// Shows that pages read beside a writer at work miss nothing and give nothing twice.
#[test]
fn pages_beside_a_running_writer_are_whole() {
    let (_directory, path) = place();
    let (writer, _) = open(&path);
    put(&writer, vec![cycle("dm1", 0.0, Verdict::Pass)]);
    let reader = Reader::open(&path).expect("a reader");
    let mut seen: Vec<u64> = vec![0];
    for round in 1..60_u32 {
        let verdict = Verdict::ALL[(round % 6) as usize];
        put(&writer, (0..3).map(|n| cycle("dm1", f64::from(round * 3 + n), verdict)).collect());
        let filter =
            CycleFilter { limit: Some(2), after_index: seen.last().copied(), ..CycleFilter::default() };
        let each = |index, _| {
            seen.push(index);
            ControlFlow::Continue(())
        };
        reader.cycles_found(Order::OldestFirst, &filter, each).expect("a page");
    }
    assert_eq!(seen, (0..119).collect::<Vec<u64>>());
}
