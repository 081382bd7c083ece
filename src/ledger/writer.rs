//! The one thread that writes, and the queue before it.
//!
//! Commits of the driver and appends of others wait in one queue and are stored
//! in its order, each as one transaction. Each kind has its own share of the
//! queue, and only commits pass the gate, see [`super::gate`]: a refused append
//! stops no commit, and commits that wait for a refused one stop no append.

use std::fmt;
use std::path::PathBuf;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc::{Receiver, SyncSender, TryRecvError, TrySendError, sync_channel};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use std::time::Duration;

use crate::core::time::Timestamp;

use super::Commit;
use super::append::{Append, AppendDone, AppendRefused};
use super::commit::{Committed, Store};
use super::compact::Compactor;
use super::error::LedgerError;
use super::gate::{Gate, Head, open_gate};
use super::lock::Lock;
use super::names::{Names, Numbers};
use super::recover::{Recovered, look_around, recover};
use super::reserve::Reserve;
use super::retention::held;
use super::schema::{check_place, open_to_write};

/// Most commits that wait for the device. At one a second that is a minute; one
/// more is refused with [`LedgerError::QueueFull`].
pub const QUEUE_COMMITS_MAX: usize = 64;
/// Most appends that wait for the device; one more is refused in the same way.
pub const QUEUE_APPENDS_MAX: usize = 64;

