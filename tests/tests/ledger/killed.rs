//! A writer that is ended at each of its named steps. Needs the feature `failpoints`.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use rinseward::core::cycle::verdict::Verdict;
use rinseward::core::reading::Value;
use rinseward::ledger::{Append, Bookmark, Commit, LetterStatus, OutboxChange, Reader, SetAside};

use super::append::{append, letter};
use super::fixture::{at, commit, cycle, open, place, plain, sample};
use super::values;

/// Where the child finds the ledger it is to write.
const CHILD: &str = "RINSEWARD_TEST_LEDGER";
/// Inputs in each commit of the child; six commits make a round of compaction.
const INPUTS: u32 = 2_100;

fn one(n: u32) -> Commit {
    let inputs = (0..INPUTS)
        .map(|k| {
            sample(
                u16::try_from(k % 2).expect("0 or 1"),
                f64::from(n * INPUTS + k),
                Value::Number(f64::from(k)),
            )
        })
        .collect();
    let records = vec![plain(cycle("dm1", f64::from(n), Verdict::Pass))];
    Commit { inputs, records, settled: u64::from(n * INPUTS), ..Commit::default() }
}

// Not a test of its own: the process that the test below starts and that ends itself.
#[test]
fn child() {
    let Some(path) = std::env::var_os(CHILD).map(PathBuf::from) else { return };
    let _scenario = fail::FailScenario::setup();
    let (writer, recovered) = open(&path);
    let first = u32::try_from(recovered.tree_size).expect("few");
    for n in first..first + 20 {
        commit(&writer, one(n)).expect("a commit");
        let mut out = std::io::stderr();
        out.write_all(format!("stored {}\n", n + 1).as_bytes()).expect("the parent listens");
    }
}

/// An append that touches every table that appends can: the letter of the one before is delivered.
fn append_of(n: u32) -> Append {
    let delivered = OutboxChange::Delivered { id: i64::from(n), at: at(f64::from(n)) };
    let put = OutboxChange::Put(letter(&n.to_string(), "one", f64::from(n)));
    let set_aside = SetAside {
        consumer: "series".to_owned(),
        at: at(f64::from(n)),
        reason: "a test".to_owned(),
        bytes: vec![0; 9_000],
    };
    Append {
        records: vec![plain(cycle("dm1", f64::from(n), Verdict::Pass))],
        bookmarks: vec![Bookmark { name: "desk".to_owned(), state: n.to_le_bytes().to_vec() }],
        outbox: if n == 0 { vec![put] } else { vec![delivered, put] },
        set_aside: vec![set_aside],
        taken_back: if n == 0 { Vec::new() } else { vec![i64::from(n)] },
        checkpoints: Vec::new(),
        days: None,
    }
}

// As above, for appends.
#[test]
fn appending_child() {
    let Some(path) = std::env::var_os(CHILD).map(PathBuf::from) else { return };
    let _scenario = fail::FailScenario::setup();
    let (writer, recovered) = open(&path);
    let first = u32::try_from(recovered.tree_size).expect("few");
    for n in first..first + 20 {
        append(&writer, append_of(n)).expect("an append");
        let mut out = std::io::stderr();
        out.write_all(format!("stored {}\n", n + 1).as_bytes()).expect("the parent listens");
    }
}

/// Runs a child with a point armed; gives how many of what it stores it reported stored.
fn run(path: &Path, child: &str, armed: &str) -> u32 {
    let output = Command::new(std::env::current_exe().expect("this program"))
        .args(["--exact", child, "--nocapture"])
        .env(CHILD, path)
        .env("FAILPOINTS", armed)
        .stdout(Stdio::null())
        .output()
        .expect("this program starts again");
    assert!(!output.status.success(), "{armed}: the child was to be ended");
    let text = String::from_utf8_lossy(&output.stderr);
    let stored = text.lines().filter_map(|line| line.strip_prefix("stored ")?.parse().ok()).max();
    stored.unwrap_or(0)
}

// Shows that wherever the writer ends, what was reported is there, at most one
// commit more, and every reading of these once.
#[test]
fn nothing_reported_is_lost_wherever_the_writer_ends() {
    for point in [
        "before-begin",
        "after-inputs",
        "after-records",
        "before-commit",
        "after-commit",
        "during-compaction",
        "after-compaction",
    ] {
        let (_directory, path) = place();
        let mut before = 0;
        for passes in [3, 1, 2] {
            let reported =
                run(&path, "ledger::killed::child", &format!("ledger::{point}={passes}*off->return"));
            let reported = reported.max(before);
            let (writer, recovered) = open(&path);
            let kept = u32::try_from(recovered.tree_size).expect("few");
            assert!(kept == reported || kept == reported + 1, "{point}: {kept} kept, {reported} reported");
            assert_eq!(recovered.next_input, u64::from(kept * INPUTS) + 1, "{point}");
            let reader = Reader::open(&path).expect("a reader");
            for channel in ["dm1/wash", "dm1/rinse"] {
                assert_eq!(
                    values(&reader, channel).len(),
                    (kept * INPUTS / 2) as usize,
                    "{point}, {channel}"
                );
            }
            before = kept;
            writer.close().expect("an orderly end");
        }
        let (writer, _) = open(&path);
        commit(&writer, one(before)).expect("recording goes on");
        commit(&writer, Commit { settled: u64::from((before + 1) * INPUTS), ..Commit::default() })
            .expect("settled");
    }
}

// Shows that wherever the writer ends within an append, all of it is there or nothing.
#[test]
fn an_append_is_there_whole_or_not_at_all() {
    for point in ["before-append", "after-letters", "before-append-commit", "after-append-commit"] {
        let (_directory, path) = place();
        let mut before = 0;
        for passes in [2, 1, 3] {
            let armed = format!("ledger::{point}={passes}*off->return");
            let reported = run(&path, "ledger::killed::appending_child", &armed).max(before);
            let (writer, recovered) = open(&path);
            let kept = u32::try_from(recovered.tree_size).expect("few");
            let told = if point == "after-append-commit" { reported + 1 } else { reported };
            assert_eq!(kept, told, "{point}");
            let reader = Reader::open(&path).expect("a reader");
            let state = reader.bookmark("desk").expect("no failure").expect("there was one");
            assert_eq!(state, (kept - 1).to_le_bytes(), "{point}");
            let letters = reader.letters(100).expect("no failure");
            assert_eq!(letters.len(), kept as usize, "{point}");
            assert_eq!(letters[0].letter.key, (kept - 1).to_string(), "{point}");
            for (posted, is_newest) in
                letters.iter().zip(std::iter::once(true).chain(std::iter::repeat(false)))
            {
                let status = if is_newest { LetterStatus::Waiting } else { LetterStatus::Delivered };
                assert_eq!(posted.status, status, "{point}, letter {}", posted.letter.key);
            }
            let aside = reader.set_aside("series", 100).expect("no failure");
            assert_eq!(aside.iter().map(|(id, _)| *id).collect::<Vec<_>>(), [i64::from(kept)], "{point}");
            before = kept;
            writer.close().expect("an orderly end");
        }
        let (writer, _) = open(&path);
        append(&writer, append_of(before)).expect("it goes on");
    }
}
