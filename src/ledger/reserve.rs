//! Room for the alerts of a full disk.
//!
//! Nothing leaves as an alert before its record is committed, and a full disk takes no
//! record: the one message that matters then could not be sent. So a file of
//! [`RESERVE_BYTES`] lies beside the ledger, its blocks taken from the disk. When an append
//! (alerts, letters and what became of them) finds the disk full, the file is removed and
//! the append tried again in its room. From then on commits of readings are refused
//! unseen, so that they do not use that room up: their sources keep them. Before the next
//! commit is let through, the reserve must be there again, which takes room for it twice over.
//!
//! Another program that goes on filling the disk can still take the room. Where there was
//! never room for a reserve nothing is refused that the disk would take.

use std::fs::{self, OpenOptions};
use std::os::unix::fs::{MetadataExt, OpenOptionsExt};
use std::path::{Path, PathBuf};

use rustix::fs::{FallocateFlags, fallocate, statvfs};

use super::error::LedgerError;
use super::schema::{beside, directory_of};

/// Size of the file: over a hundred appends with their share of the write-ahead log, which
/// starts over after 4 MB (own choice).
pub const RESERVE_BYTES: u64 = 8 << 20;
/// The reserve is made where so many times its size are free, so that it never fills a disk itself.
const ROOM: u64 = 2;

/// The file beside the ledger.
#[derive(Debug)]
pub(super) struct Reserve {
    path: PathBuf,
    state: State,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug)]
enum State {
    /// There was no room for it.
    Absent,
    /// It takes its room.
    Held,
    /// Its room is for alerts.
    Released,
}

impl Reserve {
    /// Takes the reserve of the ledger at `ledger`, or makes it where there is room.
    pub(super) fn open(ledger: &Path) -> Self {
        let path = beside(ledger, ".reserve");
        let state = if is_whole(&path) || make(&path) { State::Held } else { State::Absent };
        Self { path, state }
    }

    /// Gives its room away; `false` where it was not held.
    pub(super) fn release(&mut self) -> bool {
        if self.state != State::Held {
            return false;
        }
        self.state = State::Released;
        match fs::remove_file(&self.path) {
            Ok(()) => true,
            Err(error) => {
                let error = &error as &dyn std::error::Error;
                tracing::warn!(error, "the reserve of a full disk cannot be released");
                false
            }
        }
    }

    /// Whether its room is given away and cannot be had back yet.
    pub(super) fn is_out(&self) -> bool {
        self.state == State::Released
    }

    /// Refuses where the room of the reserve is given away and there is not enough for it again.
    pub(super) fn admits(&mut self) -> Result<(), LedgerError> {
        if self.state == State::Released && make(&self.path) {
            tracing::info!("the disk has room again, and the reserve is made anew");
            self.state = State::Held;
        }
        if self.state != State::Released {
            return Ok(());
        }
        let full = rusqlite::ffi::Error::new(rusqlite::ffi::SQLITE_FULL);
        let said = "what is left is kept for alerts".to_owned();
        Err(LedgerError::DiskFull { source: rusqlite::Error::SqliteFailure(full, Some(said)) })
    }
}

/// Bytes that this user may still write on the file system of `path`.
pub(super) fn free_bytes(path: &Path) -> Option<u64> {
    let disk = statvfs(path).ok()?;
    disk.f_bavail.checked_mul(disk.f_frsize)
}

/// A file of this size whose blocks are taken; one that was cut off or has holes is no reserve.
fn is_whole(path: &Path) -> bool {
    // st_blocks counts units of 512 bytes (stat(2)).
    path.metadata().is_ok_and(|found| found.len() == RESERVE_BYTES && found.blocks() * 512 >= RESERVE_BYTES)
}

fn make(path: &Path) -> bool {
    if free_bytes(directory_of(path)).is_none_or(|free| free < ROOM * RESERVE_BYTES) {
        return false;
    }
    let file = OpenOptions::new().create(true).truncate(true).write(true).mode(0o600).open(path);
    let made = file.is_ok_and(|file| fallocate(&file, FallocateFlags::empty(), 0, RESERVE_BYTES).is_ok());
    if !made {
        // A file system that cannot promise blocks has no reserve; a part of one is in the way.
        drop(fs::remove_file(path));
    }
    made
}

#[cfg(test)]
mod tests {
    use super::*;

    // Own promise: what is given away is on the disk again only once it is made anew, and commits
    // are refused no longer than that.
    #[test]
    fn a_reserve_is_given_away_once_and_made_anew() {
        let directory = tempfile::tempdir().expect("a directory");
        let ledger = directory.path().join("ledger.sqlite");
        let file = beside(&ledger, ".reserve");
        let mut reserve = Reserve::open(&ledger);
        assert!(is_whole(&file) && !reserve.is_out());
        assert!(reserve.admits().is_ok());
        assert!(reserve.release() && reserve.is_out() && !file.exists());
        assert!(!reserve.release(), "there is none to give");
        assert!(reserve.admits().is_ok(), "this disk has room");
        assert!(is_whole(&file) && !reserve.is_out());
        fs::write(&file, "cut off").expect("our own file");
        assert!(!is_whole(&file));
        drop(Reserve::open(&ledger));
        assert!(is_whole(&file));
    }
}
