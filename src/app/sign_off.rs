//! `sign-off`: ends a commissioning with a record and a sheet for paper.
//!
//! What is signed is shown first, as it will be printed. With open points it is refused unless
//! whoever signs says that they are known; they go on record with it.

mod advice;
mod gather;

use std::collections::BTreeSet;
use std::io::IsTerminal;
use std::path::Path;

use serde::Serialize;
use tokio_util::sync::CancellationToken;

use super::door::time;
use super::export::place::Staged;
use super::export::seal;
use super::logbook::Entry;
use super::order::Order;
use super::{Failure, Streams, ask, configuration, ledger, people};
use crate::cli::SignOffArgs;
use crate::config::load::Loaded;
use crate::core::alert::AlertNumber;
use crate::core::reader::{Language, Reader as Eye};
use crate::core::record::{Body, SignedOff};
use crate::diagnostic::Diagnostic;
use crate::ledger::{LedgerError, Reader};
use crate::report::account::Seal;
use crate::report::signoff::{self, Facts, Paper};
pub(super) use gather::Asked;
use gather::{Evidence, Gathered};

/// What is signed, for programs.
#[derive(Serialize)]
struct Shown<'a> {
    machine: &'a str,
    /// Index of its record; `null` where it is not on record.
    record: Option<u64>,
    signed: &'a SignedOff,
}

/// Does what `sign-off` asks.
///
/// # Errors
/// Where points are open that nobody accepted, nobody confirmed, or the ledger or the sheet fails.
pub(super) fn sign_off(arguments: &SignOffArgs, streams: &mut Streams<'_>) -> Result<(), Failure> {
    let loaded = configuration::load(&arguments.config.files)?;
    let path = loaded.configuration.ledger.path.clone();
    let reader = open(&path)?;
    if let Some(index) = arguments.sheet_only {
        return again(arguments, index, &loaded, &reader, streams);
    }
    let now = time::clock(&loaded.configuration.socket).now();
    let by = arguments.by.as_deref().unwrap_or_default();
    let asked = Asked {
        machine: &arguments.machine,
        cycle: arguments.cycle,
        by: by.trim(),
        note: arguments.note.as_deref(),
        now,
        known: None,
    };
    let Gathered { mut signed, recovered, is_worked_on } = asked.gather(&loaded, &reader)?;
    // A place that cannot be written is told before anything goes on record.
    let staged = arguments.out.as_deref().map(|out| Staged::new(out, arguments.force)).transpose()?;
    let evidence = Evidence::read(&reader, &signed).map_err(|error| failed(&error, &path))?;
    drop(reader);
    let draft = paper(arguments, &signed, None, &evidence, None, &loaded);
    let mut shown = Ok(());
    if !arguments.json {
        shown = signoff::text::write(streams.out, &draft);
    }
    if !signed.open_points.is_empty() && !arguments.open_points_are_known {
        // What is open stands below the sheet, where it is read.
        shown = shown.and_then(|()| streams.out.flush());
        if arguments.json {
            shown = show(arguments, &signed, None, streams);
        }
        let refusal = refused(&signed, (&recovered, is_worked_on), arguments, &loaded);
        return Failure::decided(Err(refusal), shown);
    }
    // Nobody signs what could not be shown, and it stands there before the question.
    shown.and_then(|()| streams.out.flush()).map_err(Failure::cut_short)?;
    if !arguments.yes {
        confirm(arguments, streams)?;
    }
    let entry = Entry::SignOff { machine: arguments.machine.clone(), signed: Box::new(signed.clone()) };
    let done = people::done(&loaded, Order::Entry { entry })?;
    let Some(record) = done.record else { return Err(unrecorded(&path)) };
    // Who stands beside the name, and the instant, are those of the record.
    signed = recorded(&open(&path)?, record, &path)?.1;
    let told = if arguments.json {
        show(arguments, &signed, Some(record), streams)
    } else {
        let said = match arguments.language {
            Language::English => "is signed off",
            Language::Spanish => "queda firmada",
        };
        writeln!(streams.out, "\n{} {said} [record {record}].", arguments.machine)
    };
    // It is signed by now: the sheet is written though nobody reads the answer.
    let put = staged.map_or(Ok(()), |staged| put(staged, arguments, record, &signed, &evidence, &loaded));
    Failure::decided(put, told)
}

