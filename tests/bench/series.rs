//! Draining a backlog into a real server, against what `curl` reaches with batches made before.
//!
//! `cargo bench --bench series` makes a ledger of `READINGS` (default 5 million), starts
//! victoria-metrics with nothing in it and lets the pump of the gateway send everything. Then it
//! writes the same lines, `LINES` of them at most (default 5 million), into gzip files, 5,000 to
//! a file, and lets one `curl` with one connection send them into a second server that is also
//! empty. Both rates, the processor time of each and the memory of the pump are printed.

#![expect(clippy::disallowed_methods, reason = "a bench spawns and measures wall time")]
#![expect(clippy::print_stdout, reason = "a bench prints what it measured")]

use std::fmt::Write as _;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::mpsc::sync_channel;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use flate2::Compression;
use flate2::write::GzEncoder;
use rinseward::app::series::LedgerStock;
use rinseward::config::resolve::Configuration;
use rinseward::core::id::ChannelId;
use rinseward::core::reading::{Sample, Value};
use rinseward::core::site::Event;
use rinseward::core::time::Timestamp;
use rinseward::ledger::{Commit, Input, Names, Options, Writer};
use rinseward::series::answer::Outcome;
use rinseward::series::batch::Lines;
use rinseward::series::load::Loader;
use rinseward::series::pump::{Inbox, Parts, Pump, Server, Standing};
use rinseward::series::reading::ReadingPoints;
use rinseward::series::sender::Sender;
use rinseward::series::wait::Waits;
use tempfile::TempDir;
use tokio::sync::{mpsc, watch};
use tokio_util::sync::CancellationToken;

#[expect(dead_code, reason = "the tests use all of it")]
#[path = "../tests/support/victoria.rs"]
mod victoria;

use victoria::Victoria;

/// Machines with a wash and a final-rinse probe each.
const MACHINES: u32 = 8;
/// Readings a second of each probe.
const HERTZ: u32 = 4;
/// Ticks of the processor times in proc(5) per second (`getconf CLK_TCK`, 100 on every Linux of today).
const TICKS_PER_S: f64 = 100.0;
/// Inputs of one commit while the ledger is made.
const COMMIT: usize = 16_384;

fn setting(name: &str, default: u64) -> u64 {
    std::env::var(name).ok().and_then(|text| text.parse().ok()).unwrap_or(default)
}

fn main() {
    let readings = setting("READINGS", 5_000_000);
    let lines = setting("LINES", 5_000_000).min(readings);
    let directory = TempDir::new().expect("a temporary directory");
    let configuration = configuration(directory.path());
    let writer = Arc::new(ledger(&configuration, readings));
    let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build();
    let runtime = runtime.expect("a runtime");

    let server = Victoria::start();
    let sender = Sender::new(&settings(&configuration, &server.url())).expect("sound settings");
    let (cpu, began) = (cpu_s("self"), Instant::now());
    let counted = Arc::new(AtomicU64::new(0));
    let to = Counted { sender, lines: Arc::clone(&counted) };
    let most_mb = runtime.block_on(drain(&configuration, &writer, &server.url(), to, None));
    let (spent, cpu) = (began.elapsed().as_secs_f64(), cpu_s("self") - cpu);
    let sent = counted.load(Ordering::SeqCst) as f64;
    println!(
        "pump: {sent} points in {spent:.1} s, {:.0} points/s; {cpu:.1} s of processor ({:.2} µs a point); {most_mb:.1} MB resident at most",
        sent / spent,
        1e6 * cpu / sent
    );
    drop(server);

    let files = Files { directory: directory.path().join("batches"), state: Mutex::new((0, 0)), lines };
    std::fs::create_dir(&files.directory).expect("our own directory");
    let batches = Arc::new(files);
    let full = CancellationToken::new();
    let to = Filed { files: Arc::clone(&batches), full: full.clone() };
    runtime.block_on(drain(&configuration, &writer, "http://127.0.0.1:1/", to, Some(full)));
    let (count, lines) = *batches.state.lock().unwrap_or_else(PoisonError::into_inner);
    let server = Victoria::start();
    let (curl_s, curl_cpu) = curl(&batches.directory, count, &server.url());
    let curl_rate = lines as f64 / curl_s;
    println!(
        "curl: {lines} points in {curl_s:.1} s, {curl_rate:.0} points/s; {curl_cpu:.1} s of processor, the making of its {count} files left out"
    );
    println!("pump ÷ curl: {:.2}", sent / spent / curl_rate);
}

