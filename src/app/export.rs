//! `export`: what is on record, put into files.

pub(in crate::app) mod evidence;
pub(in crate::app) mod gather;
mod lines;
pub(in crate::app) mod paper;
pub mod pdf;
pub(in crate::app) mod place;
pub(in crate::app) mod progress;
pub(in crate::app) mod seal;
pub(in crate::app) mod span;
mod tables;
pub(in crate::app) mod written;

use std::io::Write;
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};

use self::evidence::Traces;
use self::gather::{Reach, Site};
use self::paper::Sheet;
use self::place::Place;
pub(in crate::app) use self::progress::Progress;
use self::written::Hashed;
use super::door::time;
use super::{Failure, Streams, configuration, history, ledger, people};
use crate::cli::{ExportArgs, ExportForm};
use crate::core::counted::Noun;
use crate::core::reader::Language;
use crate::core::time::Timestamp;
use crate::diagnostic::Diagnostic;
use crate::ledger::{CycleFilter, LedgerError, Reader};
use crate::report::account::build::Question;
use crate::report::account::{Account, Seal};
use crate::report::local;

pub(super) fn export(arguments: &ExportArgs, streams: &mut Streams<'_>) -> Result<(), Failure> {
    check(arguments)?;
    let path = people::ledger_path(&arguments.ledger)?;
    let failed = |error: LedgerError| Failure::from(ledger::diagnose(&error, &path));
    // The place and the program are looked at before anything is signed or read.
    let out = Place::new(&arguments.out, arguments.form, arguments.force)?;
    let sheet = match arguments.form {
        ExportForm::Pdf => Some(Sheet::asked(arguments)?),
        ExportForm::Csv | ExportForm::Json | ExportForm::Jsonl | ExportForm::Evidence => None,
    };
    let seal = sealed(arguments, &path, streams)?;
    let reader = Reader::open(&path).map_err(failed)?;
    let now = time::clock_of(&path, socket(arguments)?.as_deref()).now();
    let question = question(arguments, &reader, &path, now)?;
    warn_before(&question, &reader, &path, streams)?;
    let traces = if arguments.all_traces { Traces::All } else { Traces::OfExceptions };
    let with = With { traces, seal, sheet };
    let mut progress = Progress::new(&mut *streams.err);
    let standard = matches!(out, Place::Standard);
    let (damaged, written) = match (arguments.form, out) {
        (ExportForm::Csv, Place::Directory(mut folder)) => {
            tables::all(&reader, &path, question, &mut folder, &mut progress)?;
            let damaged = folder.damaged.clone();
            (damaged, folder.keep()?)
        }
        (form, Place::Standard) => {
            let mut out = Hashed::new(std::io::BufWriter::new(&mut *streams.out));
            let damaged = one(form, &reader, &path, question, with, &mut out, &mut progress)?;
            out.flush().map_err(Failure::output)?;
            (damaged, vec![out.ended("standard output".to_owned()).1])
        }
        (form, Place::File(mut file)) => {
            let damaged = one(form, &reader, &path, question, with, file.writer(), &mut progress)?;
            (damaged, vec![file.keep()?])
        }
        (
            ExportForm::Json | ExportForm::Jsonl | ExportForm::Pdf | ExportForm::Evidence,
            Place::Directory(_),
        ) => (Vec::new(), Vec::new()),
    };
    let records = progress.records();
    progress.finish();
    warn(&damaged, &path, streams)?;
    // Beside the export where that is on standard output, and after it is whole.
    let to: &mut dyn Write = if standard { streams.err } else { streams.out };
    let counted = Noun::Records.of(records, Language::English);
    let told = writeln!(to, "Exported, {counted} read:");
    let told = written.iter().fold(told, |told, one| told.and_then(|()| writeln!(to, "  {one}")));
    told.map_err(Failure::output)
}

/// A choice that a form would pass over in silence is refused.
fn check(arguments: &ExportArgs) -> Result<(), Failure> {
    let (pdf, evidence) = match arguments.form {
        ExportForm::Pdf => (true, true),
        ExportForm::Evidence => (false, true),
        ExportForm::Csv | ExportForm::Json | ExportForm::Jsonl => (false, false),
    };
    let choices = [
        ("--paper", arguments.paper.is_some(), pdf, "--form pdf"),
        ("--scale", arguments.scale.is_some(), pdf, "--form pdf; all other forms are in °C"),
        ("--language", arguments.language.is_some(), pdf, "--form pdf; all other forms are for programs"),
        ("--all-traces", arguments.all_traces, evidence, "--form evidence or --form pdf"),
    ];
    match choices.into_iter().find(|(_, given, fits, _)| *given && !fits) {
        None => Ok(()),
        Some((option, _, _, form)) => {
            let summary = format!("{option} says nothing to this form");
            Err(Diagnostic::error("usage", summary).advice(format!("leave it out, or give {form}")).into())
        }
    }
}

