//! `verify`: whether a ledger or an export is whole, with nothing but the public key.
//!
//! What the file is decides how it is checked, by its first bytes and not by its name. The
//! answer goes to standard output, in words or as JSON; what ends with another exit code than 0
//! is told on standard error as well, in the form of every message.

mod account;
mod answer;
mod attachments;
mod export;
mod inclusion;
mod pages;
mod parts;
mod print;
mod rows;
mod said;
mod same;
mod source;
mod table;

use std::fs::File;
use std::io::Read;
use std::path::Path;

use super::{Failure, Streams};
use crate::cli::VerifyArgs;
use crate::core::audit::{KeptAnswer, KeptSeal, Outcome, Report};
use crate::core::checkpoint::{Checkpoint, CheckpointError};
use crate::core::counted::Noun;
use crate::core::evidence::examine::Trust;
use crate::core::evidence::inclusion::is_inclusion;
use crate::core::note::{Note, NoteError, VerifyingKey};
use crate::core::reader::Language;
use crate::diagnostic::Diagnostic;
use crate::ledger::LedgerError;
use crate::ledger::walk::{Extent, audit};

/// Begins every SQLite file (SQLite, "Database File Format", 1.3.1).
const SQLITE: &[u8] = b"SQLite format 3\0";
/// First bytes that tell what a file is.
const HEAD_LEN: u64 = 256;
/// Longest file of a key or a checkpoint that is read, bytes.
const SMALL_FILE_MAX: u64 = 1 << 20;

#[cfg(test)]
pub(in crate::app) use export::{CannotCheck, ExportReport, verify_export};

pub(super) fn verify(arguments: &VerifyArgs, streams: &mut Streams<'_>) -> Result<(), Failure> {
    let keys = arguments.keys.iter().map(|key| read_key(key)).collect::<Result<Vec<_>, _>>()?;
    let head = first_bytes(&arguments.path).map_err(|error| {
        let advice = if arguments.path.is_dir() {
            "give one file of that folder: of the tables of an export `cycles.csv` is the one that can be checked"
        } else {
            "check the path and who may read it"
        };
        unchecked(place_of(&arguments.path)).because(&error).advice(advice)
    })?;
    if !head.starts_with(SQLITE) {
        let (mut kept, mut unsigned) = (Vec::new(), Vec::new());
        for path in &arguments.checkpoints {
            let (checkpoint, signed) = read_kept(path, &keys)?;
            if !signed {
                unsigned.push((checkpoint.origin.clone(), path.display().to_string()));
            }
            kept.push(checkpoint);
        }
        let trust = Trust { keys, kept };
        let unfit = arguments.records_only && !parts::is_pdf(&head);
        refuse_unless_fit("--records-only", unfit, "a ledger or a report (PDF)", &arguments.path)?;
        if is_inclusion(&head) {
            refuse_unless_fit("--with", arguments.with.is_some(), "a table", &arguments.path)?;
            return inclusion::inclusion(arguments, &trust, &unsigned, streams);
        }
        return answer::export(arguments, trust, &unsigned, streams);
    }
    refuse_unless_fit("--with", arguments.with.is_some(), "a table", &arguments.path)?;
    let kept =
        arguments.checkpoints.iter().map(|path| read_checkpoint(path)).collect::<Result<Vec<_>, _>>()?;
    let extent = if arguments.records_only { Extent::Records } else { Extent::Whole };
    let audited =
        audit(&arguments.path, &keys, kept, extent).map_err(|error| not_opened(&error, &arguments.path))?;
    let written = if arguments.json {
        print::json(streams.out, &arguments.path, &audited, extent)
    } else {
        print::words(streams.out, &arguments.path, &audited, extent)
    };
    let written = written.and_then(|()| streams.out.flush());
    tell(conclude(&audited.report, &arguments.path), written, &arguments.path)
}

