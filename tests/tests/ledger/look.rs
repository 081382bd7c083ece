//! Looking for the next reading in time, and for the newest records of one kind.

use rinseward::core::cycle::verdict::Verdict;
use rinseward::core::reading::Value;
use rinseward::ledger::{Commit, Reader};

use super::fixture::{at, commit, cycle, open, place, plain, sample, start, stop};

#[test]
fn the_next_reading_lies_where_one_was_measured() {
    let (_directory, path) = place();
    let (writer, _) = open(&path);
    // One channel hours after another, and a late one.
    let inputs = vec![
        sample(0, 0.0, Value::Number(60.0)),
        sample(1, 90_000.0, Value::Number(61.0)),
        sample(0, 7_200.0, Value::Flag(true)),
    ];
    commit(&writer, Commit { inputs, ..Commit::default() }).expect("a commit");
    let reader = Reader::open(&path).expect("a ledger");
    for (from, next) in [
        (-1e6, Some(0.0)),
        (0.0, Some(0.0)),
        (0.001, Some(7_200.0)),
        (7_201.0, Some(90_000.0)),
        (90_001.0, None),
    ] {
        assert_eq!(reader.next_reading(at(from)).expect("readable"), next.map(at), "{from}");
    }
}

#[test]
fn the_newest_of_a_kind_come_first() {
    let (_directory, path) = place();
    let (writer, _) = open(&path);
    let records = vec![
        plain(start(0.0)),
        plain(cycle("dm1", 100.0, Verdict::Pass)),
        plain(stop(200.0)),
        plain(start(300.0)),
        plain(cycle("dm1", 400.0, Verdict::Pass)),
    ];
    commit(&writer, Commit { records, ..Commit::default() }).expect("a commit");
    let reader = Reader::open(&path).expect("a ledger");
    for (prefix, from, to, limit, expected) in [
        ("service-", 0, 5, 10, vec![3, 2, 0]),
        ("service-", 0, 5, 2, vec![3, 2]),
        ("service-", 1, 3, 10, vec![2]),
        ("cycle", 0, 5, 10, vec![4, 1]),
        ("alert-", 0, 5, 10, vec![]),
    ] {
        let found = reader.newest_of_kind(prefix, from, to, limit).expect("readable");
        let indices: Vec<u64> = found.iter().map(|(index, _)| *index).collect();
        assert_eq!(indices, expected, "{prefix} {from}..{to}");
    }
    for (kind, expected) in [
        ("service-start", Some(3)),
        ("service-stop", Some(2)),
        ("gap", None),
        ("service-", None),
        ("cycle", None),
    ] {
        let found = reader.newest_of(kind).expect("readable");
        assert_eq!(found.map(|(index, _)| index), expected, "{kind}");
    }
}
