//! Records of all kinds but cycles, by kind and time, and by what they speak of.
//!
//! Two derived tables serve: `event`, where each record stands at the start of its
//! event (see [`crate::core::late`]) and which machine it is of, and `about`, which names the records that speak of
//! an alert, or of another record: its amendments, the alerts it caused. Both are written
//! with the record. A query takes time for what it gives and for what lies in its span
//! without fitting; for the age of the ledger it grows with the logarithm only.
//!
//! In a file of format 1 that is only read, both are made in memory at the first query:
//! that takes one walk over all records.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::ControlFlow;

use rusqlite::{Connection, Rows, params};

use super::cycles::{Found, Order};
use super::error::LedgerError;
use super::reader::{Reader, index_of};
use crate::core::late::stands_at;
use crate::core::record::{Amendment, Body, CheckKind, Record};
use crate::core::time::Timestamp;

/// What records can speak of.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Subject {
    /// An alert, by its number.
    Alert(u64),
    /// A record, by its index.
    Record(u64),
}

/// Which records are wanted. The default is all but cycles.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct RecordFilter {
    /// Of these kinds, see [`Body::kind`]; empty means all but cycles.
    pub kinds: Vec<String>,
    /// Of this machine only.
    pub machine: Option<String>,
    /// Of no machine only, which are those of the whole site. Where a machine is asked for, it does not count.
    pub of_site: bool,
    /// Of checks, only those of this kind.
    pub check: Option<CheckKind>,
    /// That stand at this instant or later.
    pub from: Option<Timestamp>,
    /// That stand before this instant.
    pub to: Option<Timestamp>,
    /// At most so many.
    pub limit: Option<usize>,
    /// Those that follow the record with this index in the order of the call: the last one of
    /// the page before. A cycle, or a record that cannot be read, is followed by none.
    pub after_index: Option<u64>,
}

impl RecordFilter {
    /// Whose records they are, as a condition on the table; `?4` is the machine.
    const fn whose(&self) -> &'static str {
        match (&self.machine, self.of_site) {
            (Some(_), _) => "machine = ?4",
            (None, true) => "machine IS NULL AND ?4 IS NULL",
            (None, false) => "?4 IS NULL",
        }
    }
}

/// The word under which a record is looked up.
fn word(body: &Body) -> String {
    if let Body::Check(check) = body { word_of_check(check.kind()) } else { body.kind().to_owned() }
}

fn word_of_check(kind: CheckKind) -> String {
    format!("check:{}", kind.as_str())
}

/// What the two tables say of a record.
pub(super) struct Entries {
    /// The word that it is looked up under.
    pub(super) word: String,
    /// Where it stands in time, µs since the epoch.
    pub(super) at: i64,
    /// Name of its machine.
    pub(super) machine: Option<String>,
    /// Whether of an alert (0) or of a record (1), and of which one it speaks, each once.
    pub(super) about: BTreeSet<(i64, u64)>,
}

/// What the two tables say of a record; nothing of a cycle.
pub(super) fn entries(record: &Record) -> Option<Entries> {
    if matches!(record.body, Body::Cycle(_)) {
        return None;
    }
    let about = subjects(&record.body).into_iter().map(numbers).collect();
    let machine = record.machine.clone();
    Some(Entries { word: word(&record.body), at: stands_at(record).micros(), machine, about })
}

/// Notes where a record is to be found.
pub(super) fn put(connection: &Connection, index: u64, record: &Record) -> rusqlite::Result<()> {
    let Some(Entries { word, at, machine, about }) = entries(record) else { return Ok(()) };
    connection
        .prepare_cached("INSERT INTO event (kind, at, idx, machine) VALUES (?1, ?2, ?3, ?4)")?
        .execute(params![word, at, index, machine])?;
    for (subject, number) in about {
        connection
            .prepare_cached("INSERT INTO about (subject, number, idx) VALUES (?1, ?2, ?3)")?
            .execute(params![subject, number, index])?;
    }
    Ok(())
}

/// Notes all records that are there. Those that cannot be read are not found by kind.
pub(super) fn put_all(connection: &Connection) -> rusqlite::Result<()> {
    let mut statement =
        connection.prepare("SELECT idx, bytes FROM record WHERE kind <> 'cycle' ORDER BY idx")?;
    let mut rows = statement.query([])?;
    while let Some(row) = rows.next()? {
        let bytes = row.get_ref(1)?.as_blob().map_err(rusqlite::Error::from)?;
        if let Ok(record) = Record::from_bytes(bytes) {
            put(connection, row.get(0)?, &record)?;
        }
    }
    Ok(())
}

