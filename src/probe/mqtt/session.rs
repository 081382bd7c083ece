//! One connection to the broker, from CONNECT to its end.
//!
//! One task reads, writes, delivers and keeps alive, and never waits for one of
//! these alone: while the application is slow the link goes on answering, and
//! while the broker is slow commits go on being taken. Where more is held than
//! allowed it only stops reading, which the broker meets by keeping its messages.

use std::io;
use std::time::Duration;

use bytes::BytesMut;
use tokio::io::{AsyncReadExt, AsyncWriteExt, ReadHalf, WriteHalf};
use tokio::time::{self, Instant};
use tokio_util::sync::CancellationToken;

use super::intake::{Batch, Gone, Intake};
use super::{Limits, Mqtt};
use crate::core::reading::Sample;
use crate::core::time::Timestamp;
use crate::probe::SourceState;
use crate::transport::dial::{self, DialError, Stream};
use crate::transport::mqtt;
use crate::transport::mqtt::frames::{Frame, Frames};
use crate::transport::mqtt::packets::{self, Ended, Incoming, PacketError, Rejection};
use crate::wire::refusal::Refusal;

/// Room made for one read, in bytes: some hundred readings (own choice).
const READ_BYTES: usize = 64 * 1024;

/// After a small read, how long to let the network gather before the next one
/// (own choice: far below what anybody notices). Brokers send each message by
/// itself; read one by one, each would wake the application by itself too.
const GATHER: Duration = Duration::from_millis(2);

/// First byte of CONNACK (MQTT 5.0 §3.2.1), and so of all that a broker sends.
const CONNACK: u8 = 0x20;

/// Shortest keep-alive (own choice); 0 would mean none, and a dead broker would never be noticed.
pub(super) const KEEP_ALIVE_MIN: Duration = Duration::from_secs(1);

/// Shortest time for the farewell to the broker (own choice).
const FAREWELL_MIN: Duration = Duration::from_secs(1);

/// Why a connection could not be made, or came to its end.
#[derive(Debug, thiserror::Error)]
pub enum LinkError {
    /// Nothing answers there, TLS was refused, or the connection broke.
    #[error(transparent)]
    Dial(#[from] DialError),
    /// No answer within [`Limits::answer_max`].
    #[error("{}", mqtt::SILENT)]
    NoAnswer,
    /// The broker closed the connection. Mosquitto 2.0.11 does so, without a
    /// DISCONNECT, to a client whose identifier another one takes over.
    #[error("{}", mqtt::CLOSED)]
    Closed,
    /// The broker does not want this client.
    #[error("{0}")]
    Rejected(Rejection),
    /// The broker grants none of the subscriptions.
    #[error("the broker refuses every subscription: check its access list")]
    Subscription,
    /// The broker ended the connection and said why.
    #[error("{0}")]
    Ended(Ended),
    /// The broker sent something that is no packet.
    #[error("{}", mqtt::NOT_UNDERSTOOD)]
    Packet(#[from] PacketError),
    /// The first byte was not that of an answer to CONNECT.
    #[error("what answers at this port does not speak MQTT")]
    NoBroker,
    /// The broker sent a packet that has no place here.
    #[error("the broker does not keep to the order of the protocol")]
    Order,
    /// The application committed nothing for [`Limits::stall_max`] while too much was held.
    #[error("readings arrive faster than they are stored")]
    Stalled,
}

/// How a connection came to its end without a fault.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum End {
    /// The program stops.
    Stopped,
    /// The application is gone.
    Gone,
}

/// A connection that the broker accepted.
pub(super) struct Session<'a> {
    mqtt: &'a Mqtt,
    connection: u64,
    reader: ReadHalf<Box<dyn Stream>>,
    writer: WriteHalf<Box<dyn Stream>>,
    inbound: BytesMut,
    outbound: BytesMut,
    unflushed: bool,
    frames: Frames,
    keep_alive: Duration,
    /// When to send the next PINGREQ.
    ping_at: Instant,
    /// By when the broker must have answered SUBSCRIBE or PINGREQ.
    answer_due: Option<Instant>,
    /// Since when reading rests because too much is held.
    paused_since: Option<Instant>,
    /// Until when reading rests so that more comes together.
    gather_until: Option<Instant>,
}

