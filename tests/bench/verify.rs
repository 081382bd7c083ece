//! Measures an audit of a ledger that five machines filled over the years.
//!
//! `CYCLES=2700000 cargo bench --bench verify` is five machines over five years; without
//! `CYCLES` there are 50,000. A checkpoint is made every hour of it. `TRACES=1` keeps a trace
//! with each cycle and looks at all of them; without it records, checkpoints and the table of
//! cycles are looked at. The file was just written, so that the system still holds what fits.
//! Processor time is that of all threads: over the cores, it is what a computer with nothing
//! else to do would take at best.

#![expect(clippy::disallowed_methods, reason = "a bench measures wall time")]
#![expect(clippy::print_stdout, reason = "a bench prints what it measured")]

use std::time::{Duration, Instant};

use rinseward::core::audit::Outcome;
use rinseward::core::checkpoint::Checkpoint;
use rinseward::core::cycle::verdict::Verdict;
use rinseward::core::merkle::{Frontier, Hash, leaf_hash};
use rinseward::core::note::SigningKey;
use rinseward::core::record::{Body, Record, SigningKeyChange};
use rinseward::ledger::walk::{Extent, audit};
use rinseward::ledger::{Append, Commit, Names, NewRecord, StoredCheckpoint, Writer};

#[expect(dead_code, reason = "the tests use all of it")]
#[path = "../tests/ledger/fixture.rs"]
mod fixture;

use fixture::{at, commit, cycle, options, place, plain, trace};

const MACHINES: u32 = 5;
/// Records of a commit.
const COMMIT: u32 = 1_000;
/// Seconds from one cycle of a machine to its next.
const CYCLE_S: f64 = 291.0;
const HOUR_S: f64 = 3_600.0;
/// How often the audit is measured.
const RUNS: usize = 3;

fn main() {
    let cycles = std::env::var("CYCLES").ok().and_then(|text| text.parse().ok()).unwrap_or(50_000);
    let traces = std::env::var_os("TRACES").is_some();
    let key = SigningKey::from_seed("rinseward/bench", &[7; 32]).expect("a fine name");
    let (_directory, path) = place();
    let machines: Vec<String> = (0..MACHINES).map(|n| format!("dm{n}")).collect();
    let names = Names { machines: &machines, channels: &[] };
    let writer = Writer::open(&options(&path), names, at(0.0)).expect("the ledger opens").0;
    let began = Instant::now();
    let checkpoints = fill(&writer, cycles, traces, &key);
    writer.close().expect("an orderly end");
    let bytes = path.metadata().expect("the ledger").len();
    println!(
        "{cycles} cycles{} and {checkpoints} checkpoints written in {:.1?}: {:.1} MB, {:.0} bytes a cycle",
        if traces { " with traces" } else { "" },
        began.elapsed(),
        bytes as f64 / 1e6,
        bytes as f64 / f64::from(cycles)
    );
    let extent = if traces { Extent::Whole } else { Extent::Records };
    let (mut spent, mut worked) = (Vec::new(), Vec::new());
    for _ in 0..RUNS {
        let (began, processor) = (Instant::now(), processor_time());
        let report = audit(&path, &[key.verifying()], Vec::new(), extent).expect("a ledger").report;
        spent.push(began.elapsed());
        worked.push(processor_time() - processor);
        assert_eq!(report.outcome, Outcome::Whole, "{:?}", report.findings);
        assert_eq!((report.records, report.checkpoints_hold), (u64::from(cycles) + 1, checkpoints));
    }
    spent.sort_unstable();
    worked.sort_unstable();
    println!(
        "  verified in {:.2?} (best {:.2?}, worst {:.2?} of {RUNS}), processor {:.2?}: {:.0} records/s, {:.0} MB/s",
        spent[RUNS / 2],
        spent[0],
        spent[RUNS - 1],
        worked[RUNS / 2],
        f64::from(cycles) / spent[RUNS / 2].as_secs_f64(),
        bytes as f64 / 1e6 / spent[RUNS / 2].as_secs_f64(),
    );
}

/// Time of the processor that this process took so far.
fn processor_time() -> Duration {
    let taken = rustix::time::clock_gettime(rustix::time::ClockId::ProcessCPUTime);
    taken.try_into().expect("no time before zero")
}

/// Fills the ledger; returns the number of checkpoints.
fn fill(writer: &Writer, cycles: u32, traces: bool, key: &SigningKey) -> u64 {
    let first = SigningKeyChange::first(&key.verifying());
    let first = plain(Record::new(at(0.0), None, Body::SigningKey(Box::new(first))));
    let mut tree = Frontier::default();
    let (mut sealed, mut checkpoints) = (0.0, Vec::new());
    let mut count = 0;
    let mut records = vec![first];
    for n in 0..cycles {
        let seconds = f64::from(n / MACHINES) * CYCLE_S + f64::from(n % MACHINES);
        records.push(made(n, seconds, traces));
        let last = n + 1 == cycles;
        if records.len() < COMMIT as usize && !last {
            continue;
        }
        for new in &records {
            tree.push(leaf_hash(&new.record.to_bytes()));
            let now = new.record.recorded.seconds_since(at(0.0));
            if now > sealed + HOUR_S {
                checkpoints.push(checkpoint(&tree, now, key));
                sealed = now;
            }
        }
        if last {
            checkpoints.push(checkpoint(&tree, seconds + 20.0, key));
        }
        let records = std::mem::take(&mut records);
        commit(writer, Commit { records, ..Commit::default() }).expect("a commit");
        count += checkpoints.len() as u64;
        let checkpoints = std::mem::take(&mut checkpoints);
        let (done, wait) = std::sync::mpsc::sync_channel(1);
        let append = Append { checkpoints, ..Append::default() };
        writer.append(append, Box::new(move |result| done.send(result.is_ok()).expect("the bench waits")));
        assert!(wait.recv().expect("an answer"), "the checkpoints are stored");
    }
    count
}

fn checkpoint(tree: &Frontier, seconds: f64, key: &SigningKey) -> StoredCheckpoint {
    let note = Checkpoint::sign_at(tree.head(), at(seconds), key).to_string();
    StoredCheckpoint { at: at(seconds), size: tree.size(), note }
}

fn made(n: u32, seconds: f64, traces: bool) -> NewRecord {
    let verdict = match n % 1_009 {
        0 => Verdict::Cold,
        1 => Verdict::Brief,
        2..20 => Verdict::Unproven,
        20..60 => Verdict::Narrow,
        _ => Verdict::Pass,
    };
    let mut record = cycle(&format!("dm{}", n % MACHINES), seconds, verdict);
    let trace = traces.then(|| trace(seconds));
    let hash = match &trace {
        Some(trace) => trace.sha256(),
        // As long as one that is true; nobody looks for its trace.
        None => Hash([0; 32]),
    };
    if let Body::Cycle(cycle) = &mut record.body {
        cycle.trace_sha256 = Some(hash.to_string());
    }
    NewRecord { record, trace }
}