const fn numbers(subject: Subject) -> (i64, u64) {
    match subject {
        Subject::Alert(number) => (0, number),
        Subject::Record(index) => (1, index),
    }
}

/// What a record speaks of.
fn subjects(body: &Body) -> Vec<Subject> {
    let alert = body.alert().map(|number| Subject::Alert(number.0));
    let amended = if let Body::Amendment(amendment) = body { Some(amendment.of) } else { None };
    let records = body.causes().into_iter().chain([amended]);
    alert.into_iter().chain(records.flatten().map(Subject::Record)).collect()
}

impl Reader {
    /// Calls `each` with the index of the records that fit and what is stored there, in order
    /// of where they stand in time (then of the index), until it breaks. A damaged record is
    /// given as such, where the table has it under the machine that is asked for, and those after it follow.
    ///
    /// # Errors
    /// [`LedgerError`] where the database fails.
    pub fn events(
        &self,
        order: Order,
        filter: &RecordFilter,
        mut each: impl FnMut(u64, Found) -> ControlFlow<()>,
    ) -> Result<(), LedgerError> {
        let failed = |source| self.failed("looking up records", source);
        self.make_events()?;
        let _one_state = self.one_state()?;
        let Some(span) = self.span_of(order, filter)? else { return Ok(()) };
        let way = if order == Order::NewestFirst { "DESC" } else { "ASC" };
        let whose = filter.whose();
        let sql = format!(
            "SELECT at, idx FROM event WHERE {whose} AND kind = ?1 AND at >= ?2 AND at < ?3
             ORDER BY at {way}, idx {way}"
        );
        let words = words(filter);
        let mut statements = Vec::new();
        for _ in &words {
            statements.push(self.connection.prepare_cached(&sql).map_err(failed)?);
        }
        let mut walks = Vec::new();
        for (statement, word) in statements.iter_mut().zip(&words) {
            let rows = statement.query(params![word, span.from, span.to, filter.machine]).map_err(failed)?;
            let mut walk = Walk { rows, head: None };
            walk.advance().map_err(failed)?;
            walks.push(walk);
        }
        let mut left = filter.limit.unwrap_or(usize::MAX);
        while left > 0 {
            let heads = walks.iter_mut().filter(|walk| walk.head.is_some());
            let next = match order {
                Order::OldestFirst => heads.min_by_key(|walk| walk.head),
                Order::NewestFirst => heads.max_by_key(|walk| walk.head),
            };
            let Some(walk) = next else { break };
            let Some(head) = walk.head else { break };
            walk.advance().map_err(failed)?;
            if !span.holds(order, head) {
                continue;
            }
            let index = head.1.cast_unsigned();
            let found = self.record(index)?;
            let fits = |record: &Record| match &filter.machine {
                None => !filter.of_site || record.machine.is_none(),
                machine => record.machine == *machine,
            };
            if found.as_ref().is_ok_and(|(_, record)| !fits(record)) {
                continue;
            }
            left -= 1;
            if each(index, found).is_break() {
                break;
            }
        }
        Ok(())
    }

    /// How many records fit, counted no further than to `most`; limit and neighbour of the filter do not count. It
    /// reads no record.
    ///
    /// # Errors
    /// [`LedgerError`] where the database fails.
    pub fn events_counted(&self, filter: &RecordFilter, most: u64) -> Result<u64, LedgerError> {
        self.make_events()?;
        let Some(span) =
            self.span_of(Order::OldestFirst, &RecordFilter { after_index: None, ..filter.clone() })?
        else {
            return Ok(0);
        };
        let whose = filter.whose();
        let sql = format!(
            "SELECT COUNT(*) FROM (SELECT 1 FROM event WHERE {whose} AND kind = ?1 AND at >= ?2 AND at < ?3 LIMIT ?5)"
        );
        let count = || -> rusqlite::Result<u64> {
            let mut statement = self.connection.prepare_cached(&sql)?;
            let mut counted = 0;
            for word in words(filter) {
                let parts = params![word, span.from, span.to, filter.machine, index_of(most - counted)];
                counted += statement.query_row(parts, |row| row.get::<_, u64>(0))?;
            }
            Ok(counted)
        };
        count().map_err(|source| self.failed("counting records", source))
    }

