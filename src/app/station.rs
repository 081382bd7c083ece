//! A gateway at work: sources, driver and ledger, put together for `run` and `demo`.
//!
//! The order of the end: sources and driver are asked to stop; the driver makes its
//! last commit; then the tasks that follow the ledger see that commit and end; then
//! the ledger is closed. Whoever holds a [`LedgerHandle`] is one of these tasks.

use std::net::TcpListener;
use std::sync::Arc;
use std::sync::atomic::AtomicU64;
use std::time::Duration;

use tokio::sync::{broadcast, mpsc};
use tokio::time::Instant;
use tokio_util::sync::CancellationToken;

use super::access::{self, Called, Entrance, FirstWords, Keeper};
use super::ledger::{self, LedgerHandle, LedgerStore};
use super::live::Tap;
use super::seal::Seal;
use super::{Failure, alerts, checkpoints, days, in_force, series, service_manager, sources};
use crate::config::load::Loaded;
use crate::core::causes::chain;
use crate::core::id::SourceId;
use crate::core::time::Timestamp;
use crate::diagnostic::Diagnostic;
use crate::ledger::{LedgerError, Reader};
use crate::runtime::clock::Clock;
use crate::runtime::driver::{
    CHECKS_MAX, Driver, DriverError, Entry, INBOUND_MAX, Inbound, Limits, Names, Published, Pulse,
};
use crate::runtime::supervisor::Supervisor;

/// Time for the last commits after a stop; the whole program ends within 5 s.
const DRAIN_WITHIN: Duration = Duration::from_millis(3_500);
/// Time for tasks to end after the driver has.
const TASKS_WITHIN: Duration = Duration::from_secs(1);
/// From the request to stop to the end of every task, where the driver needs less than its time.
const STOP_WITHIN: Duration = Duration::from_millis(3_500);

/// A gateway that is ready to run.
pub(super) struct Station {
    driver: Driver<LedgerStore>,
    checks: mpsc::Sender<Entry>,
    inbound: mpsc::Receiver<Inbound>,
    sources: Supervisor,
    stop: CancellationToken,
    followers: Supervisor,
    /// Asks the followers to end, once the driver has made its last commit.
    last_commit: CancellationToken,
    ledger: LedgerHandle,
    seal: Seal,
    tap: Tap,
    entrance: Option<Entrance>,
    loaded: Loaded,
    clock: Clock,
    simulated: bool,
    /// Where the pages are served, where that is taken already.
    pages: Option<TcpListener>,
    pulse: Pulse,
}

impl Station {
    /// Opens the ledger and starts the sources. Must be called inside the runtime.
    ///
    /// # Errors
    /// The ledger's.
    pub(super) fn open(loaded: &Loaded, clock: &Clock, stop: &CancellationToken) -> Result<Self, Failure> {
        let configuration = &loaded.configuration;
        let path = configuration.ledger.path.clone();
        let (ledger, gather) = ledger::open(loaded, &path, clock.now())?;
        let reader = Reader::open(&path).map_err(|error| ledger::diagnose(&error, &path))?;
        let file = in_force::tell(configuration, &reader).map_err(|error| ledger::diagnose(&error, &path))?;
        let limits = Limits {
            commit_interval: configuration.ledger.commit_interval,
            ahead_max: configuration.ahead_max,
            drain_within: DRAIN_WITHIN,
        };
        let names = Names {
            sources: configuration.sources.iter().map(|source| source.name.clone()).collect(),
            channels: configuration.channels.iter().map(|channel| channel.name.to_string()).collect(),
        };
        let (checks, entered) = mpsc::channel(CHECKS_MAX);
        let mut driver = Driver::new(clock.clone(), limits, LedgerStore(ledger.clone()), gather)
            .with_names(names.clone())
            .with_checks(entered);
        let pulse = driver.pulse();
        let (sender, inbound) = mpsc::channel(INBOUND_MAX);
        let mut tasks = Supervisor::new(stop.clone());
        let tap = Tap::new(configuration, &configuration.channels_in_force(&file, Timestamp::MAX));
        let surroundings = sources::Surroundings {
            clock: clock.clone(),
            stop: stop.clone(),
            inbound: sender,
            links: Arc::new(AtomicU64::new(0)),
            journal: Some(names.channels.into()),
            tap: tap.clone(),
        };
        let all = (0_u16..).map(SourceId).zip(configuration.sources.iter().cloned());
        sources::start(&mut tasks, all, &surroundings);
        let last_commit = CancellationToken::new();
        let seal = Seal::of_service(ledger.clone(), &configuration.site);
        Ok(Self {
            driver,
            checks,
            inbound,
            sources: tasks,
            stop: stop.clone(),
            followers: Supervisor::new(last_commit.clone()),
            last_commit,
            ledger,
            seal,
            tap,
            entrance: Entrance::open(configuration, &path),
            loaded: loaded.clone(),
            clock: clock.clone(),
            simulated: false,
            pages: None,
            pulse,
        })
    }

    /// Whose machines are simulated: every page says so.
    pub(super) fn simulated(mut self) -> Self {
        self.simulated = true;
        self
    }

