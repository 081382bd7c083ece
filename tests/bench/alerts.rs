//! From the last reading of a cold cycle to the message at the mail server.
//!
//! `cargo bench --bench alerts` runs the daemon with 200 machines whose readings come by
//! standard input, four times as fast as in life, each with one cold cycle, a quarter of a
//! second after that of the machine before. It measures from the write of the reading by
//! which the core recognises the end of the rinse, so the closing window is not in it, to the
//! end of the message at a mail server that keeps nothing. `CYCLES` (1,000) sets how many
//! cycles are measured, 200 a run. Then the storm: all machines turn cold at one instant, and
//! their messages a second are counted.

#![expect(clippy::disallowed_methods, reason = "a bench spawns and measures wall time")]
#![expect(clippy::print_stdout, reason = "a bench prints what it measured")]

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::io::{BufRead, BufReader, BufWriter, Write};
use std::net::{Ipv4Addr, TcpListener, TcpStream};
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Mutex};
use std::thread;
use std::time::{Duration, Instant};

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use rinseward::config::resolve::Configuration;
use rinseward::core::channel::{Channel, Role};
use rinseward::core::cycle::verdict::Verdict;
use rinseward::core::effect::{Effect, Effects};
use rinseward::core::reading::{Sample, Value};
use rinseward::core::record::Body;
use rinseward::core::site::{Event, Site};
use rinseward::core::time::Timestamp;
use rinseward_simulator::node::RecordValue;
use rinseward_simulator::scenario::Scenario;
use rinseward_simulator::time::MIDNIGHT_MICROS;
use rinseward_simulator::world::World;
use tempfile::TempDir;

/// Machines at work.
const MACHINES: usize = 200;
/// Simulated seconds in one.
const SPEED: f64 = 4.0;
/// Between the cycles of two machines, simulated.
const STAGGER_MICROS: i64 = 1_000_000;
/// What comes before the cold rack, so that the idle line is known, µs.
const BEFORE_MICROS: i64 = 240_000_000;
/// What comes after its rinse, µs.
const AFTER_MICROS: i64 = 40_000_000;
/// Longest wait for the last message of a run.
const WAIT_MAX: Duration = Duration::from_secs(60);

fn main() {
    let cycles: usize = std::env::var("CYCLES").ok().and_then(|text| text.parse().ok()).unwrap_or(1_000);
    let rack = Rack::cold();
    let mut latencies = Vec::new();
    while latencies.len() < cycles {
        latencies.extend(Run::start().staggered(&rack));
    }
    latencies.sort();
    // Of a thousand the 990th is the p99 (nearest rank).
    let at = |percent: usize| {
        let rank = (latencies.len() * percent).div_ceil(100).max(1);
        latencies[rank - 1].as_secs_f64() * 1e3
    };
    println!(
        "cold cycle to mail server, {MACHINES} machines at {SPEED} times their pace, {} cycles: p50 {:.1} ms, \
         p99 {:.1} ms, most {:.1} ms (budget p99 250)",
        latencies.len(),
        at(50),
        at(99),
        at(100)
    );
    let (took, mails) = Run::start().storm(&rack);
    println!(
        "storm, {MACHINES} machines cold at one instant: {mails} messages in {:.2} s, {:.0} a second",
        took.as_secs_f64(),
        mails as f64 / took.as_secs_f64()
    );
}

/// The readings of one machine around one cold rack.
struct Rack {
    /// µs since its first reading, wash and rinse.
    readings: Vec<(i64, f64, f64)>,
    /// Place of the reading by which the end of the rinse is recognised.
    decisive: usize,
}

impl Rack {
    /// The first cold rack of the rush in which the booster dies, as the core sees it.
    fn cold() -> Self {
        let all: Vec<(i64, f64, f64)> = World::of(&Scenario::BoosterDead.plan(), 1, MIDNIGHT_MICROS)
            .map(|emission| {
                let value = |name: &str| {
                    let record = emission.records.iter().find(|record| record.name == name);
                    match record.map(|record| &record.value) {
                        Some(RecordValue::Number(number)) => *number,
                        _ => panic!("wash and rinse are numbers"),
                    }
                };
                (emission.time_micros, value("wash"), value("rinse"))
            })
            .collect();
        let (decisive, ended) = first_cold(&all).expect("the booster dies");
        let from = all[decisive].0 - BEFORE_MICROS;
        let own = all.iter().filter(|(at, _, _)| from <= *at && *at <= ended + AFTER_MICROS);
        let readings: Vec<(i64, f64, f64)> =
            own.map(|(at, wash, rinse)| (at - from, *wash, *rinse)).collect();
        let (decisive, _) = first_cold(&readings).expect("its part is cold as well");
        Self { readings, decisive }
    }

