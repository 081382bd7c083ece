//! A gateway at work: sources, driver and ledger, put together for `run` and `demo`.

use std::sync::Arc;
use std::sync::atomic::AtomicU64;
use std::time::Duration;

use tokio::sync::{broadcast, mpsc};
use tokio_util::sync::CancellationToken;

use super::ledger::{self, LedgerStore};
use super::{Failure, sources};
use crate::config::load::Loaded;
use crate::diagnostic::Diagnostic;
use crate::ledger::LedgerError;
use crate::runtime::clock::Clock;
use crate::runtime::driver::{Driver, DriverError, INBOUND_MAX, Inbound, Limits, Names, Published};
use crate::runtime::supervisor::Supervisor;

/// Time for the last commits after a stop; the whole program ends within 5 s.
const DRAIN_WITHIN: Duration = Duration::from_millis(3_500);
/// Time for tasks to end after the driver has.
const TASKS_WITHIN: Duration = Duration::from_secs(1);

/// A gateway that is ready to run.
pub(super) struct Station {
    driver: Driver<LedgerStore>,
    inbound: mpsc::Receiver<Inbound>,
    supervisor: Supervisor,
    stop: CancellationToken,
    path: std::path::PathBuf,
}

impl Station {
    /// Opens the ledger and starts the sources. Must be called inside the runtime.
    ///
    /// # Errors
    /// The ledger's.
    pub(super) fn open(loaded: &Loaded, clock: &Clock, stop: &CancellationToken) -> Result<Self, Failure> {
        let configuration = &loaded.configuration;
        let path = configuration.ledger.path.clone();
        let (writer, gather) = ledger::open(loaded, &path, clock.now())?;
        let limits = Limits {
            commit_interval: configuration.ledger.commit_interval,
            ahead_max: configuration.ahead_max,
            drain_within: DRAIN_WITHIN,
        };
        let names = Names {
            sources: configuration.sources.iter().map(|source| source.name.clone()).collect(),
            channels: configuration.channels.iter().map(|channel| channel.name.to_string()).collect(),
        };
        let driver = Driver::new(clock.clone(), limits, LedgerStore::new(writer, &path), gather)
            .with_names(names.clone());
        let (sender, inbound) = mpsc::channel(INBOUND_MAX);
        let mut supervisor = Supervisor::new(stop.clone());
        let surroundings = sources::Surroundings {
            clock: clock.clone(),
            stop: stop.clone(),
            inbound: sender,
            links: Arc::new(AtomicU64::new(0)),
            channels: names.channels.into(),
        };
        sources::start(&mut supervisor, &configuration.sources, &surroundings);
        Ok(Self { driver, inbound, supervisor, stop: stop.clone(), path })
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
        let ended = self.driver.run(self.inbound, self.stop.clone()).await;
        // Sources stop with the driver, whatever ended it.
        self.stop.cancel();
        if tokio::time::timeout(TASKS_WITHIN, self.supervisor.join()).await.is_err() {
            tracing::warn!("a task did not end in time and was left");
        }
        ended.map_err(|error| diagnose(&error, &self.path).into())
    }
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