/// Prints the sheet of an earlier sign-off again.
fn again(
    arguments: &SignOffArgs,
    index: u64,
    loaded: &Loaded,
    reader: &Reader,
    streams: &mut Streams<'_>,
) -> Result<(), Failure> {
    let path = &loaded.configuration.ledger.path;
    let (machine, signed) = recorded(reader, index, path)?;
    if machine != arguments.machine {
        let summary = format!("record {index} is the sign-off of «{machine}»");
        return Err(Diagnostic::error("usage", summary).advice("name that machine").into());
    }
    let evidence = Evidence::read(reader, &signed).map_err(|error| failed(&error, path))?;
    match &arguments.out {
        Some(out) => {
            let staged = Staged::new(out, arguments.force)?;
            put(staged, arguments, index, &signed, &evidence, loaded)
        }
        None if arguments.json => show(arguments, &signed, Some(index), streams).map_err(Failure::output),
        None => {
            let seal = covering(seal::newest(reader).map_err(|error| failed(&error, path))?, index);
            let sheet = paper(arguments, &signed, Some(index), &evidence, seal.as_ref(), loaded);
            signoff::text::write(streams.out, &sheet).map_err(Failure::output)
        }
    }
}

/// Writes the sheet of what is on record.
fn put(
    mut staged: Staged,
    arguments: &SignOffArgs,
    record: u64,
    signed: &SignedOff,
    evidence: &Evidence,
    loaded: &Loaded,
) -> Result<(), Failure> {
    let configuration = &loaded.configuration;
    let seal = covering(seal::make(&configuration.ledger.path, Some(&configuration.socket))?, record);
    let sheet = paper(arguments, signed, Some(record), evidence, seal.as_ref(), loaded);
    staged.writer().write_all(signoff::html::write(&sheet).as_bytes()).map_err(Failure::output)?;
    staged.keep().map(drop)
}

/// A seal that speaks of this record too.
fn covering(seal: Option<Seal>, record: u64) -> Option<Seal> {
    seal.filter(|seal| seal.size > record)
}

/// The sheet of what was signed, or would be, for pages: with the newest seal that covers its record.
///
/// # Errors
/// The ledger's.
pub(super) fn sheet(
    reader: &Reader,
    machine: &str,
    signed: &SignedOff,
    record: Option<u64>,
    eye: &Eye,
) -> Result<Paper, LedgerError> {
    let evidence = Evidence::read(reader, signed)?;
    let seal = match record {
        Some(record) => covering(seal::newest(reader)?, record),
        None => None,
    };
    Ok(worded(machine, signed, record, &evidence, seal.as_ref(), eye))
}

fn paper(
    arguments: &SignOffArgs,
    signed: &SignedOff,
    record: Option<u64>,
    evidence: &Evidence,
    seal: Option<&Seal>,
    loaded: &Loaded,
) -> Paper {
    let zone = loaded.configuration.alerts.zone.clone();
    let eye = Eye { language: arguments.language, scale: arguments.scale, zone };
    worded(&arguments.machine, signed, record, evidence, seal, &eye)
}

fn worded(
    machine: &str,
    signed: &SignedOff,
    record: Option<u64>,
    evidence: &Evidence,
    seal: Option<&Seal>,
    eye: &Eye,
) -> Paper {
    let facts = Facts {
        machine,
        signed,
        record,
        calibrations: &evidence.calibrations,
        responses: &evidence.responses,
        proofs: &evidence.proofs,
        cycle: evidence.cycle.as_deref(),
        trace: evidence.trace.as_ref(),
        seal,
    };
    signoff::paper(&facts, eye)
}

