//! What every page stands on.

use std::sync::Arc;

use tokio_util::sync::CancellationToken;

use super::alerts::AlertBook;
use super::api::Answers;
use super::cycle::Racks;
use super::frame::Site;
use super::history::Histories;
use super::history::exports::Exports;
use super::history::integrity::Checks;
use super::live::Live;
use super::logbook::Logbook;
use super::machine::Machines;
use super::now::Glances;
use super::probes::Probes;
use super::settings::Premises;

/// Whoever knows the kitchen: all that the pages ask for.
pub trait Kitchen:
    Glances + AlertBook + Logbook + Premises + Machines + Racks + Histories + Exports + Checks + Probes + Answers
{
}

/// What every page stands on. Copies are the same.
#[derive(Debug)]
pub struct Pages<K> {
    pub(super) kitchen: K,
    pub(super) site: Arc<Site>,
    pub(super) live: Arc<Live>,
    pub(super) stop: CancellationToken,
}

impl<K: Clone> Clone for Pages<K> {
    fn clone(&self) -> Self {
        Self {
            kitchen: self.kitchen.clone(),
            site: Arc::clone(&self.site),
            live: Arc::clone(&self.live),
            stop: self.stop.clone(),
        }
    }
}

impl<K> Pages<K> {
    /// Pages over this kitchen, until `stop`.
    #[must_use]
    pub fn new(kitchen: K, site: Site, stop: CancellationToken) -> Self {
        Self { kitchen, site: Arc::new(site), live: Arc::default(), stop }
    }
}

impl<K: Kitchen> Pages<K> {
    /// How many alerts are open, for the tab of a page; none where nobody can say just now.
    pub(super) async fn open(&self) -> usize {
        let open = self.kitchen.open().await;
        if let Ok(open) = open {
            self.site.counted(open);
        }
        open.unwrap_or(0)
    }

    /// Counts the open alerts after each beat, for the pages that ask nothing of the kitchen: one's own account,
    /// and those that say why nothing is shown. Ends with the gateway.
    pub async fn count(self) {
        let mut beat = self.kitchen.beat();
        loop {
            self.open().await;
            match self.stop.run_until_cancelled(beat.changed()).await {
                Some(Ok(())) => {}
                Some(Err(_)) | None => return,
            }
        }
    }
}
