//! A table of cycles against the records it was made from: each row is made again from the record
//! that it names and from those of alerts that put it in doubt, and compared cell by cell.
//!
//! The table is read first, and of each row only its line and the hash of its cells are kept, some
//! 100 bytes; the records come one after the other; in the end rows that differ are read again,
//! to name their columns.

use std::collections::BTreeMap;
use std::io;
use std::ops::ControlFlow;

use jiff::tz::TimeZone;
use serde::Serialize;

use super::rows::{BYTES, Given, JSON_INDEX, Row, each_row, flatten};
use super::source::Source;
use crate::core::alert::doubts::Doubts;
use crate::core::cycle::verdict::Verdict;
use crate::core::evidence::Header;
use crate::core::evidence::examine::Seen;
use crate::core::record::Body;
use crate::core::time::Timestamp;
use crate::report::csv;
use crate::report::row::CycleRow;

/// Most rows that are named, of each fault.
const NAMED_MAX: usize = 50;
/// Most rows that are read (own choice: those of five machines over eighteen years, a gigabyte here).
const ROWS_MAX: usize = 10_000_000;
/// Most records without a row that are kept until it is known where the table begins and ends (own
/// choice: some 200 MB).
const ABSENT_MAX: usize = 1_000_000;

/// Form of a table.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Form {
    /// CSV with a header line.
    Csv,
    /// One JSON object a line.
    JsonLines,
}

/// What does not hold of a table. Lines are counted from 1.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub(super) enum TableFault {
    /// The header is not that of cycles.
    #[error("its columns are not those of an export of cycles")]
    Columns,
    /// A row that cannot be read.
    #[error("line {line} is no row of such a table")]
    Row {
        /// Line.
        line: u64,
    },
    /// A row that is longer than any, so that nothing behind it is read.
    #[error("line {line} is longer than any row of such a table: nothing from there on was read")]
    LongRow {
        /// Line.
        line: u64,
    },
    /// More rows than are read.
    #[error("it has more than {} rows, and the others were not read", ROWS_MAX)]
    ManyRows,
    /// A second row of one record.
    #[error("lines {first} and {line} are both of record {record}: one of them was put in")]
    Twice {
        /// Line of the first.
        first: u64,
        /// Line of the other.
        line: u64,
        /// Record.
        record: u64,
    },
    /// A row without a record.
    #[error(
        "line {line} is of record {record}, which is no sealed cycle of this span: the row was put in or its number changed"
    )]
    Added {
        /// Line.
        line: u64,
        /// Record.
        record: u64,
    },
    /// A row of a record that the evidence is too old to know.
    #[error(
        "line {line} is of record {record}, and this evidence counts only those before record {size}: make evidence of the same days after the table, and compare with that"
    )]
    Later {
        /// Line.
        line: u64,
        /// Record.
        record: u64,
        /// Records that the evidence counts.
        size: u64,
    },
    /// A record without a row.
    #[error("the row of record {record} is missing: {kind} of «{machine}», {at}")]
    Missing {
        /// Record.
        record: u64,
        /// Kind of the record.
        kind: &'static str,
        /// Machine, or the site.
        machine: String,
        /// Start of the final rinse; of other records the instant they were made.
        at: Timestamp,
    },
    /// A cell that is not as the record has it.
    #[error(
        "line {line}, column «{column}» says «{said}», and record {record} (made {recorded}) has «{sealed}»"
    )]
    Cell {
        /// Line.
        line: u64,
        /// Column.
        column: String,
        /// What the table says.
        said: String,
        /// What the record has.
        sealed: String,
        /// Record.
        record: u64,
        /// When that was made.
        recorded: Timestamp,
    },
    /// A rack that is in doubt by other alerts than the row says.
    #[error(
        "line {line} says «{said}» in «{column}» of record {record}, and by the alerts of this evidence it is «{sealed}»: that counts only records before {size}; where an alert came later, make evidence of the same days after the table, and compare with that"
    )]
    Doubt {
        /// Line.
        line: u64,
        /// Column.
        column: String,
        /// What the table says.
        said: String,
        /// What the evidence says.
        sealed: String,
        /// Record.
        record: u64,
        /// Records that the evidence counts.
        size: u64,
    },
    /// More of the same than are named.
    #[error("{more} more rows are not as they should be")]
    More {
        /// How many.
        more: u64,
    },
}

