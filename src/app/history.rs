//! `history`: what an auditor asks of the record.
//!
//! A damaged record ends nothing: the rest is shown, and at the end each damaged one is
//! named, with the exit code of a file that failed.

mod cycles;
pub(super) mod days;
mod doubted;
pub(super) mod drift;
pub(super) mod events;
pub(super) mod gaps;
mod of_alerts;
pub(super) mod one;
pub(super) mod watched;

use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use jiff::tz::TimeZone;

use super::alerts::doubts;
use super::door::time;
use super::export::gather;
use super::sites::Sites;
use super::{Failure, Streams, configuration, ledger};
use crate::cli::{DEFAULT_CONFIG, FormArgs, HistoryArgs, Show};
use crate::config::resolve::Configuration;
use crate::core::alert::Settings;
use crate::core::alert::doubts::Doubts;
use crate::core::reader::Scale;
use crate::core::record::{Body, Record};
use crate::core::time::Timestamp;
use crate::diagnostic::Diagnostic;
use crate::ledger::{Known, LedgerError, Missing, Reader, Subject};
use crate::report::local;
use crate::report::row::CycleRow;
use crate::report::sheet::{Column, Form, Sheet};
use crate::report::table::{Style, Table};
use crate::report::{csv, json};

/// Most damaged records that are named one by one.
const DAMAGED_NAMED: usize = 20;

/// What a question is asked of.
pub(super) struct Ground<'r> {
    reader: &'r Reader,
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
    /// What puts racks in doubt, where it was read already.
    doubts: Option<Arc<Doubts>>,
    kept: Kept,
    damaged: Vec<(u64, LedgerError)>,
}

/// What is kept of the record from one question to the next, as far as it was read.
#[derive(Clone, Debug, Default)]
pub(super) struct Kept {
    /// What was missing.
    pub(super) blanks: Known<Missing>,
    /// How the site was configured.
    pub(super) sites: Known<Sites>,
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
    let given = match (arguments.files.as_slice(), &arguments.ledger) {
        ([], Some(_)) => None,
        ([], None) => Some(configuration::load(&[PathBuf::from(DEFAULT_CONFIG)])?),
        (files, _) => Some(configuration::load(files)?),
    };
    let loaded = given.map(|loaded| loaded.configuration);
    let configured = loaded.as_ref().map(|loaded| loaded.ledger.path.clone());
    let path = arguments.ledger.clone().or(configured).unwrap_or_default();
    let reader = Reader::open(&path).map_err(|error| ledger::diagnose(&error, &path))?;
    let mut ground = Ground::open(&reader, path, loaded, arguments)?;
    ground.answer(arguments, streams)?;
    tell_damaged(&ground.damaged, &ground.path)
}

/// A question as the pages and programs ask it of a running service, and the time now.
pub(super) struct Asked<'q> {
    pub(super) arguments: &'q HistoryArgs,
    pub(super) from: Option<Timestamp>,
    pub(super) to: Option<Timestamp>,
    pub(super) now: Timestamp,
    /// What puts racks in doubt.
    pub(super) doubts: Arc<Doubts>,
    pub(super) kept: Kept,
}

/// The answer to a question in the form that it asks for, and the records that are damaged.
///
/// # Errors
/// The ledger's, as a diagnostic.
pub(super) fn told(
    reader: &Reader,
    path: &Path,
    settings: &Settings,
    asked: &Asked<'_>,
) -> Result<(Vec<u8>, Vec<u64>), Failure> {
    let &Asked { arguments, from, to, now, ref doubts, ref kept } = asked;
    let mut ground = Ground::of_service((reader, path), settings, (from, to), now, kept.clone());
    ground.doubts = Some(Arc::clone(doubts));
    let (mut out, mut err) = (Vec::new(), io::sink());
    ground.answer(arguments, &mut Streams { out: &mut out, err: &mut err })?;
    Ok((out, ground.into_damaged()))
}

/// A cycle with what amends it and what puts it in doubt; `None` for any other record.
///
/// # Errors
/// The ledger's.
pub(super) fn cycle_row(
    reader: &Reader,
    index: u64,
    record: &Record,
    doubts: &Doubts,
) -> Result<Option<CycleRow>, LedgerError> {
    cycles::row(reader, index, record, doubts)
}

/// Columns of a view that has some.
pub(super) fn columns(show: Show) -> &'static [Column] {
    match show {
        Show::Days => &days::DAYS,
        Show::Summary => &days::SUMMARY,
        Show::Gaps => &gaps::GAPS,
        Show::Checks => &events::CHECKS,
        Show::Records => &events::RECORDS,
        Show::Alerts => &events::ALERTS,
        Show::Cycles | Show::Drift | Show::InForce => &[],
    }
}

