//! One connection of the publisher, from CONNECT to its end.

use std::collections::BTreeMap;
use std::io;
use std::time::Duration;

use bytes::BytesMut;
use tokio::io::{AsyncReadExt, AsyncWriteExt, ReadHalf, WriteHalf};
use tokio::sync::oneshot;
use tokio::time::{Instant, sleep_until, timeout, timeout_at};
use tokio_util::sync::CancellationToken;

use super::{Broker, MEDIA_TYPE, ONLINE, Order, STOPPED, TEXT, UNDER_WAY_MAX};
use crate::alert::answer::chain;
use crate::core::alert::trial::{Fact, Told};
use crate::transport::dial::{DialError, Stream, dial};
use crate::transport::mqtt;
use crate::transport::mqtt::frames::{Frame, Frames};
use crate::transport::mqtt::packets::{
    self, Ended, Hello, Incoming, PacketError, Publication, Refused, Rejection,
};

/// Largest packet that the broker may send; it has only answers to send.
pub(super) const PACKET_BYTES_MAX: u32 = 4_096;
/// Longest wait for an answer of the broker (own choice).
const ANSWER_MAX: Duration = Duration::from_secs(10);
/// Longest farewell (own choice; the whole program ends within 5 s).
const FAREWELL_MAX: Duration = Duration::from_secs(2);

