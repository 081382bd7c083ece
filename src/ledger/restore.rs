//! A ledger that goes on from a backup.
//!
//! The backup is copied beside the ledger's place and inspected; the record that says so is
//! appended to the copy; only then the copy gets the ledger's name, in one step. A ledger
//! that was there gets a second name first, so that at every instant the place holds the
//! one or the other. The lock of the place is held throughout: no service starts meanwhile.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use rusqlite::{Connection, OpenFlags};

use super::append::Append;
use super::backup::{BackupError, Partial, copy, remove_if_there, sync_directory};
use super::commit::Store;
use super::error::LedgerError;
use super::failpoint::{Point, reach};
use super::inspect::{Inspected, open_copy, stated};
use super::lock::Lock;
use super::names::Numbers;
use super::retention::held;
use super::schema::{Copy, beside, check_place, open_to_write_with};
use super::{NewRecord, Reader};
use crate::core::merkle::Hash;
use crate::core::record::{Body, Clock, ClockStep, LawfulHold, Record, Restored};
use crate::core::time::Timestamp;

/// What is to be done.
#[derive(Clone, Copy, Debug)]
pub struct Restore<'a> {
    /// The backup.
    pub backup: &'a Path,
    /// The place of the ledger.
    pub ledger: &'a Path,
    /// The name that a ledger in this place gets; `None` where there must be none.
    pub aside: Option<&'a Path>,
    /// When it is done.
    pub now: Timestamp,
    /// Who does it.
    pub by: &'a str,
    /// Whether a hold is left off that would be switched on because the ledger in this place cannot
    /// be read, so that nobody knows of the holds in it.
    pub without_hold: bool,
}

