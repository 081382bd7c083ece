//! The tables of a ledger, and how a file is told to be one.
//!
//! Format 2. The header of the SQLite file carries [`APPLICATION`] and, as its
//! user version, the format. Times are µs since the epoch.
//!
//! | table | since | holds |
//! |---|---|---|
//! | `record` | 1 | what is kept for ever: bytes, their RFC 6962 leaf hash, kind; from index 0 without a hole; triggers forbid change |
//! | `trace` | 1 | the readings a cycle was judged on, for ever, see [`super::blocks`] |
//! | `cycle` | 1 | derived from `record`: what the history is looked up by |
//! | `machine`, `channel` | 1 | names and the numbers this ledger uses for them |
//! | `snapshot` | 1 | the newest state of each machine |
//! | `tail` | 1 | inputs that are in no block yet, see [`super::tail`] |
//! | `block` | 1 | readings by channel and time, see [`super::blocks`] |
//! | `round` | 2 | which readings of which blocks each round of compaction wrote; a round is named by the last input it took, see [`super::feed`] |
//! | `bookmark` | 2 | how far each reader of the ledger is, in bytes of its own, see [`super::bookmark`] |
//! | `outbox` | 2 | letters to people and machines outside, waiting or ended, see [`super::outbox`] |
//! | `set_aside` | 2 | what a receiver will not take, kept for people, see [`super::aside`] |
//! | `checkpoint` | 2 | signed checkpoints; triggers forbid change, see [`super::checkpoints`] |
//! | `event` | 2 | derived from `record`: all but cycles by kind and time, see [`super::events`] |
//! | `about` | 2 | derived from `record`: which records speak of an alert or of a record, see [`super::events`] |
//! | `day` | 2 | derived from `record`: each machine's day in numbers, see [`super::days`] |
//! | `subtree` | 2 | derived from `record`: roots of subtrees, of which proofs are made, see [`super::subtrees`] |
//! | `state` | 1 | one row: where the ledger stands; since 2 with `compacted`, the end of the last whole round |
//!
//! A file of format 1 is brought to format 2 when it is opened for writing, in
//! one transaction, see [`super::migrate`], after a copy was made of it where there is
//! room; a reader takes both. New ledgers are made the same way, so that there is one
//! form of each.

use std::path::Path;
use std::time::Duration;

use rusqlite::{Connection, OpenFlags, TransactionBehavior};

use crate::core::cycle::verdict::Verdict;
use crate::core::merkle::Frontier;

use super::access::present;
use super::error::LedgerError;
use super::failpoint::{Point, reach};
use super::migrate;
use super::recover::look_around;

/// "rins" in ASCII, in the header of every ledger.
const APPLICATION: i64 = 0x7269_6e73;
/// Format written by this program.
pub(super) const FORMAT: i64 = 2;
/// How long a connection waits for another one, such as a backup.
const BUSY_WAIT: Duration = Duration::from_secs(1);

/// The tables of format 1, as they were released.
const TABLES: &str = "
CREATE TABLE machine (id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE) STRICT;
CREATE TABLE channel (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL UNIQUE,
    compacted INTEGER NOT NULL DEFAULT 0, -- inputs up to this number are in blocks, or were ticks
    newest INTEGER                        -- event time of the newest reading in a block
) STRICT;
CREATE TABLE record (
    idx INTEGER PRIMARY KEY CHECK (idx >= 0),
    kind TEXT NOT NULL,
    leaf BLOB NOT NULL CHECK (length(leaf) = 32),
    bytes BLOB NOT NULL
) STRICT;
CREATE TRIGGER record_stays BEFORE UPDATE ON record BEGIN SELECT RAISE(ABORT, 'records are never changed'); END;
CREATE TRIGGER record_is_kept BEFORE DELETE ON record BEGIN SELECT RAISE(ABORT, 'records are never deleted'); END;
CREATE TRIGGER record_follows BEFORE INSERT ON record
    WHEN NEW.idx <> (SELECT coalesce(max(idx) + 1, 0) FROM record)
    BEGIN SELECT RAISE(ABORT, 'records are appended without a hole'); END;
