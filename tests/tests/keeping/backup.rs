//! Backups beside a working service, and what spoils one.

use std::fs;
use std::os::unix::fs::PermissionsExt;

use rinseward::core::checkpoint::Checkpoint;
use rinseward::core::cycle::verdict::Verdict;
use rinseward::core::merkle::{Hash, TreeHead};
use rinseward::core::note::SigningKey;
use rinseward::core::record::Body;
use rinseward::core::time::Timestamp;
use rinseward::ledger::{
    Append, BackupError, Commit, InspectError, LedgerError, Reader, StoredCheckpoint, back_up, inspect,
};

use super::{PIPE, beside, json, kept, records, say, whole};
use crate::crash::gateway::Gateway;
use crate::crash::kitchen::{Site, Stream, text};
use crate::ledger::fixture::{at, commit, cycle, open, place, plain};

/// Stores an append and waits.
fn append(writer: &rinseward::ledger::Writer, append: Append) {
    let (done, wait) = std::sync::mpsc::channel();
    let answer = move |result: Result<_, _>| done.send(result.is_ok()).expect("the test waits");
    writer.append(append, Box::new(answer));
    assert!(wait.recv().expect("an answer"), "stored");
}

// Own promises: a backup made while the service commits is a state that the ledger had, whole and
// verified; the public key goes with it and the secret one does not.
#[test]
fn a_backup_beside_a_working_service_is_a_state_it_had() {
    let stream = Stream::of(1, 0.6, 11);
    let site = Site::new(1, PIPE);
    let (ledger, configuration) = (site.ledger(), site.configuration());
    let mut gateway = Gateway::start(&site, "");
    let mut pipe = gateway.pipe();
    let feeding = std::thread::spawn(move || {
        use std::io::Write;
        for pack in &stream.packs {
            writeln!(pipe, "{}", pack.payload).expect("it reads");
        }
        pipe
    });
    super::until(|| ledger.exists() && records_of(&ledger) > 2, || gateway.log());
    fs::write(beside(&ledger, ".verify-key"), "kitchen+00000000+public").expect("a file");
    fs::write(beside(&ledger, ".signing-key"), "secret").expect("a file");
    let mut made = Vec::new();
    for number in 0..6 {
        let to = site.path(&format!("backup-{number}.sqlite"));
        let told = json(&["backup", "--out", text(&to), "--config", text(&configuration), "--json"]);
        assert_eq!((told["verify_key"].as_bool(), told["signing_key"].as_bool()), (Some(true), Some(false)));
        made.push((to, told["records"].as_u64().expect("a number"), told["root"].clone()));
    }
    drop(feeding.join().expect("the feeding thread"));
    assert!(gateway.end().success());
    let all = records(&ledger);
    for (to, count, root) in &made {
        let inspected = whole(to);
        assert_eq!(inspected.records, *count);
        let hex: String = inspected.root.iter().map(|byte| format!("{byte:02x}")).collect();
        assert_eq!(*root, hex);
        assert_eq!(records(to), all[..records(to).len()], "records in the order of the ledger");
        assert_eq!(records(to).len() as u64, *count);
        assert!(beside(to, ".verify-key").exists() && !beside(to, ".signing-key").exists());
        assert!(!beside(to, ".partial").exists());
    }
    assert!(made.last().expect("six").1 >= made[0].1);
}

fn records_of(path: &std::path::Path) -> u64 {
    Reader::open(path).and_then(|reader| reader.size()).unwrap_or(0)
}

#[test]
fn a_backup_is_never_written_over_and_secrets_only_on_request() {
    let site = Site::new(1, PIPE);
    let (ledger, out) = (site.ledger(), site.path("out.sqlite"));
    let backup =
        |more: &[&str]| say(&[&["backup", "--ledger", text(&ledger), "--out", text(&out)], more].concat());
    let (code, said) = backup(&[]);
    assert_eq!((code, said.contains("there is no ledger")), (Some(74), true), "{said}");
    kept(&site, 0.15);
    let (code, said) = backup(&[]);
    assert_eq!((code, said.contains("Verified: every page")), (Some(0), true), "{said}");
    assert!(said.contains("no public key beside the ledger"), "{said}");
    let first = fs::read(&out).expect("a file");
    let (code, said) = backup(&[]);
    assert_eq!((code, said.contains("is there already")), (Some(64), true), "{said}");
    assert_eq!(fs::read(&out).expect("a file"), first);
    assert_eq!(fs::metadata(&out).expect("a file").permissions().mode() & 0o777 & !0o640, 0);

    fs::remove_file(&out).expect("our own file");
    fs::write(beside(&ledger, ".verify-key"), "public").expect("a file");
    let (code, said) = backup(&["--with-signing-key"]);
    assert_eq!((code, said.contains("no secret key")), (Some(74), true), "{said}");
    for left in ["", ".verify-key"] {
        fs::remove_file(beside(&out, left)).expect("our own file");
    }
    fs::write(beside(&ledger, ".signing-key"), "secret").expect("a file");
    let (code, said) = backup(&["--with-signing-key"]);
    assert_eq!((code, said.contains("lock this copy away")), (Some(0), true), "{said}");
    let secret = beside(&out, ".signing-key");
    assert_eq!(fs::read_to_string(&secret).expect("a file"), "secret");
    assert_eq!(fs::metadata(&secret).expect("a file").permissions().mode() & 0o777, 0o600);

    // Into a directory, under a name of its own: what a timer types.
    let directory = site.path("backups");
    fs::create_dir(&directory).expect("a directory");
    let told = json(&["backup", "--ledger", text(&ledger), "--out", text(&directory), "--json"]);
    assert!(whole(std::path::Path::new(told["backup"].as_str().expect("a path"))).records > 0);
    let (code, _) = say(&["backup", "--ledger", text(&ledger), "--out", "/nowhere/at/all.sqlite"]);
    assert_eq!(code, Some(74));
}

