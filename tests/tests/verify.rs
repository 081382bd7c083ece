//! `verify` finds what was done to a ledger. No outside source: the promises are those at the
//! head of `core/audit.rs`, and each row says what was done and what must be named.

use std::fs;
use std::path::Path;

use rinseward::core::audit::{KeptAnswer, KeptSeal, Outcome, Remark, Report};
use rinseward::core::note::VerifyingKey;
use rinseward::ledger::LedgerError;
use rinseward::ledger::walk::{Audited, Extent, audit};

#[path = "verify/command.rs"]
mod command;
#[path = "verify/deeds.rs"]
mod deeds;
#[path = "verify/made.rs"]
mod made;
#[path = "verify/pages.rs"]
mod pages;
#[path = "verify/replayed.rs"]
mod replayed;
#[path = "verify/rewritten.rs"]
mod rewritten;
#[path = "verify/tampered.rs"]
mod tampered;

use made::{DAYS, Made, RECORDS, SEALED, made};

/// Audits a file with one key.
fn look(path: &Path, key: &VerifyingKey) -> Report {
    try_look(path, std::slice::from_ref(key), Vec::new()).expect("a ledger").report
}

fn try_look(path: &Path, keys: &[VerifyingKey], kept: Vec<KeptSeal>) -> Result<Audited, LedgerError> {
    audit(path, keys, kept, Extent::Whole)
}

/// Every finding in words, one a line.
fn said(report: &Report) -> String {
    report.findings.iter().map(|finding| format!("{finding}\n")).collect()
}

/// What lies in a directory: names and bytes.
fn contents(directory: &Path) -> Vec<(String, Vec<u8>)> {
    let entries = fs::read_dir(directory).expect("a directory");
    let mut files: Vec<_> = entries
        .map(|entry| {
            let path = entry.expect("an entry").path();
            (path.display().to_string(), fs::read(&path).expect("a file"))
        })
        .collect();
    files.sort();
    files
}

#[test]
fn an_untouched_ledger_is_whole_by_the_old_key_and_by_the_new_one() {
    let made = made();
    let (_directory, path) = made.copy();
    let before = contents(_directory.path());
    for key in [&made.first, &made.second] {
        let audited = try_look(&path, std::slice::from_ref(key), Vec::new()).expect("a ledger");
        assert_eq!(audited.days, Some(DAYS));
        let report = audited.report;
        assert_eq!((report.outcome, said(&report)), (Outcome::Whole, String::new()));
        assert_eq!((report.records, report.not_sealed), (RECORDS, RECORDS - SEALED));
        let sealed = report.sealed.expect("a checkpoint holds");
        assert_eq!((sealed.size, sealed.signed_time), (SEALED, true));
        assert_eq!((report.checkpoints, report.checkpoints_hold), (6, 6));
        assert_eq!(report.traces, made.traces);
        assert_eq!(report.remarks, []);
    }
    assert_eq!(contents(_directory.path()), before, "nothing is written");
}

#[test]
fn a_checkpoint_that_was_kept_is_compared() {
    let made = made();
    let (_directory, path) = made.copy();
    let kept = made.kept(2);
    let report = try_look(&path, std::slice::from_ref(&made.second), vec![kept]).expect("a ledger").report;
    assert_eq!(report.outcome, Outcome::Whole);
    assert_eq!((report.kept[0].seal.size, report.kept[0].answer), (30, KeptAnswer::Fits));
    assert!(report.kept[0].signed_by.is_some(), "by the key of its time");
}

// The log of a process that was killed is part of the ledger: copied without its index, and
// beside the running writer.
#[test]
fn a_log_that_was_left_behind_is_read() {
    let (made, writer) = Made::open();
    let report = look(&made.path(), &made.first);
    assert_eq!((report.outcome, report.records), (Outcome::Whole, RECORDS), "{}", said(&report));
    let copy = tempfile::tempdir().expect("a directory");
    let path = copy.path().join("ledger.sqlite");
    fs::copy(made.path(), &path).expect("a copy");
    let log = super::ledger::beside(&made.path(), "-wal");
    assert!(log.metadata().expect("a log").len() > 0);
    fs::copy(log, super::ledger::beside(&path, "-wal")).expect("a copy");
    let before = contents(copy.path());
    let report = look(&path, &made.first);
    assert_eq!((report.outcome, report.records), (Outcome::Whole, RECORDS), "{}", said(&report));
    assert_eq!(contents(copy.path()), before, "nothing is written");
    drop(writer);
}

#[test]
fn a_ledger_of_format_1_has_nothing_to_be_checked_against() {
    let golden = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/golden/ledger-format-1.sqlite");
    let directory = tempfile::tempdir().expect("a directory");
    let path = directory.path().join("ledger.sqlite");
    fs::copy(golden, &path).expect("a copy");
    let made = made();
    let report = look(&path, &made.first);
    assert_eq!((report.outcome, report.records), (Outcome::NotChecked, 7), "{}", said(&report));
    assert_eq!(report.remarks, [Remark::TracesWithoutHash { count: 5 }], "as this ledger was made");
    // Root of the seven records, see `ledger::golden`.
    let root = "ecf7cac0f0384aeb387e815b4eec5ce7941f68f1f1743cf0e5756fed5fe6dd80";
    let kept = made::signed(7, root.parse().expect("64 digits"));
    let report = try_look(&path, std::slice::from_ref(&made.first), vec![kept]).expect("a ledger").report;
    assert_eq!((report.outcome, report.not_sealed), (Outcome::Whole, 0), "{}", said(&report));
    let kept = made::signed(7, "00".repeat(32).parse().expect("64 digits"));
    let report = try_look(&path, std::slice::from_ref(&made.first), vec![kept]).expect("a ledger").report;
    assert_eq!(report.outcome, Outcome::NotWhole);
}
