//! The courier: takes letters out of the outbox and hands them to their channel.
//!
//! One worker for each channel, so that a dead mail server delays no webhook.
//! - **At least once.** A letter stays in the outbox until its outcome is
//!   committed there. Killed between the receiver's answer and that commit, the
//!   worker sends it again under the same key, by which the receiver knows it.
//! - **In order.** The outbox gives out only the first waiting letter of each
//!   sequence, and the worker never has two of one sequence under way.
//! - **Patient.** After a failure a letter rests: 5 s, then twice as long each
//!   time up to 15 min, give or take a fifth, so that many gateways do not come
//!   back at the same instant. A receiver that asks for more gets it, up to an hour.
//! - **Not for ever.** At [`Pace::give_up_after`] or [`Pace::attempts_max`] it is
//!   given up, and so is whatever is refused for good. That is an outcome too: it
//!   is committed with its reason, and whoever watches the ledger tells people
//!   over another channel.
//! - **Bounded.** [`Lane::at_once`] letters under way, [`Pace::per_minute`]
//!   letters a minute; what is more waits in the outbox, on disk.

mod bucket;
mod judge;
#[cfg(test)]
mod tests;

use std::collections::BTreeSet;
use std::error::Error;
use std::future::Future;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use tokio::task::JoinSet;
use tokio::time::{Instant, sleep, sleep_until, timeout};
use tokio_util::sync::CancellationToken;

use self::bucket::Bucket;
use super::answer::{Answer, chain};
use crate::config::delivery::Pace;
use crate::core::alert::trial::{Fact, Told};
use crate::core::time::Timestamp;

/// Longest time without looking into the outbox, whatever was announced (own choice).
const LOOK_AGAIN: Duration = Duration::from_secs(60);
/// Rest after the outbox could not be read or written (own choice).
const OUTBOX_REST: Duration = Duration::from_secs(2);
/// Time for letters under way to come to their end when the program stops; the
/// whole program ends within 5 s.
const DRAIN_MAX: Duration = Duration::from_secs(2);

/// A letter that may leave.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Due {
    /// Its number in the outbox.
    pub id: i64,
    /// Names the message for ever; sent twice it is still one message.
    pub key: String,
    /// The channel: `email`, `webhook:NAME`, `mqtt`.
    pub channel: String,
    /// Letters of one sequence leave in order.
    pub sequence: String,
    /// When it was put into the outbox.
    pub created: Timestamp,
    /// Tries that have failed.
    pub attempts: u32,
    /// What it is about; the carrier reads it.
    pub bytes: Vec<u8>,
}

/// What became of one try.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Mark {
    /// The letter as it was taken out.
    pub letter: Due,
    /// When the receiver answered.
    pub at: Timestamp,
    /// Tries so far, this one included.
    pub attempts: u32,
    /// How it ended.
    pub outcome: Outcome,
}

/// How a try ended.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Outcome {
    /// The receiver has it.
    Delivered,
    /// It will be tried again.
    Failed {
        /// When.
        due: Timestamp,
        /// Why it failed.
        error: Told,
    },
    /// It will not be tried again.
    GivenUp {
        /// Why.
        error: Told,
    },
}

/// The outbox as a worker sees it. Each worker has a clone of its own.
pub trait Outbox: Clone + Send + Sync + 'static {
    /// Why it could not be read or written.
    type Error: Error + Send;

    /// Up to `limit` waiting letters of a channel whose time has come, oldest
    /// first, and only those with no earlier waiting letter of their sequence.
    fn due(
        &self,
        channel: &str,
        now: Timestamp,
        limit: usize,
    ) -> impl Future<Output = Result<Vec<Due>, Self::Error>> + Send;

    /// The earliest time after `now` at which such a letter becomes due.
    fn next_due(
        &self,
        channel: &str,
        now: Timestamp,
    ) -> impl Future<Output = Result<Option<Timestamp>, Self::Error>> + Send;

    /// Commits what became of a try.
    fn mark(&self, mark: Mark) -> impl Future<Output = Result<(), Self::Error>> + Send;

    /// Ends when something may have come into the outbox since the last call.
    fn changed(&mut self) -> impl Future<Output = ()> + Send;
}

/// Puts a letter into the form of its channel and hands it over.
pub trait Carrier: Send + Sync + 'static {
    /// One try; must end by itself within the time-outs of the channel.
    fn carry(&self, letter: &Due) -> impl Future<Output = Answer> + Send;
}

/// The gateway's clock.
pub trait Time: Clone + Send + Sync + 'static {
    /// What time it is.
    fn now(&self) -> Timestamp;
    /// How long to wait until then.
    fn wait_until(&self, instant: Timestamp) -> Duration;
}

/// One channel.
#[derive(Debug)]
pub struct Lane<C> {
    /// Its name in the outbox.
    pub channel: String,
    /// Who carries its letters.
    pub carrier: C,
    /// How fast, and how long.
    pub pace: Pace,
    /// Most letters under way at once.
    pub at_once: usize,
}

