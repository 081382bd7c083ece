//! Exports as CSV: the cycles, or every table of an account.

use std::io::Write;
use std::path::Path;

use super::gather::{self, Reach};
use super::place::Folder;
use super::{Failure, Progress};
use crate::app::alerts::doubts;
use crate::core::alert::doubts::Doubts;
use crate::core::file_name;
use crate::core::record::Record;
use crate::ledger::Reader;
use crate::report::account::build::Question;
use crate::report::csv::tables::Table;
use crate::report::csv::{cycle_cells, cycle_header, write_cells};

/// The cycles of the span; gives the records that cannot be read.
pub(super) fn cycles(
    reader: &Reader,
    path: &Path,
    question: &Question,
    out: &mut dyn Write,
    progress: &mut Progress<'_>,
) -> Result<Vec<u64>, Failure> {
    let size = reader.size().map_err(|error| crate::app::ledger::diagnose(&error, path))?;
    let doubts = doubts::read(reader, size).map_err(|error| crate::app::ledger::diagnose(&error, path))?;
    let mut damaged = Vec::new();
    write_cells(out, &cycle_header()).map_err(Failure::output)?;
    gather::cycles(reader, question, question.from, size, &mut damaged, &mut |index, _, record| {
        progress.step()?;
        write_cycle(index, record, question, &doubts, out)
    })
    .map_err(|stopped| stopped.told(path))?;
    Ok(damaged)
}

pub(super) fn write_cycle(
    index: u64,
    record: &Record,
    question: &Question,
    doubts: &Doubts,
    out: &mut dyn Write,
) -> std::io::Result<()> {
    cycle_cells(index, record, &question.zone, doubts).map_or(Ok(()), |cells| write_cells(out, &cells))
}

/// Every table, each in its file.
pub(super) fn all(
    reader: &Reader,
    path: &Path,
    question: Question,
    folder: &mut Folder,
    progress: &mut Progress<'_>,
) -> Result<(), Failure> {
    // Each place is looked at before the long part begins.
    let mut files = Vec::new();
    for table in Table::ALL {
        files.push((table, folder.file(&file_name::of_only(table.file(), &question.only))?));
    }
    let mut own = folder.file(&file_name::of_only("cycles.csv", &question.only))?;
    write_cells(own.writer(), &cycle_header()).map_err(Failure::output)?;
    let asked = question.clone();
    let unread = |error| crate::app::ledger::diagnose(&error, path);
    let reach = Reach::all(reader, None).map_err(unread)?;
    let doubts = reach.doubts(reader).map_err(unread)?;
    let mut cycle =
        |index, _: &[u8], record: &Record| write_cycle(index, record, &asked, &doubts, own.writer());
    let account = gather::account(reader, path, question, reach, &mut cycle, progress)?;
    folder.put(own);
    for (table, mut file) in files {
        let out = file.writer();
        write_cells(out, table.header()).map_err(Failure::output)?;
        for cells in table.rows(&account, &asked.zone) {
            write_cells(out, &cells).map_err(Failure::output)?;
        }
        folder.put(file);
    }
    folder.damaged = account.damaged;
    Ok(())
}