impl<'a> Session<'a> {
    /// Connects, logs in and asks for the subscriptions, within [`Limits::answer_max`].
    pub(super) async fn open(mqtt: &'a Mqtt, connection: u64) -> Result<Self, LinkError> {
        let opening = Self::open_slowly(mqtt, connection);
        time::timeout(mqtt.limits.answer_max, opening).await.map_err(|_| LinkError::NoAnswer)?
    }

    async fn open_slowly(mqtt: &'a Mqtt, connection: u64) -> Result<Self, LinkError> {
        let (reader, writer) =
            tokio::io::split(dial::dial(&mqtt.config.host, mqtt.config.port, mqtt.tls.as_ref()).await?);
        let now = Instant::now();
        let mut session = Self {
            mqtt,
            connection,
            reader,
            writer,
            inbound: BytesMut::with_capacity(READ_BYTES),
            outbound: BytesMut::new(),
            unflushed: false,
            frames: Frames::new(mqtt.config.packet_bytes_max),
            keep_alive: mqtt.config.keep_alive,
            ping_at: now,
            answer_due: Some(now + mqtt.limits.answer_max),
            paused_since: None,
            gather_until: None,
        };
        mqtt.protocol.connect(&mqtt.hello(), &mut session.outbound)?;
        session.write_all().await?;
        let session_present = session.connected().await?;
        if !session_present && connection > 1 {
            tracing::warn!(
                host = mqtt.config.host,
                "the broker lost the session; what it held for us is gone"
            );
        }
        // On every connection: the session may be lost, or older than the configuration.
        mqtt.protocol.subscribe(&mqtt.wanted, &mut session.outbound)?;
        session.write_all().await?;
        session.ping_at = Instant::now() + session.keep_alive / 2;
        Ok(session)
    }

    /// Waits for CONNACK; says whether the session was still there.
    async fn connected(&mut self) -> Result<bool, LinkError> {
        loop {
            if self.inbound.first().is_some_and(|first| *first != CONNACK) {
                return Err(LinkError::NoBroker);
            }
            if let Some(frame) = self.frames.next(&mut self.inbound)? {
                let Frame::Whole(packet) = frame else {
                    return Err(LinkError::Packet(PacketError::Oversized { bytes: self.inbound.len() }));
                };
                return match self.mqtt.protocol.read(packet)? {
                    Incoming::Connected { session_present, keep_alive, receive_max: _ } => {
                        self.keep_alive = keep_alive.unwrap_or(self.keep_alive).max(KEEP_ALIVE_MIN);
                        Ok(session_present)
                    }
                    Incoming::Rejected(rejection) => Err(LinkError::Rejected(rejection)),
                    Incoming::Message(_)
                    | Incoming::Subscribed(_)
                    | Incoming::Acknowledged { .. }
                    | Incoming::Released(_)
                    | Incoming::Pong
                    | Incoming::Ended(_)
                    | Incoming::Other => Err(LinkError::NoBroker),
                };
            }
            let count = self.reader.read_buf(&mut self.inbound).await.map_err(broken)?;
            if count == 0 {
                return Err(LinkError::Closed);
            }
        }
    }

