//! `backup`: copies the ledger, beside the service or without it.
//!
//! The public key goes with the copy, since whoever reads it must be able to verify it. The
//! secret key does not: whoever has that can sign another history, and a copy lies where
//! others come by. It is copied only on request, for a gateway that moves.

use std::fs::{self, OpenOptions};
use std::io::{self, Write};
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};

use serde::Serialize;

use super::tell;
use crate::app::people::ledger_path;
use crate::app::{Failure, Streams, ledger};
use crate::cli::BackupArgs;
use crate::core::counted::Noun;
use crate::core::merkle::Hash;
use crate::core::reader::Language;
use crate::core::time::Timestamp;
use crate::diagnostic::Diagnostic;
use crate::ledger::{BackupError, Inspected, back_up, beside, present};
use crate::runtime::clock::Clock;

/// Ending and mode of the file with the public key beside a ledger.
const PUBLIC: (&str, u32) = (".verify-key", 0o644);
/// The same of the secret key.
const SECRET: (&str, u32) = (".signing-key", 0o600);

/// What `backup --json` prints.
#[derive(Serialize)]
struct Told {
    backup: PathBuf,
    bytes: u64,
    records: u64,
    root: String,
    inputs: u64,
    last_recorded: Option<Timestamp>,
    checkpoint: Option<u64>,
    verify_key: bool,
    signing_key: bool,
}

/// `backup`.
pub(in crate::app) fn backup(arguments: &BackupArgs, streams: &mut Streams<'_>) -> Result<(), Failure> {
    let from = ledger_path(&arguments.from)?;
    present(&from).map_err(|error| ledger::diagnose(&error, &from))?;
    let to = named(&arguments.out, &from);
    if to.extension().is_none() {
        return Err(Diagnostic::error("backup-failed", "there is no such directory")
            .place(to.display().to_string())
            .advice(format!(
                "if it is on another disk, mount that; else make it: mkdir -p -- {}",
                quoted(&to)
            ))
            .advice("or name a file, such as backup.sqlite")
            .into());
    }
    for (ending, _) in [PUBLIC, SECRET] {
        let key = beside(&to, ending);
        if key.exists() {
            return Err(diagnose(&BackupError::Exists { path: key }, &to).into());
        }
    }
    let inspected = back_up(&from, &to).map_err(|error| diagnose(&error, &to))?;
    let copied = |(ending, mode): (&str, u32)| {
        copy_key(&beside(&from, ending), &beside(&to, ending), mode).map_err(|source| {
            let path = beside(&to, ending);
            Failure::from(diagnose(&BackupError::Write { path, source }, &to))
        })
    };
    let verify_key = copied(PUBLIC)?;
    let signing_key = arguments.with_signing_key && copied(SECRET)?;
    if arguments.with_signing_key && !signing_key {
        let summary = "the backup is whole, but there is no secret key beside the ledger to copy";
        let diagnostic = Diagnostic::error("backup-failed", summary).place(from.display().to_string());
        return Err(diagnostic.advice("the service makes it at its first start").into());
    }
    let bytes = fs::metadata(&to).map_or(0, |file| file.len());
    let told = told(to, bytes, &inspected, verify_key, signing_key);
    let lines = lines(&told);
    tell(streams, arguments.json, &told, &lines)
}

fn told(backup: PathBuf, bytes: u64, found: &Inspected, verify_key: bool, signing_key: bool) -> Told {
    Told {
        backup,
        bytes,
        records: found.records,
        root: Hash(found.root).to_string(),
        inputs: found.inputs,
        last_recorded: found.last_recorded,
        checkpoint: found.checkpoint,
        verify_key,
        signing_key,
    }
}

fn lines(told: &Told) -> Vec<String> {
    let records = Noun::Records.of(told.records, Language::English);
    let checkpoint = match told.checkpoint {
        Some(size) => format!("the newest checkpoint, over {size}, fits"),
        None => "there is no checkpoint yet".to_owned(),
    };
    let mut lines = vec![
        format!("Backup {} ({} bytes).", told.backup.display(), told.bytes),
        format!("Verified: every page, {records}, the root over them computed anew; {checkpoint}."),
        format!("Root {}", told.root),
    ];
    lines.push(
        match (told.verify_key, told.signing_key) {
            (_, true) => "The SECRET key was copied too: lock this copy away.",
            (true, false) => {
                "The public key is beside it. The secret key is not: whoever has that can sign another history."
            }
            (false, false) => "There is no public key beside the ledger yet, so none was copied.",
        }
        .to_owned(),
    );
    lines
}

/// A path as a shell takes it for one word.
fn quoted(path: &Path) -> String {
    format!("'{}'", path.display().to_string().replace('\'', "'\\''"))
}

