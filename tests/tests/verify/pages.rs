//! Damage below the tables: single bytes of the file, pages, and its end.

use std::fs;
use std::path::Path;

use rusqlite::Connection;
use rusqlite::types::Value;

use rinseward::core::audit::Outcome;

use super::made::{RECORDS, made};
use super::{said, try_look};

/// Size of a page, bytes.
const PAGE: usize = 4096;

/// Generator of Park and Miller (Communications of the ACM 31, 1988), so that runs repeat.
fn draw(state: &mut u64) -> usize {
    *state = *state * 48_271 % 2_147_483_647;
    usize::try_from(*state).expect("31 bits")
}

/// What the answer says is not proved. Readings between the cycles: their blocks, the newest of them,
/// and the channels they are of. What the service works with and no reader of the history is shown:
/// where followers are, states of machines, letters, what compaction did, where to go on.
const NOT_PROVED: [&str; 10] = [
    "block",
    "tail",
    "channel",
    "bookmark",
    "snapshot",
    "outbox",
    "set_aside",
    "round",
    "sqlite_sequence",
    "state (the rest)",
];

/// Every table of format 2 with the columns that are looked at, and how its rows are found: by the
/// table itself, and by each of its indexes.
const TABLES: [(&str, &str, &str); 28] = [
    ("record", "idx, kind, leaf, bytes", "record NOT INDEXED"),
    ("record", "idx, kind", "record INDEXED BY record_by_kind WHERE kind <> 'cycle'"),
    ("cycle", "idx, machine, rinse_started, verdict, rinse_min_c", "cycle NOT INDEXED"),
    ("cycle", "idx, machine, rinse_started, verdict", "cycle INDEXED BY cycle_of_machine"),
    ("cycle", "idx, rinse_started, verdict", "cycle INDEXED BY cycle_of_site"),
    ("trace", "idx, bytes", "trace NOT INDEXED"),
    ("checkpoint", "id, at, size, note", "checkpoint NOT INDEXED"),
    ("state", "tree_size, frontier", "state NOT INDEXED"),
    ("machine", "id, name", "machine NOT INDEXED"),
    ("machine", "id, name", "machine INDEXED BY sqlite_autoindex_machine_1 WHERE name > ''"),
    ("channel", "id, name", "channel NOT INDEXED"),
    ("channel", "id, name", "channel INDEXED BY sqlite_autoindex_channel_1 WHERE name > ''"),
    ("tail", "first, bytes", "tail NOT INDEXED"),
    ("block", "channel, first, last, readings, bytes", "block NOT INDEXED"),
    ("block", "channel, first, id", "block INDEXED BY block_by_time"),
    ("block", "received_last, id", "block INDEXED BY block_by_age"),
    ("event", "kind, at, idx", "event"),
    ("about", "subject, number, idx", "about"),
    ("day", "*", "day"),
    ("bookmark", "name, state", "bookmark NOT INDEXED WHERE name = 'days'"),
    ("bookmark", "name, state", "bookmark INDEXED BY sqlite_autoindex_bookmark_1 WHERE name > ''"),
    ("bookmark", "*", "bookmark NOT INDEXED"),
    ("snapshot", "*", "snapshot NOT INDEXED"),
    ("outbox", "*", "outbox NOT INDEXED"),
    ("set_aside", "*", "set_aside NOT INDEXED"),
    ("round", "*", "round"),
    ("sqlite_sequence", "*", "sqlite_sequence"),
    ("state (the rest)", "*", "state NOT INDEXED"),
];

/// What each look at a table shows; `None` where it fails.
type Content = Vec<(&'static str, Option<Vec<Vec<Value>>>)>;

/// Every row of every table, by each way to it; `None` where the file is no database.
fn content(path: &Path) -> Option<Content> {
    let connection = Connection::open(path).ok()?;
    let each = |columns: &str, from: &str| -> rusqlite::Result<Vec<Vec<Value>>> {
        let mut statement = connection.prepare(&format!("SELECT {columns} FROM {from}"))?;
        let width = statement.column_count();
        let read = statement.query_map([], |row| {
            (0..width).map(|column| row.get(column)).collect::<Result<Vec<Value>, _>>()
        })?;
        read.collect()
    };
    Some(TABLES.iter().map(|(table, columns, from)| (*table, each(columns, from).ok())).collect())
}

/// Tables of which something that is shown to readers differs.
fn differing(sound: &Content, path: &Path) -> Vec<&'static str> {
    let Some(found) = content(path) else { return vec!["all"] };
    let pairs = sound.iter().zip(&found).filter(|(sound, found)| sound != found);
    let mut names: Vec<&str> = pairs.map(|((name, _), _)| *name).collect();
    names.dedup();
    names
}

