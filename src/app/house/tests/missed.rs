//! What stood open when a span began, and checks that were missed, out of a real ledger.

use std::path::Path;

use jiff::civil::{Date, date};
use jiff::tz::TimeZone;

use super::super::histories::{Around, Sought, gathered};
use super::doubts;
use crate::app::amended::Amended;
use crate::app::fixture::{CONFIGURATION, at, ledger, opening, plain, rack};
use crate::app::history::Kept;
use crate::config::recorded::Recorded;
use crate::core::alert::{AlertNumber, Condition, Earlier, Rack, Racks};
use crate::core::record::{
    AlertChanged, AlertCleared, AlertClosed, AlertRaised, Amendment, AmendmentChange, Body, Change, Check,
    CheckKind, Clearing, MissedDue,
};
use crate::core::time::Timestamp;
use crate::ledger::{NewRecord, ReadOn, Reader, Subject};
use crate::report::account::RecordRange;
use crate::report::account::build::{Builder, Question as OfAccount};
use crate::web::history::missed::{LINES_MAX, MissedLine, MissedSummed};
use crate::web::history::{DoubtingSummed, Found, HistoryLine, Page, Question, Summed, View};

/// Now, in minutes behind the begin of the record, on 14 November at 22:13:20.
const NOW: u64 = 5_000;

fn raised(minute: u64, machine: &str, alert: u64, condition: Condition) -> NewRecord {
    let body = AlertRaised::new(AlertNumber(alert), condition, at(minute));
    plain(minute, Some(machine), Body::AlertRaised(Box::new(body)))
}

/// A check was missed that had been due half an hour before, the first of its alert or one more.
fn misses(minute: u64, machine: &str, alert: u64, check: CheckKind, is_first: bool) -> NewRecord {
    let (number, due) = (AlertNumber(alert), at(minute - 30));
    let missed = Some(MissedDue { check, due, counts_from: at(minute - 60) });
    let about = vec![check.as_str().to_owned()];
    let body = if is_first {
        let raised = AlertRaised::new(number, Condition::CheckOverdue, due);
        Body::AlertRaised(Box::new(AlertRaised { about, missed, ..raised }))
    } else {
        Body::AlertChanged(AlertChanged { about, missed, ..AlertChanged::new(number, Change::MissedAgain) })
    };
    plain(minute, Some(machine), body)
}

fn closed(minute: u64, machine: &str, alert: u64) -> NewRecord {
    let alert = AlertNumber(alert);
    plain(minute, Some(machine), Body::AlertClosed(AlertClosed { alert, racks: 0, needed_action: false }))
}

fn supply(minute: u64) -> Body {
    Body::Check(supply_check(minute))
}

fn supply_check(minute: u64) -> Check {
    let (at, by) = (at(minute), "Ana".to_owned());
    Check::Supply { at, enough: true, short: Vec::new(), note: None, by }
}

fn withdrawal(of: u64) -> Body {
    let (reason, by) = ("wrong machine".to_owned(), "Tom".to_owned());
    Body::Amendment(Box::new(Amendment { of, reason, by, change: AmendmentChange::Withdrawn }))
}

/// An alert of the supply that was due at this minute.
fn missing_again(alert: u64, due: u64) -> Body {
    let (check, counts_from) = (CheckKind::Supply, at(due - 30));
    let missed = Some(MissedDue { check, due: at(due), counts_from });
    let raised = AlertRaised::new(AlertNumber(alert), Condition::CheckOverdue, at(due));
    Body::AlertRaised(Box::new(AlertRaised { missed, ..raised }))
}

/// Two alerts of checks and three of cold racks over three days.
fn records() -> Vec<NewRecord> {
    let mut records = opening(CONFIGURATION);
    records.extend([
        misses(60, "dm1", 1, CheckKind::Supply, true),
        misses(60, "dm1", 1, CheckKind::Sanitizer, false),
        raised(50, "dm1", 2, Condition::Cold),
        raised(55, "dm1", 4, Condition::Cold),
        raised(60, "dm2", 3, Condition::Cold),
        plain(90, Some("dm1"), supply(90)),
        plain(95, Some("dm1"), withdrawal(7)),
        closed(100, "dm1", 4),
        plain(151, Some("dm1"), supply(150)),
        // Found missing on the day after it was due.
        misses(1_560, "dm2", 5, CheckKind::DrainAndClean, true),
        closed(3_000, "dm1", 2),
        closed(4_000, "dm1", 1),
    ]);
    records
}