CREATE TABLE trace (idx INTEGER PRIMARY KEY REFERENCES record (idx), bytes BLOB NOT NULL) STRICT;
CREATE TRIGGER trace_stays BEFORE UPDATE ON trace BEGIN SELECT RAISE(ABORT, 'traces are never changed'); END;
CREATE TRIGGER trace_is_kept BEFORE DELETE ON trace BEGIN SELECT RAISE(ABORT, 'traces are never deleted'); END;
CREATE TABLE cycle (
    idx INTEGER PRIMARY KEY REFERENCES record (idx),
    machine INTEGER NOT NULL REFERENCES machine (id),
    rinse_started INTEGER NOT NULL,
    verdict INTEGER NOT NULL,             -- 0 cold, 1 brief, 2 weak, 3 unproven, 4 narrow, 5 pass
    rinse_min_c REAL
) STRICT;
CREATE INDEX cycle_of_machine ON cycle (machine, verdict, rinse_started);
CREATE INDEX cycle_of_site ON cycle (verdict, rinse_started);
CREATE TABLE snapshot (
    machine INTEGER PRIMARY KEY REFERENCES machine (id),
    after INTEGER NOT NULL,
    state BLOB NOT NULL
) STRICT;
CREATE TABLE tail (
    first INTEGER PRIMARY KEY,            -- number of the first input
    last INTEGER NOT NULL,
    received INTEGER NOT NULL,            -- `now` of the first input
    bytes BLOB NOT NULL
) STRICT;
CREATE TABLE block (
    id INTEGER PRIMARY KEY,
    channel INTEGER NOT NULL REFERENCES channel (id),
    first INTEGER NOT NULL,
    last INTEGER NOT NULL,
    received_first INTEGER NOT NULL,
    received_last INTEGER NOT NULL,
    readings INTEGER NOT NULL,
    bytes BLOB NOT NULL
) STRICT;
CREATE INDEX block_by_time ON block (channel, first);
CREATE INDEX block_by_age ON block (received_last);
CREATE TABLE state (
    only_row INTEGER PRIMARY KEY CHECK (only_row = 1),
    next_input INTEGER NOT NULL,          -- inputs are numbered from 1
    settled INTEGER NOT NULL,
    tree_size INTEGER NOT NULL,
    frontier BLOB NOT NULL,               -- as core::merkle stores it
    last_recorded INTEGER,
    clean_stop INTEGER NOT NULL,
    configuration_sha256 TEXT,
    repeats INTEGER NOT NULL,             -- readings left out of blocks: same channel, time and value
    contradictions INTEGER NOT NULL       -- readings kept beside another value of the same channel and time
) STRICT;
INSERT INTO state VALUES (1, 1, 0, 0, zeroblob(8), NULL, 1, NULL, 0, 0);
";

/// Where a ledger stands.
#[derive(Clone, PartialEq, Debug)]
pub(super) struct State {
    pub(super) next_input: u64,
    pub(super) settled: u64,
    /// Readings of inputs up to this number are in blocks, all of them.
    pub(super) compacted: u64,
    pub(super) tree: Frontier,
    pub(super) last_recorded: Option<i64>,
    pub(super) clean_stop: bool,
    pub(super) configuration_sha256: Option<String>,
    pub(super) repeats: u64,
    pub(super) contradictions: u64,
}

/// Says what is wrong with the place before anything is made there.
pub(super) fn check_place(path: &Path) -> Result<(), LedgerError> {
    let directory = directory_of(path);
    if !directory.is_dir() {
        return Err(LedgerError::DirectoryMissing { directory: directory.to_path_buf() });
    }
    if path.is_dir() {
        return Err(LedgerError::NotALedger { path: path.to_path_buf(), source: None });
    }
    // The superuser writes to files that are marked read-only; whoever marked one meant it.
    if path.metadata().is_ok_and(|metadata| metadata.permissions().readonly()) {
        return Err(LedgerError::ReadOnly { path: path.to_path_buf(), source: None });
    }
    Ok(())
}

/// The directory of a file.
pub(super) fn directory_of(path: &Path) -> &Path {
    match path.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        Some(_) | None => Path::new("."),
    }
}

/// What is made of a ledger of an older format before it is brought to this one.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Copy {
    /// A copy beside it, where there is room: the way back to the program before.
    Kept,
    /// None: the file is a copy itself.
    None,
}

/// Opens the file for writing; makes the ledger where there is none yet, and
/// then says `true`. Reads a few pages only, however long the ledger is; all of it
/// where a copy is made of one of an older format.
pub(super) fn open_to_write(path: &Path) -> Result<(Connection, bool), LedgerError> {
    open_to_write_with(path, Copy::Kept)
}

