//! The outbox: letters that are to leave, in the same transaction as the records
//! that caused them, so that a letter is lost only with its cause.
//!
//! A letter is known by its key: a second one with the key of a stored one is
//! ignored. Letters of one sequence leave in order, each when the one before was
//! delivered, given up or withdrawn. A letter that was delivered stays delivered:
//! whoever withdraws it or gives it up in the same instant came too late. One
//! that was given up or withdrawn can still turn out to be delivered.
//!
//! Delivered and withdrawn letters go after [`LETTERS_STAY`]; those given up
//! stay, since somebody may have to be told by other means.

use std::time::Duration;

use rusqlite::{Connection, Row, Transaction, params};

use crate::core::time::Timestamp;

use super::error::LedgerError;
use super::reader::Reader;

/// How long a delivered or withdrawn letter can be looked up, and its key is known.
pub(super) const LETTERS_STAY: Duration = Duration::from_secs(90 * 86_400);

/// Something to be sent.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Letter {
    /// By this it is known again; a second letter with it is ignored.
    pub key: String,
    /// By what it leaves: `email`, `webhook:NAME`, `mqtt` and so on.
    pub channel: String,
    /// Letters of one sequence leave in the order in which they were put here.
    pub sequence: String,
    /// When it was written.
    pub created: Timestamp,
    /// Not to be tried before.
    pub due: Timestamp,
    /// What is to be sent, in a form that its channel knows.
    pub bytes: Vec<u8>,
}

/// What happens to a letter.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum OutboxChange {
    /// It waits from now on.
    Put(Letter),
    /// The receiver has it.
    Delivered {
        /// Which letter.
        id: i64,
        /// Since when.
        at: Timestamp,
    },
    /// A try failed; it waits for another one.
    Failed {
        /// Which letter.
        id: i64,
        /// When it was tried.
        at: Timestamp,
        /// When to try again.
        due: Timestamp,
        /// Why.
        error: String,
    },
    /// The last try failed.
    GivenUp {
        /// Which letter.
        id: i64,
        /// When it was tried.
        at: Timestamp,
        /// Why.
        error: String,
    },
    /// It is needed no longer.
    Withdrawn {
        /// Which letter.
        id: i64,
        /// Since when.
        at: Timestamp,
    },
}

/// A letter that waits.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Waiting {
    /// Number of the letter, in the order in which they were put here; never used again.
    pub id: i64,
    /// The letter; `due` says when to try next.
    pub letter: Letter,
    /// Tries that failed.
    pub attempts: u32,
    /// Why the last one did.
    pub last_error: Option<String>,
}

/// How far a letter is.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum LetterStatus {
    /// It is to be sent.
    Waiting,
    /// The receiver has it.
    Delivered,
    /// It was tried often enough.
    GivenUp,
    /// It was needed no longer.
    Withdrawn,
}

/// A letter of any status.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Posted {
    /// As for [`Waiting`].
    pub id: i64,
    /// The letter.
    pub letter: Letter,
    /// How far it is.
    pub status: LetterStatus,
    /// When it was last tried, or came to its end.
    pub changed: Option<Timestamp>,
    /// Tries that failed; of a letter given up the last one counts.
    pub attempts: u32,
    /// Why the last one did.
    pub last_error: Option<String>,
}

/// Columns in the order of [`posted`].
const COLUMNS: &str =
    "id, key, channel, sequence, created, due, bytes, status, changed, attempts, last_error";
/// Of each sequence of the channel `?1` the letter whose turn it is.
const HEADS: &str = "(SELECT min(id) FROM outbox WHERE status = 0 AND channel = ?1 GROUP BY sequence)";

/// Applies a change.
///
/// # Errors
/// [`LedgerError::UnknownLetter`] where it speaks of one that is not there.
pub(super) fn apply(
    transaction: &Transaction<'_>,
    change: &OutboxChange,
    failed: impl Fn(rusqlite::Error) -> LedgerError,
) -> Result<(), LedgerError> {
    let (id, found) = match change {
        OutboxChange::Put(letter) => return put(transaction, letter).map_err(failed),
        OutboxChange::Delivered { id, at } => {
            let sql = "UPDATE outbox SET changed = iif(status = 1, changed, ?2), status = 1 WHERE id = ?1";
            (*id, execute(transaction, sql, params![id, at.micros()]))
        }
        OutboxChange::Failed { id, at, due, error } => {
            let sql = "UPDATE outbox SET attempts = attempts + 1, changed = ?2, due = ?3, last_error = ?4
                       WHERE id = ?1 AND status = 0";
            (*id, execute(transaction, sql, params![id, at.micros(), due.micros(), error]))
        }
        OutboxChange::GivenUp { id, at, error } => {
            let sql = "UPDATE outbox SET attempts = attempts + 1, changed = ?2, last_error = ?3, status = 2
                       WHERE id = ?1 AND status = 0";
            (*id, execute(transaction, sql, params![id, at.micros(), error]))
        }
        OutboxChange::Withdrawn { id, at } => {
            let sql = "UPDATE outbox SET changed = ?2, status = 3 WHERE id = ?1 AND status = 0";
            (*id, execute(transaction, sql, params![id, at.micros()]))
        }
    };
    if found.map_err(&failed)? > 0 || exists(transaction, id).map_err(&failed)? {
        Ok(())
    } else {
        Err(LedgerError::UnknownLetter { id })
    }
}

fn put(transaction: &Transaction<'_>, letter: &Letter) -> rusqlite::Result<()> {
    transaction
        .prepare_cached(
            "INSERT INTO outbox (key, channel, sequence, created, due, bytes) VALUES (?1, ?2, ?3, ?4, ?5, ?6)
             ON CONFLICT (key) DO NOTHING",
        )?
        .execute(params![
            letter.key,
            letter.channel,
            letter.sequence,
            letter.created.micros(),
            letter.due.micros(),
            letter.bytes
        ])?;
    Ok(())
}

