//! From messages to numbered deliveries, and the way of these to the application.

use std::collections::VecDeque;
use std::time::Duration;

use bytes::Bytes;
use tokio::sync::{mpsc, watch};
use tokio::time::{self, Instant};

use super::Wiring;
use super::pending::{Held, Pending};
use crate::core::id::SourceId;
use crate::core::reading::Sample;
use crate::core::time::Timestamp;
use crate::probe::{Delivery, FromSource, SourceState};
use crate::transport::mqtt::packets::{Ack, Message};
use crate::wire::refusal::{Refusal, RefusedBecause};

/// Longest name or text in a refusal, in characters (see [`Refusal::what`]).
const WHAT_CHARS_MAX: usize = 80;

/// The application is gone: nobody takes deliveries or commits them.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Gone;

/// Everything of a source that outlives its connections.
pub(super) struct Intake<D, N> {
    source: SourceId,
    decode: D,
    now: N,
    deliveries: mpsc::Sender<FromSource>,
    committed: watch::Receiver<u64>,
    /// Made, not yet taken by the application; each delivery in it is in `pending` too.
    queue: VecDeque<FromSource>,
    /// Not yet committed.
    pub(super) pending: Pending,
    last_number: u64,
    state: Option<SourceState>,
}

/// What one read from the network brought.
#[derive(Debug, Default)]
pub(super) struct Batch {
    samples: Vec<Sample>,
    refusals: Vec<Refusal>,
    acks: Vec<Ack>,
    messages: usize,
    bytes: usize,
}

