//! Durable MQTT ingest beside a bare subscriber that stores nothing: same
//! broker, same publisher, same run, in turn.
//!
//! `cargo bench --bench ingest` prints both rates and the ratio, each the median of
//! some rounds, and the processor time that a message costs each side, which a busy
//! machine disturbs less. A message is one SenML record of about 80 bytes at QoS 1. The
//! gateway's side is the daemon's own: source, driver, core and ledger; a message is
//! acknowledged once its reading is committed (SQLite, synchronous FULL). The broker runs once with the
//! shipped settings except that it saves at its own pace, so that it is not the
//! slowest part, and once exactly as shipped.

#![expect(clippy::disallowed_methods, reason = "a bench spawns and measures wall time")]
#![expect(clippy::print_stdout, reason = "a bench prints what it measured")]

use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use rinseward::config::source::{MqttSource, MqttVersion};
use rinseward::core::calibration::Calibration;
use rinseward::core::channel::{Channel, Place, Probe, Role, Signal};
use rinseward::core::id::{ChannelId, ChannelName, MachineId, SourceId};
use rinseward::core::site::{Event, Site};
use rinseward::core::uncertainty::Budget;
use rinseward::ledger::{Commit, Committed, LedgerError, Names, Options, Refused, Writer};
use rinseward::probe::FromSource;
use rinseward::probe::mqtt::{Mqtt, Wiring};
use rinseward::runtime::clock::Clock;
use rinseward::runtime::driver::{Driver, INBOUND_MAX, Inbound, Limits, Link, Outcome, Store};
use rinseward::runtime::gather::Gather;
use rinseward::wire::decoded::Decoded;
use rinseward::wire::directory::{Directory, WireUnit};
use rinseward::wire::payload::{self, PayloadShape};
use tempfile::TempDir;
use tokio::runtime::{Builder, Runtime};
use tokio::sync::{mpsc, oneshot, watch};
use tokio_util::sync::CancellationToken;

use broker::Broker;
use machine::profile;

#[path = "../tests/support/broker.rs"]
#[expect(dead_code, reason = "the tests use the rest")]
mod broker;
#[path = "machine.rs"]
mod machine;

/// Rounds per side; odd, so that the median is one of them.
const ROUNDS: usize = 5;

/// Longest wait for a commit, as the configuration has it by default.
const COMMIT_INTERVAL: Duration = Duration::from_secs(1);

/// So many messages without an acknowledgement are committed at once, as in the daemon.
const EAGER_AFTER: usize = 16;

/// The one channel that is published.
const CHANNEL: &str = "dm1/rinse";

/// Name of the threads of the gateway's runtime.
const GATEWAY_THREADS: &str = "gateway";

/// Topics of the two sides: the broker would collect the one's messages for the other.
const BARE: &str = "bare/dm1";
const GATEWAY: &str = "probes/dm1";

/// Longest time for one round.
const ROUND_MAX: Duration = Duration::from_secs(120);

fn main() {
    println!(
        "QoS 1, commits to the ledger at most {COMMIT_INTERVAL:?} apart, {ROUNDS} rounds, budget: ratio 0.8"
    );
    for (broker, settings, messages) in [
        ("broker saving at its own pace", "allow_anonymous true\nautosave_on_changes false\n", 100_000),
        ("broker as shipped", "allow_anonymous true\n", 1_000),
    ] {
        for version in [MqttVersion::V5, MqttVersion::V311] {
            compare(broker, settings, version, messages);
        }
    }
}

fn compare(name: &str, settings: &str, version: MqttVersion, messages: usize) {
    let broker = Broker::start_in(TempDir::new().expect("a temporary directory"), |_| settings.to_owned());
    let (mut bare_rounds, mut gateway_rounds) = (Vec::new(), Vec::new());
    for _ in 0..ROUNDS {
        bare_rounds.push(round(messages, &broker, BARE, || bare(broker.port(), version, messages)));
        // A ledger of its own for each round, on the disk that holds temporary files.
        let ledger = TempDir::new().expect("a temporary directory");
        gateway_rounds.push(round(messages, &broker, GATEWAY, || {
            gateway(broker.port(), version, messages, ledger.path().join("ledger.sqlite"))
        }));
    }
    println!("{name}, {version:?}, {messages} messages");
    print("bare subscriber, stores nothing", &bare_rounds);
    print("gateway, acked after commit", &gateway_rounds);
    let ratios: Vec<_> =
        gateway_rounds.iter().zip(&bare_rounds).map(|(gateway, bare)| gateway.rate / bare.rate).collect();
    let commits: Vec<_> = gateway_rounds.iter().map(|round| f64::from(round.commits)).collect();
    println!(
        "  ratio: {:.2} (median of the pairs); commits of a round {}",
        median(&ratios),
        listed(&commits)
    );
}

