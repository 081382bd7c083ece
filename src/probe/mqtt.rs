//! The MQTT source: nothing is acknowledged before it is committed.
//!
//! - MQTT 5 or 3.1.1; the session is kept at the broker, so that it collects
//!   QoS 1 messages while the gateway is away. What arrives is decoded at once
//!   and delivered under a number; the acknowledgement (PUBACK) leaves, in
//!   order, once the application says that this number is committed.
//! - An acknowledgement belongs to the connection on which its message came. If
//!   that is gone the broker sends the message again; the application tells
//!   repeats apart by probe and time.
//! - A message that cannot be read or is too large is refused, counted and
//!   acknowledged: it never stops the ones behind it.
//! - A value without a time of its own counts as measured on arrival. Subscriptions
//!   to such payloads are at QoS 0, so that the broker keeps none of them, and one
//!   that it retained or repeats is refused. SenML may leave out its time too, which
//!   only its publisher can know to be wrong: nodes that buffer must give it.
//! - Subscriptions are asked for on every connection, since the broker may have
//!   lost the session, or have it from an older configuration. A filter taken
//!   out of the configuration stays in the session; its messages are refused as
//!   unknown names.
//!
//! Limits: [`MqttSource::unacked_max`] messages and [`Limits::held_bytes_max`]
//! bytes between arrival and commit (the last message may pass the bytes); at the
//! limit reading rests, and after [`Limits::stall_max`] of that the
//! link is dropped and resumed when half is committed. The broker may have no
//! more than `unacked_max` messages under way, so an application that commits by
//! the second carries at most that many messages a second: it should commit
//! sooner while much is waiting.

mod intake;
mod pending;
mod session;

use std::pin::pin;
use std::time::Duration;

use tokio::sync::{mpsc, watch};
use tokio::time::Instant;
use tokio_util::sync::CancellationToken;

pub use session::LinkError;

use self::intake::{Gone, Intake};
use self::session::{End, KEEP_ALIVE_MIN, Session};
use crate::config::source::{MqttSource, Payload, Subscription};
use crate::core::causes::chain;
use crate::core::id::SourceId;
use crate::core::reading::Sample;
use crate::core::time::Timestamp;
use crate::probe::{FromSource, SourceState};
use crate::transport::backoff::Backoff;
use crate::transport::dial::Tls;
use crate::transport::mqtt::packets::{Hello, Protocol, Wanted};
use crate::transport::mqtt::{self as packets, Login};
use crate::transport::secret::PrepareError;
use crate::wire::refusal::Refusal;

/// Limits that need no configuration.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Limits {
    /// Most bytes of topics and payloads between arrival and commit.
    pub held_bytes_max: usize,
    /// Longest rest of reading before the link is dropped.
    pub stall_max: Duration,
    /// Longest wait for an answer of the broker.
    pub answer_max: Duration,
    /// Longest wait for the last commits and the farewell when the program stops.
    pub drain_max: Duration,
    /// First pause after a failed connection; doubled with each further one.
    pub retry_min: Duration,
    /// Longest pause between two tries to connect.
    pub retry_max: Duration,
}

impl Default for Limits {
    /// Own choices: memory for a small computer, waits for a kitchen's network.
    fn default() -> Self {
        Self {
            held_bytes_max: 8 * 1024 * 1024,
            stall_max: Duration::from_secs(10),
            answer_max: Duration::from_secs(10),
            drain_max: Duration::from_secs(5),
            retry_min: Duration::from_millis(250),
            retry_max: Duration::from_secs(30),
        }
    }
}

/// What ties a source to the application.
pub struct Wiring<D, N> {
    /// Which source this is.
    pub source: SourceId,
    /// Reads the payload of a topic, given the time of arrival.
    pub decode: D,
    /// The gateway's clock.
    pub now: N,
    /// Where deliveries go.
    pub deliveries: mpsc::Sender<FromSource>,
    /// Up to which number deliveries are committed.
    pub committed: watch::Receiver<u64>,
    /// Asks the source to stop.
    pub stop: CancellationToken,
}

/// A source that is ready to connect.
pub struct Mqtt {
    config: MqttSource,
    limits: Limits,
    wanted: Vec<Wanted>,
    login: Option<Login>,
    tls: Option<Tls>,
    protocol: Box<dyn Protocol>,
}

impl Mqtt {
    /// Reads password and certificates.
    ///
    /// # Errors
    /// [`PrepareError`] names the file and what to do about it.
    pub fn prepare(config: MqttSource) -> Result<Self, PrepareError> {
        Ok(Self {
            limits: Limits::default(),
            wanted: config.subscriptions.iter().map(wanted).collect(),
            login: config.login.as_ref().map(Login::read).transpose()?,
            tls: packets::tls(&config.host, config.tls.as_ref())?,
            protocol: packets::protocol(config.version),
            config,
        })
    }

