//! One writer at a time: a lock on a file beside the ledger.
//!
//! The system drops the lock when the process ends, in whatever way. It is not
//! taken on the ledger itself, since closing a second handle on that would drop
//! the database's own locks (fcntl locks belong to process and file). The lock
//! file stays; deleting it while another process waits for it would give two of
//! them a lock each.

use std::fs::{File, OpenOptions, TryLockError};
use std::path::Path;

use super::error::LedgerError;
use super::schema::beside;

/// The held lock; dropping it lets go.
#[derive(Debug)]
pub(super) struct Lock {
    _file: File,
}

impl Lock {
    /// Takes the lock of the ledger at `path`, or says at once that it is taken.
    pub(super) fn take(path: &Path) -> Result<Self, LedgerError> {
        let lock_path = beside(path, ".lock");
        let opened = OpenOptions::new().create(true).truncate(false).write(true).open(&lock_path);
        let file = opened.map_err(|source| {
            if source.kind() == std::io::ErrorKind::ReadOnlyFilesystem {
                LedgerError::ReadOnly { path: path.to_path_buf(), source: None }
            } else {
                LedgerError::Lock { path: lock_path.clone(), source }
            }
        })?;
        match file.try_lock() {
            Ok(()) => Ok(Self { _file: file }),
            Err(TryLockError::WouldBlock) => Err(LedgerError::InUse { path: path.to_path_buf() }),
            Err(TryLockError::Error(source)) => Err(LedgerError::Lock { path: lock_path, source }),
        }
    }
}
