//! Merkle tree of RFC 6962 §2.1 over SHA-256, with the proofs of RFC 9162 §2.1.
//!
//! The ledger keeps the leaves; a [`Frontier`] keeps what is needed to append and
//! to state the root, at most 64 hashes. Proofs are made from any source of
//! [`Leaves`] and verified from hashes alone, so that an auditor needs neither
//! the program nor the ledger.
//!
//! Bytes of a frontier, format written by [`Frontier::to_bytes`]: the number of
//! leaves as 8 bytes, most significant first, then the 32-byte roots of its
//! perfect subtrees, largest first, one for each bit set in that number. They
//! carry no checksum: their root must be compared with a signed one.

mod proof;
mod range;
#[cfg(test)]
mod tests;

use std::fmt;
use std::str::FromStr;

use sha2::{Digest, Sha256};

pub use proof::{
    InvalidProof, ProofError, consistency_proof, inclusion_proof, root, verify_consistency, verify_inclusion,
};
pub use range::{RangeFold, RangeProof, range_proof};

/// Length of a hash in bytes.
pub const HASH_LEN: usize = 32;

/// A SHA-256 hash of a leaf, a node or a tree. Printed in lower-case hexadecimal.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Hash(pub [u8; HASH_LEN]);

impl fmt::Display for Hash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.iter().try_for_each(|byte| write!(f, "{byte:02x}"))
    }
}

impl fmt::Debug for Hash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

/// The text is not 64 hexadecimal digits.
#[derive(Clone, Copy, PartialEq, Eq, Debug, thiserror::Error)]
#[error("a hash is 64 hexadecimal digits")]
pub struct NotAHash;

impl FromStr for Hash {
    type Err = NotAHash;

    fn from_str(text: &str) -> Result<Self, NotAHash> {
        let digits = text.as_bytes();
        if digits.len() != 2 * HASH_LEN {
            return Err(NotAHash);
        }
        let mut bytes = [0; HASH_LEN];
        for (byte, pair) in bytes.iter_mut().zip(digits.chunks_exact(2)) {
            *byte = digit(pair[0])? << 4 | digit(pair[1])?;
        }
        Ok(Self(bytes))
    }
}

fn digit(character: u8) -> Result<u8, NotAHash> {
    match character {
        b'0'..=b'9' => Ok(character - b'0'),
        b'a'..=b'f' => Ok(character - b'a' + 10),
        b'A'..=b'F' => Ok(character - b'A' + 10),
        _ => Err(NotAHash),
    }
}

/// Root of the tree without leaves: SHA-256 of nothing.
#[must_use]
pub fn empty_root() -> Hash {
    Hash(Sha256::digest([]).into())
}

/// Hash of a leaf: SHA-256 of 0x00 and the entry.
#[must_use]
pub fn leaf_hash(entry: &[u8]) -> Hash {
    Hash(Sha256::new().chain_update([0x00]).chain_update(entry).finalize().into())
}

/// Hash of a node: SHA-256 of 0x01 and both children.
#[must_use]
pub fn node_hash(left: &Hash, right: &Hash) -> Hash {
    let mut input = [0x01; 1 + 2 * HASH_LEN];
    input[1..=HASH_LEN].copy_from_slice(&left.0);
    input[1 + HASH_LEN..].copy_from_slice(&right.0);
    Hash(Sha256::digest(input).into())
}

/// Level of the subtrees whose roots the ledger keeps: over 1,024 leaves each (own choice: 32 bytes for
/// some 1 MB of records, and a proof reads that much beside them).
pub const SUBTREE_LEVEL: u32 = 10;

/// The size of a tree and its root: what a checkpoint signs.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct TreeHead {
    /// Number of leaves.
    pub size: u64,
    /// Root over them.
    pub root: Hash,
}

/// The right edge of a growing tree: the roots of its perfect subtrees.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Frontier {
    size: u64,
    /// One for each bit set in `size`, largest subtree first.
    roots: Vec<Hash>,
}

