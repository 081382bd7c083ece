//! What the pages show: the ledger, the alerts and the readings that come in, as [`crate::web`] asks for them.

mod alert_book;
mod glances;
mod logbook;
mod premises;
mod readers;

use std::sync::{Arc, Mutex};
use std::time::Duration;

use tokio::sync::watch;
use tokio_util::sync::CancellationToken;

use self::glances::Lasts;
use self::logbook::Presses;
use self::premises::Tests;
use self::readers::Readers;
use super::alerts::Reception;
use super::alerts::compose::Composer;
use super::ledger::LedgerHandle;
use super::live::Tap;
use crate::config::load::Loaded;
use crate::config::note::Section;
use crate::config::resolve::Configuration;
use crate::runtime::clock::Clock;
use crate::web::kitchen::Kitchen;

/// Longest time between two looks at what is new: how long ago something was grows by itself.
const BEAT_MAX: Duration = Duration::from_secs(5);
/// Shortest time, so that a storm is not shown record by record.
const BEAT_MIN: Duration = Duration::from_millis(300);

/// Everything that the pages ask. Copies are the same.
#[derive(Clone, Debug)]
pub(super) struct House {
    configuration: Arc<Configuration>,
    clock: Clock,
    tap: Tap,
    reception: Reception,
    composer: Arc<Composer>,
    readers: Readers,
    lasts: Arc<Mutex<Lasts>>,
    beat: watch::Receiver<u64>,
    presses: Arc<tokio::sync::Mutex<Presses>>,
    sections: Arc<[Section]>,
    tests: Tests,
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
}

impl House {
    /// A house, and the task that tells it when to look again.
    pub(super) fn new(
        ground: &Ground<'_>,
        stop: CancellationToken,
    ) -> (Self, impl Future<Output = ()> + use<>) {
        let (to, beat) = watch::channel(0);
        let house = Self {
            configuration: Arc::new(ground.loaded.configuration.clone()),
            clock: ground.clock.clone(),
            tap: ground.tap.clone(),
            reception: ground.reception.clone(),
            composer: Arc::clone(ground.composer),
            readers: Readers::new(ground.ledger.path().to_owned()),
            lasts: Arc::default(),
            beat,
            presses: Arc::default(),
            sections: ground.loaded.sections().into(),
            tests: Tests::default(),
        };
        let mut tide = ground.ledger.tide();
        let beating = async move {
            loop {
                let changed = async {
                    // An error says that the ledger is closed: then the gateway stops.
                    let _slow = tokio::time::timeout(BEAT_MAX, tide.changed()).await;
                    to.send_modify(|beat| *beat += 1);
                    tokio::time::sleep(BEAT_MIN).await;
                };
                if stop.run_until_cancelled(changed).await.is_none() {
                    return;
                }
            }
        };
        (house, beating)
    }
}

impl Kitchen for House {}

#[cfg(test)]
mod tests;
