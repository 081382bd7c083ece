//! Damage below the tables: single bytes of the file, pages, and its end.

use std::fs;
use std::path::Path;

use rusqlite::Connection;
use rusqlite::types::Value;

use rinseward::core::audit::Outcome;

use super::made::{RECORDS, made};
use super::{said, try_look};

/// Generator of Park and Miller (Communications of the ACM 31, 1988), so that runs repeat.
fn draw(state: &mut u64) -> usize {
    *state = *state * 48_271 % 2_147_483_647;
    usize::try_from(*state).expect("31 bits")
}

/// Every row that an audit speaks of; `None` where one cannot be read.
fn rows(path: &Path) -> Option<Vec<Vec<Value>>> {
    let connection = Connection::open(path).ok()?;
    let mut all = Vec::new();
    for (table, columns) in [
        ("record", "idx, kind, leaf, bytes"),
        ("cycle", "idx, machine, rinse_started, verdict, rinse_min_c"),
        ("trace", "idx, bytes"),
        ("checkpoint", "id, at, size, note"),
        ("state", "tree_size, frontier"),
        ("machine", "id, name"),
        ("tail", "first, bytes"),
    ] {
        let mut statement = connection.prepare(&format!("SELECT {columns} FROM {table} NOT INDEXED")).ok()?;
        let width = statement.column_count();
        let read = statement
            .query_map([], |row| (0..width).map(|column| row.get(column)).collect::<Result<Vec<Value>, _>>())
            .ok()?;
        all.extend(read.collect::<Result<Vec<_>, _>>().ok()?);
    }
    Some(all)
}

// A byte of the file is changed, wherever it lies. Where it is part of what an audit speaks of,
// or keeps it from being read, it must be found; elsewhere the ledger is as whole as before.
#[test]
fn a_changed_byte_of_the_file_is_found_where_it_matters() {
    let made = made();
    let sound = fs::read(made.path()).expect("the ledger");
    let expected = rows(&made.path());
    assert!(expected.is_some());
    let mut state = 20_261_126;
    let (mut found, mut harmless) = (0, 0);
    for turn in 0..60 {
        let (_directory, path) = made.copy();
        let mut bytes = sound.clone();
        let place = draw(&mut state) % bytes.len();
        let bit = draw(&mut state) % 8;
        bytes[place] ^= 1 << bit;
        fs::write(&path, &bytes).expect("the copy");
        let matters = rows(&path) != expected;
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
