//! The ledger's outbox as the courier sees it.

use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use tokio::sync::watch;

use super::letters::Content;
use crate::alert::courier::{self, Due, Mark};
use crate::app::ledger::{LedgerHandle, Tide};
use crate::core::record::{self, Body, Notification, Record};
use crate::core::time::Timestamp;
use crate::ledger::{Append, AppendRefused, LedgerError, NewRecord, OutboxChange, Reader, Waiting};

/// Why the outbox could not be used.
#[derive(Debug, thiserror::Error)]
pub(super) enum OutboxError {
    /// It could not be read.
    #[error("the outbox cannot be read")]
    Read(#[from] LedgerError),
    /// It could not be written.
    #[error("the outbox cannot be written")]
    Write(#[from] AppendRefused),
}

/// The outbox. Copies share one connection that reads.
#[derive(Clone, Debug)]
pub(super) struct Outbox {
    ledger: LedgerHandle,
    reader: Arc<Mutex<Reader>>,
    tide: watch::Receiver<Tide>,
}

impl Outbox {
    /// Opens a connection of its own.
    ///
    /// # Errors
    /// The ledger's.
    pub(super) fn open(ledger: LedgerHandle) -> Result<Self, LedgerError> {
        let reader = Arc::new(Mutex::new(Reader::open(ledger.path())?));
        let tide = ledger.tide();
        Ok(Self { ledger, reader, tide })
    }

    /// A connection that reads has no state that a panic could leave half made.
    fn reader(&self) -> MutexGuard<'_, Reader> {
        self.reader.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl courier::Outbox for Outbox {
    type Error = OutboxError;

    async fn due(&self, channel: &str, now: Timestamp, limit: usize) -> Result<Vec<Due>, OutboxError> {
        let letters = self.reader().letters_due_by(channel, now, limit)?;
        std::future::ready(Ok(letters.into_iter().map(due).collect())).await
    }

    async fn next_due(&self, channel: &str, now: Timestamp) -> Result<Option<Timestamp>, OutboxError> {
        let next = self.reader().next_letter_due_by(channel, now)?;
        std::future::ready(Ok(next)).await
    }

    async fn mark(&self, mark: Mark) -> Result<(), OutboxError> {
        self.ledger.append(append(mark)).await?;
        Ok(())
    }

    async fn changed(&mut self) {
        if self.tide.changed().await.is_err() {
            // The ledger is closed, so that nothing comes any more.
            std::future::pending().await
        }
    }
}

fn due(waiting: Waiting) -> Due {
    let Waiting { id, letter, attempts, .. } = waiting;
    let (key, channel, sequence) = (letter.key, letter.channel, letter.sequence);
    Due { id, key, channel, sequence, created: letter.created, attempts, bytes: letter.bytes }
}

/// What became of a try goes into one append: the letter's end and the record of it.
fn append(mark: Mark) -> Append {
    let record = notification(&mark);
    let Mark { letter: Due { id, .. }, at, outcome, .. } = mark;
    let change = match outcome {
        courier::Outcome::Delivered => OutboxChange::Delivered { id, at },
        courier::Outcome::Failed { due, error } => {
            OutboxChange::Failed { id, at, due, error: error.to_string() }
        }
        courier::Outcome::GivenUp { error } => OutboxChange::GivenUp { id, at, error: error.to_string() },
    };
    let records = record.map(|record| NewRecord { record, trace: None }).into_iter().collect();
    Append { records, outbox: vec![change], ..Append::default() }
}

/// The record of a letter that came to its end; a failed try is none.
fn notification(mark: &Mark) -> Option<Record> {
    let (outcome, why) = match &mark.outcome {
        courier::Outcome::Delivered => (record::Outcome::Delivered, None),
        courier::Outcome::GivenUp { error } => (record::Outcome::GivenUp, Some(error.clone())),
        courier::Outcome::Failed { .. } => return None,
    };
    let (key, attempts) = (mark.letter.key.clone(), mark.attempts);
    let content = Content::from_bytes(&mark.letter.bytes)?;
    let (alert, occasion, machine, contact, route) = match content {
        Content::Notice { notice, route } => {
            let number = (notice.alert.number.0 > 0).then_some(notice.alert.number);
            (number, Some(notice.occasion), notice.alert.machine, notice.contact, route)
        }
        Content::Digest { contact, route, .. } => (None, None, None, contact, route),
    };
    let error = why.as_ref().map(ToString::to_string);
    let body = Notification { key, alert, occasion, contact, route, outcome, attempts, error, why };
    Some(Record::new(mark.at, machine, Body::Notification(Box::new(body))))
}
