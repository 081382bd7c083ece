//! Proof that a stretch of leaves stands in a tree: every one of them, in its place, and none
//! between them missing.
//!
//! Beside the leaves from `first` up to `end` it takes the roots of the largest subtrees of
//! RFC 6962 §2.1 that lie wholly before `first` or from `end` on: those before are the perfect
//! subtrees of the bits set in `first`, as a [`Frontier`] of that size has them; those after
//! begin at `end` and grow with what it is a multiple of, the last one cut off at the size
//! of the tree. At most two hashes for each level of the tree.

use super::proof::{InvalidProof, ProofError, range_root};
use super::{Frontier, Hash, Leaves, TreeHead, node_hash};

/// The hashes beside a stretch of leaves, both lists in order of place.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct RangeProof {
    /// Subtrees before the stretch.
    pub before: Vec<Hash>,
    /// Subtrees after it.
    pub after: Vec<Hash>,
}

/// Proof that the leaves from `first` up to `end` are in the tree of the first `size` leaves.
///
/// # Errors
/// [`ProofError`] where the stretch is empty or outside that tree, the tree outside the
/// source, or a leaf cannot be read.
pub fn range_proof<L: Leaves + ?Sized>(
    leaves: &L,
    first: u64,
    end: u64,
    size: u64,
) -> Result<RangeProof, ProofError<L::Error>> {
    for (asked, size, inside) in
        [(size, leaves.size(), size <= leaves.size()), (end, size, end <= size), (first, end, first < end)]
    {
        if !inside {
            return Err(ProofError::OutsideTree { asked, size });
        }
    }
    let subtree = |(from, to)| range_root(leaves, from, to).map_err(ProofError::Source);
    Ok(RangeProof {
        before: subtrees_before(first).map(subtree).collect::<Result<_, _>>()?,
        after: subtrees_after(end, size).map(subtree).collect::<Result<_, _>>()?,
    })
}

/// The perfect subtrees before a leaf, largest first.
fn subtrees_before(first: u64) -> impl Iterator<Item = (u64, u64)> {
    let mut from = 0;
    std::iter::from_fn(move || {
        let size = 1 << (first - from).checked_ilog2()?;
        from += size;
        Some((from - size, from))
    })
}

/// The subtrees from a leaf on, in order; only the last may be cut off by the end of the tree.
fn subtrees_after(end: u64, size: u64) -> impl Iterator<Item = (u64, u64)> {
    let mut from = end;
    std::iter::from_fn(move || {
        if from >= size {
            return None;
        }
        let to = from.saturating_add(1 << from.trailing_zeros().min(63)).min(size);
        Some((std::mem::replace(&mut from, to), to))
    })
}

/// Verifies a stretch of leaves, one after the other. Keeps at most two hashes a level.
#[derive(Clone, Debug)]
pub struct RangeFold {
    edge: Frontier,
    end: u64,
    after: Vec<Hash>,
    surplus: bool,
}

impl RangeFold {
    /// Begins before the leaf `first`; the stretch ends before `end`.
    ///
    /// # Errors
    /// [`InvalidProof`] where the stretch is empty or the number of hashes does not fit its ends.
    pub fn start(first: u64, end: u64, proof: &RangeProof) -> Result<Self, InvalidProof> {
        if first >= end {
            return Err(InvalidProof::OutsideTree { asked: first, size: end });
        }
        if proof.before.len() != first.count_ones() as usize {
            return Err(InvalidProof::Length { found: proof.before.len() });
        }
        let edge = Frontier { size: first, roots: proof.before.clone() };
        Ok(Self { edge, end, after: proof.after.clone(), surplus: false })
    }

    /// Takes the next leaf.
    pub fn push(&mut self, leaf: Hash) {
        if self.edge.size < self.end {
            self.edge.push(leaf);
        } else {
            self.surplus = true;
        }
    }

    /// Root over everything up to the last leaf that was taken: that of an earlier tree of this size.
    #[must_use]
    pub fn root_so_far(&self) -> Hash {
        self.edge.root()
    }

    /// Verifies that what was taken leads to the root.
    ///
    /// # Errors
    /// [`InvalidProof`] where it does not: a leaf is changed, missing, too many or in another
    /// place, or the hashes of the proof are not those of this tree.
    pub fn finish(self, head: &TreeHead) -> Result<(), InvalidProof> {
        let Self { mut edge, end, after, surplus } = self;
        if end > head.size {
            return Err(InvalidProof::OutsideTree { asked: end, size: head.size });
        }
        if surplus || edge.size != end {
            return Err(InvalidProof::Root);
        }
        if after.len() != subtrees_after(end, head.size).count() {
            return Err(InvalidProof::Length { found: after.len() });
        }
        let mut cut_off = None;
        for (hash, (from, to)) in after.into_iter().zip(subtrees_after(end, head.size)) {
            if (to - from).is_power_of_two() {
                edge.push_subtree(hash, (to - from).trailing_zeros());
            } else {
                cut_off = Some(hash);
            }
        }
        let mut rightmost_first = cut_off.into_iter().chain(edge.roots.iter().rev().copied());
        let root = rightmost_first
            .next()
            .map(|last| rightmost_first.fold(last, |right, left| node_hash(&left, &right)));
        if root == Some(head.root) { Ok(()) } else { Err(InvalidProof::Root) }
    }
}