/// As [`open_to_write`], with or without that copy.
pub(super) fn open_to_write_with(path: &Path, copy: Copy) -> Result<(Connection, bool), LedgerError> {
    let failed = |step| move |source| LedgerError::from_database(path, step, source);
    let flags =
        OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_CREATE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let mut connection = Connection::open_with_flags(path, flags).map_err(failed("opening it"))?;
    connection.busy_timeout(BUSY_WAIT).map_err(failed("opening it"))?;
    let header = check_header(&connection, path)?;
    connection
        .execute_batch(
            "PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL; PRAGMA foreign_keys = ON;
             PRAGMA journal_size_limit = 67108864; PRAGMA cache_size = -4096;",
        )
        .map_err(failed("setting it up"))?;
    match header {
        Header::Empty => {
            make(&mut connection).map_err(failed("making its tables"))?;
            // The name of a new file is on the device only when its directory is.
            let directory = directory_of(path);
            std::fs::File::open(directory)
                .and_then(|directory| directory.sync_all())
                .map_err(|_| LedgerError::DirectoryMissing { directory: directory.to_path_buf() })?;
        }
        Header::Ledger { format: FORMAT } => {}
        Header::Ledger { format } => {
            if copy == Copy::Kept {
                migrate::keep_copy(path, format);
            }
            let migrated = migrate_all(&mut connection);
            migrated
                .map_err(|source| look_around(&connection, failed("bringing it to this format")(source)))?;
            tracing::info!(path = %path.display(), from = format, to = FORMAT, "the ledger was brought to a newer format");
        }
    }
    Ok((connection, header == Header::Empty))
}

/// Opens the file for reading only. Works beside a running writer, after one
/// was killed, and on a copy in a place that takes no writes.
pub(super) fn open_to_read(path: &Path) -> Result<Connection, LedgerError> {
    present(path)?;
    if path.is_dir() {
        return Err(LedgerError::NotALedger { path: path.to_path_buf(), source: None });
    }
    let failed = |source| LedgerError::from_database(path, "opening it", source);
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let connection = Connection::open_with_flags(path, flags).map_err(failed)?;
    connection.busy_timeout(BUSY_WAIT).map_err(failed)?;
    let connection = match check_header(&connection, path) {
        Err(LedgerError::Device { .. } | LedgerError::ReadOnly { .. }) if !beside(path, "-wal").exists() => {
            // No index of the log can be made here, and there is no log: nobody writes.
            let uri = format!("file:{}?immutable=1", escape(path));
            Connection::open_with_flags(uri, flags | OpenFlags::SQLITE_OPEN_URI).map_err(failed)?
        }
        Err(error) => return Err(error),
        Ok(_) => connection,
    };
    as_newest(connection, path)
}

/// Opens a file that nobody writes and that has no log, such as a backup: nothing is made beside it.
pub(super) fn open_still(path: &Path) -> Result<Connection, LedgerError> {
    present(path)?;
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let uri = format!("file:{}?immutable=1", escape(path));
    let opened = Connection::open_with_flags(uri, flags | OpenFlags::SQLITE_OPEN_URI);
    as_newest(opened.map_err(|source| LedgerError::from_database(path, "opening it", source))?, path)
}

/// What a database without anything in it is.
pub(super) fn nothing_in(path: &Path) -> LedgerError {
    let path = path.to_path_buf();
    let pages = path.metadata().is_ok_and(|metadata| metadata.len() > 0);
    if pages && !beside(&path, "-wal").metadata().is_ok_and(|log| log.len() > 0) {
        LedgerError::LogMissing { path }
    } else {
        LedgerError::NotALedger { path, source: None }
    }
}

/// Whether a lone file was written while a service ran, and no log lies beside it: what the service recorded later
/// is not in it. A backup is so too. Not known of one that cannot be read.
#[must_use]
pub fn ended_without_its_log(path: &Path) -> bool {
    if beside(path, "-wal").exists() || beside(path, "-shm").exists() {
        return false;
    }
    let clean = |connection: &Connection| -> rusqlite::Result<bool> {
        connection.query_row("SELECT clean_stop FROM state", [], |row| row.get(0))
    };
    open_still(path).is_ok_and(|connection| clean(&connection).is_ok_and(|clean| !clean))
}

/// Lets a connection that only reads see an older format as the newest.
fn as_newest(connection: Connection, path: &Path) -> Result<Connection, LedgerError> {
    match check_header(&connection, path)? {
        Header::Empty => return Err(nothing_in(path)),
        Header::Ledger { format: FORMAT } => {}
        Header::Ledger { .. } => migrate::read_as_format_2(&connection)
            .map_err(|source| LedgerError::from_database(path, "opening it", source))?,
    }
    Ok(connection)
}