/// Why nothing was restored; the place holds what it held.
#[derive(Debug, thiserror::Error)]
pub enum RestoreError {
    /// There is no ledger where the backup is said to be.
    #[error("there is no backup to restore")]
    NoBackup(#[source] LedgerError),
    /// The backup cannot be copied, or is not whole.
    #[error("the backup cannot be taken over")]
    Backup(#[from] BackupError),
    /// The place cannot be taken, or the copy not be written to.
    #[error("the place of the ledger cannot be used")]
    Ledger(#[from] LedgerError),
    /// A ledger is there and nobody said that it may be replaced.
    #[error("there is a ledger at «{}»", path.display())]
    Exists {
        /// Where.
        path: PathBuf,
    },
}

/// What was restored.
#[derive(Debug)]
pub struct RestoreDone {
    /// The backup as it was found.
    pub inspected: Inspected,
    /// Index of the record that says so.
    pub record: u64,
    /// Lawful holds of the ledger before that the backup knew nothing of; they stay in force.
    pub holds: usize,
    /// Whether a hold was switched on because those of the ledger before cannot be read.
    pub precaution: bool,
    /// What the ledger before had beside it; `None` where there was none.
    pub before: Option<Before>,
}

/// A ledger that was replaced, beside the backup.
#[derive(Debug)]
pub enum Before {
    /// It had all that the backup has, and this more.
    More {
        /// Records.
        records: u64,
        /// Cycles among them.
        cycles: u64,
        /// Readings and ticks.
        inputs: u64,
    },
    /// It was behind the backup, or the same.
    NoMore,
    /// From this record on the two are not of one history.
    Other {
        /// Index of the first record that differs.
        from: u64,
    },
    /// It could not be read.
    Unreadable(LedgerError),
}

/// Puts a backup in the place of a ledger.
///
/// # Errors
/// [`RestoreError`]; the place holds what it held.
pub fn restore(order: &Restore<'_>) -> Result<RestoreDone, RestoreError> {
    check_place(order.ledger)?;
    // Before anything is made in this place: a mistyped path leaves nothing behind.
    drop(open_copy(order.backup).map_err(RestoreError::NoBackup)?);
    let _lock = Lock::take(order.ledger)?;
    let is_there = order.ledger.exists();
    if is_there && order.aside.is_none() {
        return Err(RestoreError::Exists { path: order.ledger.to_owned() });
    }
    let mut partial = Partial::take(beside(order.ledger, ".restoring"))?;
    let inspected = copy(order.backup, &partial)?;
    let beyond = if is_there { holds_beyond(order) } else { Some(Vec::new()) };
    let precaution = beyond.is_none() && !order.without_hold;
    let kept = beyond.unwrap_or_default();
    let holds: Vec<LawfulHold> =
        kept.iter().cloned().chain(precaution.then(|| unknown_hold(order.by))).collect();
    let record = put_on_record(&partial.path, &inspected, order, &holds)?;
    partial.sync()?;
    let before = is_there.then(|| compare(order.ledger, &partial.path, &inspected));
    reach(Point::BeforeRestore);
    match order.aside {
        Some(aside) if is_there => {
            let write = |source| BackupError::Write { path: aside.to_owned(), source };
            lay_aside(order.ledger, aside).map_err(write)?;
        }
        Some(_) | None => {
            let stale = |source| BackupError::Write { path: order.ledger.to_owned(), source };
            remove_logs(order.ledger).map_err(stale)?;
        }
    }
    partial.rename_over(order.ledger)?;
    Ok(RestoreDone { inspected, record, holds: kept.len(), precaution, before })
}

/// The holds in force in the ledger that is there and not in the backup; `None` where it cannot be
/// read.
fn holds_beyond(order: &Restore<'_>) -> Option<Vec<LawfulHold>> {
    let holds = |path: &Path| -> Result<Vec<LawfulHold>, LedgerError> {
        let holds = Reader::of(open_copy(path)?, path).holds()?;
        Ok(holds.into_iter().map(|(_, _, hold)| hold).collect())
    };
    let known = holds(order.backup).unwrap_or_default();
    let mut beyond = holds(order.ledger).ok()?;
    beyond.retain(|hold| !known.contains(hold));
    Some(beyond)
}

/// A hold in place of those that nobody knows of: waiting loses nothing, pruning may.
fn unknown_hold(by: &str) -> LawfulHold {
    let reason = "the ledger that was replaced cannot be read, so that nobody knows whether a hold was in \
                  force in it: end this one by «hold off» once that is settled";
    LawfulHold { on: true, reason: reason.to_owned(), by: by.to_owned() }
}

/// Appends the record of it to the copy, whose log is then in the one file.
fn put_on_record(
    path: &Path,
    found: &Inspected,
    order: &Restore<'_>,
    holds: &[LawfulHold],
) -> Result<u64, RestoreError> {
    let failed = |source| LedgerError::from_database(path, "putting it on record", source);
    let (connection, _) = open_to_write_with(path, Copy::None)?;
    let state = stated(&connection, path)?;
    let held = held(&connection).map_err(failed)?;
    let mut store = Store { connection, path: path.to_owned(), numbers: Numbers::default(), state, held };
    let root = Hash(found.root).to_string();
    let restored = Restored { records: found.records, root, by: order.by.to_owned() };
    // A clock that went back since the backup is told of first, as at each start of the service.
    let step = store.state.last_recorded.map(Timestamp::from_micros).filter(|last| order.now < *last);
    let step = step.map(|from| ClockStep { clock: Clock::Gateway, from, to: order.now });
    let place = u64::from(step.is_some());
    let bodies = step.map(Body::ClockStep).into_iter().chain([Body::Restored(restored)]);
    let bodies = bodies.chain(holds.iter().cloned().map(Body::LawfulHold));
    let record = |body| NewRecord { record: Record::new(order.now, None, body), trace: None };
    let records = bodies.map(record).collect();
    let committed = store.append(&Append { records, ..Append::default() })?;
    let connection = store.connection;
    connection.query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |_| Ok(())).map_err(failed)?;
    connection.close().map_err(|(_, source)| failed(source))?;
    Ok(committed.first_index.unwrap_or(found.records) + place)
}

/// What the ledger that is there has beside the backup.
fn compare(ledger: &Path, backup: &Path, found: &Inspected) -> Before {
    let compared = || -> Result<Before, LedgerError> {
        let (old, new) = (Reader::of(open_copy(ledger)?, ledger), Reader::of(open_copy(backup)?, backup));
        let state = stated(&old.connection, ledger)?;
        let both = state.tree.size().min(found.records);
        if let Some(from) = first_difference(&old, &new, both)? {
            return Ok(Before::Other { from });
        }
        let failed = |source| old.failed("counting records", source);
        let cycles = old
            .connection
            .query_row(
                "SELECT count(*) FROM record WHERE idx >= ?1 AND kind = 'cycle'",
                [found.records],
                |row| row.get(0),
            )
            .map_err(failed)?;
        let records = state.tree.size().saturating_sub(found.records);
        let inputs = (state.next_input - 1).saturating_sub(found.inputs);
        if (records, inputs) == (0, 0) {
            Ok(Before::NoMore)
        } else {
            Ok(Before::More { records, cycles, inputs })
        }
    };
    compared().unwrap_or_else(Before::Unreadable)
}

/// The first of so many records of which the two hold different ones.
fn first_difference(old: &Reader, new: &Reader, records: u64) -> Result<Option<u64>, LedgerError> {
    const LEAVES: &str = "SELECT leaf FROM record WHERE idx < ?1 ORDER BY idx";
    let (failed_old, failed_new) =
        (|source| old.failed("comparing records", source), |source| new.failed("comparing records", source));
    let mut of_old = old.connection.prepare(LEAVES).map_err(failed_old)?;
    let mut of_new = new.connection.prepare(LEAVES).map_err(failed_new)?;
    let (mut old_rows, mut new_rows) =
        (of_old.query([records]).map_err(failed_old)?, of_new.query([records]).map_err(failed_new)?);
    for index in 0..records {
        let leaf = |row: Option<&rusqlite::Row<'_>>| row.map(|row| row.get::<_, Vec<u8>>(0)).transpose();
        let old_leaf = leaf(old_rows.next().map_err(failed_old)?).map_err(failed_old)?;
        let new_leaf = leaf(new_rows.next().map_err(failed_new)?).map_err(failed_new)?;
        if old_leaf != new_leaf {
            return Ok(Some(index));
        }
    }
    Ok(None)
}

/// Gives a ledger a second name, with all that is in its log. What has that name already is left
/// as it is, and so is the ledger then.
fn lay_aside(ledger: &Path, aside: &Path) -> io::Result<()> {
    let has_log = put_log_in_file(ledger).is_err();
    match fs::hard_link(ledger, aside) {
        Ok(()) => {}
        Err(error) if error.kind() == io::ErrorKind::AlreadyExists => return Err(error),
        // Where a file cannot have two names, the place is empty for an instant.
        Err(_) => fs::rename(ledger, aside)?,
    }
    if has_log {
        // It is damaged, or the disk is full: the log goes along as it is.
        tracing::warn!("the log of the ledger that is replaced stays a file of its own");
        for ending in ["-wal", "-shm"] {
            match fs::rename(beside(ledger, ending), beside(aside, ending)) {
                Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(error),
                Ok(()) | Err(_) => {}
            }
        }
    }
    sync_directory(ledger)?;
    remove_logs(ledger)
}

fn remove_logs(ledger: &Path) -> io::Result<()> {
    ["-wal", "-shm"].iter().try_for_each(|ending| remove_if_there(&beside(ledger, ending)))
}

fn put_log_in_file(ledger: &Path) -> rusqlite::Result<()> {
    let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let connection = Connection::open_with_flags(ledger, flags)?;
    // The first column says whether somebody was in the way.
    let busy: i64 = connection.query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |row| row.get(0))?;
    connection.close().map_err(|(_, source)| source)?;
    if busy == 0 { Ok(()) } else { Err(rusqlite::Error::QueryReturnedNoRows) }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Own promise: what has the name already is not written over, and the ledger stays.
    #[test]
    fn a_name_that_is_taken_is_left_alone() {
        let directory = tempfile::tempdir().expect("a directory");
        let place = |name: &str| directory.path().join(name);
        let (ledger, aside) = (place("ledger.sqlite"), place("ledger.sqlite.replaced"));
        // No database, so that it goes aside as a damaged one does.
        fs::write(&ledger, "new").expect("a file of ours");
        fs::write(&aside, "old").expect("a file of ours");
        let refused = lay_aside(&ledger, &aside).map_err(|error| error.kind());
        assert_eq!(refused, Err(io::ErrorKind::AlreadyExists));
        let held = |path: &Path| fs::read_to_string(path).expect("it is there");
        assert_eq!((held(&ledger), held(&aside)), ("new".to_owned(), "old".to_owned()));
        fs::remove_file(&aside).expect("our file");
        lay_aside(&ledger, &aside).expect("the name is free");
        assert_eq!((held(&ledger), held(&aside)), ("new".to_owned(), "new".to_owned()));
    }
}
