//! A node with a persistent session that publishes at QoS 1.

use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

use rumqttc::{Client, Event, MqttOptions, Outgoing, Packet, QoS};

use rinseward::core::time::Timestamp;
use rinseward::ledger::Reader;

use super::gateway::Gateway;
use super::kitchen::{Pack, Site, Stream};

/// Longest wait for the broker's last acknowledgements.
const WAIT_MAX: Duration = Duration::from_secs(60);

/// A publisher at work.
pub(crate) struct Publisher {
    total: usize,
    acked: Arc<AtomicUsize>,
    feed: JoinHandle<Client>,
    link: JoinHandle<()>,
}

impl Publisher {
    /// Sends the packs at `speed` simulated seconds a second.
    pub(crate) fn start(port: u16, packs: Vec<Pack>, speed: f64) -> Self {
        let mut options = MqttOptions::new("node", "127.0.0.1", port);
        options.set_clean_session(false);
        let (client, mut connection) = Client::new(options, 64);
        let (total, acked) = (packs.len(), Arc::new(AtomicUsize::new(0)));
        let count = Arc::clone(&acked);
        let link = thread::spawn(move || {
            for event in connection.iter() {
                match event.expect("the broker runs") {
                    Event::Incoming(Packet::PubAck(_)) => {
                        count.fetch_add(1, Ordering::AcqRel);
                    }
                    Event::Outgoing(Outgoing::Disconnect) => return,
                    Event::Incoming(_) | Event::Outgoing(_) => {}
                }
            }
        });
        let feed = thread::spawn(move || {
            let began = Instant::now();
            for pack in packs {
                let due = began + Duration::from_secs_f64(pack.after_micros as f64 * 1e-6 / speed);
                thread::sleep(due.saturating_duration_since(Instant::now()));
                client.publish(pack.topic, QoS::AtLeastOnce, false, pack.payload).expect("the link runs");
            }
            client
        });
        Self { total, acked, feed, link }
    }

    /// Whether the broker has acknowledged everything.
    pub(crate) fn is_done(&self) -> bool {
        self.acked.load(Ordering::Acquire) == self.total
    }

    /// Waits until the broker has acknowledged everything, and leaves.
    pub(crate) fn finish(self) {
        let client = self.feed.join().expect("the feed does not panic");
        let limit = Instant::now() + WAIT_MAX;
        while self.acked.load(Ordering::Acquire) < self.total {
            assert!(Instant::now() < limit, "the broker does not acknowledge");
            thread::sleep(Duration::from_millis(5));
        }
        client.disconnect().expect("the link runs");
        self.link.join().expect("the link does not panic");
    }
}

/// Publishes the first message of a stream until it is on record: from there on the broker
/// collects for the gateway, whatever becomes of that.
pub(crate) fn until_listening(gateway: &Gateway, site: &Site, stream: &Stream, port: u16) {
    let has_readings = |reader: Reader| {
        stream.readings.keys().any(|channel| {
            let read = reader.readings(channel, Timestamp::MIN, Timestamp::MAX);
            read.is_ok_and(|readings| !readings.is_empty())
        })
    };
    let limit = Instant::now() + WAIT_MAX;
    while !Reader::open(&site.ledger()).is_ok_and(has_readings) {
        assert!(Instant::now() < limit, "the gateway does not listen: {}", gateway.log());
        Publisher::start(port, vec![stream.packs[0].clone()], f64::INFINITY).finish();
        thread::sleep(Duration::from_millis(50));
    }
}