/// What one side did in one round.
struct Round {
    /// Messages per second, from the first publish until the subscriber is done.
    rate: f64,
    /// Processor time of the subscriber for a message, in microseconds.
    cpu_us: f64,
    /// Commits of the subscriber.
    commits: u32,
}

fn round(
    messages: usize,
    broker: &Broker,
    topic: &'static str,
    subscriber: impl FnOnce() -> Subscriber,
) -> Round {
    let subscriber = subscriber();
    let start = Instant::now();
    let publisher = publish(broker.port(), topic, messages);
    let done = (subscriber.wait)();
    publisher.join().expect("the publisher does not panic");
    let seconds = done.at.duration_since(start).as_secs_f64();
    let cpu_us = done.cpu.as_secs_f64() * 1e6 / count(messages);
    Round { rate: count(done.messages) / seconds, cpu_us, commits: done.commits }
}

fn print(side: &str, rounds: &[Round]) {
    let rates: Vec<_> = rounds.iter().map(|round| round.rate).collect();
    let cpu: Vec<_> = rounds.iter().map(|round| round.cpu_us).collect();
    let (rate, cpu) = (median(&rates), median(&cpu));
    println!("  {side:<32}{rate:>8.0} messages/s, {cpu:>5.2} µs of processor each  {}", listed(&rates));
}

/// Processor time of this thread so far (proc(5), `schedstat`).
fn thread_cpu() -> Duration {
    let text = std::fs::read_to_string("/proc/thread-self/schedstat").expect("Linux");
    let nanos = text.split(' ').next().and_then(|nanos| nanos.parse().ok()).expect("three numbers");
    Duration::from_nanos(nanos)
}

/// Processor time of the threads of these names so far.
fn threads_cpu(names: &[&str]) -> Duration {
    let tasks = std::fs::read_dir("/proc/self/task").expect("Linux");
    let cpu = |task: std::fs::DirEntry| {
        let read = |file| std::fs::read_to_string(task.path().join(file)).ok();
        let name = read("comm")?;
        let nanos = read("schedstat")?.split(' ').next()?.parse().ok()?;
        names.contains(&name.trim()).then(|| Duration::from_nanos(nanos))
    };
    tasks.filter_map(|task| cpu(task.ok()?)).sum()
}

fn count(messages: usize) -> f64 {
    f64::from(u32::try_from(messages).expect("a count that fits"))
}

fn median(rates: &[f64]) -> f64 {
    let mut sorted = rates.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted[sorted.len() / 2]
}

fn listed(rates: &[f64]) -> String {
    let rates: Vec<_> = rates.iter().map(|rate| format!("{rate:.0}")).collect();
    format!("({})", rates.join(", "))
}

/// A subscriber that listens; `wait` returns when it has everything.
struct Subscriber {
    wait: Box<dyn FnOnce() -> Done>,
}

/// What a subscriber did.
struct Done {
    /// How many messages it had ...
    messages: usize,
    /// ... at this time.
    at: Instant,
    /// Processor time that all messages took.
    cpu: Duration,
    /// Commits that all messages took.
    commits: u32,
}

fn runtime() -> Runtime {
    Builder::new_current_thread().enable_all().build().expect("a runtime")
}

/// rumqttc as it comes: acknowledges at once, counts, keeps nothing.
fn bare(port: u16, version: MqttVersion, messages: usize) -> Subscriber {
    let (ready_tx, ready) = std::sync::mpsc::channel();
    let thread = std::thread::spawn(move || {
        runtime().block_on(async move {
            let counting = async {
                match version {
                    MqttVersion::V5 => bare_v5(port, messages, ready_tx).await,
                    MqttVersion::V311 => bare_v311(port, messages, ready_tx).await,
                }
            };
            tokio::time::timeout(ROUND_MAX, counting).await.expect("the round ends in time");
        });
        thread_cpu()
    });
    ready.recv().expect("the subscriber listens");
    let wait = move || {
        let cpu = thread.join().expect("the subscriber does not panic");
        Done { messages, at: Instant::now(), cpu, commits: 0 }
    };
    Subscriber { wait: Box::new(wait) }
}

