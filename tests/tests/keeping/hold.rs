//! Readings go by their age unless a hold keeps them; records never go.

use std::path::Path;
use std::time::Duration;

use rinseward::core::cycle::verdict::Verdict;
use rinseward::core::reading::Value;
use rinseward::core::record::{Body, LawfulHold, Pruned, Record};
use rinseward::core::time::Timestamp;
use rinseward::ledger::{Commit, Input, Names, NewRecord, Options, Reader, Writer};

use super::{PIPE, json, kinds, records, say};
use crate::crash::gateway::Gateway;
use crate::crash::kitchen::{Site, text};
use crate::ledger::fixture::{NEW_YEAR, at, commit, cycle, place, plain, sample, site, trace};

/// Readings of one round of compaction with three channels.
const ROUND: u32 = 13_000;
const DAY_S: u32 = 86_400;

/// Readings are kept for a day.
fn open(path: &Path) -> Writer {
    let (machines, channels) = site();
    let options = Options { path: path.to_owned(), block_retention: Duration::from_secs(u64::from(DAY_S)) };
    Writer::open(&options, Names { machines: &machines, channels: &channels }, NEW_YEAR).expect("it opens").0
}

fn day(from_s: u32) -> Vec<Input> {
    (0..ROUND).map(|n| sample(1, f64::from(from_s + n), Value::Number(f64::from(n % 7)))).collect()
}

fn put(writer: &Writer, round: u32, records: Vec<NewRecord>) {
    let settled = u64::from((round + 1) * ROUND);
    let next = Commit { inputs: day(round * 2 * DAY_S), records, settled, ..Commit::default() };
    commit(writer, next).expect("a commit");
}

fn hold(on: bool, seconds: f64) -> NewRecord {
    let hold = LawfulHold { on, reason: "case 7".to_owned(), by: "Ana".to_owned() };
    plain(Record::new(at(seconds), None, Body::LawfulHold(hold)))
}

/// How many readings are kept of the day that begins here.
fn left(path: &Path, from_s: u32) -> usize {
    let reader = Reader::open(path).expect("a reader");
    let (from, to) = (at(f64::from(from_s)), at(f64::from(from_s + DAY_S)));
    reader.readings("dm1/rinse", from, to).expect("the readings").len()
}

fn pruned(path: &Path) -> Vec<Pruned> {
    let own = records(path).into_iter().filter_map(|record| match record.body {
        Body::Pruned(pruned) => Some(pruned),
        _ => None,
    });
    own.collect()
}

/// Closing lets the compaction that is due come to its end.
fn settle(writer: Writer, path: &Path) {
    let began = std::time::Instant::now();
    let tail = || {
        let connection = rusqlite::Connection::open(path).expect("a second connection");
        connection.query_row("SELECT count(*) FROM tail", [], |row| row.get::<_, u64>(0)).unwrap_or(1)
    };
    while tail() > 0 {
        assert!(began.elapsed() < Duration::from_secs(30), "the tail was not compacted");
        std::thread::yield_now();
    }
    // The step after the last of a round prunes; commits are done between steps, so two mark its end.
    for _ in 0..3 {
        commit(&writer, Commit::default()).expect("a commit");
    }
    writer.close().expect("an orderly end");
}

// Own promise: readings go after the time that is configured, on record with their number, and
// records and traces stay.
#[test]
fn readings_go_by_their_age_and_records_stay() {
    let (_directory, path) = place();
    let writer = open(&path);
    let record = NewRecord { record: cycle("dm1", 60.0, Verdict::Pass), trace: Some(trace(60.0)) };
    put(&writer, 0, vec![record]);
    settle(writer, &path);
    assert_eq!((left(&path, 0), pruned(&path)), (ROUND as usize, vec![]));
    let writer = open(&path);
    put(&writer, 1, Vec::new());
    settle(writer, &path);
    assert_eq!(left(&path, 0), 0, "two days old");
    assert_eq!(left(&path, 2 * DAY_S), ROUND as usize);
    let told = pruned(&path);
    assert_eq!(told.len(), 1);
    assert_eq!(told[0].readings, u64::from(ROUND));
    assert_eq!(told[0].before, at(f64::from(DAY_S + ROUND - 1)), "a day before the last arrival");
    let reader = Reader::open(&path).expect("a reader");
    assert!(reader.trace(0).expect("no failure").is_some(), "the trace of a cycle is kept for ever");
    super::whole(&path);
}

