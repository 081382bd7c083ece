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
    file: File,
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
            Ok(()) => Ok(Self { file }),
            Err(TryLockError::WouldBlock) => Err(LedgerError::InUse { path: path.to_path_buf() }),
            Err(TryLockError::Error(source)) => Err(LedgerError::Lock { path: lock_path, source }),
        }
    }
}

/// Says whether another process writes the ledger at `path` just now; one that is not there is nobody's.
///
/// # Errors
/// [`LedgerError::InUse`] where one does; that of the lock where it cannot be looked at.
pub fn unused(path: &Path) -> Result<(), LedgerError> {
    Lock::take(path).map(drop)
}

impl Drop for Lock {
    /// Closing alone is not enough: a child that another thread is starting holds a copy of the
    /// descriptor until it executes, and with it the lock.
    fn drop(&mut self) {
        if let Err(error) = self.file.unlock() {
            tracing::warn!(
                error = &error as &dyn std::error::Error,
                "letting go of the ledger's lock failed"
            );
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lets_go_although_a_copy_of_the_descriptor_is_open() {
        let directory = tempfile::tempdir().expect("a directory");
        let path = directory.path().join("ledger.sqlite");
        let lock = Lock::take(&path).expect("the lock is free");
        let copy = lock.file.try_clone().expect("a copy");
        assert!(matches!(Lock::take(&path), Err(LedgerError::InUse { .. })));
        drop(lock);
        let again = Lock::take(&path).expect("the lock is free again");
        drop((copy, again));
    }
}
