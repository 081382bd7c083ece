//! What is done to a sealed ledger, and what must be said of it.

use rinseward::core::merkle::leaf_hash;
use rinseward::core::note::Note;
use rusqlite::{Connection, params};

use super::made::key;
use super::tampered::{bytes_of, put};

/// What is done to a ledger.
pub(super) type Deed = fn(&Connection);

/// Runs statements.
pub(super) fn sql(connection: &Connection, batch: &str) {
    connection.execute_batch(batch).expect(batch);
}

/// To records: what was done, how, and what must be said.
pub(super) const RECORD_DEEDS: [(&str, Deed, &[&str]); 12] = [
    (
        "a record is changed",
        |c| {
            let bytes = replaced(&bytes_of(c, 17), "71.3", "84.3");
            c.execute("UPDATE record SET bytes = ?1 WHERE idx = 17", [bytes]).expect("no failure");
        },
        &[
            "record 17 (cycle of «dm2», recorded 2026-01-01T00:34:17.5Z) was changed",
            "records 10 to 19 are not as sealed",
            "the checkpoint of 20 records, signed 2026-01-01T00:40:00Z, does not fit",
            "the checkpoint of 10 records, signed 2026-01-01T00:20:00Z, still fits",
            "4 later ones do not fit either",
            "only the records named as changed differ",
        ],
    ),
    (
        "a record is changed with its hash",
        |c| put(c, 17, &replaced(&bytes_of(c, 17), "71.3", "84.3")),
        &["records 10 to 19 are not as sealed", "than record 17", "another tree than its records"],
    ),
    (
        "a stored hash is changed",
        |c| sql(c, "UPDATE record SET leaf = zeroblob(32) WHERE idx = 41"),
        &["record 41 (cycle of «dm2»"],
    ),
    (
        "a record is deleted",
        |c| sql(c, "DELETE FROM record WHERE idx = 23"),
        &["record 23 is missing", "no record"],
    ),
    (
        "a record is deleted and the gap closed",
        |c| {
            sql(
                c,
                "DELETE FROM record WHERE idx = 23; DELETE FROM cycle WHERE idx = 23; DELETE FROM trace WHERE idx = 23",
            );
            shift(c, 24, -1);
        },
        &["records 20 to 29 are not as sealed", "counts 65 records, and there are 64"],
    ),
    (
        "two records change places",
        |c| {
            let (a, b) = (bytes_of(c, 12), bytes_of(c, 14));
            put(c, 12, &b);
            put(c, 14, &a);
        },
        &["records 10 to 19 are not as sealed", "record 14 (cycle", "earlier time than a record before it"],
    ),
    (
        "a record is put between",
        |c| {
            shift(c, 24, 1);
            let bytes = bytes_of(c, 23);
            c.execute(
                "INSERT INTO record (idx, kind, leaf, bytes) VALUES (24, 'cycle', ?1, ?2)",
                params![leaf_hash(&bytes).0, bytes],
            )
            .expect("no failure");
        },
        &[
            "records 20 to 29 are not as sealed",
            "counts 65 records, and there are 66",
            "record 24 (cycle of «dm2»",
        ],
    ),
    (
        "the newest records are cut off",
        |c| {
            sql(
                c,
                "DELETE FROM record WHERE idx >= 55; DELETE FROM cycle WHERE idx >= 55; DELETE FROM trace WHERE idx >= 55",
            )
        },
        &[
            "the ledger was cut back: it holds 55 records, and the checkpoint of 60 records, signed 2026-01-01T02:00:00Z",
        ],
    ),
    (
        "a clock is turned",
        |c| put(c, 44, &replaced(&bytes_of(c, 44), "T01:28:17.5Z\",\"machine", "T01:08:17.5Z\",\"machine")),
        &[
            "records 40 to 49 are not as sealed",
            "record 44 (cycle, recorded 2026-01-01T01:08:17.5Z) bears an earlier time",
        ],
    ),
    (
        "the clock of a record that is not sealed yet is turned",
        |c| put(c, 62, &replaced(&bytes_of(c, 62), "T02:04:17.5Z\",\"machine", "T01:04:17.5Z\",\"machine")),
        &["record 62 (cycle", "earlier time than a record before it"],
    ),
    ("bytes that are no record", |c| put(c, 63, b"{}"), &["what lies at record 63 is none"]),
    (
        "a record is called something else",
        |c| sql(c, "UPDATE record SET kind = 'gap' WHERE idx = 13"),
        &["record 13 (cycle of «dm2», recorded 2026-01-01T00:26:17.5Z) is stored as «gap»"],
    ),
];