    /// Takes messages until the link breaks, `stop` is called or the application is gone.
    pub(super) async fn run<D, N>(
        &mut self,
        intake: &mut Intake<D, N>,
        stop: &CancellationToken,
    ) -> Result<End, LinkError>
    where
        D: Fn(&str, &[u8], Timestamp) -> (Vec<Sample>, Vec<Refusal>),
        N: Fn() -> Timestamp,
    {
        // What came together with CONNACK.
        self.take(intake)?;
        loop {
            if self.pause_or_resume(intake) {
                self.take(intake)?;
                continue;
            }
            self.inbound.reserve(READ_BYTES);
            let due = self.due();
            tokio::select! {
                () = stop.cancelled() => return Ok(End::Stopped),
                pumped = intake.pump() => match pumped {
                    Ok(()) => intake.settle(Some(self.connection), |ack| packets::acknowledge(ack, &mut self.outbound)),
                    Err(Gone) => return Ok(End::Gone),
                },
                read = self.reader.read_buf(&mut self.inbound),
                    if self.paused_since.is_none() && self.gather_until.is_none() =>
                {
                    let count = read.map_err(broken)?;
                    if count == 0 {
                        return Err(LinkError::Closed);
                    }
                    self.gather_until = (count < READ_BYTES / 4).then(|| Instant::now() + GATHER);
                    self.take(intake)?;
                }
                wrote = write(&mut self.writer, &mut self.outbound, &mut self.unflushed),
                    if !self.outbound.is_empty() || self.unflushed => wrote?,
                () = time::sleep_until(due) => self.on_time()?,
            }
        }
    }

    /// Hands everything that arrived to the intake, as one delivery.
    fn take<D, N>(&mut self, intake: &mut Intake<D, N>) -> Result<(), LinkError>
    where
        D: Fn(&str, &[u8], Timestamp) -> (Vec<Sample>, Vec<Refusal>),
        N: Fn() -> Timestamp,
    {
        let received = intake.now();
        let mut batch = Batch::default();
        let outcome = self.take_frames(intake, received, &mut batch);
        // Also before a fault: what came whole counts.
        intake.deliver(batch, received, self.connection);
        outcome
    }

    fn take_frames<D, N>(
        &mut self,
        intake: &mut Intake<D, N>,
        received: Timestamp,
        batch: &mut Batch,
    ) -> Result<(), LinkError>
    where
        D: Fn(&str, &[u8], Timestamp) -> (Vec<Sample>, Vec<Refusal>),
        N: Fn() -> Timestamp,
    {
        let (messages_max, bytes_max) = self.held_max();
        while !intake.is_full(batch, messages_max, bytes_max) {
            let Some(frame) = self.frames.next(&mut self.inbound)? else {
                break;
            };
            let packet = match frame {
                Frame::Whole(packet) => packet,
                Frame::Oversized { topic, ack } => {
                    intake.oversized(&topic, ack, batch);
                    continue;
                }
            };
            match self.mqtt.protocol.read(packet)? {
                Incoming::Message(message) => intake.decode(message, received, batch),
                Incoming::Released(packet_id) => packets::complete(packet_id, &mut self.outbound),
                Incoming::Subscribed(granted) => {
                    self.answer_due = None;
                    self.check_granted(&granted)?;
                    intake.tell(SourceState::Up);
                }
                Incoming::Pong => self.answer_due = None,
                Incoming::Ended(ended) => return Err(LinkError::Ended(ended)),
                Incoming::Connected { .. } | Incoming::Rejected(_) => return Err(LinkError::Order),
                Incoming::Acknowledged { .. } | Incoming::Other => {}
            }
        }
        Ok(())
    }

    /// Goes on with what the broker granted: one refused filter silences its own probes only.
    fn check_granted(&self, granted: &[bool]) -> Result<(), LinkError> {
        for (wanted, _) in self.mqtt.wanted.iter().zip(granted).filter(|(_, granted)| !**granted) {
            tracing::error!(
                host = self.mqtt.config.host,
                filter = wanted.filter,
                "the broker refuses a subscription"
            );
        }
        if granted.contains(&true) { Ok(()) } else { Err(LinkError::Subscription) }
    }

    fn held_max(&self) -> (usize, usize) {
        (self.mqtt.config.unacked_max.max(1), self.mqtt.limits.held_bytes_max)
    }

    /// Lets reading rest while too much is held; says whether it goes on after a
    /// rest, so that what was left in the buffer is taken first.
    fn pause_or_resume<D, N>(&mut self, intake: &Intake<D, N>) -> bool {
        let (messages_max, bytes_max) = self.held_max();
        match (intake.pending.over(messages_max, bytes_max), self.paused_since) {
            (true, None) => {
                self.paused_since = Some(Instant::now());
                false
            }
            (false, Some(since)) => {
                self.paused_since = None;
                // Nothing could be heard meanwhile.
                self.answer_due = self.answer_due.map(|due| due + since.elapsed());
                true
            }
            (true, Some(_)) | (false, None) => false,
        }
    }

