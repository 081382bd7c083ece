//! The one task that owns the core: inputs in, commits out.
//!
//! Inputs come through one bounded channel and are applied in order. What they
//! cause is gathered and committed as a whole: after the commit interval, at once
//! where somebody is to be told, where a source would stall for want of
//! acknowledgements, or where much is pending. One commit is under way and one is
//! being gathered; when both are full nothing more is taken, and the channel holds
//! the sources back. Only after a commit are its deliveries acknowledged and its
//! records published.
//!
//! A ledger that refuses for now keeps its commit, which is tried again with a
//! growing wait; nothing is acknowledged meanwhile. A ledger that refuses for good
//! ends the driver, so that a supervisor outside starts the whole program afresh.

mod entry;
mod flight;
mod intake;
mod pulse;

use std::sync::Arc;
use std::time::Duration;

use tokio::sync::{broadcast, mpsc, oneshot, watch};
use tokio::time::Instant;
use tokio_util::sync::CancellationToken;

pub use self::entry::{CHECKS_MAX, Entry};
use self::flight::Flight;
use self::intake::Intake;
pub use self::intake::Names;
use self::pulse::Asked;
pub use self::pulse::Pulse;
use super::clock::Clock;
use super::gather::{Gather, Left};
use crate::core::record::{Body, ClockStep, Record, ServiceStop, StopCause};
use crate::core::time::Timestamp;
use crate::ledger::{Commit, Input};
use crate::probe::FromSource;

/// Deliveries waiting between the sources and the driver.
pub const INBOUND_MAX: usize = 256;
/// Commits kept for readers that fall behind; the oldest go first.
const PUBLISHED_MAX: usize = 1_024;
/// Most inputs of one commit; beyond them nothing is taken until the commit before is done.
const INPUTS_MAX: usize = 65_536;
/// A commit of this size does not wait for the interval.
const INPUTS_MANY: usize = 8_192;
/// How often the gateway's clock is compared with the system's.
const CLOCK_CHECK_EVERY: Duration = Duration::from_millis(250);
/// How long no tick is sent after a step, so that a source can show that it is not silent.
const NO_TICK_AFTER_STEP: Duration = Duration::from_secs(5);
/// Part of the time for an orderly end that is kept for the last commit.
const LAST_COMMIT: Duration = Duration::from_secs(1);
/// Shortest time between two log lines about readings that came too late.
const LATE_TOLD_EVERY: Duration = Duration::from_secs(60);
/// Longest sleep of the driver: the clock is watched also on an idle site.
const SLEEP_MAX: Duration = Duration::from_secs(1);

/// Where commits go.
pub trait Store: Send + 'static {
    /// Why a commit was refused.
    type Error: std::error::Error + Send + 'static;

    /// Takes a commit and answers on `done` when it is durable or refused.
    fn submit(&self, commit: Commit, done: oneshot::Sender<Outcome<Self::Error>>);

    /// Tells people that commits are refused; called once for a stretch of refusals.
    fn tell_refused(&self, error: &Self::Error);

    /// Tells people that commits go through again.
    fn tell_accepted_again(&self);
}

/// Answer to a commit.
#[derive(Debug)]
pub enum Outcome<Error> {
    /// It is durable.
    Committed {
        /// Index of its first record in the ledger; the others follow without a hole.
        first_index: Option<u64>,
    },
    /// It was refused and nothing of it is on record.
    Refused {
        /// The commit, given back.
        commit: Box<Commit>,
        /// Whether the same commit may pass later.
        again: bool,
        /// Why.
        error: Error,
    },
}

/// Why the driver ended before it was asked to.
#[derive(Debug, thiserror::Error)]
pub enum DriverError<Error: std::error::Error + 'static> {
    /// The ledger refused for good.
    #[error("the ledger refused a commit for good")]
    Refused(#[source] Error),
    /// The ledger was still refusing when the time for an orderly end was over.
    #[error("{left} could not be committed before the end; nothing of it was acknowledged")]
    NotDrained {
        /// What is left.
        left: Left,
    },
    /// The ledger's writer is gone.
    #[error("the ledger's writer ended without an answer")]
    WriterGone,
}

