//! A copy of a ledger, whole and of one instant, made beside its writer or without one.
//!
//! The copy goes page by page through the database's own interface for it, on a connection
//! that keeps reading one state meanwhile: the writer goes on, and what it commits is in
//! the log and not in the copy. The log cannot start over before the copy is done, so it
//! grows by what is committed meanwhile. The copy rests between its steps.
//!
//! Until it is whole, synced and inspected the copy has the name `….partial`; only then it
//! gets its own. One that was broken off is taken up again, from its beginning.

use std::fs::{self, File, OpenOptions, TryLockError};
use std::io;
use std::os::unix::fs::{MetadataExt, OpenOptionsExt};
use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::backup::{Backup, StepResult};
use rusqlite::{Connection, OpenFlags};
use rustix::fs::{CWD, RenameFlags, renameat_with};
use rustix::io::Errno;

use super::error::LedgerError;
use super::failpoint::{Point, reach};
use super::inspect::{InspectError, Inspected, inspect, open_copy, stated};
use super::reserve::free_bytes;
use super::schema::{State, beside, directory_of};

/// Pages of 4 kB in one step, 256 kB.
const STEP_PAGES: i32 = 64;
/// Rest after each step: at most 256 MB/s, so that a writer beside it reaches the device (own choice).
const REST: Duration = Duration::from_millis(1);
/// Steps after which the copy is synced, 32 MB, so that no commit waits for much at once.
const SYNC_EVERY: u32 = 128;
/// Mode of a copy: it holds what the ledger holds.
const MODE: u32 = 0o640;
/// Room to be left on the disk of the copy, bytes (own choice): it may be the ledger's own.
const LEAVE_FREE: u64 = 32 << 20;