async fn bare_v5(port: u16, messages: usize, ready: std::sync::mpsc::Sender<()>) {
    use rumqttc::v5::mqttbytes::QoS;
    use rumqttc::v5::mqttbytes::v5::Packet;
    use rumqttc::v5::{AsyncClient, Event, MqttOptions};
    let (client, mut events) = AsyncClient::new(MqttOptions::new("bare", "127.0.0.1", port), 10);
    client.subscribe(BARE, QoS::AtLeastOnce).await.expect("the client runs");
    let mut left = messages;
    while left > 0 {
        match events.poll().await.expect("a broker that answers") {
            Event::Incoming(Packet::SubAck(_)) => ready.send(()).expect("somebody waits"),
            Event::Incoming(Packet::Publish(_)) => left -= 1,
            Event::Incoming(_) | Event::Outgoing(_) => {}
        }
    }
}

async fn bare_v311(port: u16, messages: usize, ready: std::sync::mpsc::Sender<()>) {
    use rumqttc::{AsyncClient, Event, MqttOptions, Packet, QoS};
    let (client, mut events) = AsyncClient::new(MqttOptions::new("bare", "127.0.0.1", port), 10);
    client.subscribe(BARE, QoS::AtLeastOnce).await.expect("the client runs");
    let mut left = messages;
    while left > 0 {
        match events.poll().await.expect("a broker that answers") {
            Event::Incoming(Packet::SubAck(_)) => ready.send(()).expect("somebody waits"),
            Event::Incoming(Packet::Publish(_)) => left -= 1,
            Event::Incoming(_) | Event::Outgoing(_) => {}
        }
    }
}

/// The gateway at work: its source, its driver and its ledger, a new one at `ledger`.
fn gateway(port: u16, version: MqttVersion, messages: usize, ledger: PathBuf) -> Subscriber {
    let runtime = Builder::new_multi_thread()
        .worker_threads(2)
        .thread_name(GATEWAY_THREADS)
        .enable_all()
        .build()
        .expect("a runtime");
    let clock = Clock::system();
    let (driver, inbound) = driver(&clock, &ledger);
    let mut published = driver.published();
    let stop = CancellationToken::new();
    let (ready_tx, ready) = std::sync::mpsc::channel();
    runtime.spawn(source(config(port, version), clock, inbound.0, stop.clone(), ready_tx));
    let driving = runtime.spawn(driver.run(inbound.1, stop.clone()));
    ready.recv().expect("the gateway listens");
    let wait = move || {
        let (mut left, mut last, mut commits) = (messages, None, 0);
        while left > 0 {
            let commit = runtime.block_on(async { tokio::time::timeout(ROUND_MAX, published.recv()).await });
            let commit = commit.expect("the round ends in time").expect("the driver runs");
            let samples = commit.inputs.iter().filter(|input| matches!(input.event, Event::Sample(_)));
            left = left.saturating_sub(samples.count());
            commits += 1;
            // The last few wait for the commit interval, which is a delay and no rate.
            if left < EAGER_AFTER {
                last.get_or_insert((messages - left, Instant::now()));
            }
        }
        let cpu = threads_cpu(&[GATEWAY_THREADS, "ledger-writer"]);
        let (messages, at) = last.expect("none are left");
        stop.cancel();
        runtime.block_on(driving).expect("the driver does not panic").expect("a ledger that takes all");
        Done { messages, at, cpu, commits }
    };
    Subscriber { wait: Box::new(wait) }
}

/// The driver over a new ledger, and both ends of its channel.
fn driver(
    clock: &Clock,
    ledger: &Path,
) -> (Driver<LedgerStore>, (mpsc::Sender<Inbound>, mpsc::Receiver<Inbound>)) {
    let options = Options { path: ledger.to_owned(), block_retention: Duration::from_secs(400 * 86_400) };
    let names = Names { machines: &["dm1".to_owned()], channels: &[CHANNEL.to_owned()] };
    let (writer, recovered) = Writer::open(&options, names, clock.now()).expect("a new ledger");
    let site = Site::new(&[profile()], &[channel()]);
    let gather = Gather::new(site, recovered.next_input);
    let limits = Limits {
        commit_interval: COMMIT_INTERVAL,
        ahead_max: Duration::from_secs(60),
        drain_within: Duration::from_secs(5),
    };
    (Driver::new(clock.clone(), limits, LedgerStore(writer), gather), mpsc::channel(INBOUND_MAX))
}