/// The connection between one run of a source and the driver. A source that is
/// started again counts from 1 again and gets a new link, so that no
/// acknowledgement of the run before can be taken for one of its own.
#[derive(Clone, Debug)]
pub struct Link {
    /// Number of the link, never used again.
    pub id: u64,
    /// Says up to which delivery everything is committed.
    pub committed: watch::Sender<u64>,
    /// So many unacknowledged messages would stall the source: commit at once. `None`: it never waits.
    pub eager_after: Option<u64>,
}

/// A message of a source with the link it came by.
#[derive(Debug)]
pub struct Inbound {
    /// The link.
    pub link: Link,
    /// What it says.
    pub message: FromSource,
}

/// What became durable with one commit.
#[derive(Clone, PartialEq, Debug)]
pub struct Published {
    /// Inputs in order.
    pub inputs: Vec<Input>,
    /// Records with their index in the ledger.
    pub records: Vec<(u64, Record)>,
}

/// Choices of the driver.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Limits {
    /// Longest time from an input to its commit, in time of the world.
    pub commit_interval: Duration,
    /// How far ahead of the gateway's clock a reading may be stamped.
    pub ahead_max: Duration,
    /// Longest wait for the last commits at the end.
    pub drain_within: Duration,
}

/// Owns the core and drives it.
#[derive(Debug)]
pub struct Driver<S: Store> {
    clock: Clock,
    limits: Limits,
    store: S,
    gather: Gather,
    intake: Intake,
    flight: Flight<S::Error>,
    published: broadcast::Sender<Arc<Published>>,
    entries: Option<mpsc::Receiver<Entry>>,
    asked: Option<Asked>,
    /// Who waits for the next commit, each with the place of a record in it.
    entered: Vec<entry::Waiting>,
    gathering_since: Option<Instant>,
    clock_checked: Duration,
    no_tick_before: Duration,
    now: Timestamp,
    late: u64,
    late_told: Option<Duration>,
}

impl<S: Store> Driver<S> {
    /// Tells the log of sources and channels by their names.
    #[must_use]
    pub fn with_names(mut self, names: Names) -> Self {
        self.intake.name(names);
        self
    }

    /// Takes the core as recovered, and where its commits go.
    #[must_use]
    pub fn new(clock: Clock, limits: Limits, store: S, gather: Gather) -> Self {
        let now = clock.now();
        Self {
            clock,
            limits,
            store,
            gather,
            intake: Intake::default(),
            flight: Flight::default(),
            published: broadcast::Sender::new(PUBLISHED_MAX),
            entries: None,
            asked: None,
            entered: Vec::new(),
            gathering_since: None,
            clock_checked: Duration::ZERO,
            no_tick_before: Duration::ZERO,
            now,
            late: 0,
            late_told: None,
        }
    }

    /// Takes the checks that people enter from here.
    #[must_use]
    pub fn with_checks(mut self, entries: mpsc::Receiver<Entry>) -> Self {
        self.entries = Some(entries);
        self
    }

    /// A way to ask whether it still turns.
    #[must_use]
    pub fn pulse(&mut self) -> Pulse {
        let (pulse, asked) = pulse::pulse();
        self.asked = Some(asked);
        pulse
    }

    /// What is committed from here on, to be read by views and alerts. A reader that
    /// falls behind by more than 1,024 commits misses the oldest and is told how many.
    #[must_use]
    pub fn published(&self) -> broadcast::Receiver<Arc<Published>> {
        self.published.subscribe()
    }

