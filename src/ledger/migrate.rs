//! From one format of the ledger to the next, and older ones read as the newest.
//!
//! Nothing that a record, a trace or a reading says is touched: a step only
//! adds tables and columns. The golden ledgers of the tests hold it to that.

use std::path::{Path, PathBuf};

use rusqlite::{Connection, Transaction, params};

use super::backup::{BackupError, back_up};
use super::error::LedgerError;
use super::inspect::{open_copy, stated};
use super::schema::beside;
use super::{events, subtrees, tail};

/// Most copies of one format beside a ledger: each needs an older program to have written in between.
const COPIES_MAX: u32 = 9;
/// A larger ledger is not copied, bytes: the start would take minutes on a slow device, and a service
/// manager that waits no longer would begin it again and again (own choice).
const COPY_MAX: u64 = 512 << 20;

/// What format 2 has more than format 1, in order of [`super::schema`].
const FORMAT_2: &str = "
ALTER TABLE state ADD COLUMN compacted INTEGER NOT NULL DEFAULT 0; -- inputs up to this number are in whole rounds
CREATE TABLE round (
    last INTEGER NOT NULL,                -- number of the last input that the round took
    block INTEGER NOT NULL REFERENCES block (id) ON DELETE CASCADE,
    begin INTEGER NOT NULL,               -- of its readings, this many came before
    readings INTEGER NOT NULL,            -- and so many with this round
    PRIMARY KEY (last, block)
) STRICT, WITHOUT ROWID;
CREATE INDEX round_of_block ON round (block);
CREATE TABLE bookmark (name TEXT PRIMARY KEY, state BLOB NOT NULL) STRICT;
CREATE TABLE outbox (
    id INTEGER PRIMARY KEY AUTOINCREMENT, -- never used again, also after the letter is gone
    key TEXT NOT NULL UNIQUE,
    channel TEXT NOT NULL,
    sequence TEXT NOT NULL,
    created INTEGER NOT NULL,
    due INTEGER NOT NULL,
    status INTEGER NOT NULL DEFAULT 0,    -- 0 waiting, 1 delivered, 2 given up, 3 withdrawn
    changed INTEGER,                      -- when it was last tried, or came to its end
    attempts INTEGER NOT NULL DEFAULT 0,  -- tries that failed
    last_error TEXT,
    bytes BLOB NOT NULL
) STRICT;
CREATE INDEX outbox_waiting ON outbox (sequence, id) WHERE status = 0;
CREATE INDEX outbox_of_channel ON outbox (channel, sequence, id) WHERE status = 0;
CREATE INDEX record_by_kind ON record (kind, idx) WHERE kind <> 'cycle';
CREATE INDEX outbox_ended ON outbox (changed) WHERE status IN (1, 3);
CREATE TABLE set_aside (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    consumer TEXT NOT NULL,
    at INTEGER NOT NULL,
    reason TEXT NOT NULL,
    bytes BLOB NOT NULL
) STRICT;
CREATE INDEX set_aside_of ON set_aside (consumer, id);
CREATE TABLE checkpoint (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    at INTEGER NOT NULL,
    size INTEGER NOT NULL,
    note TEXT NOT NULL
) STRICT;
CREATE TRIGGER checkpoint_stays BEFORE UPDATE ON checkpoint
    BEGIN SELECT RAISE(ABORT, 'checkpoints are never changed'); END;
CREATE TRIGGER checkpoint_is_kept BEFORE DELETE ON checkpoint
    BEGIN SELECT RAISE(ABORT, 'checkpoints are never deleted'); END;
CREATE TABLE event (
    kind TEXT NOT NULL,                   -- that of the record; of a check with its own kind behind a colon
    at INTEGER NOT NULL,
    idx INTEGER NOT NULL REFERENCES record (idx),
    machine TEXT,                         -- name of its machine; absent for the site
    PRIMARY KEY (kind, at, idx)
) STRICT, WITHOUT ROWID;
CREATE INDEX event_of_machine ON event (machine, kind, at, idx) WHERE machine IS NOT NULL;
CREATE TABLE about (
    subject INTEGER NOT NULL,             -- 0 an alert, 1 a record
    number INTEGER NOT NULL,              -- which
    idx INTEGER NOT NULL REFERENCES record (idx),
    PRIMARY KEY (subject, number, idx)
) STRICT, WITHOUT ROWID;
CREATE TABLE day (
    day INTEGER NOT NULL,                 -- days since 1970-01-01, in the zone of the bookmark
    machine INTEGER NOT NULL REFERENCES machine (id),
    cold INTEGER NOT NULL, brief INTEGER NOT NULL, weak INTEGER NOT NULL,
    unproven INTEGER NOT NULL, narrow INTEGER NOT NULL, pass INTEGER NOT NULL,
    late INTEGER NOT NULL,
    damaged INTEGER NOT NULL,
    rinse_min_c REAL,
    rinse_median_c REAL,
    PRIMARY KEY (day, machine)
) STRICT, WITHOUT ROWID;
CREATE TABLE subtree (
    idx INTEGER PRIMARY KEY,              -- the subtree over the records from 1,024 · idx on
    root BLOB NOT NULL CHECK (length(root) = 32)
) STRICT;
";

