//! What a ledger does when its place, its file or its device is not as it should be.

use std::fs;
use std::io::{BufRead, BufReader, Write};
use std::os::unix::fs::PermissionsExt;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;

use rinseward::core::cycle::verdict::Verdict;
use rinseward::core::reading::Value;
use rinseward::core::record::Record;
use rinseward::core::time::Timestamp;
use rinseward::ledger::{
    Append, Commit, LedgerError, Letter, Names, NewRecord, OutboxChange, Part, Readable, Reader, Retry,
    Writer,
};

use super::append::{append, letter};
use super::fixture::{
    NEW_YEAR, at, commit, cycle, open, options, place, plain, sample, site, start, stop, trace,
};
use super::{all_records, beside, ramp, values, wait_for_tail};
use crate::keeping::device::Tmpfs;

fn refusal(path: &Path) -> LedgerError {
    let (machines, channels) = site();
    match Writer::open(&options(path), Names { machines: &machines, channels: &channels }, NEW_YEAR) {
        Ok(_) => panic!("{} must not open", path.display()),
        Err(error) => error,
    }
}

fn patch(path: &Path, offset: usize, with: impl Fn(u8) -> u8) {
    let mut bytes = fs::read(path).expect("the ledger's bytes");
    bytes[offset] = with(bytes[offset]);
    fs::write(path, bytes).expect("the ledger's bytes back");
}

fn find(path: &Path, wanted: &[u8]) -> usize {
    let bytes = fs::read(path).expect("the ledger's bytes");
    bytes.windows(wanted.len()).position(|window| window == wanted).expect("the bytes are there")
}

/// A closed ledger with 40 cycles and two blocks of 4096 and fewer readings.
fn full(path: &Path) {
    let (writer, _) = open(path);
    let records = (0..40_u32)
        .map(|n| NewRecord {
            record: cycle("dm1", f64::from(n) * 60.0, Verdict::Pass),
            trace: Some(trace(f64::from(n) * 60.0)),
        })
        .collect();
    let inputs = ramp(1, 0..13_000);
    commit(&writer, Commit { inputs, records, settled: 13_000, ..Commit::default() }).expect("a commit");
    wait_for_tail(path, 0);
    commit(&writer, Commit { inputs: ramp(0, 0..5), ..Commit::default() }).expect("a commit");
    writer.close().expect("an orderly end");
}

#[test]
fn a_second_start_is_refused_until_the_first_is_gone() {
    let (_directory, path) = place();
    let (writer, _) = open(&path);
    let error = refusal(&path);
    assert!(matches!(&error, LedgerError::InUse { path: named } if *named == path), "{error}");
    assert_eq!(error.retry(), Retry::Never);
    drop(writer);
    drop(open(&path));
}

