//! A writer that is ended at each of its named steps. Needs the feature `failpoints`.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use rinseward::core::cycle::verdict::Verdict;
use rinseward::core::reading::Value;
use rinseward::ledger::{Commit, Reader};

use super::fixture::{commit, cycle, open, place, plain, sample};
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

/// Runs the child with a point armed; gives how many commits it reported stored.
fn run(path: &Path, armed: &str) -> u32 {
    let output = Command::new(std::env::current_exe().expect("this program"))
        .args(["--exact", "ledger::killed::child", "--nocapture"])
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
            let reported = run(&path, &format!("ledger::{point}={passes}*off->return")).max(before);
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