/// How to keep a ledger.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Options {
    /// The SQLite file. `-wal`, `-shm`, `.lock` and `.reserve` files appear beside it.
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
    commits: Share,
    appends: Share,
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
        let held = held(&connection).map_err(|source| {
            let error = LedgerError::from_database(&options.path, "looking for a lawful hold", source);
            look_around(&connection, error)
        })?;
        let store = Store { connection, path: options.path.clone(), numbers, state, held };
        let compactor = Compactor::new(&store, options.block_retention, now)?;
        let gate = Arc::new(Mutex::new(Gate::default()));
        let (queue, jobs) = sync_channel(QUEUE_COMMITS_MAX + QUEUE_APPENDS_MAX);
        let reserve = Reserve::open(&options.path);
        let work = Work { store, compactor, reserve, gate: Arc::clone(&gate), _lock: lock };
        let thread = std::thread::Builder::new()
            .name("ledger-writer".to_owned())
            .spawn(move || work.run(&jobs))
            .map_err(|source| LedgerError::WriterEnded { source: Some(source) })?;
        let writer = Self {
            queue: Some(queue),
            gate,
            commits: Share::of(QUEUE_COMMITS_MAX),
            appends: Share::of(QUEUE_APPENDS_MAX),
            thread: Some(thread),
        };
        Ok((writer, recovered))
    }

    /// Hands a commit over and returns at once. `done` is called exactly once: on the
    /// writer thread when the commit is on the device or could not be stored, on
    /// the caller's where it was refused before; it must be quick.
    pub fn submit(&self, commit: Commit, done: Done) {
        let (job, error) = {
            let mut gate = open_gate(&self.gate);
            let head = Head::of(&commit);
            match gate.admits(&commit, head.as_ref()) {
                None => {
                    gate.note(head);
                    (Job::commit(commit, done), LedgerError::OutOfOrder)
                }
                Some(covered) => match self.send(&self.commits, Job::commit(commit, done)) {
                    None => {
                        gate.refused.drain(..covered);
                        return;
                    }
                    Some((job, error)) => {
                        if matches!(error, LedgerError::QueueFull) {
                            gate.note(head);
                        }
                        (job, error)
                    }
                },
            }
        };
        job.refuse(error);
    }

    /// Hands an append over and returns at once. `done` is called as for
    /// [`Writer::submit`]. Appends are stored in the order in which they were handed
    /// over; one that follows a refused one is not held back.
    pub fn append(&self, append: Append, done: AppendDone) {
        if let Some((job, error)) = self.send(&self.appends, Job::append(append, done)) {
            job.refuse(error);
        }
    }

    /// Puts a job into the queue, or gives it back with the reason.
    fn send(&self, share: &Share, mut job: Job) -> Option<(Job, LedgerError)> {
        let Some(queue) = &self.queue else { return Some((job, LedgerError::WriterEnded { source: None })) };
        let Some(seat) = share.take() else { return Some((job, LedgerError::QueueFull)) };
        job.seat = Some(seat);
        match queue.try_send(job) {
            Ok(()) => None,
            Err(TrySendError::Full(job)) => Some((job, LedgerError::QueueFull)),
            Err(TrySendError::Disconnected(job)) => Some((job, LedgerError::WriterEnded { source: None })),
        }
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

/// The part of the queue that one kind of job may take.
#[derive(Debug)]
struct Share {
    waiting: Arc<AtomicUsize>,
    most: usize,
}

impl Share {
    fn of(most: usize) -> Self {
        Self { waiting: Arc::new(AtomicUsize::new(0)), most }
    }

    fn take(&self) -> Option<Seat> {
        let more = |waiting: usize| (waiting < self.most).then_some(waiting + 1);
        self.waiting.fetch_update(Ordering::Relaxed, Ordering::Relaxed, more).ok()?;
        Some(Seat(Arc::clone(&self.waiting)))
    }
}

/// A place in the queue; free again when it is dropped.
struct Seat(Arc<AtomicUsize>);

impl Drop for Seat {
    fn drop(&mut self) {
        self.0.fetch_sub(1, Ordering::Relaxed);
    }
}

/// What is to be stored, and who wants to know.
enum Task {
    Commit(Commit, Done),
    Append(Append, AppendDone),
}

/// A task on its way; refused where it is dropped on the way.
struct Job {
    task: Option<Task>,
    seat: Option<Seat>,
}

impl Job {
    fn commit(commit: Commit, done: Done) -> Self {
        Self { task: Some(Task::Commit(commit, done)), seat: None }
    }

    fn append(append: Append, done: AppendDone) -> Self {
        Self { task: Some(Task::Append(append, done)), seat: None }
    }

    /// Out of the queue, so that its place is free.
    fn take(mut self) -> Option<Task> {
        drop(self.seat.take());
        self.task.take()
    }

    fn refuse(self, error: LedgerError) {
        if let Some(task) = self.take() {
            task.refuse(error);
        }
    }
}

impl Drop for Job {
    fn drop(&mut self) {
        if let Some(task) = self.task.take() {
            task.refuse(LedgerError::WriterEnded { source: None });
        }
    }
}

impl Task {
    fn refuse(self, error: LedgerError) {
        match self {
            Self::Commit(commit, done) => done(Err(Refused { commit, error })),
            Self::Append(append, done) => done(Err(AppendRefused { append: Box::new(append), error })),
        }
    }
}

/// What the thread owns.
struct Work {
    store: Store,
    compactor: Compactor,
    reserve: Reserve,
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
            match job.take() {
                Some(Task::Commit(commit, done)) => self.commit(commit, done, jobs),
                Some(Task::Append(append, done)) => self.append(append, done),
                None => {}
            }
            more = self.keep_house();
        }
        self.end()
    }

    fn commit(&mut self, commit: Commit, done: Done, jobs: &Receiver<Job>) {
        let first = self.store.state.next_input;
        match self.reserve.admits().and_then(|()| self.store.commit(&commit)) {
            Ok(committed) => {
                if let (Some(begin), Some(end)) = (commit.inputs.first(), commit.inputs.last()) {
                    self.compactor.note(first, begin.now, end.now);
                }
                done(Ok(committed));
            }
            Err(error) => {
                let error = look_around(&self.store.connection, error);
                let waiting = self.close_gate(&commit, jobs);
                done(Err(Refused { commit, error }));
                for task in waiting {
                    match task {
                        Task::Commit(..) => task.refuse(LedgerError::OutOfOrder),
                        Task::Append(append, done) => self.append(append, done),
                    }
                }
            }
        }
    }

    fn append(&mut self, append: Append, done: AppendDone) {
        let mut stored = self.store.append(&append);
        if matches!(stored, Err(LedgerError::DiskFull { .. })) && self.reserve.release() {
            tracing::warn!("the disk is full: what was kept for alerts is used for them");
            stored = self.store.append(&append);
        }
        match stored {
            Ok(committed) => done(Ok(committed)),
            Err(error) => {
                let error = look_around(&self.store.connection, error);
                done(Err(AppendRefused { append: Box::new(append), error }));
            }
        }
    }

    /// Takes all that waits behind a failed commit out of the queue. Whoever submits a
    /// commit waits at the gate meanwhile, so that none is missed.
    fn close_gate(&self, failed: &Commit, jobs: &Receiver<Job>) -> Vec<Task> {
        let mut gate = open_gate(&self.gate);
        let waiting: Vec<Task> = jobs.try_iter().filter_map(Job::take).collect();
        let later = std::mem::take(&mut gate.refused);
        gate.note(Head::of(failed));
        for task in &waiting {
            if let Task::Commit(commit, _) = task {
                gate.note(Head::of(commit));
            }
        }
        later.into_iter().for_each(|head| gate.note(Some(head)));
        waiting
    }

    /// One step of compaction or pruning; `true` where more waits. A failure
    /// here loses nothing: the readings stay in the tail.
    fn keep_house(&mut self) -> bool {
        if self.reserve.is_out() {
            // Blocks would take the room that is kept for alerts.
            return false;
        }
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