// Shows that what is not whole is told so: a byte of any page, a cut, a record put in place of
// another with a fitting leaf, a checkpoint over other records.
#[test]
fn what_is_not_whole_is_found() {
    let (directory, path) = place();
    let (writer, _) = open(&path);
    let cycles = (0..40_u32).map(|n| plain(cycle("dm1", f64::from(n) * 60.0, Verdict::Pass)));
    let committed =
        commit(&writer, Commit { records: cycles.collect(), ..Commit::default() }).expect("a commit");
    let key = SigningKey::from_seed("kitchen", &[7; 32]).expect("a name of a key");
    let head = TreeHead { size: committed.tree_size, root: Hash(committed.root) };
    let stored = |head: TreeHead| StoredCheckpoint {
        at: at(1.0),
        size: head.size,
        note: Checkpoint::sign(head, &key).to_string(),
    };
    append(&writer, Append { checkpoints: vec![stored(head)], ..Append::default() });
    let to = directory.path().join("good.sqlite");
    let found = back_up(&path, &to).expect("a backup");
    assert_eq!((found.records, found.checkpoint), (40, Some(40)));

    let bytes = fs::read(&to).expect("a file");
    let copy = directory.path().join("bad.sqlite");
    let mut damaged = 0;
    for offset in (100..bytes.len()).step_by(997) {
        let mut bad = bytes.clone();
        bad[offset] ^= 0x55;
        fs::write(&copy, bad).expect("a file");
        damaged += u32::from(inspect(&copy).is_err());
    }
    assert!(damaged > 5, "bytes of records, hashes and the tree of pages: {damaged}");
    for cut in [0, 100, 4096, bytes.len() / 2, bytes.len() - 4096] {
        fs::write(&copy, &bytes[..cut]).expect("a file");
        assert!(inspect(&copy).is_err(), "cut to {cut}");
    }
    // A record and its leaf exchanged together with what the database knows of them.
    fs::write(&copy, &bytes).expect("a file");
    let connection = rusqlite::Connection::open(&copy).expect("a database");
    connection
        .execute_batch(
            "DROP TRIGGER record_stays;
             UPDATE record SET (leaf, bytes) = (SELECT leaf, bytes FROM record WHERE idx = 3) WHERE idx = 4;
             PRAGMA journal_mode = DELETE",
        )
        .expect("a changed ledger");
    drop(connection);
    assert!(matches!(inspect(&copy), Err(InspectError::Root { counted: 40, stated: 40 })));

    let other = TreeHead { size: 40, root: Hash([1; 32]) };
    append(&writer, Append { checkpoints: vec![stored(other)], ..Append::default() });
    let to = directory.path().join("other.sqlite");
    let refused = back_up(&path, &to).expect_err("the checkpoint is of other records");
    assert!(matches!(refused, BackupError::NotWhole(InspectError::Checkpoint { size: 40 })), "{refused:?}");
    assert!(!to.exists() && !beside(&to, ".partial").exists(), "nothing is left");
    let missing = back_up(&directory.path().join("none"), &to).expect_err("there is none");
    assert!(matches!(missing, BackupError::Ledger(LedgerError::Missing { .. })), "{missing:?}");
}

// A log that waits beside a ledger is part of it: what a killed service leaves.
#[test]
fn the_log_of_a_killed_service_is_in_the_backup() {
    let site = Site::new(1, PIPE);
    let ledger = site.ledger();
    let mut gateway = Gateway::start(&site, "");
    let stream = Stream::of(1, 0.1, 3);
    let mut pipe = gateway.pipe();
    for pack in &stream.packs {
        use std::io::Write;
        writeln!(pipe, "{}", pack.payload).expect("it reads");
    }
    super::until(
        || ledger.exists() && records(&ledger).iter().any(|record| matches!(record.body, Body::Cycle(_))),
        || gateway.log(),
    );
    gateway.kill();
    assert!(beside(&ledger, "-wal").exists());
    let before = records(&ledger);
    let to = site.path("backup.sqlite");
    json(&["backup", "--ledger", text(&ledger), "--out", text(&to), "--json"]);
    assert_eq!(records(&to), before);
    let reader = Reader::open(&to).expect("it opens");
    let readings = reader.readings("dm1/rinse", Timestamp::MIN, Timestamp::MAX).expect("the readings");
    assert!(!readings.is_empty());
}
