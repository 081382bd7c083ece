//! The one thread that writes, and the queue before it.
//!
//! **Order.** Inputs get their numbers by the order of commits, so a commit must
//! never overtake one that was refused. After a refusal every other commit is
//! refused as [`LedgerError::OutOfOrder`] until the oldest refused one is given
//! again; it may have grown, its first input (or, without inputs, its first
//! record) tells. A caller that gives back refused commits in order can
//! therefore keep several under way.

use std::fmt;
use std::path::PathBuf;
use std::sync::mpsc::{Receiver, SyncSender, TryRecvError, TrySendError, sync_channel};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread::JoinHandle;
use std::time::Duration;

use crate::core::record::Record;
use crate::core::time::Timestamp;

use super::commit::{Committed, Store};
use super::compact::Compactor;
use super::error::LedgerError;
use super::lock::Lock;
use super::names::{Names, Numbers};
use super::recover::{Recovered, look_around, recover};
use super::schema::open_to_write;
use super::{Commit, Input};

/// Most commits that wait for the device. At one a second that is a minute; one
/// more is refused with [`LedgerError::QueueFull`].
pub const QUEUE_COMMITS_MAX: usize = 64;

/// How to keep a ledger.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Options {
    /// The SQLite file. `-wal`, `-shm` and `.lock` files appear beside it.
    pub path: PathBuf,
    /// How long blocks of readings stay after they were measured and after they arrived.
    /// Records and the traces of cycles stay for ever.
    pub block_retention: Duration,
}

/// A commit that was not stored, given back for another try.
#[derive(Debug)]
pub struct Refused {
    /// The commit, unchanged.
    pub commit: Commit,
    /// Why.
    pub error: LedgerError,
}

/// What is called when a commit is on the device or refused.
pub type Done = Box<dyn FnOnce(Result<Committed, Refused>) + Send>;

/// The way to the writer thread.
#[derive(Debug)]
pub struct Writer {
    queue: Option<SyncSender<Job>>,
    gate: Arc<Mutex<Gate>>,
    thread: Option<JoinHandle<Result<(), LedgerError>>>,
}

impl Writer {
    /// Opens the ledger, makes it where there is none, and starts its writer
    /// thread. Takes time for the tail of unsettled inputs, not for the age of
    /// the ledger.
    ///
    /// # Errors
    /// [`LedgerError`] says what is wrong with the file or its place, or that
    /// another process writes it.
    pub fn open(
        options: &Options,
        names: Names<'_>,
        now: Timestamp,
    ) -> Result<(Self, Recovered), LedgerError> {
        let lock = Lock::take(&options.path)?;
        let (mut connection, created) = open_to_write(&options.path)?;
        let numbers = Numbers::assign(&mut connection, names).map_err(|source| {
            let error = LedgerError::from_database(&options.path, "looking up names", source);
            look_around(&connection, error)
        })?;
        let (recovered, state) = recover(&connection, &options.path, &numbers, created)?;
        let store = Store { connection, path: options.path.clone(), numbers, state };
        let compactor = Compactor::new(&store, options.block_retention, now)?;
        let gate = Arc::new(Mutex::new(Gate::default()));
        let (queue, jobs) = sync_channel(QUEUE_COMMITS_MAX);
        let work = Work { store, compactor, gate: Arc::clone(&gate), _lock: lock };
        let thread = std::thread::Builder::new()
            .name("ledger-writer".to_owned())
            .spawn(move || work.run(&jobs))
            .map_err(|source| LedgerError::WriterEnded { source: Some(source) })?;
        Ok((Self { queue: Some(queue), gate, thread: Some(thread) }, recovered))
    }

    /// Hands a commit over and returns at once. `done` is called exactly once: on the
    /// writer thread when the commit is on the device or could not be stored, on
    /// the caller's where it was refused before; it must be quick.
    pub fn submit(&self, commit: Commit, done: Done) {
        let mut job = Job { epoch: 0, work: Some((commit, done)) };
        let error = {
            let mut gate = open_gate(&self.gate);
            let admitted = job.work.as_ref().is_some_and(|(commit, _)| gate.admits(commit));
            match &self.queue {
                None => LedgerError::WriterEnded { source: None },
                Some(_) if !admitted => LedgerError::OutOfOrder,
                Some(queue) => {
                    job.epoch = gate.epoch;
                    match queue.try_send(job) {
                        Ok(()) => {
                            gate.refused = None;
                            return;
                        }
                        Err(TrySendError::Full(back)) => {
                            gate.refused = back.work.as_ref().map(|(commit, _)| Head::of(commit));
                            job = back;
                            LedgerError::QueueFull
                        }
                        Err(TrySendError::Disconnected(back)) => {
                            job = back;
                            LedgerError::WriterEnded { source: None }
                        }
                    }
                }
            }
        };
        job.refuse(error);
    }