fn question(view: View, days: Option<(Date, Date)>) -> Question {
    Question { from: days.map(|(from, _)| from), to: days.map(|(_, to)| to), ..Question::all(view) }
}

fn found(reader: &Reader, question: Question) -> (Found, Vec<u64>) {
    let settings = Recorded::read(CONFIGURATION).expect("a sound configuration").settings;
    let sought = Sought::new(question, &TimeZone::UTC);
    let around = Around {
        ledger: reader,
        path: Path::new("ledger.sqlite"),
        settings: &settings,
        now: at(NOW),
        doubts: &doubts(reader),
        kept: &Kept::default(),
        amended: &Amended::whole(reader).expect("the amendments"),
    };
    let part = gathered(&sought, around).expect("gathered").expect("a page");
    (part.found, part.damaged)
}

fn summed(reader: &Reader, question: Question) -> Summed {
    let (Found::Summary(Some(summed)), _) = found(reader, question) else { panic!("a sum") };
    *summed
}

fn missed(reader: &Reader, question: Question) -> (Vec<MissedLine>, Option<Date>) {
    let (Found::Missed { lines, before }, _) = found(reader, question) else { panic!("missed checks") };
    (lines, before)
}

fn short(lines: &[MissedLine]) -> Vec<(i8, &str, u64, Option<u64>)> {
    let short = |line: &MissedLine| (line.day.day(), line.alert, line.made.map(|made| made.record));
    lines
        .iter()
        .map(|line| (line, short(line)))
        .map(|(line, (day, alert, made))| (day, line.check.as_str(), alert, made))
        .collect()
}

fn with<T>(records: Vec<NewRecord>, look: impl FnOnce(&Reader, &Path) -> T) -> T {
    let directory = tempfile::tempdir().expect("a directory");
    let path = directory.path().join("ledger.sqlite");
    ledger(&path, records).close().expect("it closes");
    look(&Reader::open(&path).expect("a reader"), &path)
}

// Own promise: whoever reads how many racks passed reads beside it which of them are in doubt, and by which alert; of
// one that was withdrawn none is.
#[test]
fn what_puts_passed_racks_in_doubt_is_named_in_the_sum() {
    let doubting = |alert, minute| {
        let racks = Racks::of(Rack { index: 1, at: at(30), began: None });
        let body = AlertRaised {
            earlier: Some(Earlier { racks, by_probe: None, beside: Racks::default() }),
            ..AlertRaised::new(AlertNumber(alert), Condition::Weak, at(minute))
        };
        plain(minute, Some("dm2"), Body::AlertRaised(Box::new(body)))
    };
    let (alert, clearing) = (AlertNumber(8), Clearing::Withdrawn);
    let withdrawn =
        Body::AlertCleared(AlertCleared { alert, clearing, racks: 0, worst: None, limit: None, cause: None });
    let mut all = records();
    all.extend([doubting(7, 4_900), doubting(8, 4_901), plain(4_902, Some("dm2"), withdrawn)]);
    with(all, |reader, _| {
        let told = DoubtingSummed { alert: 7, inside: Some(0), all: 1 };
        assert_eq!(summed(reader, question(View::Summary, None)).alerts.doubting, [told]);
    });
}

// Own promise: the sum of a day names how many racks of that day an alert puts in doubt, beside those of other days.
#[test]
fn racks_of_other_days_are_told_apart_in_the_sum() {
    let mut all = opening(CONFIGURATION);
    let mut racks = Racks::default();
    for minute in [30, 1_530] {
        let (machine, cycle) = rack(minute);
        racks.push(Rack::of(all.len() as u64, &cycle));
        all.push(plain(minute + 1, Some(machine), Body::Cycle(Box::new(cycle))));
    }
    let body = AlertRaised {
        earlier: Some(Earlier { racks, by_probe: None, beside: Racks::default() }),
        ..AlertRaised::new(AlertNumber(7), Condition::Weak, at(1_600))
    };
    all.push(plain(1_600, Some("dm1"), Body::AlertRaised(Box::new(body))));
    with(all, |reader, _| {
        for (days, inside) in [(None, 2), (Some((date(2023, 11, 15), date(2023, 11, 16))), 1)] {
            let told = DoubtingSummed { alert: 7, inside: Some(inside), all: 2 };
            assert_eq!(summed(reader, question(View::Summary, days)).alerts.doubting, [told]);
        }
    });
}

