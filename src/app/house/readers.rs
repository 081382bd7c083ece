//! Readers of the ledger for the pages: a few, shared by all who ask.

use std::path::PathBuf;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use tokio::sync::Semaphore;

use crate::core::causes::chain;
use crate::ledger::{LedgerError, Part, Reader};
use crate::web::frame::Refusal;

/// Questions that are answered at once (own choice: two cores, and a disk beside the writer).
const AT_ONCE: usize = 3;
/// Longest wait for one's turn.
const TURN_MAX: Duration = Duration::from_secs(10);

/// A few readers of one ledger. Copies share them.
#[derive(Clone, Debug)]
pub(super) struct Readers {
    path: Arc<PathBuf>,
    idle: Arc<Mutex<Vec<Reader>>>,
    turns: Arc<Semaphore>,
}

impl Readers {
    /// Readers of the ledger at `path`; none is opened yet.
    pub(super) fn new(path: PathBuf) -> Self {
        Self { path: Arc::new(path), idle: Arc::default(), turns: Arc::new(Semaphore::new(AT_ONCE)) }
    }

    /// Asks the ledger on a thread of its own, so that nothing else waits for the disk, and in one state, whatever is
    /// committed meanwhile.
    ///
    /// # Errors
    /// [`Refusal::NotNow`] where the ledger cannot be read, or its turn does not come; [`Refusal::Damaged`] where
    /// what the answer needs is damaged.
    pub(super) async fn ask<T: Send + 'static>(
        &self,
        question: impl FnOnce(&Reader) -> Result<T, LedgerError> + Send + 'static,
    ) -> Result<T, Refusal> {
        let turn = tokio::time::timeout(TURN_MAX, Arc::clone(&self.turns).acquire_owned()).await;
        let Ok(Ok(turn)) = turn else { return Err(Refusal::NotNow) };
        let (path, idle) = (Arc::clone(&self.path), Arc::clone(&self.idle));
        let answered = tokio::task::spawn_blocking(move || {
            let _turn = turn;
            let waiting = || idle.lock().unwrap_or_else(PoisonError::into_inner);
            let kept = waiting().pop();
            let reader = kept.map_or_else(|| Reader::open(&path), Ok)?;
            let answer = reader.in_one_state(|_| question(&reader))?;
            waiting().push(reader);
            Ok::<T, LedgerError>(answer)
        });
        match answered.await {
            Ok(Ok(answer)) => Ok(answer),
            Ok(Err(
                error @ (LedgerError::Damaged(_) | LedgerError::Record { .. } | LedgerError::Corrupt { .. }),
            )) => {
                tracing::error!(
                    slug = "ledger-damaged",
                    error = chain(&error),
                    "a page needs what is damaged"
                );
                Err(Refusal::Damaged(record(&error)))
            }
            Ok(Err(error)) => {
                tracing::warn!(error = chain(&error), "a page cannot read the ledger");
                Err(Refusal::NotNow)
            }
            // It panicked, and was told of there.
            Err(_) => Err(Refusal::NotNow),
        }
    }
}

/// The record at which the ledger is damaged, where one is known.
const fn record(error: &LedgerError) -> Option<u64> {
    if let LedgerError::Damaged(Part::Record { index } | Part::Trace { index })
    | LedgerError::Record { index, .. } = error
    {
        Some(*index)
    } else {
        None
    }
}