    /// When the clock alone asks for something.
    fn due(&self) -> Instant {
        let silence = match self.paused_since {
            Some(since) => Some(since + self.mqtt.limits.stall_max),
            None => self.answer_due,
        };
        [silence, self.gather_until].into_iter().flatten().fold(self.ping_at, Instant::min)
    }

    fn on_time(&mut self) -> Result<(), LinkError> {
        let now = Instant::now();
        self.gather_until = self.gather_until.filter(|until| *until > now);
        if self.paused_since.is_some_and(|since| since + self.mqtt.limits.stall_max <= now) {
            return Err(LinkError::Stalled);
        }
        if self.paused_since.is_none() && self.answer_due.is_some_and(|due| due <= now) {
            return Err(LinkError::NoAnswer);
        }
        if self.ping_at <= now {
            packets::ping(&mut self.outbound);
            // Twice as often as promised, so that one late packet does no harm.
            self.ping_at = now + self.keep_alive / 2;
            self.answer_due.get_or_insert(now + self.mqtt.limits.answer_max);
        }
        Ok(())
    }

    /// Takes nothing more, waits for the commits of what was delivered, sends
    /// their acknowledgements and leaves; the session stays at the broker.
    pub(super) async fn close<D, N>(mut self, intake: &mut Intake<D, N>, limits: &Limits)
    where
        D: Fn(&str, &[u8], Timestamp) -> (Vec<Sample>, Vec<Refusal>),
        N: Fn() -> Timestamp,
    {
        let deadline = Instant::now() + limits.drain_max;
        loop {
            intake.settle(Some(self.connection), |ack| packets::acknowledge(ack, &mut self.outbound));
            if intake.is_settled() {
                break;
            }
            let went_on = tokio::select! {
                pumped = intake.pump() => pumped.is_ok(),
                wrote = write(&mut self.writer, &mut self.outbound, &mut self.unflushed),
                    if !self.outbound.is_empty() || self.unflushed => wrote.is_ok(),
                () = time::sleep_until(deadline) => false,
            };
            if !went_on {
                break;
            }
        }
        let farewell = async {
            self.mqtt.protocol.disconnect(&mut self.outbound)?;
            self.write_all().await?;
            // The broker closes when it has read all of it (MQTT 5.0 §3.14.4). Closing
            // first, with something unread, would make TCP discard what is on its way.
            loop {
                self.inbound.clear();
                self.inbound.reserve(READ_BYTES);
                if self.reader.read_buf(&mut self.inbound).await.map_err(broken)? == 0 {
                    break Ok::<_, LinkError>(());
                }
            }
        };
        match time::timeout_at(deadline.max(Instant::now() + FAREWELL_MIN), farewell).await {
            Ok(Ok(())) => {}
            Ok(Err(error)) => tracing::debug!(%error, "left the broker without a farewell"),
            Err(_) => tracing::debug!("left the broker without a farewell"),
        }
    }

    async fn write_all(&mut self) -> Result<(), LinkError> {
        self.writer.write_all_buf(&mut self.outbound).await.map_err(broken)?;
        self.writer.flush().await.map_err(broken)
    }
}

/// Writes some of `outbound`, then flushes; may be dropped at any await without loss.
async fn write(
    writer: &mut WriteHalf<Box<dyn Stream>>,
    outbound: &mut BytesMut,
    unflushed: &mut bool,
) -> Result<(), LinkError> {
    while !outbound.is_empty() {
        let count = writer.write_buf(outbound).await.map_err(broken)?;
        *unflushed = true;
        if count == 0 {
            return Err(LinkError::Closed);
        }
    }
    writer.flush().await.map_err(broken)?;
    *unflushed = false;
    Ok(())
}

fn broken(error: io::Error) -> LinkError {
    LinkError::Dial(DialError::from(error))
}
