//! `history`: the cycles on record.

use std::io;
use std::ops::ControlFlow;
use std::path::PathBuf;

use super::{Failure, Streams, configuration, ledger};
use crate::cli::{FormArgs, HistoryArgs};
use crate::core::record::{Body, Record};
use crate::diagnostic::Diagnostic;
use crate::ledger::{CycleFilter, Reader};
use crate::report::row::CycleRow;
use crate::report::table::{Style, Table};
use crate::report::{csv, json};

pub(super) fn history(arguments: &HistoryArgs, streams: &mut Streams<'_>) -> Result<(), Failure> {
    let path = ledger_path(arguments, streams)?;
    let reader = Reader::open(&path).map_err(|error| ledger::diagnose(&error, &path))?;
    if let Some(name) = &arguments.machine {
        let known = reader.machines().map_err(|error| ledger::diagnose(&error, &path))?;
        if !known.contains(name) {
            return Err(unknown_machine(name, &known).into());
        }
    }
    let filter = CycleFilter {
        machine: arguments.machine.clone(),
        from: arguments.from,
        to: arguments.to,
        verdicts: arguments.verdicts.clone(),
        limit: arguments.limit,
        after_index: None,
    };
    let mut printer = Printer::new(arguments.form);
    let mut written = printer.start(streams);
    let mut print = |index, record: &Record| {
        let Body::Cycle(cycle) = &record.body else {
            return ControlFlow::Continue(());
        };
        let row = CycleRow::new(record.machine.as_deref().unwrap_or("-"), cycle, Some(index));
        written = printer.row(streams, &row);
        if written.is_ok() { ControlFlow::Continue(()) } else { ControlFlow::Break(()) }
    };
    let read = if arguments.limit.is_some() {
        newest_in_order(&reader, &filter, &mut print)
    } else {
        reader.cycles(&filter, |index, _, record| print(index, &record))
    };
    written.map_err(Failure::output)?;
    read.map_err(|error| ledger::diagnose(&error, &path))?;
    printer.finish(streams).map_err(Failure::output)
}

/// A name that is mistyped must not look like a machine without a cold cycle.
pub(super) fn unknown_machine(name: &str, known: &[String]) -> Diagnostic {
    let diagnostic = Diagnostic::error("usage", format!("the ledger knows no machine «{name}»"));
    if known.is_empty() {
        return diagnostic.advice("it was kept for no machine so far");
    }
    diagnostic.advice(format!("give one of its machines: {}", known.join(", ")))
}

/// The newest cycles up to the limit, given oldest first.
fn newest_in_order(
    reader: &Reader,
    filter: &CycleFilter,
    each: &mut impl FnMut(u64, &Record) -> ControlFlow<()>,
) -> Result<(), crate::ledger::LedgerError> {
    let mut newest = Vec::new();
    reader.cycles_newest_first(filter, |index, _, record| {
        newest.push((index, record));
        ControlFlow::Continue(())
    })?;
    for (index, record) in newest.iter().rev() {
        if each(*index, record).is_break() {
            break;
        }
    }
    Ok(())
}

fn ledger_path(arguments: &HistoryArgs, streams: &mut Streams<'_>) -> Result<PathBuf, Failure> {
    if let Some(path) = &arguments.ledger {
        return Ok(path.clone());
    }
    if arguments.files.is_empty() {
        let advice = "add --ledger FILE, or --config FILE for the ledger named there";
        let diagnostic = Diagnostic::error("usage", "which ledger?").advice(advice);
        return Err(diagnostic.into());
    }
    Ok(configuration::load(&arguments.files, streams)?.configuration.ledger.path)
}

/// Prints cycles in the form that was asked for.
#[derive(Debug)]
pub(super) enum Printer {
    Json,
    Csv,
    Table(Option<Table>),
}

impl Printer {
    pub(super) fn new(form: FormArgs) -> Self {
        if form.json {
            Self::Json
        } else if form.csv {
            Self::Csv
        } else {
            Self::Table(Some(Table::new(style())))
        }
    }

    pub(super) fn start(&self, streams: &mut Streams<'_>) -> io::Result<()> {
        match self {
            Self::Csv => csv::write_header(streams.out),
            Self::Json | Self::Table(_) => Ok(()),
        }
    }

    pub(super) fn row(&mut self, streams: &mut Streams<'_>, row: &CycleRow) -> io::Result<()> {
        match self {
            Self::Json => json::write_row(streams.out, row),
            Self::Csv => csv::write_row(streams.out, row),
            Self::Table(Some(table)) => table.write_row(streams.out, row),
            Self::Table(None) => Ok(()),
        }
    }

    pub(super) fn finish(&mut self, streams: &mut Streams<'_>) -> io::Result<()> {
        match self {
            Self::Table(table) => table.take().map_or(Ok(()), |table| table.finish(streams.out)),
            Self::Json | Self::Csv => Ok(()),
        }
    }
}

/// Local time; colour where a terminal reads and nobody asked for none (no-color.org).
pub(super) fn style() -> Style {
    use std::io::IsTerminal;
    let plain = std::env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty());
    Style { zone: jiff::tz::TimeZone::system(), colour: io::stdout().is_terminal() && !plain, advice: false }
}