    /// Runs until every source has ended, then commits what is left and the stop itself.
    /// Once asked to stop it commits without waiting for the interval, since a source may
    /// stay for its last acknowledgements, and waits no longer than the limit for the sources.
    ///
    /// # Errors
    /// [`DriverError`] where the ledger cannot take what it should.
    pub async fn run(
        mut self,
        mut inbound: mpsc::Receiver<Inbound>,
        stop: CancellationToken,
    ) -> Result<(), DriverError<S::Error>> {
        let mut messages = Vec::with_capacity(INBOUND_MAX);
        let mut limit = None;
        // The start itself, which probes that are away must not hold back.
        self.note_gathering();
        while limit.is_none_or(|limit| Instant::now() + LAST_COMMIT < limit) {
            self.watch_clock();
            self.submit_if_due(limit.is_some());
            let sleep = self.sleep();
            let room = self.gather.inputs() < INPUTS_MAX;
            tokio::select! {
                biased;
                outcome = self.flight.landed() => self.land(outcome)?,
                () = stop.cancelled(), if limit.is_none() => {
                    limit = Some(Instant::now() + self.limits.drain_within);
                }
                count = inbound.recv_many(&mut messages, INBOUND_MAX), if room => {
                    if count == 0 {
                        break;
                    }
                    for Inbound { link, message } in messages.drain(..) {
                        self.take(link, message);
                    }
                }
                Some(entry) = entry::next(&mut self.entries), if room => self.enter(entry),
                Some(asking) = Asked::next(&mut self.asked) => drop(asking.send(self.gather.under_way())),
                () = tokio::time::sleep(sleep) => self.tick(),
            }
        }
        let cause = if stop.is_cancelled() { StopCause::Signal } else { StopCause::EndOfInput };
        let limit = limit.unwrap_or_else(|| Instant::now() + self.limits.drain_within);
        self.drain(cause, limit).await
    }

    fn take(&mut self, link: Link, message: FromSource) {
        match message {
            // A source logs its own state and that of its units; nothing here depends on it.
            FromSource::State { .. } | FromSource::Unit { .. } => {}
            FromSource::Delivery(delivery) => {
                // What waited in the channel is applied at the time it arrived, so that a
                // wait for the ledger is never taken for a silent probe.
                let now = delivery.received.max(self.now).min(self.clock.now());
                self.now = now;
                if self.clock.elapsed() >= self.no_tick_before {
                    self.gather.tick(now);
                }
                self.intake.delivery(link, delivery, now, self.limits.ahead_max, &mut self.gather);
                self.note_gathering();
            }
        }
    }

    fn enter(&mut self, Entry { machine, entered, answer }: Entry) {
        self.now = self.clock.now();
        let place = self.gather.enter(self.now, machine, entered);
        self.entered.extend(place.map(|place| entry::Waiting { place, answer }));
        self.note_gathering();
    }

    fn tick(&mut self) {
        if self.clock.elapsed() >= self.no_tick_before {
            self.now = self.clock.now();
            self.gather.tick(self.now);
            self.note_gathering();
        }
    }

    fn watch_clock(&mut self) {
        let elapsed = self.clock.elapsed();
        if elapsed.saturating_sub(self.clock_checked) < CLOCK_CHECK_EVERY {
            return;
        }
        self.clock_checked = elapsed;
        if let Some(step) = self.clock.check() {
            tracing::warn!(
                slug = "clock-step",
                from = %step.from,
                to = %step.to,
                "the system clock stepped; recording goes on"
            );
            self.now = step.to;
            self.no_tick_before = elapsed + NO_TICK_AFTER_STEP;
            self.gather.record(clock_step(step.from, step.to));
            self.note_gathering();
        }
    }

    fn note_gathering(&mut self) {
        if self.gathering_since.is_none() && !(self.gather.is_empty() && self.intake.is_empty()) {
            self.gathering_since = Some(Instant::now());
        }
    }

    fn is_due(&self) -> bool {
        self.gathering_since.is_some_and(|since| {
            self.gather.is_urgent()
                || self.gather.inputs() >= INPUTS_MANY
                || self.intake.would_stall()
                || since.elapsed() >= self.limits.commit_interval
        })
    }