/// To the numbers of days.
pub(super) const DAY_DEEDS: [(&str, Deed, &[&str]); 8] = [
    (
        "a cold rack is a pass in the numbers of its day",
        |c| sql(c, "UPDATE day SET cold = cold - 1, pass = pass + 1 WHERE machine = 1 AND day = 20453"),
        &[
            "the numbers that the history shows of «dm1» on 2025-12-31 are not those of its records: it counts 1 cold racks, and there are 2 on record",
        ],
    ),
    (
        "the lowest minimum of a day is warmer",
        |c| sql(c, "UPDATE day SET rinse_min_c = 84 WHERE machine = 2 AND day = 20454"),
        &["of «dm2» on 2026-01-01 are not", "its lowest settled minimum is another one"],
    ),
    (
        "the lowest minimum of a day is gone",
        |c| sql(c, "UPDATE day SET rinse_min_c = NULL WHERE machine = 2 AND day = 20454"),
        &["its lowest settled minimum is another one"],
    ),
    (
        "the median of a day is warmer",
        |c| sql(c, "UPDATE day SET rinse_median_c = 84.7 WHERE machine = 2 AND day = 20454"),
        &["of «dm2» on 2026-01-01 are not", "the median of its settled minima is another one"],
    ),
    (
        "a day is said to have had a damaged record",
        |c| sql(c, "UPDATE day SET damaged = 3 WHERE machine = 2 AND day = 20454"),
        &["it counts 3 damaged racks, and there are 0 on record"],
    ),
    (
        "a day is gone",
        |c| sql(c, "DELETE FROM day WHERE machine = 2 AND day = 20454"),
        &["of «dm2» on 2026-01-01 are not", "it shows none, and 16 racks are on record"],
    ),
    (
        "a day is there that never was",
        |c| {
            sql(
                c,
                "INSERT INTO day SELECT 20455, machine, cold, brief, weak, unproven, narrow, pass, late, damaged, rinse_min_c, rinse_median_c FROM day WHERE machine = 1 AND day = 20454",
            )
        },
        &["of «dm1» on 2026-01-02 are not", "no rack of that day is on record"],
    ),
    (
        "what the days hold makes no sense",
        |c| sql(c, "UPDATE day SET pass = -1"),
        &["the table of numbers by day cannot be read"],
    ),
];

