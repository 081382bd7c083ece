//! The ledger: one SQLite file, one writer, many readers.
//!
//! [`Writer`] owns the only connection that writes, on a thread of its own;
//! a [`Commit`] is one transaction, on the device when it is reported done; so
//! is an [`Append`] of those that only read what was committed and act on it.
//! [`Reader`] reads, beside the writer or without one.
//!
//! - Records are appended, never changed: triggers refuse it, and each carries
//!   its RFC 6962 leaf hash, with the tree's frontier kept in the same transaction.
//! - Inputs go to the `tail` first, in the order in which they were applied, and
//!   into compressed blocks once no machine needs them for recovery.
//! - Inputs are numbered from 1 over the whole life of the ledger; records from 0.
//!
//! - A reader with work of its own, such as alerts or a copy elsewhere, takes records by
//!   index and readings by [`Reader::feed`], and appends its bookmark with what it caused.
//!
//! Formats: tables in `schema`, blocks and traces in `blocks` and `numbers`,
//! the tail in `tail`, the files of the signing key in `key_files`. Signed checkpoints
//! and proofs are not made here.

mod access;
mod append;
mod aside;
mod backup;
mod blanks;
mod blocks;
mod bookmark;
mod bytes;
mod checkpoints;
mod commit;
mod compact;
mod cycles;
mod days;
mod error;
mod events;
mod failpoint;
mod feed;
mod gate;
mod in_force;
mod inspect;
mod key_files;
mod kinds;
mod known;
mod leaves;
mod lock;
mod migrate;
mod names;
mod next;
mod numbers;
mod outbox;
mod reader;
mod recover;
mod reserve;
mod restore;
mod retention;
mod schema;
mod seals;
mod subtrees;
mod tail;
pub mod walk;
mod writer;

pub use access::{Owner, present};
pub use append::{Append, AppendDone, AppendRefused};
pub use aside::SetAside;
pub use backup::{BackupError, back_up};
pub use blanks::Missing;
pub use bookmark::Bookmark;
pub use checkpoints::StoredCheckpoint;
pub use commit::Committed;
pub use cycles::{CycleFilter, Found, Order};
pub use days::DaysPart;
pub use error::{LedgerError, Part, Readable, Retry};
pub use events::{RecordFilter, Subject};
pub use feed::{FeedPart, Place};
pub use in_force::{InForce, LimitsInForce};
pub use inspect::{InspectError, Inspected, inspect};
pub use key_files::{KeyFileError, KeyFiles, Pair, Settled, settle};
pub use known::{Known, ReadOn};
pub use leaves::{LedgerTree, WholeChunks};
pub use lock::unused;
pub use names::Names;
pub use outbox::{Letter, LetterStatus, OutboxChange, Posted, Waiting};
pub use reader::{Reader, Reading, Tally};
pub use recover::Recovered;
pub use reserve::RESERVE_BYTES;
pub use restore::{Before, Restore, RestoreDone, RestoreError, restore};
pub use schema::{beside, ended_without_its_log};
pub use writer::{Done, Options, QUEUE_APPENDS_MAX, QUEUE_COMMITS_MAX, Refused, Writer};

use crate::core::effect::Trace;
use crate::core::id::MachineId;
use crate::core::record::Record;
use crate::core::site::Event;
use crate::core::time::Timestamp;

/// One input, in the order in which it was applied to the core.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Input {
    /// The `now` it was applied with.
    pub now: Timestamp,
    /// What was applied.
    pub event: Event,
}

/// A record on its way into the ledger.
#[derive(Clone, PartialEq, Debug)]
pub struct NewRecord {
    /// The record.
    pub record: Record,
    /// The trace of a cycle.
    pub trace: Option<Trace>,
}

/// The state of a machine after an input.
#[derive(Clone, PartialEq, Debug)]
pub struct MachineSnapshot {
    /// Whose state.
    pub machine: MachineId,
    /// Number of the last input it contains.
    pub after: u64,
    /// The state.
    pub state: Vec<u8>,
}

/// What is committed in one transaction.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Commit {
    /// Inputs in order; the first continues the numbering of the commit before.
    pub inputs: Vec<Input>,
    /// The records these inputs caused, in order.
    pub records: Vec<NewRecord>,
    /// Snapshots that replace older ones of the same machine.
    pub snapshots: Vec<MachineSnapshot>,
    /// Inputs up to and including this number are needed by no machine for recovery.
    pub settled: u64,
}
