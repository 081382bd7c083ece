//! Signed checkpoints, each as the bytes of its note (see [`crate::core::checkpoint`]).
//!
//! They are stored in the order in which they were made and never changed. The
//! instant beside one is the gateway's own word; only what the note signs is proof.

use rusqlite::{OptionalExtension, Row, Transaction, params};
use serde::{Deserialize, Serialize};

use crate::core::time::Timestamp;

use super::error::LedgerError;
use super::reader::Reader;

/// A checkpoint as it is stored.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct StoredCheckpoint {
    /// When it was made, by the gateway's clock.
    pub at: Timestamp,
    /// Number of records it speaks of.
    pub size: u64,
    /// The signed note, text and signatures.
    pub note: String,
}

/// Stores a checkpoint.
pub(super) fn put(transaction: &Transaction<'_>, checkpoint: &StoredCheckpoint) -> rusqlite::Result<()> {
    transaction
        .prepare_cached("INSERT INTO checkpoint (at, size, note) VALUES (?1, ?2, ?3)")?
        .execute(params![checkpoint.at.micros(), checkpoint.size, checkpoint.note])?;
    Ok(())
}

fn stored(row: &Row<'_>) -> rusqlite::Result<StoredCheckpoint> {
    Ok(StoredCheckpoint { at: Timestamp::from_micros(row.get(0)?), size: row.get(1)?, note: row.get(2)? })
}

impl Reader {
    /// Every checkpoint, oldest first.
    ///
    /// # Errors
    /// [`LedgerError`] where they cannot be read.
    pub fn checkpoints(&self) -> Result<Vec<StoredCheckpoint>, LedgerError> {
        let read = || -> rusqlite::Result<Vec<StoredCheckpoint>> {
            let mut rows =
                self.connection.prepare_cached("SELECT at, size, note FROM checkpoint ORDER BY id")?;
            rows.query_map([], stored)?.collect()
        };
        read().map_err(|source| self.failed("reading checkpoints", source))
    }

    /// The newest checkpoint; `None` where none was ever made.
    ///
    /// # Errors
    /// [`LedgerError`] where it cannot be read.
    pub fn newest_checkpoint(&self) -> Result<Option<StoredCheckpoint>, LedgerError> {
        self.connection
            .prepare_cached("SELECT at, size, note FROM checkpoint ORDER BY id DESC LIMIT 1")
            .and_then(|mut statement| statement.query_row([], stored).optional())
            .map_err(|source| self.failed("reading the newest checkpoint", source))
    }
}
