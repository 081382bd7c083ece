//! `restore`: lets a ledger go on from a backup.

use std::path::{Path, PathBuf};

use serde::Serialize;

use super::backup::{self, dated, move_keys};
use super::{counted, signed, tell};
use crate::app::{Failure, Streams, ledger};
use crate::cli::RestoreArgs;
use crate::core::causes;
use crate::core::counted::Noun;
use crate::core::keys::key_chain;
use crate::core::merkle::Hash;
use crate::core::note::{SigningKey, VerifyingKey};
use crate::core::reader::Language;
use crate::diagnostic::Diagnostic;
use crate::ledger::{
    BackupError, Before, KeyFiles, LedgerError, Pair, Reader, Restore, RestoreDone, RestoreError, Settled,
    beside, restore as put_back, settle,
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
    hold_switched_on: bool,
    keys_moved: bool,
    key: Key,
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
    let by = signed(arguments.by.as_deref())?;
    let order = Restore {
        backup: from,
        ledger: to,
        aside: aside.as_deref(),
        now,
        by: &by,
        without_hold: arguments.without_hold,
    };
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
    let key = key_of(to).map_err(|error| ledger::diagnose(&error, to))?;
    let told = told(done, to, aside, (keys_moved, key));
    let lines = lines(&told, from);
    tell(streams, arguments.json, &told, &lines)
}

/// The key that this ledger is signed with, and the one that lies beside it.
#[derive(Serialize)]
struct Key {
    /// By the record.
    on_record: Option<String>,
    /// Of the secret key beside the ledger.
    beside: Option<String>,
    standing: KeyStanding,
    #[serde(skip)]
    secret: PathBuf,
}

/// How the two fit.
#[derive(Serialize, Clone, Copy, PartialEq, Eq, Debug)]
#[serde(rename_all = "kebab-case")]
enum KeyStanding {
    /// The service signs on, or makes its first key.
    Fits,
    /// The secret key on record is not there.
    Missing,
    /// Another one is there.
    Other,
    /// What is there cannot be used.
    NotUsable,
}

/// Compares the record with the files, as the next start of the service does.
fn key_of(ledger: &Path) -> Result<Key, LedgerError> {
    let changes = Reader::open(ledger)?.signing_keys()?;
    let chain = key_chain(changes.iter().map(|(index, change)| (*index, change)));
    let on_record = chain.newest().map(|newest| newest.key.clone());
    let files = KeyFiles::of(ledger);
    let loaded = files.load(Pair::Placed);
    let placed = loaded.as_ref().ok().and_then(Option::as_ref).map(SigningKey::verifying);
    let next = files.load(Pair::Next).ok().flatten().map(|key| key.verifying());
    let standing = match settle(on_record.as_ref(), placed.as_ref(), next.as_ref()) {
        Settled::Lost | Settled::ToMake if loaded.is_err() => KeyStanding::NotUsable,
        Settled::InForce | Settled::ToPlace | Settled::ToRecord | Settled::ToMake => KeyStanding::Fits,
        Settled::Lost => KeyStanding::Missing,
        Settled::Foreign => KeyStanding::Other,
    };
    let text = |key: Option<VerifyingKey>| key.map(|key| key.to_string());
    Ok(Key { on_record: text(on_record), beside: text(placed), standing, secret: files.secret().to_owned() })
}

impl Key {
    /// What is to be known and done.
    fn lines(&self, backup: &Path) -> Vec<String> {
        let secret = self.secret.display();
        let in_force = self.on_record.as_ref().map(|key| format!("By the record the key in force is {key}."));
        // A backup for a gateway that moves has it beside itself.
        let own =
            KeyFiles::of(backup).load(Pair::Placed).ok().flatten().map(|key| key.verifying().to_string());
        let where_it_is = match own.filter(|own| Some(own) == self.on_record.as_ref()) {
            Some(_) => format!(" (it lies beside the backup: {})", KeyFiles::of(backup).secret().display()),
            None => String::new(),
        };
        let told = match self.standing {
            KeyStanding::Fits => return in_force.into_iter().collect(),
            KeyStanding::Missing => format!(
                "Its secret is not here: put it at {secret}{where_it_is}, or the next start of the service makes a \
                 new key and puts on record that this one was lost."
            ),
            KeyStanding::Other => format!(
                "The secret key beside the ledger, {secret}, is another one, as after a `key rotate` that the backup \
                 does not know: nothing is signed with it. Put the secret of the key in force in its place\
                 {where_it_is}, or move it away: then the next start of the service makes a new key and puts on \
                 record that the one before was lost. Keep the public key of the other one: it verifies what was \
                 signed meanwhile."
            ),
            KeyStanding::NotUsable => format!(
                "What lies at {secret} cannot be used as a secret key: put the right one there{where_it_is}."
            ),
        };
        in_force.into_iter().chain([told]).collect()
    }
}

