//! The Merkle tree of a ledger as a source of proofs, and records as they are stored.
//!
//! A proof needs the roots of large subtrees. The ledger keeps that of each [`CHUNK`] of leaves
//! ([`super::subtrees`]), 32 bytes for some 1 MB of records; what lies within a chunk is read when
//! it is asked for. Where they are not kept, or do not lead to the root that was signed, one walk
//! over all leaves makes them: it reads every page of the records once, though not their bytes,
//! 0.7 s of processor time for a million, where the system holds the file.

use std::cell::RefCell;
use std::ops::ControlFlow;

use rusqlite::params;

use crate::core::merkle::{
    Frontier, Hash, Leaves, ProofError, SUBTREE_LEVEL, TreeHead, empty_root, node_hash, root,
};
use crate::core::time::Timestamp;

use super::error::{LedgerError, Part};
use super::reader::{Reader, index_of};
use super::subtrees;

/// Level of the subtrees whose roots are kept.
const CHUNK_LEVEL: u32 = SUBTREE_LEVEL;
/// Leaves in one of them: a year of a large site is 500 of them.
const CHUNK: u64 = 1 << CHUNK_LEVEL;
/// Bytes of a record in which the instant it was made stands: `{"v":1,"recorded":"…"`.
const HEAD_LEN: usize = 64;

/// The tree over the first records of a ledger.
#[derive(Debug)]
pub struct LedgerTree<'r> {
    reader: &'r Reader,
    head: TreeHead,
    /// Roots of whole chunks.
    chunks: Vec<Hash>,
    /// The chunk read last.
    near: RefCell<(u64, Vec<Hash>)>,
}

/// Roots of the chunks that are whole, kept by whoever proves records of one ledger again and again:
/// records are never changed, so that what is kept stays true. 32 bytes for each 1,024 records.
#[derive(Clone, Debug, Default)]
pub struct WholeChunks {
    roots: Vec<Hash>,
    /// Whether they are made of the leaves, whatever the ledger keeps beside them.
    of_leaves: bool,
}

impl WholeChunks {
    /// None yet; they are to be made of the leaves alone.
    #[must_use]
    pub const fn of_leaves() -> Self {
        Self { roots: Vec::new(), of_leaves: true }
    }

    /// Whether they are made of the leaves alone.
    #[must_use]
    pub const fn are_of_leaves(&self) -> bool {
        self.of_leaves
    }
}