/// Shadows of the tables of format 2 in the memory of one connection. The tables
/// that format 1 lacks are empty; its blocks all belong to one round, up to the tail.
/// What history is looked up by is made when it is first asked for, see [`super::events`].
const FORMAT_1_AS_2: &str = "
PRAGMA temp_store = MEMORY;
CREATE TEMP VIEW state AS SELECT *,
    coalesce((SELECT min(first) FROM main.tail), next_input) - 1 AS compacted FROM main.state;
CREATE TEMP VIEW round AS SELECT temp.state.compacted AS last, main.block.id AS block,
    0 AS begin, main.block.readings AS readings FROM temp.state, main.block;
CREATE TEMP TABLE bookmark (name TEXT, state BLOB);
CREATE TEMP TABLE outbox (id INTEGER, key TEXT, channel TEXT, sequence TEXT, created INTEGER, due INTEGER,
    status INTEGER, changed INTEGER, attempts INTEGER, last_error TEXT, bytes BLOB);
CREATE TEMP TABLE set_aside (id INTEGER, consumer TEXT, at INTEGER, reason TEXT, bytes BLOB);
CREATE TEMP TABLE checkpoint (id INTEGER, at INTEGER, size INTEGER, note TEXT);
CREATE TEMP TABLE event (kind TEXT, at INTEGER, idx INTEGER, machine TEXT);
CREATE TEMP TABLE about (subject INTEGER, number INTEGER, idx INTEGER);
CREATE TEMP TABLE day (day INTEGER, machine INTEGER, cold INTEGER, brief INTEGER, weak INTEGER, unproven INTEGER,
    narrow INTEGER, pass INTEGER, late INTEGER, damaged INTEGER, rinse_min_c REAL, rinse_median_c REAL);
CREATE TEMP TABLE subtree (idx INTEGER, root BLOB);
";

/// Adds what format 2 has more. The blocks there are become one round.
pub(super) fn to_format_2(transaction: &Transaction<'_>) -> rusqlite::Result<()> {
    transaction.execute_batch(FORMAT_2)?;
    let compacted = before_the_tail(transaction)?;
    // Where the first round of all is not whole yet its blocks wait for the end of it: the
    // next round goes at least as far.
    let begun: u64 =
        transaction.query_row("SELECT coalesce(max(compacted), 0) FROM channel", [], |row| row.get(0))?;
    let round = if compacted == 0 { begun } else { compacted };
    transaction.execute(
        "INSERT INTO round (last, block, begin, readings) SELECT ?1, id, 0, readings FROM block",
        [round],
    )?;
    transaction.execute("UPDATE state SET compacted = ?1", params![compacted])?;
    subtrees::put_all(transaction)?;
    events::put_all(transaction)
}

/// The last input before the first one that the tail holds and can be read: a
/// damaged stretch stays in the tail for ever while rounds pass it over.
fn before_the_tail(transaction: &Transaction<'_>) -> rusqlite::Result<u64> {
    let mut statement = transaction.prepare("SELECT first, bytes FROM tail ORDER BY first")?;
    let mut rows = statement.query([])?;
    while let Some(row) = rows.next()? {
        if tail::decode(row.get_ref(1)?.as_blob().map_err(rusqlite::Error::from)?).is_ok() {
            return Ok(row.get::<_, u64>(0)? - 1);
        }
    }
    transaction.query_row("SELECT next_input - 1 FROM state", [], |row| row.get(0))
}

/// Lets a connection that only reads see a file of format 1 as one of format 2.
pub(super) fn read_as_format_2(connection: &Connection) -> rusqlite::Result<()> {
    connection.execute_batch(FORMAT_1_AS_2)
}

/// Makes a copy of a ledger before it gets a newer format, beside it and with the format in
/// its name. Without one the format is changed all the same: that is one transaction and
/// loses nothing, and a kitchen whose rack nobody judges is worse off than one that
/// cannot go back to the program before.
pub(super) fn keep_copy(path: &Path, format: i64) {
    if let Ok(file) = path.metadata()
        && file.len() > COPY_MAX
    {
        tracing::warn!(
            bytes = file.len(),
            "the ledger is too large to be copied before it gets a newer format"
        );
        return;
    }
    match try_copy(path, format) {
        Ok(copy) => tracing::info!(
            copy = %copy.display(),
            "the ledger as it was is kept, for the way back to the program before"
        ),
        Err(error) => tracing::warn!(
            error = crate::core::causes::chain(&error),
            "no copy of the ledger could be made before it gets a newer format"
        ),
    }
}

fn try_copy(path: &Path, format: i64) -> Result<PathBuf, BackupError> {
    let mut copy = beside(path, &format!(".format-{format}.backup"));
    for number in 2..=COPIES_MAX {
        if !copy.exists() {
            break;
        }
        if is_same(path, &copy)? {
            return Ok(copy);
        }
        copy = beside(path, &format!(".format-{format}.backup.{number}"));
    }
    back_up(path, &copy).map(|_| copy)
}

/// Whether a copy of an earlier start, broken off later, is of this very state.
fn is_same(path: &Path, copy: &Path) -> Result<bool, LedgerError> {
    Ok(stated(&open_copy(path)?, path)? == stated(&open_copy(copy)?, copy)?)
}
