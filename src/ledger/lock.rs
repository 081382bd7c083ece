//! One writer at a time: a lock on a file beside the ledger.
//!
//! The system drops the lock when the process ends, in whatever way. It is not
//! taken on the ledger itself, since closing a second handle on that would drop
//! the database's own locks (fcntl locks belong to process and file). The lock
//! file stays; deleting it while another process waits for it would give two of
//! them a lock each.

use std::fs::{File, OpenOptions, TryLockError};
use std::path::Path;
use std::thread;
use std::time::Duration;

use super::error::LedgerError;
use super::schema::beside;

/// Pause between two tries. A process that is killed, and a child that it had just
/// started, let go within milliseconds.
const PAUSE: Duration = Duration::from_millis(20);
/// Tries before the last one: a second start is refused after 0.3 s.
const TRIES: usize = 15;

/// The held lock; dropping it lets go.
#[derive(Debug)]
pub(super) struct Lock {
    _file: File,
}

impl Lock {
    /// Takes the lock of the ledger at `path`, or says that it is taken. A holder that is just
    /// ending is waited for, 0.3 s at most.
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
        for pause in std::iter::repeat_n(PAUSE, TRIES).map(Some).chain([None]) {
            match file.try_lock() {
                Ok(()) => return Ok(Self { _file: file }),
                Err(TryLockError::WouldBlock) => pause.into_iter().for_each(thread::sleep),
                Err(TryLockError::Error(source)) => {
                    return Err(LedgerError::Lock { path: lock_path, source });
                }
            }
        }
        Err(LedgerError::InUse { path: path.to_path_buf() })
    }
}