    fn line(&self, machine: usize, start: i64, place: usize) -> String {
        let (at, wash, rinse) = self.readings[place];
        let time = (MIDNIGHT_MICROS + start + at) as f64 / 1e6;
        format!(
            r#"[{{"bn":"washer{machine}/","bt":{time:.6},"n":"wash","u":"Cel","v":{wash:.4}}},{{"n":"rinse","u":"Cel","v":{rinse:.4}}}]"#
        )
    }
}

/// Place of the reading after which the core records the first cold cycle, and the end of its rinse.
fn first_cold(readings: &[(i64, f64, f64)]) -> Option<(usize, i64)> {
    let configuration = configuration(1, 1, 1);
    let mut site = Site::new(&configuration.machines, &configuration.channels);
    let id = |wanted: &str| {
        let is_own =
            |channel: &&Channel| channel.name.probe() == wanted && matches!(channel.role, Role::Probe(_));
        configuration.channels.iter().find(is_own).expect("both are configured").id
    };
    let (wash_id, rinse_id) = (id("wash"), id("rinse"));
    let mut effects = Effects::new();
    for (place, (at, wash, rinse)) in readings.iter().enumerate() {
        let at = Timestamp::from_micros(*at);
        for (channel, number) in [(wash_id, wash), (rinse_id, rinse)] {
            let sample = Sample { channel, at, value: Value::Number(*number) };
            site.handle(at, Event::Sample(sample), &mut effects);
        }
        for effect in effects.drain(..) {
            if let Effect::Record { record, .. } = effect
                && let Body::Cycle(cycle) = record.body
                && cycle.verdict == Verdict::Cold
            {
                return Some((place, cycle.rinse_ended.micros()));
            }
        }
    }
    None
}

fn text_of(machines: usize, mail: u16, web: u16) -> String {
    let mut text = format!(
        "[ledger]\npath = \"ledger.sqlite\"\n[[source]]\nname = \"pipe\"\nkind = \"replay\"\n\
         [[contact]]\nname = \"ana\"\nroutes = [\"email:ana@example.org\"]\n\
         [alert]\nchecks = []\noff = [\"clock-unsynchronised\", \"disk-filling\", \"probe-silent\"]\n\
         [mail]\nhost = \"127.0.0.1\"\nport = {mail}\nsecurity = \"none\"\nfrom = \"kitchen@example.org\"\n\
         messages-per-minute = 60000\n\
         [web]\nenabled = true\nlisten = \"127.0.0.1:{web}\"\npublic-url = \"https://kitchen.example.org\"\n"
    );
    for machine in 1..=machines {
        write!(
            text,
            "[[machine]]\nname = \"washer{machine}\"\nkind = \"stationary-rack-dual-temperature\"\n\
             wash-time = \"44s\"\nrinse-time = \"12s\"\nprobes = [\"wash\", \"rinse\"]\n"
        )
        .expect("text");
    }
    text
}

fn configuration(machines: usize, mail: u16, web: u16) -> Configuration {
    let directory = TempDir::new().expect("a temporary directory");
    let path = directory.path().join("gateway.toml");
    std::fs::write(&path, text_of(machines, mail, web)).expect("a writable directory");
    Configuration::load(&[path], []).expect("a legal configuration").configuration
}

/// One life of the daemon.
struct Run {
    _directory: TempDir,
    daemon: Daemon,
    mails: Mails,
}

impl Run {
    fn start() -> Self {
        let directory = TempDir::new().expect("a temporary directory");
        let mails = Mails::listen();
        let web = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).expect("loopback");
        let port = web.local_addr().expect("bound").port();
        drop(web);
        let path = directory.path().join("gateway.toml");
        std::fs::write(&path, text_of(MACHINES, mails.port, port)).expect("a writable directory");
        let daemon = Command::new(env!("CARGO_BIN_EXE_rinseward"))
            .arg("run")
            .arg("--config")
            .arg(&path)
            .stdin(Stdio::piped())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("the program starts");
        Self { _directory: directory, daemon: Daemon(daemon, None), mails }
    }

    /// Each machine turns cold a little after the one before; gives the latency of each.
    fn staggered(mut self, rack: &Rack) -> Vec<Duration> {
        let written = self.feed(rack, STAGGER_MICROS, Some(SPEED));
        let received = self.mails.of_all();
        received.iter().map(|(machine, at)| at.duration_since(written[machine])).collect()
    }

    /// All machines turn cold at one instant, as fast as the daemon reads.
    fn storm(mut self, rack: &Rack) -> (Duration, usize) {
        let written = self.feed(rack, 0, None);
        let received = self.mails.of_all();
        let first = written.values().min().expect("machines");
        let last = received.values().max().expect("messages");
        (last.duration_since(*first), received.len())
    }

    /// Writes the readings of all machines in order of time; says when each decisive one was written.
    fn feed(&mut self, rack: &Rack, stagger: i64, speed: Option<f64>) -> BTreeMap<usize, Instant> {
        let mut order = Vec::new();
        for machine in 1..=MACHINES {
            let start = i64::try_from(machine).expect("a small number") * stagger;
            order.extend(
                (0..rack.readings.len()).map(|place| (start + rack.readings[place].0, machine, place, start)),
            );
        }
        order.sort_unstable();
        let mut pipe = BufWriter::new(self.daemon.0.stdin.take().expect("it is piped"));
        let (began, mut written) = (Instant::now(), BTreeMap::new());
        for (at, machine, place, start) in order {
            if let Some(speed) = speed {
                let due = began + Duration::from_secs_f64(at as f64 * 1e-6 / speed);
                let early = due.saturating_duration_since(Instant::now());
                if !early.is_zero() {
                    pipe.flush().expect("it reads");
                    thread::sleep(early);
                }
            }
            writeln!(pipe, "{}", rack.line(machine, start, place)).expect("it reads");
            if place == rack.decisive {
                pipe.flush().expect("it reads");
                written.insert(machine, Instant::now());
            }
        }
        pipe.flush().expect("it reads");
        // Its end would end the daemon, and with it the last messages.
        self.daemon.1 = Some(pipe);
        written
    }
}