impl TableFault {
    /// A short word for programs.
    pub(super) const fn code(&self) -> &'static str {
        match self {
            Self::Columns => "columns",
            Self::Row { .. } => "row",
            Self::LongRow { .. } => "row-long",
            Self::ManyRows => "rows-many",
            Self::Twice { .. } => "row-twice",
            Self::Added { .. } => "row-added",
            Self::Later { .. } => "row-later",
            Self::Missing { .. } => "row-missing",
            Self::Cell { .. } => "cell",
            Self::Doubt { .. } => "doubt",
            Self::More { .. } => "more",
        }
    }
}

#[derive(Clone, Copy, Debug)]
struct Kept {
    line: u64,
    hash: [u8; 32],
    seen: bool,
}

/// A table under comparison.
#[derive(Debug)]
pub(super) struct Table {
    form: Form,
    source: Source,
    columns: usize,
    rows: BTreeMap<u64, Kept>,
    faults: Vec<TableFault>,
    /// What puts racks in doubt, by the evidence.
    doubts: Doubts,
    /// Sealed records without a row, with their time, and of cycles the verdict.
    absent: Vec<(Timestamp, Option<Verdict>, TableFault)>,
    /// Times of the first and of the last record that has a row.
    covered: Option<(Timestamp, Timestamp)>,
    more: u64,
    /// Rows that differ: what they should be.
    wrong: BTreeMap<u64, (Timestamp, Vec<(String, String)>)>,
}

impl Table {
    /// Reads a table through.
    pub(super) fn read(form: Form, source: Source) -> io::Result<Self> {
        let mut table = Self {
            form,
            source: source.clone(),
            columns: usize::MAX,
            rows: BTreeMap::new(),
            faults: Vec::new(),
            doubts: Doubts::default(),
            absent: Vec::new(),
            covered: None,
            more: 0,
            wrong: BTreeMap::new(),
        };
        table.columns = each_row(form, &source, |line, given| table.keep(line, given))?;
        if table.columns == 0 {
            table.faults.insert(0, TableFault::Columns);
        }
        Ok(table)
    }

    /// Racks are in doubt by these.
    pub(super) fn doubted_by(&mut self, doubts: Doubts) {
        self.doubts = doubts;
    }

    /// Number of its rows.
    pub(super) fn rows(&self) -> usize {
        self.rows.len()
    }

    fn fault(&mut self, fault: TableFault) {
        if self.faults.len() < NAMED_MAX {
            self.faults.push(fault);
        } else {
            self.more += 1;
        }
    }

    fn keep(&mut self, line: u64, given: Given) -> ControlFlow<()> {
        let row = match given {
            Given::Row(row) => row.index(self.form).map(|index| (row, index)),
            Given::NoRow => None,
            Given::TooLong => {
                self.faults.push(TableFault::LongRow { line });
                return ControlFlow::Break(());
            }
        };
        let Some((row, record)) = row else {
            self.fault(TableFault::Row { line });
            return ControlFlow::Continue(());
        };
        if self.rows.len() >= ROWS_MAX {
            self.faults.push(TableFault::ManyRows);
            return ControlFlow::Break(());
        }
        let kept = Kept { line, hash: row.hash(), seen: false };
        if let Some(first) = self.rows.get(&record) {
            let first = first.line;
            self.fault(TableFault::Twice { first, line, record });
        } else {
            self.rows.insert(record, kept);
        }
        ControlFlow::Continue(())
    }

