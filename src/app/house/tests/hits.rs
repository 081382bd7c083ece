//! How many lines a list of the history has, from a ledger on the disk.

use jiff::civil::date;

use super::super::histories::doubted::COUNTED_MAX;
use super::doubted::{list, passed, weak, with};
use super::records::{FIRST, RACKS, Site, asked, page};
use crate::app::fixture::{CONFIGURATION, ledger, opening, plain};
use crate::core::alert::AlertNumber;
use crate::core::cycle::verdict::Verdict;
use crate::core::record::{AlertAcknowledged, Body};
use crate::ledger::Reader;
use crate::web::history::{Found, HITS_MAX, Hits, Page, Question, View};

// Own promise: a count is of the whole list, whichever page is looked at, and of what was asked for only.
#[test]
fn a_list_is_counted_over_all_its_pages() {
    let site = Site::new();
    let reader = site.reader();
    let counted = |question: Question| match page(&reader, question).found {
        Found::Lines(page) => page.hits,
        Found::Gaps(page) => page.hits,
        Found::Days { .. } | Found::Missed { .. } | Found::Summary(_) | Found::Drift { .. } => None,
    };
    let all = |count| Some(Hits { count, more: false });
    let racks = |page| asked(View::Racks, page);
    assert_eq!(counted(racks(Page::Newest)), all(RACKS));
    assert_eq!(counted(racks(Page::Older(FIRST + 20))), all(RACKS));
    assert_eq!(counted(racks(Page::Newer(FIRST + 20))), all(RACKS));
    let of = |machine: &str| Some(machine.to_owned());
    assert_eq!(counted(Question { machine: of("dm2"), ..racks(Page::Newest) }), all(RACKS / 2));
    assert_eq!(counted(Question { machine: of("dm9"), ..racks(Page::Newest) }), all(0));
    let verdicts: u64 = Verdict::ALL
        .into_iter()
        .map(|verdict| {
            counted(Question { verdict: Some(verdict), ..racks(Page::Newest) }).expect("a count").count
        })
        .sum();
    assert_eq!(verdicts, RACKS);
    let later = Some(date(2999, 1, 1));
    assert_eq!(counted(Question { from: later, ..racks(Page::Newest) }), all(0));
    // The key, the configuration, the alert, the comment and both of the gap.
    assert_eq!(counted(asked(View::Records, Page::Newest)), all(6));
    assert_eq!(counted(asked(View::Alerts, Page::Newest)), all(1));
    assert_eq!(counted(asked(View::Gaps, Page::Newest)), all(1));
    assert_eq!(counted(Question { in_doubt: true, ..racks(Page::Newest) }), all(0));
}

// Regression: the racks and the records of one alert had no number above them.
#[test]
fn what_belongs_to_an_alert_is_counted() {
    let mut records = opening(CONFIGURATION);
    let (first, last) = passed(&mut records, 1_700);
    records.push(weak(1, first + 3, last, last + 1));
    with(records, |reader| {
        let counted = |question: Question| list(reader, question).hits.expect("a count");
        let racks = Question { alert: Some(1), ..Question::all(View::Racks) };
        let own = Hits { count: 1_697, more: false };
        assert_eq!(counted(racks.clone()), own);
        assert_eq!(counted(Question { page: Page::Older(first + 9), ..racks.clone() }), own);
        assert_eq!(counted(Question { verdict: Some(Verdict::Cold), ..racks.clone() }).count, 0);
        assert_eq!(counted(Question { machine: Some("dm2".to_owned()), ..racks.clone() }).count, 0);
        let doubted = counted(Question { in_doubt: true, ..racks });
        assert_eq!(doubted, Hits { count: COUNTED_MAX as u64, more: true });
        let records = Question { alert: Some(1), ..Question::all(View::Records) };
        assert_eq!(counted(records.clone()), Hits { count: 1, more: false });
        assert_eq!(counted(Question { kind: Some("comment"), ..records }).count, 0);
    });
}

// Regression: the few racks that one alert put in doubt were not counted behind the many newer ones of another.
#[test]
fn racks_in_doubt_by_one_alert_are_counted_past_those_of_another() {
    let mut records = opening(CONFIGURATION);
    let (first, last) = passed(&mut records, 5);
    records.push(weak(3, first, last, last + 1));
    let (next, newest) = passed(&mut records, 800);
    records.push(weak(9, next, newest, newest + 1));
    with(records, |reader| {
        let counted = |alert| {
            let asked = Question { alert: Some(alert), in_doubt: true, ..Question::all(View::Racks) };
            list(reader, asked).hits.expect("a count")
        };
        assert_eq!(counted(3), Hits { count: 5, more: false });
        assert_eq!(counted(9), Hits { count: COUNTED_MAX as u64, more: true });
    });
}

// Own rule: what is more than is counted is never given as the number of all.
#[test]
fn a_count_that_ends_early_says_so() {
    let reader = Site::new().reader();
    assert_eq!(reader.cycles_counted(&Default::default(), 100).expect("counted"), 100);
    assert_eq!(reader.events_counted(&Default::default(), 3).expect("counted"), 3);
    assert_eq!(Hits::of(HITS_MAX), Hits { count: HITS_MAX, more: false });
    assert_eq!(Hits::of(HITS_MAX + 1), Hits { count: HITS_MAX, more: true });
}

// Regression: what a damaged record said of the racks of an alert was left out, and their number given as that of all.
#[test]
fn racks_of_an_alert_whose_records_are_damaged_are_not_numbered_as_all() {
    let directory = tempfile::tempdir().expect("a directory");
    let path = directory.path().join("ledger.sqlite");
    let mut records = opening(CONFIGURATION);
    let (first, last) = passed(&mut records, 5);
    let (raised, taken) = (records.len() as u64, records.len() as u64 + 1);
    records.push(weak(3, first, last, last + 1));
    let by =
        AlertAcknowledged { alert: AlertNumber(3), by: "Ana".to_owned(), via: "page".to_owned(), note: None };
    records.push(plain(last + 2, Some("dm1"), Body::AlertAcknowledged(by)));
    ledger(&path, records).close().expect("it closes");
    let counted = || {
        let reader = Reader::open(&path).expect("a reader");
        list(&reader, Question { alert: Some(3), ..Question::all(View::Racks) }).hits
    };
    assert_eq!(counted(), Some(Hits { count: 5, more: false }));
    let connection = rusqlite::Connection::open(&path).expect("the file");
    connection.execute_batch("DROP TRIGGER record_stays").expect("it was there");
    for (damaged, expected) in [(taken, Some(Hits { count: 5, more: true })), (raised, None)] {
        connection.execute("UPDATE record SET bytes = x'00' WHERE idx = ?1", [damaged]).expect("changed");
        assert_eq!(counted(), expected);
    }
}