    /// Replaces the limits.
    #[must_use]
    pub fn with_limits(mut self, limits: Limits) -> Self {
        self.limits = limits;
        self
    }

    /// Connects, delivers and acknowledges until asked to stop, or until the
    /// application no longer listens; reconnects for as long as that takes.
    pub async fn run<D, N>(self, wiring: Wiring<D, N>)
    where
        D: Fn(&str, &[u8], Timestamp) -> (Vec<Sample>, Vec<Refusal>),
        N: Fn() -> Timestamp,
    {
        let stop = wiring.stop.clone();
        let mut intake = Intake::new(wiring);
        let mut backoff = Backoff::new(self.limits.retry_min, self.limits.retry_max);
        for connection in 1.. {
            let since = Instant::now();
            let failed = match self.connection(connection, &mut intake, &stop).await {
                Ok(End::Stopped | End::Gone) => break,
                Err(error) => error,
            };
            let cause = chain(&failed);
            intake.tell(SourceState::Down { cause });
            backoff.after_connection(since.elapsed());
            if self.rest(backoff.after_failure(), &mut intake, &stop).await == Err(Gone)
                || stop.is_cancelled()
            {
                break;
            }
        }
        let until = Instant::now() + self.limits.drain_max;
        // `Gone` leaves nobody to deliver to.
        if !stop.is_cancelled() || intake.idle(until, Intake::is_settled).await.is_err() {
            tracing::debug!("the application stopped listening to an MQTT source");
        }
    }

    async fn connection<D, N>(
        &self,
        connection: u64,
        intake: &mut Intake<D, N>,
        stop: &CancellationToken,
    ) -> Result<End, LinkError>
    where
        D: Fn(&str, &[u8], Timestamp) -> (Vec<Sample>, Vec<Refusal>),
        N: Fn() -> Timestamp,
    {
        let mut opening = pin!(Session::open(self, connection));
        let mut session = loop {
            tokio::select! {
                () = stop.cancelled() => return Ok(End::Stopped),
                opened = &mut opening => break opened?,
                pumped = intake.pump() => match pumped {
                    Ok(()) => intake.settle(None, |_| ()),
                    Err(Gone) => return Ok(End::Gone),
                },
            }
        };
        let end = session.run(intake, stop).await?;
        session.close(intake, &self.limits).await;
        Ok(end)
    }

    /// Rests before the next try, and longer while more than half of the limit waits for its commit.
    async fn rest<D, N>(
        &self,
        pause: Duration,
        intake: &mut Intake<D, N>,
        stop: &CancellationToken,
    ) -> Result<(), Gone>
    where
        D: Fn(&str, &[u8], Timestamp) -> (Vec<Sample>, Vec<Refusal>),
        N: Fn() -> Timestamp,
    {
        let (messages, bytes) = (self.config.unacked_max.div_ceil(2), self.limits.held_bytes_max / 2);
        let rest = async {
            intake.idle(Instant::now() + pause, |_| false).await?;
            while intake.pending.over(messages, bytes) {
                intake.idle(Instant::now() + pause, |intake| !intake.pending.over(messages, bytes)).await?;
            }
            Ok(())
        };
        tokio::select! {
            () = stop.cancelled() => Ok(()),
            rested = rest => rested,
        }
    }

    fn hello(&self) -> Hello<'_> {
        let seconds = |span: Duration| span.as_secs();
        Hello {
            client_id: &self.config.client_id,
            login: self.login.as_ref().map(|login| (login.user.as_str(), login.password.as_str())),
            keep_alive_s: u16::try_from(seconds(self.config.keep_alive.max(KEEP_ALIVE_MIN)))
                .unwrap_or(u16::MAX),
            // A session of no length is none: it ends with the connection.
            session_expiry_s: Some(self.config.session_expiry)
                .filter(|expiry| !expiry.is_zero())
                .map(|expiry| u32::try_from(seconds(expiry)).unwrap_or(u32::MAX)),
            will: None,
            receive_max: u16::try_from(self.config.unacked_max.max(1)).unwrap_or(u16::MAX),
            packet_bytes_max: self.config.packet_bytes_max,
        }
    }
}

/// A payload without a time is worth something only at once: at QoS 0 the broker
/// neither collects it for an absent gateway nor sends it twice.
fn wanted(subscription: &Subscription) -> Wanted {
    let at_least_once = match &subscription.payload {
        Payload::Senml => true,
        Payload::Bare { .. } => false,
        Payload::Pointer { time, .. } => time.is_some(),
    };
    Wanted { filter: subscription.filter.clone(), at_least_once }
}
