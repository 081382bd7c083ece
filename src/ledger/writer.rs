//! The one thread that writes, and the queue before it.
//!
//! **Order.** Inputs get their numbers by the order of commits, so a commit must
//! never overtake one that was refused. When one cannot be stored, all that
//! wait behind it are refused as well, and while any is out, only the oldest is
//! taken; others get [`LedgerError::OutOfOrder`]. A commit is known again by its
//! first input (without inputs, its first record). It may have grown, also by
//! the refused ones after it. A caller that gives refused commits back in order
//! can therefore keep several under way. A commit without inputs and records
//! has no place in the order; it need not come back.

use std::collections::VecDeque;
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
use super::schema::{check_place, open_to_write};
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
pub struct Writer {
    queue: Option<SyncSender<Job>>,
    gate: Arc<Mutex<Gate>>,
    thread: Option<JoinHandle<Result<(), LedgerError>>>,
}

impl fmt::Debug for Writer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Writer").field("gate", &self.gate).finish_non_exhaustive()
    }
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
        check_place(&options.path)?;
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
        let (job, error) = {
            let mut gate = open_gate(&self.gate);
            let head = Head::of(&commit);
            let covered = gate.admits(&commit, head.as_ref());
            let job = Job(Some((commit, done)));
            match (&self.queue, covered) {
                (None, _) => (job, LedgerError::WriterEnded { source: None }),
                (Some(_), None) => {
                    gate.note(head);
                    (job, LedgerError::OutOfOrder)
                }
                (Some(queue), Some(covered)) => match queue.try_send(job) {
                    Ok(()) => {
                        gate.refused.drain(..covered);
                        return;
                    }
                    Err(TrySendError::Full(job)) => {
                        gate.note(head);
                        (job, LedgerError::QueueFull)
                    }
                    Err(TrySendError::Disconnected(job)) => (job, LedgerError::WriterEnded { source: None }),
                },
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
    /// The commits that were refused and have not come back, the oldest first.
    /// No longer than the list of those that the caller holds.
    refused: VecDeque<Head>,
}

impl Gate {
    /// How many of the refused ones this commit brings back; `None` where another one comes first.
    fn admits(&self, commit: &Commit, head: Option<&Head>) -> Option<usize> {
        match self.refused.front() {
            None => Some(0),
            Some(first) if Some(first) == head => {
                Some(self.refused.iter().take_while(|refused| refused.is_in(commit)).count())
            }
            Some(_) => None,
        }
    }

    /// Takes note of a commit that is refused as the youngest, where it has a place and is not known yet.
    fn note(&mut self, head: Option<Head>) {
        if let Some(head) = head.filter(|head| !self.refused.contains(head)) {
            self.refused.push_back(head);
        }
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
}

impl Head {
    fn of(commit: &Commit) -> Option<Self> {
        match (commit.inputs.first(), commit.records.first()) {
            (Some(input), _) => Some(Self::Input(*input)),
            (None, Some(new)) => Some(Self::Record(Box::new(new.record.clone()))),
            (None, None) => None,
        }
    }

    fn is_in(&self, commit: &Commit) -> bool {
        match self {
            Self::Input(input) => commit.inputs.contains(input),
            Self::Record(record) => commit.records.iter().any(|new| new.record == **record),
        }
    }
}

/// A commit on its way; refused where it is dropped on the way.
struct Job(Option<(Commit, Done)>);

impl Job {
    fn refuse(mut self, error: LedgerError) {
        if let Some((commit, done)) = self.0.take() {
            done(Err(Refused { commit, error }));
        }
    }
}

impl Drop for Job {
    fn drop(&mut self) {
        if let Some((commit, done)) = self.0.take() {
            done(Err(Refused { commit, error: LedgerError::WriterEnded { source: None } }));
        }
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
            self.commit(job, jobs);
            more = self.keep_house();
        }
        self.end()
    }

    fn commit(&mut self, mut job: Job, jobs: &Receiver<Job>) {
        let Some((commit, done)) = job.0.take() else { return };
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
                let behind = self.close_gate(&commit, jobs);
                done(Err(Refused { commit, error }));
                behind.into_iter().for_each(|job| job.refuse(LedgerError::OutOfOrder));
            }
        }
    }

    /// Takes the commits behind a failed one out of the queue. Whoever submits
    /// waits at the gate meanwhile, so that none is missed.
    fn close_gate(&self, failed: &Commit, jobs: &Receiver<Job>) -> Vec<Job> {
        let mut gate = open_gate(&self.gate);
        let behind: Vec<Job> = jobs.try_iter().collect();
        let later = std::mem::take(&mut gate.refused);
        gate.note(Head::of(failed));
        behind.iter().filter_map(|job| job.0.as_ref()).for_each(|(commit, _)| gate.note(Head::of(commit)));
        later.into_iter().for_each(|head| gate.note(Some(head)));
        behind
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
