//! The ledger for a command: opened, recovered, and told of in the one form.

mod handle;

use std::path::Path;

use tokio::sync::oneshot;

pub(super) use self::handle::{LedgerHandle, Tide};
use super::{Failure, in_force, work};
use crate::config::load::Loaded;
use crate::core::record::{Body, ConfigurationChange, Record, ServiceStart};
use crate::core::site::Site;
use crate::core::time::Timestamp;
use crate::diagnostic::Diagnostic;
use crate::ledger::{
    Append, Commit, LedgerError, Names, NewRecord, Options, Owner, Reader, Recovered, Retry, Writer,
};
use crate::runtime::clock::STEP_MIN;
use crate::runtime::driver::{Outcome, Store, clock_step};
use crate::runtime::gather::Gather;

/// The core without a past.
pub(super) fn fresh(loaded: &Loaded) -> Gather {
    Gather::new(Site::new(&loaded.configuration.machines, &loaded.configuration.channels), 1)
}

/// Opens the ledger at `path` and brings the core back to where it was. The start
/// itself, and a configuration that has changed, are the first things to go on record.
///
/// # Errors
/// The ledger's, as a diagnostic.
pub(super) fn open(loaded: &Loaded, path: &Path, now: Timestamp) -> Result<(LedgerHandle, Gather), Failure> {
    open_from(loaded, path, now, false)
}

/// Opens the ledger at `path` as [`open`] does, for a file of readings: the start says so, since
/// what is recorded of the machines bears the times of the readings.
///
/// # Errors
/// The ledger's, as a diagnostic.
pub(super) fn open_for_replay(
    loaded: &Loaded,
    path: &Path,
    now: Timestamp,
) -> Result<(LedgerHandle, Gather), Failure> {
    open_from(loaded, path, now, true)
}

fn open_from(
    loaded: &Loaded,
    path: &Path,
    now: Timestamp,
    from_file: bool,
) -> Result<(LedgerHandle, Gather), Failure> {
    let (writer, recovered) = open_writer(loaded, path, now).map_err(|error| diagnose(&error, path))?;
    let next = if from_file { Next::Past } else { Next::Live };
    let (mut gather, replayed) =
        recover(loaded, path, &recovered, next).map_err(|error| diagnose(&error, path))?;
    tracing::info!(
        path = %path.display(),
        records = recovered.tree_size,
        replayed,
        after_clean_stop = recovered.clean_stop,
        "ledger is open"
    );
    let start = ServiceStart {
        version: env!("CARGO_PKG_VERSION").to_owned(),
        last_record: recovered.last_recorded,
        after_clean_stop: recovered.clean_stop,
        from_file,
        replayed,
    };
    record_start(&mut gather, loaded, &recovered, start, now);
    if !from_file && recovered.last_recorded.is_some() {
        gather.resume(now);
    }
    Ok((LedgerHandle::new(writer, &recovered, path), gather))
}

/// Opens the ledger at `path` for what people put on record where no service runs: nothing is
/// said of a start, and the core is where it was. That the clock went back is on record before it.
///
/// # Errors
/// The ledger's, as a diagnostic.
pub(super) fn open_alone(
    loaded: &Loaded,
    path: &Path,
    now: Timestamp,
) -> Result<(LedgerHandle, Gather), Failure> {
    let (writer, recovered) = open_writer(loaded, path, now).map_err(|error| diagnose(&error, path))?;
    let (gather, _) =
        recover(loaded, path, &recovered, Next::Live).map_err(|error| diagnose(&error, path))?;
    let handle = LedgerHandle::new(writer, &recovered, path);
    record_step(&handle, &recovered, now).map_err(|error| diagnose(&error, path))?;
    Ok((handle, gather))
}

/// Opens the ledger at `path` as [`open_alone`] does, for readings of the past. That the clock went
/// back goes on record with them, so that an import that is refused leaves nothing.
///
/// # Errors
/// The ledger's, as a diagnostic; a service that has it is to be stopped.
pub(super) fn open_for_import(
    loaded: &Loaded,
    path: &Path,
    now: Timestamp,
) -> Result<(LedgerHandle, Gather), Failure> {
    match open_writer(loaded, path, now) {
        Ok((writer, recovered)) => {
            let (mut gather, _) =
                recover(loaded, path, &recovered, Next::Past).map_err(|error| diagnose(&error, path))?;
            if let Some(step) = step_back(&recovered, now) {
                gather.record(step);
            }
            Ok((LedgerHandle::new(writer, &recovered, path), gather))
        }
        Err(error @ LedgerError::InUse { .. }) => {
            let diagnostic = Diagnostic::error("ledger-locked", error.to_string());
            let advice =
                "stop the service, import, start it again; what is sent to it meanwhile waits at the broker";
            Err(diagnostic.place(path.display().to_string()).advice(advice).into())
        }
        Err(error) => Err(diagnose(&error, path).into()),
    }
}

