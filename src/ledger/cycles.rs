//! The history of cycles, by machine, time and verdict, page by page in both directions.
//!
//! A page takes time for its own cycles and for those of its start that are skipped
//! at one instant, not for the age of the ledger: each verdict is one walk along an
//! index, and the walks are merged.

use std::ops::{ControlFlow, RangeInclusive};
use std::rc::Rc;

use rusqlite::{OptionalExtension, Rows, params};

use crate::core::cycle::verdict::Verdict;
use crate::core::record::Record;
use crate::core::time::Timestamp;

use super::error::LedgerError;
use super::reader::{Reader, index_of};
use super::schema::verdict_number;

/// Which cycles are wanted. The default is all of them.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct CycleFilter {
    /// Of this machine only.
    pub machine: Option<String>,
    /// With a final rinse that started at this instant or later.
    pub from: Option<Timestamp>,
    /// With a final rinse that started before this instant.
    pub to: Option<Timestamp>,
    /// With one of these verdicts; empty means any.
    pub verdicts: Vec<Verdict>,
    /// At most so many.
    pub limit: Option<usize>,
    /// Those that follow the cycle with this ledger index in the order of the
    /// call: the last one of the page before.
    pub after_index: Option<u64>,
}

/// Which way records are given.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Order {
    /// In order of time.
    OldestFirst,
    /// The newest first.
    NewestFirst,
}

/// A stored record: its bytes as they are, and what they say; or why it cannot be read.
pub type Found = Result<(Vec<u8>, Record), LedgerError>;

impl Reader {
    /// Calls `each` with ledger index, bytes and parsed form of the cycles that
    /// fit, in order of the start of their final rinse (then of the index),
    /// until it breaks.
    ///
    /// # Errors
    /// [`LedgerError::Damaged`] or [`LedgerError::Record`] at the first record
    /// that does not match its hash or cannot be read.
    pub fn cycles(
        &self,
        filter: &CycleFilter,
        each: impl FnMut(u64, &[u8], Record) -> ControlFlow<()>,
    ) -> Result<(), LedgerError> {
        self.cycles_in(Order::OldestFirst, filter, each)
    }

    /// The same as [`Reader::cycles`], the newest first.
    ///
    /// # Errors
    /// As there.
    pub fn cycles_newest_first(
        &self,
        filter: &CycleFilter,
        each: impl FnMut(u64, &[u8], Record) -> ControlFlow<()>,
    ) -> Result<(), LedgerError> {
        self.cycles_in(Order::NewestFirst, filter, each)
    }

    /// Calls `each` with the ledger index of the cycles that fit and what is stored there, in
    /// order of the start of their final rinse (then of the index), until it breaks. A damaged
    /// record is given as such, and those after it follow.
    ///
    /// # Errors
    /// [`LedgerError`] where the database fails.
    pub fn cycles_found(
        &self,
        order: Order,
        filter: &CycleFilter,
        each: impl FnMut(u64, Found) -> ControlFlow<()>,
    ) -> Result<(), LedgerError> {
        self.with_records(|give| self.cycles_indexed(order, filter, |_, index| give(index)), each)
    }

    /// Calls `each` with the index and what is stored there of each record that a walk gives, until it breaks.
    ///
    /// # Errors
    /// Those of the walk, and [`LedgerError`] where the database fails.
    pub fn with_records(
        &self,
        walk: impl FnOnce(&mut dyn FnMut(u64) -> ControlFlow<()>) -> Result<(), LedgerError>,
        mut each: impl FnMut(u64, Found) -> ControlFlow<()>,
    ) -> Result<(), LedgerError> {
        let mut failure = None;
        walk(&mut |index| match self.record(index) {
            Ok(found) => each(index, found),
            Err(error) => {
                failure = Some(error);
                ControlFlow::Break(())
            }
        })?;
        failure.map_or(Ok(()), Err)
    }

    /// How many cycles fit, counted no further than to `most`; limit and neighbour of the filter do not count. It reads
    /// no record.
    ///
    /// # Errors
    /// [`LedgerError`] where the database fails.
    pub fn cycles_counted(&self, filter: &CycleFilter, most: u64) -> Result<u64, LedgerError> {
        let whole = CycleFilter { after_index: None, ..filter.clone() };
        let count = || -> rusqlite::Result<u64> {
            let Some(bounds) = self.bounds(Order::OldestFirst, &whole)? else { return Ok(0) };
            let Bounds { sql, machine, from, to, .. } = &bounds;
            let sql = format!("SELECT COUNT(*) FROM ({sql} LIMIT ?5)");
            let mut statement = self.connection.prepare_cached(&sql)?;
            let verdicts: &[Verdict] =
                if whole.verdicts.is_empty() { &Verdict::ALL } else { &whole.verdicts };
            let mut counted = 0;
            for verdict in verdicts {
                let parts = params![machine, verdict_number(*verdict), from, to, index_of(most - counted)];
                counted += statement.query_row(parts, |row| row.get::<_, u64>(0))?;
            }
            Ok(counted)
        };
        count().map_err(|source| self.failed("counting in the history", source))
    }

