//! `history`: what an auditor asks of the record.
//!
//! A damaged record ends nothing: the rest is shown, and at the end each damaged one is
//! named, with the exit code of a file that failed.

mod cycles;
mod days;
mod drift;
mod events;
mod one;

use std::io;
use std::path::{Path, PathBuf};

use jiff::tz::TimeZone;

use super::export::gather;
use super::{Failure, Streams, configuration, ledger};
use crate::cli::{FormArgs, HistoryArgs, Show};
use crate::core::alert::Settings;
use crate::core::reader::Scale;
use crate::core::time::Timestamp;
use crate::diagnostic::Diagnostic;
use crate::ledger::{LedgerError, Reader};
use crate::report::local;
use crate::report::row::CycleRow;
use crate::report::sheet::{Column, Form, Sheet};
use crate::report::table::{Style, Table};
use crate::report::{csv, json};
use crate::runtime::clock::Clock;

/// Most damaged records that are named one by one.
const DAMAGED_NAMED: usize = 20;

/// What a question is asked of.
struct Ground {
    reader: Reader,
    path: PathBuf,
    /// Zone of the site; that of this computer where nothing says another.
    zone: TimeZone,
    /// Hours of the site, where a configuration says them.
    settings: Option<Settings>,
    /// What says zone and hours.
    said_by: SaidBy,
    from: Option<Timestamp>,
    to: Option<Timestamp>,
    now: Timestamp,
    damaged: Vec<(u64, LedgerError)>,
}

/// What says the zone and the hours of the site.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
enum SaidBy {
    /// A configuration that was given.
    Given,
    /// The configuration on record that is in force.
    Record,
    /// Nothing: the zone is that of this computer, the hours are not known.
    Nothing,
}

pub(super) fn history(arguments: &HistoryArgs, streams: &mut Streams<'_>) -> Result<(), Failure> {
    check(arguments)?;
    let mut ground = Ground::open(arguments, streams)?;
    if let Some(index) = arguments.record {
        return one::record(&mut ground, index, arguments, streams);
    }
    match arguments.show {
        Show::Cycles => cycles::show(&mut ground, arguments, streams)?,
        Show::Days => days::days(&mut ground, arguments, streams)?,
        Show::Summary => days::summary(&mut ground, arguments, streams)?,
        Show::Drift => drift::show(&mut ground, arguments, streams)?,
        Show::Gaps => days::gaps(&mut ground, arguments, streams)?,
        Show::Checks => events::checks(&mut ground, arguments, streams)?,
        Show::Alerts => events::alerts(&mut ground, arguments, streams)?,
        Show::Records => events::records(&mut ground, arguments, streams)?,
        Show::InForce => one::in_force(&mut ground, arguments, streams)?,
    }
    tell_damaged(&ground.damaged, &ground.path)
}

/// A choice that a view would pass over in silence is refused.
fn check(arguments: &HistoryArgs) -> Result<(), Failure> {
    let show = arguments.show;
    let in_pages = matches!(show, Show::Cycles | Show::Checks | Show::Alerts | Show::Records);
    let choices = [
        ("--alert", arguments.alert.is_some(), matches!(show, Show::Cycles | Show::Alerts | Show::Records)),
        ("--check", arguments.check.is_some(), matches!(show, Show::Checks | Show::Records)),
        ("--kind", !arguments.kinds.is_empty(), show == Show::Records),
        ("--verdict", !arguments.verdicts.is_empty(), show == Show::Cycles),
        ("--after", arguments.after.is_some(), in_pages),
        ("--limit", arguments.limit.is_some(), show != Show::Drift),
        ("--newest-first", arguments.newest_first, show != Show::Drift),
        ("--at", arguments.at.is_some(), show == Show::InForce),
    ];
    let wrong = choices.into_iter().find(|(_, given, fits)| *given && !fits);
    match wrong.filter(|_| arguments.record.is_none()) {
        None => Ok(()),
        Some((option, ..)) => {
            let summary = format!("{option} says nothing to what is to be shown");
            Err(Diagnostic::error("usage", summary).advice("see rinseward history --help").into())
        }
    }
}