/// Which readings come next.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
enum Next {
    /// Those that are measured at present.
    Live,
    /// Those of a file, measured whenever.
    Past,
}

/// The core where it was, and how many inputs were applied for it. What is on record of probes is laid over the
/// configuration first. Of a service its record was committed together with the state of the
/// machine then, so that no input before it is applied again and the newest counts; of a file, what
/// was in force when each reading was measured.
fn recover(
    loaded: &Loaded,
    path: &Path,
    recovered: &Recovered,
    next: Next,
) -> Result<(Gather, u64), LedgerError> {
    let (configuration, reader) = (&loaded.configuration, Reader::open(path)?);
    let file = in_force::on_file(&reader)?;
    let channels = configuration.channels_in_force(&file, Timestamp::MAX);
    let mut gather = Gather::new(Site::new(&configuration.machines, &channels), recovered.next_input);
    // A start that is damaged is told by `verify`; most are of a service.
    let started = reader.newest_of("service-start").ok().flatten();
    if matches!(started, Some((_, Record { body: Body::ServiceStart(start), .. })) if start.from_file) {
        gather.follow(configuration.course(&file));
    }
    let replayed = gather.recover(&recovered.snapshots, &recovered.inputs);
    for (machine, times) in work::on_record(configuration, &reader)? {
        gather.work(machine, times);
    }
    gather.live();
    if next == Next::Past {
        gather.follow(configuration.course(&file));
    }
    Ok((gather, replayed))
}

fn open_writer(loaded: &Loaded, path: &Path, now: Timestamp) -> Result<(Writer, Recovered), LedgerError> {
    let configuration = &loaded.configuration;
    let machines: Vec<String> = configuration.machines.iter().map(|machine| machine.name.clone()).collect();
    let channels: Vec<String> =
        configuration.channels.iter().map(|channel| channel.name.to_string()).collect();
    let names = Names { machines: &machines, channels: &channels };
    let options = Options { path: path.to_owned(), block_retention: configuration.ledger.block_retention };
    Writer::open(&options, names, now)
}

/// The record that the clock of the gateway went back since the last one, where it did.
fn step_back(recovered: &Recovered, now: Timestamp) -> Option<Record> {
    let last = recovered.last_recorded.filter(|last| last.since(now) > STEP_MIN)?;
    tracing::warn!(last_record = %last, %now, "the clock is behind the last record; was it set?");
    Some(clock_step(last, now))
}

/// Puts on record that the clock went back, where it did: before a record of an earlier time, which
/// would look like one that was put in. Blocks until it is on the device.
///
/// # Errors
/// The ledger's.
pub(super) fn record_step(
    handle: &LedgerHandle,
    recovered: &Recovered,
    now: Timestamp,
) -> Result<(), LedgerError> {
    let Some(record) = step_back(recovered, now) else { return Ok(()) };
    // One answer comes, so that the writer never waits here.
    let (answer, stored) = std::sync::mpsc::sync_channel(1);
    let append = Append { records: vec![NewRecord { record, trace: None }], ..Append::default() };
    handle.append_then(append, Box::new(move |result| drop(answer.send(result))));
    match stored.recv() {
        Ok(result) => result.map(drop).map_err(|refused| refused.error),
        Err(_) => Err(LedgerError::WriterEnded { source: None }),
    }
}

fn record_start(
    gather: &mut Gather,
    loaded: &Loaded,
    recovered: &Recovered,
    start: ServiceStart,
    now: Timestamp,
) {
    if let Some(step) = step_back(recovered, now) {
        gather.record(step);
    }
    gather.record(Record::new(now, None, Body::ServiceStart(start)));
    let sha256 = loaded.sha256();
    if recovered.configuration_sha256.as_ref() != Some(&sha256) {
        let change = ConfigurationChange { sha256, toml: loaded.to_toml().to_owned() };
        gather.record(Record::new(now, None, Body::ConfigurationChange(change)));
    }
}

/// The ledger's writer as the driver's store.
#[derive(Debug)]
pub(super) struct LedgerStore(pub(super) LedgerHandle);

impl Store for LedgerStore {
    type Error = LedgerError;