/// Ends with the code of the answer, whatever became of its words. Scripts are promised 0, 1 or 2: where it
/// is whole and nobody could be told, that is 2; a reader who had read enough is no fault.
fn tell(answer: Result<(), Failure>, written: std::io::Result<()>, path: &Path) -> Result<(), Failure> {
    let written = match written {
        Err(error) if error.kind() != std::io::ErrorKind::BrokenPipe => {
            let diagnostic = Diagnostic::error("verify-unchecked", "the answer cannot be written");
            let advice = "see that there is space where standard output goes, and verify it again";
            Err(diagnostic.place(place_of(path)).because(&error).advice(advice).into())
        }
        Ok(()) | Err(_) => Ok(()),
    };
    answer.and(written)
}

/// The exit code, and what to do.
fn conclude(report: &Report, path: &Path) -> Result<(), Failure> {
    match report.outcome {
        Outcome::Whole => Ok(()),
        Outcome::NotWhole => {
            let count = report.findings.len() as u64 + report.findings_more;
            let findings = Noun::Findings.of(count, Language::English);
            let diagnostic =
                Diagnostic::error("verify-not-whole", format!("not whole: {findings}, listed above"))
                    .place(path.display().to_string())
                    .advice("keep this file as it is, and a copy of it elsewhere")
                    .advice("compare it with a backup, and with checkpoints that left the house");
            Err(diagnostic.into())
        }
        Outcome::NotChecked if report.sealed.is_some() => {
            let named: Vec<String> = report
                .kept
                .iter()
                .filter(|kept| kept.answer == KeptAnswer::OtherLedger)
                .map(|kept| format!("«{}»", kept.origin))
                .collect();
            let cause =
                format!("a checkpoint given with --checkpoint is of another ledger: {}", named.join(", "));
            let diagnostic = unchecked(place_of(path)).cause(cause).advice(
                "give the ledger that it was made of, or a checkpoint of this one; what else was checked stands above",
            );
            Err(diagnostic.into())
        }
        Outcome::NotChecked => {
            let diagnostic = unchecked(place_of(path))
                .cause(
                    "no checkpoint holds that a key given vouches for: there is nothing to check it against",
                )
                .advice("give a checkpoint that was kept elsewhere with --checkpoint")
                .advice("or let this version keep the ledger for an hour, so that it seals it");
            Err(diagnostic.into())
        }
    }
}

/// Begins the message that nothing can be said.
fn unchecked(place: impl Into<String>) -> Diagnostic {
    Diagnostic::error("verify-unchecked", "could not be checked").place(place)
}

/// A choice that says nothing to this file is not passed over in silence.
fn refuse_unless_fit(option: &str, given: bool, of: &str, path: &Path) -> Result<(), Failure> {
    if !given {
        return Ok(());
    }
    let cause = format!("{option} is for {of}, and says nothing to this file");
    Err(unchecked(place_of(path)).cause(cause).advice(format!("leave {option} out")).into())
}

fn place_of(path: &Path) -> String {
    path.display().to_string()
}

fn not_opened(error: &LedgerError, path: &Path) -> Failure {
    let diagnostic = unchecked(place_of(path)).because(error);
    let advice = match error {
        LedgerError::NewerFormat { .. } => "verify it with the version of rinseward that wrote it",
        LedgerError::Busy { .. } => "try again when the other program has done",
        LedgerError::LogMissing { .. } => {
            "copy the file together with its -wal, or let `rinseward backup` make the copy beside the running service"
        }
        LedgerError::Forbidden { .. } => "copy it as a user who may read it, and verify the copy",
        LedgerError::Missing { .. }
        | LedgerError::DirectoryMissing { .. }
        | LedgerError::InUse { .. }
        | LedgerError::Lock { .. }
        | LedgerError::ReadOnly { .. }
        | LedgerError::NotALedger { .. }
        | LedgerError::Corrupt { .. }
        | LedgerError::Damaged(_)
        | LedgerError::DiskFull { .. }
        | LedgerError::Device { .. }
        | LedgerError::Database { .. }
        | LedgerError::Record { .. }
        | LedgerError::UnknownChannel { .. }
        | LedgerError::UnknownMachine { .. }
        | LedgerError::InputAhead { .. }
        | LedgerError::UnknownLetter { .. }
        | LedgerError::QueueFull
        | LedgerError::OutOfOrder
        | LedgerError::WriterEnded { .. } => {
            "copy the file again, with the -wal file beside it where there is one"
        }
    };
    diagnostic.advice(advice).into()
}