    /// Lets the writer finish what waits and puts everything into the one file.
    ///
    /// # Errors
    /// [`LedgerError`] where the last step failed; every commit that was
    /// reported as stored is.
    pub fn close(mut self) -> Result<(), LedgerError> {
        self.finish()
    }

    fn finish(&mut self) -> Result<(), LedgerError> {
        drop(self.queue.take());
        match self.thread.take().map(JoinHandle::join) {
            Some(Ok(result)) => result,
            Some(Err(_)) => Err(LedgerError::WriterEnded { source: None }),
            None => Ok(()),
        }
    }
}

impl Drop for Writer {
    fn drop(&mut self) {
        if let Err(error) = self.finish() {
            tracing::error!(error = &error as &dyn std::error::Error, "closing the ledger failed");
        }
    }
}

/// Keeps commits in order after a refusal.
#[derive(Debug, Default)]
struct Gate {
    /// Grows with each commit that failed in the thread; jobs from before are refused.
    epoch: u64,
    /// The oldest commit that was refused and has not come back.
    refused: Option<Head>,
}

impl Gate {
    fn admits(&self, commit: &Commit) -> bool {
        self.refused.as_ref().is_none_or(|refused| *refused == Head::of(commit))
    }
}

fn open_gate(gate: &Mutex<Gate>) -> MutexGuard<'_, Gate> {
    gate.lock().unwrap_or_else(PoisonError::into_inner)
}

/// By what a commit is known again.
#[derive(Clone, PartialEq, Debug)]
enum Head {
    Input(Input),
    Record(Box<Record>),
    Nothing,
}

impl Head {
    fn of(commit: &Commit) -> Self {
        match (commit.inputs.first(), commit.records.first()) {
            (Some(input), _) => Self::Input(*input),
            (None, Some(new)) => Self::Record(Box::new(new.record.clone())),
            (None, None) => Self::Nothing,
        }
    }
}

/// A commit on its way; refused where it is dropped on the way.
struct Job {
    epoch: u64,
    work: Option<(Commit, Done)>,
}

impl Job {
    fn refuse(mut self, error: LedgerError) {
        if let Some((commit, done)) = self.work.take() {
            done(Err(Refused { commit, error }));
        }
    }
}

impl Drop for Job {
    fn drop(&mut self) {
        if let Some((commit, done)) = self.work.take() {
            done(Err(Refused { commit, error: LedgerError::WriterEnded { source: None } }));
        }
    }
}

impl fmt::Debug for Job {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Job").field("epoch", &self.epoch).finish_non_exhaustive()
    }
}

/// What the thread owns.
struct Work {
    store: Store,
    compactor: Compactor,
    gate: Arc<Mutex<Gate>>,
    _lock: Lock,
}

impl Work {
    fn run(mut self, jobs: &Receiver<Job>) -> Result<(), LedgerError> {
        let mut more = self.keep_house();
        loop {
            let job = if more {
                match jobs.try_recv() {
                    Ok(job) => job,
                    Err(TryRecvError::Empty) => {
                        more = self.keep_house();
                        continue;
                    }
                    Err(TryRecvError::Disconnected) => break,
                }
            } else {
                match jobs.recv() {
                    Ok(job) => job,
                    Err(_) => break,
                }
            };
            self.commit(job);
            more = self.keep_house();
        }
        self.end()
    }

    fn commit(&mut self, mut job: Job) {
        if open_gate(&self.gate).epoch != job.epoch {
            return job.refuse(LedgerError::OutOfOrder);
        }
        let Some((commit, done)) = job.work.take() else { return };
        let first = self.store.state.next_input;
        match self.store.commit(&commit) {
            Ok(committed) => {
                if let (Some(begin), Some(end)) = (commit.inputs.first(), commit.inputs.last()) {
                    self.compactor.note(first, begin.now, end.now);
                }
                done(Ok(committed));
            }
            Err(error) => {
                let error = look_around(&self.store.connection, error);
                {
                    let mut gate = open_gate(&self.gate);
                    gate.epoch += 1;
                    gate.refused = Some(Head::of(&commit));
                }
                done(Err(Refused { commit, error }));
            }
        }
    }

    /// One step of compaction or pruning; `true` where more waits. A failure
    /// here loses nothing: the readings stay in the tail.
    fn keep_house(&mut self) -> bool {
        match self.compactor.step(&mut self.store) {
            Ok(more) => more,
            Err(error) => {
                tracing::warn!(
                    error = &error as &dyn std::error::Error,
                    "readings stay uncompressed for a while"
                );
                self.compactor.put_off();
                false
            }
        }
    }

    /// Moves the log into the file, as far as readers allow.
    fn end(self) -> Result<(), LedgerError> {
        let Store { connection, path, .. } = self.store;
        let failed = |source| LedgerError::from_database(&path, "closing", source);
        connection.query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |_| Ok(())).map_err(failed)?;
        connection.close().map_err(|(_, source)| failed(source))
    }
}
