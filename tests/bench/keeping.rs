//! Measures a backup of a ledger beside copying its file, on the device that holds the temporary directory.
//!
//! `CYCLES=2700000 cargo bench --bench keeping` for five machines over five years; without
//! `CYCLES` there are 100,000. Both sides end with the copy on the device, and alternate.

#![expect(clippy::disallowed_methods, reason = "a bench measures wall time")]
#![expect(clippy::print_stdout, reason = "a bench prints what it measured")]

use std::fs::File;
use std::time::{Duration, Instant};

use rinseward::core::cycle::verdict::Verdict;
use rinseward::ledger::{Commit, NewRecord, back_up, inspect};

#[expect(dead_code, reason = "the tests use all of it")]
#[path = "../tests/ledger/fixture.rs"]
mod fixture;

use fixture::{commit, cycle, open, place, trace};

/// Pairs of a backup and a copy.
const PAIRS: usize = 5;

fn main() {
    let cycles = std::env::var("CYCLES").ok().and_then(|text| text.parse().ok()).unwrap_or(100_000_u32);
    let (directory, path) = place();
    let (writer, _) = open(&path);
    for first in (0..cycles).step_by(1_000) {
        let records = (first..(first + 1_000).min(cycles)).map(|n| {
            let seconds = f64::from(n) * 60.0;
            NewRecord { record: cycle("dm1", seconds, Verdict::Pass), trace: Some(trace(seconds)) }
        });
        commit(&writer, Commit { records: records.collect(), ..Commit::default() }).expect("a commit");
    }
    writer.close().expect("an orderly end");
    let megabytes = path.metadata().expect("the ledger").len() as f64 / 1e6;
    println!("{cycles} cycles with their traces, {megabytes:.0} MB; median of {PAIRS} pairs");
    let (mut backups, mut copies, mut inspections) = (Vec::new(), Vec::new(), Vec::new());
    for pair in 0..PAIRS {
        let to = directory.path().join(format!("backup-{pair}.sqlite"));
        let began = Instant::now();
        back_up(&path, &to).expect("a backup");
        backups.push(began.elapsed());
        let began = Instant::now();
        inspect(&to).expect("it is whole");
        inspections.push(began.elapsed());
        std::fs::remove_file(&to).expect("our own file");
        let began = Instant::now();
        std::fs::copy(&path, &to).and_then(|_| File::open(&to)?.sync_all()).expect("a copy");
        copies.push(began.elapsed());
        std::fs::remove_file(&to).expect("our own file");
    }
    for (what, spent) in [
        ("backup, verified", &mut backups),
        ("of it verifying", &mut inspections),
        ("cp and sync", &mut copies),
    ] {
        spent.sort_unstable();
        let median: Duration = spent[PAIRS / 2];
        println!(
            "  {what:<18} {:>7.0} MB/s, {median:.2?} ({:.2?} to {:.2?})",
            megabytes / median.as_secs_f64(),
            spent[0],
            spent[PAIRS - 1]
        );
    }
}
