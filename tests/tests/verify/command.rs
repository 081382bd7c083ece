//! The command: its words, its JSON and its exit codes.

use std::fs;
use std::path::Path;
use std::process::{Command, Output, Stdio};

use rinseward::core::checkpoint::Checkpoint;
use rinseward::core::cycle::verdict::Verdict;
use rinseward::core::merkle::{Hash, TreeHead};
use rinseward::core::note::SigningKey;
use rinseward::core::record::{Body, Record, ServiceStart};
use rinseward::ledger::Commit;

use super::made::made;
use super::tampered::{bytes_of, put, without_guards};
use crate::ledger::fixture::{at, commit, cycle, open, plain};

fn verify(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_rinseward"))
        .arg("verify")
        .args(arguments)
        .env_remove("RUST_LOG")
        .output()
        .expect("the program starts")
}

fn told(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr)
}

fn text(path: &Path) -> &str {
    path.to_str().expect("temporary paths are text")
}

// Regression: `verify BAD | head -1` ended with 0.
#[test]
fn the_exit_code_is_that_of_the_answer_wherever_it_goes() {
    let (_directory, whole) = made().copy();
    let (_other, changed) = made().copy();
    let connection = without_guards(&changed);
    connection.execute_batch("UPDATE record SET kind = 'gap' WHERE idx = 13").expect("no failure");
    connection.close().expect("the deed is done");
    let key = made().second.to_string();
    // A pipe that nobody reads, and a disk that is full; a reader who had read enough is no fault.
    for (path, pipe, full) in [(&changed, 1, 1), (&whole, 0, 2)] {
        for json in [None, Some("--json")] {
            let code = |out: Stdio| {
                let mut command = Command::new(env!("CARGO_BIN_EXE_rinseward"));
                command.args(["verify", text(path), "--key", &key]).args(json).env_remove("RUST_LOG");
                command.stdout(out).stderr(Stdio::null()).status().expect("the program starts").code()
            };
            let (reader, writer) = std::io::pipe().expect("a pipe");
            drop(reader);
            assert_eq!(code(writer.into()), Some(pipe), "{json:?}");
            let device = fs::OpenOptions::new().write(true).open("/dev/full").expect("a device of Linux");
            assert_eq!(code(device.into()), Some(full), "{json:?}");
        }
    }
}

// 0 whole, 1 not whole, 2 could not be checked; 64 of sysexits.h (4.3BSD) for the command line.
#[test]
fn exit_codes_and_words() {
    let (directory, path) = made().copy();
    let key = made().second.to_string();
    let place = |name: &str, text: &str| {
        let path = directory.path().join(name);
        fs::write(&path, text).expect("a file");
        path
    };
    let key_file = place("site.verify-key", &format!("{key}\n"));
    let kept = place("kept.txt", &made().notes[2]);
    let empty = place("empty", "");
    let letter = place("letter.txt", "Dear inspector,\n");
    let (_other, changed) = made().copy();
    let connection = without_guards(&changed);
    connection.execute_batch("UPDATE record SET kind = 'gap' WHERE idx = 13").expect("no failure");
    connection.close().expect("the deed is done");

    let whole: &[&str] = &[
        ": whole",
        "records     65, recorded 2026-01-01T00:00:00Z to 2026-01-01T02:08:17.5Z",
        "records 0 to 59 are as they were sealed: the checkpoint of 60 records, signed 2026-01-01T02:00:00Z, by «rinseward/test-kitchen+",
        "not sealed  the newest 5 records, recorded since 2026-01-01T02:00:17.5Z: no checkpoint counts them yet, so nothing proves them",
        "the numbers kept of 4 days of machines are those of their records",
        "6 of 6 in the ledger hold",
        "62 are those their cycles were judged on",
    ];
    let (path, key_file) = (text(&path), text(&key_file));
    let bakery = SigningKey::from_seed("bakery", &[5; 32]).expect("a fine name");
    let head = TreeHead { size: 30, root: Hash([7; 32]) };
    let other = place("other.txt", &Checkpoint::sign_at(head, at(0.0), &bakery).to_string());
    let (_third, exchanged) = made().copy();
    let connection = without_guards(&exchanged);
    put(&connection, 44, &bytes_of(&connection, 42));
    connection.close().expect("the deed is done");
    let rows: [(&[&str], i32, &[&str]); 12] = [
        (&[path, "--key", &key], 0, whole),
        (
            &[path, "--key", key_file, "--checkpoint", text(&kept)],
            0,
            &[
                "kept        the checkpoint of 30 records in «kept.txt», signed 2026-01-01T01:00:00Z, fits: none of these records was changed since",
            ],
        ),
        (
            &[text(&changed), "--key", &key],
            1,
            &[
                "NOT WHOLE",
                "1. record 13 (cycle of «dm2»",
                "error[verify-not-whole]: not whole: 1 finding",
                "do:",
            ],
        ),
        (
            &[path, "--key", &key, "--checkpoint", text(&other)],
            2,
            &[
                ": could not be checked",
                "records 0 to 59 are as they were sealed",
                "kept        the checkpoint of 30 records in «other.txt», IS OF ANOTHER LEDGER, «bakery»: it says nothing of this one",
                "cause: a checkpoint given with --checkpoint is of another ledger: «bakery»",
            ],
        ),
        (
            &[text(&changed), "--key", &key, "--checkpoint", text(&other)],
            1,
            &["NOT WHOLE", "1. record 13 (cycle of «dm2»", "IS OF ANOTHER LEDGER"],
        ),
        (
            &[text(&exchanged), "--key", &key],
            1,
            &[
                "records 0 to 39 are as they were sealed",
                "not proved  records 40 to 59, recorded since 2026-01-01T01:20:17.5Z: no checkpoint made over them holds, see below",
                "not sealed  the newest 5 records: no checkpoint counts them yet",
            ],
        ),
        (
            &[text(&letter), "--key", &key],
            2,
            &["error[verify-unchecked]", "it is neither a ledger", "letter.txt"],
        ),
        (&[text(&empty), "--key", &key], 2, &["error[verify-unchecked]", "the file is empty"]),
        (
            &["/nowhere/ledger", "--key", &key],
            2,
            &["error[verify-unchecked]", "/nowhere/ledger", "No such file"],
        ),
        (&[path, "--key", "nonsense"], 2, &["no public key", "--key nonsense"]),
        (&[path, "--key", &key, "--checkpoint", text(&letter)], 2, &["no checkpoint", "letter.txt"]),
        (&[path], 64, &["error[usage]", "--key"]),
    ];
    for (arguments, code, expected) in rows {
        let output = verify(arguments);
        let told = told(&output);
        assert_eq!(output.status.code(), Some(code), "{arguments:?}: {told}");
        for part in expected {
            assert!(told.contains(part), "{arguments:?}: «{part}» is not in\n{told}");
        }
    }
}