fn configuration(directory: &Path) -> Configuration {
    let mut text = format!("[ledger]\npath = \"{}\"\n", directory.join("ledger.sqlite").display());
    text.push_str(
        "[series]\nurl = \"http://127.0.0.1:1/\"\norganisation = \"kitchens\"\nbucket = \"rinseward\"\n",
    );
    for machine in 1..=MACHINES {
        write!(
            text,
            "[[machine]]\nname = \"dm{machine}\"\nkind = \"stationary-rack-dual-temperature\"\nprobes = [\"wash\", \"rinse\"]\n"
        )
        .expect("text");
    }
    let path = directory.join("gateway.toml");
    std::fs::write(&path, text).expect("our own directory");
    Configuration::load(&[path], []).expect("a legal configuration").configuration
}

fn settings(configuration: &Configuration, url: &str) -> rinseward::config::series::SeriesOptions {
    let mut options = configuration.series.clone().expect("a [series]");
    options.url = url.parse().expect("an address");
    options
}

/// A ledger whose readings are all settled, so that nearly all of them lie in blocks.
fn ledger(configuration: &Configuration, readings: u64) -> Writer {
    let machines: Vec<String> = configuration.machines.iter().map(|machine| machine.name.clone()).collect();
    let channels: Vec<String> =
        configuration.channels.iter().map(|channel| channel.name.to_string()).collect();
    let options = Options { path: configuration.ledger.path.clone(), block_retention: Duration::MAX };
    let names = Names { machines: &machines, channels: &channels };
    let start = at(0.0);
    let began = Instant::now();
    let (writer, _) = Writer::open(&options, names, start).expect("the ledger opens");
    let probes = 2 * MACHINES;
    let (mut made, mut inputs) = (0_u64, Vec::with_capacity(COMMIT));
    while made < readings {
        let tick = made / u64::from(probes);
        let seconds = tick as f64 / f64::from(HERTZ);
        let channel = u16::try_from(made % u64::from(probes)).expect("few");
        let phase = (seconds + 7.0 * f64::from(channel)) % 75.0;
        let celsius = if phase < 12.0 { 85.0 - 20.0 * (-phase).exp() } else { 58.0 + 900.0 / (phase + 21.0) };
        let value = Value::Number((celsius * 10.0).round() / 10.0);
        let sample = Sample { channel: ChannelId(channel), at: at(seconds), value };
        inputs.push(Input { now: at(seconds), event: Event::Sample(sample) });
        made += 1;
        if inputs.len() == COMMIT || made == readings {
            let commit = Commit { inputs: std::mem::take(&mut inputs), settled: made, ..Commit::default() };
            let (done, stored) = sync_channel(1);
            writer.submit(commit, Box::new(move |result| done.send(result.map(|_| ())).expect("room")));
            stored.recv().expect("an answer").expect("the ledger takes it");
        }
    }
    println!("ledger: {readings} readings of {probes} probes in {:.1?}", began.elapsed());
    writer
}

fn at(seconds: f64) -> Timestamp {
    // 2026-01-01T00:00:00Z.
    Timestamp::from_seconds(1_767_225_600.0 + seconds).expect("a time of this century")
}

/// Sends everything; gives the most memory that was resident on the way, in MB.
async fn drain(
    configuration: &Configuration,
    writer: &Arc<Writer>,
    url: &str,
    server: impl Server,
    full: Option<CancellationToken>,
) -> f64 {
    let channels = configuration.channels.iter().map(|channel| channel.name.to_string()).collect();
    // The bookmark of the first run is left out, so that the second begins anew.
    let is_kept = full.is_none();
    let keeper = Arc::clone(writer);
    let keeper = Box::new(move |append: rinseward::ledger::Append, done| {
        let append = if is_kept { append } else { rinseward::ledger::Append::default() };
        keeper.append(append, done);
    });
    let path = if is_kept { configuration.ledger.path.clone() } else { copy(&configuration.ledger.path) };
    let stock = LedgerStock::new(&path, keeper, channels);
    let points =
        ReadingPoints::new(configuration, configuration.series.as_ref().expect("a [series]").readings);
    let (told, mut standing) = watch::channel(Standing::default());
    let parts = Parts {
        loader: Arc::new(Loader::new(stock, points, configuration.site.clone())),
        server,
        options: settings(configuration, url),
        now: Arc::new(|| at(1e8)),
        standing: told,
        waits: Waits::default(),
    };
    let (_tide, tide) = watch::channel(0);
    let (_requests, requests) = mpsc::channel(1);
    let stop = full.unwrap_or_default();
    let mut inbox = Inbox { requests, tide, stop: stop.clone() };
    let pump = Pump::open(parts).await.expect("a ledger");
    let mut tasks = tokio::task::JoinSet::new();
    tasks.spawn(async move { pump.run(&mut inbox).await });
    let mut most_mb = 0_f64;
    while !stop.is_cancelled() {
        most_mb = most_mb.max(resident_mb());
        let is_sent = {
            let standing = standing.borrow_and_update();
            standing.readings_behind == 0 && standing.last_taken.is_some()
        };
        if is_sent {
            stop.cancel();
        }
        tokio::time::sleep(Duration::from_millis(2)).await;
    }
    tasks.join_next().await.expect("one task").expect("no panic").expect("a ledger that can be read");
    most_mb
}

