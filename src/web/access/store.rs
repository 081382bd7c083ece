//! The store of accounts, browser sessions and tokens: one SQLite file beside the ledger.
//!
//! It is not part of the ledger, which is handed out: hashes of passwords and live sessions are
//! nobody's business. Its mode is 0600. What happens to it is on record in the ledger all the
//! same: each change puts its event into the table `pending` **in the same transaction**, and
//! whoever keeps the record takes it from there, exactly once, by the bookmark [`Recorded`].
//!
//! Format 1. Times are µs since the epoch.
//!
//! | table | holds |
//! |---|---|
//! | `meta` | one row: version of the format, 16 random bytes that tell this store from every other |
//! | `account` | name, shown name, role, language, scale, password as a PHC string of argon2id, whether it must be changed, until when it can be used (one-time secrets), disabled, when made, last login |
//! | `session` | SHA-256 of the browser's secret, account, when begun, when last seen |
//! | `token` | name, SHA-256 of the secret, role, when made, until when, revoked, last use |
//! | `wrong` | account as typed, alone (tries from everywhere) or with the address behind a blank (from there), wrong tries, since when, locked until, how often locked |
//! | `pending` | events that are not on record yet, as JSON of the record |
//!
//! The holder of the ledger's lock is the only one who opens it.

mod accounts;
mod pending;
mod sessions;
mod tokens;
mod wrong;

use std::fs::{self, OpenOptions};
use std::io;
use std::os::unix::fs::{OpenOptionsExt, PermissionsExt};
use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::{Connection, OptionalExtension, params};

pub use accounts::{Account, Stored};
pub use pending::{PENDING_MAX, Pending, Recorded};
pub use sessions::SESSIONS_MAX;
pub use tokens::{TOKENS_MAX, Token};
pub use wrong::Lock;

use super::secret;
use crate::core::time::Timestamp;

/// Version of the format.
const FORMAT: u32 = 1;
/// Mode of the file.
const MODE: u32 = 0o600;
/// Longest wait for another process that has the file.
const BUSY_MAX: Duration = Duration::from_secs(5);