    /// Compares with the next record of the evidence.
    pub(super) fn compare(&mut self, seen: &Seen, header: &Header, zone: &TimeZone) {
        if !self.form.has(seen, header) {
            return;
        }
        let at = time_of(seen);
        let Some(kept) = self.rows.get_mut(&seen.index) else {
            if self.absent.len() < ABSENT_MAX {
                self.absent.push((at, verdict_of(seen), missing(seen)));
            } else {
                self.more += 1;
            }
            return;
        };
        kept.seen = true;
        self.covered = Some(self.covered.map_or((at, at), |(first, last)| (first.min(at), last.max(at))));
        let cells = self.form.cells(seen, self.columns, zone, &self.doubts);
        if (Row { line: 0, cells: cells.clone() }).hash() == kept.hash {
            return;
        }
        if self.wrong.len() < NAMED_MAX {
            self.wrong.insert(seen.index, (seen.record.recorded, cells));
        } else {
            self.more += 1;
        }
    }

    /// Ends the comparison. A table that was made with the evidence has a row for all of it; one
    /// that was made by itself may be of a shorter span, which is told and is no fault. `size` is how many records the
    /// evidence counts.
    pub(super) fn finish(
        mut self,
        made_together: bool,
        size: u64,
    ) -> io::Result<(Vec<TableFault>, Option<Beyond>)> {
        let mut beyond = None;
        let mut missing = 0;
        for (at, verdict, fault) in std::mem::take(&mut self.absent) {
            match self.covered.filter(|(first, last)| !made_together && !(*first..=*last).contains(&at)) {
                Some((first, last)) => {
                    let none =
                        Beyond { first, last, before: 0, after: 0, racks: 0, not_plain: BTreeMap::new() };
                    beyond.get_or_insert(none).count(at, verdict);
                }
                None if missing < NAMED_MAX => {
                    missing += 1;
                    self.faults.push(fault);
                }
                None => self.more += 1,
            }
        }
        let added: Vec<(u64, u64)> = self
            .rows
            .iter()
            .filter(|(_, kept)| !kept.seen)
            .map(|(record, kept)| (kept.line, *record))
            .collect();
        for (line, record) in added {
            let known = record < size;
            let fault = if known {
                TableFault::Added { line, record }
            } else {
                TableFault::Later { line, record, size }
            };
            self.fault(fault);
        }
        let wrong = std::mem::take(&mut self.wrong);
        if !wrong.is_empty() {
            let (form, source) = (self.form, self.source.clone());
            each_row(form, &source, |_, given| {
                if let Given::Row(row) = given
                    && let Some(record) = row.index(form)
                    && let Some((recorded, sealed)) = wrong.get(&record)
                    && self.rows.get(&record).is_some_and(|kept| kept.line == row.line)
                {
                    self.faults.extend(differences(&row, (record, size), *recorded, sealed));
                }
                ControlFlow::Continue(())
            })?;
        }
        if self.more > 0 {
            self.faults.push(TableFault::More { more: self.more });
        }
        Ok((self.faults, beyond))
    }
}

/// What the evidence holds before and after the rows of a table that was made by itself.
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
pub(in crate::app) struct Beyond {
    /// Time of the first row.
    pub(super) first: Timestamp,
    /// Time of the last one.
    pub(super) last: Timestamp,
    /// Sealed records before the first row.
    pub(super) before: u64,
    /// And after the last one.
    pub(super) after: u64,
    /// How many of them are racks.
    pub(super) racks: u64,
    /// How many of those did not plainly pass, by their verdict.
    pub(super) not_plain: BTreeMap<Verdict, u64>,
}

impl Beyond {
    fn count(&mut self, at: Timestamp, verdict: Option<Verdict>) {
        *if at < self.first { &mut self.before } else { &mut self.after } += 1;
        self.racks += u64::from(verdict.is_some());
        if let Some(verdict) = verdict.filter(|verdict| *verdict != Verdict::Pass) {
            *self.not_plain.entry(verdict).or_default() += 1;
        }
    }
}

