//! A gateway that has only the MQTT source, and an application that remembers what it got.

use std::collections::BTreeSet;
use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::path::Path;
use std::time::{Duration, SystemTime, UNIX_EPOCH};

use rinseward::config::source::{MqttLogin, MqttSource, MqttVersion, Payload, Subscription};
use rinseward::core::id::{ChannelId, SourceId};
use rinseward::core::reading::{Sample, Value};
use rinseward::core::time::Timestamp;
use rinseward::probe::mqtt::{Limits, Mqtt, Wiring};
use rinseward::probe::{Delivery, FromSource, SourceState};
use rinseward::wire::refusal::{Refusal, RefusedBecause};
use rumqttc::{AsyncClient, Event, MqttOptions, Packet, QoS};
use tokio::sync::{mpsc, watch};
use tokio::task::JoinHandle;
use tokio::time::timeout;
use tokio_util::sync::CancellationToken;

/// Both versions of the protocol.
pub(crate) const VERSIONS: [MqttVersion; 2] = [MqttVersion::V5, MqttVersion::V311];

/// Longest wait for anything.
const WAIT_MAX: Duration = Duration::from_secs(20);

/// When the application commits.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(crate) enum Commit {
    /// After each delivery.
    AtOnce,
    /// When the test says so.
    ByHand,
}

/// What the application got.
#[derive(Clone, Debug, Default)]
pub(crate) struct Seen {
    /// Numbers of the messages, in order of arrival, repeats included.
    pub(crate) numbers: Vec<i64>,
    /// Refused input.
    pub(crate) refusals: Vec<Refusal>,
    /// States of the link.
    pub(crate) states: Vec<SourceState>,
    /// Number of the last delivery.
    pub(crate) delivery: u64,
}

impl Seen {
    /// The messages without repeats.
    pub(crate) fn distinct(&self) -> BTreeSet<i64> {
        self.numbers.iter().copied().collect()
    }

    /// Whether all of `0..count` arrived.
    pub(crate) fn has_all(&self, count: i64) -> bool {
        self.distinct() == (0..count).collect()
    }

    /// How many pieces were refused for this reason.
    pub(crate) fn refused(&self, why: RefusedBecause) -> usize {
        self.refusals.iter().filter(|refusal| refusal.why == why).count()
    }

    /// How many times the link came up.
    pub(crate) fn ups(&self) -> usize {
        self.states.iter().filter(|state| **state == SourceState::Up).count()
    }

    /// The last cause of a link that was down.
    pub(crate) fn last_cause(&self) -> Option<&str> {
        self.states.iter().rev().find_map(|state| match state {
            SourceState::Down { cause } => Some(cause.as_str()),
            SourceState::Up | SourceState::Ended => None,
        })
    }
}

/// A running source with its application.
pub(crate) struct Gateway {
    seen: watch::Receiver<Seen>,
    committed: watch::Sender<u64>,
    stop: CancellationToken,
    source: JoinHandle<()>,
    application: JoinHandle<()>,
}

impl Gateway {
    /// Starts it and waits until it listens.
    pub(crate) async fn up(config: &MqttSource, commit: Commit) -> Self {
        let gateway = Self::start(config, commit, limits());
        gateway.until("the link is up", |seen| seen.ups() > 0).await;
        gateway
    }

    /// Starts it.
    pub(crate) fn start(config: &MqttSource, commit: Commit, limits: Limits) -> Self {
        let source = Mqtt::prepare(config.clone()).expect("readable secrets").with_limits(limits);
        let (deliveries, from_source) = mpsc::channel(64);
        let (committed, committed_rx) = watch::channel(0);
        let (seen_tx, seen) = watch::channel(Seen::default());
        let stop = CancellationToken::new();
        let wiring = Wiring {
            source: SourceId(0),
            decode,
            now,
            deliveries,
            committed: committed_rx,
            stop: stop.clone(),
        };
        let source = tokio::spawn(source.run(wiring));
        let application = tokio::spawn(apply(from_source, seen_tx, committed.clone(), commit));
        Self { seen, committed, stop, source, application }
    }

