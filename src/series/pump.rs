//! Store and forward: from the ledger to the server, in turns, as fast as the server takes it.
//!
//! A turn is one part: read and made into lines off the threads of the runtime,
//! brought to the server line by line if need be, and only then marked as sent.
//! The bookmark is saved every [`SAVE_EVERY`] at most, at once where something is
//! set aside, and never says more than the server has taken: killed at any
//! instant, the next run sends a few seconds again, which changes nothing there.
//!
//! A server that is away, busy, or refuses everything keeps the turn under way
//! waiting, nothing else: recording does not depend on this task.
//!
//! Memory: one part under way and one read ahead, each about
//! [`PART_READINGS`](super::load::PART_READINGS) readings, or one block of the ledger where that is larger.

mod bring;
mod keep;
mod standing;

use std::future::Future;
use std::sync::Arc;
use std::time::Duration;

use tokio::sync::{mpsc, oneshot, watch};
use tokio::task::{JoinError, JoinHandle};
use tokio::time::Instant;
use tokio_util::sync::CancellationToken;

use super::answer::Outcome;
use super::batch::Lines;
use super::load::{Load, Loader};
use super::plan::{self, Behind, Reached, Turn, Turns};
use super::point::Point;
use super::record::{self, Gauges};
use super::sender::Sender;
use super::sieve::Aside;
use super::stock::Stock;
use super::track::{Heads, TooManySpans, Track};
use super::wait::{BackOff, Waits};
use crate::config::series::SeriesOptions;
use crate::core::time::Timestamp;
pub use standing::Standing;

/// How often the bookmark is saved while something is sent.
pub const SAVE_EVERY: Duration = Duration::from_secs(5);
/// How often a point about the gateway itself is sent.
const GAUGES_EVERY: Duration = Duration::from_secs(60);
/// Rows that wait to be set aside; at more, nothing is sent until the ledger takes them.
const ASIDE_ROWS_MAX: usize = 256;
/// Points set aside in the life of the ledger of which the lines are kept; of more only the number.
pub const ASIDE_KEPT_MAX: u64 = 100_000;

/// Where lines go.
pub trait Server: Send + 'static {
    /// Writes these lines. May be dropped at any instant.
    fn write(&self, lines: Lines<'_>) -> impl Future<Output = Outcome> + Send;
}

impl Server for Sender {
    fn write(&self, lines: Lines<'_>) -> impl Future<Output = Outcome> + Send {
        Self::write(self, lines)
    }
}

/// What the rest of the program may ask for.
#[derive(Debug)]
pub enum Request {
    /// Send again what was measured or recorded from one instant on and before another.
    SendAgain {
        /// First instant.
        from: Timestamp,
        /// The instant after the last.
        to: Timestamp,
        /// Answered when the request is on disk, and survives the end of the program.
        answer: oneshot::Sender<Result<(), NotAccepted>>,
    },
}

