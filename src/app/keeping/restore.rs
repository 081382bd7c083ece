//! `restore`: lets a ledger go on from a backup.

use std::path::{Path, PathBuf};

use serde::Serialize;

use super::backup::{self, beside, dated, move_keys};
use super::{counted, hex, signed, tell};
use crate::app::{Failure, Streams, ledger};
use crate::cli::RestoreArgs;
use crate::core::causes;
use crate::diagnostic::Diagnostic;
use crate::ledger::{
    BackupError, Before, LedgerError, Restore, RestoreDone, RestoreError, restore as put_back,
};
use crate::runtime::clock::Clock;

/// What `restore --json` prints.
#[derive(Serialize)]
struct Told {
    ledger: PathBuf,
    records: u64,
    root: String,
    record: u64,
    laid_aside: Option<PathBuf>,
    lost: Option<Lost>,
    holds_kept: usize,
    keys_moved: bool,
}

/// What the ledger before had beside the backup.
#[derive(Serialize)]
#[serde(rename_all = "snake_case", tag = "what")]
enum Lost {
    Nothing,
    More { records: u64, cycles: u64, inputs: u64 },
    AnotherHistory { from_record: u64 },
    Unknown { why: String },
}

/// `restore`.
pub(in crate::app) fn restore(arguments: &RestoreArgs, streams: &mut Streams<'_>) -> Result<(), Failure> {
    let now = Clock::system().now();
    let (from, to) = (&*arguments.backup, &*arguments.to);
    let aside = arguments.force.then(|| free_name(to, &dated(now)));
    let by = signed(arguments.by.as_deref());
    let order = Restore { backup: from, ledger: to, aside: aside.as_deref(), now, by: &by };
    let done = put_back(&order).map_err(|error| diagnose(&error, from, to))?;
    let keys_moved = move_keys(from, to).map_err(|source| {
        let summary = "the ledger is restored, but the keys beside the backup cannot be copied";
        let diagnostic = Diagnostic::error("backup-failed", summary).place(to.display().to_string());
        Failure::from(
            diagnostic
                .because(&source)
                .advice("copy the two key files by hand, the secret one with mode 0600"),
        )
    })?;
    let told = told(done, to, aside, keys_moved);
    let lines = lines(&told);
    tell(streams, arguments.json, &told, &lines)
}

/// A name for the ledger that is replaced, that nothing has.
fn free_name(ledger: &Path, date: &str) -> PathBuf {
    let name = beside(ledger, &format!(".{date}.replaced"));
    let more = (2..).map(|number| beside(ledger, &format!(".{date}.replaced.{number}")));
    std::iter::once(name).chain(more).find(|name| !name.exists()).unwrap_or_default()
}

fn told(done: RestoreDone, to: &Path, aside: Option<PathBuf>, keys_moved: bool) -> Told {
    let lost = done.before.map(|before| match before {
        Before::NoMore => Lost::Nothing,
        Before::More { records, cycles, inputs } => Lost::More { records, cycles, inputs },
        Before::Other { from } => Lost::AnotherHistory { from_record: from },
        Before::Unreadable(error) => Lost::Unknown { why: causes::chain(&error) },
    });
    Told {
        ledger: to.to_owned(),
        records: done.inspected.records,
        root: hex(&done.inspected.root),
        record: done.record,
        laid_aside: aside.filter(|_| lost.is_some()),
        lost,
        holds_kept: done.holds,
        keys_moved,
    }
}

fn lines(told: &Told) -> Vec<String> {
    let records = counted(told.records, "record", "records");
    let mut lines = vec![
        format!("The ledger {} goes on from {records}, verified.", told.ledger.display()),
        format!("Root {}; that it was restored is record {}.", told.root, told.record),
    ];
    lines.extend(told.lost.as_ref().map(|lost| match lost {
        Lost::Nothing => "The ledger before had nothing that the backup lacks.".to_owned(),
        Lost::More { records, cycles, inputs } => format!(
            "The ledger before had {} more, {} among them, and {}.",
            counted(*records, "record", "records"),
            counted(*cycles, "cycle", "cycles"),
            counted(*inputs, "reading or tick more", "readings and ticks more"),
        ),
        Lost::AnotherHistory { from_record } => {
            format!("The ledger before is of another history: from record {from_record} on the two differ.")
        }
        Lost::Unknown { why } => format!("What the ledger before had more cannot be told: {why}."),
    }));
    lines.extend(told.laid_aside.as_ref().map(|aside| format!("It is kept as {}.", aside.display())));
    if told.holds_kept > 0 {
        lines.push("The lawful hold of the ledger before stays in force.".to_owned());
    }
    if told.keys_moved {
        lines
            .push("The keys beside the backup were copied: this gateway signs as the one before.".to_owned());
    }
    lines.push(
        "Checkpoints signed after the backup was made speak of what is gone, and no longer fit.".to_owned(),
    );
    lines
}

fn diagnose(error: &RestoreError, from: &Path, to: &Path) -> Diagnostic {
    match error {
        RestoreError::Exists { path } => Diagnostic::error("keeping-refused", error.to_string())
            .place(path.display().to_string())
            .advice("restore to another place, or give --force: the ledger that is there is kept under a dated name"),
        RestoreError::Ledger(source @ LedgerError::InUse { .. }) => Diagnostic::error("ledger-locked", source.to_string())
            .place(to.display().to_string())
            .advice("stop the service, restore, start it again"),
        RestoreError::Ledger(source) => ledger::diagnose(source, to),
        RestoreError::Backup(source @ (BackupError::NotWhole(_) | BackupError::Ledger(_))) => {
            let summary = "the backup is not whole; nothing was changed";
            Diagnostic::error("backup-failed", summary)
                .place(from.display().to_string())
                .because(source)
                .advice("take another backup")
        }
        RestoreError::Backup(source) => backup::diagnose(source, to),
    }
}