    /// Waits until the application saw what `enough` asks for.
    pub(crate) async fn until(&self, what: &str, enough: impl FnMut(&Seen) -> bool) -> Seen {
        let mut seen = self.seen.clone();
        match timeout(WAIT_MAX, seen.wait_for(enough)).await {
            Ok(found) => found.expect("the application runs").clone(),
            Err(_) => panic!("waited in vain until {what}: {:?}", summary(&self.seen.borrow())),
        }
    }

    /// Commits everything that was delivered.
    pub(crate) fn commit(&self) {
        self.committed.send_replace(self.seen.borrow().delivery);
    }

    /// Commits everything that was delivered and will be.
    pub(crate) fn commit_from_now(&self) {
        self.committed.send_replace(u64::MAX);
    }

    /// Commits what was delivered as soon as the stop is asked for.
    pub(crate) fn commit_once_stopping(&self) -> JoinHandle<()> {
        let (stop, committed, seen) = (self.stop.clone(), self.committed.clone(), self.seen.clone());
        tokio::spawn(async move {
            stop.cancelled().await;
            committed.send_replace(seen.borrow().delivery);
        })
    }

    /// Stops it as the service stops.
    pub(crate) async fn stop(self) -> Seen {
        self.stop.cancel();
        timeout(WAIT_MAX, self.source)
            .await
            .expect("the source ends in time")
            .expect("the source does not panic");
        timeout(WAIT_MAX, self.application).await.expect("the application ends").expect("it does not panic");
        self.seen.borrow().clone()
    }

    /// Lets it vanish, as a killed process does.
    pub(crate) async fn vanish(self) {
        self.source.abort();
        let ended = self.source.await;
        assert!(ended.is_err_and(|error| error.is_cancelled()), "it was cut off, not ended");
        self.application.abort();
    }
}

fn summary(seen: &Seen) -> (usize, usize, usize, &[SourceState]) {
    (seen.numbers.len(), seen.distinct().len(), seen.refusals.len(), &seen.states)
}

async fn apply(
    mut from_source: mpsc::Receiver<FromSource>,
    seen: watch::Sender<Seen>,
    committed: watch::Sender<u64>,
    commit: Commit,
) {
    while let Some(event) = from_source.recv().await {
        match event {
            FromSource::Delivery(delivery) => {
                let number = delivery.number;
                seen.send_modify(|seen| remember(seen, delivery));
                if commit == Commit::AtOnce {
                    committed.send_replace(number);
                }
            }
            FromSource::State { state, .. } => seen.send_modify(|seen| seen.states.push(state)),
            FromSource::Unit { unit, .. } => panic!("a broker has no unit {unit}"),
        }
    }
}

fn remember(seen: &mut Seen, delivery: Delivery) {
    assert_eq!(delivery.number, seen.delivery + 1, "deliveries are numbered without a hole");
    seen.delivery = delivery.number;
    seen.numbers.extend(delivery.samples.iter().map(|sample| sample.at.micros()));
    seen.refusals.extend(delivery.refusals);
}

/// A stand-in for the payload formats: «number» is a sample at that time, «now»
/// one at its arrival, padding after a space is ignored.
fn decode(_topic: &str, payload: &[u8], received: Timestamp) -> (Vec<Sample>, Vec<Refusal>) {
    let text = std::str::from_utf8(payload).unwrap_or("");
    let word = text.split(' ').next().unwrap_or("");
    let at = if word == "now" { Some(received) } else { word.parse().ok().map(Timestamp::from_micros) };
    match at {
        Some(at) => (vec![Sample { channel: ChannelId(0), at, value: Value::Number(82.0) }], Vec::new()),
        None => (Vec::new(), vec![Refusal { what: String::new(), why: RefusedBecause::NotSenml }]),
    }
}

fn now() -> Timestamp {
    let since = SystemTime::now().duration_since(UNIX_EPOCH).expect("a clock after 1970");
    Timestamp::from_seconds(since.as_secs_f64()).expect("a clock before 9999")
}

/// Limits with pauses short enough for a test.
pub(crate) fn limits() -> Limits {
    Limits {
        retry_min: Duration::from_millis(20),
        retry_max: Duration::from_millis(200),
        ..Limits::default()
    }
}