/// A copy of the ledger without the bookmark that the first run left.
fn copy(path: &Path) -> PathBuf {
    let copy = path.with_extension("copy");
    let connection = rusqlite::Connection::open(path).expect("the ledger");
    let into = copy.display().to_string();
    connection.execute("VACUUM INTO ?1", [&into]).expect("room for a copy");
    let copied = rusqlite::Connection::open(&copy).expect("the copy");
    copied.execute("DELETE FROM bookmark", []).expect("a table of bookmarks");
    copy
}

/// The sender of the gateway, counting.
struct Counted {
    sender: Sender,
    lines: Arc<AtomicU64>,
}

impl Server for Counted {
    async fn write(&self, lines: Lines<'_>) -> Outcome {
        let outcome = self.sender.write(lines).await;
        if outcome == Outcome::Taken {
            self.lines.fetch_add(lines.len() as u64, Ordering::SeqCst);
        }
        outcome
    }
}

/// Files of compressed batches: how many there are, and of how many lines.
struct Files {
    directory: PathBuf,
    state: Mutex<(u64, u64)>,
    lines: u64,
}

/// Writes the batches into files, up to the number of lines.
struct Filed {
    files: Arc<Files>,
    full: CancellationToken,
}

impl Server for Filed {
    async fn write(&self, lines: Lines<'_>) -> Outcome {
        let mut state = self.files.state.lock().unwrap_or_else(PoisonError::into_inner);
        let file = std::fs::File::create(self.files.directory.join(format!("{}.gz", state.0)));
        // The level of the gateway.
        let mut encoder = GzEncoder::new(file.expect("our own directory"), Compression::new(1));
        encoder.write_all(lines.bytes()).and_then(|()| encoder.finish()).expect("room for the batches");
        *state = (state.0 + 1, state.1 + lines.len() as u64);
        if state.1 >= self.files.lines {
            self.full.cancel();
        }
        Outcome::Taken
    }
}

/// One curl, one connection, one file after another; gives the time and the processor time, in seconds.
fn curl(directory: &Path, count: u64, url: &str) -> (f64, f64) {
    let mut settings = String::new();
    for number in 0..count {
        let file = directory.join(format!("{number}.gz"));
        write!(
            settings,
            "{}url = \"{url}api/v2/write?org=kitchens&bucket=rinseward&precision=ns\"\n\
             data-binary = \"@{}\"\nheader = \"Content-Encoding: gzip\"\nfail\nsilent\nshow-error\n",
            if number == 0 { "" } else { "next\n" },
            file.display()
        )
        .expect("text");
    }
    let path = directory.join("curl.conf");
    std::fs::write(&path, settings).expect("our own directory");
    let (cpu, began) = (children_cpu_s(), Instant::now());
    let ended = Command::new("curl").arg("--config").arg(&path).stdout(Stdio::null()).status();
    assert!(ended.expect("curl is installed").success(), "curl sent every file");
    (began.elapsed().as_secs_f64(), children_cpu_s() - cpu)
}

/// Fields of proc(5) `stat` after the name, which may hold spaces.
fn stat(process: &str) -> Vec<f64> {
    let text = std::fs::read_to_string(format!("/proc/{process}/stat")).expect("proc(5)");
    let (_, rest) = text.rsplit_once(')').expect("the name stands in brackets");
    rest.split_whitespace().map(|field| field.parse().unwrap_or(0.0)).collect()
}

/// Processor time of a process, in seconds: utime and stime, fields 14 and 15.
fn cpu_s(process: &str) -> f64 {
    let fields = stat(process);
    (fields[11] + fields[12]) / TICKS_PER_S
}

/// Processor time of children that were waited for: cutime and cstime, fields 16 and 17.
fn children_cpu_s() -> f64 {
    let fields = stat("self");
    (fields[13] + fields[14]) / TICKS_PER_S
}

fn resident_mb() -> f64 {
    let status = std::fs::read_to_string("/proc/self/status").expect("proc(5)");
    let line = status.lines().find(|line| line.starts_with("VmRSS:")).expect("a line for it");
    let kib: f64 = line.split_whitespace().nth(1).and_then(|text| text.parse().ok()).expect("a number");
    kib / 1024.0
}
