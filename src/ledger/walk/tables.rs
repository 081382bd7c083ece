//! The small tables of a ledger, and the readings, as an audit sees them.

use std::collections::BTreeMap;
use std::path::Path;

use rusqlite::{Connection, ErrorCode, OptionalExtension};

use crate::core::audit::{Audit, BesideFault, RecordFault, Standing, StoredSeal};
use crate::core::time::Timestamp;
use crate::ledger::blocks;
use crate::ledger::error::LedgerError;
use crate::ledger::tail;

/// Rows of the last pages of records, and more: those are read to their very end.
const LAST_ROWS: i64 = 4_096;
/// Smallest room that a record takes in a file, bytes: its hash.
const RECORD_BYTES_MIN: u64 = 32;

/// What is known before the walk.
#[derive(Debug)]
pub(super) struct Tables {
    /// Checkpoints in the order of their numbers.
    pub(super) seals: Vec<StoredSeal>,
    /// The number that the newest checkpoint ever had.
    pub(super) newest_seal: Option<i64>,
    /// Names of the machines by their numbers.
    pub(super) machines: BTreeMap<i64, String>,
    /// Where the ledger says that it stands.
    pub(super) standing: Option<Standing>,
    /// No record has this index or a later one.
    pub(super) end: i64,
    /// What could not be read.
    pub(super) faults: Vec<BesideFault>,
}

/// Whether an error is about what lies in the file, so that the rest of it can still be read.
pub(super) fn is_damage(error: &rusqlite::Error) -> bool {
    use rusqlite::Error;
    let of_the_file = matches!(
        error.sqlite_error_code(),
        Some(ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase | ErrorCode::SystemIoFailure)
    );
    of_the_file
        || matches!(
            error,
            Error::InvalidColumnType(..)
                | Error::FromSqlConversionFailure(..)
                | Error::IntegralValueOutOfRange(..)
                | Error::Utf8Error(..)
        )
}

/// Reads all but records and what is kept beside them.
pub(super) fn read(connection: &Connection, path: &Path, format: i64) -> Result<Tables, LedgerError> {
    let mut faults = Vec::new();
    let mut or_fault = |what, from, error: rusqlite::Error| {
        let error = LedgerError::from_database(path, what, error);
        if matches!(error, LedgerError::Busy { .. }) {
            return Err(error);
        }
        faults.push(BesideFault::TableUnreadable { what, from, cause: cause(&error) });
        Ok(())
    };
    let mut seals = Vec::new();
    let mut newest_seal = None;
    if format > 1 {
        if let Err(error) = read_seals(connection, &mut seals) {
            let from = seals.last().map_or(1, |seal| seal.number + 1);
            or_fault("the table of checkpoints", from, error)?;
        } else {
            newest_seal = connection
                .query_row("SELECT seq FROM sqlite_sequence WHERE name = 'checkpoint'", [], |row| row.get(0))
                .optional()
                .unwrap_or_default();
        }
    }
    let mut machines = BTreeMap::new();
    if let Err(error) = read_machines(connection, &mut machines) {
        or_fault("the table of machines", 1, error)?;
    }
    let standing = match read_standing(connection) {
        Ok(standing) => standing,
        Err(error) => {
            or_fault("the row that says where the ledger stands", 1, error)?;
            None
        }
    };
    let last: Result<Option<i64>, _> =
        connection.query_row("SELECT max(idx) FROM record", [], |row| row.get(0));
    let end = match last {
        Ok(last) => last.map_or(0, |last| last.saturating_add(1)),
        Err(error) => {
            or_fault("the end of the table of records", 0, error)?;
            // No more than the ledger counts, and no more than the file can hold.
            let room = path.metadata().map_or(0, |metadata| metadata.len()) / RECORD_BYTES_MIN;
            let counted = standing.as_ref().map_or(room, |standing| standing.size.min(room));
            i64::try_from(counted).unwrap_or(i64::MAX)
        }
    };
    Ok(Tables { seals, newest_seal, machines, standing, end, faults })
}

/// What an error says behind what was being done.
pub(super) fn cause(error: &LedgerError) -> String {
    std::error::Error::source(error).map_or_else(|| error.to_string(), ToString::to_string)
}

fn read_seals(connection: &Connection, seals: &mut Vec<StoredSeal>) -> rusqlite::Result<()> {
    let mut statement = connection.prepare("SELECT id, at, size, note FROM checkpoint ORDER BY id")?;
    let mut rows = statement.query([])?;
    while let Some(row) = rows.next()? {
        seals.push(StoredSeal {
            number: row.get(0)?,
            at: Timestamp::from_micros(row.get(1)?),
            size: row.get(2)?,
            note: row.get(3)?,
        });
    }
    Ok(())
}