/// A source at this port.
pub(crate) fn config(port: u16, version: MqttVersion) -> MqttSource {
    MqttSource {
        host: "127.0.0.1".to_owned(),
        port,
        version,
        client_id: "gateway".to_owned(),
        session_expiry: Duration::from_secs(3600),
        keep_alive: Duration::from_secs(30),
        login: None,
        tls: None,
        subscriptions: vec![Subscription { filter: "probes/#".to_owned(), payload: Payload::Senml }],
        packet_bytes_max: 4096,
        unacked_max: 10_000,
    }
}

/// A password file that only its owner can read.
pub(crate) fn login(path: &Path, user: &str, password: &str) -> MqttLogin {
    fs::write(path, format!("{password}\n")).expect("a writable directory");
    fs::set_permissions(path, fs::Permissions::from_mode(0o600)).expect("our own file");
    MqttLogin { user: user.to_owned(), password_file: path.to_owned() }
}

/// Publishes at QoS 1 and returns when the broker has acknowledged everything.
pub(crate) async fn publish(port: u16, messages: impl IntoIterator<Item = (&'static str, String)>) {
    send(port, messages, false).await;
}

/// As [`publish`], to be kept by the broker for later subscribers.
pub(crate) async fn publish_retained(port: u16, topic: &'static str, payload: &str) {
    send(port, [(topic, payload.to_owned())], true).await;
}

/// Leaves a session with a subscription at QoS 2 behind.
pub(crate) async fn subscribe_once(port: u16, client_id: &str) {
    let mut options = MqttOptions::new(client_id, "127.0.0.1", port);
    options.set_clean_session(false);
    let (client, mut events) = AsyncClient::new(options, 10);
    client.subscribe("probes/#", QoS::ExactlyOnce).await.expect("the client runs");
    let granted = async {
        while !matches!(
            events.poll().await.expect("a broker that answers"),
            Event::Incoming(Packet::SubAck(_))
        ) {}
    };
    timeout(WAIT_MAX, granted).await.expect("the broker answers in time");
}

/// Publishes `0..count` at QoS 2.
pub(crate) async fn publish_exactly_once(port: u16, count: i64) {
    let (client, mut events) = AsyncClient::new(MqttOptions::new("publisher-2", "127.0.0.1", port), 100);
    for (topic, payload) in numbered(0..count) {
        client.publish(topic, QoS::ExactlyOnce, false, payload).await.expect("room for all");
    }
    let completed = async {
        let mut left = count;
        while left > 0 {
            if let Event::Incoming(Packet::PubComp(_)) = events.poll().await.expect("a broker that answers") {
                left -= 1;
            }
        }
    };
    timeout(WAIT_MAX, completed).await.expect("the broker completes in time");
}

/// Messages with these numbers.
pub(crate) fn numbered(numbers: std::ops::Range<i64>) -> impl Iterator<Item = (&'static str, String)> {
    numbers.map(|number| ("probes/dm1", number.to_string()))
}

async fn send(port: u16, messages: impl IntoIterator<Item = (&'static str, String)>, retain: bool) {
    let messages: Vec<_> = messages.into_iter().collect();
    let count = messages.len();
    let mut options = MqttOptions::new("publisher", "127.0.0.1", port);
    options.set_max_packet_size(200_000, 200_000);
    let (client, mut events) = AsyncClient::new(options, 100);
    let feed = tokio::spawn(async move {
        for (topic, payload) in messages {
            client.publish(topic, QoS::AtLeastOnce, retain, payload).await.expect("the publisher runs");
        }
        // Kept, for the publisher ends with its last handle.
        client
    });
    let acknowledged = async {
        let mut left = count;
        while left > 0 {
            if let Event::Incoming(Packet::PubAck(_)) = events.poll().await.expect("a broker that answers") {
                left -= 1;
            }
        }
    };
    timeout(WAIT_MAX, acknowledged).await.expect("the broker acknowledges in time");
    drop(feed.await.expect("the publisher does not panic"));
}
