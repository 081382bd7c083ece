//! Racks of an alert, as lists and the alert itself tell them.

use std::sync::Arc;

use jiff::tz::TimeZone;

use super::super::alert_book::Others;
use super::super::did::of_record;
use super::super::histories::one;
use super::super::racks::{Stands, read};
use super::doubted::{cycle_start, list, listed, passed, printed, rows, weak, with};
use super::{doubts, of};
use crate::app::fixture::{CHEMICAL, CONFIGURATION, at, ledger, opening, strip};
use crate::app::history::Kept;
use crate::app::sites::Sites;
use crate::cli::{HistoryArgs, Judged};
use crate::core::alert::did::{Deeds, Did};
use crate::core::alert::{Alert, AlertNumber, Condition, Rack, Racks};
use crate::core::cycle::verdict::Verdict;
use crate::core::reader::Language;
use crate::core::record::{
    AlertChanged, AlertCleared, AlertClosed, AlertRaised, Amendment, AmendmentChange, Body, Change, Check,
    CheckKind, Clearing, CorrectiveAction,
};
use crate::core::wall_clock::local_date;
use crate::ledger::{ReadOn, Reader};
use crate::web::history::record::Stands as OneStands;
use crate::web::history::{HistoryLine, LINES_MAX, Question, View};

// Own promise: the racks of an alert on one day are looked for on that day: none of the others takes room of the page.
#[test]
fn racks_of_an_alert_are_looked_for_in_the_span() {
    let mut records = opening(CONFIGURATION);
    let (first, last) = passed(&mut records, 1_700);
    records.push(weak(1, first, last, last + 1));
    with(records, |reader| {
        let day = local_date(&TimeZone::UTC, cycle_start(first));
        let asked = Question { alert: Some(1), from: day, to: day, ..Question::all(View::Racks) };
        let newest = list(reader, asked.clone());
        assert_eq!((newest.lines.len(), newest.cut), (LINES_MAX, false));
        let racks = listed(reader, &asked);
        assert!(racks.len() > LINES_MAX && racks.last() == Some(&(first, vec![1])), "{}", racks.len());
        let is_of_day = |rack: u64| local_date(&TimeZone::UTC, cycle_start(rack)) == day;
        assert!(racks.iter().all(|(rack, _)| is_of_day(*rack)) && !is_of_day(racks[0].0 + 1));
    });
}

// Regression: the command listed what the records of an alert name, which of an alert of many racks was none of them, and of
// one of a check the rack at which it was found missing. Own promise: it lists those that the page of the alert lists,
// page by page in either order.
#[test]
fn the_command_lists_the_racks_of_an_alert_as_its_page_does() {
    let mut records = opening(CONFIGURATION);
    let (first, last) = passed(&mut records, 1_700);
    records.push(weak(1, first, last, last + 1));
    with(records, |reader| {
        let page: Vec<u64> = listed(reader, &Question { alert: Some(1), ..Question::all(View::Racks) })
            .into_iter()
            .map(|(rack, _)| rack)
            .collect();
        let asked = || HistoryArgs { alert: Some(1), newest_first: true, ..HistoryArgs::default() };
        let racks = |arguments: HistoryArgs| -> Vec<u64> {
            rows(reader, arguments).iter().filter_map(|row| row["ledger_index"].as_u64()).collect()
        };
        assert_eq!(page.len(), 1_700);
        assert_eq!(racks(asked()), page);
        let (limit, after) = (Some(3), Some(page[1_598]));
        assert_eq!(racks(HistoryArgs { limit, after, ..asked() }), page[1_599..1_602]);
        let oldest: Vec<u64> = page.iter().rev().copied().collect();
        assert_eq!(racks(HistoryArgs { newest_first: false, ..asked() }), oldest);
        assert_eq!(racks(HistoryArgs { newest_first: false, limit, ..asked() }), oldest[1_697..]);
        let cold = vec![Judged::As(Verdict::Cold)];
        assert!(racks(HistoryArgs { judged: cold, ..asked() }).is_empty());
        assert!(racks(HistoryArgs { machine: Some("dm2".to_owned()), ..asked() }).is_empty());
    });
}

