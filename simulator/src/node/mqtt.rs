//! A node on a network: publishes each SenML pack at QoS 1 (MQTT 3.1.1) to `<prefix>/<machine>`.
//!
//! The session is persistent, so that what was published and not acknowledged is sent again after
//! a broken connection. The connection is retried for as long as the world plays.

use std::io;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::thread;
use std::time::{Duration, Instant};

use rumqttc::{Client, Connection, Event, MqttOptions, Outgoing, Packet, QoS, Transport};

use super::{Pace, Stop};
use crate::truth::TruthEntry;
use crate::world::World;

/// Packs under way at most.
const QUEUE: usize = 256;
/// How long the last acknowledgements are waited for.
const LAST_ACKS: Duration = Duration::from_secs(10);
/// Pause before the next attempt to connect.
const RETRY: Duration = Duration::from_millis(500);
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
    /// The client ended early.
    #[error("the MQTT client has ended")]
    Client {
        /// Cause.
        source: rumqttc::ClientError,
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
/// When the password cannot be read, or packs are left without acknowledgement.
pub fn play(
    world: &mut World,
    broker: &Broker,
    speed: f64,
    stop: &Stop,
    mut on_truth: impl FnMut(TruthEntry),
) -> Result<u64, PublishError> {
    let (client, connection) = Client::new(options(broker)?, QUEUE);
    let acked = Arc::new(AtomicU64::new(0));
    let over = Arc::new(AtomicBool::new(false));
    let poller = {
        let (acked, over) = (Arc::clone(&acked), Arc::clone(&over));
        thread::Builder::new()
            .name("mqtt".to_owned())
            .spawn(move || poll(connection, &acked, &over))
            .map_err(|source| PublishError::Thread { source })?
    };
    let topics: Vec<String> =
        world.facts().map(|facts| format!("{}/{}", broker.prefix, facts.name)).collect();
    let pace = Pace::new(world.start_micros(), speed, stop.clone());
    let mut published = 0;
    while let Some(emission) = world.next() {
        world.take_truth().into_iter().for_each(&mut on_truth);
        if !pace.wait_until(emission.at_micros) {
            break;
        }
        if let Some(topic) = topics.get(emission.machine) {
            let line = emission.line();
            client
                .publish(topic, QoS::AtLeastOnce, false, line)
                .map_err(|source| PublishError::Client { source })?;
            published += 1;
        }
    }
    world.take_truth().into_iter().for_each(&mut on_truth);
    let began = Instant::now();
    while acked.load(Ordering::Acquire) < published && began.elapsed() < LAST_ACKS {
        thread::sleep(Duration::from_millis(5));
    }
    over.store(true, Ordering::Release);
    // A client whose connection is gone cannot say goodbye, nor needs to.
    let _gone = client.disconnect();
    if poller.is_finished() || acked.load(Ordering::Acquire) >= published {
        let _ended = poller.join();
    }
    let missing = published.saturating_sub(acked.load(Ordering::Acquire));
    if missing == 0 { Ok(published) } else { Err(PublishError::Unacknowledged { missing, published }) }
}

fn poll(mut connection: Connection, acked: &AtomicU64, over: &AtomicBool) {
    for event in connection.iter() {
        match event {
            Ok(Event::Incoming(Packet::PubAck(_))) => {
                acked.fetch_add(1, Ordering::AcqRel);
            }
            Ok(Event::Outgoing(Outgoing::Disconnect)) => return,
            Ok(_) => {}
            Err(error) => {
                if over.load(Ordering::Acquire) {
                    return;
                }
                tracing::warn!(%error, "connection to the broker failed");
                thread::sleep(RETRY);
            }
        }
    }
}
