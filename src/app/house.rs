//! What the pages show: the ledger, the alerts and the readings that come in, as [`crate::web`] asks for them.

pub(super) mod alert_book;
mod api;
mod at_work;
mod bench;
mod checked;
mod checking;
mod commissioning;
mod compared;
pub(super) mod did;
mod exports;
mod failed;
mod glances;
mod held;
mod histories;
mod logbook;
mod machines;
mod premises;
mod probes;
pub(super) mod racks;
mod readers;
mod solutions;

use std::path::Path;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use prometheus_client::metrics::histogram::Histogram;
use tokio::sync::{Semaphore, watch};
use tokio::time::Instant;
use tokio_util::sync::CancellationToken;

use self::api::Counted;
use self::bench::Bench;
use self::checking::Checking;
use self::exports::Desk;
use self::glances::Lasts;
use self::logbook::Presses;
use self::premises::Tests;
use self::probes::Standing;
use self::readers::Readers;
use super::alerts::Reception;
use super::alerts::compose::Composer;
use super::amended::Amended;
use super::ledger::{LedgerHandle, Tide};
use super::live::Tap;
use super::seal::Seal;
use crate::app::history::Kept;
use crate::config::load::Loaded;
use crate::core::alert::doubts::Doubts;
use crate::ledger::{Known, WholeChunks};
use crate::runtime::clock::Clock;
use crate::runtime::driver::Pulse;
use crate::series::pump::Standing as Backlog;
use crate::web::access::Access;
use crate::web::kitchen::Kitchen;

/// Longest time between two looks at what is new: how long ago something was grows by itself.
const BEAT_MAX: Duration = Duration::from_secs(5);
/// Shortest time, so that a storm is not shown record by record.
const BEAT_MIN: Duration = Duration::from_millis(300);
/// Exports at a time; one more is asked to come again (own choice: each reads as fast as the disk gives).
const EXPORTS_MAX: usize = 2;

/// Everything that the pages ask. Copies are the same.
#[derive(Clone, Debug)]
pub(super) struct House {
    /// The configuration in force.
    loaded: Arc<Loaded>,
    clock: Clock,
    tap: Tap,
    reception: Reception,
    composer: Arc<Composer>,
    readers: Readers,
    lasts: Arc<Mutex<Lasts>>,
    /// What proofs of inclusion are made of.
    chunks: Arc<Mutex<WholeChunks>>,
    standing: Standing,
    /// What put racks in doubt which had passed.
    doubts: Known<Doubts>,
    kept: Kept,
    /// What was withdrawn and corrected, as far as it was read.
    amended: Known<Amended>,
    bench: Bench,
    beat: watch::Receiver<u64>,
    presses: Arc<tokio::sync::Mutex<Presses>>,
    tests: Tests,
    /// SHA-256 of the configuration in force.
    edition: Arc<str>,
    path: Arc<Path>,
    tide: watch::Receiver<Tide>,
    commits_s: Histogram,
    series: Option<watch::Receiver<Backlog>>,
    pulse: Option<Pulse>,
    works: Arc<Mutex<Option<Works>>>,
    /// When it was last tried whether the ledger takes something, and whether it did.
    proved: Arc<tokio::sync::Mutex<Option<(Instant, bool)>>>,
    counted: Arc<Mutex<Counted>>,
    /// Places for those who take records away.
    exports: Arc<Semaphore>,
    desk: Desk,
    checking: Checking,
    stop: CancellationToken,
    access: Arc<Access>,
    /// Whether the machines are simulated.
    simulated: bool,
}

/// What holds the ledger open; given back when the gateway stops, whoever is still being answered then.
#[derive(Clone, Debug)]
struct Works {
    ledger: LedgerHandle,
    seal: Seal,
}

/// What the house stands on.
#[derive(Debug)]
pub(super) struct Ground<'a> {
    pub(super) loaded: &'a Loaded,
    pub(super) clock: &'a Clock,
    pub(super) tap: &'a Tap,
    pub(super) reception: &'a Reception,
    pub(super) composer: &'a Arc<Composer>,
    pub(super) ledger: &'a LedgerHandle,
    pub(super) seal: &'a Seal,
    /// SHA-256 of the configuration in force.
    pub(super) edition: String,
    pub(super) series: Option<watch::Receiver<Backlog>>,
    /// Asks whether the driver still turns; `None` where none runs.
    pub(super) pulse: Option<Pulse>,
    /// Who may log in at the pages.
    pub(super) access: &'a Arc<Access>,
    /// Whether the machines are simulated.
    pub(super) simulated: bool,
}

impl House {
    /// A house, and the task that tells it when to look again and listens for those who work at a probe.
    pub(super) fn new(
        ground: &Ground<'_>,
        stop: CancellationToken,
    ) -> (Self, impl Future<Output = ()> + use<>) {
        let (to, beat) = watch::channel(0);
        let works = Works { ledger: ground.ledger.clone(), seal: ground.seal.clone() };
        let (bench, attending) = Bench::new(ground.tap.clone(), ground.clock.clone(), stop.clone());
        let house = Self {
            loaded: Arc::new(ground.loaded.clone()),
            clock: ground.clock.clone(),
            tap: ground.tap.clone(),
            reception: ground.reception.clone(),
            composer: Arc::clone(ground.composer),
            readers: Readers::new(ground.ledger.path().to_owned()),
            lasts: Arc::default(),
            chunks: Arc::default(),
            standing: Standing::default(),
            doubts: Known::default(),
            kept: Kept::default(),
            amended: Known::default(),
            bench,
            beat,
            edition: ground.edition.as_str().into(),
            path: ground.ledger.path().into(),
            tide: ground.ledger.tide(),
            commits_s: ground.ledger.commits_s(),
            series: ground.series.clone(),
            pulse: ground.pulse.clone(),
            works: Arc::new(Mutex::new(Some(works))),
            proved: Arc::default(),
            counted: Arc::new(Mutex::new(Counted::from(ground.ledger.tide().borrow().records))),
            exports: Arc::new(Semaphore::new(EXPORTS_MAX)),
            desk: Desk::new(ground.ledger.path(), stop.clone()),
            checking: Checking::default(),
            stop: stop.clone(),
            presses: Arc::default(),
            access: Arc::clone(ground.access),
            simulated: ground.simulated,
            tests: Tests::default(),
        };
        let mut tide = ground.ledger.tide();
        let (works, desk) = (Arc::clone(&house.works), house.desk.clone());
        let beating = async move {
            loop {
                let changed = async {
                    // An error says that the ledger is closed: then the gateway stops.
                    let _slow = tokio::time::timeout(BEAT_MAX, tide.changed()).await;
                    to.send_modify(|beat| *beat += 1);
                    desk.tidy(Instant::now());
                    tokio::time::sleep(BEAT_MIN).await;
                };
                if stop.run_until_cancelled(changed).await.is_none() {
                    drop(works.lock().unwrap_or_else(PoisonError::into_inner).take());
                    return;
                }
            }
        };
        (house, async move {
            tokio::join!(beating, attending);
        })
    }

    /// The ledger's writer, until the gateway stops.
    fn ledger(&self) -> Option<LedgerHandle> {
        let works = self.works.lock().unwrap_or_else(PoisonError::into_inner);
        works.as_ref().map(|works| works.ledger.clone())
    }

    /// What signs checkpoints, until the gateway stops.
    fn seal(&self) -> Option<Seal> {
        self.works.lock().unwrap_or_else(PoisonError::into_inner).as_ref().map(|works| works.seal.clone())
    }
}

impl Kitchen for House {}

#[cfg(test)]
mod tests;
