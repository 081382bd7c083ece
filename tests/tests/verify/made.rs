//! A ledger that the writer made, with a key that is rotated and a checkpoint every ten records.

use std::fs;
use std::path::PathBuf;
use std::sync::OnceLock;

use rinseward::core::audit::KeptSeal;
use rinseward::core::checkpoint::Checkpoint;
use rinseward::core::cycle::verdict::Verdict;
use rinseward::core::keys::endorsement;
use rinseward::core::merkle::{Hash, TreeHead};
use rinseward::core::note::{SigningKey, VerifyingKey};
use rinseward::core::reading::Value;
use rinseward::core::record::{Body, KeyChange, Record, SigningKeyChange};
use rinseward::ledger::{Append, Commit, Committed, NewRecord, Reader, StoredCheckpoint, Writer};
use tempfile::TempDir;

use crate::ledger::append::append;
use crate::ledger::fixture::{at, commit, cycle, open, place, plain, sample, start, trace};
use crate::records;

/// Records of the ledger.
pub(super) const RECORDS: u64 = 65;
/// Records before its newest checkpoint.
pub(super) const SEALED: u64 = 60;
/// The record that rotates its key.
pub(super) const ROTATED: u64 = 35;
/// Days of its machines of which numbers are kept.
pub(super) const DAYS: u64 = 4;
/// Name of its keys.
pub(super) const NAME: &str = "rinseward/test-kitchen";

/// The ledger, and what its auditor has.
pub(super) struct Made {
    directory: TempDir,
    /// The first public key.
    pub(super) first: VerifyingKey,
    /// The one in force since [`ROTATED`].
    pub(super) second: VerifyingKey,
    /// Its checkpoints, oldest first.
    pub(super) notes: Vec<String>,
    /// How many of its records have traces.
    pub(super) traces: u64,
}

/// A key for tests alone.
pub(super) fn key(seed: u8) -> SigningKey {
    SigningKey::from_seed(NAME, &[seed; 32]).expect("a fine name")
}

/// The record of a key.
pub(super) fn key_record(
    seconds: f64,
    key: &SigningKey,
    before: Option<&SigningKey>,
    change: KeyChange,
) -> Record {
    let endorsed = before.filter(|_| change == KeyChange::Rotated);
    let body = SigningKeyChange {
        key: key.verifying().to_string(),
        change,
        before: before.map(|before| before.verifying().to_string()),
        endorsed: endorsed.map(|before| endorsement(&key.verifying(), before).to_string()),
        by: None,
    };
    Record::new(at(seconds), None, Body::SigningKey(Box::new(body)))
}

/// A cycle with its trace.
pub(super) fn traced(n: u64) -> NewRecord {
    let seconds = seconds(n);
    let verdict = if n % 7 == 3 { Verdict::Cold } else { Verdict::Pass };
    let record = cycle(if n.is_multiple_of(2) { "dm1" } else { "dm2" }, seconds, verdict);
    records::traced(record, trace(seconds))
}

/// The checkpoint after a commit, made a second after the newest record.
pub(super) fn seal(writer: &Writer, committed: &Committed, seconds: f64, key: &SigningKey) -> String {
    let head = TreeHead { size: committed.tree_size, root: Hash(committed.root) };
    let note = Checkpoint::sign_at(head, at(seconds), key).to_string();
    let stored = StoredCheckpoint { at: at(seconds), size: head.size, note: note.clone() };
    append(writer, Append { checkpoints: vec![stored], ..Append::default() }).expect("an append");
    note
}

/// When record `n` is made, in seconds after the new year.
pub(super) fn seconds(n: u64) -> f64 {
    120.0 * n as f64
}

impl Made {
    /// Makes it; the writer still has it open.
    pub(super) fn open() -> (Self, Writer) {
        let (directory, path) = place();
        let (writer, _) = open(&path);
        let (old, new) = (key(1), key(2));
        let mut notes = Vec::new();
        let mut traces = 0;
        for end in (10..=SEALED).step_by(10).chain([RECORDS]) {
            let records: Vec<NewRecord> = ((end - 1) / 10 * 10..end)
                .map(|n| match n {
                    0 => plain(start(0.0)),
                    1 => plain(key_record(1.0, &old, None, KeyChange::First)),
                    ROTATED => plain(key_record(seconds(n), &new, Some(&old), KeyChange::Rotated)),
                    n => traced(n),
                })
                .collect();
            traces += records.iter().filter(|record| record.trace.is_some()).count() as u64;
            let inputs = vec![sample(1, seconds(end), Value::Number(60.0))];
            let done = commit(&writer, Commit { inputs, records, ..Commit::default() }).expect("a commit");
            if end <= SEALED {
                notes.push(seal(&writer, &done, seconds(end), if end <= ROTATED { &old } else { &new }));
            }
        }
        // In a zone whose midnight lies within: half of the records on each of two days.
        let zone = jiff::tz::TimeZone::get("Atlantic/Azores").expect("a zone");
        let reader = Reader::open(&path).expect("a reader");
        let (days, bookmark) = reader.days_to_keep(&zone, at(9e5)).expect("the days").expect("some");
        let kept = Append { days: Some(days), bookmarks: vec![bookmark], ..Append::default() };
        append(&writer, kept).expect("an append");
        let made = Self { directory, first: old.verifying(), second: new.verifying(), notes, traces };
        (made, writer)
    }

    /// Where it lies.
    pub(super) fn path(&self) -> PathBuf {
        self.directory.path().join("ledger.sqlite")
    }

    /// A copy to do things to.
    pub(super) fn copy(&self) -> (TempDir, PathBuf) {
        let (directory, path) = place();
        fs::copy(self.path(), &path).expect("a copy");
        (directory, path)
    }

    /// One of its checkpoints, kept elsewhere.
    pub(super) fn kept(&self, n: usize) -> KeptSeal {
        KeptSeal::read("kept.txt", &self.notes[n]).expect("a checkpoint")
    }
}

/// A checkpoint by the first key over what it is told to.
pub(super) fn signed(size: u64, root: Hash) -> KeptSeal {
    let note = Checkpoint::sign_at(TreeHead { size, root }, at(0.0), &key(1));
    KeptSeal::read("kept.txt", &note.to_string()).expect("a checkpoint")
}

/// One for all tests, closed: nobody changes it.
pub(super) fn made() -> &'static Made {
    static MADE: OnceLock<Made> = OnceLock::new();
    MADE.get_or_init(|| {
        let (made, writer) = Made::open();
        writer.close().expect("an orderly end");
        made
    })
}
