//! What people enter, on its way into the core.

use tokio::sync::{mpsc, oneshot};

use crate::core::id::MachineId;
use crate::core::site::Entered;

/// People waiting for the driver; one more waits for a place.
pub const CHECKS_MAX: usize = 16;

/// What was entered of a machine, and who waits until it is on record.
#[derive(Debug)]
pub struct Entry {
    /// Of which machine.
    pub machine: MachineId,
    /// What was found, and by whom.
    pub entered: Entered,
    /// Is told the index of its record in the ledger once it is durable.
    pub answer: oneshot::Sender<u64>,
}

/// Somebody who waits for a commit.
#[derive(Debug)]
pub(super) struct Waiting {
    /// Place of the record among those of the commit.
    pub(super) place: usize,
    pub(super) answer: oneshot::Sender<u64>,
}

impl Waiting {
    pub(super) fn tell(self, first_index: Option<u64>) {
        let index = first_index.unwrap_or(0) + self.place as u64;
        if self.answer.send(index).is_err() {
            tracing::info!(record = index, "whoever entered it has gone; it is on record");
        }
    }
}

/// The next entry; never where nobody can enter one.
pub(super) async fn next(entries: &mut Option<mpsc::Receiver<Entry>>) -> Option<Entry> {
    match entries {
        Some(entries) => entries.recv().await,
        None => std::future::pending().await,
    }
}
