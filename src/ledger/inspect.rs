//! Whether a copy of a ledger is whole, before anybody relies on it.
//!
//! Every page is looked at by the database, every record is hashed anew, the root over all
//! is computed from these hashes, and the newest checkpoint must agree. Who signed that is
//! not asked here: this finds damage, the verifier with a key finds forgery.

use std::path::Path;

use rusqlite::Connection;

use super::error::{LedgerError, Part};
use super::reader::Reader;
use super::schema::{State, beside, open_still, open_to_read, read_state};
use crate::core::checkpoint::Checkpoint;
use crate::core::merkle::{Frontier, leaf_hash};
use crate::core::note::Note;
use crate::core::time::Timestamp;

/// Why a ledger is not whole.
#[derive(Debug, thiserror::Error)]
pub enum InspectError {
    /// It cannot be opened or read, or a record does not match its hash.
    #[error("the copy cannot be read as a whole")]
    Ledger(#[from] LedgerError),
    /// The database finds its pages in disorder.
    #[error("the database finds its pages in disorder: {said}")]
    Pages {
        /// The first thing it says.
        said: String,
    },
    /// The records do not give the root that the ledger states.
    #[error("{counted} records do not give the root that the ledger states over {stated}")]
    Root {
        /// Records that are there.
        counted: u64,
        /// Records that the ledger states.
        stated: u64,
    },
    /// The newest checkpoint speaks of other records.
    #[error("the newest checkpoint, over {size} records, does not fit the records")]
    Checkpoint {
        /// How many records it speaks of.
        size: u64,
    },
}

/// What a whole ledger holds.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Inspected {
    /// Number of records.
    pub records: u64,
    /// Root over them (RFC 6962).
    pub root: [u8; 32],
    /// Readings and ticks it took in its life.
    pub inputs: u64,
    /// Last instant on record.
    pub last_recorded: Option<Timestamp>,
    /// Number of records that its newest checkpoint speaks of.
    pub checkpoint: Option<u64>,
}

/// Opens a ledger that is perhaps a lone file: without a log beside it nothing is made there either.
pub(super) fn open_copy(path: &Path) -> Result<Connection, LedgerError> {
    let has_log = beside(path, "-wal").metadata().is_ok_and(|log| log.len() > 0);
    if has_log { open_to_read(path) } else { open_still(path) }
}

/// Looks at all of the ledger at `path`. Takes time for all of it.
///
/// # Errors
/// [`InspectError`] says what is not whole.
pub fn inspect(path: &Path) -> Result<Inspected, InspectError> {
    let reader = Reader::of(open_copy(path)?, path);
    let _one_state = reader.one_state()?;
    let state = stated(&reader.connection, path)?;
    let failed = |source| reader.failed("looking at its pages", source);
    let said: String =
        reader.connection.query_row("PRAGMA quick_check(1)", [], |row| row.get(0)).map_err(failed)?;
    if said != "ok" {
        return Err(InspectError::Pages { said });
    }
    let checkpoint = reader.newest_checkpoint()?;
    let size = checkpoint.as_ref().map(|checkpoint| checkpoint.size);
    let (tree, at_checkpoint) = tree_of(&reader, size)?;
    if tree != state.tree {
        return Err(InspectError::Root { counted: tree.size(), stated: state.tree.size() });
    }
    if let Some(stored) = &checkpoint {
        let told = Note::parse(&stored.note).ok();
        let told = told.and_then(|note| Checkpoint::parse(note.unverified_text()).ok());
        let fits = told.is_some_and(|told| at_checkpoint.is_some_and(|tree| tree.head() == told.head));
        if !fits {
            return Err(InspectError::Checkpoint { size: stored.size });
        }
    }
    Ok(Inspected {
        records: tree.size(),
        root: tree.root().0,
        inputs: state.next_input - 1,
        last_recorded: state.last_recorded.map(Timestamp::from_micros),
        checkpoint: size,
    })
}

/// Where the ledger says that it stands.
pub(super) fn stated(connection: &Connection, path: &Path) -> Result<State, LedgerError> {
    let state = read_state(connection)
        .map_err(|source| LedgerError::from_database(path, "reading its state", source))?;
    state.ok_or(LedgerError::Damaged(Part::State))
}

/// The tree over the records as they are, and the one over the first `size` of them.
fn tree_of(reader: &Reader, size: Option<u64>) -> Result<(Frontier, Option<Frontier>), LedgerError> {
    let failed = |source| reader.failed("reading records", source);
    let (mut tree, mut at_size) = (Frontier::default(), None);
    let mut statement =
        reader.connection.prepare("SELECT idx, leaf, bytes FROM record ORDER BY idx").map_err(failed)?;
    let mut rows = statement.query([]).map_err(failed)?;
    loop {
        if size == Some(tree.size()) {
            at_size = Some(tree.clone());
        }
        let Some(row) = rows.next().map_err(failed)? else { return Ok((tree, at_size)) };
        let index: u64 = row.get(0).map_err(failed)?;
        let blob = |place| {
            row.get_ref(place)
                .and_then(|value| value.as_blob().map_err(rusqlite::Error::from))
                .map_err(failed)
        };
        let leaf = leaf_hash(blob(2)?);
        if index != tree.size() || leaf.0[..] != *blob(1)? {
            return Err(LedgerError::Damaged(Part::Record { index: tree.size() }));
        }
        tree.push(leaf);
    }
}
