//! Records of some kinds only: what is rare among millions of cycles.

use std::ops::ControlFlow;

use rusqlite::types::Value;
use rusqlite::{params, params_from_iter};

use super::cycles::Found;
use super::error::LedgerError;
use super::reader::{Reader, index_of};
use crate::core::on_file::{MissedKind, OnFile};
use crate::core::record::Record;
use crate::core::time::Timestamp;

impl Reader {
    /// Calls `each` with index, bytes and parsed form of the records of these kinds from `from`
    /// on, in order of the index, until it breaks. For cycles there is [`Reader::cycles`]; as a
    /// kind `cycle` finds none here.
    ///
    /// # Errors
    /// [`LedgerError::Damaged`] or [`LedgerError::Record`] at the first record that does not
    /// match its hash or cannot be read.
    pub fn records_of(
        &self,
        kinds: &[&str],
        from: u64,
        mut each: impl FnMut(u64, &[u8], Record) -> ControlFlow<()>,
    ) -> Result<(), LedgerError> {
        let mut damage = None;
        self.records_found(kinds, from, |index, found| match found {
            Ok((bytes, record)) => each(index, &bytes, record),
            Err(error) => {
                damage = Some(error);
                ControlFlow::Break(())
            }
        })?;
        damage.map_or(Ok(()), Err)
    }

    /// The same, but a damaged record is given as such, and those after it follow.
    ///
    /// # Errors
    /// [`LedgerError`] where the database fails.
    pub fn records_found(
        &self,
        kinds: &[&str],
        from: u64,
        mut each: impl FnMut(u64, Found) -> ControlFlow<()>,
    ) -> Result<(), LedgerError> {
        let failed = |source| self.failed("reading records of some kinds", source);
        let marks = vec!["?"; kinds.len()].join(", ");
        // The first condition lets the index of all but cycles serve.
        let sql = format!(
            "SELECT idx FROM record WHERE kind <> 'cycle' AND kind IN ({marks}) AND idx >= ? ORDER BY idx"
        );
        let from = i64::try_from(from).unwrap_or(i64::MAX);
        let values = kinds.iter().map(|kind| Value::from((*kind).to_owned())).chain([Value::from(from)]);
        let _one_state = self.one_state()?;
        let mut statement = self.connection.prepare_cached(&sql).map_err(failed)?;
        let mut rows = statement.query(params_from_iter(values)).map_err(failed)?;
        while let Some(row) = rows.next().map_err(failed)? {
            let index: u64 = row.get(0).map_err(failed)?;
            if each(index, self.record(index)?).is_break() {
                break;
            }
        }
        Ok(())
    }

    /// The indices of the records of these kinds from `from` on, in order; of `cycle` there are none here.
    ///
    /// # Errors
    /// [`LedgerError`] where the database fails.
    pub(super) fn indices_of(&self, kinds: &[&str], from: u64) -> Result<Vec<u64>, LedgerError> {
        let marks = vec!["?"; kinds.len()].join(", ");
        let sql = format!(
            "SELECT idx FROM record WHERE kind <> 'cycle' AND kind IN ({marks}) AND idx >= ? ORDER BY idx"
        );
        let values = kinds.iter().map(|kind| Value::from((*kind).to_owned()));
        let values = values.chain([Value::from(index_of(from))]);
        let read = || -> rusqlite::Result<Vec<u64>> {
            let mut statement = self.connection.prepare_cached(&sql)?;
            statement.query_map(params_from_iter(values), |row| row.get(0))?.collect()
        };
        read().map_err(|source| self.failed("looking for records of some kinds", source))
    }