fn show(
    arguments: &SignOffArgs,
    signed: &SignedOff,
    record: Option<u64>,
    streams: &mut Streams<'_>,
) -> std::io::Result<()> {
    let shown = Shown { machine: &arguments.machine, record, signed };
    let out = &mut *streams.out;
    let written = serde_json::to_writer(&mut *out, &shown).map_err(std::io::Error::from);
    written.and_then(|()| writeln!(out))
}

/// Asks whoever sits at the terminal; where nobody does, `--yes` must say it.
fn confirm(arguments: &SignOffArgs, streams: &mut Streams<'_>) -> Result<(), Failure> {
    let advice = "add --yes where nobody is asked";
    let refused = |summary: &str| Failure::from(Diagnostic::error("usage", summary).advice(advice));
    if !std::io::stdin().is_terminal() {
        return Err(refused("nobody was asked whether to sign"));
    }
    let (question, expected) = match arguments.language {
        Language::English => {
            ("Sign it? [y/n]", "Type y and Enter to sign, n and Enter to leave it unsigned. [y/n]")
        }
        Language::Spanish => {
            ("¿Firmar? [s/n]", "Escriba s e Intro para firmar, n e Intro para dejarla sin firmar. [s/n]")
        }
    };
    // Nothing is under way that would want an end in order: a signal ends it at once.
    let never = CancellationToken::new();
    let signs = ask::decision(&never, question, expected, |text| {
        write!(streams.err, "\n{text} ").and_then(|()| streams.err.flush()).map_err(Failure::output)
    })?;
    if signs == Some(true) { Ok(()) } else { Err(refused("not signed; nothing was recorded")) }
}

fn refused(
    signed: &SignedOff,
    (recovered, is_worked_on): (&BTreeSet<AlertNumber>, bool),
    arguments: &SignOffArgs,
    loaded: &Loaded,
) -> Failure {
    let zone = loaded.configuration.alerts.zone.clone();
    let eye = Eye { language: Language::English, scale: arguments.scale, zone };
    let count = signed.open_points.len();
    let points = if count == 1 { "1 point is".to_owned() } else { format!("{count} points are") };
    let summary = format!("{} is not signed off: {points} open", arguments.machine);
    // One list, not a chain of causes: each point is a sentence of its own.
    let points = signed.open_points.iter().map(|open| signoff::point(open, &eye));
    let points: Vec<String> = points.map(|point| point.trim_end_matches('.').to_owned()).collect();
    let told = Diagnostic::error("sign-off-open", summary).cause(points.join("; "));
    let told = advice::of((&arguments.machine, is_worked_on), &signed.open_points, recovered)
        .into_iter()
        .fold(told, Diagnostic::advice);
    told.advice("or sign with --open-points-are-known: they go on record as known").into()
}

fn open(path: &Path) -> Result<Reader, Failure> {
    Reader::open(path).map_err(|error| failed(&error, path))
}

fn failed(error: &LedgerError, path: &Path) -> Failure {
    ledger::diagnose(error, path).into()
}

/// The sign-off at this record, and whose it is.
fn recorded(reader: &Reader, index: u64, path: &Path) -> Result<(String, SignedOff), Failure> {
    let none = || {
        Failure::from(
            Diagnostic::error("usage", format!("record {index} is no sign-off"))
                .place(path.display().to_string())
                .advice("rinseward history --show records --kind sign-off has those that are on record"),
        )
    };
    if index >= reader.size().map_err(|error| failed(&error, path))? {
        return Err(none());
    }
    let (_, record) = reader.record(index).and_then(|found| found).map_err(|error| failed(&error, path))?;
    match (record.machine, record.body) {
        (Some(machine), Body::SignOff(signed)) => Ok((machine, *signed)),
        (_, _) => Err(none()),
    }
}

fn unrecorded(path: &Path) -> Failure {
    Diagnostic::error("bug", "a sign-off came back without its record")
        .place(path.display().to_string())
        .advice(
            "report this message; rinseward history --show records --kind sign-off says what is on record",
        )
        .into()
}
