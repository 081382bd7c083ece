//! Durable MQTT ingest beside a bare subscriber that stores nothing: same
//! broker, same publisher, same run, in turn.
//!
//! `cargo bench --bench ingest` prints both rates and the ratio, each the median of
//! some rounds, and the processor time that a message costs each side, which a busy
//! machine disturbs less. A message is one SenML record of about 80 bytes at QoS 1. The
//! gateway's side acknowledges after each commit; the commit here appends what
//! was decoded to a file and calls fdatasync. The broker runs once with the
//! shipped settings except that it saves at its own pace, so that it is not the
//! slowest part, and once exactly as shipped.

#![expect(clippy::disallowed_methods, reason = "a bench spawns and measures wall time")]
#![expect(clippy::print_stdout, reason = "a bench prints what it measured")]

use std::fs::File;
use std::io::Write;
use std::time::{Duration, Instant};

use rinseward::config::source::{MqttSource, MqttVersion};
use rinseward::core::id::{ChannelId, SourceId};
use rinseward::core::reading::{Sample, Value};
use rinseward::core::time::Timestamp;
use rinseward::probe::mqtt::{Mqtt, Wiring};
use rinseward::probe::{Delivery, FromSource};
use rinseward::wire::refusal::{Refusal, RefusedBecause};
use tempfile::TempDir;
use tokio::runtime::{Builder, Runtime};
use tokio::sync::{mpsc, watch};
use tokio_util::sync::CancellationToken;

use broker::Broker;

#[path = "../tests/support/broker.rs"]
#[expect(dead_code, reason = "the tests use the rest")]
mod broker;

/// Rounds per side; odd, so that the median is one of them.
const ROUNDS: usize = 5;

/// Longest wait for a commit.
const COMMIT_INTERVAL: Duration = Duration::from_secs(1);

/// A commit is made sooner when this many samples wait for it.
const COMMIT_SAMPLES: usize = 4_000;

/// Topics of the two sides: the broker would collect the one's messages for the other.
const BARE: &str = "bare/dm1";
const GATEWAY: &str = "probes/dm1";

/// Longest time for one round.
const ROUND_MAX: Duration = Duration::from_secs(120);

fn main() {
    println!(
        "commit: fdatasync, at most {COMMIT_INTERVAL:?} apart, sooner at {COMMIT_SAMPLES} samples; QoS 1; {ROUNDS} rounds"
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
        gateway_rounds.push(round(messages, &broker, GATEWAY, || {
            let mut file = File::create(broker.path("readings")).expect("a writable directory");
            let mut bytes = Vec::new();
            let commit = move |deliveries: &[Delivery]| {
                bytes.clear();
                for sample in deliveries.iter().flat_map(|delivery| &delivery.samples) {
                    bytes.extend_from_slice(&sample.channel.0.to_le_bytes());
                    bytes.extend_from_slice(&sample.at.micros().to_le_bytes());
                    if let Value::Number(number) = sample.value {
                        bytes.extend_from_slice(&number.to_le_bytes());
                    }
                }
                file.write_all(&bytes).and_then(|()| file.sync_data()).expect("a disk");
            };
            gateway(broker.port(), version, messages, commit)
        }));
    }
    println!("{name}, {version:?}, {messages} messages");
    print("bare subscriber, stores nothing", &bare_rounds);
    print("gateway, acked after commit", &gateway_rounds);
    let ratios: Vec<_> =
        gateway_rounds.iter().zip(&bare_rounds).map(|(gateway, bare)| gateway.rate / bare.rate).collect();
    println!("  ratio: {:.2} (median of the pairs)", median(&ratios));
}

