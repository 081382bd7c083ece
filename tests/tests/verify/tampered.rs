//! One thing is done to a sealed ledger, and must be found at its place.

use proptest::prelude::*;
use rusqlite::{Connection, params};

use rinseward::core::audit::Outcome;
use rinseward::core::merkle::leaf_hash;

use super::deeds::{BESIDE_DEEDS, DAY_DEEDS, Deed, RECORD_DEEDS, SEAL_DEEDS, sql};
use super::made::{Made, RECORDS, SEALED, made};
use super::{look, said};

/// Opens the copy of a ledger as a tamperer would, without its guards.
pub(super) fn without_guards(path: &std::path::Path) -> Connection {
    let connection = Connection::open(path).expect("the copy");
    connection.execute_batch("PRAGMA foreign_keys = OFF").expect("no failure");
    let guards: Vec<String> = connection
        .prepare("SELECT name FROM sqlite_schema WHERE type = 'trigger'")
        .and_then(|mut names| names.query_map([], |row| row.get(0))?.collect())
        .expect("the names of its triggers");
    for guard in guards {
        connection.execute_batch(&format!("DROP TRIGGER {guard}")).expect("no failure");
    }
    connection
}

/// The bytes of a record.
pub(super) fn bytes_of(connection: &Connection, index: u64) -> Vec<u8> {
    connection
        .query_row("SELECT bytes FROM record WHERE idx = ?1", [index], |row| row.get(0))
        .expect("the record")
}

/// Puts other bytes in the place of a record, with the hash that fits them.
pub(super) fn put(connection: &Connection, index: u64, bytes: &[u8]) {
    connection
        .execute(
            "UPDATE record SET bytes = ?2, leaf = ?3 WHERE idx = ?1",
            params![index, bytes, leaf_hash(bytes).0],
        )
        .expect("no failure");
}

fn is_found(made: &Made, what: &str, deed: Deed, expected: &[&str]) {
    let (_directory, path) = made.copy();
    let connection = without_guards(&path);
    deed(&connection);
    connection.close().expect("the deed is done");
    let report = look(&path, &made.second);
    let said = said(&report);
    assert_eq!(report.outcome, Outcome::NotWhole, "{what}");
    for part in expected {
        assert!(said.contains(part), "{what}: «{part}» is not in\n{said}");
    }
}

#[test]
fn what_is_done_to_records_is_found() {
    for (what, deed, expected) in RECORD_DEEDS {
        is_found(made(), what, deed, expected);
    }
}

#[test]
fn what_is_done_beside_the_records_is_found() {
    for (what, deed, expected) in BESIDE_DEEDS {
        is_found(made(), what, deed, expected);
    }
}

#[test]
fn what_is_done_to_the_numbers_of_days_is_found() {
    for (what, deed, expected) in DAY_DEEDS {
        is_found(made(), what, deed, expected);
    }
}

// What is counted anew for every reader deceives nobody: whole, and nothing is said to be compared.
#[test]
fn numbers_that_nobody_is_shown_are_not_compared() {
    for deed in [
        "DELETE FROM bookmark WHERE name = 'days'",
        "UPDATE bookmark SET state = cast(replace(cast(state AS TEXT), 'Azores', 'Atlantis') AS BLOB) WHERE name = 'days'",
        "UPDATE bookmark SET state = cast(replace(cast(state AS TEXT), '\"version\":\"', '\"version\":\"0.') AS BLOB) WHERE name = 'days'",
    ] {
        let (_directory, path) = made().copy();
        let connection = without_guards(&path);
        sql(&connection, "UPDATE day SET pass = pass + 1");
        sql(&connection, deed);
        connection.close().expect("the deed is done");
        let keys = [made().second.clone()];
        let audited = super::try_look(&path, &keys, Vec::new()).expect("a ledger");
        assert_eq!((audited.report.outcome, audited.days), (Outcome::Whole, None), "{deed}");
    }
    // A bookmark that ends earlier leaves the later days to the reader.
    let (_directory, path) = made().copy();
    let connection = without_guards(&path);
    sql(&connection, "UPDATE day SET pass = pass + 1 WHERE day = 20454;
        UPDATE bookmark SET state = cast(replace(cast(state AS TEXT), '\"next\":65', '\"next\":40') AS BLOB) WHERE name = 'days'");
    connection.close().expect("the deed is done");
    let keys = [made().second.clone()];
    let audited = super::try_look(&path, &keys, Vec::new()).expect("a ledger");
    assert_eq!(
        (audited.report.outcome, audited.days),
        (Outcome::Whole, Some(2)),
        "{}",
        said(&audited.report)
    );
}

#[test]
fn what_is_done_to_checkpoints_is_found() {
    for (what, deed, expected) in SEAL_DEEDS {
        is_found(made(), what, deed, expected);
    }
}

// Many findings are bounded, and none is lost from the count.
#[test]
fn a_ledger_in_ruins_is_told_of_in_few_words() {
    let (_directory, path) = made().copy();
    let connection = without_guards(&path);
    sql(&connection, "UPDATE record SET leaf = zeroblob(32)");
    connection.close().expect("the deed is done");
    let report = look(&path, &made().second);
    assert_eq!(report.outcome, Outcome::NotWhole);
    let changed = said(&report).lines().filter(|line| line.contains("was changed: its bytes")).count() as u64;
    assert_eq!(changed + report.findings_more, RECORDS);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, failure_persistence: None, ..ProptestConfig::default() })]

    // Any byte of any sealed record's row: its bytes, its hash, its kind.
    #[test]
    fn any_changed_byte_of_a_sealed_record_is_found(
        index in 0..SEALED,
        column in prop::sample::select(vec!["bytes", "leaf", "kind"]),
        place in any::<prop::sample::Index>(),
        by in 1..=255_u8,
    ) {
        let (_directory, path) = made().copy();
        let connection = without_guards(&path);
        let select = format!("SELECT cast({column} AS BLOB) FROM record WHERE idx = ?1");
        let mut bytes: Vec<u8> = connection.query_row(&select, [index], |row| row.get(0)).expect("the row");
        let place = place.index(bytes.len());
        bytes[place] = bytes[place].wrapping_add(by);
        let kind = if column == "kind" { "cast(?2 AS TEXT)" } else { "?2" };
        connection
            .execute(&format!("UPDATE record SET {column} = {kind} WHERE idx = ?1"), params![index, bytes])
            .expect("no failure");
        connection.close().expect("the deed is done");
        let report = look(&path, &made().second);
        prop_assert_eq!(report.outcome, Outcome::NotWhole);
        let said = said(&report);
        prop_assert!(said.contains(&format!("record {index} ")), "{}", said);
    }
}
