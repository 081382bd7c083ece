//! Records and what is kept beside them, read by several threads.
//!
//! Each thread takes the next part of the index, reads it with a connection of its own, and
//! hands over what it saw. A part that holds a damaged page is read once more, record by record.

use std::collections::BTreeMap;
use std::sync::mpsc::{SyncSender, sync_channel};
use std::sync::{Mutex, PoisonError};
use std::thread;

use rusqlite::{Connection, OptionalExtension, Row as DatabaseRow, Rows, Statement};

use crate::core::audit::{
    Audit, BesideFault, CycleFound, CycleRow, Finding, RecordFault, Row, Seen, TraceRow, examine,
};
use crate::core::time::Timestamp;
use crate::ledger::blocks::decode_trace;
use crate::ledger::error::LedgerError;
use crate::ledger::schema::verdict_of;

use super::days::Days;
use super::lookup::Sums;
use super::open::Source;
use super::tables::{Tables, is_damage};

/// Records of a part: enough that handing it over costs nothing, little enough to keep few of them.
const PART: i64 = 4_096;
/// Parts that may wait to be put together.
const WAITING_MAX: usize = 4;

/// What was seen, in order.
enum Piece {
    Seen(Seen),
    /// Records before this index, from the last one seen on, cannot be read.
    UnreadableTo(u64),
    Found(Finding),
}

/// Where the next part begins.
struct Next {
    number: u64,
    from: i64,
    ended: bool,
}

/// A part of the index: from `from` on, before `to`.
#[derive(Clone, Copy)]
struct Part {
    number: u64,
    from: i64,
    to: i64,
}

type Handed = Result<(u64, Vec<Piece>), LedgerError>;

/// Walks over all records and tells `audit` of them.
pub(super) fn walk(
    source: &Source,
    beside: super::Beside<'_>,
    threads: usize,
    audit: &mut Audit,
    far: &mut dyn FnMut(u64),
) -> Result<(), LedgerError> {
    let next = Mutex::new(Next { number: 0, from: i64::MIN, ended: false });
    let (hand_over, parts) = sync_channel::<Handed>(WAITING_MAX);
    thread::scope(|scope| {
        for _ in 0..threads {
            let hand_over = hand_over.clone();
            let next = &next;
            scope.spawn(move || {
                if let Err(error) =
                    Looker::open(source, beside).and_then(|looker| looker.work(next, &hand_over))
                {
                    // Nobody waits where another thread failed before.
                    drop(hand_over.send(Err(error)));
                }
            });
        }
        drop(hand_over);
        let mut early = BTreeMap::new();
        let mut wanted = 0;
        for part in parts {
            let (number, pieces) = part?;
            early.insert(number, pieces);
            while let Some(pieces) = early.remove(&wanted) {
                put_together(pieces, audit);
                far(audit.next());
                wanted += 1;
            }
        }
        Ok(())
    })
}

fn put_together(pieces: Vec<Piece>, audit: &mut Audit) {
    for piece in pieces {
        match piece {
            Piece::Seen(seen) => audit.take(seen),
            Piece::UnreadableTo(end) => audit.unreadable(end),
            Piece::Found(finding) => audit.found(finding),
        }
    }
}

/// A thread that reads.
struct Looker<'t> {
    connection: Connection,
    source: &'t Source,
    tables: &'t Tables,
    sums: Option<&'t Sums>,
    days: Option<&'t Days>,
}

impl<'t> Looker<'t> {
    fn open(source: &'t Source, beside: super::Beside<'t>) -> Result<Self, LedgerError> {
        let (connection, _) = source.open()?;
        let super::Beside { tables, sums, days } = beside;
        Ok(Self { connection, source, tables, sums, days })
    }

    fn work(&self, next: &Mutex<Next>, hand_over: &SyncSender<Handed>) -> Result<(), LedgerError> {
        while let Some(part) = self.claim(next)? {
            let pieces = self.look(part)?;
            if hand_over.send(Ok((part.number, pieces))).is_err() {
                // The one who puts together has given up.
                return Ok(());
            }
        }
        Ok(())
    }

    fn failed(&self, source: rusqlite::Error) -> LedgerError {
        LedgerError::from_database(&self.source.path, "reading records", source)
    }

    /// Takes the next part. It covers the index without a hole, so that what lies where no record
    /// is comes to light too; a hole of any width costs one look.
    fn claim(&self, next: &Mutex<Next>) -> Result<Option<Part>, LedgerError> {
        let mut next = next.lock().unwrap_or_else(PoisonError::into_inner);
        if next.ended {
            return Ok(None);
        }
        let first: rusqlite::Result<Option<i64>> = self
            .connection
            .prepare_cached("SELECT idx FROM record WHERE idx >= ?1 AND idx < ?2 ORDER BY idx LIMIT 1")
            .and_then(|mut first| first.query_row([next.from, self.tables.end], |row| row.get(0)).optional());
        let to = match first {
            Ok(Some(first)) => first + PART,
            Ok(None) => self.tables.end,
            Err(error) if is_damage(&error) => next.from.max(0) + PART,
            Err(error) => return Err(self.failed(error)),
        };
        let to = to.min(self.tables.end);
        next.ended = to >= self.tables.end;
        let part = Part { number: next.number, from: next.from, to };
        (next.number, next.from) = (next.number + 1, to);
        Ok(Some(part))
    }