/// To what lies beside the records.
pub(super) const BESIDE_DEEDS: [(&str, Deed, &[&str]); 18] = [
    (
        "a cold cycle is a pass in the history",
        |c| sql(c, "UPDATE cycle SET verdict = 5 WHERE idx = 17"),
        &["another «verdict» than record 17"],
    ),
    (
        "a minimum is warmer in the history",
        |c| sql(c, "UPDATE cycle SET rinse_min_c = 90 WHERE idx = 17"),
        &["another «settled minimum» than record 17"],
    ),
    (
        "a cycle is of another machine in the history",
        |c| sql(c, "UPDATE cycle SET machine = 1 WHERE idx = 17"),
        &["another «machine» than record 17"],
    ),
    (
        "a cycle is of another day in the history",
        |c| sql(c, "UPDATE cycle SET rinse_started = rinse_started + 1 WHERE idx = 17"),
        &["another «start of the final rinse» than record 17"],
    ),
    (
        "a cycle is hidden from the history",
        |c| sql(c, "DELETE FROM cycle WHERE idx = 17"),
        &["record 17 (cycle of «dm2»", "is missing from the table"],
    ),
    (
        "the history has a cycle more",
        |c| sql(c, "INSERT INTO cycle VALUES (35, 1, 0, 5, 85.0)"),
        &["has a cycle 35, which is no record"],
    ),
    (
        "the history has a cycle past the end",
        |c| sql(c, "INSERT INTO cycle VALUES (900, 1, 0, 5, 85.0)"),
        &["has a cycle 900, which is no record"],
    ),
    (
        "a trace is gone",
        |c| sql(c, "DELETE FROM trace WHERE idx = 17"),
        &["the trace that record 17", "is missing"],
    ),
    (
        "a trace is another one's",
        |c| sql(c, "UPDATE trace SET bytes = (SELECT bytes FROM trace WHERE idx = 18) WHERE idx = 17"),
        &["the trace of record 17", "was changed"],
    ),
    (
        "a trace is no trace",
        |c| sql(c, "UPDATE trace SET bytes = x'00' WHERE idx = 17"),
        &["the trace of record 17"],
    ),
    (
        "a trace too many",
        |c| sql(c, "INSERT INTO trace VALUES (35, x'00')"),
        &["a trace 35 that no cycle speaks of"],
    ),
    (
        "the cold cycles are taken out of the indexes, not out of the table",
        |c| {
            sql(c, "PRAGMA writable_schema = ON;
                UPDATE sqlite_schema SET sql = sql || ' WHERE verdict <> 0' WHERE name LIKE 'cycle_of_%';
                PRAGMA writable_schema = RESET;
                REINDEX cycle;
                PRAGMA writable_schema = ON;
                UPDATE sqlite_schema SET sql = replace(sql, ' WHERE verdict <> 0', '') WHERE name LIKE 'cycle_of_%';
                PRAGMA writable_schema = RESET;");
            let indexed = "SELECT count(*) FROM cycle INDEXED BY cycle_of_site WHERE verdict = 0";
            let cold: i64 = c.query_row(indexed, [], |row| row.get(0)).expect("a count");
            assert_eq!(cold, 0, "the history shows no cold cycle");
        },
        &["the index «cycle_of_machine»", "the index «cycle_of_site»", "hides some"],
    ),
    (
        "a record is taken out of the table that finds it",
        |c| sql(c, "DELETE FROM event WHERE idx = 35"),
        &["the table «event»", "hides some"],
    ),
    (
        "a record stands at another time in the table that finds it",
        |c| sql(c, "UPDATE event SET at = at - 1 WHERE idx = 35"),
        &["the table «event»"],
    ),
    (
        "a record of the site is shown among those of a machine",
        |c| sql(c, "UPDATE event SET machine = 'dm1' WHERE idx = 35"),
        &["the table «event»", "the index «event_of_machine»"],
    ),
    (
        "an alert that is none is said of a record",
        |c| sql(c, "INSERT INTO about VALUES (0, 1, 35)"),
        &["the table «about»", "shows what is not there"],
    ),
    ("an index is gone", |c| sql(c, "DROP INDEX cycle_of_site"), &["cycle_of_site cannot be read"]),
    (
        "where it stands is changed",
        |c| {
            sql(
                c,
                "UPDATE state SET frontier = (SELECT cast(substr(frontier, 1, 8) || zeroblob(length(frontier) - 8) AS BLOB) FROM state)",
            )
        },
        &["another tree than its records"],
    ),
];

/// To checkpoints.
pub(super) const SEAL_DEEDS: [(&str, Deed, &[&str]); 10] = [
    (
        "the number of a checkpoint is changed",
        |c| {
            sql(
                c,
                "UPDATE checkpoint SET note = replace(note, char(10) || '20' || char(10), char(10) || '19' || char(10)) WHERE id = 2",
            )
        },
        &[
            "the checkpoint of 19 records, stored 2026-01-01T00:40:00Z, does not hold under «rinseward/test-kitchen+",
            "another number of records beside it",
        ],
    ),
    (
        "a signature is changed",
        |c| {
            sql(
                c,
                "UPDATE checkpoint SET note = (SELECT substr(note, 1, length(note) - 40) || 'AAAA' || substr(note, length(note) - 35) FROM checkpoint WHERE id = 2) WHERE id = 2",
            )
        },
        &["the checkpoint of 20 records"],
    ),
    (
        "the root of a checkpoint is another one's",
        |c| {
            sql(
                c,
                "UPDATE checkpoint SET note = replace(note, substr(note, 27, 44), (SELECT substr(note, 27, 44) FROM checkpoint WHERE id = 3)) WHERE id = 2",
            )
        },
        &["the checkpoint of 20 records, stored 2026-01-01T00:40:00Z, does not hold"],
    ),
    (
        "the time beside a checkpoint is changed",
        |c| sql(c, "UPDATE checkpoint SET at = at + 3600000000 WHERE id = 2"),
        &["stored checkpoint 2 has another time beside it than it signs"],
    ),
    (
        "the number beside a checkpoint is changed",
        |c| sql(c, "UPDATE checkpoint SET size = 21 WHERE id = 2"),
        &["stored checkpoint 2 has another number of records beside it than it signs"],
    ),
    (
        "the signed time of a checkpoint is taken off",
        |c| {
            let note: String = c
                .query_row("SELECT note FROM checkpoint WHERE id = 2", [], |row| row.get(0))
                .expect("a note");
            let lines: Vec<&str> = note.lines().collect();
            let shorter = lines[..lines.len() - 1].join("\n") + "\n";
            c.execute("UPDATE checkpoint SET note = ?1 WHERE id = 2", [shorter]).expect("no failure");
        },
        &["the time of the checkpoint of 20 records, stored 2026-01-01T00:40:00Z, is not signed"],
    ),
    (
        "a checkpoint is taken out",
        |c| sql(c, "DELETE FROM checkpoint WHERE id = 2"),
        &["stored checkpoint 2 is missing"],
    ),
    (
        "the newest checkpoints are taken out",
        |c| sql(c, "DELETE FROM checkpoint WHERE id >= 4"),
        &["stored checkpoints 4 to 6 are missing"],
    ),
    (
        "a checkpoint is no checkpoint",
        |c| sql(c, "UPDATE checkpoint SET note = 'fine' WHERE id = 2"),
        &["stored checkpoint 2 is none"],
    ),
    (
        "a checkpoint is signed by a key that was not in force",
        |c| {
            let note: String = c
                .query_row("SELECT note FROM checkpoint WHERE id = 2", [], |row| row.get(0))
                .expect("a note");
            let text = note.split("\n\n").next().expect("a text").to_owned() + "\n";
            let signed = Note::sign(text, &[&key(2)]).expect("a fine text");
            c.execute("UPDATE checkpoint SET note = ?1 WHERE id = 2", [signed.to_string()])
                .expect("no failure");
        },
        &["the checkpoint of 20 records", "it is not signed by"],
    ),
];

fn replaced(bytes: &[u8], from: &str, to: &str) -> Vec<u8> {
    let text = String::from_utf8(bytes.to_vec()).expect("a record is text");
    let changed = text.replace(from, to);
    assert_ne!(text, changed, "«{from}» is there");
    changed.into_bytes()
}

/// Moves the records from `from` on by so many places, with all that is beside them.
fn shift(connection: &Connection, from: u64, by: i64) {
    for table in ["record", "cycle", "trace"] {
        // By way of places that are free.
        connection
            .execute(&format!("UPDATE {table} SET idx = idx + 1000 WHERE idx >= ?1"), [from])
            .expect("no failure");
        connection
            .execute(&format!("UPDATE {table} SET idx = idx - 1000 + ?1 WHERE idx >= 1000"), [by])
            .expect("no failure");
    }
}