#[test]
fn json_says_the_same() {
    let (_directory, path) = made().copy();
    let connection = without_guards(&path);
    connection.execute_batch("UPDATE cycle SET verdict = 5 WHERE idx = 17").expect("no failure");
    connection.close().expect("the deed is done");
    let output = verify(&[text(&path), "--key", &made().second.to_string(), "--json"]);
    assert_eq!(output.status.code(), Some(1));
    let answer: serde_json::Value = serde_json::from_slice(&output.stdout).expect("one JSON object");
    assert_eq!(answer["outcome"], "not-whole");
    assert_eq!(answer["records"], 65);
    assert_eq!(answer["sealed"]["size"], 60);
    assert_eq!(answer["findings"][0]["fault"], "cycle-row-differs");
    assert_eq!(answer["findings"][0]["record"], 17);
    assert_eq!(answer["findings"][0]["column"], "verdict");
    assert!(answer["said"][0].as_str().expect("words").contains("another «verdict» than record 17"));
}

// A file that is copied beside a running service without its log: a young one has nothing in it, an older one lacks what
// is newest, and both are told.
#[test]
fn a_copy_without_its_log_is_told_as_that() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let (path, copy) = (directory.path().join("ledger.sqlite"), directory.path().join("copy.sqlite"));
    let (writer, _) = open(&path);
    let key = made().second.to_string();
    let put = |record: Record| {
        let records = vec![plain(record)];
        commit(&writer, Commit { records, ..Commit::default() }).expect("a commit");
    };
    let start = ServiceStart {
        version: "0.1.0".to_owned(),
        last_record: None,
        after_clean_stop: true,
        from_file: false,
        replayed: 0,
    };
    put(Record::new(at(0.0), None, Body::ServiceStart(start)));
    fs::copy(&path, &copy).expect("a copy");
    let output = verify(&[text(&copy), "--key", &key]);
    assert_eq!(output.status.code(), Some(2), "{}", told(&output));
    for part in ["holds nothing by itself", "copy.sqlite-wal» is not beside it", "rinseward backup"] {
        assert!(told(&output).contains(part), "{part}: {}", told(&output));
    }
    let mut history = Command::new(env!("CARGO_BIN_EXE_rinseward"));
    let output = history.args(["history", "--ledger", text(&copy)]).output().expect("the program starts");
    assert_eq!(output.status.code(), Some(74), "{}", told(&output));
    assert!(told(&output).contains("holds nothing by itself"), "{}", told(&output));

    let other = rusqlite::Connection::open(&path).expect("the ledger");
    let worked = other.query_row("PRAGMA wal_checkpoint(PASSIVE)", [], |row| row.get::<_, i64>(0));
    assert_eq!(worked.expect("worked in"), 0, "nobody was in the way");
    put(cycle("dm1", 60.0, Verdict::Pass));
    let copy = directory.path().join("later.sqlite");
    fs::copy(&path, &copy).expect("a copy");
    let output = verify(&[text(&copy), "--key", &key]);
    for part in ["records     1, recorded", "no log (-wal) lies beside it", "lacks what came after"] {
        assert!(told(&output).contains(part), "{part}: {}", told(&output));
    }
    drop((other, writer));
}
