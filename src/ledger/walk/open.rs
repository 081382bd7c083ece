//! Opening a ledger so that nothing is written to it or beside it.

use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::config::DbConfig;
use rusqlite::{Connection, OpenFlags};

use crate::ledger::access::present;
use crate::ledger::error::LedgerError;
use crate::ledger::schema::{Header, beside, check_header, escape, nothing_in};

/// How long a connection waits for another one, such as a backup.
const BUSY_WAIT: Duration = Duration::from_secs(1);

/// How connections to the file are made.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
enum Way {
    /// Nobody has the file open, and no log waits beside it: it is read as it is.
    AsItIs,
    /// A log waits beside it, from a process that was killed or on a copy, without its index:
    /// each connection makes an index in its own memory. Without locks, since nobody writes.
    WithItsLog,
    /// Somebody may have it open: with them, by their index.
    WithOthers,
}

/// The file under audit.
#[derive(Clone, Debug)]
pub(super) struct Source {
    pub(super) path: PathBuf,
    way: Way,
}

impl Source {
    pub(super) fn of(path: &Path) -> Result<Self, LedgerError> {
        present(path)?;
        if path.is_dir() {
            return Err(LedgerError::NotALedger { path: path.to_path_buf(), source: None });
        }
        let log = beside(path, "-wal").metadata().is_ok_and(|metadata| metadata.len() > 0);
        let way = match (log, beside(path, "-shm").exists()) {
            (_, true) => Way::WithOthers,
            (true, false) => Way::WithItsLog,
            (false, false) => Way::AsItIs,
        };
        Ok(Self { path: path.to_path_buf(), way })
    }

    /// A connection that sees one state of the file until it is closed, and the file's format.
    pub(super) fn open(&self) -> Result<(Connection, i64), LedgerError> {
        let failed = |source| LedgerError::from_database(&self.path, "opening it", source);
        let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let connection = match self.way {
            Way::AsItIs => {
                let uri = format!("file:{}?immutable=1", escape(&self.path));
                Connection::open_with_flags(uri, flags | OpenFlags::SQLITE_OPEN_URI)
            }
            Way::WithItsLog => Connection::open_with_flags_and_vfs(&self.path, flags, "unix-none"),
            Way::WithOthers => Connection::open_with_flags(&self.path, flags),
        }
        .map_err(failed)?;
        // The last one to close a log would work it into the file.
        connection.set_db_config(DbConfig::SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, true).map_err(failed)?;
        connection.busy_timeout(BUSY_WAIT).map_err(failed)?;
        if self.way == Way::WithItsLog {
            connection.pragma_update(None, "locking_mode", "EXCLUSIVE").map_err(failed)?;
        }
        let format = match check_header(&connection, &self.path)? {
            Header::Empty => return Err(nothing_in(&self.path)),
            Header::Ledger { format } => format,
        };
        // The first read after this fixes the state that is seen.
        connection
            .execute_batch("PRAGMA cache_size = -16384; BEGIN; SELECT count(*) FROM sqlite_schema;")
            .map_err(failed)?;
        Ok((connection, format))
    }
}