// Own promise: an alert that names a rack as its last good one, or counts it, knows of the other alerts that put it in
// doubt since.
#[test]
fn an_alert_knows_what_others_say_of_its_racks() {
    let mut records = opening(CONFIGURATION);
    let (first, last) = passed(&mut records, 4);
    records.push(weak(7, first, last - 1, 100));
    with(records, |reader| {
        let rack = |index| Rack { index, at: at(index), began: None };
        let others = |number, good: u64, named: &[u64]| {
            let mut alert = Alert { number: AlertNumber(number), ..Alert::trial(at(0)) };
            (alert.machine, alert.last_good) = (Some("dm1".to_owned()), Some(rack(good)));
            alert.racks = Racks { count: 9, named: named.iter().map(|index| rack(*index)).collect() };
            let racks = crate::app::alerts::pages::cycles(reader, &alert).expect("readable");
            Others::read(reader, &doubts(reader), &alert, &racks).expect("readable")
        };
        let found = others(3, first, &[first + 1, last]);
        assert_eq!(found, Others { good: vec![7], own: (1, vec![7]), ..Others::default() });
        assert_eq!(others(3, last, &[last]), Others::default());
        let itself = Others { good_by_itself: true, ..Others::default() };
        assert_eq!(others(7, first, &[first]), itself, "the alert itself");
    });
}

// Regression: of an alert that lasts the list told those alone with which it began. Own promise: it says how many racks one
// counts so far, or counted in the end.
#[test]
fn the_list_of_alerts_says_what_was_counted_in_the_end() {
    let alert = AlertNumber(7);
    let cleared = || AlertCleared {
        alert,
        clearing: Clearing::Recovered,
        racks: 56,
        worst: None,
        limit: None,
        cause: None,
    };
    let cleared = || of("dm1", at(101), Body::AlertCleared(cleared()));
    let returned = || {
        let returned = AlertChanged { racks: 58, ..AlertChanged::new(alert, Change::Returned) };
        of("dm1", at(102), Body::AlertChanged(returned))
    };
    let closed = AlertClosed { alert, racks: 57, needed_action: true };
    let closed = || of("dm1", at(103), Body::AlertClosed(closed.clone()));
    for (name, later, expected) in [
        ("lasts", Vec::new(), Some(4)),
        ("recovered", vec![cleared()], Some(56)),
        ("came back", vec![cleared(), returned()], Some(58)),
        ("closed", vec![cleared(), closed()], Some(57)),
    ] {
        let mut records = opening(CONFIGURATION);
        let (first, last) = passed(&mut records, 4);
        records.push(weak(7, first, last, 100));
        records.extend(later);
        with(records, |reader| {
            let lines = list(reader, Question::all(View::Alerts)).lines;
            let counted = |line: &HistoryLine| match line {
                HistoryLine::Record { counted, .. } => *counted,
                HistoryLine::Rack { .. } | HistoryLine::Damaged(_) => panic!("a record: {line:?}"),
            };
            assert_eq!(lines.iter().map(counted).collect::<Vec<_>>(), [expected], "{name}");
        });
    }
}

