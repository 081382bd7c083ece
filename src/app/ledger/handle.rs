//! The one writer of the ledger, shared by the driver and by the tasks that read
//! what was committed and append what it causes.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use prometheus_client::metrics::histogram::{Histogram, exponential_buckets};
use tokio::sync::{oneshot, watch};
use tokio::time::{Instant, timeout};

use crate::ledger::{
    Append, AppendDone, AppendRefused, Commit, Committed, Done, LedgerError, Recovered, Writer,
};

/// Longest wait for the record of the start (own choice: far above a slow disk's commit).
const BEGUN_WITHIN: Duration = Duration::from_secs(5);
/// Bounds of the times that commits are counted by: 1 ms, then twice as long each, to 2 s (own choice).
const COMMIT_MIN_S: f64 = 0.001;
const COMMIT_BUCKETS: u16 = 12;

/// How far the ledger is.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(in crate::app) struct Tide {
    /// Number of records; the next one gets this index.
    pub(in crate::app) records: u64,
    /// Number of the last input.
    pub(in crate::app) inputs: u64,
}

/// A way to the ledger's writer. All copies must be gone before it can be closed:
/// a task that holds one ends when it is asked to.
#[derive(Clone, Debug)]
pub(in crate::app) struct LedgerHandle {
    writer: Arc<Writer>,
    tide: watch::Sender<Tide>,
    path: Arc<PathBuf>,
    /// Records of the runs before.
    before: u64,
    /// From handing a commit over to having it on the device, s.
    commits_s: Histogram,
}

impl LedgerHandle {
    /// Shares a writer that was just opened.
    pub(in crate::app) fn new(writer: Writer, recovered: &Recovered, path: &Path) -> Self {
        let tide = Tide { records: recovered.tree_size, inputs: recovered.next_input - 1 };
        let before = recovered.tree_size;
        Self {
            writer: Arc::new(writer),
            tide: watch::Sender::new(tide),
            path: Arc::new(path.to_owned()),
            before,
            commits_s: Histogram::new(exponential_buckets(COMMIT_MIN_S, 2.0, COMMIT_BUCKETS)),
        }
    }

    /// How long commits took since the start; copies are the same.
    pub(in crate::app) fn commits_s(&self) -> Histogram {
        self.commits_s.clone()
    }

    /// Hands a commit of the driver over.
    pub(in crate::app) fn submit(&self, commit: Commit, done: Done) {
        let (tide, commits_s, handed) = (self.tide.clone(), self.commits_s.clone(), Instant::now());
        let rise_then = move |result| {
            if let Ok(committed) = &result {
                commits_s.observe(handed.elapsed().as_secs_f64());
                rise(&tide, committed);
            }
            done(result);
        };
        self.writer.submit(commit, Box::new(rise_then));
    }

    /// Stores a commit where no driver runs; it is on the device when this returns.
    ///
    /// # Errors
    /// The writer's; nothing of it is stored then.
    pub(in crate::app) async fn commit(&self, commit: Commit) -> Result<Committed, LedgerError> {
        let (answer, stored) = oneshot::channel();
        self.submit(commit, Box::new(move |result| drop(answer.send(result))));
        match stored.await {
            Ok(result) => result.map_err(|refused| refused.error),
            Err(_) => Err(LedgerError::WriterEnded { source: None }),
        }
    }

    /// Stores an append; it is on the device when this returns. Dropping the future
    /// stops the waiting, not the append.
    ///
    /// # Errors
    /// [`AppendRefused`] with the append; its error says whether another try can help.
    pub(in crate::app) async fn append(&self, append: Append) -> Result<Committed, AppendRefused> {
        let (answer, stored) = oneshot::channel();
        // Whoever has given up waiting needs no answer.
        self.append_then(append, Box::new(move |result| drop(answer.send(result))));
        stored.await.unwrap_or_else(|_| {
            let error = LedgerError::WriterEnded { source: None };
            Err(AppendRefused { append: Box::default(), error })
        })
    }

    /// Hands an append over and returns at once; `done` is called on the writer's thread.
    pub(in crate::app) fn append_then(&self, append: Append, done: AppendDone) {
        let tide = self.tide.clone();
        let rise_then = move |result| {
            if let Ok(committed) = &result {
                rise(&tide, committed);
            }
            done(result);
        };
        self.writer.append(append, Box::new(rise_then));
    }