/// Why there is no copy.
#[derive(Debug, thiserror::Error)]
pub enum BackupError {
    /// The ledger cannot be read.
    #[error("the ledger cannot be read")]
    Ledger(#[from] LedgerError),
    /// Something has the name already.
    #[error("«{}» is there already and is left as it is", path.display())]
    Exists {
        /// Where the copy was to be.
        path: PathBuf,
    },
    /// Another process makes a copy under this name.
    #[error("another process is writing «{}»", path.display())]
    UnderWay {
        /// The unfinished copy.
        path: PathBuf,
    },
    /// The disk has too little room.
    #[error("the copy needs {needed} bytes and {free} are free, of which {LEAVE_FREE} are left alone")]
    NoRoom {
        /// Bytes of the ledger.
        needed: u64,
        /// Bytes free.
        free: u64,
    },
    /// A file of the copy cannot be made or written.
    #[error("cannot write «{}»", path.display())]
    Write {
        /// The file.
        path: PathBuf,
        /// Why.
        #[source]
        source: io::Error,
    },
    /// The database could not copy its pages.
    #[error("the pages cannot be copied")]
    Copy(#[source] rusqlite::Error),
    /// What was written is not whole.
    #[error("the copy is not whole and was thrown away")]
    NotWhole(#[source] InspectError),
    /// What was written is whole, but of another state than the one that was read.
    #[error("the copy holds {found} records and the ledger {wanted}; it was thrown away")]
    Differs {
        /// Records in the copy.
        found: u64,
        /// Records in the state that was copied.
        wanted: u64,
    },
}

/// Copies the ledger at `from` to the new file `to`, and inspects the copy.
///
/// # Errors
/// [`BackupError`]; nothing of the name `to` was made then.
pub fn back_up(from: &Path, to: &Path) -> Result<Inspected, BackupError> {
    if to.exists() {
        return Err(BackupError::Exists { path: to.to_owned() });
    }
    let mut partial = Partial::take(beside(to, ".partial"))?;
    let inspected = copy(from, &partial)?;
    partial.sync()?;
    partial.rename_new(to)?;
    Ok(inspected)
}

/// Copies all pages into the unfinished copy, and inspects it.
pub(super) fn copy(from: &Path, partial: &Partial) -> Result<Inspected, BackupError> {
    let wanted = copy_pages(from, partial)?;
    let found = inspect(&partial.path).map_err(BackupError::NotWhole)?;
    if (found.records, found.root) != (wanted.tree.size(), wanted.tree.root().0) {
        return Err(BackupError::Differs { found: found.records, wanted: wanted.tree.size() });
    }
    Ok(found)
}

fn copy_pages(from: &Path, partial: &Partial) -> Result<State, BackupError> {
    let source = open_copy(from)?;
    let failed = |source| LedgerError::from_database(from, "beginning to read", source);
    // The state is read in the transaction that all steps of the copy read in.
    let _one_state = source.unchecked_transaction().map_err(failed)?;
    let state = stated(&source, from)?;
    check_room(&source, from, &partial.path)?;
    let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let mut copy = Connection::open_with_flags(&partial.path, flags).map_err(BackupError::Copy)?;
    // Nobody else reads it, and one that is cut off is begun anew: no journal, synced by us.
    copy.execute_batch("PRAGMA journal_mode = OFF; PRAGMA synchronous = OFF").map_err(BackupError::Copy)?;
    let backup = Backup::new(&source, &mut copy).map_err(BackupError::Copy)?;
    for step in 1_u32.. {
        let is_done = backup.step(STEP_PAGES).map_err(BackupError::Copy)? == StepResult::Done;
        reach(Point::DuringBackup);
        if is_done {
            break;
        }
        if step % SYNC_EVERY == 0 {
            partial.sync()?;
        }
        std::thread::sleep(REST);
    }
    drop(backup);
    copy.close().map_err(|(_, source)| BackupError::Copy(source))?;
    Ok(state)
}

fn check_room(source: &Connection, from: &Path, to: &Path) -> Result<(), BackupError> {
    let ask = |pragma: &str| source.query_row(pragma, [], |row| row.get::<_, u64>(0));
    let size = ask("PRAGMA page_count").and_then(|pages| Ok(pages * ask("PRAGMA page_size")?));
    let needed = size.map_err(|source| LedgerError::from_database(from, "asking for its size", source))?;
    match free_bytes(directory_of(to)) {
        Some(free) if free < needed.saturating_add(LEAVE_FREE) => Err(BackupError::NoRoom { needed, free }),
        Some(_) | None => Ok(()),
    }
}

/// A file under an unfinished name; removed where it is not renamed.
#[derive(Debug)]
pub(super) struct Partial {
    pub(super) path: PathBuf,
    file: File,
    renamed: bool,
}

impl Partial {
    /// Takes the name for this process; what lies there is thrown away.
    pub(super) fn take(path: PathBuf) -> Result<Self, BackupError> {
        let write = |source| BackupError::Write { path: path.clone(), source };
        let opened = OpenOptions::new().create(true).truncate(false).write(true).mode(MODE).open(&path);
        let file = opened.map_err(write)?;
        match file.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => return Err(BackupError::UnderWay { path }),
            Err(TryLockError::Error(source)) => return Err(write(source)),
        }
        // Opened before another process finished its copy and gave it its name: it is that copy.
        if !has_name(&file, &path).map_err(write)? {
            return Err(BackupError::UnderWay { path });
        }
        file.set_len(0).map_err(write)?;
        // What a broken-off restore had beside it belongs to bytes that are gone.
        for ending in ["-wal", "-shm"] {
            remove_if_there(&beside(&path, ending)).map_err(write)?;
        }
        Ok(Self { path, file, renamed: false })
    }

    /// Brings what was written to the device.
    pub(super) fn sync(&self) -> Result<(), BackupError> {
        self.file.sync_all().map_err(|source| BackupError::Write { path: self.path.clone(), source })
    }

    /// Gives it its name, where nothing has that name yet.
    fn rename_new(&mut self, to: &Path) -> Result<(), BackupError> {
        let write = |source| BackupError::Write { path: to.to_owned(), source };
        match renameat_with(CWD, &self.path, CWD, to, RenameFlags::NOREPLACE) {
            Ok(()) => {}
            // File systems without this operation, such as FAT on some kernels.
            Err(Errno::INVAL | Errno::NOSYS | Errno::NOTSUP) if !to.exists() => {
                fs::rename(&self.path, to).map_err(write)?;
            }
            Err(Errno::EXIST) => return Err(BackupError::Exists { path: to.to_owned() }),
            Err(error) => return Err(write(error.into())),
        }
        self.renamed = true;
        sync_directory(to).map_err(write)
    }

    /// Gives it the name of a file that is there, in its place.
    pub(super) fn rename_over(&mut self, to: &Path) -> Result<(), BackupError> {
        let write = |source| BackupError::Write { path: to.to_owned(), source };
        fs::rename(&self.path, to).map_err(write)?;
        self.renamed = true;
        sync_directory(to).map_err(write)
    }
}

impl Drop for Partial {
    fn drop(&mut self) {
        if !self.renamed {
            // One that stays is overwritten by the next copy under this name.
            drop(fs::remove_file(&self.path));
        }
    }
}

/// Whether this open file is the one that has this name now.
fn has_name(file: &File, path: &Path) -> io::Result<bool> {
    let own = file.metadata()?;
    match fs::metadata(path) {
        Ok(named) => Ok((own.dev(), own.ino()) == (named.dev(), named.ino())),
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(false),
        Err(error) => Err(error),
    }
}

/// The name of a file is on the device only when its directory is.
pub(super) fn sync_directory(of: &Path) -> io::Result<()> {
    File::open(directory_of(of))?.sync_all()
}

pub(super) fn remove_if_there(path: &Path) -> io::Result<()> {
    match fs::remove_file(path) {
        Err(error) if error.kind() != io::ErrorKind::NotFound => Err(error),
        Ok(()) | Err(_) => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // A copy that got its name between the opening and the locking by another process is not touched.
    #[test]
    fn a_file_that_was_renamed_has_another_name() {
        let directory = tempfile::tempdir().expect("a directory");
        let (partial, whole) = (directory.path().join("copy.partial"), directory.path().join("copy"));
        let file = File::create(&partial).expect("a file of ours");
        assert!(has_name(&file, &partial).expect("it is there"));
        fs::rename(&partial, &whole).expect("our file");
        assert!(!has_name(&file, &partial).expect("the directory is there"));
        fs::write(&partial, "another").expect("a file of ours");
        assert!(!has_name(&file, &partial).expect("it is there"));
    }
}