fn execute(
    transaction: &Transaction<'_>,
    sql: &str,
    values: &[&dyn rusqlite::ToSql],
) -> rusqlite::Result<usize> {
    transaction.prepare_cached(sql)?.execute(values)
}

fn exists(transaction: &Transaction<'_>, id: i64) -> rusqlite::Result<bool> {
    transaction.prepare_cached("SELECT 1 FROM outbox WHERE id = ?1")?.exists([id])
}

/// Deletes at most `some` delivered and withdrawn letters that ended before the
/// instant; gives how many.
pub(super) fn tidy(connection: &Connection, before: Timestamp, some: usize) -> rusqlite::Result<usize> {
    connection
        .prepare_cached(
            "DELETE FROM outbox WHERE id IN
             (SELECT id FROM outbox WHERE status IN (1, 3) AND changed < ?1 ORDER BY changed LIMIT ?2)",
        )?
        .execute(params![before.micros(), some])
}

impl Reader {
    /// The letters of one channel to be sent now, the longest due first: of each sequence only
    /// the first that waits, and that only where it is due itself.
    ///
    /// # Errors
    /// [`LedgerError`] where they cannot be read.
    pub fn letters_due_by(
        &self,
        channel: &str,
        now: Timestamp,
        limit: usize,
    ) -> Result<Vec<Waiting>, LedgerError> {
        let sql = format!(
            "SELECT {COLUMNS} FROM outbox WHERE id IN {HEADS} AND due <= ?2 ORDER BY due, id LIMIT ?3"
        );
        let letters = self.posted(&sql, params![channel, now.micros(), limit])?;
        let waiting =
            |Posted { id, letter, attempts, last_error, .. }| Waiting { id, letter, attempts, last_error };
        Ok(letters.into_iter().map(waiting).collect())
    }

    /// When [`Reader::letters_due_by`] has something more for this channel after `after`; `None`
    /// where nothing waits beyond what is due by then.
    ///
    /// # Errors
    /// [`LedgerError`] where it cannot be read.
    pub fn next_letter_due_by(
        &self,
        channel: &str,
        after: Timestamp,
    ) -> Result<Option<Timestamp>, LedgerError> {
        let sql = format!("SELECT min(due) FROM outbox WHERE id IN {HEADS} AND due > ?2");
        let due: Option<i64> = self
            .connection
            .prepare_cached(&sql)
            .and_then(|mut statement| statement.query_row(params![channel, after.micros()], |row| row.get(0)))
            .map_err(|source| self.failed("reading the outbox", source))?;
        Ok(due.map(Timestamp::from_micros))
    }

    /// Letters of every status, the newest first.
    ///
    /// # Errors
    /// [`LedgerError`] where they cannot be read.
    pub fn letters(&self, limit: usize) -> Result<Vec<Posted>, LedgerError> {
        self.posted(&format!("SELECT {COLUMNS} FROM outbox ORDER BY id DESC LIMIT ?1"), params![limit])
    }

    /// The letters that wait, of one sequence or of all, in order.
    ///
    /// # Errors
    /// [`LedgerError`] where they cannot be read.
    pub fn letters_waiting(&self, sequence: Option<&str>) -> Result<Vec<Posted>, LedgerError> {
        let sql = format!(
            "SELECT {COLUMNS} FROM outbox WHERE status = 0 AND (?1 IS NULL OR sequence = ?1) ORDER BY id"
        );
        self.posted(&sql, params![sequence])
    }

    /// How many letters wait in each channel that has some.
    ///
    /// # Errors
    /// [`LedgerError`] where they cannot be counted.
    pub fn letters_waiting_by_channel(&self) -> Result<Vec<(String, u64)>, LedgerError> {
        let sql = "SELECT channel, count(*) FROM outbox WHERE status = 0 GROUP BY channel ORDER BY channel";
        self.connection
            .prepare_cached(sql)
            .and_then(|mut statement| {
                statement.query_map([], |row| Ok((row.get(0)?, row.get(1)?)))?.collect()
            })
            .map_err(|source| self.failed("reading the outbox", source))
    }

    /// The letter with this key.
    ///
    /// # Errors
    /// [`LedgerError`] where it cannot be read.
    pub fn letter(&self, key: &str) -> Result<Option<Posted>, LedgerError> {
        Ok(self.posted(&format!("SELECT {COLUMNS} FROM outbox WHERE key = ?1"), params![key])?.pop())
    }

    fn posted(&self, sql: &str, values: &[&dyn rusqlite::ToSql]) -> Result<Vec<Posted>, LedgerError> {
        self.connection
            .prepare_cached(sql)
            .and_then(|mut statement| statement.query_map(values, posted)?.collect())
            .map_err(|source| self.failed("reading the outbox", source))
    }
}

fn posted(row: &Row<'_>) -> rusqlite::Result<Posted> {
    let time = |place| row.get(place).map(Timestamp::from_micros);
    let status = match row.get::<_, i64>(7)? {
        1 => LetterStatus::Delivered,
        2 => LetterStatus::GivenUp,
        3 => LetterStatus::Withdrawn,
        _ => LetterStatus::Waiting,
    };
    Ok(Posted {
        id: row.get(0)?,
        letter: Letter {
            key: row.get(1)?,
            channel: row.get(2)?,
            sequence: row.get(3)?,
            created: time(4)?,
            due: time(5)?,
            bytes: row.get(6)?,
        },
        status,
        changed: row.get::<_, Option<i64>>(8)?.map(Timestamp::from_micros),
        attempts: row.get(9)?,
        last_error: row.get(10)?,
    })
}