impl<D, N> Intake<D, N>
where
    D: Fn(&str, &[u8], Timestamp) -> (Vec<Sample>, Vec<Refusal>),
    N: Fn() -> Timestamp,
{
    /// An intake that has delivered nothing.
    pub(super) fn new(wiring: Wiring<D, N>) -> Self {
        Self {
            source: wiring.source,
            decode: wiring.decode,
            now: wiring.now,
            deliveries: wiring.deliveries,
            committed: wiring.committed,
            queue: VecDeque::new(),
            pending: Pending::default(),
            last_number: 0,
            state: None,
        }
    }

    /// The gateway's time.
    pub(super) fn now(&self) -> Timestamp {
        (self.now)()
    }

    /// Whether nothing may be added to `batch` before something is committed.
    pub(super) fn is_full(&self, batch: &Batch, messages_max: usize, bytes_max: usize) -> bool {
        self.pending.over_with(batch.messages, batch.bytes, messages_max, bytes_max)
    }

    /// Decodes a message into `batch`. What cannot be used is refused, counted
    /// and acknowledged with the rest, so that it never comes again.
    pub(super) fn decode(&self, message: Message, received: Timestamp, batch: &mut Batch) {
        batch.messages += 1;
        batch.bytes += message.topic.len() + message.payload.len();
        batch.acks.extend(message.ack);
        let Ok(topic) = std::str::from_utf8(&message.topic) else {
            batch.refusals.push(refusal(&message.topic, RefusedBecause::Name));
            return;
        };
        let (samples, refusals) = (self.decode)(topic, &message.payload, received);
        batch.refusals.extend(refusals);
        if message.aged {
            self.keep_timed(topic, &message.payload, received, samples, batch);
        } else {
            batch.samples.extend(samples);
        }
    }

    /// Takes from a retained or repeated message only what carries its own time:
    /// the broker may have kept it for weeks, so that its arrival says nothing.
    ///
    /// A sample has its own time if it stays where it is when the arrival moves.
    fn keep_timed(
        &self,
        topic: &str,
        payload: &[u8],
        received: Timestamp,
        samples: Vec<Sample>,
        batch: &mut Batch,
    ) {
        let (later, _) = (self.decode)(topic, payload, received.plus(Duration::from_secs(1)));
        let (arrived, had) = (samples.len(), batch.samples.len());
        let pairs = samples.into_iter().zip(later);
        batch.samples.extend(pairs.filter(|(sample, moved)| sample == moved).map(|(sample, _)| sample));
        if batch.samples.len() - had < arrived {
            batch.refusals.push(refusal(topic.as_bytes(), RefusedBecause::UnknownAge));
        }
    }

    /// Counts a message that was too large to be taken in.
    pub(super) fn oversized(&self, topic: &Bytes, ack: Option<Ack>, batch: &mut Batch) {
        batch.messages += 1;
        batch.bytes += topic.len();
        batch.acks.extend(ack);
        batch.refusals.push(refusal(topic, RefusedBecause::TooLong));
    }

    /// Numbers what arrived together on `connection` and lays it out for the application.
    pub(super) fn deliver(&mut self, batch: Batch, received: Timestamp, connection: u64) {
        if batch.messages == 0 {
            return;
        }
        self.last_number += 1;
        let number = self.last_number;
        self.pending.push(Held {
            delivery: number,
            connection,
            messages: batch.messages,
            bytes: batch.bytes,
            acks: batch.acks,
        });
        let messages = u64::try_from(batch.messages).unwrap_or(u64::MAX);
        let Batch { samples, refusals, .. } = batch;
        self.queue.push_back(FromSource::Delivery(Delivery {
            source: self.source,
            number,
            received,
            messages,
            samples,
            refusals,
        }));
    }

    /// Tells the application the state of the link, if it is another than before.
    pub(super) fn tell(&mut self, state: SourceState) {
        if self.state.as_ref() == Some(&state) {
            return;
        }
        self.state = Some(state.clone());
        let told = FromSource::State { source: self.source, state };
        // Where the application takes nothing, only the newest state is kept.
        match self.queue.back_mut() {
            Some(last @ FromSource::State { .. }) => *last = told,
            _ => self.queue.push_back(told),
        }
    }

    /// Waits until the application took one thing, or committed something.
    ///
    /// May be dropped at any await without loss.
    pub(super) async fn pump(&mut self) -> Result<(), Gone> {
        tokio::select! {
            permit = self.deliveries.reserve(), if !self.queue.is_empty() => {
                let permit = permit.map_err(|_| Gone)?;
                if let Some(next) = self.queue.pop_front() {
                    permit.send(next);
                }
            }
            changed = self.committed.changed() => changed.map_err(|_| Gone)?,
        }
        while let Some(next) = self.queue.pop_front() {
            match self.deliveries.try_send(next) {
                Ok(()) => {}
                Err(mpsc::error::TrySendError::Full(next)) => {
                    self.queue.push_front(next);
                    break;
                }
                Err(mpsc::error::TrySendError::Closed(_)) => return Err(Gone),
            }
        }
        Ok(())
    }

    /// Lets go of what is committed; `send` gets the acknowledgements due on `connection`.
    pub(super) fn settle(&mut self, connection: Option<u64>, send: impl FnMut(Ack)) {
        let committed = *self.committed.borrow_and_update();
        self.pending.release(committed, connection, send);
    }

    /// Whether the application has everything and has committed it.
    pub(super) fn is_settled(&self) -> bool {
        self.queue.is_empty() && self.pending.is_empty()
    }

    /// Goes on delivering without a connection until `done` says so or `until` is reached.
    pub(super) async fn idle(&mut self, until: Instant, done: impl Fn(&Self) -> bool) -> Result<(), Gone> {
        self.settle(None, |_| ());
        while !done(self) {
            tokio::select! {
                pumped = self.pump() => pumped?,
                () = time::sleep_until(until) => break,
            }
            self.settle(None, |_| ());
        }
        Ok(())
    }
}

fn refusal(what: &[u8], why: RefusedBecause) -> Refusal {
    let text = String::from_utf8_lossy(what);
    let what =
        text.chars().map(|c| if c.is_control() { '\u{FFFD}' } else { c }).take(WHAT_CHARS_MAX).collect();
    Refusal { what, why }
}
