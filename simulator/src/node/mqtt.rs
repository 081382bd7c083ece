//! A node on a network: publishes each SenML pack at QoS 1 (MQTT 3.1.1) to `<prefix>/<machine>`.
//!
//! The session is persistent, so that what was published and not acknowledged is sent again after
//! a broken connection. A connection once made is made again for as long as the world plays.

use std::io;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

use rumqttc::{Client, Connection, ConnectionError, Event, MqttOptions, Outgoing, Packet, QoS, Transport};

use super::{Pace, Stop};
use crate::truth::TruthEntry;
use crate::world::World;

/// Packs under way at most.
const QUEUE: usize = 256;
/// How long the last acknowledgements are waited for.
const LAST_ACKS: Duration = Duration::from_secs(10);
/// Pause before the next attempt to connect.
const RETRY: Duration = Duration::from_millis(500);
/// How long the first connection is tried.
const FIRST_CONNECT: Duration = Duration::from_secs(10);
/// Pause before the next look for room in the queue.
const ROOM: Duration = Duration::from_millis(2);
/// Largest packet, bytes: a pack is about 120.
const PACKET_MAX: usize = 64 * 1024;

/// Where and how to publish.
#[derive(Clone, Debug)]
pub struct Broker {
    /// Host name or address.
    pub host: String,
    /// Port.
    pub port: u16,
    /// Client identifier; unique at the broker.
    pub client_id: String,
    /// First part of every topic.
    pub prefix: String,
    /// Certificate authority in PEM for TLS; `None` is plain TCP. The caller installs a rustls
    /// crypto provider first.
    pub ca_pem: Option<Vec<u8>>,
    /// User name and the file that holds the password.
    pub user: Option<(String, PathBuf)>,
}

/// Publishing failed.
#[derive(Debug, thiserror::Error)]
pub enum PublishError {
    /// The password file could not be read.
    #[error("cannot read the password file {path}")]
    Password {
        /// Path.
        path: PathBuf,
        /// Cause.
        source: io::Error,
    },
    /// The broker refused, or could not be reached.
    #[error("cannot connect to the broker")]
    Connect {
        /// Cause.
        source: Box<ConnectionError>,
    },
    /// The system gave no thread.
    #[error("cannot start a thread")]
    Thread {
        /// Cause.
        source: io::Error,
    },
    /// Some packs were never acknowledged.
    #[error("{missing} of {published} packs were not acknowledged")]
    Unacknowledged {
        /// Packs without an acknowledgement.
        missing: u64,
        /// Packs published.
        published: u64,
    },
}

fn options(broker: &Broker) -> Result<MqttOptions, PublishError> {
    let mut options = MqttOptions::new(&broker.client_id, &broker.host, broker.port);
    options.set_clean_session(false);
    options.set_keep_alive(Duration::from_secs(15));
    options.set_max_packet_size(PACKET_MAX, PACKET_MAX);
    if let Some(ca_pem) = &broker.ca_pem {
        options.set_transport(Transport::tls(ca_pem.clone(), None, None));
    }
    if let Some((user, path)) = &broker.user {
        let password = std::fs::read_to_string(path)
            .map_err(|source| PublishError::Password { path: path.clone(), source })?;
        options.set_credentials(user, password.trim_end());
    }
    Ok(options)
}

/// Plays a world to a broker at `speed` simulated seconds a second, in the calling thread, until
/// its end or a stop. Returns the number of packs published and acknowledged.
///
/// # Errors
/// When the password cannot be read, the broker refuses or is not there, or packs are left without
/// acknowledgement.
pub fn play(
    world: &mut World,
    broker: &Broker,
    speed: f64,
    stop: &Stop,
    mut on_truth: impl FnMut(TruthEntry),
) -> Result<u64, PublishError> {
    let mut link = Link::open(broker)?;
    let topics: Vec<String> =
        world.facts().map(|facts| format!("{}/{}", broker.prefix, facts.name)).collect();
    let pace = Pace::new(world.start_micros(), speed, stop.clone());
    while let Some(emission) = world.next() {
        world.take_truth().into_iter().for_each(&mut on_truth);
        let Some(topic) = topics.get(emission.machine) else { continue };
        if !pace.wait_until(emission.at_micros) || !link.publish(topic, &emission.line(), stop) {
            break;
        }
    }
    world.take_truth().into_iter().for_each(&mut on_truth);
    link.close()
}