/// The first bytes of a file, as many as tell what it is; fewer where it is shorter.
fn first_bytes(path: &Path) -> std::io::Result<Vec<u8>> {
    let mut head = Vec::new();
    File::open(path)?.take(HEAD_LEN).read_to_end(&mut head)?;
    Ok(head)
}

/// A key by its text, or by a file that holds it.
fn read_key(key: &str) -> Result<VerifyingKey, Failure> {
    let by_text = match key.parse() {
        Ok(key) => return Ok(key),
        Err(error) => error,
    };
    let path = Path::new(key);
    let advice = "give the line name+id+base64 as the site gave it to you, or a file that holds it";
    let refused = |diagnostic: Diagnostic| Failure::from(diagnostic.advice(advice));
    let summary = "could not be checked: no public key";
    let diagnostic = Diagnostic::error("verify-unchecked", summary).place(format!("--key {key}"));
    if !path.exists() {
        // A key has a + on either side of its id, which hardly any name of a file has.
        if key.matches('+').count() < 2 {
            return Err(refused(diagnostic.cause("it is no key, and no file has this name")));
        }
        return Err(refused(diagnostic.because(&by_text)));
    }
    match read_small(path) {
        Ok(text) => text.parse().map_err(|error| refused(diagnostic.because(&error))),
        Err(error) => Err(refused(diagnostic.because(&error))),
    }
}

fn read_checkpoint(path: &Path) -> Result<KeptSeal, Failure> {
    let summary = "could not be checked: no checkpoint";
    let diagnostic =
        || Diagnostic::error("verify-unchecked", summary).place(format!("--checkpoint {}", path.display()));
    let advice =
        "give the file as you got it: three lines, an empty one, and one or more that begin with «—»";
    let text = read_small(path).map_err(|error| diagnostic().because(&error).advice(advice))?;
    let name = path.file_name().unwrap_or(path.as_os_str()).to_string_lossy();
    KeptSeal::read(name, &text).map_err(|error| diagnostic().because(&error).advice(advice).into())
}

/// A kept checkpoint for an export, and whether a key given signed it. What the auditor kept may speak, whoever
/// signed it, as beside a ledger: where the key was lost, the one before signed it. One that was
/// changed since may not.
fn read_kept(path: &Path, keys: &[VerifyingKey]) -> Result<(Checkpoint, bool), Failure> {
    let refused = || {
        unchecked(format!("--checkpoint {}", path.display())).advice(
            "give the file as you got it: three lines, an empty one, and one or more that begin with «—»",
        )
    };
    let text = read_small(path).map_err(|error| refused().because(&error))?;
    let note = Note::parse(&text).map_err(|error| refused().because(&error))?;
    let mut changed = None;
    for key in keys {
        match Checkpoint::verified(&note, key) {
            Ok(checkpoint) => return Ok((checkpoint, true)),
            Err(CheckpointError::Note(NoteError::NotSigned { .. })) => {}
            Err(error) => changed = Some(error),
        }
    }
    if let Some(error) = changed {
        return Err(refused().because(&error).into());
    }
    let says = Checkpoint::parse(note.unverified_text()).map_err(|error| refused().because(&error))?;
    Ok((says, false))
}

fn read_small(path: &Path) -> std::io::Result<String> {
    let mut text = String::new();
    File::open(path)?.take(SMALL_FILE_MAX).read_to_string(&mut text)?;
    Ok(text)
}