/// The source with its link to the driver, as the daemon runs it.
async fn source(
    config: MqttSource,
    clock: Clock,
    inbound: mpsc::Sender<Inbound>,
    stop: CancellationToken,
    ready: std::sync::mpsc::Sender<()>,
) {
    let link = Link { id: 0, committed: watch::Sender::new(0), eager_after: u64::try_from(EAGER_AFTER).ok() };
    let (deliveries, mut messages) = mpsc::channel(64);
    let mut directory = Directory::default();
    directory.insert(CHANNEL.to_owned(), ChannelId(0), WireUnit::Celsius);
    let decode = move |_: &str, bytes: &[u8], received| {
        let mut decoded = Decoded::default();
        payload::decode(bytes, &PayloadShape::Senml, &directory, received, &mut decoded);
        (decoded.samples, decoded.refusals)
    };
    let committed = link.committed.subscribe();
    let now = move || clock.now();
    let wiring = Wiring { source: SourceId(0), decode, now, deliveries, committed, stop };
    let forward = async {
        while let Some(message) = messages.recv().await {
            if matches!(message, FromSource::State { .. }) {
                ready.send(()).unwrap_or(());
            }
            if inbound.send(Inbound { link: link.clone(), message }).await.is_err() {
                return;
            }
        }
    };
    tokio::join!(Mqtt::prepare(config).expect("no secrets to read").run(wiring), forward);
}

/// The real ledger as the driver's store.
struct LedgerStore(Writer);

impl Store for LedgerStore {
    type Error = LedgerError;

    fn submit(&self, commit: Commit, done: oneshot::Sender<Outcome<LedgerError>>) {
        let answer = |result: Result<Committed, Refused>| {
            let committed = result.expect("a ledger on a disk with room");
            drop(done.send(Outcome::Committed { first_index: committed.first_index }));
        };
        self.0.submit(commit, Box::new(answer));
    }

    fn tell_refused(&self, error: &LedgerError) {
        panic!("{error}");
    }

    fn tell_accepted_again(&self) {}
}

fn publish(port: u16, topic: &'static str, messages: usize) -> std::thread::JoinHandle<()> {
    use rumqttc::{AsyncClient, Event, MqttOptions, Packet, QoS};
    std::thread::spawn(move || {
        runtime().block_on(async move {
            let mut options = MqttOptions::new("publisher", "127.0.0.1", port);
            options.set_inflight(1000);
            let (client, mut events) = AsyncClient::new(options, 1000);
            let feed = tokio::spawn(async move {
                for number in 0..messages {
                    let seconds = 1_732_520_000 + number / 100;
                    let payload = format!(
                        r#"[{{"n":"dm1/rinse","u":"Cel","v":82.{:02},"t":{seconds}.{:02}}}]"#,
                        number % 97,
                        number % 100
                    );
                    client.publish(topic, QoS::AtLeastOnce, false, payload).await.expect("it runs");
                }
                client
            });
            let mut left = messages;
            while left > 0 {
                if let Event::Incoming(Packet::PubAck(_)) =
                    events.poll().await.expect("a broker that answers")
                {
                    left -= 1;
                }
            }
            drop(feed.await.expect("it does not panic"));
        });
    })
}

fn channel() -> Channel {
    let probe = Probe {
        place: Place::FinalRinse,
        signal: Signal::Celsius,
        calibration: Calibration::None,
        budget: Budget::default(),
        tau: Some(Duration::from_millis(1500)),
        silent_after: Duration::from_secs(10),
        stuck_after: None,
    };
    let name = ChannelName::try_from(CHANNEL.to_owned()).expect("a legal name");
    Channel { id: ChannelId(0), name, machine: MachineId(0), role: Role::Probe(probe) }
}

fn config(port: u16, version: MqttVersion) -> MqttSource {
    use rinseward::config::source::{Payload, Subscription};
    MqttSource {
        host: "127.0.0.1".to_owned(),
        port,
        version,
        client_id: "gateway".to_owned(),
        session_expiry: Duration::from_secs(3600),
        keep_alive: Duration::from_secs(30),
        login: None,
        tls: None,
        subscriptions: vec![Subscription { filter: GATEWAY.to_owned(), payload: Payload::Senml }],
        packet_bytes_max: 65_536,
        unacked_max: 20_000,
    }
}