// Own promise: whoever reads the sum of a span reads which alerts stood open when it began, of whichever condition;
// one that closed before is none of them, and none of them is counted as raised in the span.
#[test]
fn what_stood_open_before_a_span_is_named() {
    with(records(), |reader, path| {
        let days = Some((date(2023, 11, 16), date(2023, 11, 16)));
        let sum = summed(reader, question(View::Summary, days));
        assert_eq!((sum.alerts.raised, sum.alerts.open, sum.alerts.before), (1, 1, 3));
        let stood: Vec<_> = sum.alerts.stood.iter().map(|one| (one.alert, one.closed)).collect();
        assert_eq!(stood, [(1, Some(at(4_000))), (2, Some(at(3_000))), (3, None)]);
        let only = Question { machine: Some("dm2".to_owned()), ..question(View::Summary, days) };
        let sum = summed(reader, only);
        assert_eq!((sum.alerts.before, sum.alerts.stood[0].alert), (1, 3));
        assert_eq!(
            summed(reader, question(View::Summary, None)).alerts.before,
            0,
            "of everything nothing is before"
        );
        // A span in which nothing else happened is not empty, nor is what stood open lost with its record.
        let later = Some((date(2023, 11, 17), date(2023, 11, 17)));
        assert_eq!(summed(reader, question(View::Summary, later)).alerts.before, 4);
        let connection = rusqlite::Connection::open(path).expect("a database");
        connection.execute_batch("DROP TRIGGER record_stays").expect("it was there");
        assert_eq!(
            connection.execute("UPDATE record SET bytes = x'00' WHERE idx = 6", []).expect("changed"),
            1
        );
        let (Found::Summary(Some(sum)), damaged) = found(reader, question(View::Summary, days)) else {
            panic!("a sum")
        };
        assert_eq!((sum.alerts.before, sum.alerts.stood.len(), damaged.contains(&6)), (3, 2, true));
    });
}

// Own promise: a missed check that was entered after all and failed does not read as made, until it is corrected.
#[test]
fn a_missed_check_that_failed_says_so() {
    let short = || match supply_check(90) {
        Check::Supply { at, short, note, by, .. } => Check::Supply { at, enough: false, short, note, by },
        other @ (Check::Sanitizer { .. } | Check::DrainAndClean { .. } | Check::Thermometer { .. }) => {
            panic!("{other:?}")
        }
    };
    let of = opening(CONFIGURATION).len() as u64 + 1;
    let (reason, by, change) =
        ("misread".to_owned(), "Tom".to_owned(), AmendmentChange::Corrected(supply_check(90)));
    let corrected = Body::Amendment(Box::new(Amendment { of, reason, by, change }));
    for (later, failed) in [(None, true), (Some(corrected), false)] {
        let mut all = opening(CONFIGURATION);
        all.push(misses(60, "dm1", 1, CheckKind::Supply, true));
        all.push(plain(90, Some("dm1"), Body::Check(short())));
        all.extend(later.map(|later| plain(95, Some("dm1"), later)));
        with(all, |reader, _| {
            let (lines, _) = missed(reader, question(View::Missed, None));
            let made: Vec<_> = lines.iter().filter_map(|line| line.made).collect();
            assert_eq!(
                made.iter().map(|made| (made.record, made.failed)).collect::<Vec<_>>(),
                [(of, failed)]
            );
            // Regression: the time of the correction was told as that of the entry.
            let corrected = (!failed).then(|| at(95));
            assert_eq!((made[0].recorded, made[0].corrected), (at(90), corrected));
        });
    }
}

/// An account of the span names these.
fn same_in_account(reader: &Reader, from: Timestamp, to: Timestamp, lines: Vec<MissedLine>) {
    let mut builder = Builder::new(OfAccount {
        program: String::new(),
        made: at(NOW),
        site: String::new(),
        zone_name: "UTC".to_owned(),
        zone: TimeZone::UTC,
        from,
        to,
        only: Vec::new(),
        ends: None,
    });
    let size = reader.size().expect("a size");
    for index in 0..size {
        let (_, record) = reader.record(index).expect("read").expect("whole");
        builder.take(index, &record, &mut |_| None);
    }
    let account = builder.finish(RecordRange { from: 0, to: size }, None, None);
    let mut own: Vec<_> =
        account.overdue.into_iter().map(|one| (one.machine, one.check, one.since, one.made)).collect();
    let line = |line: MissedLine| (line.machine, line.check, line.due, line.made.map(|made| made.at));
    let mut told: Vec<_> = lines.into_iter().map(line).collect();
    own.sort();
    told.sort();
    assert_eq!(own, told);
}