fn make(connection: &mut Connection) -> rusqlite::Result<()> {
    let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
    transaction.execute_batch(&format!("PRAGMA application_id = {APPLICATION}; {TABLES}"))?;
    migrate::to_format_2(&transaction)?;
    transaction.pragma_update(None, "user_version", FORMAT)?;
    transaction.commit()
}

/// All steps in one transaction: after a failure the file is what it was.
fn migrate_all(connection: &mut Connection) -> rusqlite::Result<()> {
    let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
    migrate::to_format_2(&transaction)?;
    transaction.pragma_update(None, "user_version", FORMAT)?;
    reach(Point::BeforeMigration);
    transaction.commit()?;
    reach(Point::AfterMigration);
    Ok(())
}

/// The file of this name with an ending more.
#[must_use]
pub fn beside(path: &Path, ending: &str) -> std::path::PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(ending);
    name.into()
}

pub(super) fn escape(path: &Path) -> String {
    path.to_string_lossy().replace('%', "%25").replace('?', "%3f").replace('#', "%23")
}

/// What the header of a file says.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Header {
    /// Nothing yet, so that a ledger can be made in it.
    Empty,
    /// A ledger of a format that this program knows.
    Ledger { format: i64 },
}

pub(super) fn check_header(connection: &Connection, path: &Path) -> Result<Header, LedgerError> {
    let ask = |pragma: &str| {
        connection
            .query_row(pragma, [], |row| row.get::<_, i64>(0))
            .map_err(|source| LedgerError::from_database(path, "reading its header", source))
    };
    let (application, format) = (ask("PRAGMA application_id")?, ask("PRAGMA user_version")?);
    if application == 0 && format == 0 && ask("SELECT count(*) FROM sqlite_schema")? == 0 {
        return Ok(Header::Empty);
    }
    if application != APPLICATION {
        return Err(LedgerError::NotALedger { path: path.to_path_buf(), source: None });
    }
    if format > FORMAT {
        return Err(LedgerError::NewerFormat { found: format, known: FORMAT });
    }
    if format < 1 {
        return Err(LedgerError::NotALedger { path: path.to_path_buf(), source: None });
    }
    Ok(Header::Ledger { format })
}

/// Reads the row that says where the ledger stands; `None` where it makes no sense.
pub(super) fn read_state(connection: &Connection) -> rusqlite::Result<Option<State>> {
    connection
        .prepare_cached(
            "SELECT next_input, settled, tree_size, frontier, last_recorded, clean_stop,
                    configuration_sha256, repeats, contradictions, compacted FROM state",
        )?
        .query_row([], |row| {
            let size: u64 = row.get(2)?;
            let tree = Frontier::from_bytes(row.get_ref(3)?.as_blob()?).ok();
            let Some(tree) = tree.filter(|tree| tree.size() == size) else { return Ok(None) };
            Ok(Some(State {
                next_input: row.get(0)?,
                settled: row.get(1)?,
                tree,
                last_recorded: row.get(4)?,
                clean_stop: row.get(5)?,
                configuration_sha256: row.get(6)?,
                repeats: row.get(7)?,
                contradictions: row.get(8)?,
                compacted: row.get(9)?,
            }))
        })
}

/// Writes the row back.
pub(super) fn write_state(connection: &Connection, state: &State) -> rusqlite::Result<()> {
    connection
        .prepare_cached(
            "UPDATE state SET next_input = ?1, settled = ?2, tree_size = ?3, frontier = ?4, last_recorded = ?5,
                    clean_stop = ?6, configuration_sha256 = ?7, repeats = ?8, contradictions = ?9,
                    compacted = ?10",
        )?
        .execute(rusqlite::params![
            state.next_input,
            state.settled,
            state.tree.size(),
            state.tree.to_bytes(),
            state.last_recorded,
            state.clean_stop,
            state.configuration_sha256,
            state.repeats,
            state.contradictions,
            state.compacted,
        ])?;
    Ok(())
}

/// The verdict of a number in the `cycle` table.
pub(super) fn verdict_of(number: i64) -> Option<Verdict> {
    Verdict::ALL.into_iter().find(|verdict| verdict_number(*verdict) == number)
}

/// The number of a verdict in the `cycle` table.
pub(super) const fn verdict_number(verdict: Verdict) -> i64 {
    match verdict {
        Verdict::Cold => 0,
        Verdict::Brief => 1,
        Verdict::Weak => 2,
        Verdict::Unproven => 3,
        Verdict::Narrow => 4,
        Verdict::Pass => 5,
    }
}