    fn look(&self, part: Part) -> Result<Vec<Piece>, LedgerError> {
        let mut pieces = Vec::with_capacity(usize::try_from(PART).unwrap_or_default());
        let mut at = part.from;
        match self.in_a_row(part, &mut at, &mut pieces) {
            Ok(()) => {}
            Err(error) if is_damage(&error) => self.one_by_one(at.max(0), part, &mut pieces)?,
            Err(error) => return Err(self.failed(error)),
        }
        Ok(pieces)
    }

    /// Reads a part in the order of the tables; `at` is the record that could not be read.
    fn in_a_row(&self, part: Part, at: &mut i64, pieces: &mut Vec<Piece>) -> rusqlite::Result<()> {
        let mut records = self.connection.prepare_cached(
            "SELECT idx, kind, leaf, bytes FROM record WHERE idx >= ?1 AND idx < ?2 ORDER BY idx",
        )?;
        let mut cycles = self.connection.prepare_cached(CYCLES)?;
        let mut traces = self.connection.prepare_cached(TRACES)?;
        let mut cycles = Beside::begin(&mut cycles, part, "the table of cycles", |row| self.cycle(row));
        let mut traces =
            self.sums.is_some().then(|| Beside::begin(&mut traces, part, "the table of traces", trace));
        let mut days = self.days.map(Days::part);
        let mut rows = records.query([part.from, part.to])?;
        while let Some(row) = rows.next()? {
            let place: i64 = row.get(0)?;
            *at = place;
            cycles.strays_before(place, pieces, |index| BesideFault::CycleRowStray { index });
            if let Some(traces) = &mut traces {
                traces.strays_before(place, pieces, |index| BesideFault::TraceStray { index });
            }
            let (cycle, of_day) = match cycles.at(place) {
                Found::Unknown => (CycleFound::NotLookedAt, None),
                Found::None => (CycleFound::Absent, None),
                Found::Some((machine, cycle)) => {
                    let of_day = (machine, Timestamp::from_micros(cycle.rinse_started));
                    (CycleFound::There(cycle), Some(of_day))
                }
            };
            let trace = match traces.as_mut().map_or(Found::Unknown, |traces| traces.at(place)) {
                Found::Unknown => TraceRow::NotLookedAt,
                Found::None => TraceRow::Absent,
                Found::Some(trace) => trace,
            };
            if let Some(sums) = self.sums {
                let (leaf, bytes) = (row.get_ref(2)?.as_blob()?, row.get_ref(3)?.as_blob()?);
                sums.add_record(place, row.get_ref(1)?.as_str()?, leaf, bytes);
            }
            let piece = seen(place, row, 1, cycle, trace)?;
            if let (Some(days), Piece::Seen(seen)) = (&mut days, &piece) {
                days.take(place, of_day, row.get_ref(1)?.as_str()? == "cycle", seen);
            }
            pieces.push(piece);
            *at = place + 1;
        }
        cycles.strays_before(part.to, pieces, |index| BesideFault::CycleRowStray { index });
        if cycles.tell(pieces) {
            self.give_up();
        }
        if let Some(days) = days {
            days.finish();
        }
        if let Some(mut traces) = traces {
            traces.strays_before(part.to, pieces, |index| BesideFault::TraceStray { index });
            traces.tell(pieces);
        }
        Ok(())
    }

    /// Reads what can be read of a part with a damaged page. What is kept beside these records is
    /// not looked at: it lies on other pages, and the damage is told of already.
    fn one_by_one(&self, from: i64, part: Part, pieces: &mut Vec<Piece>) -> Result<(), LedgerError> {
        self.give_up();
        let mut record = self
            .connection
            .prepare_cached("SELECT kind, leaf, bytes FROM record WHERE idx = ?1")
            .map_err(|error| self.failed(error))?;
        let mut unreadable = None;
        for place in from..part.to {
            let piece = record
                .query_row([place], |row| seen(place, row, 0, CycleFound::NotLookedAt, TraceRow::NotLookedAt))
                .optional();
            match piece {
                Ok(Some(piece)) => {
                    pieces.extend(unreadable.take().map(Piece::UnreadableTo));
                    pieces.push(piece);
                }
                Ok(None) => pieces.extend(unreadable.take().map(Piece::UnreadableTo)),
                Err(error) if is_damage(&error) => unreadable = u64::try_from(place + 1).ok(),
                Err(error) => return Err(self.failed(error)),
            }
        }
        pieces.extend(unreadable.map(Piece::UnreadableTo));
        Ok(())
    }