/// The bytes are no frontier.
#[derive(Clone, Copy, PartialEq, Eq, Debug, thiserror::Error)]
#[error("{found} bytes are no Merkle frontier")]
pub struct FrontierError {
    /// Number of bytes found.
    pub found: usize,
}

impl Frontier {
    /// Appends the hash of a leaf; about one more hash is computed for each.
    ///
    /// # Panics
    /// Past `u64::MAX` leaves, which no ledger reaches.
    pub fn push(&mut self, leaf: Hash) {
        self.push_and_tell(leaf, |_, _| {});
    }

    /// As [`Frontier::push`]; calls `whole` with the level and the root of each perfect subtree that
    /// this leaf is the last one of, from level 1 on: 2^level leaves.
    ///
    /// # Panics
    /// As there.
    pub fn push_and_tell(&mut self, leaf: Hash, mut whole: impl FnMut(u32, Hash)) {
        let mut hash = leaf;
        for level in 1..=self.size.trailing_ones() {
            let left = self.roots.pop().expect("there is a root for each bit set in the size");
            hash = node_hash(&left, &hash);
            whole(level, hash);
        }
        self.roots.push(hash);
        self.size = self.size.checked_add(1).expect("fewer than 2^64 leaves");
    }

    /// Number of leaves.
    #[must_use]
    pub fn size(&self) -> u64 {
        self.size
    }

    /// Root over all leaves so far.
    #[must_use]
    pub fn root(&self) -> Hash {
        let mut rightmost_first = self.roots.iter().rev();
        match rightmost_first.next() {
            Some(last) => rightmost_first.fold(*last, |right, left| node_hash(left, &right)),
            None => empty_root(),
        }
    }

    /// Size and root.
    #[must_use]
    pub fn head(&self) -> TreeHead {
        TreeHead { size: self.size, root: self.root() }
    }

    /// The bytes to store, see the module's description.
    #[must_use]
    pub fn to_bytes(&self) -> Vec<u8> {
        let mut bytes = Vec::with_capacity(8 + HASH_LEN * self.roots.len());
        bytes.extend_from_slice(&self.size.to_be_bytes());
        for root in &self.roots {
            bytes.extend_from_slice(&root.0);
        }
        bytes
    }

    /// Reads stored bytes back.
    ///
    /// # Errors
    /// [`FrontierError`] where the number of hashes does not fit the size.
    pub fn from_bytes(bytes: &[u8]) -> Result<Self, FrontierError> {
        let refused = FrontierError { found: bytes.len() };
        let (size, hashes) = bytes.split_first_chunk::<8>().ok_or(refused)?;
        let size = u64::from_be_bytes(*size);
        let (hashes, rest) = hashes.as_chunks::<HASH_LEN>();
        if !rest.is_empty() || hashes.len() != size.count_ones() as usize {
            return Err(refused);
        }
        Ok(Self { size, roots: hashes.iter().copied().map(Hash).collect() })
    }
}

/// A source of leaf hashes, numbered from 0.
pub trait Leaves {
    /// Why a leaf could not be read.
    type Error;

    /// Number of leaves.
    fn size(&self) -> u64;

    /// Hash of a leaf below [`Leaves::size`].
    ///
    /// # Errors
    /// Those of the source.
    fn leaf(&self, index: u64) -> Result<Hash, Self::Error>;

    /// Root of the perfect subtree of 2^`level` leaves that begins at leaf
    /// `index · 2^level`. Computed from the leaves; a source that stores nodes
    /// of some levels answers from them, which makes a proof of a large tree cheap.
    ///
    /// # Errors
    /// Those of the source.
    fn node(&self, level: u32, index: u64) -> Result<Hash, Self::Error> {
        let Some(below) = level.checked_sub(1) else { return self.leaf(index) };
        Ok(node_hash(&self.node(below, 2 * index)?, &self.node(below, 2 * index + 1)?))
    }
}

impl Leaves for [Hash] {
    type Error = std::convert::Infallible;

    fn size(&self) -> u64 {
        self.len() as u64
    }

    fn leaf(&self, index: u64) -> Result<Hash, Self::Error> {
        let index = usize::try_from(index).expect("an index below the length of a slice");
        Ok(self[index])
    }
}