// Regression: the command named no alert and no action of a rack in doubt, and none of an entry by which an alert stood or
// recovered. Own promise: it says of one record what the pages say.
#[test]
fn one_record_names_its_alerts_and_what_was_done() {
    let mut records = opening(CONFIGURATION);
    let (first, last) = passed(&mut records, 4);
    let strip = |minute, mg_per_l| {
        let (ph, solution_c, method, by) = (None, None, None, "Ana".to_owned());
        let check = Check::Sanitizer { at: at(minute), mg_per_l, ph, solution_c, method, by };
        of("dm1", at(minute), Body::Check(check))
    };
    let failed = last + 1;
    records.push(strip(99, 10.0));
    let mut raised = weak(2, first, last, 100);
    if let Body::AlertRaised(own) = &mut raised.record.body {
        own.cause = Some(failed);
    }
    records.push(raised);
    let alert = AlertNumber(2);
    let action = failed + 2;
    records.push(of(
        "dm1",
        at(101),
        Body::CorrectiveAction(CorrectiveAction {
            alert,
            by: "Ana".to_owned(),
            racks: "washed again".to_owned(),
            done: "bucket\u{1b}changed".to_owned(),
            last_good: None,
            covers: Some(4),
        }),
    ));
    let good = action + 1;
    records.push(strip(102, 100.0));
    let cleared = AlertCleared {
        alert,
        clearing: Clearing::Recovered,
        racks: 4,
        worst: None,
        limit: None,
        cause: Some(good),
    };
    records.push(of("dm1", at(102), Body::AlertCleared(cleared)));
    records.push(weak(3, first, last, 110));
    with(records, |reader| {
        let asked = |record| HistoryArgs { record: Some(record), ..HistoryArgs::default() };
        let told = |record| {
            let [row] = <[_; 1]>::try_from(rows(reader, asked(record))).expect("one row");
            ["alerts", "in_doubt_by", "recovered_alerts", "covered_by", "not_covered_by"]
                .map(|column| row[column].as_str().unwrap_or_default().to_owned())
        };
        assert_eq!(told(first), ["2 3", "2 3", "", &action.to_string(), ""]);
        assert_eq!(told(failed), ["2", "", "", "", ""]);
        assert_eq!(told(good), ["", "", "2", "", ""]);
        for (record, wanted) in [
            (
                first,
                vec![
                    "in doubt  by alert 2\n",
                    "in doubt  by alert 3\n",
                    "alert 2, covers this rack: «bucket changed»",
                ],
            ),
            (first, vec!["action    none yet about alert 3\n"]),
            (failed, vec!["alert     Raised alert 2\n"]),
            (good, vec!["alert     Alert 2 recovered by it\n"]),
        ] {
            let text = printed(reader, &asked(record));
            assert!(wanted.iter().all(|wanted| text.contains(wanted)), "{wanted:?}: {text}");
        }
    });
}

// Regressions: of an alert that a record raised, and of which it is told that nobody was on duty, the command never said that
// it raised it; of an entry it told neither what was done by its corrections nor the alert that was open when it failed.
// Own promise: the command says what the page says, which asks the same function. 4-501.114: chlorine below 25 mg/L is too
// weak.
#[test]
fn the_command_says_of_an_entry_what_its_page_does() {
    let dm1 = |minute, body| of("dm1", at(minute), body);
    let number = AlertNumber(4);
    let raised = AlertRaised { cause: Some(2), ..AlertRaised::new(number, Condition::Weak, at(10)) };
    let changed = |alert, change, cause| {
        let change = AlertChanged::new(AlertNumber(alert), change);
        Body::AlertChanged(AlertChanged { cause: Some(cause), ..change })
    };
    let cleared = |alert, cause| {
        let (alert, clearing, worst, limit) = (AlertNumber(alert), Clearing::Recovered, None, None);
        Body::AlertCleared(AlertCleared { alert, clearing, racks: 0, worst, limit, cause: Some(cause) })
    };
    let (reason, by) = ("misread".to_owned(), "Bo".to_owned());
    let change = AmendmentChange::Corrected(strip(20, 100.0));
    let mut records = opening(CHEMICAL);
    records.extend([
        dm1(10, Body::Check(strip(10, 10.0))), // record 2
        dm1(10, Body::AlertRaised(Box::new(raised))),
        dm1(10, changed(4, Change::NobodyToTell, 2)),
        dm1(20, Body::Check(strip(20, 20.0))), // record 5
        dm1(30, Body::Amendment(Box::new(Amendment { of: 5, reason, by, change }))),
        dm1(30, cleared(5, 6)),
        dm1(40, Body::Check(strip(40, 100.0))), // record 8
        dm1(40, changed(6, Change::Eased, 8)),
        dm1(40, changed(7, Change::Held, 8)),
    ]);
    let (rack, _) = passed(&mut records, 1);
    records.push(dm1(50, cleared(9, rack)));
    with(records, |reader| {
        let lines = |record| -> Vec<String> {
            let text = printed(reader, &HistoryArgs { record: Some(record), ..HistoryArgs::default() });
            text.lines().filter_map(|line| Some(line.strip_prefix("  alert     ")?.to_owned())).collect()
        };
        let sites = Sites::whole(reader).expect("readable");
        for (record, told) in [
            (2, vec!["Raised alert 4"]),
            (5, vec!["Belongs to alert 4", "Alert 5 recovered by it"]),
            (8, vec!["Eased alert 6"]),
        ] {
            assert_eq!(lines(record), told, "{record}");
            let (_, entry) = reader.record(record).expect("readable").expect("whole");
            let page = of_record(reader, &sites, record, &entry).expect("readable");
            let page: Vec<String> =
                page.iter().map(|(alert, did)| did.told(alert.0, Language::English)).collect();
            assert_eq!(page, told, "{record}");
        }
        assert_eq!(lines(rack), ["Alert 9 recovered by it"]);
        // Regression: what was entered and failed stood beside the mark of what it was corrected to.
        let text = printed(reader, &HistoryArgs { record: Some(5), ..HistoryArgs::default() });
        assert!(text.contains("says      FAILED, corrected since: sanitizer 20 mg/L"), "{text}");
        assert!(text.contains("counts    by record 6: good: sanitizer 100 mg/L"), "{text}");
        let found = one(reader, &Kept::default(), 5).expect("readable").expect("it is there");
        let OneStands::Whole(found) = found else { panic!("whole") };
        let counts = found.counts.expect("it was corrected");
        assert_eq!((counts.by, counts.check), (6, strip(20, 100.0)));
        let Stands::Rack(page) = read(reader, rack, Arc::default(), &doubts(reader)).expect("read") else {
            panic!("a rack")
        };
        assert_eq!(page.did, Deeds::from([(AlertNumber(9), Did::Ended)]));
    });
}

