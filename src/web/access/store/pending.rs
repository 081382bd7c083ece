//! Events on their way to the record.

use rusqlite::{Transaction, params};

use super::{Store, StoreError, instant};
use crate::core::record::AccessEvent;
use crate::core::time::Timestamp;

/// Most events that wait. Beyond it nothing is changed and nobody logs in: it would not be on record.
pub const PENDING_MAX: i64 = 10_000;

/// An event that is not on record yet.
#[derive(Clone, PartialEq, Debug)]
pub struct Pending {
    /// Its number; later ones are higher.
    pub id: i64,
    /// When it happened.
    pub at: Timestamp,
    /// The event.
    pub event: AccessEvent,
}

/// How far the record is: which store, and the last of its events. Kept as the bookmark beside the
/// records, so that a kill between the two doubles nothing.
#[derive(Clone, PartialEq, Eq, Debug, serde::Serialize, serde::Deserialize)]
pub struct Recorded {
    /// Which store.
    pub store: Vec<u8>,
    /// Last event on record.
    pub last: i64,
}

impl Store {
    /// Takes up from where the record is: forgets what is on it, and never gives its numbers again,
    /// also where this store came back from a copy.
    ///
    /// # Errors
    /// The database's.
    pub fn recorded(&mut self, recorded: &Recorded) -> Result<(), StoreError> {
        if recorded.store != self.id {
            return Ok(());
        }
        let failed = self.failed("taking up the record");
        let transaction = self.connection.transaction().map_err(&failed)?;
        transaction.execute("DELETE FROM pending WHERE id <= ?1", [recorded.last]).map_err(&failed)?;
        transaction
            .execute(
                "INSERT INTO sqlite_sequence (name, seq) SELECT 'pending', 0
                 WHERE NOT EXISTS (SELECT 1 FROM sqlite_sequence WHERE name = 'pending')",
                [],
            )
            .and_then(|_| {
                transaction.execute(
                    "UPDATE sqlite_sequence SET seq = max(seq, ?1) WHERE name = 'pending'",
                    [recorded.last],
                )
            })
            .map_err(&failed)?;
        transaction.commit().map_err(failed)
    }

    /// The oldest events that are not on record, at most `limit`, and the bookmark that belongs
    /// beside them.
    ///
    /// # Errors
    /// The database's.
    pub fn pending(&self, limit: u32) -> Result<(Vec<Pending>, Recorded), StoreError> {
        let read = || {
            let mut statement =
                self.connection.prepare_cached("SELECT id, at, event FROM pending ORDER BY id LIMIT ?1")?;
            let rows = statement.query_map([limit], |row| {
                let text: String = row.get(2)?;
                let event = serde_json::from_str(&text).map_err(|error| {
                    rusqlite::Error::FromSqlConversionFailure(2, rusqlite::types::Type::Text, Box::new(error))
                })?;
                Ok(Pending { id: row.get(0)?, at: instant(row, 1)?, event })
            })?;
            rows.collect::<rusqlite::Result<Vec<_>>>()
        };
        let pending = read().map_err(self.failed("reading what is to be recorded"))?;
        let last = pending.last().map_or(0, |pending| pending.id);
        Ok((pending, Recorded { store: self.id.clone(), last }))
    }

    /// Puts events among those to be recorded that nothing else goes with.
    ///
    /// # Errors
    /// The database's; [`StoreError::Unrecorded`] where too many wait.
    pub fn note(&mut self, now: Timestamp, events: &[AccessEvent]) -> Result<(), StoreError> {
        let failed = self.failed("noting an event");
        let transaction = self.connection.transaction().map_err(&failed)?;
        for event in events {
            if !put(&transaction, now, event).map_err(&failed)? {
                return Err(StoreError::Unrecorded);
            }
        }
        transaction.commit().map_err(failed)?;
        self.noted = true;
        Ok(())
    }

    /// Makes a change and puts its event beside it, both or neither; `false` where the change
    /// touched nothing.
    pub(super) fn change(
        &mut self,
        doing: &'static str,
        now: Timestamp,
        event: &AccessEvent,
        change: impl FnOnce(&Transaction<'_>) -> rusqlite::Result<usize>,
    ) -> Result<bool, StoreError> {
        let failed = self.failed(doing);
        let transaction = self.connection.transaction().map_err(&failed)?;
        if change(&transaction).map_err(&failed)? == 0 {
            return Ok(false);
        }
        if !put(&transaction, now, event).map_err(&failed)? {
            return Err(StoreError::Unrecorded);
        }
        transaction.commit().map_err(failed)?;
        self.noted = true;
        Ok(true)
    }
}

/// `false` where too many wait.
pub(super) fn put(
    transaction: &Transaction<'_>,
    now: Timestamp,
    event: &AccessEvent,
) -> rusqlite::Result<bool> {
    let text = serde_json::to_string(event)
        .map_err(|error| rusqlite::Error::ToSqlConversionFailure(Box::new(error)))?;
    let put = transaction
        .prepare_cached(
            "INSERT INTO pending (at, event) SELECT ?1, ?2 WHERE (SELECT count(*) FROM pending) < ?3",
        )?
        .execute(params![now.micros(), text, PENDING_MAX])?;
    Ok(put == 1)
}