// Regression: a check that was due just before midnight and found missing after it was a line of that day on the page,
// and in no account of it.
#[test]
fn a_check_found_missing_on_the_next_day_is_one_of_the_day_on_which_it_was_due() {
    let mut records = opening(CONFIGURATION);
    // Due on 14 November at 23:58:20, found missing half an hour later.
    records.push(misses(135, "dm1", 1, CheckKind::DrainAndClean, true));
    with(records, |reader, _| {
        let (lines, _) =
            missed(reader, question(View::Missed, Some((date(2023, 11, 14), date(2023, 11, 14)))));
        assert_eq!(short(&lines), [(14, "drain-and-clean", 1, None)]);
        let midnight = Timestamp::from_micros(1_700_006_400_000_000);
        assert!(lines[0].due < midnight && midnight < at(135));
        same_in_account(reader, at(0), midnight, lines);
    });
}

// Own promise: the pages name the very checks that an account names, each on the day on which it was due, with the
// entry by which it was made after all; of a span also what was due before it and not made when it began.
#[test]
fn missed_checks_are_those_of_the_account() {
    with(records(), |reader, _| {
        let (all, before) = missed(reader, question(View::Missed, None));
        let told =
            [(15, "drain-and-clean", 5, None), (14, "sanitizer", 1, None), (14, "supply", 1, Some(10))];
        assert_eq!((short(&all), before), (told.to_vec(), None));
        assert_eq!(all[2].made.map(|made| (made.at, made.recorded)), Some((at(150), at(151))));
        assert_eq!((all[0].due, all[0].closed, all[1].closed), (at(1_530), None, Some(at(4_000))));

        same_in_account(reader, at(0), at(NOW), all);

        let of = |day| Some((date(2023, 11, day), date(2023, 11, day)));
        let (lines, _) = missed(reader, question(View::Missed, of(15)));
        let days: Vec<_> = short(&lines).into_iter().map(|(day, _, alert, _)| (day, alert)).collect();
        assert_eq!(days, [(15, 5), (14, 1), (14, 1)]);
        for (days, expected) in [
            (None, MissedSummed { due: 3, made: 1, before: 0 }),
            (of(14), MissedSummed { due: 2, made: 1, before: 0 }),
            (of(15), MissedSummed { due: 1, made: 0, before: 2 }),
            (of(16), MissedSummed { due: 0, made: 0, before: 2 }),
        ] {
            assert_eq!(summed(reader, question(View::Summary, days)).missed, expected, "{days:?}");
        }
        let (Found::Days { days, .. }, _) = found(reader, question(View::Days, of(15))) else {
            panic!("days")
        };
        let counted: Vec<_> = days.iter().map(|day| (day.machine.as_str(), day.missed)).collect();
        assert_eq!(counted, [("dm2", 1), ("dm1", 0)]);
    });
}

// Own rule: each due time of a check is one that was missed, on its own day, whichever alert found it; an entry makes
// those alone that it counts for, and one that was made, withdrawn and missed again is one.
#[test]
fn each_due_time_of_a_check_is_a_line_of_its_own() {
    let mut records = opening(CONFIGURATION);
    records.extend([
        misses(60, "dm1", 1, CheckKind::Supply, true),
        misses(1_700, "dm1", 1, CheckKind::Supply, false),
        plain(1_750, Some("dm1"), supply(1_745)),
        closed(1_800, "dm1", 1),
        // Withdrawn, and missed a second time by an alert of its own.
        plain(1_810, Some("dm1"), withdrawal(4)),
        plain(1_811, Some("dm1"), missing_again(2, 1_670)),
        plain(1_900, Some("dm1"), supply(1_890)),
    ]);
    with(records, |reader, _| {
        let (all, _) = missed(reader, question(View::Missed, None));
        assert_eq!(short(&all), [(16, "supply", 2, Some(8)), (14, "supply", 1, None)]);
        assert_eq!((all[0].due, all[1].due), (at(1_670), at(30)));
        let sum = summed(reader, question(View::Summary, None)).missed;
        assert_eq!(sum, MissedSummed { due: 2, made: 1, before: 0 });
        let of = |day| question(View::Missed, Some((date(2023, 11, day), date(2023, 11, day))));
        assert_eq!(short(&missed(reader, of(14)).0), [(14, "supply", 1, None)]);
        assert_eq!(short(&missed(reader, of(15)).0), [(14, "supply", 1, None)], "it stood open");
    });
}