impl Frontier {
    /// Appends the root of a perfect subtree of 2^`level` leaves; the size is a multiple of that.
    fn push_subtree(&mut self, root: Hash, level: u32) {
        let mut hash = root;
        for _ in 0..(self.size >> level).trailing_ones() {
            let left = self.roots.pop().expect("there is a root for each bit set in the size");
            hash = node_hash(&left, &hash);
        }
        self.roots.push(hash);
        self.size += 1 << level;
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::super::{leaf_hash, root};
    use super::*;

    fn leaves(count: u8) -> Vec<Hash> {
        (0..count).map(|n| leaf_hash(&[n])).collect()
    }

    fn verify(leaves: &[Hash], first: u64, end: u64, proof: &RangeProof, head: &TreeHead) -> bool {
        let Ok(mut fold) = RangeFold::start(first, end, proof) else { return false };
        leaves.iter().for_each(|leaf| fold.push(*leaf));
        fold.finish(head).is_ok()
    }

    /// Number of leaves, first and end of the stretch, beginnings of the hashes before and after it.
    type Known = (u8, u64, u64, &'static [&'static str], &'static [&'static str]);

    // Leaf n is the byte n. Roots and hashes computed by the definition of RFC 6962 §2.1 with
    // Python's hashlib, splitting the entries themselves.
    const KNOWN: [Known; 10] = [
        (7, 0, 7, &[], &[]),
        (7, 2, 5, &["a20bf9a7cc2dc8a0"], &["9f1afa4dc124cba7", "40d88127d4d31a38"]),
        (7, 3, 4, &["a20bf9a7cc2dc8a0", "fcf0a6c700dd13e2"], &["89c929834ed1459b"]),
        (7, 5, 7, &["9bcd51240af40051", "4f35212d12f9ad20"], &[]),
        (8, 1, 3, &["96a296d224f285c6"], &["583c7dfb7b3055d9", "c1fe42b33ebb8e8a"]),
        (8, 4, 8, &["9bcd51240af40051"], &[]),
        (13, 3, 11, &["a20bf9a7cc2dc8a0", "fcf0a6c700dd13e2"], &["f09a7a12954169ae", "fe251e4dd034dcf5"]),
        (13, 6, 7, &["9bcd51240af40051", "4b8c129ed14cce2c"], &["2ecd8a6b7d284554", "cc7376d91fe7b672"]),
        (13, 0, 1, &[], &["b413f47d13ee2fe6", "52c56b473e524693", "c1fe42b33ebb8e8a", "cc7376d91fe7b672"]),
        (13, 12, 13, &["ef7f49b620f6c7ea", "4e2757c82865d7d2"], &[]),
    ];

    #[test]
    fn has_the_hashes_of_the_definition() {
        let known_roots = [
            (7, "3560191803028444b232018ac047fdb561c09c23a7a6876c85e08b5e4d48e9f3"),
            (8, "ef7f49b620f6c7ea9b963a214da34b5021c6ded8ed57734380a311ab726aa907"),
            (13, "df5ee130e5a247600d190c31074458de3c0dc58f0b0d8a6a2b3dd4fd7e569501"),
        ];
        let beginnings = |hashes: &[Hash]| -> Vec<String> {
            hashes.iter().map(|hash| hash.to_string()[..16].to_owned()).collect()
        };
        for (count, first, end, before, after) in KNOWN {
            let leaves = leaves(count);
            let size = u64::from(count);
            let proof = range_proof(leaves.as_slice(), first, end, size).expect("inside the tree");
            assert_eq!(beginnings(&proof.before), before, "{first}..{end} of {count}");
            assert_eq!(beginnings(&proof.after), after, "{first}..{end} of {count}");
            let root = known_roots.iter().find(|(size, _)| *size == count).map(|(_, root)| root.parse());
            let head = TreeHead { size, root: root.expect("a row for it").expect("a hash") };
            let stretch =
                &leaves[usize::try_from(first).expect("small")..usize::try_from(end).expect("small")];
            assert!(verify(stretch, first, end, &proof, &head), "{first}..{end} of {count}");
        }
    }

    #[test]
    fn refuses_what_is_outside_the_tree() {
        let leaves = leaves(8);
        for (first, end, size) in [(3, 3, 8), (4, 3, 8), (0, 9, 8), (0, 8, 9), (0, 7, 6)] {
            let proof = range_proof(leaves.as_slice(), first, end, size);
            assert!(matches!(proof, Err(ProofError::OutsideTree { .. })), "{first}..{end} of {size}");
        }
        assert!(RangeFold::start(3, 3, &RangeProof::default()).is_err());
    }

    fn tree_and_stretch() -> impl Strategy<Value = (Vec<Hash>, usize, usize)> {
        (1..200_usize).prop_flat_map(|count| {
            (0..count).prop_flat_map(move |first| {
                let leaves = (0..count).map(|n| leaf_hash(&n.to_be_bytes())).collect::<Vec<_>>();
                (Just(leaves), Just(first), first + 1..=count)
            })
        })
    }

    fn flipped(mut hash: Hash, bit: usize) -> Hash {
        hash.0[bit / 8 % 32] ^= 1 << (bit % 8);
        hash
    }

    proptest! {
        #[test]
        fn any_stretch_of_any_tree_holds_and_nothing_else_does(
            (leaves, first, end) in tree_and_stretch(), pick in any::<prop::sample::Index>(), bit in 0..256_usize,
        ) {
            let size = leaves.len() as u64;
            let head = TreeHead { size, root: root(leaves.as_slice(), size).expect("inside the tree") };
            let (a, b) = (first as u64, end as u64);
            let proof = range_proof(leaves.as_slice(), a, b, size).expect("inside the tree");
            let levels = 64 - size.leading_zeros() as usize;
            prop_assert!(proof.before.len() + proof.after.len() <= 2 * levels);
            let stretch = &leaves[first..end];
            prop_assert!(verify(stretch, a, b, &proof, &head));
            let wrong_root = TreeHead { root: flipped(head.root, bit), ..head };
            prop_assert!(!verify(stretch, a, b, &proof, &wrong_root), "another root");
            let at = pick.index(stretch.len());
            let changed = |change: &dyn Fn(&mut Vec<Hash>)| {
                let mut changed = stretch.to_vec();
                change(&mut changed);
                changed
            };
            for (what, wrong) in [
                ("flipped", changed(&|leaves| leaves[at] = flipped(leaves[at], bit))),
                ("dropped", changed(&|leaves| { leaves.remove(at); })),
                ("doubled", changed(&|leaves| leaves.insert(at, leaves[at]))),
                ("inserted", changed(&|leaves| leaves.insert(at, leaf_hash(b"forged")))),
            ] {
                prop_assert!(!verify(&wrong, a, b, &proof, &head), "{what} at {at}");
                let (wrong_end, length) = (a + wrong.len() as u64, wrong.len());
                prop_assert!(length == 0 || !verify(&wrong, a, wrong_end, &proof, &head), "{what}, end adjusted");
            }
            if stretch.len() > 1 {
                let other = (at + 1) % stretch.len();
                prop_assert!(!verify(&changed(&|leaves| leaves.swap(at, other)), a, b, &proof, &head), "reordered");
            }
            prop_assert!(!verify(stretch, a + 1, b + 1, &proof, &head), "moved");
        }

        #[test]
        fn any_changed_hash_of_the_proof_is_found(
            (leaves, first, end) in tree_and_stretch(), pick in any::<prop::sample::Index>(), bit in 0..256_usize,
        ) {
            let size = leaves.len() as u64;
            let head = TreeHead { size, root: root(leaves.as_slice(), size).expect("inside the tree") };
            let (a, b) = (first as u64, end as u64);
            let proof = range_proof(leaves.as_slice(), a, b, size).expect("inside the tree");
            let mut longer = proof.clone();
            longer.after.push(leaves[0]);
            prop_assert!(!verify(&leaves[first..end], a, b, &longer, &head), "one more after");
            let mut longer = proof.clone();
            longer.before.push(leaves[0]);
            prop_assert!(!verify(&leaves[first..end], a, b, &longer, &head), "one more before");
            let count = proof.before.len() + proof.after.len();
            prop_assume!(count > 0);
            let at = pick.index(count);
            let mut wrong = proof.clone();
            let hash = wrong.before.iter_mut().chain(&mut wrong.after).nth(at).expect("one of them");
            *hash = flipped(*hash, bit);
            prop_assert!(!verify(&leaves[first..end], a, b, &wrong, &head), "a flipped bit");
            let mut shorter = proof;
            if shorter.after.pop().is_none() {
                shorter.before.pop();
            }
            prop_assert!(!verify(&leaves[first..end], a, b, &shorter, &head), "one hash less");
        }
    }
}