    /// Where a query looks; `None` where nothing can follow the record it is to follow.
    fn span_of(&self, order: Order, filter: &RecordFilter) -> Result<Option<Span>, LedgerError> {
        let (from, to) =
            (filter.from.map_or(i64::MIN, Timestamp::micros), filter.to.map_or(i64::MAX, Timestamp::micros));
        let Some(index) = filter.after_index else { return Ok(Some(Span { from, to, after: None })) };
        let Ok((_, record)) = self.record(index)? else { return Ok(None) };
        if matches!(record.body, Body::Cycle(_)) {
            return Ok(None);
        }
        let at = stands_at(&record).micros();
        let after = Some((at, index_of(index)));
        Ok(Some(match order {
            Order::OldestFirst => Span { from: from.max(at), to, after },
            Order::NewestFirst => Span { from, to: to.min(at.saturating_add(1)), after },
        }))
    }

    /// Indices of the records that speak of an alert or of a record, in order.
    ///
    /// # Errors
    /// [`LedgerError`] where they cannot be looked up.
    pub fn about(&self, subject: Subject) -> Result<Vec<u64>, LedgerError> {
        self.make_events()?;
        let (subject, number) = numbers(subject);
        let read = || -> rusqlite::Result<Vec<u64>> {
            let sql = "SELECT idx FROM about WHERE subject = ?1 AND number = ?2 ORDER BY idx";
            let mut statement = self.connection.prepare_cached(sql)?;
            statement.query_map(params![subject, index_of(number)], |row| row.get(0))?.collect()
        };
        read().map_err(|source| self.failed("looking up what speaks of a record", source))
    }

    /// Indices of the records that raised an alert before an instant, of a machine or of all, where it had not closed
    /// by then, in order. It goes by the tables alone, so that one whose record is damaged is found too, and takes
    /// time for all that was ever said of alerts.
    ///
    /// # Errors
    /// [`LedgerError`] where they cannot be looked up.
    pub fn open_at(&self, at: Timestamp, machine: Option<&str>) -> Result<Vec<u64>, LedgerError> {
        self.make_events()?;
        let _one_state = self.one_state()?;
        let before = |kind: &str, at: i64, machine: Option<&str>| -> rusqlite::Result<BTreeSet<u64>> {
            let whose = if machine.is_some() { "machine = ?3" } else { "?3 IS NULL" };
            let sql = format!("SELECT idx FROM event WHERE {whose} AND kind = ?1 AND at < ?2");
            let mut statement = self.connection.prepare_cached(&sql)?;
            statement.query_map(params![kind, at, machine], |row| row.get(0))?.collect()
        };
        let read = || -> rusqlite::Result<Vec<u64>> {
            let raised = before("alert-raised", at.micros(), machine)?;
            // One that closed at that very instant was over.
            let closed = before("alert-closed", at.micros().saturating_add(1), None)?;
            let mut open: BTreeMap<u64, u64> = BTreeMap::new();
            let sql = "SELECT number, idx FROM about WHERE subject = 0 ORDER BY number, idx";
            let mut statement = self.connection.prepare_cached(sql)?;
            let mut rows = statement.query([])?;
            while let Some(row) = rows.next()? {
                let (number, index) = (row.get(0)?, row.get(1)?);
                if raised.contains(&index) {
                    open.insert(number, index);
                } else if closed.contains(&index) {
                    open.remove(&number);
                }
            }
            let mut open: Vec<u64> = open.into_values().collect();
            open.sort_unstable();
            Ok(open)
        };
        read().map_err(|source| self.failed("looking up open alerts", source))
    }

    /// The records that speak of an alert or of a record, in order, each with its index; those that are damaged as
    /// such.
    ///
    /// # Errors
    /// [`LedgerError`] where the database fails.
    pub fn records_about(&self, subject: Subject) -> Result<Vec<(u64, Found)>, LedgerError> {
        self.about(subject)?.into_iter().map(|index| Ok((index, self.record(index)?))).collect()
    }

    /// Indices of the records of one kind, of a machine or of all, that are on record before one, the newest first
    /// and at most so many: whatever the clocks said, which [`Reader::events`] goes by. It takes time for all such
    /// records of the machine.
    ///
    /// # Errors
    /// [`LedgerError`] where they cannot be looked up.
    pub fn newest_before(
        &self,
        index: u64,
        kind: &str,
        machine: Option<&str>,
        most: usize,
    ) -> Result<Vec<u64>, LedgerError> {
        self.beside(Order::NewestFirst, index, kind, machine, most)
    }