/// What somebody who is not at a terminal wants.
pub(in crate::app) struct Order {
    pub(in crate::app) form: ExportForm,
    pub(in crate::app) question: Question,
    pub(in crate::app) all_traces: bool,
    pub(in crate::app) seal: Option<Seal>,
    /// How a PDF is to be.
    pub(in crate::app) sheet: Option<Sheet>,
}

/// Writes an export that is one file to somebody who is not at a terminal; gives the records that cannot be read.
///
/// # Errors
/// The ledger's, and those of `out`; where `progress` was told to end it that of an output that ended.
pub(in crate::app) fn into(
    order: Order,
    (reader, path): (&Reader, &Path),
    out: &mut dyn Write,
    progress: &mut Progress<'_>,
) -> Result<Vec<u64>, Failure> {
    let Order { form, question, all_traces, seal, sheet } = order;
    let traces = if all_traces { Traces::All } else { Traces::OfExceptions };
    one(form, reader, path, question, With { traces, seal, sheet }, out, progress)
}

/// What some forms are made with.
struct With {
    traces: Traces,
    seal: Option<Seal>,
    /// How a PDF is to be.
    sheet: Option<Sheet>,
}

/// The seal of the forms that have one; what is wrong with it is said.
fn sealed(arguments: &ExportArgs, path: &Path, streams: &mut Streams<'_>) -> Result<Option<Seal>, Failure> {
    let failed = |error: LedgerError| Failure::from(ledger::diagnose(&error, path));
    let made = match arguments.form {
        ExportForm::Csv | ExportForm::Jsonl => return Ok(None),
        ExportForm::Evidence | ExportForm::Pdf => seal::make(path, socket(arguments)?.as_deref())?,
        ExportForm::Json => match seal::make(path, socket(arguments)?.as_deref()) {
            Ok(seal) => seal,
            // An account is worth having without a fresh one: it proves nothing by itself.
            Err(failure) => {
                let said = "no checkpoint could be made for the export: it names the newest there is";
                let warning = Diagnostic::warning("export-unsealed", said)
                    .place(path.display().to_string())
                    .advice("see the message below; then export again");
                writeln!(streams.err, "{warning}\n{failure}").map_err(Failure::output)?;
                Reader::open(path).and_then(|reader| seal::newest(&reader)).map_err(failed)?
            }
        },
    };
    let size = Reader::open(path).and_then(|reader| reader.size()).map_err(failed)?;
    let warning = match &made {
        Some(seal) if seal.size < size => Some(newer_than_seal(arguments.form, size - seal.size)),
        // Without any there is no evidence, which ends in a message of its own; an account names none.
        None if arguments.form == ExportForm::Pdf => Some(
            Diagnostic::warning("export-unsealed", "the report is not sealed: nothing proves it").advice(
                "`rinseward checkpoint make` on the gateway, then export again; the report itself says so as well",
            ),
        ),
        Some(_) | None => None,
    };
    if let Some(warning) = warning {
        writeln!(streams.err, "{}", warning.place(path.display().to_string())).map_err(Failure::output)?;
    }
    Ok(made)
}

/// What is to be said of records that no checkpoint counts yet.
fn newer_than_seal(form: ExportForm, count: u64) -> Diagnostic {
    let came = if count == 1 {
        "1 record came after the checkpoint: it is".to_owned()
    } else {
        format!("{count} records came after the checkpoint: they are")
    };
    let where_to = match form {
        ExportForm::Pdf => "not in the report",
        ExportForm::Evidence => "not in the evidence",
        ExportForm::Csv | ExportForm::Json | ExportForm::Jsonl => {
            "in the export, and nothing proves what it says"
        }
    };
    Diagnostic::warning("export-unsealed", format!("{came} {where_to}"))
        .advice("export on the gateway, which makes a checkpoint over all records first")
}

/// Writes an export that is one file; gives the records that cannot be read.
fn one(
    form: ExportForm,
    reader: &Reader,
    path: &Path,
    question: Question,
    with: With,
    out: &mut dyn Write,
    progress: &mut Progress<'_>,
) -> Result<Vec<u64>, Failure> {
    match (form, with.sheet) {
        (ExportForm::Csv, _) => tables::cycles(reader, path, &question, out, progress),
        (ExportForm::Jsonl, _) => lines::write(reader, path, &question, out, progress),
        (ExportForm::Evidence, _) => {
            seal::evidence((reader, path), &question, with.traces, with.seal.as_ref(), out, progress)
        }
        (ExportForm::Pdf, Some(sheet)) => {
            sheet.write((reader, path), question, with.traces, with.seal, out, progress)
        }
        (ExportForm::Pdf, None) | (ExportForm::Json, _) => {
            let reach = Reach::all(reader, with.seal).map_err(|error| ledger::diagnose(&error, path))?;
            let mut pass = |_: u64, _: &[u8], _: &crate::core::record::Record| Ok(());
            let account = gather::account(reader, path, question, reach, &mut pass, progress)?;
            write_account(&account, out)?;
            Ok(account.damaged)
        }
    }
}

