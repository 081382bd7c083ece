//! What leaves the ledger by its age, and what keeps it: blocks of readings, unless a lawful hold is in force.
//!
//! Records and the traces of cycles are kept for ever; there is no way to delete one.
//! Readings beside them go once they were measured, and had arrived, longer ago than the
//! configured time. The newest record of a hold says whether anything goes at all: the
//! writer looks for it when it opens the ledger and knows of each one it stores.
//!
//! What went is put on record with its sum, at most once a day, in the transaction of a
//! step of pruning; until then the sum waits in the bookmark [`BOOKMARK`], written in the
//! transaction that took the readings.

use std::ops::ControlFlow;
use std::time::Duration;

use rusqlite::{Connection, OptionalExtension, Transaction, params};
use serde::{Deserialize, Serialize};

use super::NewRecord;
use super::bookmark::{self, Bookmark};
use super::commit::{Store, insert_record};
use super::error::LedgerError;
use super::reader::Reader;
use super::schema::write_state;
use crate::core::record::{Body, LawfulHold, Pruned, Record};
use crate::core::time::Timestamp;

/// Name of the bookmark with what was pruned and is not on record yet.
const BOOKMARK: &str = "pruned";
/// Shortest time between two records of pruning.
const TOLD_EVERY: Duration = Duration::from_secs(86_400);

/// What was pruned and is not on record yet.
#[derive(Clone, Copy, PartialEq, Debug, Default, Serialize, Deserialize)]
struct Standing {
    /// How many readings.
    readings: u64,
    /// Up to which age.
    before: Option<Timestamp>,
    /// When a record last told of it.
    told: Option<Timestamp>,
}

/// Whether a hold is in force. One that cannot be read counts: nothing is lost by waiting.
pub(super) fn held(connection: &Connection) -> rusqlite::Result<bool> {
    let newest: Option<Vec<u8>> = connection
        .query_row(
            "SELECT bytes FROM record WHERE kind <> 'cycle' AND kind = 'lawful-hold' ORDER BY idx DESC LIMIT 1",
            [],
            |row| row.get(0),
        )
        .optional()?;
    Ok(newest.is_some_and(|bytes| match Record::from_bytes(&bytes) {
        Ok(record) => hold_of(&record).is_none_or(|hold| hold.on),
        Err(_) => true,
    }))
}

/// Whether a hold is in force after these records.
pub(super) fn held_after(held: bool, records: &[NewRecord]) -> bool {
    records.iter().rev().find_map(|new| hold_of(&new.record)).map_or(held, |hold| hold.on)
}

fn hold_of(record: &Record) -> Option<&LawfulHold> {
    if let Body::LawfulHold(hold) = &record.body { Some(hold) } else { None }
}

/// Deletes at most `limit` blocks that are older than `keep`; gives how many it were.
pub(super) fn prune(
    store: &mut Store,
    keep: Duration,
    now: Timestamp,
    limit: usize,
) -> Result<usize, LedgerError> {
    if store.held {
        return Ok(0);
    }
    let before = now.minus(keep);
    let failed = |source| LedgerError::from_database(&store.path, "pruning blocks", source);
    let mut state = store.state.clone();
    let transaction = store.connection.transaction().map_err(failed)?;
    let (blocks, readings) = delete(&transaction, before, limit).map_err(failed)?;
    let mut standing = standing(&transaction).map_err(failed)?;
    if readings > 0 {
        standing.readings += readings;
        standing.before = standing.before.max(Some(before));
    }
    let is_due = standing.told.is_none_or(|told| now.since(told) >= TOLD_EVERY);
    let told = standing.before.filter(|_| blocks < limit && is_due && standing.readings > 0);
    if let Some(before) = told {
        let pruned = Pruned { before, readings: standing.readings };
        let record = Record::new(now, None, Body::Pruned(pruned));
        insert_record(&transaction, &mut state, &NewRecord { record, trace: None }).map_err(failed)?;
        state.last_recorded = state.last_recorded.max(Some(now.micros()));
        write_state(&transaction, &state).map_err(failed)?;
        standing = Standing { told: Some(now), ..Standing::default() };
    }
    if readings > 0 || told.is_some() {
        let bytes = serde_json::to_vec(&standing).expect("numbers and times are JSON");
        let bookmark = Bookmark { name: BOOKMARK.to_owned(), state: bytes };
        bookmark::put(&transaction, &bookmark).map_err(failed)?;
        transaction.commit().map_err(failed)?;
        store.state = state;
    }
    Ok(blocks)
}