// One bit is flipped at places of every page, in the file's header and in each byte behind it. What
// is not found has no effect on anything that is read: every row of every table is the same as
// before, by each way to it, or it is of what the answer says is not proved.
#[test]
fn a_flipped_bit_anywhere_is_found_or_changes_nothing_that_is_read() {
    let made = made();
    let sound = fs::read(made.path()).expect("the ledger");
    let expected = content(&made.path()).expect("a database");
    assert!(expected.iter().all(|(_, rows)| rows.is_some()), "{expected:?}");
    let pages = sound.len() / PAGE;
    // The places that were asked about, the header of each page, and a spread over the rest of it.
    let within = [3, 5, 2_000];
    let places = (0..100)
        .step_by(9)
        .chain(100..120)
        .chain((1..pages).flat_map(|page| within.map(|place| page * PAGE + place)));
    let (mut found, mut nothing, mut not_proved) = (0, 0, 0);
    let mut unseen = Vec::new();
    let (_directory, path) = made.copy();
    for place in places {
        let mut bytes = sound.clone();
        bytes[place] ^= 1 << (place / 7 % 8);
        fs::write(&path, &bytes).expect("the copy");
        let keys = std::slice::from_ref(&made.second);
        match try_look(&path, keys, Vec::new()) {
            Ok(audited) if audited.report.outcome == Outcome::Whole => {
                let differs = differing(&expected, &path);
                if differs.iter().any(|name| !NOT_PROVED.contains(name)) {
                    unseen.push(format!("page {}, byte {}: {differs:?}", place / PAGE + 1, place % PAGE));
                }
                if differs.is_empty() { nothing += 1 } else { not_proved += 1 }
            }
            Ok(_) | Err(_) => found += 1,
        }
    }
    assert!(unseen.is_empty(), "{unseen:#?}");
    assert!(
        found > pages && nothing > 0 && not_proved > 0,
        "{found} found, {nothing} without effect, {not_proved} of what is not proved: the dice are loaded"
    );
}

// A byte of the file is changed, wherever it lies. Where it is part of what an audit speaks of,
// or keeps it from being read, it must be found; elsewhere the ledger is as whole as before.
#[test]
fn a_changed_byte_of_the_file_is_found_where_it_matters() {
    let made = made();
    let sound = fs::read(made.path()).expect("the ledger");
    let expected = content(&made.path()).expect("a database");
    let mut state = 20_261_126;
    let (mut found, mut harmless) = (0, 0);
    for turn in 0..60 {
        let (_directory, path) = made.copy();
        let mut bytes = sound.clone();
        let place = draw(&mut state) % bytes.len();
        let bit = draw(&mut state) % 8;
        bytes[place] ^= 1 << bit;
        fs::write(&path, &bytes).expect("the copy");
        let matters = differing(&expected, &path).iter().any(|name| !NOT_PROVED.contains(name));
        // An untouched file for the audit: reading it above may have changed it.
        fs::write(&path, &bytes).expect("the copy");
        match try_look(&path, std::slice::from_ref(&made.second), Vec::new()) {
            Ok(audited) if audited.report.outcome == Outcome::Whole => {
                assert!(!matters, "turn {turn}: bit {bit} of byte {place} went unseen");
                harmless += 1;
            }
            Ok(_) | Err(_) => found += 1,
        }
    }
    assert!(found > 10 && harmless > 2, "{found} found, {harmless} harmless: the dice are loaded");
}

/// Number of the page of the file that holds record `index`.
fn page_of(path: &Path, index: u64) -> usize {
    let connection = Connection::open(path).expect("the copy");
    let bytes: Vec<u8> = connection
        .query_row("SELECT leaf FROM record WHERE idx = ?1", [index], |row| row.get(0))
        .expect("the record");
    drop(connection);
    let file = fs::read(path).expect("the copy");
    let place = file.windows(bytes.len()).position(|window| window == bytes).expect("the hash is there");
    place / 4096
}

#[test]
fn a_damaged_page_costs_what_lies_on_it() {
    let made = made();
    let (_directory, path) = made.copy();
    let page = page_of(&path, 30);
    let mut bytes = fs::read(&path).expect("the copy");
    bytes[page * 4096..(page + 1) * 4096].fill(0x77);
    fs::write(&path, bytes).expect("the copy");
    let report = try_look(&path, std::slice::from_ref(&made.second), Vec::new()).expect("a ledger").report;
    let said = said(&report);
    assert_eq!((report.outcome, report.records), (Outcome::NotWhole, RECORDS), "{said}");
    assert!(said.contains("in a damaged part of the file that cannot be read"), "{said}");
    let unreadable = said.lines().find(|line| line.contains("damaged part")).expect("a line");
    let from: u64 = unreadable.split(' ').nth(1).and_then(|word| word.parse().ok()).expect("a number");
    assert!((20..=30).contains(&from), "{unreadable}");
    assert!(said.contains(&format!("cannot be compared, since record {from} is not to be had")), "{said}");
    let sealed = report.sealed.expect("the checkpoints before it hold");
    assert_eq!(sealed.size, from / 10 * 10, "{said}");
}

#[test]
fn a_file_that_was_cut_short_is_told_of() {
    let made = made();
    let sound = fs::read(made.path()).expect("the ledger");
    for part in 0..12 {
        let (_directory, path) = made.copy();
        fs::write(&path, &sound[..sound.len() * part / 12]).expect("the copy");
        match try_look(&path, std::slice::from_ref(&made.second), Vec::new()) {
            Ok(audited) => assert_eq!(audited.report.outcome, Outcome::NotWhole, "{part}/12"),
            Err(error) => assert!(part < 12, "{error}"),
        }
    }
}