/// A name for the ledger that is replaced, that nothing has.
fn free_name(ledger: &Path, date: &str) -> PathBuf {
    let name = beside(ledger, &format!(".{date}.replaced"));
    let more = (2..).map(|number| beside(ledger, &format!(".{date}.replaced.{number}")));
    std::iter::once(name).chain(more).find(|name| !name.exists()).unwrap_or_default()
}

fn told(done: RestoreDone, to: &Path, aside: Option<PathBuf>, (keys_moved, key): (bool, Key)) -> Told {
    let lost = done.before.map(|before| match before {
        Before::NoMore => Lost::Nothing,
        Before::More { records, cycles, inputs } => Lost::More { records, cycles, inputs },
        Before::Other { from } => Lost::AnotherHistory { from_record: from },
        Before::Unreadable(error) => Lost::Unknown { why: causes::chain(&error) },
    });
    Told {
        ledger: to.to_owned(),
        records: done.inspected.records,
        root: Hash(done.inspected.root).to_string(),
        record: done.record,
        laid_aside: aside.filter(|_| lost.is_some()),
        lost,
        holds_kept: done.holds,
        hold_switched_on: done.precaution,
        keys_moved,
        key,
    }
}

fn lines(told: &Told, from: &Path) -> Vec<String> {
    let records = Noun::Records.of(told.records, Language::English);
    let mut lines = vec![
        format!("The ledger {} goes on from {records}, verified.", told.ledger.display()),
        format!("Root {}; that it was restored is record {}.", told.root, told.record),
    ];
    lines.extend(told.lost.as_ref().map(|lost| match lost {
        Lost::Nothing => "The ledger before had nothing that the backup lacks.".to_owned(),
        Lost::More { records, cycles, inputs } => format!(
            "The ledger before had {} more, {} among them, and {}.",
            Noun::Records.of(*records, Language::English),
            Noun::Cycles.of(*cycles, Language::English),
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
    if told.hold_switched_on {
        lines.push(
            "Whether a lawful hold was in force before cannot be told, so one was switched on: no reading is \
             pruned until `rinseward hold off`."
                .to_owned(),
        );
    }
    if told.keys_moved {
        lines
            .push("The keys beside the backup were copied: this gateway signs as the one before.".to_owned());
    }
    lines.extend(told.key.lines(from));
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
        RestoreError::NoBackup(source) => {
            let summary = if matches!(source, LedgerError::Missing { .. }) {
                "there is no such backup; nothing was changed"
            } else if from.is_dir() {
                "this is a directory, not a backup; nothing was changed"
            } else if matches!(source, LedgerError::NotALedger { .. }) {
                "this is no backup of a ledger; nothing was changed"
            } else {
                return not_whole(source, from);
            };
            Diagnostic::error("backup-failed", summary)
                .place(from.display().to_string())
                .advice("give the file that rinseward backup made: the ledger itself, not its directory or a checkpoint")
        }
        RestoreError::Backup(source @ (BackupError::NotWhole(_) | BackupError::Ledger(_))) => {
            not_whole(source, from)
        }
        RestoreError::Backup(source) => backup::diagnose(source, to),
    }
}

fn not_whole(source: &(dyn std::error::Error + 'static), from: &Path) -> Diagnostic {
    Diagnostic::error("backup-failed", "the backup is not whole; nothing was changed")
        .place(from.display().to_string())
        .because(source)
        .advice("take another backup")
}