    /// Whose place for the pages is held since before its address was told.
    pub(super) fn with_pages_at(mut self, pages: TcpListener) -> Self {
        self.pages = Some(pages);
        self
    }

    /// Starts the tasks that follow the ledger: alerts, their letters, the series, checkpoints, the days.
    /// Each gets a copy of the handle, reads by a `Reader` of its own at [`LedgerHandle::path`], waits for
    /// [`LedgerHandle::tide`], and ends within [`TASKS_WITHIN`] of `last_commit`, having dropped
    /// its copy. What it has not worked off by then waits for the next start at its bookmark.
    async fn follow(&mut self) -> Result<(), Failure> {
        let (configuration, clock) = (&self.loaded.configuration, &self.clock);
        let zone = &configuration.alerts.zone;
        checkpoints::start(&mut self.followers, &self.seal, zone, clock, &self.last_commit);
        days::start(&mut self.followers, zone, &self.ledger, clock, &self.last_commit);
        let series =
            series::follow::start(&mut self.followers, configuration, clock, &self.ledger, &self.last_commit);
        let keeper = match &self.entrance {
            Some(entrance) => {
                let access = Arc::clone(&entrance.access);
                let keeper = Keeper::open(access, self.ledger.clone(), clock.clone()).await;
                keeper
                    .inspect_err(|error| {
                        tracing::error!(slug = "access-store", error = chain(error), "no page is served");
                    })
                    .ok()
            }
            None => None,
        };
        if let Some(keeper) = &keeper {
            access::start(&mut self.followers, keeper.clone(), &self.last_commit);
        }
        let around = alerts::start::Surroundings {
            loaded: &self.loaded,
            ledger: &self.ledger,
            clock: &self.clock,
            last_commit: &self.last_commit,
            checks: &self.checks,
            seal: &self.seal,
            tap: &self.tap,
            access: keeper.as_ref(),
            simulated: self.simulated,
            pulse: &self.pulse,
            series,
        };
        let path = self.ledger.path();
        let started = alerts::start::start(&mut self.followers, &around, self.pages.take()).await;
        started.map_err(|error| ledger::diagnose(&error, path).into())
    }

    /// What whoever sets the gateway up is to be told, once: the secret of the first account.
    pub(super) fn first_words(&mut self, called: &Called) -> Option<FirstWords> {
        let web = self.loaded.configuration.web.as_ref()?;
        self.entrance.as_mut()?.first_words(web, called)
    }

    /// A way to ask whether the driver still turns.
    pub(super) fn pulse(&self) -> Pulse {
        self.pulse.clone()
    }

    /// What is committed from here on.
    pub(super) fn published(&self) -> broadcast::Receiver<Arc<Published>> {
        self.driver.published()
    }

    /// Runs until stopped, or until every source has ended.
    ///
    /// # Errors
    /// Where the ledger cannot take what it should.
    pub(super) async fn run(mut self) -> Result<(), Failure> {
        self.follow().await?;
        service_manager::ready();
        let stop = self.stop.clone();
        let driving = async {
            let ended = self.driver.run(self.inbound, self.stop.clone()).await;
            // Sources stop with the driver, whatever ended it; then those that follow the ledger.
            self.stop.cancel();
            ended
        };
        let stopped = async {
            stop.cancelled().await;
            service_manager::stopping();
            Instant::now()
        };
        let (ended, stopped) = tokio::join!(driving, stopped);
        self.last_commit.cancel();
        let joined = async { tokio::join!(self.sources.join(), self.followers.join()) };
        if tokio::time::timeout_at(end_of_tasks(stopped), joined).await.is_err() {
            tracing::warn!("a task did not end in time and was left");
        }
        let path = self.ledger.path().to_owned();
        self.seal.finish(self.clock.now(), &path).await;
        let ledger = self.ledger;
        match tokio::task::spawn_blocking(move || ledger.close()).await {
            Ok(Ok(())) => {}
            Ok(Err(error)) => {
                tracing::error!("closing the ledger failed\n{}", ledger::diagnose(&error, &path))
            }
            Err(_) => tracing::error!("the ledger was not closed; what was committed is on the device"),
        }
        ended.map_err(|error| diagnose(&error, &path).into())
    }
}

/// A driver that ended at once leaves its time to the tasks, of which the courier may be
/// in the middle of a letter.
fn end_of_tasks(stopped: Instant) -> Instant {
    (Instant::now() + TASKS_WITHIN).max(stopped + STOP_WITHIN)
}

fn diagnose(error: &DriverError<LedgerError>, path: &std::path::Path) -> Diagnostic {
    match error {
        DriverError::Refused(source) => {
            ledger::diagnose(source, path).advice("nothing that was acknowledged is lost")
        }
        DriverError::NotDrained { .. } => Diagnostic::error("ledger-write", error.to_string())
            .place(path.display().to_string())
            .advice("what stopped the commits stands further up in the log; sources with QoS 1 send again"),
        DriverError::WriterGone => Diagnostic::error("bug", error.to_string())
            .place(path.display().to_string())
            .advice("report it with the log; after a restart recording goes on"),
    }
}
