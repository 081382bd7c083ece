//! What can go wrong with a ledger, and whether another try can help.

use std::fmt;
use std::path::PathBuf;

use super::access::Owner;
use crate::core::id::{ChannelId, MachineId};
use crate::core::record::RecordError;
use crate::core::time::Timestamp;

/// Whether trying again can help.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Retry {
    /// The cause can pass by itself or by somebody's hand while the program runs.
    Later,
    /// Nothing changes without a restart or a repair.
    Never,
}

/// Why the ledger refused.
#[derive(Debug, thiserror::Error)]
pub enum LedgerError {
    /// The directory that should hold the ledger does not exist.
    #[error("the directory «{}» for the ledger does not exist", directory.display())]
    DirectoryMissing {
        /// The directory.
        directory: PathBuf,
    },
    /// There is no ledger to read.
    #[error("there is no ledger at «{}»", path.display())]
    Missing {
        /// Where it was sought.
        path: PathBuf,
    },
    /// This user may not read it.
    #[error("this user may not read the ledger «{}»", path.display())]
    Forbidden {
        /// The ledger.
        path: PathBuf,
        /// What bars the way: the file, or a directory on the way to it.
        place: PathBuf,
        /// Whose that is, where it can be seen.
        owner: Option<Owner>,
    },
    /// Another running program writes this ledger.
    #[error("the ledger «{}» is in use by another process", path.display())]
    InUse {
        /// The ledger.
        path: PathBuf,
    },
    /// The lock beside the ledger could not be made.
    #[error("cannot lock «{}»", path.display())]
    Lock {
        /// The lock file.
        path: PathBuf,
        /// Why.
        #[source]
        source: std::io::Error,
    },
    /// The file, or the file system it lies on, takes no writes.
    #[error("the ledger «{}» is read-only", path.display())]
    ReadOnly {
        /// The ledger.
        path: PathBuf,
        /// What the database said, where it was asked.
        #[source]
        source: Option<rusqlite::Error>,
    },
    /// The file is something else.
    #[error("«{}» is not a ledger of this program", path.display())]
    NotALedger {
        /// The file.
        path: PathBuf,
        /// What the database said, where it was asked.
        #[source]
        source: Option<rusqlite::Error>,
    },
    /// A database without anything in it, and no log beside it: a young ledger that was copied without its log.
    #[error("«{}» holds nothing by itself, and its log «{}-wal» is not beside it", path.display(), path.display())]
    LogMissing {
        /// The file.
        path: PathBuf,
    },
    /// A later version of this program wrote the ledger.
    #[error("the ledger has format {found}; this version knows formats up to {known}")]
    NewerFormat {
        /// Format found.
        found: i64,
        /// Latest format known.
        known: i64,
    },
    /// The database found a page that makes no sense.
    #[error("the ledger «{}» is damaged while {step}; {readable}", path.display())]
    Corrupt {
        /// The ledger.
        path: PathBuf,
        /// What was being done.
        step: &'static str,
        /// What can still be read.
        readable: Readable,
        /// What the database said.
        #[source]
        source: Box<rusqlite::Error>,
    },
    /// One stored part does not match its own check; the others are not affected.
    #[error("{0} is damaged; every other part can still be read")]
    Damaged(Part),
    /// The device is full. The transaction was rolled back.
    #[error("no room left for the ledger")]
    DiskFull {
        /// What the database said.
        #[source]
        source: rusqlite::Error,
    },
    /// Somebody else, such as a backup, holds the database.
    #[error("the ledger is held by another program, such as a backup")]
    Busy {
        /// What the database said.
        #[source]
        source: rusqlite::Error,
    },
    /// The device failed to read or write.
    #[error("reading or writing the ledger failed while {step}")]
    Device {
        /// What was being done.
        step: &'static str,
        /// What the database said.
        #[source]
        source: rusqlite::Error,
    },
    /// The database refused for another reason.
    #[error("the database refused while {step}")]
    Database {
        /// What was being done.
        step: &'static str,
        /// What the database said.
        #[source]
        source: rusqlite::Error,
    },
    /// A stored record cannot be read by this version.
    #[error("record {index} cannot be read")]
    Record {
        /// Its ledger index.
        index: u64,
        /// Why.
        #[source]
        source: RecordError,
    },
    /// An input names a channel that was not given at the start.
    #[error("channel {} was not named when the ledger was opened", channel.0)]
    UnknownChannel {
        /// The channel.
        channel: ChannelId,
    },
    /// An input or a snapshot names a machine that was not given at the start.
    #[error("machine {} was not named when the ledger was opened", machine.0)]
    UnknownMachine {
        /// The machine.
        machine: MachineId,
    },
    /// A commit calls inputs settled, or contained in a snapshot, that were never committed.
    #[error("the commit speaks of input {number}, and the last one is {last}")]
    InputAhead {
        /// The number it names.
        number: u64,
        /// The last input of the ledger with this commit.
        last: u64,
    },
    /// An append speaks of a letter that is not in the outbox.
    #[error("there is no letter {id} in the outbox")]
    UnknownLetter {
        /// Number of the letter.
        id: i64,
    },
    /// More commits wait than [`super::writer::QUEUE_COMMITS_MAX`], or more appends
    /// than [`super::writer::QUEUE_APPENDS_MAX`].
    #[error("too many commits wait for the device")]
    QueueFull,
    /// An earlier commit was refused and has not been given again yet.
    #[error("an earlier commit was refused and comes first")]
    OutOfOrder,
    /// The writer thread could not be started, or has ended.
    #[error("the ledger's writer has ended")]
    WriterEnded {
        /// Why it could not be started.
        #[source]
        source: Option<std::io::Error>,
    },
}