/// Delivers the letters of one channel until `stop`.
pub async fn run<O: Outbox, C: Carrier, T: Time>(lane: Lane<C>, outbox: O, time: T, stop: CancellationToken) {
    let bucket = Bucket::full(lane.pace.per_minute, Instant::now());
    let desk = Arc::new(Counter {
        lane,
        time,
        under_way: Mutex::default(),
        closed: AtomicBool::new(false),
        stop: stop.clone(),
    });
    let mut worker = Worker { desk, outbox, bucket, tasks: JoinSet::new() };
    while !stop.is_cancelled() {
        let again = worker.start_due().await;
        tokio::select! {
            () = stop.cancelled() => break,
            Some(_) = worker.tasks.join_next() => {}
            () = worker.outbox.changed() => {}
            () = sleep_until(again) => {}
        }
    }
    let drained = timeout(DRAIN_MAX, async { while worker.tasks.join_next().await.is_some() {} }).await;
    if drained.is_err() {
        tracing::info!(
            channel = worker.desk.lane.channel,
            "messages under way were left; they are sent again at the next start"
        );
    }
}

struct Worker<O, C, T> {
    desk: Arc<Counter<C, T>>,
    outbox: O,
    bucket: Bucket,
    tasks: JoinSet<()>,
}

/// What the letters under way share.
struct Counter<C, T> {
    lane: Lane<C>,
    time: T,
    under_way: Mutex<BTreeSet<i64>>,
    closed: AtomicBool,
    stop: CancellationToken,
}

impl<C, T> Counter<C, T> {
    /// A set of numbers cannot be left half written, so a poisoned lock is still good.
    fn under_way(&self) -> MutexGuard<'_, BTreeSet<i64>> {
        self.under_way.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl<O: Outbox, C: Carrier, T: Time> Worker<O, C, T> {
    /// Starts what may leave; says when to look again if nothing happens before.
    async fn start_due(&mut self) -> Instant {
        let now = Instant::now();
        let busy = self.desk.under_way().len();
        let free = self.desk.lane.at_once.max(1).saturating_sub(busy);
        let room = free.min(self.bucket.available(now));
        if room == 0 {
            // With all hands full, the end of one of them wakes the worker.
            return if free == 0 { now + LOOK_AGAIN } else { self.bucket.next(now) };
        }
        let channel = &self.desk.lane.channel;
        let shown = self.desk.time.now();
        let letters = match self.outbox.due(channel, shown, busy + room).await {
            Ok(letters) => letters,
            Err(error) => {
                tracing::error!(channel, error = chain(&error), "the outbox cannot be read");
                return now + OUTBOX_REST;
            }
        };
        let mut started = 0;
        for letter in letters {
            if started < room && self.desk.under_way().insert(letter.id) {
                self.bucket.take(now);
                self.tasks.spawn(deliver(Arc::clone(&self.desk), self.outbox.clone(), letter));
                started += 1;
            }
        }
        if started == room {
            return if started < free { self.bucket.next(now) } else { now + LOOK_AGAIN };
        }
        match self.outbox.next_due(&self.desk.lane.channel, shown).await {
            Ok(Some(due)) => now + self.desk.time.wait_until(due).min(LOOK_AGAIN),
            Ok(None) => now + LOOK_AGAIN,
            Err(_) => now + OUTBOX_REST,
        }
    }
}

/// Takes the number of a letter off the list, however its task ended.
struct UnderWay<C, T> {
    desk: Arc<Counter<C, T>>,
    id: i64,
}

impl<C, T> Drop for UnderWay<C, T> {
    fn drop(&mut self) {
        self.desk.under_way().remove(&self.id);
    }
}

async fn deliver<O: Outbox, C: Carrier, T: Time>(desk: Arc<Counter<C, T>>, outbox: O, letter: Due) {
    let _under_way = UnderWay { desk: Arc::clone(&desk), id: letter.id };
    let answer = if desk.closed.load(Ordering::Relaxed) {
        Answer::Never { error: Fact::Unwanted {}.into() }
    } else {
        carry_alone(&desk, &letter).await
    };
    if matches!(answer, Answer::Closed { .. }) {
        desk.closed.store(true, Ordering::Relaxed);
    }
    let mark = judge::judge(&desk.lane.pace, letter, answer, desk.time.now(), chance());
    tell(&mark);
    // What the receiver said must not be forgotten: to send again would be to repeat.
    while let Err(error) = outbox.mark(mark.clone()).await {
        tracing::error!(channel = mark.letter.channel, error = chain(&error), "the outbox cannot be written");
        if desk.stop.run_until_cancelled(sleep(OUTBOX_REST)).await.is_none() {
            return;
        }
    }
}

/// A panic in a carrier is a failed try of one letter, and stops no other.
async fn carry_alone<C: Carrier, T: Time>(desk: &Arc<Counter<C, T>>, letter: &Due) -> Answer {
    let mut alone = JoinSet::new();
    let (inner, copy) = (Arc::clone(desk), letter.clone());
    alone.spawn(async move { inner.lane.carrier.carry(&copy).await });
    match alone.join_next().await {
        Some(Ok(answer)) => answer,
        Some(Err(_)) | None => Answer::later(Fact::Mistake {}),
    }
}

fn tell(mark: &Mark) {
    let Mark { letter, attempts, outcome, .. } = mark;
    let (channel, key) = (&letter.channel, &letter.key);
    match outcome {
        Outcome::Delivered => tracing::info!(channel, key, attempts, "a message was delivered"),
        Outcome::Failed { due, error } => {
            tracing::warn!(channel, key, attempts, again = %due, %error, "a message could not be delivered yet");
        }
        Outcome::GivenUp { error } => {
            tracing::error!(channel, key, attempts, %error, "a message was given up")
        }
    }
}

/// A number from 0 to 1; one half where the system gives none.
fn chance() -> f64 {
    getrandom::u32().map_or(0.5, |number| f64::from(number) / f64::from(u32::MAX))
}
