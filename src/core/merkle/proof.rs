//! Making and verifying the proofs of RFC 9162 §2.1.3 and §2.1.4.

use super::{Hash, Leaves, TreeHead, empty_root, node_hash};

/// Why a proof could not be made.
#[derive(Clone, Copy, PartialEq, Eq, Debug, thiserror::Error)]
pub enum ProofError<E> {
    /// The leaf or the older tree asked for is not part of the tree.
    #[error("{asked} is outside a tree of {size} leaves")]
    OutsideTree {
        /// Leaf or size asked for.
        asked: u64,
        /// Size of the tree.
        size: u64,
    },
    /// A leaf could not be read.
    #[error("cannot read a leaf")]
    Source(#[source] E),
}

/// Why a proof does not hold.
#[derive(Clone, Copy, PartialEq, Eq, Debug, thiserror::Error)]
pub enum InvalidProof {
    /// The leaf is not below the size of the tree, or the older tree is larger than the newer.
    #[error("{asked} is outside a tree of {size} leaves")]
    OutsideTree {
        /// Leaf or size that the proof is about.
        asked: u64,
        /// Size of the tree.
        size: u64,
    },
    /// Too few or too many hashes for the sizes given.
    #[error("{found} hashes do not fit this proof")]
    Length {
        /// Number of hashes found.
        found: usize,
    },
    /// The hashes do not lead to the root of the older tree.
    #[error("the proof does not lead to the older root")]
    OlderRoot,
    /// The hashes do not lead to the root of the tree.
    #[error("the proof does not lead to the root")]
    Root,
}

/// Root over the first `size` leaves.
///
/// # Errors
/// [`ProofError`] where there are fewer leaves, or one cannot be read.
pub fn root<L: Leaves + ?Sized>(leaves: &L, size: u64) -> Result<Hash, ProofError<L::Error>> {
    within(size, leaves.size())?;
    if size == 0 {
        return Ok(empty_root());
    }
    range_root(leaves, 0, size).map_err(ProofError::Source)
}

/// Proof that leaf `index` is in the tree of the first `size` leaves
/// (RFC 9162 §2.1.3.1), lowest hash first.
///
/// # Errors
/// [`ProofError`] where the leaf is outside that tree, the tree outside the
/// source, or a leaf cannot be read.
pub fn inclusion_proof<L: Leaves + ?Sized>(
    leaves: &L,
    index: u64,
    size: u64,
) -> Result<Vec<Hash>, ProofError<L::Error>> {
    within(size, leaves.size())?;
    if index >= size {
        return Err(ProofError::OutsideTree { asked: index, size });
    }
    let (mut start, mut end) = (0, size);
    let mut proof = Vec::new();
    while end - start > 1 {
        let middle = start + split(end - start);
        let sibling;
        if index < middle {
            sibling = range_root(leaves, middle, end);
            end = middle;
        } else {
            sibling = range_root(leaves, start, middle);
            start = middle;
        }
        proof.push(sibling.map_err(ProofError::Source)?);
    }
    proof.reverse();
    Ok(proof)
}

/// Proof that the tree of the first `older` leaves is a beginning of that of the
/// first `newer` (RFC 9162 §2.1.4.1). Empty where the two are equal or `older` is 0.
///
/// # Errors
/// [`ProofError`] where `older` is larger than `newer`, that larger than the
/// source, or a leaf cannot be read.
pub fn consistency_proof<L: Leaves + ?Sized>(
    leaves: &L,
    older: u64,
    newer: u64,
) -> Result<Vec<Hash>, ProofError<L::Error>> {
    within(newer, leaves.size())?;
    within(older, newer)?;
    let mut proof = Vec::new();
    if older == 0 {
        return Ok(proof);
    }
    let (mut start, mut end) = (0, newer);
    while end != older {
        let middle = start + split(end - start);
        let sibling;
        if older <= middle {
            sibling = range_root(leaves, middle, end);
            end = middle;
        } else {
            sibling = range_root(leaves, start, middle);
            start = middle;
        }
        proof.push(sibling.map_err(ProofError::Source)?);
    }
    // The verifier knows this hash where it is the whole older tree.
    if start > 0 {
        proof.push(range_root(leaves, start, end).map_err(ProofError::Source)?);
    }
    proof.reverse();
    Ok(proof)
}

/// Verifies that a leaf is at `index` of a tree (RFC 9162 §2.1.3.2).
///
/// # Errors
/// [`InvalidProof`] where it is not shown to be.
pub fn verify_inclusion(
    leaf: &Hash,
    index: u64,
    proof: &[Hash],
    head: &TreeHead,
) -> Result<(), InvalidProof> {
    if index >= head.size {
        return Err(InvalidProof::OutsideTree { asked: index, size: head.size });
    }
    let wrong_length = InvalidProof::Length { found: proof.len() };
    let (mut node, mut last) = (index, head.size - 1);
    let mut hash = *leaf;
    for sibling in proof {
        if last == 0 {
            return Err(wrong_length);
        }
        if node & 1 == 1 || node == last {
            hash = node_hash(sibling, &hash);
            climb_to_right_child(&mut node, &mut last);
        } else {
            hash = node_hash(&hash, sibling);
        }
        node >>= 1;
        last >>= 1;
    }
    if last != 0 {
        return Err(wrong_length);
    }
    if hash == head.root { Ok(()) } else { Err(InvalidProof::Root) }
}

/// Verifies that the tree `older` is a beginning of the tree `newer`
/// (RFC 9162 §2.1.4.2). A tree without leaves is a beginning of every tree.
///
/// # Errors
/// [`InvalidProof`] where it is not shown to be.
pub fn verify_consistency(older: &TreeHead, newer: &TreeHead, proof: &[Hash]) -> Result<(), InvalidProof> {
    if older.size > newer.size {
        return Err(InvalidProof::OutsideTree { asked: older.size, size: newer.size });
    }
    let wrong_length = InvalidProof::Length { found: proof.len() };
    if older.size == 0 || older.size == newer.size {
        let expected = if older.size == 0 { empty_root() } else { newer.root };
        return match (proof.is_empty(), older.root == expected) {
            (false, _) => Err(wrong_length),
            (true, false) => Err(InvalidProof::OlderRoot),
            (true, true) => Ok(()),
        };
    }
    // Where the older tree is perfect its root is the first hash, and left out.
    let (first, rest) = if older.size.is_power_of_two() {
        (&older.root, proof)
    } else {
        proof.split_first().ok_or(wrong_length)?
    };
    let (mut node, mut last) = (older.size - 1, newer.size - 1);
    let trailing = node.trailing_ones();
    node >>= trailing;
    last >>= trailing;
    let (mut older_hash, mut newer_hash) = (*first, *first);
    for sibling in rest {
        if last == 0 {
            return Err(wrong_length);
        }
        if node & 1 == 1 || node == last {
            older_hash = node_hash(sibling, &older_hash);
            newer_hash = node_hash(sibling, &newer_hash);
            climb_to_right_child(&mut node, &mut last);
        } else {
            newer_hash = node_hash(&newer_hash, sibling);
        }
        node >>= 1;
        last >>= 1;
    }
    if last != 0 {
        return Err(wrong_length);
    }
    if older_hash != older.root {
        return Err(InvalidProof::OlderRoot);
    }
    if newer_hash == newer.root { Ok(()) } else { Err(InvalidProof::Root) }
}

/// Skips the levels at which the node at the right edge has no sibling and is
/// passed up unchanged.
fn climb_to_right_child(node: &mut u64, last: &mut u64) {
    while *node & 1 == 0 && *node != 0 {
        *node >>= 1;
        *last >>= 1;
    }
}

fn within<E>(asked: u64, size: u64) -> Result<(), ProofError<E>> {
    if asked > size { Err(ProofError::OutsideTree { asked, size }) } else { Ok(()) }
}

/// The largest power of two less than `size`, which is at least 2.
fn split(size: u64) -> u64 {
    1 << (size - 1).ilog2()
}

/// Root over the leaves from `start` up to `end`. Every range that the
/// definition asks for begins at a multiple of its largest perfect subtree.
pub(super) fn range_root<L: Leaves + ?Sized>(leaves: &L, start: u64, end: u64) -> Result<Hash, L::Error> {
    let size = end - start;
    if size.is_power_of_two() {
        let level = size.trailing_zeros();
        return leaves.node(level, start >> level);
    }
    let middle = start + split(size);
    Ok(node_hash(&range_root(leaves, start, middle)?, &range_root(leaves, middle, end)?))
}