impl Reader {
    /// The tree over the first `size` records, by the chunks that are kept already; those that have
    /// become whole meanwhile are added, from what the ledger keeps or, where it does not, from the leaves.
    ///
    /// # Errors
    /// [`LedgerError::Damaged`] where a record is missing.
    pub fn tree_by(&self, size: u64, kept: &mut WholeChunks) -> Result<LedgerTree<'_>, LedgerError> {
        let failed = |source| self.failed("reading leaf hashes", source);
        let whole = size / CHUNK * CHUNK;
        if !kept.of_leaves {
            let first = kept.roots.len() as u64;
            let stored = subtrees::kept(&self.connection, first, whole / CHUNK).map_err(failed)?;
            kept.roots.extend(stored);
        }
        let mut next = kept.roots.len() as u64 * CHUNK;
        let mut chunk = Frontier::default();
        let mut statement = self
            .connection
            .prepare_cached("SELECT idx, leaf FROM record WHERE idx >= ?1 AND idx < ?2 ORDER BY idx")
            .map_err(failed)?;
        let mut rows = statement.query(params![index_of(next), index_of(whole)]).map_err(failed)?;
        while let Some(row) = rows.next().map_err(failed)? {
            let (index, leaf): (u64, [u8; 32]) = (row.get(0).map_err(failed)?, row.get(1).map_err(failed)?);
            if index != next {
                break;
            }
            chunk.push(Hash(leaf));
            if chunk.size() == CHUNK {
                kept.roots.push(std::mem::take(&mut chunk).root());
            }
            next += 1;
        }
        if next < whole {
            return Err(LedgerError::Damaged(Part::Record { index: next }));
        }
        let chunks = kept.roots.iter().copied().take(usize::try_from(whole / CHUNK).unwrap_or(usize::MAX));
        let near = RefCell::new((u64::MAX, Vec::new()));
        let head = TreeHead { size, root: empty_root() };
        let mut tree = LedgerTree { reader: self, head, chunks: chunks.collect(), near };
        tree.head.root = root(&tree, size).map_err(|error| match error {
            ProofError::Source(source) => source,
            ProofError::OutsideTree { asked, .. } => LedgerError::Damaged(Part::Record { index: asked }),
        })?;
        Ok(tree)
    }

    /// The tree over the first `size` records. Calls `each` with the index of each record and the
    /// instant it was made, as far as that can be read.
    ///
    /// # Errors
    /// [`LedgerError::Damaged`] where a record is missing.
    pub fn tree(
        &self,
        size: u64,
        mut each: impl FnMut(u64, Timestamp),
    ) -> Result<LedgerTree<'_>, LedgerError> {
        let failed = |source| self.failed("reading leaf hashes", source);
        let (mut whole, mut chunk) = (Frontier::default(), Frontier::default());
        let mut chunks = Vec::new();
        let mut statement = self
            .connection
            .prepare_cached("SELECT idx, leaf, substr(bytes, 1, ?1) FROM record WHERE idx < ?2 ORDER BY idx")
            .map_err(failed)?;
        let mut rows = statement.query(params![HEAD_LEN, index_of(size)]).map_err(failed)?;
        while let Some(row) = rows.next().map_err(failed)? {
            let (index, leaf): (u64, [u8; 32]) = (row.get(0).map_err(failed)?, row.get(1).map_err(failed)?);
            if index != whole.size() {
                break;
            }
            let head = row.get_ref(2).map_err(failed)?.as_blob().map_err(|error| failed(error.into()))?;
            if let Some(recorded) = recorded_of(head) {
                each(index, recorded);
            }
            whole.push(Hash(leaf));
            chunk.push(Hash(leaf));
            if chunk.size() == CHUNK {
                chunks.push(std::mem::take(&mut chunk).root());
            }
        }
        if whole.size() < size {
            return Err(LedgerError::Damaged(Part::Record { index: whole.size() }));
        }
        Ok(LedgerTree {
            reader: self,
            head: whole.head(),
            chunks,
            near: RefCell::new((u64::MAX, Vec::new())),
        })
    }

    /// When a record was made; `None` where it is not there or says no such thing.
    ///
    /// # Errors
    /// [`LedgerError`] where the database fails.
    pub fn recorded(&self, index: u64) -> Result<Option<Timestamp>, LedgerError> {
        let mut found = None;
        self.stored_records(index, index + 1, |_, _, bytes| {
            found = recorded_of(bytes);
            ControlFlow::Break(())
        })?;
        Ok(found)
    }

    /// Calls `each` with index, stored leaf hash and bytes of the records from `from` up to `end`, as
    /// they are stored and unchecked, until it breaks.
    ///
    /// # Errors
    /// [`LedgerError`] where the database fails.
    pub fn stored_records(
        &self,
        from: u64,
        end: u64,
        mut each: impl FnMut(u64, Hash, &[u8]) -> ControlFlow<()>,
    ) -> Result<(), LedgerError> {
        let failed = |source| self.failed("reading records as they are stored", source);
        let mut statement = self
            .connection
            .prepare_cached("SELECT idx, leaf, bytes FROM record WHERE idx >= ?1 AND idx < ?2 ORDER BY idx")
            .map_err(failed)?;
        let mut rows = statement.query(params![index_of(from), index_of(end)]).map_err(failed)?;
        while let Some(row) = rows.next().map_err(failed)? {
            let (index, leaf) = (row.get(0).map_err(failed)?, row.get(1).map_err(failed)?);
            let bytes = row.get_ref(2).map_err(failed)?.as_blob().map_err(|error| failed(error.into()))?;
            if each(index, Hash(leaf), bytes).is_break() {
                break;
            }
        }
        Ok(())
    }

    /// Indices of the cycles whose final rinse began from `from` on and before `to`, outside the
    /// records from `first` up to `end` and below `size`, in order.
    ///
    /// # Errors
    /// [`LedgerError`] where the database fails.
    pub fn cycles_outside(
        &self,
        (from, to): (Timestamp, Timestamp),
        (first, end, size): (u64, u64, u64),
    ) -> Result<Vec<u64>, LedgerError> {
        let read = || -> rusqlite::Result<Vec<u64>> {
            // Verdicts are numbered from 0 to 5, so that the index of the site serves.
            let mut statement = self.connection.prepare_cached(
                "SELECT idx FROM cycle WHERE verdict IN (0, 1, 2, 3, 4, 5)
                 AND rinse_started >= ?1 AND rinse_started < ?2
                 AND (idx < ?3 OR idx >= ?4) AND idx < ?5 ORDER BY idx",
            )?;
            let bounds = params![from.micros(), to.micros(), index_of(first), index_of(end), index_of(size)];
            statement.query_map(bounds, |row| row.get(0))?.collect()
        };
        read().map_err(|source| self.failed("looking for late cycles", source))
    }
}

