//! Measures the ledger on the device that holds the temporary directory.
//!
//! `CYCLES=2700000 cargo bench --bench ledger` fills five machines over five
//! years; without `CYCLES` there are 50,000. Everything is written with
//! synchronous FULL: a commit that is reported is on the device.

#![expect(clippy::disallowed_methods, reason = "a bench measures wall time")]
#![expect(clippy::print_stdout, reason = "a bench prints what it measured")]

use std::ops::ControlFlow;
use std::path::Path;
use std::time::{Duration, Instant};

use rinseward::core::cycle::verdict::Verdict;
use rinseward::core::id::ChannelId;
use rinseward::core::reading::{Sample, Value};
use rinseward::core::site::Event;
use rinseward::core::time::Timestamp;
use rinseward::ledger::{Commit, CycleFilter, Input, LedgerError, Names, Reader, Writer};

#[expect(dead_code, reason = "the tests use all of it")]
#[path = "../tests/ledger/fixture.rs"]
mod fixture;

use fixture::{at, commit, cycle, options, place, plain};

const MACHINES: u32 = 5;
const CHANNELS: u16 = 16;
const HERTZ: u32 = 4;

/// Minimal generator of Park and Miller (Communications of the ACM 31, 1988), so that runs repeat.
struct Draw(u64);

impl Draw {
    fn next(&mut self) -> u64 {
        self.0 = self.0 * 48_271 % 2_147_483_647;
        self.0
    }

    fn unit(&mut self) -> f64 {
        self.next() as f64 / 2_147_483_647.0
    }

    fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.unit()).sum::<f64>() - 6.0
    }

    fn below(&mut self, end: u32) -> u32 {
        u32::try_from(self.next() % u64::from(end.max(1))).unwrap_or(0)
    }
}

fn main() {
    measure_commits();
    for (resolution_c, jitter_ms) in [(0.1, 0.0), (0.1, 2.0), (0.0625, 2.0), (0.25, 2.0)] {
        measure_size(resolution_c, jitter_ms);
    }
    let cycles = std::env::var("CYCLES").ok().and_then(|text| text.parse().ok()).unwrap_or(50_000);
    measure_history(cycles);
}

fn open(path: &Path, now: Timestamp) -> Writer {
    let machines: Vec<String> = (0..MACHINES).map(|n| format!("dm{n}")).collect();
    let channels: Vec<String> = (0..CHANNELS).map(|n| format!("dm{}/probe-{n}", n % 5)).collect();
    Writer::open(&options(path), Names { machines: &machines, channels: &channels }, now)
        .expect("the ledger opens")
        .0
}

/// Readings of all channels, 4 Hz, a 12 s rinse every two minutes.
struct Site {
    draw: Draw,
    probe_c: [f64; CHANNELS as usize],
    resolution_c: f64,
    jitter_ms: f64,
    tick: u32,
}

impl Site {
    fn new(resolution_c: f64, jitter_ms: f64) -> Self {
        Self { draw: Draw(12_345), probe_c: [60.0; CHANNELS as usize], resolution_c, jitter_ms, tick: 0 }
    }

    fn next(&mut self) -> Vec<Input> {
        let seconds = f64::from(self.tick) / f64::from(HERTZ);
        self.tick += 1;
        let mut inputs = Vec::with_capacity(usize::from(CHANNELS));
        for channel in 0..CHANNELS {
            let phase = (seconds + 7.0 * f64::from(channel)) % 120.0;
            let (water_c, tau_s) = if phase < 12.0 { (85.0, 1.0) } else { (60.0, 40.0) };
            let probe_c = &mut self.probe_c[usize::from(channel)];
            *probe_c += (water_c - *probe_c) * (1.0 - (-0.25_f64 / tau_s).exp());
            let steps = ((*probe_c + 0.05 * self.draw.normal()) / self.resolution_c).round();
            let digits = format!("{:.4}", steps * self.resolution_c);
            let value = Value::Number(digits.parse().expect("digits just printed"));
            let ms = (seconds * 1000.0 + self.jitter_ms * self.draw.normal()).round();
            let sample = Sample { channel: ChannelId(channel), at: at(ms / 1000.0), value };
            inputs.push(Input { now: at(seconds + 0.01), event: Event::Sample(sample) });
        }
        inputs
    }
}

fn measure_commits() {
    println!("commits, synchronous FULL, one under way at a time");
    for batch in [1_usize, 64, 1_000, 10_000] {
        let (_directory, path) = place();
        let writer = open(&path, at(0.0));
        let mut site = Site::new(0.1, 2.0);
        let mut waiting: Vec<Input> = Vec::new();
        let (mut stored, mut commits) = (0_u64, 0_u32);
        let mut spent = Vec::new();
        let began = Instant::now();
        let mut making = Duration::ZERO;
        while began.elapsed() < Duration::from_secs(2) {
            let made = Instant::now();
            while waiting.len() < batch {
                waiting.extend(site.next());
            }
            let inputs: Vec<Input> = waiting.drain(..batch).collect();
            making += made.elapsed();
            stored += batch as u64;
            let submitted = Instant::now();
            let next = Commit { inputs, settled: stored.saturating_sub(5_000), ..Commit::default() };
            commit(&writer, next).expect("a commit");
            spent.push(submitted.elapsed());
            commits += 1;
        }
        let busy = (began.elapsed() - making).as_secs_f64();
        println!(
            "  {batch:>6} readings each: {:>7.0} commits/s, {:>9.0} readings/s, commit p50 {:?}, p99 {:?}",
            f64::from(commits) / busy,
            stored as f64 / busy,
            quantile(&mut spent, 50),
            quantile(&mut spent, 99)
        );
    }
}