/// The file itself, or one in the directory that was named.
fn named(out: &Path, ledger: &Path) -> PathBuf {
    if !out.is_dir() {
        return out.to_owned();
    }
    let stem = ledger.file_stem().unwrap_or_default().to_string_lossy();
    out.join(format!("{stem}-{}.sqlite", dated(Clock::system().now())))
}

/// An instant as a part of a name: digits that sort by time.
pub(super) fn dated(now: Timestamp) -> String {
    now.to_string().chars().take(19).filter(|character| character.is_ascii_alphanumeric()).collect::<String>()
        + "Z"
}

/// Copies a key to a new file; `false` where there is none.
pub(super) fn copy_key(from: &Path, to: &Path, mode: u32) -> io::Result<bool> {
    let key = match fs::read(from) {
        Ok(key) => key,
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(false),
        Err(error) => return Err(error),
    };
    let mut file = OpenOptions::new().create_new(true).write(true).mode(mode).open(to)?;
    file.write_all(&key)?;
    file.sync_all()?;
    Ok(true)
}

/// The keys of a gateway that moves, where the place has none: public and secret.
pub(super) fn move_keys(from: &Path, to: &Path) -> io::Result<bool> {
    let has_none = !beside(to, SECRET.0).exists() && !beside(to, PUBLIC.0).exists();
    if !has_none || !beside(from, SECRET.0).exists() {
        return Ok(false);
    }
    copy_key(&beside(from, PUBLIC.0), &beside(to, PUBLIC.0), PUBLIC.1)?;
    copy_key(&beside(from, SECRET.0), &beside(to, SECRET.0), SECRET.1)
}

/// An error of a backup in the form for people.
pub(super) fn diagnose(error: &BackupError, to: &Path) -> Diagnostic {
    let (slug, advice) = match error {
        BackupError::Ledger(source) => return ledger::diagnose(source, to),
        BackupError::Exists { .. } => {
            ("keeping-refused", "give a name that is free; a backup is never overwritten")
        }
        BackupError::UnderWay { .. } => ("keeping-refused", "wait for the other one, or give another name"),
        BackupError::NoRoom { .. } => ("backup-failed", "free some space, or give a place on another disk"),
        BackupError::Write { .. } => (
            "backup-failed",
            "see that the directory is there (mkdir -p makes it), takes files of this user and has room",
        ),
        BackupError::Copy(_) => ("backup-failed", "see that the disk of the copy has room and is sound"),
        BackupError::NotWhole(_) | BackupError::Differs { .. } => (
            "backup-failed",
            "see whether the ledger itself is whole by rinseward verify; then check both disks",
        ),
    };
    let mut diagnostic = Diagnostic::error(slug, error.to_string()).place(to.display().to_string());
    if let Some(source) = std::error::Error::source(error) {
        diagnostic = diagnostic.because(source);
    }
    diagnostic.advice(advice)
}

#[cfg(test)]
mod tests {
    use super::*;

    // RFC 3339 §5.8 for the instant; the name is this project's own.
    #[test]
    fn a_name_in_a_directory_sorts_by_time() {
        let at: Timestamp = "1985-04-12T23:20:50.52Z".parse().expect("an example of RFC 3339");
        assert_eq!(dated(at), "19850412T232050Z");
        let directory = tempfile::tempdir().expect("a directory");
        let name = named(directory.path(), Path::new("/somewhere/ledger.sqlite"));
        let name = name.file_name().expect("a name").to_string_lossy().into_owned();
        assert!(name.starts_with("ledger-2") && name.ends_with("Z.sqlite"), "{name}");
        assert_eq!(named(Path::new("a/b.sqlite"), Path::new("c")), Path::new("a/b.sqlite"));
    }

    // Own promise: where the folder is not there, what to type stands in the message; nothing is made on the disk
    // beneath a mount point that is empty at the moment.
    #[test]
    fn a_folder_that_is_not_there_is_told_with_what_to_type() {
        assert_eq!(quoted(Path::new("/mnt/it's here")), r"'/mnt/it'\''s here'");
        let directory = tempfile::tempdir().expect("a directory");
        let (ledger, out) = (directory.path().join("ledger.sqlite"), directory.path().join("copies"));
        std::fs::write(&ledger, "any").expect("a file");
        let from = crate::cli::LedgerArgs { files: Vec::new(), ledger: Some(ledger) };
        let arguments = BackupArgs { out: out.clone(), with_signing_key: false, from, json: false };
        let (mut to, mut err) = (Vec::new(), Vec::new());
        let refused =
            backup(&arguments, &mut Streams { out: &mut to, err: &mut err }).expect_err("no folder");
        let told = format!("{refused:?}");
        assert!(told.contains(&format!("mkdir -p -- '{}'", out.display())), "{told}");
        assert!(!out.exists());
    }
}
