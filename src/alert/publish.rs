//! Publishing at a broker: events at QoS 1, the state of each machine and of the
//! gateway retained.
//!
//! | topic | |
//! |---|---|
//! | `<prefix>/<machine>/alert` | events of a machine, as CloudEvents in JSON |
//! | `<prefix>/alert` | events of the site |
//! | `<prefix>/<machine>/state` | retained: [`MachineState`] as JSON |
//! | `<prefix>/checkpoint` | retained: the newest signed checkpoint (C2SP signed note) as text |
//! | `<prefix>/gateway` | retained: `online`, `stopped` after an orderly end, `offline` as the last will |
//!
//! - An event counts as delivered with its PUBACK, and not before: until then it
//!   waits in the outbox, which is why the session at the broker is a fresh one
//!   every time and nothing of a connection outlives it.
//! - Of a state only the newest is kept, and sent again on every connection, for
//!   the broker may have forgotten what it retained.
//! - Limits: [`WAITING_MAX`] events before the link, [`UNDER_WAY_MAX`] without a
//!   PUBACK, or as few as the broker wishes.

mod link;

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use serde::{Deserialize, Serialize};
use tokio::sync::{Notify, mpsc, oneshot, watch};
use tokio::time::{Instant, sleep, timeout};
use tokio_util::sync::CancellationToken;

use self::link::{Link, LinkError};
use super::answer::{Answer, Step, Tell};
use super::event::{CloudEvent, MEDIA_TYPE};
use crate::config::delivery::PublishSettings;
use crate::core::alert::trial::{self, Fact, Told};
use crate::core::alert::{AlertNumber, Condition, Severity};
use crate::core::cycle::verdict::Verdict;
use crate::core::time::Timestamp;
use crate::transport::backoff::Backoff;
use crate::transport::dial::Tls;
use crate::transport::mqtt::packets::{Hello, Protocol, Refused, Will};
use crate::transport::mqtt::{self, Login};
use crate::transport::secret::PrepareError;

/// Most events between the courier and the link (own choice; the courier has fewer under way).
pub const WAITING_MAX: usize = 64;
/// Most messages without a PUBACK (own choice; below what brokers allow where nothing is configured: 20 at Mosquitto).
pub const UNDER_WAY_MAX: u16 = 16;

/// First rest after a lost connection, doubled up to [`REST_MAX`] (own choices).
const REST_MIN: Duration = Duration::from_millis(250);
const REST_MAX: Duration = Duration::from_secs(30);
/// Longest wait for a PUBACK, the connection included (own choice).
const ACKNOWLEDGED_MAX: Duration = Duration::from_secs(30);

/// Words for the state of the gateway.
const ONLINE: &str = "online";
const OFFLINE: &str = "offline";
const STOPPED: &str = "stopped";

/// The state of a machine as it is published.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub struct MachineState {
    /// When this was so.
    pub time: Timestamp,
    /// Name of the machine.
    pub machine: String,
    /// When the last final rinse ended; `null` before the first.
    pub last_cycle: Option<Timestamp>,
    /// What was judged of it.
    pub verdict: Option<Verdict>,
    /// Its settled minimum, °C.
    pub settled_minimum_c: Option<f64>,
    /// The limit of it, °C.
    pub limit_c: Option<f64>,
    /// The wash tank, °C.
    pub tank_c: Option<f64>,
    /// What is open.
    pub alerts: Vec<OpenAlert>,
}

/// An open alert as it is published.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub struct OpenAlert {
    /// Its number.
    pub number: AlertNumber,
    /// What is wrong.
    pub condition: Condition,
    /// How bad it is.
    pub severity: Severity,
    /// When it was raised.
    pub raised: Timestamp,
    /// Whether somebody has taken it on.
    pub acknowledged: bool,
}

/// What goes to the link.
struct Order {
    topic: String,
    payload: Vec<u8>,
    done: oneshot::Sender<Result<(), Refused>>,
}

/// States by topic; whatever is not yet at the broker is fresh.
#[derive(Default)]
struct States {
    kept: BTreeMap<String, State>,
}