    /// Changes with every commit and every append, also with one that brought
    /// neither inputs nor records: a letter, say.
    pub(in crate::app) fn tide(&self) -> watch::Receiver<Tide> {
        self.tide.subscribe()
    }

    /// Waits until the service has its start on record: what it causes comes after that.
    /// For a moment only: a full disk refuses the start and must be told all the same.
    pub(in crate::app) async fn begun(&self) {
        // It ends with an error where every handle is gone; this is one.
        let mut tide = self.tide();
        drop(timeout(BEGUN_WITHIN, tide.wait_for(|tide| tide.records > self.before)).await);
    }

    /// Where the ledger is, for a reader of one's own.
    pub(in crate::app) fn path(&self) -> &Path {
        &self.path
    }

    /// Closes the ledger, where this is the last way to it; blocks until what waits is
    /// stored. Where it is not, the last one to go closes it.
    ///
    /// # Errors
    /// [`LedgerError`] where the last step failed; every commit that was reported as stored is.
    pub(in crate::app) fn close(self) -> Result<(), LedgerError> {
        match Arc::into_inner(self.writer) {
            Some(writer) => writer.close(),
            None => {
                tracing::warn!("a task still holds the ledger; what was committed is on the device");
                Ok(())
            }
        }
    }
}

/// On the writer's thread, so in the order of what was stored.
fn rise(tide: &watch::Sender<Tide>, committed: &Committed) {
    tide.send_replace(Tide { records: committed.tree_size, inputs: committed.last_input });
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::record::{Body, Record, ServiceStop, StopCause};
    use crate::core::time::Timestamp;
    use crate::ledger::{Bookmark, Letter, Names, NewRecord, Options, OutboxChange, Reader};

    fn open(path: &Path) -> LedgerHandle {
        let names = Names { machines: &[], channels: &[] };
        let options =
            Options { path: path.to_owned(), block_retention: std::time::Duration::from_secs(86_400) };
        let (writer, recovered) = Writer::open(&options, names, Timestamp::from_micros(0)).expect("a ledger");
        LedgerHandle::new(writer, &recovered, path)
    }

    // Own promise: who waits for the tide learns of commits and of appends, and a refused
    // append comes back whole.
    #[tokio::test]
    async fn the_tide_rises_with_every_commit_and_append() {
        let directory = tempfile::tempdir().expect("a directory");
        let handle = open(&directory.path().join("ledger.sqlite"));
        let mut tide = handle.tide();
        let at = Timestamp::from_micros(0);
        let letter = Letter {
            key: "1".to_owned(),
            channel: "email".to_owned(),
            sequence: "one".to_owned(),
            created: at,
            due: at,
            bytes: Vec::new(),
        };
        let put = Append { outbox: vec![OutboxChange::Put(letter)], ..Append::default() };
        handle.append(put).await.expect("stored");
        tide.changed().await.expect("the handle is there");
        assert_eq!(*tide.borrow_and_update(), Tide { records: 0, inputs: 0 });

        let body = Body::ServiceStop(ServiceStop { cause: StopCause::Signal });
        let records = vec![NewRecord { record: Record::new(at, None, body), trace: None }];
        let (answer, stored) = oneshot::channel();
        let commit = Commit { records, ..Commit::default() };
        handle.submit(commit, Box::new(move |result| drop(answer.send(result))));
        stored.await.expect("an answer").expect("stored");
        tide.changed().await.expect("the handle is there");
        assert_eq!(*tide.borrow_and_update(), Tide { records: 1, inputs: 0 });

        let wrong = Append {
            bookmarks: vec![Bookmark { name: "desk".to_owned(), state: vec![1] }],
            outbox: vec![OutboxChange::Delivered { id: 9, at }],
            ..Append::default()
        };
        let refused = handle.append(wrong.clone()).await.expect_err("there is no letter 9");
        assert!(matches!(refused.error, LedgerError::UnknownLetter { id: 9 }));
        assert_eq!(*refused.append, wrong);
        let reader = Reader::open(handle.path()).expect("a reader");
        assert_eq!(reader.bookmark("desk").expect("no failure"), None);
        assert!(!tide.has_changed().expect("the handle is there"));
        handle.close().expect("an orderly end");
    }
}