/// Where the service of the ledger would listen; unknown where the ledger itself was named.
fn socket(arguments: &ExportArgs) -> Result<Option<PathBuf>, Failure> {
    match &arguments.ledger.ledger {
        Some(_) => Ok(None),
        None => Ok(Some(configuration::load(&arguments.ledger.files)?.configuration.socket)),
    }
}

/// The account as one JSON object and a line end.
pub(in crate::app) fn write_account(account: &Account, out: &mut dyn Write) -> Result<(), Failure> {
    serde_json::to_writer(&mut *out, account)
        .map_err(std::io::Error::from)
        .and_then(|()| out.write_all(b"\n"))
        .map_err(Failure::output)
}

/// What is asked for, by the ledger's own site and the machines it knows.
pub(in crate::app) fn question(
    arguments: &ExportArgs,
    reader: &Reader,
    path: &Path,
    now: Timestamp,
) -> Result<Question, Failure> {
    let failed = |error: LedgerError| Failure::from(ledger::diagnose(&error, path));
    let known = reader.machines().map_err(failed)?;
    if let Some(unknown) = arguments.machines.iter().find(|name| !known.contains(name)) {
        return Err(history::unknown_machine(unknown, &known).into());
    }
    let Site { name, zone_name, zone } = Site::of(reader).map_err(failed)?;
    let (from, to) = span::resolve(&arguments.span, &zone, now)?;
    let mut only = arguments.machines.clone();
    only.sort_unstable();
    only.dedup();
    let program = env!("CARGO_PKG_VERSION").to_owned();
    Ok(Question { program, made: now, site: name, zone_name, zone, from, to, only, ends: None })
}

/// When the ledger begins, where that is after the whole span and nothing can be in an export. Cycles of an
/// import stand before its beginning; where there are some in the span, so does the export.
///
/// # Errors
/// The ledger's.
pub(in crate::app) fn begins_after(
    question: &Question,
    reader: &Reader,
) -> Result<Option<Timestamp>, LedgerError> {
    let Some(first) = reader.recorded(0)?.filter(|first| question.to <= *first) else {
        return Ok(None);
    };
    let filter =
        CycleFilter { from: Some(question.from), to: Some(first), limit: Some(1), ..CycleFilter::default() };
    let mut any = false;
    let each = |_, _: &[u8], _| {
        any = true;
        ControlFlow::Break(())
    };
    // A damaged one is a cycle too; it is told of where it is exported.
    let found = reader.cycles(&filter, each);
    Ok(Some(first).filter(|_| !any && found.is_ok()))
}

/// Says where nothing can be in an export because the span has not begun, or the ledger begins later.
fn warn_before(
    question: &Question,
    reader: &Reader,
    path: &Path,
    streams: &mut Streams<'_>,
) -> Result<(), Failure> {
    if question.from > question.made {
        let summary = "nothing is on record of this span: it has not begun";
        let warning = Diagnostic::warning("export-ahead", summary)
            .place(path.display().to_string())
            .cause(format!("by its clock it is {}", local::second(question.made, &question.zone)))
            .advice("give a span that has begun; the clock is that of the gateway where it runs");
        return writeln!(streams.err, "{warning}").map_err(Failure::output);
    }
    let found = begins_after(question, reader);
    let Some(first) = found.map_err(|error| Failure::from(ledger::diagnose(&error, path)))? else {
        return Ok(());
    };
    let begins = local::second(first, &question.zone);
    let summary = "nothing is on record of this span: the ledger begins later";
    let warning = Diagnostic::warning("export-before", summary)
        .place(path.display().to_string())
        .cause(format!("its first record is of {begins}"))
        .advice("give a later span; what was measured before can be imported from files (rinseward import)");
    writeln!(streams.err, "{warning}").map_err(Failure::output)
}

/// Says which records are missing in the export.
fn warn(damaged: &[u64], path: &Path, streams: &mut Streams<'_>) -> Result<(), Failure> {
    /// Most records that are named.
    const NAMED_MAX: usize = 20;
    if damaged.is_empty() {
        return Ok(());
    }
    let named: Vec<String> = damaged.iter().take(NAMED_MAX).map(u64::to_string).collect();
    let more = damaged.len().saturating_sub(NAMED_MAX);
    let more = if more > 0 { format!(" and {more} more") } else { String::new() };
    let summary =
        format!("the export has nothing of records that cannot be read: {}{more}", named.join(", "));
    let diagnostic = Diagnostic::warning("ledger-damaged", summary)
        .place(path.display().to_string())
        .advice("`rinseward verify` says what holds; restore the ledger from a backup and export again");
    writeln!(streams.err, "{diagnostic}").map_err(Failure::output)
}