/// A stored part with a check of its own.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Part {
    /// A record.
    Record {
        /// Its ledger index.
        index: u64,
    },
    /// The trace of a cycle.
    Trace {
        /// Ledger index of the cycle.
        index: u64,
    },
    /// A block of readings.
    Block {
        /// Name of the channel.
        channel: String,
        /// Its first reading.
        first: Timestamp,
        /// Its last reading.
        last: Timestamp,
    },
    /// Inputs that are in no block yet.
    Tail {
        /// Number of the first of them.
        first: u64,
    },
    /// The row that says where the ledger stands.
    State,
}

impl fmt::Display for Part {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Record { index } => write!(f, "record {index}"),
            Self::Trace { index } => write!(f, "the trace of cycle {index}"),
            Self::Block { channel, first, last } => {
                write!(f, "the block of readings of «{channel}» from {first} to {last}")
            }
            Self::Tail { first } => write!(f, "the stretch of inputs from number {first}"),
            Self::State => f.write_str("the state of the ledger"),
        }
    }
}

/// What can still be read of a damaged ledger.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Readable {
    /// Nothing answered.
    Nothing,
    /// A sample of records could be read.
    Records {
        /// Records the ledger counts.
        counted: u64,
        /// Records that were asked for.
        asked: u64,
        /// Of these, records that could be read and match their hash.
        sound: u64,
    },
}

impl fmt::Display for Readable {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Nothing => f.write_str("no record could be read"),
            Self::Records { counted, asked, sound } => {
                write!(f, "of {counted} records {asked} were tried and {sound} can be read")
            }
        }
    }
}

impl LedgerError {
    /// Whether trying again can help.
    #[must_use]
    pub fn retry(&self) -> Retry {
        match self {
            Self::DiskFull { .. }
            | Self::Busy { .. }
            | Self::Device { .. }
            | Self::QueueFull
            | Self::OutOfOrder => Retry::Later,
            Self::DirectoryMissing { .. }
            | Self::Missing { .. }
            | Self::Forbidden { .. }
            | Self::InUse { .. }
            | Self::Lock { .. }
            | Self::ReadOnly { .. }
            | Self::NotALedger { .. }
            | Self::LogMissing { .. }
            | Self::NewerFormat { .. }
            | Self::Corrupt { .. }
            | Self::Damaged(_)
            | Self::Database { .. }
            | Self::Record { .. }
            | Self::UnknownChannel { .. }
            | Self::UnknownMachine { .. }
            | Self::InputAhead { .. }
            | Self::UnknownLetter { .. }
            | Self::WriterEnded { .. } => Retry::Never,
        }
    }

    /// Names a failure of the database after what was being done.
    pub(super) fn from_database(path: &std::path::Path, step: &'static str, source: rusqlite::Error) -> Self {
        use rusqlite::ErrorCode;
        let path = path.to_path_buf();
        // Extended code: SQLITE_IOERR_SHMSIZE says that the shared index beside the log could not grow.
        if source
            .sqlite_error()
            .is_some_and(|error| error.extended_code == rusqlite::ffi::SQLITE_IOERR_SHMSIZE)
        {
            return Self::DiskFull { source };
        }
        match source.sqlite_error_code() {
            Some(ErrorCode::DiskFull) => Self::DiskFull { source },
            Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => Self::Busy { source },
            Some(ErrorCode::DatabaseCorrupt) => {
                Self::Corrupt { path, step, readable: Readable::Nothing, source: Box::new(source) }
            }
            Some(ErrorCode::NotADatabase) => Self::NotALedger { path, source: Some(source) },
            Some(ErrorCode::ReadOnly) => Self::ReadOnly { path, source: Some(source) },
            Some(ErrorCode::SystemIoFailure | ErrorCode::CannotOpen) => Self::Device { step, source },
            Some(_) | None => Self::Database { step, source },
        }
    }
}
