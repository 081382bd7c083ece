//! Reading a ledger, beside its writer or without one.
//!
//! Every call sees one state of the ledger, as of its first read. A call that
//! lasts keeps the write-ahead log from being emptied, so that it grows: hand
//! pages of a few thousand rows to a slow peer, not one call.

use std::ops::ControlFlow;
use std::path::{Path, PathBuf};

use rusqlite::{Connection, OptionalExtension, Row, params};

use crate::core::effect::Trace;
use crate::core::merkle::leaf_hash;
use crate::core::reading::Value;
use crate::core::record::Record;
use crate::core::time::Timestamp;

use super::blocks::{self, same_value};
use super::compact::BLOCK_SPAN;
use super::cycles::Found;
use super::error::{LedgerError, Part};
use super::recover::{look_around, stretches_after};
use super::schema::{State, open_to_read, read_state};
use super::tail::What;

/// A connection that only reads.
#[derive(Debug)]
pub struct Reader {
    pub(super) connection: Connection,
    pub(super) path: PathBuf,
}

/// A stored reading.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Reading {
    /// When it was measured.
    pub at: Timestamp,
    /// When it was applied, where it is not yet in a block.
    pub received: Option<Timestamp>,
    /// What was measured, as delivered.
    pub value: Value,
}

/// What was noticed on the way into blocks.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Tally {
    /// Readings left out: same channel, time and value as another.
    pub repeats: u64,
    /// Readings kept beside another value of the same channel and time.
    pub contradictions: u64,
}

impl Reader {
    /// A reader by a connection that is open already.
    pub(super) fn of(connection: Connection, path: &Path) -> Self {
        Self { connection, path: path.to_path_buf() }
    }

    /// Opens the ledger at `path`.
    ///
    /// # Errors
    /// [`LedgerError`] where there is none, or none of this format.
    pub fn open(path: &Path) -> Result<Self, LedgerError> {
        Ok(Self { connection: open_to_read(path)?, path: path.to_path_buf() })
    }

    /// Names of the machines that it was ever kept for, in alphabetical order.
    ///
    /// # Errors
    /// [`LedgerError`] where they cannot be read.
    pub fn machines(&self) -> Result<Vec<String>, LedgerError> {
        let read = || -> rusqlite::Result<Vec<String>> {
            let mut names = self.connection.prepare("SELECT name FROM machine ORDER BY name")?;
            names.query_map([], |row| row.get(0))?.collect()
        };
        read().map_err(|source| self.failed("reading the names of its machines", source))
    }

    /// Calls `each` with index, bytes and parsed form of every record from
    /// `from` on, in order of the index, until it breaks.
    ///
    /// # Errors
    /// As for [`Reader::cycles`], and [`LedgerError::Damaged`] where a record is missing.
    pub fn records(
        &self,
        from: u64,
        mut each: impl FnMut(u64, &[u8], Record) -> ControlFlow<()>,
    ) -> Result<(), LedgerError> {
        let failed = |source| self.failed("reading records", source);
        let _one_state = self.one_state()?;
        let size = self.size()?;
        let mut statement = self
            .connection
            .prepare_cached("SELECT idx, leaf, bytes FROM record WHERE idx >= ?1 ORDER BY idx")
            .map_err(failed)?;
        let mut rows = statement.query([index_of(from)]).map_err(failed)?;
        let mut next = from;
        while let Some(row) = rows.next().map_err(failed)? {
            if row.get::<_, u64>(0).map_err(failed)? != next {
                return Err(LedgerError::Damaged(Part::Record { index: next }));
            }
            if self.give(row, &mut each)?.is_break() {
                return Ok(());
            }
            next += 1;
        }
        if next < size { Err(LedgerError::Damaged(Part::Record { index: next })) } else { Ok(()) }
    }

    /// The record with this index as it is stored, or why it cannot be read: it is missing,
    /// does not match its hash, lies on a page that makes no sense, or is of a later version.
    ///
    /// # Errors
    /// [`LedgerError`] where the database fails otherwise.
    pub fn record(&self, index: u64) -> Result<Found, LedgerError> {
        let read = || -> rusqlite::Result<Option<(bool, Vec<u8>)>> {
            self.connection
                .prepare_cached("SELECT leaf, bytes FROM record WHERE idx = ?1")?
                .query_row([index_of(index)], |row| {
                    let bytes: Vec<u8> = row.get(1)?;
                    Ok((leaf_hash(&bytes).0[..] == *row.get_ref(0)?.as_blob()?, bytes))
                })
                .optional()
        };
        match read() {
            Ok(Some((true, bytes))) => {
                let record = Record::from_bytes(&bytes);
                Ok(record
                    .map(|record| (bytes, record))
                    .map_err(|source| LedgerError::Record { index, source }))
            }
            Ok(Some((false, _)) | None) => Ok(Err(LedgerError::Damaged(Part::Record { index }))),
            Err(source) => {
                let error = self.failed("reading a record", source);
                if matches!(error, LedgerError::Corrupt { .. }) { Ok(Err(error)) } else { Err(error) }
            }
        }
    }