/// Gives how many blocks went, and how many readings with them.
fn delete(transaction: &Transaction<'_>, before: Timestamp, limit: usize) -> rusqlite::Result<(usize, u64)> {
    let mut statement = transaction.prepare_cached(
        "DELETE FROM block WHERE id IN
         (SELECT id FROM block WHERE received_last < ?1 AND last < ?1 ORDER BY received_last LIMIT ?2)
         RETURNING readings",
    )?;
    let rows = statement.query_map(params![before.micros(), limit], |row| row.get::<_, u64>(0))?;
    let deleted = rows.collect::<rusqlite::Result<Vec<u64>>>()?;
    Ok((deleted.len(), deleted.iter().sum()))
}

/// One that cannot be read is begun anew: it only holds what was not told yet.
fn standing(transaction: &Transaction<'_>) -> rusqlite::Result<Standing> {
    let state: Option<Vec<u8>> = transaction
        .prepare_cached("SELECT state FROM bookmark WHERE name = ?1")?
        .query_row([BOOKMARK], |row| row.get(0))
        .optional()?;
    Ok(state.and_then(|state| serde_json::from_slice(&state).ok()).unwrap_or_default())
}

impl Reader {
    /// The holds in force, oldest first, with their index and the time of their record; empty
    /// where readings are pruned by their age. The end of a hold ends all of them.
    ///
    /// # Errors
    /// [`LedgerError`] where they cannot be read.
    pub fn holds(&self) -> Result<Vec<(u64, Timestamp, LawfulHold)>, LedgerError> {
        let mut holds = Vec::new();
        self.records_of(&["lawful-hold"], 0, |index, _, record| {
            match hold_of(&record) {
                Some(hold) if hold.on => holds.push((index, record.recorded, hold.clone())),
                Some(_) => holds.clear(),
                None => {}
            }
            ControlFlow::Continue(())
        })?;
        Ok(holds)
    }

    /// Readings that were measured and had arrived before this instant may be gone: by the records of
    /// pruning, and by what is not on record yet. `None` where nothing was ever pruned.
    ///
    /// # Errors
    /// [`LedgerError`] where it cannot be read.
    pub fn pruned_before(&self) -> Result<Option<Timestamp>, LedgerError> {
        let _one_state = self.one_state()?;
        let waiting = self.bookmark(BOOKMARK)?;
        let waiting = waiting.and_then(|state| serde_json::from_slice::<Standing>(&state).ok());
        let mut before = waiting.and_then(|standing| standing.before);
        self.records_of(&["pruned"], 0, |_, _, record| {
            if let Body::Pruned(pruned) = &record.body {
                before = before.max(Some(pruned.before));
            }
            ControlFlow::Continue(())
        })?;
        Ok(before)
    }

    /// How many readings are in blocks, and when the oldest of them was measured; those of the
    /// last hour may not be in blocks yet.
    ///
    /// # Errors
    /// [`LedgerError`] where they cannot be counted.
    pub fn readings_kept(&self) -> Result<(u64, Option<Timestamp>), LedgerError> {
        self.connection
            .query_row("SELECT coalesce(sum(readings), 0), min(first) FROM block", [], |row| {
                Ok((row.get(0)?, row.get::<_, Option<i64>>(1)?.map(Timestamp::from_micros)))
            })
            .map_err(|source| self.failed("counting readings", source))
    }
}