/// When a record stands in a table.
fn time_of(seen: &Seen) -> Timestamp {
    if let Body::Cycle(cycle) = &seen.record.body { cycle.rinse_started } else { seen.record.recorded }
}

fn verdict_of(seen: &Seen) -> Option<Verdict> {
    if let Body::Cycle(cycle) = &seen.record.body { Some(cycle.verdict) } else { None }
}

fn missing(seen: &Seen) -> TableFault {
    let at = time_of(seen);
    let machine = seen.record.machine.clone().unwrap_or_else(|| "the site".to_owned());
    TableFault::Missing { record: seen.index, kind: seen.record.body.kind(), machine, at }
}

fn differences(
    row: &Row,
    (record, size): (u64, u64),
    recorded: Timestamp,
    sealed: &[(String, String)],
) -> Vec<TableFault> {
    let of = |cells: &[(String, String)], column: &str| {
        cells.iter().find(|(name, _)| name == column).map(|(_, cell)| cell.clone())
    };
    let absent = || "nothing".to_owned();
    let columns = sealed.iter().chain(row.cells.iter().filter(|(name, _)| of(sealed, name).is_none()));
    columns
        .filter_map(|(column, _)| {
            let (said, sealed) = (of(&row.cells, column), of(sealed, column));
            if said == sealed {
                return None;
            }
            let (line, column) = (row.line, column.clone());
            let (said, sealed) = (said.unwrap_or_else(absent), sealed.unwrap_or_else(absent));
            Some(if column.contains(csv::IN_DOUBT_BY) {
                TableFault::Doubt { line, column, said, sealed, record, size }
            } else {
                TableFault::Cell { line, column, said, sealed, record, recorded }
            })
        })
        .collect()
}

impl Form {
    /// The cells that a row of this record has.
    fn cells(self, seen: &Seen, columns: usize, zone: &TimeZone, doubts: &Doubts) -> Vec<(String, String)> {
        match self {
            Self::Csv => {
                let cells = csv::cycle_cells(seen.index, &seen.record, zone, doubts).unwrap_or_default();
                let names = csv::cycle_header().into_iter().map(str::to_owned);
                names.zip(cells).take(columns).collect()
            }
            Self::JsonLines => {
                let mut cells = vec![(JSON_INDEX.to_owned(), seen.index.to_string())];
                if let Ok(record) = serde_json::to_value(&seen.record) {
                    flatten("record", &record, &mut cells);
                }
                cells.push((BYTES.to_owned(), seen.leaf.to_string()));
                if let Body::Cycle(cycle) = &seen.record.body {
                    let machine = seen.record.machine.as_deref().unwrap_or_default();
                    let row = CycleRow::new(machine, cycle, Some(seen.index)).recorded(&seen.record);
                    let row = row.in_doubt(&doubts.by(machine, seen.index, cycle));
                    flatten("row", &serde_json::to_value(row).unwrap_or_default(), &mut cells);
                }
                cells
            }
        }
    }

    /// The column that says which record a row is of.
    pub(super) const fn index(self) -> &'static str {
        match self {
            Self::Csv => "ledger_index",
            Self::JsonLines => JSON_INDEX,
        }
    }

    /// Whether a record has a row: cycles by the start of their final rinse, and in JSON Lines the
    /// others by the instant they were made.
    fn has(self, seen: &Seen, header: &Header) -> bool {
        let machine = seen.record.machine.as_deref();
        if let Body::Cycle(cycle) = &seen.record.body {
            return header.asks_for(machine.unwrap_or_default(), cycle.rinse_started);
        }
        let at = seen.record.recorded;
        let asked = machine.is_none_or(|name| header.asks_for(name, at));
        self == Self::JsonLines && asked && header.from <= at && at < header.to
    }
}
