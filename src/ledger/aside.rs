//! What is set aside: sent out and not taken, kept with the reason for people to
//! look at and to send again. Nothing here goes away by itself.

use rusqlite::{Transaction, params};

use crate::core::time::Timestamp;

use super::error::LedgerError;
use super::reader::Reader;

/// Something that a receiver will not take.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct SetAside {
    /// The part of the program that sent it.
    pub consumer: String,
    /// When it was refused.
    pub at: Timestamp,
    /// What the receiver said.
    pub reason: String,
    /// What was sent.
    pub bytes: Vec<u8>,
}

/// Keeps one.
pub(super) fn put(transaction: &Transaction<'_>, aside: &SetAside) -> rusqlite::Result<()> {
    transaction
        .prepare_cached("INSERT INTO set_aside (consumer, at, reason, bytes) VALUES (?1, ?2, ?3, ?4)")?
        .execute(params![aside.consumer, aside.at.micros(), aside.reason, aside.bytes])?;
    Ok(())
}

/// Removes one that was taken after all; one that is gone already is no error.
pub(super) fn take_back(transaction: &Transaction<'_>, id: i64) -> rusqlite::Result<()> {
    transaction.prepare_cached("DELETE FROM set_aside WHERE id = ?1")?.execute([id])?;
    Ok(())
}

impl Reader {
    /// What a consumer has set aside, the oldest first, with the ids to take it back by.
    ///
    /// # Errors
    /// [`LedgerError`] where it cannot be read.
    pub fn set_aside(&self, consumer: &str, limit: usize) -> Result<Vec<(i64, SetAside)>, LedgerError> {
        let read = || -> rusqlite::Result<Vec<(i64, SetAside)>> {
            let mut statement = self.connection.prepare_cached(
                "SELECT id, consumer, at, reason, bytes FROM set_aside WHERE consumer = ?1 ORDER BY id LIMIT ?2",
            )?;
            let rows = statement.query_map(params![consumer, limit], |row| {
                let aside = SetAside {
                    consumer: row.get(1)?,
                    at: Timestamp::from_micros(row.get(2)?),
                    reason: row.get(3)?,
                    bytes: row.get(4)?,
                };
                Ok((row.get(0)?, aside))
            })?;
            rows.collect()
        };
        read().map_err(|source| self.failed("reading what was set aside", source))
    }

    /// How many a consumer has set aside.
    ///
    /// # Errors
    /// [`LedgerError`] where it cannot be read.
    pub fn set_aside_count(&self, consumer: &str) -> Result<u64, LedgerError> {
        self.connection
            .prepare_cached("SELECT count(*) FROM set_aside WHERE consumer = ?1")
            .and_then(|mut statement| statement.query_row([consumer], |row| row.get(0)))
            .map_err(|source| self.failed("counting what was set aside", source))
    }
}
