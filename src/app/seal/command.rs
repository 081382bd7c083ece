//! `key …` and `checkpoint …`, and the checkpoint that an export is made with.
//!
//! What signs goes through the service where one runs, and else to the ledger itself, which
//! only the machine with the secret key can do. What shows reads the ledger.

use std::fs::OpenOptions;
use std::io::{self, Write};
use std::path::Path;

use serde::Serialize;

use super::{Seal, SealError, Standing};
use crate::app::door::Peer;
use crate::app::door::client::{self, CallError};
use crate::app::ledger::{self, LedgerHandle};
use crate::app::order::{KeyRotation, Rotated};
use crate::app::{Failure, Streams, configuration, people};
use crate::cli::{CheckpointArgs, CheckpointCommand, KeyCommand, LedgerArgs};
use crate::core::keys::{KeyChain, key_chain};
use crate::core::record::KeyChange;
use crate::core::time::Timestamp;
use crate::diagnostic::Diagnostic;
use crate::ledger::{KeyFiles, LedgerError, Names, Options, Pair, Reader, StoredCheckpoint, Writer, present};
use crate::report::local;
use crate::runtime::clock::Clock;

/// Route of the control socket for a checkpoint.
pub(in crate::app) const CHECKPOINTS: &str = "/checkpoints";
/// Route of the control socket for a new key.
pub(in crate::app) const KEYS: &str = "/keys";
/// A writer that is opened only to sign prunes nothing: how long readings stay is the service's to say.
const KEEP_ALL: std::time::Duration = std::time::Duration::from_secs(100 * 365 * 86_400);

/// `key …`.
pub(in crate::app) fn key(command: &KeyCommand, streams: &mut Streams<'_>) -> Result<(), Failure> {
    match command {
        KeyCommand::Show(arguments) => show(&arguments.from, arguments.json, streams),
        KeyCommand::Export(arguments) => export(&arguments.from, &arguments.out, streams),
        KeyCommand::Rotate(arguments) => {
            let loaded = configuration::load(&arguments.config.files)?;
            let configuration = &loaded.configuration;
            let rotation = KeyRotation { by: arguments.by.clone() };
            let rotated: Rotated = match client::post(&configuration.socket, KEYS, &rotation) {
                Ok(rotated) => rotated,
                Err(CallError::NotRunning) => {
                    let by = rotation.signed(&Peer::own()).map_err(Failure::from)?.by;
                    let path = &configuration.ledger.path;
                    alone(path, &configuration.site, |seal, now| async move {
                        let key = seal.rotate(now, by).await?;
                        seal.checkpoint(now).await?;
                        Ok(Rotated { key: key.to_string() })
                    })?
                }
                Err(error) => return Err(people::unanswered(error, &configuration.socket)),
            };
            let told = writeln!(
                streams.out,
                "The new public key is on record, signed by the one before. Hand it out:\n{}",
                rotated.key
            );
            told.map_err(Failure::output)
        }
    }
}

/// `checkpoint …`.
pub(in crate::app) fn checkpoint(
    arguments: &CheckpointArgs,
    streams: &mut Streams<'_>,
) -> Result<(), Failure> {
    match &arguments.command {
        None => notes(&arguments.from, false, streams),
        Some(CheckpointCommand::Show(show)) => notes(&show.from, show.all, streams),
        Some(CheckpointCommand::Make(make)) => {
            let loaded = configuration::load(&make.config.files)?;
            let configuration = &loaded.configuration;
            let made: StoredCheckpoint = match client::post(&configuration.socket, CHECKPOINTS, &()) {
                Ok(made) => made,
                Err(CallError::NotRunning) => {
                    let path = &configuration.ledger.path;
                    alone(path, &configuration.site, |seal, now| async move { seal.checkpoint(now).await })?
                }
                Err(error) => return Err(people::unanswered(error, &configuration.socket)),
            };
            write!(streams.out, "{}", made.note).map_err(Failure::output)
        }
    }
}