// Own promise: an entry that was corrected into the time of a missed check made it; one that was corrected then again,
// or withdrawn, made none.
#[test]
fn an_entry_that_was_corrected_twice_made_what_it_says_last() {
    let (again, withdrawn) = (AmendmentChange::Corrected(supply_check(3_000)), AmendmentChange::Withdrawn);
    for (last, made) in [(AmendmentChange::Comment, Some(2)), (again, None), (withdrawn, None)] {
        let correction = |change| {
            let (reason, by) = ("misread".to_owned(), "Tom".to_owned());
            Body::Amendment(Box::new(Amendment { of: 2, reason, by, change }))
        };
        let mut records = opening(CONFIGURATION);
        records.extend([
            // Record 2, long before anything was missed.
            plain(5, Some("dm1"), supply(1)),
            misses(1_000, "dm1", 1, CheckKind::Supply, true),
            plain(1_100, Some("dm1"), correction(AmendmentChange::Corrected(supply_check(980)))),
            plain(1_200, Some("dm1"), correction(last)),
            closed(1_300, "dm1", 1),
        ]);
        with(records, |reader, _| {
            let (lines, _) = missed(reader, question(View::Missed, None));
            assert_eq!(short(&lines), [(15, "supply", 1, made)]);
        });
    }
}

// Own limit: a page ends with a whole day, and the next one goes on from there without loss or doubles.
#[test]
fn pages_of_missed_checks_end_with_whole_days() {
    let mut records = opening(CONFIGURATION);
    // 120 on 15 November, and 100 on the day after.
    records.extend((0..120).map(|n| misses(200 + n, "dm1", n, CheckKind::Supply, true)));
    records.extend((0..100).map(|n| misses(1_700 + n, "dm1", 200 + n, CheckKind::Supply, true)));
    with(records, |reader, _| {
        let first = question(View::Missed, None);
        let (lines, before) = missed(reader, first.clone());
        assert_eq!((lines.len(), before), (100, Some(date(2023, 11, 15))));
        let (older, before) = missed(reader, Question { until: before, ..first });
        assert_eq!((older.len(), before), (120, None), "the record begins within its days");
        assert!(lines.len() + older.len() > LINES_MAX);
    });
}

// Own promise: the records of one alert are found page by page, each once, by kind and day as well; a page that is to go
// on from a record of another is none.
#[test]
fn the_records_of_an_alert_are_listed() {
    let mut records = opening(CONFIGURATION);
    let again = |n| misses(100 + 10 * n, "dm1", 1, CheckKind::Supply, n == 0);
    records.extend((0..130).flat_map(|n| [again(n), raised(101 + 10 * n, "dm2", 100 + n, Condition::Cold)]));
    records.push(closed(4_000, "dm1", 1));
    with(records, |reader, _| {
        let asked = Question { alert: Some(1), ..question(View::Records, None) };
        let page = |asked: &Question| {
            let (Found::Lines(page), _) = found(reader, asked.clone()) else { panic!("a list") };
            let of = |line: &HistoryLine| match line {
                HistoryLine::Record { index, .. } => *index,
                HistoryLine::Rack { .. } | HistoryLine::Damaged(_) => panic!("a record"),
            };
            (page.lines.iter().map(of).collect::<Vec<u64>>(), page.older, page.hits.map(|hits| hits.count))
        };
        let (mut all, mut next) = (Vec::new(), Page::Newest);
        loop {
            let (lines, older, hits) = page(&Question { page: next, ..asked.clone() });
            assert_eq!(hits, Some(131));
            all.extend(lines);
            let Some(older) = older else { break };
            next = Page::Older(older);
        }
        let known: Vec<u64> =
            reader.about(Subject::Alert(1)).expect("its records").into_iter().rev().collect();
        assert_eq!(all, known);
        let (newer, ..) = page(&Question { page: Page::Newer(all[80]), ..asked.clone() });
        assert_eq!(newer, all[30..80]);
        let of_kind = Question { kind: Some("alert-raised"), ..asked.clone() };
        assert_eq!(page(&of_kind), (vec![all[130]], None, Some(1)));
        let later =
            Question { from: Some(date(2023, 11, 17)), to: Some(date(2023, 11, 17)), ..asked.clone() };
        assert_eq!(page(&later).0, vec![all[0]], "closed on the third day");
        let astray = Question { page: Page::Older(all[0] - 1), ..asked };
        let settings = Recorded::read(CONFIGURATION).expect("a sound configuration").settings;
        let around = Around {
            ledger: reader,
            path: Path::new("ledger.sqlite"),
            settings: &settings,
            now: at(NOW),
            doubts: &doubts(reader),
            kept: &Kept::default(),
            amended: &Amended::whole(reader).expect("the amendments"),
        };
        assert!(gathered(&Sought::new(astray, &TimeZone::UTC), around).expect("gathered").is_none());
    });
}