const SCHEMA: &str = "
CREATE TABLE meta (format INTEGER NOT NULL, id BLOB NOT NULL) STRICT;
CREATE TABLE account (
    name TEXT PRIMARY KEY, shown TEXT NOT NULL, role TEXT NOT NULL, language TEXT NOT NULL,
    scale TEXT NOT NULL, hash TEXT NOT NULL, must_change INTEGER NOT NULL, secret_until INTEGER,
    disabled INTEGER NOT NULL, made INTEGER NOT NULL, last_login INTEGER
) STRICT, WITHOUT ROWID;
CREATE TABLE session (
    hash BLOB PRIMARY KEY, account TEXT NOT NULL, made INTEGER NOT NULL, seen INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX session_account ON session (account, made);
CREATE TABLE token (
    name TEXT PRIMARY KEY, hash BLOB NOT NULL UNIQUE, role TEXT NOT NULL, made INTEGER NOT NULL,
    until INTEGER NOT NULL, revoked INTEGER NOT NULL, seen INTEGER
) STRICT, WITHOUT ROWID;
CREATE TABLE wrong (
    account TEXT PRIMARY KEY, times INTEGER NOT NULL, since INTEGER NOT NULL,
    locked_until INTEGER NOT NULL, locks INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
CREATE TABLE pending (id INTEGER PRIMARY KEY AUTOINCREMENT, at INTEGER NOT NULL, event TEXT NOT NULL) STRICT;
";

/// Why the store cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// The file cannot be made or looked at.
    #[error("cannot open the accounts «{}»", path.display())]
    File {
        /// The file.
        path: PathBuf,
        /// Why.
        #[source]
        source: io::Error,
    },
    /// Others may read the file.
    #[error("the accounts «{}» are open to others (mode {mode:03o}); chmod 600 it", path.display())]
    Exposed {
        /// The file.
        path: PathBuf,
        /// Its mode.
        mode: u32,
    },
    /// A version of a later program.
    #[error("the accounts «{}» have format {found}, which is newer than {FORMAT}", path.display())]
    Version {
        /// The file.
        path: PathBuf,
        /// Version found.
        found: u32,
    },
    /// The database fails.
    #[error("{doing} failed at the accounts «{}»", path.display())]
    Database {
        /// The file.
        path: PathBuf,
        /// What was done.
        doing: &'static str,
        /// Why.
        #[source]
        source: rusqlite::Error,
    },
    /// The system gives no random bytes.
    #[error("the system gives no random bytes")]
    Random(#[from] getrandom::Error),
    /// So many events wait to be put on record that nothing more may happen unrecorded.
    #[error("{PENDING_MAX} events of the accounts wait to be put on record")]
    Unrecorded,
}

/// The open store.
#[derive(Debug)]
pub struct Store {
    path: PathBuf,
    connection: Connection,
    id: Vec<u8>,
    /// Whether events were added since somebody last asked.
    noted: bool,
}

impl Store {
    /// Opens the store at `path`; makes one where there is none.
    ///
    /// # Errors
    /// [`StoreError`] where it cannot be used.
    pub fn open(path: &Path) -> Result<Self, StoreError> {
        let file = |source| StoreError::File { path: path.to_owned(), source };
        // Closed to others from its first instant; the database keeps the mode for its journal.
        match OpenOptions::new().write(true).create_new(true).mode(MODE).open(path) {
            Ok(_) => {}
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {}
            Err(error) => return Err(file(error)),
        }
        let mode = fs::metadata(path).map_err(file)?.permissions().mode() & 0o777;
        if mode & 0o077 != 0 {
            return Err(StoreError::Exposed { path: path.to_owned(), mode });
        }
        let failed = |source| StoreError::Database { path: path.to_owned(), doing: "opening", source };
        let mut connection = Connection::open(path).map_err(failed)?;
        connection.busy_timeout(BUSY_MAX).map_err(failed)?;
        connection.execute_batch("PRAGMA synchronous = FULL; PRAGMA secure_delete = ON;").map_err(failed)?;
        let transaction = connection.transaction().map_err(failed)?;
        let made: Option<String> = transaction
            .query_row("SELECT name FROM sqlite_schema WHERE name = 'meta'", [], |row| row.get(0))
            .optional()
            .map_err(failed)?;
        if made.is_none() {
            transaction.execute_batch(SCHEMA).map_err(failed)?;
            let id = secret::random::<16>()?;
            transaction
                .execute("INSERT INTO meta (format, id) VALUES (?1, ?2)", params![FORMAT, id])
                .map_err(failed)?;
        }
        let (found, id): (u32, Vec<u8>) = transaction
            .query_row("SELECT format, id FROM meta", [], |row| Ok((row.get(0)?, row.get(1)?)))
            .map_err(failed)?;
        if found > FORMAT {
            return Err(StoreError::Version { path: path.to_owned(), found });
        }
        transaction.commit().map_err(failed)?;
        Ok(Self { path: path.to_owned(), connection, id, noted: true })
    }

    /// Whether events were added since this was last asked; at first there may be old ones.
    pub(super) fn take_noted(&mut self) -> bool {
        std::mem::take(&mut self.noted)
    }

    fn failed(&self, doing: &'static str) -> impl Fn(rusqlite::Error) -> StoreError + use<> {
        let path = self.path.clone();
        move |source| StoreError::Database { path: path.clone(), doing, source }
    }
}

/// A column that holds a word of a closed list.
fn word<T: std::str::FromStr>(row: &rusqlite::Row<'_>, column: usize) -> rusqlite::Result<T>
where
    T::Err: std::error::Error + Send + Sync + 'static,
{
    let text: String = row.get(column)?;
    text.parse().map_err(|error| {
        rusqlite::Error::FromSqlConversionFailure(column, rusqlite::types::Type::Text, Box::new(error))
    })
}

fn instant(row: &rusqlite::Row<'_>, column: usize) -> rusqlite::Result<Timestamp> {
    row.get(column).map(Timestamp::from_micros)
}

fn maybe_instant(row: &rusqlite::Row<'_>, column: usize) -> rusqlite::Result<Option<Timestamp>> {
    row.get::<_, Option<i64>>(column).map(|micros| micros.map(Timestamp::from_micros))
}

#[cfg(test)]
mod tests;