// flock(2): the lock goes with the last handle on the open file, so with the process.
#[test]
fn the_lock_of_a_killed_process_is_gone() {
    let (_directory, path) = place();
    drop(open(&path));
    let lock = beside(&path, ".lock");
    let mut holder = Command::new("sh")
        .args(["-c", r#"exec 9>"$1" && flock 9 && echo held && exec sleep 60"#, "sh"])
        .arg(lock)
        .stdout(Stdio::piped())
        .spawn()
        .expect("sh and flock of util-linux are there");
    let mut line = String::new();
    let output = holder.stdout.take().expect("it was asked for");
    BufReader::new(output).read_line(&mut line).expect("a line");
    assert_eq!(line, "held\n");
    assert!(matches!(refusal(&path), LedgerError::InUse { .. }));
    holder.kill().expect("our own child");
    holder.wait().expect("our own child");
    drop(open(&path));
}

#[test]
fn a_place_that_cannot_hold_a_ledger_is_named() {
    let (directory, path) = place();
    let missing = directory.path().join("nowhere/ledger.sqlite");
    let error = refusal(&missing);
    assert!(matches!(&error, LedgerError::DirectoryMissing { directory } if directory.ends_with("nowhere")));
    assert!(matches!(Reader::open(&path), Err(LedgerError::Missing { .. })));
    assert!(matches!(refusal(directory.path()), LedgerError::NotALedger { source: None, .. }));

    drop(open(&path));
    fs::set_permissions(&path, fs::Permissions::from_mode(0o444)).expect("our own file");
    assert!(matches!(refusal(&path), LedgerError::ReadOnly { .. }));
    assert_eq!(Reader::open(&path).and_then(|reader| reader.size()).expect("reading is allowed"), 0);
}

#[test]
fn a_file_that_is_no_ledger_is_left_alone() {
    let (directory, path) = place();
    let text =
        "a shopping list, and long enough that no header of a database fits in the same bytes ".repeat(9);
    fs::write(&path, &text).expect("a file");
    assert!(matches!(refusal(&path), LedgerError::NotALedger { source: Some(_), .. }));
    assert!(matches!(Reader::open(&path), Err(LedgerError::NotALedger { .. })));
    assert_eq!(fs::read_to_string(&path).expect("the same file"), text);

    let other = directory.path().join("other.sqlite");
    let connection = rusqlite::Connection::open(&other).expect("a database");
    connection.execute_batch("CREATE TABLE dish (name TEXT)").expect("a table");
    assert!(matches!(refusal(&other), LedgerError::NotALedger { source: None, .. }));

    let newer = directory.path().join("newer.sqlite");
    drop(open(&newer));
    let connection = rusqlite::Connection::open(&newer).expect("a ledger");
    connection.execute_batch("PRAGMA user_version = 3").expect("a format");
    assert!(matches!(refusal(&newer), LedgerError::NewerFormat { found: 3, known: 2 }));
}

// Shows that a start cut off before the tables were made is no obstacle.
#[test]
fn an_empty_file_becomes_a_ledger() {
    let (_directory, path) = place();
    fs::write(&path, "").expect("a file");
    let (machines, channels) = site();
    let names = Names { machines: &machines, channels: &channels };
    let (_writer, recovered) = Writer::open(&options(&path), names, NEW_YEAR).expect("a new ledger");
    assert!(recovered.created);
}

#[test]
fn a_flipped_bit_in_a_record_is_found_and_the_others_stay_readable() {
    let (_directory, path) = place();
    full(&path);
    // The start of cycle 17's final rinse, as it is printed in its record.
    let text = format!("\"rinse_started\":\"{}\"", at(17.0 * 60.0));
    let offset = find(&path, text.as_bytes());
    patch(&path, offset + 18, |byte| byte ^ 1);
    let reader = Reader::open(&path).expect("the ledger opens");
    let mut sound = Vec::new();
    let count = |index, _: &[u8], _: Record| {
        sound.push(index);
        std::ops::ControlFlow::Continue(())
    };
    let error = reader.records(0, count).expect_err("a record is damaged");
    assert!(matches!(error, LedgerError::Damaged(Part::Record { index: 17 })), "{error}");
    assert_eq!(sound, (0..17).collect::<Vec<_>>());
    let mut after = 0;
    reader
        .records(18, |_, _, _| {
            after += 1;
            std::ops::ControlFlow::Continue(())
        })
        .expect("the records after it");
    assert_eq!(after, 22);
}

// Shows that a damaged block or stretch is named to who asks for it and stops nothing else.
#[test]
fn damaged_readings_stop_nothing_else() {
    let (_directory, path) = place();
    full(&path);
    let other = rusqlite::Connection::open(&path).expect("a second connection");
    let (first, last): (i64, i64) = other
        .query_row("UPDATE block SET bytes = zeroblob(9) WHERE id = 1 RETURNING first, last", [], |row| {
            Ok((row.get(0)?, row.get(1)?))
        })
        .expect("a block");
    let (first, last) = (Timestamp::from_micros(first), Timestamp::from_micros(last));
    let reader = Reader::open(&path).expect("the ledger opens");
    let error = reader.readings("dm1/rinse", Timestamp::MIN, Timestamp::MAX).expect_err("a block is damaged");
    let part = Part::Block { channel: "dm1/rinse".to_owned(), first, last };
    assert!(matches!(&error, LedgerError::Damaged(found) if *found == part), "{error}");

    let (writer, _) = open(&path);
    let inputs = vec![sample(1, 60.5, Value::Number(3.0)), sample(1, 50_000.0, Value::Number(4.0))];
    commit(&writer, Commit { inputs, settled: 13_007, ..Commit::default() }).expect("a commit");
    wait_for_tail(&path, 0);
    let after = reader.readings("dm1/rinse", last.plus(Duration::from_secs(1)), Timestamp::MAX);
    assert_eq!(
        after.expect("the readings after it").last().map(|reading| reading.value),
        Some(Value::Number(4.0))
    );

    commit(&writer, Commit { inputs: ramp(1, 60_000..60_009), ..Commit::default() }).expect("a commit");
    writer.close().expect("an orderly end");
    other.execute("UPDATE tail SET bytes = zeroblob(9)", []).expect("a stretch");
    let error = refusal(&path);
    assert!(matches!(error, LedgerError::Damaged(Part::Tail { first: 13_008 })), "{error}");
    assert_eq!(all_records(&reader).len(), 40);
}

// Shows that no scrambled page makes the ledger tell something else: it is told
// apart, or it held nothing that is asked for here.
#[test]
fn a_scrambled_page_never_changes_what_is_read() {
    let (directory, path) = place();
    full(&path);
    let whole = fs::read(&path).expect("the ledger's bytes");
    let reader = Reader::open(&path).expect("the ledger opens");
    let (records, readings) = (all_records(&reader), values(&reader, "dm1/rinse"));
    assert_eq!((records.len(), readings.len()), (40, 13_000));
    let (mut found, mut opened_damaged) = (0, 0);
    let copy = directory.path().join("copy.sqlite");
    for (page, start) in (0..whole.len()).step_by(4096).enumerate() {
        for offset in [0, 1500, 3000, 4064] {
            let mut bytes = whole.clone();
            for byte in &mut bytes[start + offset..start + offset + 24] {
                *byte ^= 0xa5;
            }
            fs::write(&copy, bytes).expect("a copy");
            let told = Reader::open(&copy).and_then(|reader| {
                let mut told = Vec::new();
                reader.records(0, |index, bytes, record| {
                    told.push((index, bytes.to_vec(), record));
                    std::ops::ControlFlow::Continue(())
                })?;
                let readings = reader.readings("dm1/rinse", Timestamp::MIN, Timestamp::MAX)?;
                let values: Vec<_> = readings.iter().map(|reading| (reading.at, reading.value)).collect();
                Ok((told, values))
            });
            match told {
                Ok((told, values)) => {
                    assert_eq!(told, records, "page {page}, byte {offset}");
                    assert!(values == readings, "page {page}, byte {offset}");
                }
                Err(error) => {
                    found += 1;
                    assert!(is_damage(&error), "page {page}, byte {offset}: {error}");
                }
            }
            if let Err(error) = try_open(&copy) {
                opened_damaged += 1;
                assert!(is_damage(&error), "page {page}, byte {offset}: {error}");
            }
        }
    }
    assert!(found > 10 && opened_damaged > 1, "{found} found by reading, {opened_damaged} by opening");
}

fn try_open(path: &Path) -> Result<(), LedgerError> {
    let (machines, channels) = site();
    let names = Names { machines: &machines, channels: &channels };
    Writer::open(&options(path), names, NEW_YEAR).map(drop)
}

fn is_damage(error: &LedgerError) -> bool {
    matches!(
        error,
        LedgerError::Corrupt { .. }
            | LedgerError::Damaged(_)
            | LedgerError::NotALedger { .. }
            | LedgerError::NewerFormat { .. }
            | LedgerError::Database { .. }
            | LedgerError::Record { .. }
    )
}

// Shows that the error about a page says what is left: here the machines' table is gone.
#[test]
fn a_corrupt_page_error_says_what_can_be_read() {
    let (_directory, path) = place();
    full(&path);
    let connection = rusqlite::Connection::open(&path).expect("a second connection");
    let root: usize = connection
        .query_row("SELECT rootpage FROM sqlite_schema WHERE name = 'snapshot'", [], |row| row.get(0))
        .expect("the table is there");
    drop(connection);
    patch(&path, (root - 1) * 4096, |_| 0x77);
    let error = refusal(&path);
    let LedgerError::Corrupt { readable, .. } = error else { panic!("{error}") };
    assert_eq!(readable, Readable::Records { counted: 40, asked: 40, sound: 40 });
}

// Shows that a full device refuses whole commits, loses nothing committed, and
// that the same commit goes through when there is room again.
#[test]
fn a_full_device_gives_commits_back() {
    let device = Tmpfs::mount("2m");
    let path = device.path().join("ledger.sqlite");
    let (writer, _) = open(&path);
    let ballast = device.path().join("ballast");
    let mut file = fs::File::create(&ballast).expect("a file");
    while file.write_all(&[7; 4096]).is_ok() {}
    drop(file);
    let mut stored: u32 = 0;
    let refused = loop {
        let next = Commit {
            inputs: (0..500)
                .map(|n| sample(1, f64::from(stored * 500 + n), Value::Number(1.0 / 3.0)))
                .collect(),
            records: vec![plain(cycle("dm1", f64::from(stored), Verdict::Pass))],
            settled: u64::from(stored) * 500,
            ..Commit::default()
        };
        match commit(&writer, next) {
            Ok(_) => stored += 1,
            Err(refused) => break refused,
        }
        assert!(stored < 1000, "2 MB cannot hold this much");
    };
    assert!(matches!(refused.error, LedgerError::DiskFull { .. }), "{:?}", refused.error);
    assert_eq!(refused.error.retry(), Retry::Later);
    let reader = Reader::open(&path).expect("a reader");
    assert_eq!(reader.size().expect("a size"), u64::from(stored));
    let large = Letter { bytes: vec![7; 100_000], ..letter("a", "one", 0.0) };
    let large = Append {
        records: vec![plain(start(1.0))],
        outbox: vec![OutboxChange::Put(large)],
        ..Append::default()
    };
    let large = append(&writer, large).expect_err("still full");
    assert!(matches!(large.error, LedgerError::DiskFull { .. }), "{:?}", large.error);
    assert_eq!(large.error.retry(), Retry::Later);
    let again = commit(&writer, refused.commit).expect_err("still full");
    assert!(matches!(again.error, LedgerError::DiskFull { .. }), "{:?}", again.error);
    fs::remove_file(&ballast).expect("our own file");
    let committed = commit(&writer, again.commit).expect("there is room");
    assert_eq!(committed.tree_size, u64::from(stored) + 1);
    assert_eq!(reader.letters(1).expect("no failure"), []);
    append(&writer, *large.append).expect("there is room for the append, too");
    assert_eq!(reader.letters(1).expect("no failure").len(), 1);
    assert_eq!(values(&reader, "dm1/rinse").len(), (stored as usize + 1) * 500);
    drop(reader);
    writer.close().expect("an orderly end");

    device.remount("ro");
    let error = refusal(&path);
    assert!(matches!(error, LedgerError::ReadOnly { .. }), "{error:?}");
    let reader = Reader::open(&path).expect("a copy in a place that takes no writes can be read");
    assert_eq!(all_records(&reader).len(), stored as usize + 2);
    drop(reader);
    device.remount("rw");
    let (writer, recovered) = open(&path);
    assert_eq!(recovered.tree_size, u64::from(stored) + 2);
    commit(&writer, Commit { records: vec![plain(stop(2.0))], ..Commit::default() }).expect("a commit");
}