/// Why there is no connection.
#[derive(Debug, thiserror::Error)]
pub(super) enum LinkError {
    /// Nothing answers there, TLS was refused, or the connection broke.
    #[error(transparent)]
    Dial(#[from] DialError),
    /// No answer in time.
    #[error("{}", mqtt::SILENT)]
    NoAnswer,
    /// The broker closed the connection.
    #[error("{}", mqtt::CLOSED)]
    Closed,
    /// The broker does not want this client.
    #[error("{0}")]
    Rejected(Rejection),
    /// The broker ended the connection and said why.
    #[error("{0}")]
    Ended(Ended),
    /// The broker sent something that is no packet.
    #[error("{}", mqtt::NOT_UNDERSTOOD)]
    Packet(#[from] PacketError),
    /// The broker does not keep to the order of the protocol.
    #[error("what answers at this port does not speak MQTT as it should")]
    Order,
}

impl From<&LinkError> for Told {
    fn from(error: &LinkError) -> Self {
        match error {
            LinkError::Dial(error) => error.into(),
            LinkError::NoAnswer => Fact::BrokerSilent {}.into(),
            LinkError::Closed => Fact::BrokerClosed {}.into(),
            LinkError::Rejected(rejection) => (*rejection).into(),
            LinkError::Ended(ended) => (*ended).into(),
            LinkError::Packet(error) => Self::from(Fact::NotUnderstood {}).because(chain(error)),
            LinkError::Order => Fact::NoMqtt {}.into(),
        }
    }
}

/// What waits for a PUBACK.
enum UnderWay {
    Event(oneshot::Sender<Result<(), Refused>>),
    State(String),
}

/// A connection that the broker accepted.
pub(super) struct Link {
    reader: ReadHalf<Box<dyn Stream>>,
    writer: WriteHalf<Box<dyn Stream>>,
    inbound: BytesMut,
    outbound: BytesMut,
    frames: Frames,
    under_way: BTreeMap<u16, UnderWay>,
    under_way_max: usize,
    packet_id: u16,
    keep_alive: Duration,
    ping_at: Instant,
    answer_due: Option<Instant>,
}

impl Link {
    /// Connects, leaves the last will, and says that the gateway is there.
    pub(super) async fn open(broker: &Broker) -> Result<Self, LinkError> {
        timeout(ANSWER_MAX, Self::open_slowly(broker)).await.map_err(|_| LinkError::NoAnswer)?
    }

    async fn open_slowly(broker: &Broker) -> Result<Self, LinkError> {
        let settings = &broker.settings;
        let stream = dial(&settings.host, settings.port, broker.tls.as_ref()).await?;
        let (reader, writer) = tokio::io::split(stream);
        let mut link = Self {
            reader,
            writer,
            inbound: BytesMut::new(),
            outbound: BytesMut::new(),
            frames: Frames::new(PACKET_BYTES_MAX),
            under_way: BTreeMap::new(),
            under_way_max: usize::from(UNDER_WAY_MAX),
            packet_id: 0,
            keep_alive: settings.keep_alive,
            ping_at: Instant::now(),
            answer_due: None,
        };
        let topic = broker.gateway_topic();
        let hello = Hello { will: broker.will(&topic), ..broker.hello() };
        broker.protocol.connect(&hello, &mut link.outbound)?;
        link.write().await?;
        match link.packet(broker).await? {
            Incoming::Connected { keep_alive, receive_max, .. } => {
                link.keep_alive = keep_alive.unwrap_or(link.keep_alive).max(Duration::from_secs(1));
                link.under_way_max =
                    usize::from(receive_max.unwrap_or(UNDER_WAY_MAX).clamp(1, UNDER_WAY_MAX));
            }
            Incoming::Rejected(rejection) => return Err(LinkError::Rejected(rejection)),
            Incoming::Message(_)
            | Incoming::Subscribed(_)
            | Incoming::Acknowledged { .. }
            | Incoming::Released(_)
            | Incoming::Pong
            | Incoming::Ended(_)
            | Incoming::Other => return Err(LinkError::Order),
        }
        if hello.will.is_some() {
            link.put(broker, &topic, ONLINE.as_bytes(), TEXT, true, UnderWay::State(topic.clone()))?;
        }
        // Whatever the broker retained of us may be gone with its disk.
        for state in broker.shared.states().kept.values_mut() {
            state.fresh = true;
        }
        link.write().await?;
        link.ping_at = Instant::now() + link.keep_alive / 2;
        Ok(link)
    }

    /// Publishes until the connection breaks or `stop`.
    pub(super) async fn run(
        mut self,
        broker: &mut Broker,
        stop: &CancellationToken,
    ) -> Result<(), LinkError> {
        loop {
            self.put_states(broker)?;
            self.write().await?;
            while let Some(incoming) = self.next(broker)? {
                self.heard(incoming, broker)?;
            }
            let free = self.under_way.len() < self.under_way_max;
            let due = self.answer_due.map_or(self.ping_at, |due| due.min(self.ping_at));
            tokio::select! {
                () = stop.cancelled() => {
                    self.leave(broker).await;
                    return Ok(());
                }
                read = self.reader.read_buf(&mut self.inbound) => {
                    if read.map_err(broken)? == 0 {
                        return Err(LinkError::Closed);
                    }
                }
                order = broker.orders.recv(), if free => match order {
                    Some(order) => self.put_order(broker, order)?,
                    // Nobody has anything to say any more.
                    None => {
                        self.leave(broker).await;
                        return Ok(());
                    }
                },
                () = broker.shared.changed.notified(), if free => {}
                () = sleep_until(due) => self.on_time()?,
            }
        }
    }

    fn put_order(&mut self, broker: &Broker, order: Order) -> Result<(), LinkError> {
        // Whoever asked has lost patience, and asks again.
        if order.done.is_closed() {
            return Ok(());
        }
        self.put(broker, &order.topic, &order.payload, MEDIA_TYPE, false, UnderWay::Event(order.done))
    }

    /// Takes as many fresh states as there is room for; one place stays for events.
    fn put_states(&mut self, broker: &Broker) -> Result<(), LinkError> {
        while self.under_way.len() + 1 < self.under_way_max.max(2) {
            let next = {
                let mut states = broker.shared.states();
                let fresh = states.kept.iter_mut().find(|(_, state)| state.fresh);
                fresh.map(|(topic, state)| {
                    state.fresh = false;
                    (topic.clone(), state.payload.clone(), state.content_type)
                })
            };
            let Some((topic, payload, content_type)) = next else { break };
            self.put(broker, &topic, &payload, content_type, true, UnderWay::State(topic.clone()))?;
        }
        Ok(())
    }

    fn put(
        &mut self,
        broker: &Broker,
        topic: &str,
        payload: &[u8],
        content_type: &str,
        retain: bool,
        what: UnderWay,
    ) -> Result<(), LinkError> {
        // At most 16 are under way, so that a free number is near.
        let packet_id = loop {
            self.packet_id = self.packet_id.checked_add(1).unwrap_or(1);
            if !self.under_way.contains_key(&self.packet_id) {
                break self.packet_id;
            }
        };
        let publication = Publication { packet_id, topic, payload, content_type, retain };
        broker.protocol.publish(&publication, &mut self.outbound)?;
        self.under_way.insert(packet_id, what);
        self.answer_due.get_or_insert(Instant::now() + ANSWER_MAX);
        Ok(())
    }

    fn heard(&mut self, incoming: Incoming, broker: &Broker) -> Result<(), LinkError> {
        match incoming {
            Incoming::Acknowledged { packet_id, refused } => {
                match self.under_way.remove(&packet_id) {
                    Some(UnderWay::Event(done)) => {
                        // Nobody listens where the courier has lost its patience.
                        if done.send(refused.map_or(Ok(()), Err)).is_err() {
                            tracing::debug!("an event was acknowledged late");
                        }
                    }
                    Some(UnderWay::State(topic)) => {
                        if let Some(refused) = refused {
                            let host = &broker.settings.host;
                            tracing::error!(host, topic, %refused, "the broker does not keep a state");
                        }
                    }
                    None => return Err(LinkError::Order),
                }
                let waiting = !self.under_way.is_empty();
                self.answer_due = waiting.then(|| Instant::now() + ANSWER_MAX);
            }
            Incoming::Pong => {
                if self.under_way.is_empty() {
                    self.answer_due = None;
                }
            }
            Incoming::Ended(ended) => return Err(LinkError::Ended(ended)),
            Incoming::Connected { .. } | Incoming::Rejected(_) => return Err(LinkError::Order),
            // Nothing is subscribed to.
            Incoming::Message(_) | Incoming::Subscribed(_) | Incoming::Released(_) | Incoming::Other => {}
        }
        Ok(())
    }

    fn on_time(&mut self) -> Result<(), LinkError> {
        let now = Instant::now();
        if self.answer_due.is_some_and(|due| due <= now) {
            return Err(LinkError::NoAnswer);
        }
        if self.ping_at <= now {
            packets::ping(&mut self.outbound);
            self.ping_at = now + self.keep_alive / 2;
            self.answer_due.get_or_insert(now + ANSWER_MAX);
        }
        Ok(())
    }

    /// Says that the gateway was stopped in order, waits until the broker has it, and leaves.
    async fn leave(mut self, broker: &Broker) {
        let until = Instant::now() + FAREWELL_MAX;
        let farewell = async {
            if broker.speaks_for_gateway {
                let topic = broker.gateway_topic();
                self.put(broker, &topic, STOPPED.as_bytes(), TEXT, true, UnderWay::State(topic.clone()))?;
            }
            self.write().await?;
            while !self.under_way.is_empty() {
                let incoming = self.packet(broker).await?;
                self.heard(incoming, broker)?;
            }
            broker.protocol.disconnect(&mut self.outbound)?;
            self.write().await?;
            // The broker closes when it has read all of it (MQTT 5.0 §3.14.4).
            while self.reader.read_buf(&mut self.inbound).await.map_err(broken)? > 0 {
                self.inbound.clear();
            }
            Ok::<(), LinkError>(())
        };
        match timeout_at(until, farewell).await {
            Ok(Ok(())) => {}
            Ok(Err(error)) => tracing::debug!(%error, "left the broker without a farewell"),
            Err(_) => tracing::debug!("left the broker without a farewell"),
        }
    }

    /// The next packet, waited for.
    async fn packet(&mut self, broker: &Broker) -> Result<Incoming, LinkError> {
        loop {
            if let Some(incoming) = self.next(broker)? {
                return Ok(incoming);
            }
            if self.reader.read_buf(&mut self.inbound).await.map_err(broken)? == 0 {
                return Err(LinkError::Closed);
            }
        }
    }

    /// The next packet among what has arrived.
    fn next(&mut self, broker: &Broker) -> Result<Option<Incoming>, LinkError> {
        match self.frames.next(&mut self.inbound)? {
            None => Ok(None),
            Some(Frame::Whole(packet)) => Ok(Some(broker.protocol.read(packet)?)),
            Some(Frame::Oversized { .. }) => Err(LinkError::Order),
        }
    }

    async fn write(&mut self) -> Result<(), LinkError> {
        if self.outbound.is_empty() {
            return Ok(());
        }
        let written = async {
            self.writer.write_all_buf(&mut self.outbound).await?;
            self.writer.flush().await
        };
        timeout(ANSWER_MAX, written).await.map_err(|_| LinkError::NoAnswer)?.map_err(broken)
    }
}

fn broken(error: io::Error) -> LinkError {
    LinkError::Dial(DialError::from(error))
}