// Own promise: a hold stops pruning at once and over restarts; its end lets go what is old by then.
#[test]
fn a_hold_keeps_readings_over_restarts_until_it_ends() {
    let (_directory, path) = place();
    let writer = open(&path);
    put(&writer, 0, vec![hold(true, 1.0)]);
    settle(writer, &path);
    for round in 1..3 {
        let writer = open(&path);
        put(&writer, round, Vec::new());
        settle(writer, &path);
        assert_eq!((left(&path, 0), pruned(&path)), (ROUND as usize, vec![]), "round {round}");
    }
    let writer = open(&path);
    put(&writer, 3, vec![hold(false, 10.0)]);
    settle(writer, &path);
    assert_eq!(left(&path, 0) + left(&path, 2 * DAY_S) + left(&path, 4 * DAY_S), 0);
    assert_eq!(pruned(&path).iter().map(|told| told.readings).sum::<u64>(), u64::from(3 * ROUND));
}

// Own promise: what went within a day of the last record of pruning is told with the next one.
#[test]
fn pruning_is_put_on_record_once_a_day_with_its_sum() {
    let (_directory, path) = place();
    let writer = open(&path);
    // Every 13,000 s another round: several of them a day.
    let rounds = 20_u32;
    for round in 0..rounds {
        let settled = u64::from((round + 1) * ROUND);
        let inputs = day(round * ROUND);
        commit(&writer, Commit { inputs, settled, ..Commit::default() }).expect("a commit");
    }
    settle(writer, &path);
    let all = u64::from(rounds * ROUND);
    let span_s = f64::from(rounds * ROUND);
    let told = pruned(&path);
    assert!(!told.is_empty());
    assert!((told.len() as f64) <= span_s / f64::from(DAY_S) + 1.0, "{told:?}");
    let reader = Reader::open(&path).expect("a reader");
    let kept =
        reader.readings("dm1/rinse", Timestamp::MIN, Timestamp::MAX).expect("the readings").len() as u64;
    let gone = told.iter().map(|told| told.readings).sum::<u64>();
    assert!(gone <= all - kept, "{gone} told, {kept} of {all} kept");
    // The rest waits in the bookmark for the day to be over.
    let waiting: serde_json::Value = serde_json::from_slice(
        &reader.bookmark("pruned").expect("no failure").expect("pruning has a bookmark"),
    )
    .expect("JSON");
    assert_eq!(gone + waiting["readings"].as_u64().expect("a number"), all - kept);
}

// Exit codes of sysexits.h (4.3BSD). The same order by the service and on the ledger itself.
#[test]
fn holds_are_ordered_with_a_service_and_without_one() {
    let site = Site::new(1, PIPE);
    let (configuration, ledger) = (site.configuration(), site.ledger());
    let config = ["--config", text(&configuration)];
    let hold = |command: &[&str]| say(&[&["hold"][..], command, &config].concat());
    let on = ["on", "--reason", "county 2026-114", "--by", "Ana"];
    let off = ["off", "--reason", "settled", "--by", "Ben"];
    assert_eq!(hold(&on).0, Some(74), "there is no ledger yet");
    let gateway = Gateway::start(&site, "");
    super::until(|| gateway.log().contains("control socket"), || gateway.log());
    let (code, said) = hold(&off);
    assert_eq!((code, said.contains("keeping-refused")), (Some(64), true), "{said}");
    let (code, said) = hold(&on);
    assert_eq!((code, said.contains("no reading is pruned")), (Some(0), true), "{said}");
    gateway.kill();
    for reason in ["", " "] {
        let (code, said) = hold(&["on", "--reason", reason, "--by", "Ana"]);
        assert_eq!(
            (code, said.contains("error[keeping-refused]: the reason is missing")),
            (Some(64), true),
            "{said}"
        );
    }
    let second = ["on", "--reason", "another case", "--by", "Cy"];
    assert_eq!(hold(&second).0, Some(0));
    let status = json(&["hold", "status", "--ledger", text(&ledger), "--json"]);
    assert_eq!(status["in_force"], true);
    let reasons: Vec<_> = status["holds"].as_array().expect("a list").iter().map(|h| &h["reason"]).collect();
    assert_eq!(reasons, ["county 2026-114", "another case"]);
    assert!(status["holds"][0]["by"].as_str().is_some_and(|by| by.starts_with("Ana (user ")), "{status}");
    assert_eq!(hold(&off).0, Some(0));
    assert_eq!(json(&["hold", "status", "--ledger", text(&ledger), "--json"])["in_force"], false);
    assert_eq!(hold(&off).0, Some(64), "none is in force");
    assert_eq!(kinds(&ledger).iter().filter(|kind| **kind == "lawful-hold").count(), 3);
}
