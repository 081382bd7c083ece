//! Where the next reading in time lies.

use rusqlite::{OptionalExtension, params};

use crate::core::time::Timestamp;

use super::compact::BLOCK_SPAN;
use super::error::LedgerError;
use super::reader::Reader;
use super::recover::stretches_after;
use super::tail::What;

impl Reader {
    /// No reading of any channel was measured from `from` on and before this instant; `None` where
    /// none was measured from there on at all. Takes time for the channels and the tail, not for
    /// the age of the ledger.
    ///
    /// # Errors
    /// [`LedgerError`] where the database fails, or the tail is damaged.
    pub fn next_reading(&self, from: Timestamp) -> Result<Option<Timestamp>, LedgerError> {
        let _one_state = self.one_state()?;
        let in_blocks = self.next_in_blocks(from).map_err(|source| self.failed("reading blocks", source))?;
        let stretches = stretches_after(&self.connection, &self.path, 0)?;
        let in_tail =
            stretches.iter().flat_map(|stretch| &stretch.entries).filter_map(|entry| match entry.what {
                What::Sample { at, .. } => Some(at).filter(|at| *at >= from),
                What::Tick { .. } | What::End { .. } => None,
            });
        Ok(in_tail.chain(in_blocks).min())
    }

    fn next_in_blocks(&self, from: Timestamp) -> rusqlite::Result<Option<Timestamp>> {
        let mut channels = self.connection.prepare_cached("SELECT id FROM channel")?;
        let channels: Vec<i64> = channels.query_map([], |row| row.get(0))?.collect::<Result<_, _>>()?;
        let mut within = self.connection.prepare_cached(
            "SELECT 1 FROM block WHERE channel = ?1 AND first >= ?2 AND first < ?3 AND last >= ?3 LIMIT 1",
        )?;
        let mut after = self.connection.prepare_cached(
            "SELECT first FROM block WHERE channel = ?1 AND first >= ?2 ORDER BY first LIMIT 1",
        )?;
        let mut next: Option<i64> = None;
        for channel in channels {
            let reach = from.minus(BLOCK_SPAN).micros();
            if within.exists(params![channel, reach, from.micros()])? {
                return Ok(Some(from));
            }
            let first: Option<i64> =
                after.query_row(params![channel, from.micros()], |row| row.get(0)).optional()?;
            next = next.into_iter().chain(first).min();
        }
        Ok(next.map(Timestamp::from_micros))
    }
}