    /// The readings of a channel measured from `from` on and before `to`, in
    /// order of time, those of one instant in order of arrival, each once. A
    /// name that no reading was ever stored under has none.
    ///
    /// # Errors
    /// [`LedgerError::Damaged`] names a block that cannot be read; asking for the
    /// time before or after it gives the others.
    pub fn readings(
        &self,
        channel: &str,
        from: Timestamp,
        to: Timestamp,
    ) -> Result<Vec<Reading>, LedgerError> {
        let failed = |source| self.failed("reading readings", source);
        let _one_state = self.one_state()?;
        let known: Option<(i64, u64)> = self
            .connection
            .prepare_cached("SELECT id, compacted FROM channel WHERE name = ?1")
            .and_then(|mut statement| {
                statement.query_row([channel], |row| Ok((row.get(0)?, row.get(1)?))).optional()
            })
            .map_err(failed)?;
        let Some((number, compacted)) = known else { return Ok(Vec::new()) };
        let mut readings = self.readings_in_blocks(channel, number, from, to)?;
        for stretch in stretches_after(&self.connection, &self.path, compacted)? {
            for (input, entry) in (stretch.first..).zip(stretch.entries) {
                match entry.what {
                    What::Sample { channel, at, value }
                        if channel == number && input > compacted && from <= at && at < to =>
                    {
                        readings.push(Reading { at, received: Some(entry.now), value });
                    }
                    What::Sample { .. } | What::Tick { .. } | What::End { .. } => {}
                }
            }
        }
        readings.sort_by_key(|reading| reading.at);
        Ok(without_repeats(readings))
    }

    /// The trace of the cycle with this ledger index, where one is kept.
    ///
    /// # Errors
    /// [`LedgerError::Damaged`] where it cannot be read.
    pub fn trace(&self, index: u64) -> Result<Option<Trace>, LedgerError> {
        let bytes: Option<Vec<u8>> = self
            .connection
            .prepare_cached("SELECT bytes FROM trace WHERE idx = ?1")
            .and_then(|mut statement| statement.query_row([index_of(index)], |row| row.get(0)).optional())
            .map_err(|source| self.failed("reading a trace", source))?;
        bytes
            .map(|bytes| {
                blocks::decode_trace(&bytes).map_err(|_| LedgerError::Damaged(Part::Trace { index }))
            })
            .transpose()
    }

    /// The stored leaf hash of a record.
    ///
    /// # Errors
    /// [`LedgerError`] where the database fails.
    pub fn leaf(&self, index: u64) -> Result<Option<[u8; 32]>, LedgerError> {
        self.connection
            .prepare_cached("SELECT leaf FROM record WHERE idx = ?1")
            .and_then(|mut statement| statement.query_row([index_of(index)], |row| row.get(0)).optional())
            .map_err(|source| self.failed("reading a leaf hash", source))
    }

    /// Answers a question from one state of the ledger, whatever is committed meanwhile, and hands it the
    /// number of records of that state.
    ///
    /// # Errors
    /// Those of the question, and [`LedgerError`] where the database fails.
    pub fn in_one_state<T, E: From<LedgerError>>(
        &self,
        question: impl FnOnce(u64) -> Result<T, E>,
    ) -> Result<T, E> {
        let _one_state = self.one_state()?;
        question(self.size()?)
    }

    /// Number of records.
    ///
    /// # Errors
    /// [`LedgerError`] where the state of the ledger cannot be read.
    pub fn size(&self) -> Result<u64, LedgerError> {
        Ok(self.state()?.tree.size())
    }

    /// Root of the Merkle tree over all records (RFC 6962).
    ///
    /// # Errors
    /// [`LedgerError`] where the state of the ledger cannot be read.
    pub fn root(&self) -> Result<[u8; 32], LedgerError> {
        Ok(self.state()?.tree.root().0)
    }