    /// Indices of the records of one kind, of one machine, that are on record after one, the oldest first and at most so
    /// many. It takes time for all such records of the machine.
    ///
    /// # Errors
    /// [`LedgerError`] where they cannot be looked up.
    pub fn oldest_after(
        &self,
        index: u64,
        kind: &str,
        machine: &str,
        most: usize,
    ) -> Result<Vec<u64>, LedgerError> {
        self.beside(Order::OldestFirst, index, kind, Some(machine), most)
    }

    /// Indices of the records of one kind before one, the newest first, or after it, the oldest first.
    fn beside(
        &self,
        order: Order,
        index: u64,
        kind: &str,
        machine: Option<&str>,
        most: usize,
    ) -> Result<Vec<u64>, LedgerError> {
        self.make_events()?;
        let whose = if machine.is_some() { "machine = ?3" } else { "?3 IS NULL" };
        let side = match order {
            Order::NewestFirst => "idx < ?2 ORDER BY idx DESC",
            Order::OldestFirst => "idx > ?2 ORDER BY idx",
        };
        let sql = format!("SELECT idx FROM event WHERE {whose} AND kind = ?1 AND {side} LIMIT ?4");
        let most = i64::try_from(most).unwrap_or(i64::MAX);
        let read = || -> rusqlite::Result<Vec<u64>> {
            let mut statement = self.connection.prepare_cached(&sql)?;
            statement.query_map(params![kind, index_of(index), machine, most], |row| row.get(0))?.collect()
        };
        read().map_err(|source| self.failed("looking up records", source))
    }

    /// The amendments of a record, in order of their index. One that speaks of it and cannot be
    /// read is given as `None`: it may be an amendment.
    ///
    /// # Errors
    /// [`LedgerError`] where the database fails.
    pub fn amendments(&self, of: u64) -> Result<Vec<(u64, Option<Amendment>)>, LedgerError> {
        let mut amendments = Vec::new();
        for (index, found) in self.records_about(Subject::Record(of))? {
            match found.map(|(_, record)| record.body) {
                Ok(Body::Amendment(amendment)) => amendments.push((index, Some(*amendment))),
                Ok(_) => {}
                Err(_) => amendments.push((index, None)),
            }
        }
        Ok(amendments)
    }

    /// In a file of format 1 the tables are in the memory of the connection, and empty at first.
    fn make_events(&self) -> Result<(), LedgerError> {
        let make = || -> rusqlite::Result<()> {
            let empty = "SELECT 1 FROM temp.sqlite_schema WHERE name = 'event'
                         AND NOT EXISTS (SELECT 1 FROM event)";
            if self.connection.prepare_cached(empty)?.exists([])? {
                put_all(&self.connection)?;
            }
            Ok(())
        };
        make().map_err(|source| self.failed("looking through its records", source))
    }
}

/// The words that a filter asks for, each once.
fn words(filter: &RecordFilter) -> Vec<String> {
    let checks =
        || CheckKind::ALL.into_iter().filter(|kind| filter.check.is_none_or(|wanted| wanted == *kind));
    let wanted = |kind: &str| filter.kinds.is_empty() || filter.kinds.iter().any(|wanted| wanted == kind);
    let mut words = Vec::new();
    for kind in Body::EVENTS.into_iter().filter(|kind| wanted(kind)) {
        if kind == "check" {
            words.extend(checks().map(word_of_check));
        } else if filter.check.is_none() {
            words.push(kind.to_owned());
        }
    }
    words
}

/// Where a query looks: times in µs since the epoch, and the (time, index) it goes on behind.
#[derive(Clone, Copy)]
struct Span {
    from: i64,
    to: i64,
    after: Option<(i64, i64)>,
}

impl Span {
    fn holds(&self, order: Order, head: (i64, i64)) -> bool {
        self.after.is_none_or(|after| match order {
            Order::OldestFirst => head > after,
            Order::NewestFirst => head < after,
        })
    }
}

/// The records of one word, in order of (time, index).
struct Walk<'a> {
    rows: Rows<'a>,
    head: Option<(i64, i64)>,
}

impl Walk<'_> {
    fn advance(&mut self) -> rusqlite::Result<()> {
        self.head = match self.rows.next()? {
            Some(row) => Some((row.get(0)?, row.get(1)?)),
            None => None,
        };
        Ok(())
    }
}
