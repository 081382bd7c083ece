//! Bookmarks: how far a reader of the ledger has come, and what it knows there.
//!
//! A bookmark is written in the same transaction as what its reader caused, so
//! that after a restart nothing is caused twice and nothing left out. What its
//! bytes mean is the reader's own affair.

use rusqlite::{OptionalExtension, Transaction, params};

use super::error::LedgerError;
use super::reader::Reader;

/// The place of a reader and its state there.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Bookmark {
    /// Whose: each reader has one name.
    pub name: String,
    /// In a form of its own.
    pub state: Vec<u8>,
}

/// Puts a bookmark in place of the one of the same name.
pub(super) fn put(transaction: &Transaction<'_>, bookmark: &Bookmark) -> rusqlite::Result<()> {
    transaction
        .prepare_cached(
            "INSERT INTO bookmark (name, state) VALUES (?1, ?2)
             ON CONFLICT (name) DO UPDATE SET state = excluded.state",
        )?
        .execute(params![bookmark.name, bookmark.state])?;
    Ok(())
}

impl Reader {
    /// The state of the bookmark of this name; `None` for a reader that never wrote one.
    ///
    /// # Errors
    /// [`LedgerError`] where it cannot be read.
    pub fn bookmark(&self, name: &str) -> Result<Option<Vec<u8>>, LedgerError> {
        self.connection
            .prepare_cached("SELECT state FROM bookmark WHERE name = ?1")
            .and_then(|mut statement| statement.query_row([name], |row| row.get(0)).optional())
            .map_err(|source| self.failed("reading a bookmark", source))
    }
}