    /// The latest instant at which something was stored, a reading or a record; `None` while it is empty.
    ///
    /// # Errors
    /// [`LedgerError`] where the state of the ledger cannot be read.
    pub fn last_recorded(&self) -> Result<Option<Timestamp>, LedgerError> {
        Ok(self.state()?.last_recorded.map(Timestamp::from_micros))
    }

    /// What was noticed on the way into blocks.
    ///
    /// # Errors
    /// [`LedgerError`] where the state of the ledger cannot be read.
    pub fn tally(&self) -> Result<Tally, LedgerError> {
        let state = self.state()?;
        Ok(Tally { repeats: state.repeats, contradictions: state.contradictions })
    }

    pub(super) fn state(&self) -> Result<State, LedgerError> {
        let state =
            read_state(&self.connection).map_err(|source| self.failed("reading its state", source))?;
        state.ok_or(LedgerError::Damaged(Part::State))
    }

    pub(super) fn failed(&self, step: &'static str, source: rusqlite::Error) -> LedgerError {
        look_around(&self.connection, LedgerError::from_database(&self.path, step, source))
    }

    /// Makes all reads up to the end of the guard see one state, unless a call around this one does.
    pub(super) fn one_state(&self) -> Result<Option<rusqlite::Transaction<'_>>, LedgerError> {
        if !self.connection.is_autocommit() {
            return Ok(None);
        }
        self.connection
            .unchecked_transaction()
            .map(Some)
            .map_err(|source| self.failed("beginning to read", source))
    }

    /// Checks a row of (index, leaf hash, bytes) and hands it on.
    pub(super) fn give(
        &self,
        row: &Row<'_>,
        each: &mut impl FnMut(u64, &[u8], Record) -> ControlFlow<()>,
    ) -> Result<ControlFlow<()>, LedgerError> {
        let failed = |source| self.failed("reading a record", source);
        let index: u64 = row.get(0).map_err(failed)?;
        let blob = |place| {
            row.get_ref(place)
                .and_then(|value| value.as_blob().map_err(rusqlite::Error::from))
                .map_err(failed)
        };
        let (leaf, bytes) = (blob(1)?, blob(2)?);
        if leaf_hash(bytes).0[..] != *leaf {
            return Err(LedgerError::Damaged(Part::Record { index }));
        }
        let record = Record::from_bytes(bytes).map_err(|source| LedgerError::Record { index, source })?;
        Ok(each(index, bytes, record))
    }

    fn readings_in_blocks(
        &self,
        channel: &str,
        number: i64,
        from: Timestamp,
        to: Timestamp,
    ) -> Result<Vec<Reading>, LedgerError> {
        let failed = |source| self.failed("reading blocks", source);
        let mut statement = self
            .connection
            .prepare_cached(
                "SELECT first, last, bytes FROM block
                 WHERE channel = ?1 AND first >= ?2 AND first < ?3 AND last >= ?4 ORDER BY id",
            )
            .map_err(failed)?;
        let mut rows = statement
            .query(params![number, from.minus(BLOCK_SPAN).micros(), to.micros(), from.micros()])
            .map_err(failed)?;
        let mut readings = Vec::new();
        while let Some(row) = rows.next().map_err(failed)? {
            let time = |place| row.get(place).map(Timestamp::from_micros).map_err(failed);
            let (first, last) = (time(0)?, time(1)?);
            let bytes = row.get_ref(2).map_err(failed)?.as_blob().map_err(|error| failed(error.into()))?;
            let points = blocks::decode(bytes).ok().filter(|points| {
                let ends = (points.first().map(|point| point.at), points.last().map(|point| point.at));
                ends == (Some(first), Some(last))
            });
            let points = points.ok_or_else(|| {
                LedgerError::Damaged(Part::Block { channel: channel.to_owned(), first, last })
            })?;
            readings.extend(
                points.into_iter().filter(|point| from <= point.at && point.at < to).map(|point| Reading {
                    at: point.at,
                    received: None,
                    value: point.value,
                }),
            );
        }
        Ok(readings)
    }
}

/// An index as the database counts; none is ever past its range.
pub(super) fn index_of(index: u64) -> i64 {
    i64::try_from(index).unwrap_or(i64::MAX)
}

/// Leaves the first of each time and value; expects order of time.
pub(super) fn without_repeats(readings: Vec<Reading>) -> Vec<Reading> {
    let mut once: Vec<Reading> = Vec::with_capacity(readings.len());
    for reading in readings {
        let repeated = once
            .iter()
            .rev()
            .take_while(|other| other.at == reading.at)
            .any(|other| same_value(other.value, reading.value));
        if !repeated {
            once.push(reading);
        }
    }
    once
}