/// The program and its standard input; killed, by its number, when dropped.
struct Daemon(Child, Option<BufWriter<std::process::ChildStdin>>);

impl Drop for Daemon {
    fn drop(&mut self) {
        self.0.kill().expect("our own child");
        self.0.wait().expect("our own child");
    }
}

/// A mail server that keeps nothing but when the first message about each machine had come.
struct Mails {
    port: u16,
    received: Arc<Mutex<BTreeMap<usize, Instant>>>,
}

impl Mails {
    fn listen() -> Self {
        let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).expect("loopback");
        let port = listener.local_addr().expect("bound").port();
        let received: Arc<Mutex<BTreeMap<usize, Instant>>> = Arc::default();
        let all = Arc::clone(&received);
        // It ends with the bench.
        thread::spawn(move || {
            for stream in listener.incoming().map_while(Result::ok) {
                let all = Arc::clone(&all);
                thread::spawn(move || {
                    // A client that hangs up is at its end.
                    drop(converse(stream, &all));
                });
            }
        });
        Self { port, received }
    }

    /// Waits for a message about every machine.
    fn of_all(&self) -> BTreeMap<usize, Instant> {
        let limit = Instant::now() + WAIT_MAX;
        loop {
            let received = self.received.lock().expect("no holder panics").clone();
            if received.len() == MACHINES {
                return received;
            }
            assert!(Instant::now() < limit, "{} of {MACHINES} messages came", received.len());
            thread::sleep(Duration::from_millis(5));
        }
    }
}

/// Takes mail as RFC 5321 has it; its subject names the machine.
fn converse(stream: TcpStream, received: &Mutex<BTreeMap<usize, Instant>>) -> std::io::Result<()> {
    stream.set_nodelay(true)?;
    let mut out = stream.try_clone()?;
    let mut lines = BufReader::new(stream).lines();
    out.write_all(b"220 bench\r\n")?;
    while let Some(line) = lines.next().transpose()? {
        let word = line.split_ascii_whitespace().next().unwrap_or_default().to_ascii_uppercase();
        match word.as_str() {
            "DATA" => {
                out.write_all(b"354 go on\r\n")?;
                let (mut subject, mut in_subject) = (String::new(), false);
                while let Some(line) = lines.next().transpose()? {
                    if line == "." {
                        break;
                    }
                    in_subject = line.starts_with("Subject:") || (in_subject && line.starts_with(' '));
                    if in_subject {
                        subject.push_str(line.trim_start());
                    }
                }
                if let Some(machine) = machine_in(&subject) {
                    received.lock().expect("no holder panics").entry(machine).or_insert_with(Instant::now);
                }
                out.write_all(b"250 taken\r\n")?;
            }
            "QUIT" => return out.write_all(b"221 bye\r\n"),
            _ => out.write_all(b"250 fine\r\n")?,
        }
    }
    Ok(())
}

/// The machine that a subject names, plain or in encoded words (RFC 2047).
fn machine_in(subject: &str) -> Option<usize> {
    let mut plain = String::new();
    for part in subject.split("=?") {
        let word = part.strip_prefix("utf-8?b?").and_then(|rest| rest.split_once("?="));
        match word.and_then(|(word, rest)| Some((STANDARD.decode(word).ok()?, rest))) {
            Some((bytes, rest)) => {
                plain.push_str(&String::from_utf8_lossy(&bytes));
                plain.push_str(rest);
            }
            None => plain.push_str(part),
        }
    }
    let (_, after) = plain.split_once("washer")?;
    let end = after.find(|c: char| !c.is_ascii_digit()).unwrap_or(after.len());
    after[..end].parse().ok()
}