/// The checkpoint to export with: over all records so far where this machine can sign, else the
/// newest that the ledger holds; `None` where it holds none. `socket` is where the service of this
/// ledger would listen, where that is known.
///
/// # Errors
/// Where the ledger cannot be read, or its service or key fails.
pub(in crate::app) fn for_export(
    path: &Path,
    socket: Option<&Path>,
) -> Result<Option<StoredCheckpoint>, Failure> {
    if let Some(socket) = socket {
        match client::post(socket, CHECKPOINTS, &()) {
            Ok(made) => return Ok(Some(made)),
            // A reader of the file need not be one of those who may speak to the service.
            Err(CallError::NotRunning | CallError::Forbidden) => {}
            Err(error) => return Err(people::unanswered(error, socket)),
        }
    }
    let failed = |error| Failure::from(ledger::diagnose(&error, path));
    let newest = || Reader::open(path).and_then(|reader| reader.newest_checkpoint()).map_err(failed);
    if !KeyFiles::of(path).secret().exists() || newest_key(path)?.newest().is_none() {
        return newest();
    }
    match sign_alone(path, "", |seal, now| async move { seal.checkpoint(now).await }) {
        Ok(made) => Ok(Some(made)),
        // Nobody signs here, or somebody else does at this moment: what is there is as good.
        Err(SealError::Ledger(
            LedgerError::InUse { .. } | LedgerError::ReadOnly { .. } | LedgerError::Lock { .. },
        )) => newest(),
        Err(error) => Err(error.diagnose(path).into()),
    }
}

/// Signs on the ledger itself, where no service runs.
fn alone<T, Work>(path: &Path, site: &str, work: impl FnOnce(Seal, Timestamp) -> Work) -> Result<T, Failure>
where
    Work: Future<Output = Result<T, SealError>>,
{
    present(path).map_err(|error| ledger::diagnose(&error, path))?;
    sign_alone(path, site, work).map_err(|error| error.diagnose(path).into())
}

fn sign_alone<T, Work>(
    path: &Path,
    site: &str,
    work: impl FnOnce(Seal, Timestamp) -> Work,
) -> Result<T, SealError>
where
    Work: Future<Output = Result<T, SealError>>,
{
    let now = Clock::system().now();
    let options = Options { path: path.to_owned(), block_retention: KEEP_ALL };
    let (writer, recovered) = Writer::open(&options, Names { machines: &[], channels: &[] }, now)?;
    let handle = LedgerHandle::new(writer, &recovered, path);
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_time()
        .build()
        .map_err(|source| LedgerError::WriterEnded { source: Some(source) })?;
    ledger::record_step(&handle, &recovered, now)?;
    let seal = Seal::new(handle.clone(), site, Standing::Command);
    let done = runtime.block_on(work(seal, now));
    handle.close()?;
    done
}

fn newest_key(path: &Path) -> Result<KeyChain, Failure> {
    let read = Reader::open(path).and_then(|reader| reader.signing_keys());
    let changes = read.map_err(|error| ledger::diagnose(&error, path))?;
    Ok(key_chain(changes.iter().map(|(index, change)| (*index, change))))
}

/// What `key show` tells.
#[derive(Serialize)]
struct Shown {
    /// The public key, `name+id+base64`.
    key: String,
    /// Its id in hexadecimal.
    id: String,
    /// When it came into force.
    since: Timestamp,
    /// Index of the record that says so.
    record: u64,
    /// How it came into force.
    change: KeyChange,
    /// Whether its secret is beside the ledger.
    secret: Secret,
}

/// Where the secret of the key in force is.
#[derive(Clone, Copy, Serialize)]
#[serde(rename_all = "kebab-case")]
enum Secret {
    /// Beside the ledger.
    Here,
    /// Not there: this is no place to sign at.
    NotHere,
    /// Another key is there, or it cannot be read.
    NotUsable,
}

impl Secret {
    const fn words(self) -> &'static str {
        match self {
            Self::Here => "beside the ledger",
            Self::NotHere => "not here",
            Self::NotUsable => "beside the ledger lies none that can be used",
        }
    }
}