fn measure_size(resolution_c: f64, jitter_ms: f64) {
    let (_directory, path) = place();
    let writer = open(&path, at(0.0));
    let mut site = Site::new(resolution_c, jitter_ms);
    let mut stored = 0;
    // Six hours, ten seconds to a commit.
    for _ in 0..6 * 360 {
        let inputs: Vec<Input> = (0..10 * HERTZ).flat_map(|_| site.next()).collect();
        stored += inputs.len() as u64;
        commit(&writer, Commit { inputs, settled: stored, ..Commit::default() }).expect("a commit");
    }
    drop(writer);
    let connection = rusqlite::Connection::open(&path).expect("the closed ledger");
    let (readings, bytes): (u64, u64) = connection
        .query_row("SELECT sum(readings), sum(length(bytes)) FROM block", [], |row| {
            Ok((row.get(0)?, row.get(1)?))
        })
        .expect("blocks");
    let tail: u64 = connection
        .query_row("SELECT sum(last - first + 1) FROM tail", [], |row| row.get::<_, Option<u64>>(0))
        .expect("the tail")
        .unwrap_or(0);
    let pages: u64 = connection
        .query_row("SELECT sum(pgsize) FROM dbstat WHERE name LIKE 'block%'", [], |row| row.get(0))
        .unwrap_or(0);
    println!(
        "{resolution_c} °C, jitter {jitter_ms} ms: {:.3} bytes a reading in blocks, {:.3} with the pages they fill ({readings} readings, {tail} in the tail)",
        bytes as f64 / readings as f64,
        pages as f64 / readings as f64,
    );
}

fn measure_history(cycles: u32) {
    let (_directory, path) = place();
    // One cycle of each machine every five minutes.
    let seconds = |n: u32| f64::from(n / MACHINES) * 291.0 + f64::from(n % MACHINES);
    let writer = open(&path, at(0.0));
    let began = Instant::now();
    let mut next = 0;
    while next < cycles {
        let end = (next + 1_000).min(cycles);
        let records = (next..end)
            .map(|n| {
                let verdict = match n % 1_009 {
                    0 => Verdict::Cold,
                    1 => Verdict::Brief,
                    2..20 => Verdict::Unproven,
                    20..60 => Verdict::Narrow,
                    _ => Verdict::Pass,
                };
                plain(cycle(&format!("dm{}", n % MACHINES), seconds(n), verdict))
            })
            .collect();
        commit(&writer, Commit { records, ..Commit::default() }).expect("a commit");
        next = end;
    }
    println!("{cycles} cycles written in {:.1?}", began.elapsed());
    drop(writer);
    let began = Instant::now();
    let writer = open(&path, at(seconds(cycles)));
    println!("  start with that ledger: {:.1?}", began.elapsed());
    let reader = Reader::open(&path).expect("a reader");
    let mut draw = Draw(2_718);
    for (what, machine, verdicts, days) in [
        ("a machine, a day", true, vec![], 1.0),
        ("a machine, all years", true, vec![], 36_500.0),
        ("the site, a week", false, vec![], 7.0),
        ("cold and brief, a machine, all years", true, vec![Verdict::Cold, Verdict::Brief], 36_500.0),
        ("cold, the site, all years", false, vec![Verdict::Cold], 36_500.0),
    ] {
        let mut spent = Vec::new();
        let mut rows = 0;
        for _ in 0..500 {
            let from = seconds(draw.below(cycles));
            let filter = CycleFilter {
                machine: machine.then(|| format!("dm{}", draw.below(MACHINES))),
                from: Some(at(if days > 1e4 { 0.0 } else { from })),
                to: Some(at(from + days * 86_400.0)),
                verdicts: verdicts.clone(),
                limit: Some(100),
                after_index: None,
            };
            let began = Instant::now();
            page(&reader, &filter, &mut rows).expect("a page");
            spent.push(began.elapsed());
        }
        println!(
            "  page of up to 100, newest first, {what}: p50 {:.2?}, p99 {:.2?} ({} rows on average)",
            quantile(&mut spent, 50),
            quantile(&mut spent, 99),
            rows / 500
        );
    }
    let began = Instant::now();
    let mut bytes_total = 0;
    let count = |_, bytes: &[u8], _| {
        bytes_total += bytes.len();
        ControlFlow::Continue(())
    };
    reader.records(0, count).expect("all records");
    println!("  all records read, hashed and parsed: {:.1?}, {bytes_total} bytes", began.elapsed());
    drop(writer);
}

fn page(reader: &Reader, filter: &CycleFilter, rows: &mut usize) -> Result<(), LedgerError> {
    reader.cycles_newest_first(filter, |_, _, _| {
        *rows += 1;
        ControlFlow::Continue(())
    })
}

fn quantile(spent: &mut [Duration], percent: usize) -> Duration {
    spent.sort_unstable();
    let place = spent.len() * percent / 100;
    spent.get(place.min(spent.len().saturating_sub(1))).copied().unwrap_or_default()
}