/// A choice that a view would pass over in silence is refused.
fn check(arguments: &HistoryArgs) -> Result<(), Failure> {
    let show = arguments.show;
    let in_pages = matches!(show, Show::Cycles | Show::Checks | Show::Alerts | Show::Records);
    let choices = [
        ("--alert", arguments.alert.is_some(), matches!(show, Show::Cycles | Show::Alerts | Show::Records)),
        ("--check", arguments.check.is_some(), matches!(show, Show::Checks | Show::Records)),
        ("--kind", !arguments.kinds.is_empty(), show == Show::Records),
        ("--verdict", !arguments.judged.is_empty(), show == Show::Cycles),
        ("--after", arguments.after.is_some(), in_pages),
        ("--limit", arguments.limit.is_some(), show != Show::Drift),
        ("--newest-first", arguments.newest_first, show != Show::Drift),
        ("--at", arguments.at.is_some(), show == Show::InForce),
        ("--from", arguments.from.is_some(), show != Show::InForce),
        ("--to", arguments.to.is_some(), show != Show::InForce),
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

impl<'r> Ground<'r> {
    /// The ledger of a running service, by its own configuration.
    pub(super) fn of_service(
        (reader, path): (&'r Reader, &Path),
        settings: &Settings,
        (from, to): (Option<Timestamp>, Option<Timestamp>),
        now: Timestamp,
        kept: Kept,
    ) -> Self {
        Self {
            reader,
            path: path.to_owned(),
            zone: settings.zone.clone(),
            settings: Some(settings.clone()),
            said_by: SaidBy::Given,
            from,
            to,
            now,
            doubts: None,
            kept,
            damaged: Vec::new(),
        }
    }

    /// What puts racks in doubt; read where nobody did before.
    fn doubts(&self) -> Result<Arc<Doubts>, Failure> {
        let read = || {
            let size = self.reader.size()?;
            doubts::read(self.reader, size).map(Arc::new)
        };
        self.doubts.clone().map_or_else(read, Ok).map_err(|error| self.failed(&error))
    }

    /// Records that could not be read for an answer.
    pub(super) fn into_damaged(self) -> Vec<u64> {
        self.damaged.into_iter().map(|(index, _)| index).collect()
    }

    fn answer(&mut self, arguments: &HistoryArgs, streams: &mut Streams<'_>) -> Result<(), Failure> {
        if let Some(index) = arguments.record {
            return one::record(self, index, arguments, streams);
        }
        match arguments.show {
            Show::Cycles => cycles::show(self, arguments, streams),
            Show::Days => days::days(self, arguments, streams),
            Show::Summary => days::summary(self, arguments, streams),
            Show::Drift => drift::show(self, arguments, streams),
            Show::Gaps => gaps::show(self, arguments, streams),
            Show::Checks => events::checks(self, arguments, streams),
            Show::Alerts => events::alerts(self, arguments, streams),
            Show::Records => events::records(self, arguments, streams),
            Show::InForce => one::in_force(self, arguments, streams),
        }
    }

    fn open(
        reader: &'r Reader,
        path: PathBuf,
        loaded: Option<Configuration>,
        arguments: &HistoryArgs,
    ) -> Result<Self, Failure> {
        if let Some(name) = &arguments.machine {
            let known = reader.machines().map_err(|error| ledger::diagnose(&error, &path))?;
            if !known.contains(name) {
                return Err(unknown_machine(name, &known).into());
            }
        }
        if let Some(alert) = arguments.alert {
            let about =
                reader.about(Subject::Alert(alert)).map_err(|error| ledger::diagnose(&error, &path))?;
            if about.is_empty() {
                return Err(unknown_alert(alert).into());
            }
        }
        if let Some(after) = arguments.after {
            follows(reader, &path, after, arguments.show)?;
        }
        let now = time::clock_of(&path, loaded.as_ref().map(|loaded| loaded.socket.as_path())).now();
        let (settings, said_by) = match loaded {
            Some(loaded) => (Some(loaded.alerts), SaidBy::Given),
            None => recorded(reader).map_err(|error| ledger::diagnose(&error, &path))?,
        };
        let zone = settings.as_ref().map_or_else(TimeZone::system, |settings| settings.zone.clone());
        let from = arguments.from.map(|from| from.in_zone(&zone, now)).transpose();
        let from = from.map_err(Failure::unclear("--from"))?;
        let to = arguments.to.map(|to| to.end_in_zone(&zone, now)).transpose();
        let to = to.map_err(Failure::unclear("--to"))?;
        if from.zip(to).is_some_and(|(from, to)| to <= from) {
            let diagnostic = Diagnostic::error("usage", "the span ends before it begins");
            return Err(diagnostic
                .advice("--to names the last day, or the first instant after the span")
                .into());
        }
        let (doubts, kept, damaged) = (None, Kept::default(), Vec::new());
        Ok(Self { reader, path, zone, settings, said_by, from, to, now, doubts, kept, damaged })
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

/// Says what is wrong with a record that a page is to go on after; with the wrong one it would be
/// empty, as if there were no more.
fn follows(reader: &Reader, path: &Path, after: u64, show: Show) -> Result<(), Failure> {
    let failed = |error: &LedgerError| Failure::from(ledger::diagnose(error, path));
    let size = reader.size().map_err(|error| failed(&error))?;
    let summary = if after >= size {
        format!("nothing can follow record {after}: the ledger has no such record")
    } else {
        let (_, record) = reader.record(after).and_then(|found| found).map_err(|error| failed(&error))?;
        let is_cycle = matches!(record.body, Body::Cycle(_));
        if is_cycle == (show == Show::Cycles) {
            return Ok(());
        }
        let kind = record.body.kind();
        format!(
            "nothing can follow record {after} here: it is of the kind «{kind}», which this view does not show"
        )
    };
    let advice = "--after takes the number of the last record of the page before, from its first column";
    Err(Diagnostic::error("usage", summary).place(format!("--after {after}")).advice(advice).into())
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

/// A number that is mistyped must not look like an alert of which nothing is on record.
fn unknown_alert(alert: u64) -> Diagnostic {
    Diagnostic::error("usage", format!("the ledger knows no alert {alert}"))
        .place(format!("--alert {alert}"))
        .advice("rinseward history --show alerts lists them; the number of a record goes with --record")
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