struct State {
    payload: Vec<u8>,
    content_type: &'static str,
    fresh: bool,
}

/// What publisher and link share.
struct Shared {
    states: Mutex<States>,
    changed: Notify,
    standing: watch::Sender<Standing>,
}

/// How the link to the broker stands.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Standing {
    /// The first connection is being made.
    Opening,
    /// The broker has accepted us.
    Up,
    /// There is none, for this reason.
    Down(Told),
}

impl Shared {
    /// A map cannot be left half written, so a poisoned lock is still good.
    fn states(&self) -> MutexGuard<'_, States> {
        self.states.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Why an event was not acknowledged.
    fn trouble(&self) -> Told {
        match &*self.standing.borrow() {
            Standing::Opening => Fact::NotYet {}.into(),
            Standing::Up => Fact::Unacknowledged {}.into(),
            Standing::Down(cause) => cause.clone(),
        }
    }
}

/// The publisher, for those who have something to publish. Copies share one link.
#[derive(Clone)]
pub struct Publisher {
    prefix: String,
    orders: mpsc::Sender<Order>,
    shared: Arc<Shared>,
}

/// The link to the broker, which one task keeps.
pub struct Broker {
    settings: PublishSettings,
    login: Option<Login>,
    tls: Option<Tls>,
    protocol: Box<dyn Protocol>,
    /// Whether it says how the gateway is.
    speaks_for_gateway: bool,
    orders: mpsc::Receiver<Order>,
    shared: Arc<Shared>,
}

/// Reads password and certificates.
///
/// # Errors
/// [`PrepareError`] names the file and what to do about it.
pub fn prepare(settings: PublishSettings) -> Result<(Publisher, Broker), PrepareError> {
    let (sender, orders) = mpsc::channel(WAITING_MAX);
    let shared = Arc::new(Shared {
        states: Mutex::default(),
        changed: Notify::new(),
        standing: watch::Sender::new(Standing::Opening),
    });
    let publisher =
        Publisher { prefix: settings.prefix.clone(), orders: sender, shared: Arc::clone(&shared) };
    let broker = Broker {
        login: settings.login.as_ref().map(Login::read).transpose()?,
        tls: mqtt::tls(&settings.host, settings.tls.as_ref())?,
        protocol: mqtt::protocol(settings.version),
        speaks_for_gateway: true,
        settings,
        orders,
        shared,
    };
    Ok((publisher, broker))
}

impl Publisher {
    /// Publishes an event; ends with its PUBACK, or with the reason why there was none.
    pub async fn publish(&self, event: &CloudEvent) -> Answer {
        let topic = match &event.subject {
            Some(machine) => format!("{}/{machine}/alert", self.prefix),
            None => format!("{}/alert", self.prefix),
        };
        let (done, acknowledged) = oneshot::channel();
        let order = Order { topic, payload: event.to_json(), done };
        let published = async {
            // A closed channel is a link that has ended.
            self.orders.send(order).await.ok()?;
            acknowledged.await.ok()
        };
        match timeout(ACKNOWLEDGED_MAX, published).await {
            Ok(Some(Ok(()))) => Answer::Taken,
            Ok(Some(Err(refused))) => Answer::later(refused),
            Ok(None) | Err(_) => Answer::later(self.shared.trouble()),
        }
    }

    /// Keeps the state of a machine, retained at the broker; only the newest one counts.
    pub fn state(&self, state: &MachineState) {
        let topic = format!("{}/{}/state", self.prefix, state.machine);
        let payload =
            serde_json::to_vec(state).expect("texts, times and finite or null numbers can be written");
        self.keep(topic, payload, JSON);
    }

    /// Keeps the newest signed checkpoint, retained at the broker.
    pub fn checkpoint(&self, note: &str) {
        self.keep(format!("{}/checkpoint", self.prefix), note.as_bytes().to_vec(), TEXT);
    }