fn read_machines(connection: &Connection, machines: &mut BTreeMap<i64, String>) -> rusqlite::Result<()> {
    let mut statement = connection.prepare("SELECT id, name FROM machine")?;
    let mut rows = statement.query([])?;
    while let Some(row) = rows.next()? {
        machines.insert(row.get(0)?, row.get(1)?);
    }
    Ok(())
}

fn read_standing(connection: &Connection) -> rusqlite::Result<Option<Standing>> {
    // To its end, although there is but one row: a page that says it holds more is damaged.
    let mut statement = connection.prepare("SELECT tree_size, frontier FROM state")?;
    let rows = statement.query_map([], |row| {
        let size: i64 = row.get(0)?;
        Ok(Standing { size: u64::try_from(size).unwrap_or(0), frontier: row.get(1)? })
    })?;
    let standings = rows.collect::<rusqlite::Result<Vec<_>>>()?;
    Ok(standings.into_iter().next())
}

/// Looks for what lies beside no record, past the last one.
pub(super) fn look_past_the_end(connection: &Connection, end: i64, audit: &mut Audit) {
    let strays = |table: &str| -> rusqlite::Result<Vec<i64>> {
        let sql = format!("SELECT idx FROM {table} WHERE idx >= ?1 ORDER BY idx");
        connection.prepare(&sql)?.query_map([end], |row| row.get(0))?.collect()
    };
    // A page that says it holds more than it does shows only to whoever reads to its end.
    let scan = || -> rusqlite::Result<Vec<i64>> {
        let mut all =
            connection.prepare("SELECT idx, length(bytes) FROM record NOT INDEXED WHERE idx >= ?1")?;
        let mut rows = all.query([end.saturating_sub(LAST_ROWS)])?;
        let (mut beyond, mut before) = (Vec::new(), i64::MIN);
        while let Some(row) = rows.next()? {
            let index: i64 = row.get(0)?;
            if index >= end || index <= before {
                beyond.push(index);
            }
            before = before.max(index);
        }
        Ok(beyond)
    };
    match scan() {
        Ok(beyond) => {
            for index in beyond {
                audit.found(RecordFault::RecordOutOfPlace { index });
            }
        }
        Err(error) => audit.found(BesideFault::TableUnreadable {
            what: "the table of records",
            from: end,
            cause: error.to_string(),
        }),
    }
    // What cannot be read was told of already, in the part before it.
    for index in strays("cycle").unwrap_or_default() {
        audit.found(BesideFault::CycleRowStray { index });
    }
    for index in strays("trace").unwrap_or_default() {
        audit.found(BesideFault::TraceStray { index });
    }
}

/// Sees that every block of readings and every stretch of the tail fits its own check.
pub(super) fn check_readings(connection: &Connection, audit: &mut Audit) {
    let mut at = 0;
    if let Err(error) = check_blocks(connection, &mut at, audit) {
        audit.found(BesideFault::TableUnreadable {
            what: "the table of readings",
            from: at,
            cause: error.to_string(),
        });
    }
    let mut at = 1;
    if let Err(error) = check_tail(connection, &mut at, audit) {
        audit.found(BesideFault::TableUnreadable {
            what: "the table of the newest readings",
            from: at,
            cause: error.to_string(),
        });
    }
}

fn check_blocks(connection: &Connection, at: &mut i64, audit: &mut Audit) -> rusqlite::Result<()> {
    let mut statement = connection.prepare(
        "SELECT block.id, coalesce(channel.name, '?'), first, last, bytes
         FROM block LEFT JOIN channel ON channel.id = block.channel ORDER BY block.id",
    )?;
    let mut rows = statement.query([])?;
    while let Some(row) = rows.next()? {
        *at = row.get(0)?;
        if !blocks::fits_its_check(row.get_ref(4)?.as_blob().unwrap_or_default()) {
            audit.found(BesideFault::BlockDamaged {
                channel: row.get(1)?,
                first: Timestamp::from_micros(row.get(2)?),
                last: Timestamp::from_micros(row.get(3)?),
            });
        }
    }
    Ok(())
}

fn check_tail(connection: &Connection, at: &mut i64, audit: &mut Audit) -> rusqlite::Result<()> {
    let mut statement = connection.prepare("SELECT first, bytes FROM tail ORDER BY first")?;
    let mut rows = statement.query([])?;
    while let Some(row) = rows.next()? {
        *at = row.get(0)?;
        if tail::decode(row.get_ref(1)?.as_blob().unwrap_or_default()).is_err() {
            audit.found(BesideFault::TailDamaged { first: *at });
        }
    }
    Ok(())
}