    /// Calls `each` with index, bytes and parsed form of every record but cycles from `from` on, in
    /// order of the index, until it breaks.
    ///
    /// # Errors
    /// As for [`Reader::records_of`].
    pub fn records_but_cycles(
        &self,
        from: u64,
        mut each: impl FnMut(u64, &[u8], Record) -> ControlFlow<()>,
    ) -> Result<(), LedgerError> {
        let failed = |source| self.failed("reading records but cycles", source);
        let _one_state = self.one_state()?;
        let mut statement = self
            .connection
            .prepare_cached(
                // The few of them are found by the index, then read in order.
                "SELECT idx, leaf, bytes FROM record
                 WHERE idx IN (SELECT idx FROM record WHERE kind <> 'cycle' AND idx >= ?1) ORDER BY idx",
            )
            .map_err(failed)?;
        let mut rows = statement.query([i64::try_from(from).unwrap_or(i64::MAX)]).map_err(failed)?;
        while let Some(row) = rows.next().map_err(failed)? {
            if self.give(row, &mut each)?.is_break() {
                break;
            }
        }
        Ok(())
    }

    /// Lets `file` take the calibrations, response tests and amendments that it has not taken, by the index of
    /// kinds; gives the indexes of those that are damaged, which are left out.
    ///
    /// # Errors
    /// [`LedgerError`] where the database fails.
    pub fn read_on_file(&self, file: &mut OnFile) -> Result<Vec<u64>, LedgerError> {
        let mut damaged = Vec::new();
        self.records_found(&OnFile::KINDS, file.next(), |index, found| {
            match found {
                Ok((_, record)) => file.take(index, &record),
                Err(_) => {
                    let (at, kind) = self.missed(index);
                    file.miss(index, at, kind);
                    damaged.push(index);
                }
            }
            ControlFlow::Continue(())
        })?;
        Ok(damaged)
    }

    /// What the derived tables know of a record that cannot be read: when it was recorded, and what it
    /// was. They may be damaged as well; what they do not say is not known.
    fn missed(&self, index: u64) -> (Option<Timestamp>, MissedKind) {
        let ask = |sql: &str| -> Option<i64> {
            self.connection
                .prepare_cached(sql)
                .and_then(|mut one| one.query_row([index], |row| row.get(0)))
                .ok()
        };
        let at =
            ask("SELECT at FROM event WHERE idx = ?1 AND kind IN ('amendment', 'calibration', 'response')");
        let kind: rusqlite::Result<String> =
            self.connection.query_row("SELECT kind FROM record WHERE idx = ?1", [index], |row| row.get(0));
        let kind = match kind.as_deref() {
            Ok("calibration") => MissedKind::Calibration,
            Ok("response") => MissedKind::Response,
            // The kind was one of the three when the record was looked up.
            Ok(_) | Err(_) => {
                let of = ask("SELECT number FROM about WHERE subject = 1 AND idx = ?1");
                MissedKind::Amendment(of.and_then(|of| u64::try_from(of).ok()))
            }
        };
        (at.map(Timestamp::from_micros), kind)
    }

    /// The newest record of a kind, with its index; `None` where there is none. As a kind `cycle`
    /// finds none here. The index of kinds leads to it, however far back it lies.
    ///
    /// # Errors
    /// As for [`Reader::records`]: an older one must not stand in for one that is damaged.
    pub fn newest_of(&self, kind: &str) -> Result<Option<(u64, Record)>, LedgerError> {
        let failed = |source| self.failed("looking for the newest record of a kind", source);
        let _one_state = self.one_state()?;
        let mut statement = self
            .connection
            .prepare_cached(
                "SELECT idx, leaf, bytes FROM record WHERE kind <> 'cycle' AND kind = ?1
                 ORDER BY idx DESC LIMIT 1",
            )
            .map_err(failed)?;
        let mut rows = statement.query([kind]).map_err(failed)?;
        let mut newest = None;
        if let Some(row) = rows.next().map_err(failed)? {
            let mut take = |index, _: &[u8], record| {
                newest = Some((index, record));
                ControlFlow::Break(())
            };
            // There is one row only.
            let _ended = self.give(row, &mut take)?;
        }
        Ok(newest)
    }

    /// The newest records with an index from `from` on and before `to` whose kind begins with
    /// `prefix`, such as `alert-`: index and record, the newest first, at most `limit`.
    ///
    /// Takes time for all records between, of whatever kind: for the newest of one kind in the
    /// whole ledger there is [`Reader::newest_of`].
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