    /// What was added up is not all there is, so that nothing can be compared with it.
    fn give_up(&self) {
        if let Some(sums) = self.sums {
            sums.give_up();
        }
        if let Some(days) = self.days {
            days.give_up();
        }
    }

    /// The row of a cycle, with the number of its machine.
    fn cycle(&self, row: &DatabaseRow<'_>) -> rusqlite::Result<(i64, CycleRow<'t>)> {
        let (machine, rinse_started, verdict) = (row.get(1)?, row.get(2)?, row.get(3)?);
        if let Some(sums) = self.sums {
            sums.add_cycle((row.get(0)?, machine, rinse_started, verdict));
        }
        let found = CycleRow {
            machine: self.tables.machines.get(&machine).map(String::as_str),
            rinse_started,
            verdict: verdict_of(verdict),
            rinse_min_c: row.get(4)?,
        };
        Ok((machine, found))
    }
}

const CYCLES: &str = "SELECT idx, machine, rinse_started, verdict, rinse_min_c FROM cycle
    WHERE idx >= ?1 AND idx < ?2 ORDER BY idx";
const TRACES: &str = "SELECT idx, bytes FROM trace WHERE idx >= ?1 AND idx < ?2 ORDER BY idx";

/// Looks at a row with kind, leaf hash and bytes from column `first` on.
fn seen(
    place: i64,
    row: &DatabaseRow<'_>,
    first: usize,
    cycle: CycleFound<'_>,
    trace: TraceRow,
) -> rusqlite::Result<Piece> {
    let Ok(index) = u64::try_from(place) else {
        return Ok(Piece::Found(RecordFault::RecordOutOfPlace { index: place }.into()));
    };
    let row = Row {
        index,
        kind: row.get_ref(first)?.as_str()?,
        leaf: row.get_ref(first + 1)?.as_blob()?,
        bytes: row.get_ref(first + 2)?.as_blob()?,
        cycle,
        trace,
    };
    Ok(Piece::Seen(examine(&row)))
}

fn trace(row: &DatabaseRow<'_>) -> rusqlite::Result<TraceRow> {
    let trace = decode_trace(row.get_ref(1)?.as_blob()?);
    Ok(trace.map_or(TraceRow::Unreadable, |trace| TraceRow::Sha256(trace.sha256().0)))
}

/// What lies beside a record.
enum Found<T> {
    /// It could not be read.
    Unknown,
    None,
    Some(T),
}

/// A table beside the records, read in step with them.
struct Beside<'s, T, R> {
    rows: Option<Rows<'s>>,
    read: R,
    head: Option<(i64, T)>,
    what: &'static str,
    at: i64,
    failed: Option<rusqlite::Error>,
}

impl<'s, T, R: Fn(&DatabaseRow<'_>) -> rusqlite::Result<T>> Beside<'s, T, R> {
    fn begin(statement: &'s mut Statement<'_>, part: Part, what: &'static str, read: R) -> Self {
        let mut beside = Self { rows: None, read, head: None, what, at: part.from.max(0), failed: None };
        match statement.query([part.from, part.to]) {
            Ok(rows) => {
                beside.rows = Some(rows);
                beside.advance();
            }
            Err(error) => beside.failed = Some(error),
        }
        beside
    }

    fn advance(&mut self) {
        self.head = None;
        let Some(rows) = &mut self.rows else { return };
        let next =
            rows.next().and_then(|row| row.map(|row| Ok((row.get(0)?, (self.read)(row)?))).transpose());
        match next {
            Ok(head) => self.head = head,
            Err(error) => (self.failed, self.rows) = (Some(error), None),
        }
    }

    /// Tells of the rows before `place`, which belong to no record.
    fn strays_before(&mut self, place: i64, pieces: &mut Vec<Piece>, fault: impl Fn(i64) -> BesideFault) {
        while let Some((at, _)) = self.head.take_if(|(at, _)| *at < place) {
            pieces.push(Piece::Found(fault(at).into()));
            self.advance();
        }
    }

    /// The row at `place`.
    fn at(&mut self, place: i64) -> Found<T> {
        if let Some((_, found)) = self.head.take_if(|(at, _)| *at == place) {
            self.at = place + 1;
            self.advance();
            return Found::Some(found);
        }
        if self.failed.is_some() { Found::Unknown } else { Found::None }
    }

    /// Says so where the table could not be read to the end of the part.
    fn tell(&self, pieces: &mut Vec<Piece>) -> bool {
        let fault = self.failed.as_ref().map(|error| BesideFault::TableUnreadable {
            what: self.what,
            from: self.at,
            cause: error.to_string(),
        });
        pieces.extend(fault.map(|fault| Piece::Found(fault.into())));
        self.failed.is_some()
    }
}