    fn keep(&self, topic: String, payload: Vec<u8>, content_type: &'static str) {
        let mut states = self.shared.states();
        let same = states.kept.get(&topic).is_some_and(|kept| kept.payload == payload);
        if !same {
            states.kept.insert(topic, State { payload, content_type, fresh: true });
            drop(states);
            self.shared.changed.notify_one();
        }
    }

    /// Publishes an event and tells each step. A [`Broker`] of its own must be
    /// running, under another client identifier than the service's.
    pub async fn trial(&self, event: &CloudEvent, tell: Tell<'_>) -> Answer {
        let mut standing = self.standing();
        let told = timeout(ACKNOWLEDGED_MAX, standing.wait_for(|standing| *standing != Standing::Opening));
        let outcome = match told.await {
            Ok(Ok(standing)) if *standing == Standing::Up => Ok(Fact::Accepted {}.into()),
            Ok(_) | Err(_) => Err(self.shared.trouble()),
        };
        if let Err(error) = &outcome {
            let answer = Answer::later(error.clone());
            tell(Step { what: trial::CONNECTION, outcome });
            return answer;
        }
        tell(Step { what: trial::CONNECTION, outcome });
        let answer = self.publish(event).await;
        let outcome = match answer.error() {
            None => Ok(Fact::Acknowledged {}.into()),
            Some(error) => Err(error.clone()),
        };
        tell(Step { what: trial::MESSAGE, outcome });
        answer
    }

    /// How the link stands, now and later.
    #[must_use]
    pub fn standing(&self) -> watch::Receiver<Standing> {
        self.shared.standing.subscribe()
    }
}

impl Broker {
    /// For a trial beside the running service: another client identifier, and no
    /// word about the gateway, whose state the service tells.
    #[must_use]
    pub fn beside_the_service(mut self) -> Self {
        self.settings.client_id.push_str("-trial");
        self.speaks_for_gateway = false;
        self
    }

    /// Keeps the link until `stop`, then says that the gateway was stopped in order.
    pub async fn run(mut self, stop: CancellationToken) {
        let mut backoff = Backoff::new(REST_MIN, REST_MAX);
        loop {
            let since = Instant::now();
            let ended = match stop.run_until_cancelled(Link::open(&self)).await {
                None => return,
                Some(Ok(link)) => {
                    tracing::info!(host = self.settings.host, "publishing at the broker");
                    self.shared.standing.send_replace(Standing::Up);
                    link.run(&mut self, &stop).await
                }
                Some(Err(error)) => Err(error),
            };
            let Err(error) = ended else { return };
            self.failed(&error);
            backoff.after_connection(since.elapsed());
            if stop.run_until_cancelled(sleep(backoff.after_failure())).await.is_none() {
                return;
            }
        }
    }

    fn failed(&mut self, error: &LinkError) {
        let cause = Told::from(error);
        let down = Standing::Down(cause.clone());
        // The same for hours is told once.
        if *self.shared.standing.borrow() != down {
            tracing::warn!(host = self.settings.host, %cause, "the broker takes no events");
        }
        self.shared.standing.send_replace(down);
        // Whoever waited for this link tries again from the outbox, with its own patience.
        while self.orders.try_recv().is_ok() {}
    }

    fn hello(&self) -> Hello<'_> {
        Hello {
            client_id: &self.settings.client_id,
            login: self.login.as_ref().map(|login| (login.user.as_str(), login.password.as_str())),
            keep_alive_s: u16::try_from(self.settings.keep_alive.as_secs()).unwrap_or(u16::MAX),
            session_expiry_s: None,
            receive_max: UNDER_WAY_MAX,
            packet_bytes_max: link::PACKET_BYTES_MAX,
            will: None,
        }
    }

    fn will<'a>(&self, topic: &'a str) -> Option<Will<'a>> {
        self.speaks_for_gateway.then_some(Will { topic, payload: OFFLINE })
    }

    fn gateway_topic(&self) -> String {
        format!("{}/gateway", self.settings.prefix)
    }
}

const TEXT: &str = "text/plain";
const JSON: &str = "application/json";
