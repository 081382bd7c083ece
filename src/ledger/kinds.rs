//! Records of one sort, looked for from the newest down.

use std::ops::ControlFlow;

use rusqlite::params;

use crate::core::record::Record;

use super::error::LedgerError;
use super::reader::Reader;

impl Reader {
    /// The newest records with an index from `from` on and before `to` whose kind begins with
    /// `prefix`, such as `alert-`: index and record, the newest first, at most `limit`.
    ///
    /// Takes time for the records between, not for the age of the ledger.
    ///
    /// # Errors
    /// As for [`Reader::records`].
    pub fn newest_of_kind(
        &self,
        prefix: &str,
        from: u64,
        to: u64,
        limit: usize,
    ) -> Result<Vec<(u64, Record)>, LedgerError> {
        let failed = |source| self.failed("looking for records of a kind", source);
        let _one_state = self.one_state()?;
        let mut statement = self
            .connection
            .prepare_cached(
                "SELECT idx, leaf, bytes FROM record
                 WHERE idx >= ?1 AND idx < ?2 AND substr(kind, 1, length(?3)) = ?3
                 ORDER BY idx DESC LIMIT ?4",
            )
            .map_err(failed)?;
        let mut rows = statement.query(params![from, to, prefix, limit]).map_err(failed)?;
        let mut found = Vec::new();
        while let Some(row) = rows.next().map_err(failed)? {
            let mut take = |index, _: &[u8], record| {
                found.push((index, record));
                ControlFlow::Continue(())
            };
            // It never breaks.
            let _goes_on = self.give(row, &mut take)?;
        }
        Ok(found)
    }
}