impl Ground {
    fn open(arguments: &HistoryArgs, streams: &mut Streams<'_>) -> Result<Self, Failure> {
        let loaded = match arguments.files.as_slice() {
            [] => None,
            files => Some(configuration::load(files, streams)?.configuration),
        };
        let path = match (&arguments.ledger, &loaded) {
            (Some(path), _) => path.clone(),
            (None, Some(loaded)) => loaded.ledger.path.clone(),
            (None, None) => {
                let advice = "add --ledger FILE, or --config FILE for the ledger named there";
                return Err(Diagnostic::error("usage", "which ledger?").advice(advice).into());
            }
        };
        let reader = Reader::open(&path).map_err(|error| ledger::diagnose(&error, &path))?;
        if let Some(name) = &arguments.machine {
            let known = reader.machines().map_err(|error| ledger::diagnose(&error, &path))?;
            if !known.contains(name) {
                return Err(unknown_machine(name, &known).into());
            }
        }
        let (settings, said_by) = match loaded {
            Some(loaded) => (Some(loaded.alerts), SaidBy::Given),
            None => recorded(&reader).map_err(|error| ledger::diagnose(&error, &path))?,
        };
        let zone = settings.as_ref().map_or_else(TimeZone::system, |settings| settings.zone.clone());
        let in_zone = |moment: Option<crate::cli::Moment>| moment.map(|moment| moment.in_zone(&zone));
        let (from, to) = (in_zone(arguments.from), arguments.to.map(|to| to.end_in_zone(&zone)));
        if from.zip(to).is_some_and(|(from, to)| to <= from) {
            let diagnostic = Diagnostic::error("usage", "the span ends before it begins");
            return Err(diagnostic
                .advice("--to names the last day, or the first instant after the span")
                .into());
        }
        let now = Clock::system().now();
        Ok(Self { reader, path, zone, settings, said_by, from, to, now, damaged: Vec::new() })
    }

    /// Whose clock the times of a table are.
    fn whose(&self) -> String {
        let name = local::zone_name(&self.zone, self.now);
        match self.said_by {
            SaidBy::Given => format!("{name}, the zone of the site"),
            SaidBy::Record => format!("{name}, the zone of the site by the configuration on record"),
            SaidBy::Nothing => {
                format!("{name}, the zone of this computer: no configuration on record says that of the site")
            }
        }
    }

    fn sheet(&self, columns: &'static [Column], arguments: &HistoryArgs) -> Sheet {
        let form = match arguments.form {
            FormArgs { json: true, .. } => Form::Json,
            FormArgs { csv: true, .. } => Form::Csv,
            FormArgs { .. } => Form::Table,
        };
        Sheet { columns, form, zone: self.zone.clone(), scale: arguments.scale }
    }

    fn failed(&self, error: &LedgerError) -> Failure {
        ledger::diagnose(error, &self.path).into()
    }
}

/// Names what could not be read; whatever could has been shown.
pub(super) fn tell_damaged(damaged: &[(u64, LedgerError)], path: &Path) -> Result<(), Failure> {
    if damaged.is_empty() {
        return Ok(());
    }
    let more = damaged.len().saturating_sub(DAMAGED_NAMED);
    let named = damaged.iter().take(DAMAGED_NAMED);
    let mut told: Vec<Diagnostic> = named.map(|(_, error)| ledger::diagnose(error, path)).collect();
    if more > 0 {
        let summary = format!("{more} more records are damaged; all others were shown");
        told.push(Diagnostic::error("ledger-damaged", summary).place(path.display().to_string()));
    }
    Err(told.into())
}

/// Zone and hours by the configuration on record. Where that record is damaged nothing older stands
/// in for it, and the history is told all the same.
fn recorded(reader: &Reader) -> Result<(Option<Settings>, SaidBy), LedgerError> {
    match gather::recorded(reader) {
        Ok(Some(recorded)) => Ok((Some(recorded.settings), SaidBy::Record)),
        Ok(None) => Ok((None, SaidBy::Nothing)),
        Err(error) => gather::unreadable(error).map(|_| (None, SaidBy::Nothing)),
    }
}

/// A name that is mistyped must not look like a machine without a cold cycle.
pub(super) fn unknown_machine(name: &str, known: &[String]) -> Diagnostic {
    let diagnostic = Diagnostic::error("usage", format!("the ledger knows no machine «{name}»"));
    if known.is_empty() {
        return diagnostic.advice("it was kept for no machine so far");
    }
    diagnostic.advice(format!("give one of its machines: {}", known.join(", ")))
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
        Self::styled(form, style())
    }

    fn styled(form: FormArgs, style: Style) -> Self {
        if form.json {
            Self::Json
        } else if form.csv {
            Self::Csv
        } else {
            Self::Table(Some(Table::new(style)))
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
    let colour = io::stdout().is_terminal() && !plain;
    Style { zone: TimeZone::system(), colour, advice: false, scale: Scale::Celsius }
}
