//! Exports as JSON Lines: every record of a span as it is stored, a cycle with its row beside it.
//!
//! First the records that are no cycles, in order of the index, then the cycles, those of each
//! machine in order of time. `record` is byte for byte what is stored and hashed.

use std::io::{self, Write};
use std::path::Path;

use serde::Serialize;
use serde_json::value::RawValue;

use super::gather;
use super::{Failure, Progress};
use crate::app::alerts::doubts;
use crate::core::alert::doubts::Doubts;
use crate::core::record::{Body, Record};
use crate::ledger::Reader;
use crate::report::account::build::Question;
use crate::report::row::CycleRow;

/// One line.
#[derive(Serialize)]
struct Line<'l> {
    /// Index of the record in the ledger.
    index: u64,
    /// The record as it is stored.
    record: &'l RawValue,
    /// The cycle as `history --json` prints it, without its amendments; absent for other records.
    #[serde(skip_serializing_if = "Option::is_none")]
    row: Option<CycleRow>,
}

/// Writes the lines; gives the records that cannot be read.
pub(super) fn write(
    reader: &Reader,
    path: &Path,
    question: &Question,
    out: &mut dyn Write,
    progress: &mut Progress<'_>,
) -> Result<Vec<u64>, Failure> {
    let size = reader.size().map_err(|error| crate::app::ledger::diagnose(&error, path))?;
    let doubts = doubts::read(reader, size).map_err(|error| crate::app::ledger::diagnose(&error, path))?;
    let mut damaged = Vec::new();
    gather::others(reader, size, &mut damaged, &mut |index, bytes, record| {
        progress.step()?;
        if question.holds(record.recorded) && question.wants(record.machine.as_deref()) {
            line(out, index, bytes, record, &doubts)?;
        }
        Ok(())
    })
    .map_err(|stopped| stopped.told(path))?;
    gather::cycles(reader, question, question.from, size, &mut damaged, &mut |index, bytes, record| {
        progress.step()?;
        line(out, index, bytes, record, &doubts)
    })
    .map_err(|stopped| stopped.told(path))?;
    damaged.sort_unstable();
    Ok(damaged)
}

fn line(out: &mut dyn Write, index: u64, bytes: &[u8], record: &Record, doubts: &Doubts) -> io::Result<()> {
    let stored: &RawValue = serde_json::from_slice(bytes)?;
    let row = if let Body::Cycle(cycle) = &record.body {
        let machine = record.machine.as_deref().unwrap_or_default();
        let row = CycleRow::new(machine, cycle, Some(index)).recorded(record);
        Some(row.in_doubt(&doubts.by(machine, index, cycle)))
    } else {
        None
    };
    serde_json::to_writer(&mut *out, &Line { index, record: stored, row })?;
    out.write_all(b"\n")
}