/// A connection with its thread.
struct Link {
    client: Client,
    poller: JoinHandle<Result<(), Box<ConnectionError>>>,
    acked: Arc<AtomicU64>,
    over: Arc<AtomicBool>,
    published: u64,
}

impl Link {
    fn open(broker: &Broker) -> Result<Self, PublishError> {
        let (client, connection) = Client::new(options(broker)?, QUEUE);
        let acked = Arc::new(AtomicU64::new(0));
        let over = Arc::new(AtomicBool::new(false));
        let shared = (Arc::clone(&acked), Arc::clone(&over));
        let poller = thread::Builder::new()
            .name("mqtt".to_owned())
            .spawn(move || poll(connection, &shared.0, &shared.1))
            .map_err(|source| PublishError::Thread { source })?;
        Ok(Self { client, poller, acked, over, published: 0 })
    }

    /// Waits for room in the queue; false when asked to stop, or when the connection is given up.
    fn publish(&mut self, topic: &str, line: &str, stop: &Stop) -> bool {
        while self.client.try_publish(topic, QoS::AtLeastOnce, false, line).is_err() {
            if stop.is_stopped() || self.poller.is_finished() {
                return false;
            }
            thread::sleep(ROOM);
        }
        self.published += 1;
        true
    }

    fn close(self) -> Result<u64, PublishError> {
        let missing = || self.published.saturating_sub(self.acked.load(Ordering::Acquire));
        let began = Instant::now();
        while missing() > 0 && began.elapsed() < LAST_ACKS && !self.poller.is_finished() {
            thread::sleep(ROOM);
        }
        self.over.store(true, Ordering::Release);
        // A client whose connection is gone cannot say goodbye, nor needs to.
        let _gone = self.client.try_disconnect();
        let missing = missing();
        if missing > 0 && !self.poller.is_finished() {
            return Err(PublishError::Unacknowledged { missing, published: self.published });
        }
        match self.poller.join() {
            Ok(Ok(())) => Ok(self.published),
            Ok(Err(source)) => Err(PublishError::Connect { source }),
            Err(panic) => std::panic::resume_unwind(panic),
        }
    }
}

/// Serves the connection until it is told to end. Gives up when the broker refuses, or cannot be
/// reached for the first time.
fn poll(
    mut connection: Connection,
    acked: &AtomicU64,
    over: &AtomicBool,
) -> Result<(), Box<ConnectionError>> {
    let began = Instant::now();
    let mut connected = false;
    for event in connection.iter() {
        match event {
            Ok(Event::Incoming(Packet::PubAck(_))) => {
                acked.fetch_add(1, Ordering::AcqRel);
            }
            Ok(Event::Incoming(Packet::ConnAck(_))) => connected = true,
            Ok(Event::Outgoing(Outgoing::Disconnect)) => return Ok(()),
            Ok(_) => {}
            Err(_) if over.load(Ordering::Acquire) => return Ok(()),
            Err(error @ ConnectionError::ConnectionRefused(_)) => return Err(Box::new(error)),
            Err(error) if !connected && began.elapsed() > FIRST_CONNECT => return Err(Box::new(error)),
            Err(error) => {
                tracing::warn!(%error, "connection to the broker failed");
                thread::sleep(RETRY);
            }
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scenario::Scenario;

    /// Nobody listens on the port: playing ends at a stop, and says what is missing.
    #[test]
    fn a_broker_that_is_not_there_does_not_block_a_stop() {
        // A port that was free a moment ago.
        let free = std::net::TcpListener::bind("127.0.0.1:0").expect("a free port");
        let port = free.local_addr().expect("an address").port();
        drop(free);
        let broker = Broker {
            host: "127.0.0.1".to_owned(),
            port,
            client_id: "test".to_owned(),
            prefix: "dish".to_owned(),
            ca_pem: None,
            user: None,
        };
        let stop = Stop::default();
        let asked = stop.clone();
        let player =
            thread::spawn(move || play(&mut World::new(Scenario::Demo, 1), &broker, 1_000.0, &asked, |_| ()));
        stop.stop();
        // Stopped before the first pack, it has nothing to wait for; after it, a pack is missing.
        match player.join().expect("no panic") {
            Ok(published) => assert_eq!(published, 0),
            Err(PublishError::Unacknowledged { missing, published }) => assert_eq!(missing, published),
            Err(error) => panic!("{error}"),
        }
    }
}