/// The instant a record was made, from its first bytes.
fn recorded_of(bytes: &[u8]) -> Option<Timestamp> {
    let head = bytes.get(..HEAD_LEN).unwrap_or(bytes);
    let mark = br#""recorded":""#;
    let start = head.windows(mark.len()).position(|window| window == mark)? + mark.len();
    let end = start + head.get(start..)?.iter().position(|byte| *byte == b'"')?;
    std::str::from_utf8(head.get(start..end)?).ok()?.parse().ok()
}

impl LedgerTree<'_> {
    /// Size and root.
    #[must_use]
    pub fn head(&self) -> TreeHead {
        self.head
    }

    /// A leaf or a node within a chunk.
    fn within(&self, level: u32, index: u64) -> Result<Hash, LedgerError> {
        let (from, to) = (index << level, (index + 1) << level);
        let chunk = from >> CHUNK_LEVEL;
        let mut near = self.near.borrow_mut();
        if near.0 != chunk {
            let mut leaves = Vec::new();
            let end = ((chunk + 1) << CHUNK_LEVEL).min(self.head.size);
            self.reader.stored_records(chunk << CHUNK_LEVEL, end, |_, leaf, _| {
                leaves.push(leaf);
                ControlFlow::Continue(())
            })?;
            *near = (chunk, leaves);
        }
        let place = |index: u64| usize::try_from(index - (chunk << CHUNK_LEVEL)).unwrap_or(usize::MAX);
        let leaves = near.1.get(place(from)..place(to));
        let leaves = leaves.ok_or(LedgerError::Damaged(Part::Record { index: from }))?;
        let mut frontier = Frontier::default();
        leaves.iter().for_each(|leaf| frontier.push(*leaf));
        Ok(frontier.root())
    }
}

impl Leaves for LedgerTree<'_> {
    type Error = LedgerError;

    fn size(&self) -> u64 {
        self.head.size
    }

    fn leaf(&self, index: u64) -> Result<Hash, LedgerError> {
        self.within(0, index)
    }

    fn node(&self, level: u32, index: u64) -> Result<Hash, LedgerError> {
        let Some(above) = level.checked_sub(CHUNK_LEVEL) else { return self.within(level, index) };
        if above == 0 {
            let chunk = usize::try_from(index).ok().and_then(|index| self.chunks.get(index));
            return chunk.copied().ok_or(LedgerError::Damaged(Part::Record { index: index << level }));
        }
        Ok(node_hash(&self.node(level - 1, 2 * index)?, &self.node(level - 1, 2 * index + 1)?))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // The form is that of core/record.rs.
    #[test]
    fn the_instant_stands_in_the_first_bytes() {
        for (bytes, expected) in [
            (r#"{"v":1,"recorded":"2026-11-25T09:30:00.123456Z","machine":"dm1""#, true),
            (r#"{"v":1,"recorded":"2026-11-25T09:30:00Z","body":{}}"#, true),
            (r#"{"v":1,"recorded":"yesterday"}"#, false),
            (r#"{"v":1,"recorded":"2026-11-25T"#, false),
            ("", false),
        ] {
            assert_eq!(recorded_of(bytes.as_bytes()).is_some(), expected, "{bytes}");
        }
    }
}