fn show(from: &LedgerArgs, json: bool, streams: &mut Streams<'_>) -> Result<(), Failure> {
    let (path, zone) = people::ledger_and_zone(from)?;
    let shown = shown(&path)?;
    let written = if json {
        serde_json::to_writer(&mut *streams.out, &shown)
            .map_err(io::Error::from)
            .and_then(|()| writeln!(streams.out))
    } else {
        let came = match shown.change {
            KeyChange::First => "the first of this ledger",
            KeyChange::Rotated => "signed by the one before",
            KeyChange::Lost => "made because the one before was lost",
        };
        let (since, record) = (local::minute_and_zone(shown.since, &zone), shown.record);
        writeln!(streams.out, "public key  {}", shown.key)
            .and_then(|()| writeln!(streams.out, "id          {}", shown.id))
            .and_then(|()| writeln!(streams.out, "since       {since}, record {record}: {came}"))
            .and_then(|()| writeln!(streams.out, "secret key  {}", shown.secret.words()))
    };
    written.map_err(Failure::output)
}

fn shown(path: &Path) -> Result<Shown, Failure> {
    let chain = newest_key(path)?;
    let Some(newest) = chain.newest() else { return Err(no_key(path).into()) };
    let mut since = None;
    let read = Reader::open(path).and_then(|reader| {
        reader.records_of(&["signing-key"], newest.from, |_, _, record| {
            since = Some(record.recorded);
            std::ops::ControlFlow::Break(())
        })
    });
    read.map_err(|error| ledger::diagnose(&error, path))?;
    let secret = match KeyFiles::of(path).load(Pair::Placed) {
        Ok(Some(key)) if key.verifying() == newest.key => Secret::Here,
        Ok(None) => Secret::NotHere,
        Ok(Some(_)) | Err(_) => Secret::NotUsable,
    };
    let id = newest.key.key_id().map(|byte| format!("{byte:02x}")).concat();
    let (key, record, change) = (newest.key.to_string(), newest.from, newest.change);
    Ok(Shown { key, id, since: since.unwrap_or(Timestamp::MIN), record, change, secret })
}

fn no_key(path: &Path) -> Diagnostic {
    Diagnostic::error("checkpoint-none", "this ledger names no signing key")
        .place(path.display().to_string())
        .advice("start rinseward run, or type rinseward checkpoint make; either makes the key")
}

fn export(from: &LedgerArgs, out: &Path, streams: &mut Streams<'_>) -> Result<(), Failure> {
    let path = people::ledger_path(from)?;
    let shown = shown(&path)?;
    // A file that is there may be anything, the secret key too.
    let written = OpenOptions::new()
        .write(true)
        .create_new(true)
        .open(out)
        .and_then(|mut file| writeln!(file, "{}", shown.key).and_then(|()| file.sync_all()));
    written.map_err(|error| {
        Failure::from(
            Diagnostic::error("output", "the public key cannot be written")
                .place(out.display().to_string())
                .because(&error)
                .advice("name a file that is not there yet, in a directory that you may write"),
        )
    })?;
    writeln!(streams.out, "{}", shown.key).map_err(Failure::output)
}

fn notes(from: &LedgerArgs, all: bool, streams: &mut Streams<'_>) -> Result<(), Failure> {
    let path = people::ledger_path(from)?;
    let reader = Reader::open(&path).map_err(|error| ledger::diagnose(&error, &path))?;
    let read = if all {
        reader.checkpoints()
    } else {
        reader.newest_checkpoint().map(|newest| newest.into_iter().collect())
    };
    let found = read.map_err(|error| ledger::diagnose(&error, &path))?;
    if found.is_empty() {
        return Err(Diagnostic::error("checkpoint-none", "this ledger holds no checkpoint")
            .place(path.display().to_string())
            .advice("rinseward checkpoint make signs one; the service does so at each full hour")
            .into());
    }
    for (place, stored) in found.iter().enumerate() {
        let between = if place == 0 { "" } else { "\n" };
        write!(streams.out, "{between}{}", stored.note).map_err(Failure::output)?;
    }
    Ok(())
}