    fn submit(&self, commit: Commit, done: oneshot::Sender<Outcome<LedgerError>>) {
        self.0.submit(
            commit,
            Box::new(move |result| {
                let outcome = match result {
                    Ok(committed) => Outcome::Committed { first_index: committed.first_index },
                    Err(refused) => Outcome::Refused {
                        again: refused.error.retry() == Retry::Later,
                        commit: Box::new(refused.commit),
                        error: refused.error,
                    },
                };
                // A driver that has given up waiting needs no answer.
                drop(done.send(outcome));
            }),
        );
    }

    fn tell_refused(&self, error: &LedgerError) {
        let diagnostic = diagnose(error, self.0.path());
        tracing::error!(slug = diagnostic.slug(), "commits wait, nothing is acknowledged\n{diagnostic}");
    }

    fn tell_accepted_again(&self) {
        tracing::info!("the ledger takes commits again; nothing was lost");
    }
}

/// An error of the ledger in the form for people.
pub(super) fn diagnose(error: &LedgerError, path: &Path) -> Diagnostic {
    let (slug, advice) = match error {
        LedgerError::DirectoryMissing { .. } => {
            ("ledger-open", "create the directory, owned by the service user, or change [ledger] path")
        }
        LedgerError::Missing { .. } => ("ledger-open", "check the path; `rinseward run` makes the ledger"),
        LedgerError::Forbidden { place, owner, .. } => return forbidden(error, place, owner.as_ref()),
        LedgerError::InUse { .. } => (
            "ledger-locked",
            "stop the other rinseward, or give each its own [ledger] path; `history` reads beside it",
        ),
        LedgerError::Lock { .. } => {
            ("ledger-open", "give the service user the right to write in this directory")
        }
        LedgerError::ReadOnly { .. } => (
            "ledger-read-only",
            "give the service user the right to write the file and its directory; see whether the disk was remounted read-only",
        ),
        LedgerError::LogMissing { .. } => (
            "ledger-open",
            "copy the file together with its -wal, or let `rinseward backup` make the copy beside the running service",
        ),
        LedgerError::NotALedger { .. } => ("ledger-open", "check [ledger] path; the file was left as it is"),
        LedgerError::NewerFormat { .. } => ("ledger-version", "install the later version of rinseward again"),
        LedgerError::Corrupt { .. } | LedgerError::Damaged(_) | LedgerError::Record { .. } => (
            "ledger-damaged",
            "copy the ledger and the files beside it to another disk before anything else; then check the disk and restore from a backup",
        ),
        LedgerError::DiskFull { .. } => (
            "ledger-full",
            "free some space; recording goes on by itself, nothing that was acknowledged is lost",
        ),
        LedgerError::Busy { .. } | LedgerError::QueueFull | LedgerError::OutOfOrder => (
            "ledger-write",
            "nothing, unless it lasts; then see which program holds the file, such as a backup",
        ),
        LedgerError::Device { .. } => {
            ("ledger-write", "check the disk and its cable; the kernel log has more")
        }
        LedgerError::Database { .. } => ("ledger-write", "read the cause; the kernel log may have more"),
        LedgerError::UnknownChannel { .. }
        | LedgerError::UnknownMachine { .. }
        | LedgerError::InputAhead { .. }
        | LedgerError::UnknownLetter { .. }
        | LedgerError::WriterEnded { .. } => {
            ("bug", "report it with this message; after a restart recording goes on")
        }
    };
    let mut diagnostic = Diagnostic::error(slug, error.to_string()).place(path.display().to_string());
    if let Some(source) = std::error::Error::source(error) {
        diagnostic = diagnostic.because(source);
    }
    diagnostic.advice(advice)
}

/// Who may read it, and how to become one of them.
fn forbidden(error: &LedgerError, place: &Path, owner: Option<&Owner>) -> Diagnostic {
    let diagnostic = Diagnostic::error("ledger-open", error.to_string()).place(place.display().to_string());
    let Some(owner) = owner else {
        return diagnostic.cause("permission denied").advice("type it as the user who runs the service");
    };
    let diagnostic = diagnostic.cause(format!("permission denied: it belongs to {owner}"));
    let as_owner = format!("type it as that user: sudo -u {} rinseward …", owner.user);
    if owner.opens_to_group {
        let join = format!("join the group: sudo usermod -a -G {} YOUR-NAME, then log in again", owner.group);
        return diagnostic.advice(join).advice(as_owner);
    }
    diagnostic.advice(as_owner)
}

#[cfg(test)]
mod tests;