// Regression: where the one action of an alert could not be read, the command said that there was none yet.
#[test]
fn an_action_that_cannot_be_read_is_not_missing() {
    let mut records = opening(CONFIGURATION);
    let (first, last) = passed(&mut records, 4);
    records.push(weak(2, first, last, 100));
    let action = last + 2;
    records.push(of(
        "dm1",
        at(101),
        Body::CorrectiveAction(CorrectiveAction {
            alert: AlertNumber(2),
            by: "Ana".to_owned(),
            racks: "washed again".to_owned(),
            done: "bucket changed".to_owned(),
            last_good: None,
            covers: Some(4),
        }),
    ));
    let directory = tempfile::tempdir().expect("a directory");
    let path = directory.path().join("ledger.sqlite");
    ledger(&path, records).close().expect("it closes");
    let connection = rusqlite::Connection::open(&path).expect("a file");
    connection.execute_batch("DROP TRIGGER record_stays").expect("dropped");
    let damage = "UPDATE record SET bytes = x'00' WHERE idx = ?1";
    connection.execute(damage, [action.cast_signed()]).expect("changed");
    drop(connection);
    let reader = Reader::open(&path).expect("a reader");
    let text = printed(&reader, &HistoryArgs { record: Some(first), ..HistoryArgs::default() });
    assert!(text.contains("action    not known about alert 2: a record of it cannot be read\n"), "{text}");
    assert!(!text.contains("none yet"), "{text}");
}

// Regression: the page of a check said of the alert that it eased that one was made, and not that it failed.
#[test]
fn a_record_says_of_the_alert_it_eased_what_the_alert_says() {
    let dm1 = |minute, body| of("dm1", at(minute), body);
    let number = AlertNumber(6);
    let about = |kinds: &[&str]| kinds.iter().map(|kind| (*kind).to_owned()).collect::<Vec<String>>();
    let raised = AlertRaised::new(number, Condition::CheckOverdue, at(10));
    let raised = AlertRaised { about: about(&["sanitizer", "supply"]), ..raised };
    let eased = AlertChanged {
        condition: Some(Condition::CheckOverdue),
        about: about(&["supply"]),
        cause: Some(3),
        ..AlertChanged::new(number, Change::Eased)
    };
    let mut records = opening(CHEMICAL);
    records.extend([
        dm1(10, Body::AlertRaised(Box::new(raised))),
        dm1(20, Body::Check(strip(20, 10.0))), // record 3
        dm1(20, Body::AlertChanged(eased)),
    ]);
    with(records, |reader| {
        let found = one(reader, &Kept::default(), 3).expect("readable").expect("it is there");
        let OneStands::Whole(found) = found else { panic!("whole") };
        assert_eq!(found.eased.made.get(&4), Some(&vec![CheckKind::Sanitizer]));
        let (_, judgement) = found.eased.entered.of(3).expect("the check");
        assert_eq!(judgement.good, Some(false));
    });
}