    fn submit_if_due(&mut self, at_once: bool) {
        if let Some(commit) = self.flight.due_again() {
            self.launch(commit);
        }
        if !self.flight.is_free() || self.gathering_since.is_none() || !(at_once || self.is_due()) {
            return;
        }
        self.gathering_since = None;
        let deliveries = self.intake.take();
        if self.gather.is_empty() {
            // Everything before these deliveries is durable, and nothing in them can be kept.
            flight::acknowledge(&deliveries);
            return;
        }
        self.tell_late();
        let commit = self.gather.take();
        let published = (self.published.receiver_count() > 0).then(|| Published {
            inputs: commit.inputs.clone(),
            records: commit.records.iter().map(|new| (0, new.record.clone())).collect(),
        });
        self.flight.load(deliveries, published, std::mem::take(&mut self.entered));
        self.launch(commit);
    }

    fn tell_late(&mut self) {
        self.late += self.gather.take_counts().late;
        let elapsed = self.clock.elapsed();
        let quiet = self.late_told.is_some_and(|told| elapsed.saturating_sub(told) < LATE_TOLD_EVERY);
        if self.late > 0 && !quiet {
            let readings = std::mem::take(&mut self.late);
            self.late_told = Some(elapsed);
            tracing::warn!(readings, "readings came too far behind their order: stored, not judged");
        }
    }

    fn launch(&mut self, commit: Commit) {
        let (done, answer) = oneshot::channel();
        self.flight.launched(answer, Left::of(&commit.inputs, &commit.records));
        self.store.submit(commit, done);
    }

    fn land(
        &mut self,
        outcome: Result<Outcome<S::Error>, oneshot::error::RecvError>,
    ) -> Result<(), DriverError<S::Error>> {
        match outcome.map_err(|_| DriverError::WriterGone)? {
            Outcome::Committed { first_index } => {
                if self.flight.was_refused() {
                    self.store.tell_accepted_again();
                }
                if let Some(published) = self.flight.committed(first_index) {
                    // An error says that nobody listens any more.
                    drop(self.published.send(Arc::new(published)));
                }
                Ok(())
            }
            Outcome::Refused { commit, again: true, error } => {
                if !self.flight.was_refused() {
                    self.store.tell_refused(&error);
                }
                self.flight.refused(*commit);
                Ok(())
            }
            Outcome::Refused { again: false, error, .. } => Err(DriverError::Refused(error)),
        }
    }

    fn sleep(&self) -> Duration {
        let now = Instant::now();
        let commit = self
            .gathering_since
            .filter(|_| self.flight.is_free())
            .map(|since| (since + self.limits.commit_interval).saturating_duration_since(now));
        let again = self.flight.again_at().map(|at| at.saturating_duration_since(now));
        let hold = self.no_tick_before.saturating_sub(self.clock.elapsed());
        let tick = self.gather.deadline().map(|due| self.clock.wait_until(due).max(hold));
        [commit, again, tick].into_iter().flatten().min().unwrap_or(SLEEP_MAX).min(SLEEP_MAX)
    }

    async fn drain(mut self, cause: StopCause, limit: Instant) -> Result<(), DriverError<S::Error>> {
        self.intake.tell_counts();
        // What came late since it was last told is told now.
        self.late_told = None;
        let now = self.clock.now();
        let body = Body::ServiceStop(ServiceStop { cause });
        self.gather.record(Record::new(now, None, body));
        self.note_gathering();
        loop {
            self.submit_if_due(true);
            if self.flight.is_free() && self.gathering_since.is_none() {
                return Ok(());
            }
            let until = limit.min(self.flight.again_at().unwrap_or(limit));
            tokio::select! {
                biased;
                outcome = self.flight.landed() => self.land(outcome)?,
                () = tokio::time::sleep_until(until) => {
                    if Instant::now() >= limit {
                        let left = self.flight.left().and(self.gather.left());
                        return Err(DriverError::NotDrained { left });
                    }
                }
            }
        }
    }
}

/// The record of a step of the gateway's clock.
#[must_use]
pub fn clock_step(from: Timestamp, to: Timestamp) -> Record {
    let body = Body::ClockStep(ClockStep { clock: crate::core::record::Clock::Gateway, from, to });
    Record::new(to, None, body)
}

#[cfg(test)]
mod tests;