    /// Calls `each` with the index of every cycle between two records, both included, in order of the index, and with
    /// whether it passed and is of the machine, or of any where none is named. It reads no record, and takes time for
    /// every cycle between the two.
    ///
    /// # Errors
    /// [`LedgerError`] where the database fails.
    pub fn passed_between(
        &self,
        order: Order,
        records: &RangeInclusive<u64>,
        machine: Option<&str>,
        mut each: impl FnMut(u64, bool) -> ControlFlow<()>,
    ) -> Result<(), LedgerError> {
        let failed = |source| self.failed("reading the history", source);
        let _one_state = self.one_state()?;
        let filter = CycleFilter { machine: machine.map(ToOwned::to_owned), ..CycleFilter::default() };
        let Some(Bounds { machine, .. }) = self.bounds(order, &filter).map_err(failed)? else {
            return Ok(());
        };
        let way = if order == Order::NewestFirst { "DESC" } else { "ASC" };
        let sql = format!(
            "SELECT idx, (?3 IS NULL OR machine = ?3) AND verdict IN (?4, ?5) FROM cycle
             WHERE idx >= ?1 AND idx <= ?2 ORDER BY idx {way}"
        );
        let mut statement = self.connection.prepare_cached(&sql).map_err(failed)?;
        let [narrow, pass] = [Verdict::Narrow, Verdict::Pass].map(verdict_number);
        let (first, last) = (index_of(*records.start()), index_of(*records.end()));
        let mut rows = statement.query(params![first, last, machine, narrow, pass]).map_err(failed)?;
        while let Some(row) = rows.next().map_err(failed)? {
            if each(row.get(0).map_err(failed)?, row.get(1).map_err(failed)?).is_break() {
                break;
            }
        }
        Ok(())
    }