/// What one side did in one round.
struct Round {
    /// Messages per second, from the first publish until the subscriber is done.
    rate: f64,
    /// Processor time of the subscriber for a message, in microseconds.
    cpu_us: f64,
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
    let cpu = (subscriber.wait)();
    let seconds = start.elapsed().as_secs_f64();
    publisher.join().expect("the publisher does not panic");
    Round { rate: count(messages) / seconds, cpu_us: cpu.as_secs_f64() * 1e6 / count(messages) }
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

/// A subscriber that listens; `wait` returns when it has everything, with the processor time it took.
struct Subscriber {
    wait: Box<dyn FnOnce() -> Duration>,
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
    Subscriber { wait: Box::new(move || thread.join().expect("the subscriber does not panic")) }
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

/// The gateway's source; `commit` stores what it gets before it returns.
fn gateway(
    port: u16,
    version: MqttVersion,
    messages: usize,
    commit: impl FnMut(&[Delivery]) + Send + 'static,
) -> Subscriber {
    let source = Mqtt::prepare(config(port, version)).expect("no secrets to read");
    let (deliveries, from_source) = mpsc::channel(1024);
    let (committed_tx, committed) = watch::channel(0);
    let stop = CancellationToken::new();
    let wiring = Wiring { source: SourceId(0), decode, now, deliveries, committed, stop: stop.clone() };
    let link = std::thread::spawn(move || {
        runtime().block_on(source.run(wiring));
        thread_cpu()
    });
    let (ready_tx, ready) = std::sync::mpsc::channel();
    let (done_tx, done) = std::sync::mpsc::channel();
    let writer = std::thread::spawn(move || {
        runtime().block_on(write(from_source, committed_tx, messages, commit, ready_tx, done_tx));
        thread_cpu()
    });
    ready.recv().expect("the gateway listens");
    Subscriber {
        wait: Box::new(move || {
            done.recv_timeout(ROUND_MAX).expect("the round ends in time");
            stop.cancel();
            link.join().expect("the source does not panic")
                + writer.join().expect("the writer does not panic")
        }),
    }
}

/// Commits in groups.
async fn write(
    mut from_source: mpsc::Receiver<FromSource>,
    committed: watch::Sender<u64>,
    messages: usize,
    mut commit: impl FnMut(&[Delivery]),
    ready: std::sync::mpsc::Sender<()>,
    done: std::sync::mpsc::Sender<()>,
) {
    let (mut waiting, mut stored, mut left) = (Vec::new(), 0, messages);
    let mut ticks = tokio::time::interval(COMMIT_INTERVAL);
    loop {
        let due = tokio::select! {
            event = from_source.recv() => match event {
                Some(FromSource::Delivery(delivery)) => {
                    stored += delivery.samples.len();
                    waiting.push(delivery);
                    stored >= COMMIT_SAMPLES || stored >= left
                }
                Some(FromSource::State { .. }) => {
                    ready.send(()).unwrap_or(());
                    false
                }
                None => return,
            },
            _ = ticks.tick() => true,
        };
        if !due || waiting.is_empty() {
            continue;
        }
        commit(&waiting);
        committed.send_replace(waiting.last().map_or(0, |last| last.number));
        left = left.saturating_sub(stored);
        if left == 0 {
            done.send(()).unwrap_or(());
        }
        waiting.clear();
        stored = 0;
    }
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

#[derive(serde::Deserialize)]
struct Record {
    v: f64,
    t: f64,
}

fn decode(_topic: &str, payload: &[u8], _received: Timestamp) -> (Vec<Sample>, Vec<Refusal>) {
    match serde_json::from_slice::<Vec<Record>>(payload) {
        Ok(records) => {
            let samples = records.iter().filter_map(|record| {
                let at = Timestamp::from_seconds(record.t)?;
                Some(Sample { channel: ChannelId(0), at, value: Value::Number(record.v) })
            });
            (samples.collect(), Vec::new())
        }
        Err(_) => (Vec::new(), vec![Refusal { what: String::new(), why: RefusedBecause::NotSenml }]),
    }
}

fn now() -> Timestamp {
    let since =
        std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH).expect("a clock after 1970");
    Timestamp::from_seconds(since.as_secs_f64()).expect("a clock before 9999")
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