/// Why a request is not accepted.
#[derive(Debug, thiserror::Error)]
pub enum NotAccepted {
    /// Too many wait.
    #[error(transparent)]
    TooMany(#[from] TooManySpans),
    /// The ledger does not take it.
    #[error("the ledger does not take the request")]
    NotKept,
}

/// What comes in beside the ledger itself.
#[derive(Debug)]
pub struct Inbox<Tide> {
    /// Requests.
    pub requests: mpsc::Receiver<Request>,
    /// Changes with every commit.
    pub tide: watch::Receiver<Tide>,
    /// Ends the task.
    pub stop: CancellationToken,
}

/// Why the task ended before it was asked to. It is started again.
#[derive(Debug, thiserror::Error)]
pub enum PumpError<Failure: std::error::Error + 'static> {
    /// The ledger cannot be read.
    #[error("the ledger cannot be read for the series")]
    Read(#[source] Failure),
    /// Reading panicked.
    #[error("reading for the series failed")]
    Reading(#[source] JoinError),
}

/// The program stops.
#[derive(Debug)]
struct Stopped;

/// Sends what the ledger holds.
pub struct Pump<Stocked: Stock, To> {
    loader: Arc<Loader<Stocked>>,
    server: To,
    options: SeriesOptions,
    now: Arc<dyn Fn() -> Timestamp + Send + Sync>,
    standing: watch::Sender<Standing>,
    started: Instant,
    track: Track,
    turns: Turns,
    heads: Heads,
    back_off: BackOff,
    ahead: Option<Ahead<Stocked>>,
    /// Lines refused in a row at the end of the last batch.
    in_a_row: usize,
    aside: Vec<Aside>,
    /// Rows of what was set aside that were sent again since.
    settled: Vec<i64>,
    gauges_at: Option<Duration>,
    saved: Option<(Instant, Track)>,
    keep_failed: bool,
    /// When the ledger was last asked how far it is.
    looked: Timestamp,
    /// Until when nothing new was there, where something came after a wait for it.
    quiet_until: Option<Timestamp>,
}

/// A part being read before its turn.
type Ahead<Stocked> = (Behind, JoinHandle<Result<Load, <Stocked as Stock>::Failure>>);

/// What a pump is made of.
pub struct Parts<Stocked, To> {
    /// The ledger, and how its rows become points.
    pub loader: Arc<Loader<Stocked>>,
    /// The server.
    pub server: To,
    /// Settings.
    pub options: SeriesOptions,
    /// The gateway's clock.
    pub now: Arc<dyn Fn() -> Timestamp + Send + Sync>,
    /// Told after each turn and each failure.
    pub standing: watch::Sender<Standing>,
    /// How long to wait after failures.
    pub waits: Waits,
}

impl<Stocked: Stock, To: Server> Pump<Stocked, To> {
    /// Takes up where the bookmark says.
    ///
    /// # Errors
    /// [`PumpError`] where the ledger cannot be read.
    pub async fn open(parts: Parts<Stocked, To>) -> Result<Self, PumpError<Stocked::Failure>> {
        let Parts { loader, server, options, now, standing, waits } = parts;
        let stored = blocking(&loader, |loader| loader.stock().bookmark()).await?;
        let track = match stored.as_deref().map(Track::from_bytes) {
            None => Track::new(now()),
            Some(Ok(track)) => track,
            Some(Err(error)) => {
                let cause: &dyn std::error::Error = &error;
                tracing::warn!(cause, "the series begins again: everything in the ledger is sent once more");
                Track::new(now())
            }
        };
        Ok(Self {
            loader,
            server,
            options,
            now,
            standing,
            started: Instant::now(),
            track,
            turns: Turns::default(),
            heads: Heads::default(),
            back_off: BackOff::new(waits),
            ahead: None,
            in_a_row: 0,
            aside: Vec::new(),
            settled: Vec::new(),
            gauges_at: None,
            saved: None,
            keep_failed: false,
            looked: Timestamp::MIN,
            quiet_until: None,
        })
    }

    /// Sends until stopped.
    ///
    /// # Errors
    /// [`PumpError`] where the ledger cannot be read.
    pub async fn run<Tide: Send + Sync>(
        mut self,
        inbox: &mut Inbox<Tide>,
    ) -> Result<(), PumpError<Stocked::Failure>> {
        loop {
            self.looked = (self.now)();
            self.heads = blocking(&self.loader, |loader| loader.stock().heads()).await?;
            if let Some(until) = self.quiet_until.take() {
                self.track.was_quiet(self.heads, until);
            }
            self.track.cut(self.heads, (self.now)());
            self.tell_standing();
            self.save_if_due().await;
            let ended = if self.aside.len() > ASIDE_ROWS_MAX {
                self.pause(inbox, Some(SAVE_EVERY), false).await
            } else {
                match self.turns.next(&self.track, self.heads, self.started.elapsed()) {
                    Ok(turn) => self.take_turn(turn, inbox).await?,
                    // Nothing is new but the minute: that the gateway is alive is told all the same.
                    Err(_) if self.gauges_within().is_zero() => {
                        self.take_turn(plan::fresh(&self.track, self.heads), inbox).await?
                    }
                    Err(wait) => {
                        let longest = self.gauges_within();
                        self.pause(
                            inbox,
                            Some(wait.map_or(longest, |wait| wait.min(longest))),
                            wait.is_none(),
                        )
                        .await
                    }
                }
            };
            if ended.is_err() {
                self.save().await;
                if let Some((_, reading)) = self.ahead.take() {
                    // So that nobody reads the ledger when it is closed.
                    drop(reading.await);
                }
                return Ok(());
            }
        }
    }

    async fn take_turn<Tide: Send + Sync>(
        &mut self,
        turn: Turn,
        inbox: &mut Inbox<Tide>,
    ) -> Result<Result<(), Stopped>, PumpError<Stocked::Failure>> {
        let load = self.load(&turn).await?;
        self.read_ahead(&turn, &load);
        let mut rest = load.batch.lines();
        while !rest.is_empty() {
            let (request, after) = rest.split_at(self.options.batch_points);
            rest = after;
            if self.bring(request, inbox).await.is_err() {
                return Ok(Err(Stopped));
            }
        }
        self.note_aside(load.unwritable);
        if let Reached::Span(span) = &load.reached
            && span.is_through()
        {
            let span = span.clone();
            let settled = blocking(&self.loader, move |loader| loader.stock().settled(&span)).await?;
            self.settled.extend(settled);
        }
        plan::taken(&mut self.track, &turn, &load.reached, self.looked);
        Ok(Ok(()))
    }

    async fn load(&mut self, turn: &Turn) -> Result<Load, PumpError<Stocked::Failure>> {
        if let Turn::Behind(behind) = turn
            && let Some((_, reading)) = self.ahead.take_if(|(ahead, _)| ahead == behind)
        {
            return reading.await.map_err(PumpError::Reading)?.map_err(PumpError::Read);
        }
        let (thinning, gauges) = match turn {
            Turn::Fresh { .. } => (self.track.thinning[0].clone(), self.gauges()),
            Turn::Behind(_) => (self.track.thinning[1].clone(), None),
        };
        let turn = turn.clone();
        blocking(&self.loader, move |loader| loader.load(&turn, thinning, gauges.as_ref())).await
    }

    /// While the server works on this part, the one that follows it is read.
    fn read_ahead(&mut self, turn: &Turn, load: &Load) {
        if !matches!(turn, Turn::Behind(_)) {
            return;
        }
        let mut then = self.track.clone();
        plan::taken(&mut then, turn, &load.reached, (self.now)());
        let Some(behind) = plan::behind(&then) else { return };
        let (loader, turn) = (Arc::clone(&self.loader), Turn::Behind(behind.clone()));
        let [_, thinning] = then.thinning;
        self.ahead = Some((behind, tokio::task::spawn_blocking(move || loader.load(&turn, thinning, None))));
    }

    /// How long until a point about the gateway is due.
    fn gauges_within(&self) -> Duration {
        let due = self.gauges_at.map_or(Duration::ZERO, |at| at + GAUGES_EVERY);
        due.saturating_sub(self.started.elapsed())
    }

    /// How the gateway is, once a minute.
    fn gauges(&mut self) -> Option<Point> {
        if !self.gauges_within().is_zero() {
            return None;
        }
        self.gauges_at = Some(self.started.elapsed());
        let gauges = Gauges {
            records: self.heads.records,
            inputs: self.heads.inputs,
            records_waiting: self.track.records_behind(self.heads),
            inputs_waiting: self.track.inputs_behind(self.heads),
            set_aside: self.track.set_aside,
        };
        Some(record::gauges(self.loader.site(), (self.now)(), &gauges))
    }

    /// Waits for the server, and keeps what is told of the backlog up to date.
    async fn wait<Tide: Send + Sync>(
        &mut self,
        inbox: &mut Inbox<Tide>,
        wait: Duration,
    ) -> Result<(), Stopped> {
        if let Ok(heads) = blocking(&self.loader, |loader| loader.stock().heads()).await {
            self.heads = heads;
        }
        self.tell_standing();
        let until = Instant::now() + wait;
        while let Some(left) = until.checked_duration_since(Instant::now()).filter(|left| !left.is_zero()) {
            self.save_if_due().await;
            self.pause(inbox, Some(left), false).await?;
        }
        Ok(())
    }

    /// Sleeps for a time, or until a request or, where asked, a commit comes.
    async fn pause<Tide: Send + Sync>(
        &mut self,
        inbox: &mut Inbox<Tide>,
        wait: Option<Duration>,
        or_tide: bool,
    ) -> Result<(), Stopped> {
        let longest = self.save_within().unwrap_or(Duration::MAX);
        let wait = wait.unwrap_or(Duration::MAX).min(longest);
        tokio::select! {
            biased;
            () = inbox.stop.cancelled() => return Err(Stopped),
            Some(request) = inbox.requests.recv() => self.answer(request).await,
            Ok(()) = inbox.tide.changed(), if or_tide => self.quiet_until = Some((self.now)()),
            () = tokio::time::sleep(wait) => {}
        }
        Ok(())
    }

    async fn answer(&mut self, request: Request) {
        let Request::SendAgain { from, to, answer } = request;
        let accepted = match self.track.send_again(from, to, self.heads, (self.now)()) {
            Err(error) => Err(NotAccepted::from(error)),
            Ok(()) if self.save().await => Ok(()),
            Ok(()) => {
                self.track.spans.pop();
                Err(NotAccepted::NotKept)
            }
        };
        // Whoever asked may have gone.
        drop(answer.send(accepted));
    }

    fn tell_standing(&self) {
        let standing = Standing::of(&self.track, self.heads);
        self.standing.send_if_modified(|told| {
            let is_other = *told != standing;
            *told = standing;
            is_other
        });
    }
}

/// Reads off the threads of the runtime.
async fn blocking<Stocked: Stock, Answer: Send + 'static>(
    loader: &Arc<Loader<Stocked>>,
    read: impl FnOnce(&Loader<Stocked>) -> Result<Answer, Stocked::Failure> + Send + 'static,
) -> Result<Answer, PumpError<Stocked::Failure>> {
    let loader = Arc::clone(loader);
    let answer = tokio::task::spawn_blocking(move || read(&loader)).await;
    answer.map_err(PumpError::Reading)?.map_err(PumpError::Read)
}

#[cfg(test)]
mod tests;