    /// Calls `each` with the start of the final rinse and the index of the cycles of some machines that passed, in order
    /// of that start (then of the index), until it breaks: the span of the filter and the cycle that it goes on from
    /// count. It reads no record, and no cycle of another machine.
    ///
    /// # Errors
    /// [`LedgerError`] where the database fails.
    pub fn passed_of<'m>(
        &self,
        order: Order,
        machines: impl IntoIterator<Item = &'m str>,
        filter: &CycleFilter,
        mut each: impl FnMut(Timestamp, u64) -> ControlFlow<()>,
    ) -> Result<(), LedgerError> {
        let of = |machine: &str| CycleFilter {
            machine: Some(machine.to_owned()),
            verdicts: vec![Verdict::Narrow, Verdict::Pass],
            ..filter.clone()
        };
        let filters: Vec<CycleFilter> = machines.into_iter().map(of).collect();
        self.merged(order, &filters, filter.limit, |at, index| each(Timestamp::from_micros(at), index))
    }

    /// The cycles of [`Reader::cycles_found`] without the records: start of the final rinse in µs, and index.
    pub(super) fn cycles_indexed(
        &self,
        order: Order,
        filter: &CycleFilter,
        each: impl FnMut(i64, u64) -> ControlFlow<()>,
    ) -> Result<(), LedgerError> {
        self.merged(order, std::slice::from_ref(filter), filter.limit, each)
    }

    /// The cycles that fit one of some filters, of which none fits two, in one order.
    fn merged(
        &self,
        order: Order,
        filters: &[CycleFilter],
        limit: Option<usize>,
        mut each: impl FnMut(i64, u64) -> ControlFlow<()>,
    ) -> Result<(), LedgerError> {
        let failed = |source| self.failed("reading the history", source);
        let _one_state = self.one_state()?;
        // One stream for each verdict, all in order: no sorting, however many cycles there are.
        let mut statements = Vec::new();
        for filter in filters {
            let Some(bounds) = self.bounds(order, filter).map_err(failed)? else { continue };
            let verdicts: &[Verdict] =
                if filter.verdicts.is_empty() { &Verdict::ALL } else { &filter.verdicts };
            let bounds = Rc::new(bounds);
            for verdict in verdicts {
                let statement = self.connection.prepare(&bounds.sql).map_err(failed)?;
                statements.push((statement, *verdict, Rc::clone(&bounds)));
            }
        }
        let mut streams = Vec::new();
        for (statement, verdict, bounds) in &mut statements {
            let rows = statement
                .query(params![bounds.machine, verdict_number(*verdict), bounds.from, bounds.to])
                .map_err(failed)?;
            streams.push(Stream::start(rows, bounds).map_err(failed)?);
        }
        let mut left = limit.unwrap_or(usize::MAX);
        while left > 0 {
            let heads = streams.iter_mut().filter(|stream| stream.head.is_some());
            let next = match order {
                Order::OldestFirst => heads.min_by_key(|stream| stream.head),
                Order::NewestFirst => heads.max_by_key(|stream| stream.head),
            };
            let Some(stream) = next else { break };
            let Some((at, index)) = stream.head else { break };
            if each(at, index.cast_unsigned()).is_break() {
                break;
            }
            stream.advance().map_err(failed)?;
            left -= 1;
        }
        Ok(())
    }

    fn cycles_in(
        &self,
        order: Order,
        filter: &CycleFilter,
        mut each: impl FnMut(u64, &[u8], Record) -> ControlFlow<()>,
    ) -> Result<(), LedgerError> {
        let mut damage = None;
        self.cycles_found(order, filter, |index, found| match found {
            Ok((bytes, record)) => each(index, &bytes, record),
            Err(error) => {
                damage = Some(error);
                ControlFlow::Break(())
            }
        })?;
        damage.map_or(Ok(()), Err)
    }

    /// Puts a filter into numbers; `None` where nothing can fit.
    fn bounds(&self, order: Order, filter: &CycleFilter) -> rusqlite::Result<Option<Bounds>> {
        let machine: Option<i64> = match &filter.machine {
            None => None,
            Some(name) => {
                let known = self
                    .connection
                    .query_row("SELECT id FROM machine WHERE name = ?1", [name], |row| row.get(0))
                    .optional()?;
                if known.is_none() {
                    return Ok(None);
                }
                known
            }
        };
        let after: Option<(i64, i64)> = match filter.after_index {
            None => None,
            Some(index) => {
                let known = self
                    .connection
                    .query_row(
                        "SELECT rinse_started, idx FROM cycle WHERE idx = ?1",
                        [index_of(index)],
                        |row| Ok((row.get(0)?, row.get(1)?)),
                    )
                    .optional()?;
                if known.is_none() {
                    return Ok(None);
                }
                known
            }
        };
        let mut from = filter.from.map_or(i64::MIN, Timestamp::micros);
        let mut to = filter.to.map_or(i64::MAX, Timestamp::micros);
        match (order, after) {
            (Order::OldestFirst, Some((at, _))) => from = from.max(at),
            (Order::NewestFirst, Some((at, _))) => to = to.min(at.saturating_add(1)),
            (Order::OldestFirst | Order::NewestFirst, None) => {}
        }
        let whose = if machine.is_some() { "machine = ?1 AND" } else { "?1 IS NULL AND" };
        let way = if order == Order::NewestFirst { "DESC" } else { "ASC" };
        let sql = format!(
            "SELECT rinse_started, idx FROM cycle
             WHERE {whose} verdict = ?2 AND rinse_started >= ?3 AND rinse_started < ?4
             ORDER BY rinse_started {way}, idx {way}"
        );
        Ok(Some(Bounds { sql, machine, from, to, after, order }))
    }
}

/// A filter in the numbers of the database.
struct Bounds {
    sql: String,
    machine: Option<i64>,
    from: i64,
    to: i64,
    after: Option<(i64, i64)>,
    order: Order,
}

/// The cycles of one verdict, in order of (start of the final rinse, index).
struct Stream<'a> {
    rows: Rows<'a>,
    head: Option<(i64, i64)>,
}

impl<'a> Stream<'a> {
    /// Goes to the first cycle past the page before.
    fn start(rows: Rows<'a>, bounds: &Bounds) -> rusqlite::Result<Self> {
        let mut stream = Self { rows, head: None };
        stream.advance()?;
        while let (Some(head), Some(after)) = (stream.head, bounds.after) {
            let passed = match bounds.order {
                Order::OldestFirst => head > after,
                Order::NewestFirst => head < after,
            };
            if passed {
                break;
            }
            stream.advance()?;
        }
        Ok(stream)
    }

    fn advance(&mut self) -> rusqlite::Result<()> {
        self.head = match self.rows.next()? {
            Some(row) => Some((row.get(0)?, row.get(1)?)),
            None => None,
        };
        Ok(())
    }
}
