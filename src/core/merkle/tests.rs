use proptest::prelude::*;

use super::*;

/// Entries, roots and proofs of the public test data of RFC 6962
/// implementations; the roots were also computed by independent code.
const ENTRIES: [&[u8]; 8] = [
    &[],
    &[0x00],
    &[0x10],
    &[0x20, 0x21],
    &[0x30, 0x31],
    &[0x40, 0x41, 0x42, 0x43],
    &[0x50, 0x51, 0x52, 0x53, 0x54, 0x55, 0x56, 0x57],
    &[0x60, 0x61, 0x62, 0x63, 0x64, 0x65, 0x66, 0x67, 0x68, 0x69, 0x6a, 0x6b, 0x6c, 0x6d, 0x6e, 0x6f],
];

/// Roots over the first 0 to 8 entries.
const ROOTS: [&str; 9] = [
    "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
    "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
    "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
    "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
    "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
    "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
];

const LEAF_1: &str = "96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7";
const LEAF_2: &str = "0298d122906dcfc10892cb53a73992fc5b9f493ea4c9badb27b791b4127a7fe7";
const LEAF_3: &str = "07506a85fd9dd2f120eb694f86011e5bb4662e5c415a62917033d4a9624487e7";
const LEAF_4: &str = "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b";
const NODE_2_4: &str = "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e";
const NODE_4_8: &str = "6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4";
const NODE_6_8: &str = "ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0";
const NODE_4_6: &str = "0ebc5d3437fbe2db158b9f126a1d118e308181031d0a949f8dededebc558ef6a";

fn hash(text: &str) -> Hash {
    text.parse().expect("a hash")
}

fn leaves() -> Vec<Hash> {
    ENTRIES.iter().map(|entry| leaf_hash(entry)).collect()
}

fn head(size: usize) -> TreeHead {
    TreeHead { size: size as u64, root: hash(ROOTS[size]) }
}

#[test]
fn has_the_published_roots() {
    let leaves = leaves();
    for (leaf, expected) in leaves[1..].iter().zip([LEAF_1, LEAF_2, LEAF_3, LEAF_4]) {
        assert_eq!(leaf.to_string(), expected);
    }
    let mut frontier = Frontier::default();
    for (size, expected) in ROOTS.iter().enumerate() {
        assert_eq!(root(leaves.as_slice(), size as u64), Ok(hash(expected)), "list of {size}");
        assert_eq!(frontier.root(), hash(expected), "frontier of {size}");
        assert_eq!(frontier.head(), head(size));
        if let Some(leaf) = leaves.get(size) {
            frontier.push(*leaf);
        }
    }
}

#[test]
fn has_the_published_inclusion_proofs() {
    let leaves = leaves();
    for (index, size, expected) in [
        (0, 8, vec![LEAF_1, NODE_2_4, NODE_4_8]),
        (5, 8, vec![LEAF_4, NODE_6_8, ROOTS[4]]),
        (2, 3, vec![ROOTS[2]]),
        (1, 5, vec![ROOTS[1], NODE_2_4, LEAF_4]),
    ] {
        let expected: Vec<Hash> = expected.into_iter().map(hash).collect();
        let proof = inclusion_proof(leaves.as_slice(), index as u64, size as u64).expect("inside the tree");
        assert_eq!(proof, expected, "leaf {index} of {size}");
        assert_eq!(verify_inclusion(&leaves[index], index as u64, &proof, &head(size)), Ok(()));
    }
}

#[test]
fn has_the_published_consistency_proofs() {
    let leaves = leaves();
    for (older, newer, expected) in [
        (1, 8, vec![LEAF_1, NODE_2_4, NODE_4_8]),
        (6, 8, vec![NODE_4_6, NODE_6_8, ROOTS[4]]),
        (2, 5, vec![NODE_2_4, LEAF_4]),
        (8, 8, vec![]),
        (0, 8, vec![]),
    ] {
        let expected: Vec<Hash> = expected.into_iter().map(hash).collect();
        let proof =
            consistency_proof(leaves.as_slice(), older as u64, newer as u64).expect("inside the tree");
        assert_eq!(proof, expected, "{older} to {newer}");
        assert_eq!(verify_consistency(&head(older), &head(newer), &proof), Ok(()));
    }
}

#[test]
fn refuses_what_is_outside_the_tree() {
    let leaves = leaves();
    let outside = |asked, size| ProofError::OutsideTree { asked, size };
    assert_eq!(root(leaves.as_slice(), 9), Err(outside(9, 8)));
    assert_eq!(inclusion_proof(leaves.as_slice(), 8, 8), Err(outside(8, 8)));
    assert_eq!(inclusion_proof(leaves.as_slice(), 0, 0), Err(outside(0, 0)));
    assert_eq!(inclusion_proof(leaves.as_slice(), 0, 9), Err(outside(9, 8)));
    assert_eq!(consistency_proof(leaves.as_slice(), 6, 5), Err(outside(6, 5)));
    assert_eq!(consistency_proof(leaves.as_slice(), 6, 9), Err(outside(9, 8)));
    let refused = verify_inclusion(&leaves[0], 8, &[], &head(8));
    assert_eq!(refused, Err(InvalidProof::OutsideTree { asked: 8, size: 8 }));
    let refused = verify_consistency(&head(6), &head(5), &[]);
    assert_eq!(refused, Err(InvalidProof::OutsideTree { asked: 6, size: 5 }));
    let forged = TreeHead { size: 0, root: hash(LEAF_1) };
    assert_eq!(verify_consistency(&forged, &head(5), &[]), Err(InvalidProof::OlderRoot));
    let forged = TreeHead { size: 5, root: hash(LEAF_1) };
    assert_eq!(verify_consistency(&forged, &head(5), &[]), Err(InvalidProof::OlderRoot));
}

#[test]
fn refuses_bytes_that_are_no_frontier() {
    let mut frontier = Frontier::default();
    leaves().into_iter().take(5).for_each(|leaf| frontier.push(leaf));
    let bytes = frontier.to_bytes();
    assert_eq!(bytes.len(), 8 + 2 * HASH_LEN, "5 leaves are a subtree of 4 and one of 1");
    let longer = [bytes.as_slice(), &[0]].concat();
    for bad in [&[], &bytes[..7], &bytes[..8], &bytes[..bytes.len() - 1], longer.as_slice()] {
        assert_eq!(Frontier::from_bytes(bad), Err(FrontierError { found: bad.len() }));
    }
    assert_eq!(Frontier::from_bytes(&[0; 8]), Ok(Frontier::default()));
}

#[test]
fn reads_hashes_as_printed() {
    assert_eq!(hash(&LEAF_4.to_uppercase()), hash(LEAF_4));
    for bad in ["", &LEAF_4[1..], &LEAF_4.replace('b', "g"), &format!("{LEAF_4}0")] {
        assert_eq!(bad.parse::<Hash>(), Err(NotAHash), "{bad}");
    }
}

/// The definition of RFC 6962 §2.1, word for word.
fn root_by_definition(leaves: &[Hash]) -> Hash {
    match leaves {
        [] => empty_root(),
        [leaf] => *leaf,
        _ => {
            let half = leaves.len().next_power_of_two() / 2;
            let (left, right) = leaves.split_at(half);
            node_hash(&root_by_definition(left), &root_by_definition(right))
        }
    }
}

fn flipped(mut hash: Hash, bit: usize) -> Hash {
    hash.0[bit / 8 % HASH_LEN] ^= 1 << (bit % 8);
    hash
}

fn some_leaves() -> impl Strategy<Value = Vec<Hash>> {
    prop::collection::vec(any::<[u8; 4]>().prop_map(|entry| leaf_hash(&entry)), 1..150)
}

proptest! {
    #[test]
    fn frontier_and_list_have_the_root_of_the_definition(leaves in some_leaves()) {
        let mut frontier = Frontier::default();
        for leaf in &leaves {
            frontier.push(*leaf);
        }
        let expected = root_by_definition(&leaves);
        prop_assert_eq!(frontier.root(), expected);
        prop_assert_eq!(root(leaves.as_slice(), leaves.len() as u64), Ok(expected));
        prop_assert_eq!(frontier.size(), leaves.len() as u64);
        prop_assert_eq!(Frontier::from_bytes(&frontier.to_bytes()), Ok(frontier));
    }

    #[test]
    fn inclusion_holds_and_any_flipped_bit_breaks_it(
        leaves in some_leaves(), pick in any::<prop::sample::Index>(), place in any::<prop::sample::Index>(), bit in 0..256_usize,
    ) {
        let index = pick.index(leaves.len());
        let head = TreeHead { size: leaves.len() as u64, root: root_by_definition(&leaves) };
        let proof = inclusion_proof(leaves.as_slice(), index as u64, head.size).expect("inside the tree");
        let leaf = leaves[index];
        prop_assert_eq!(verify_inclusion(&leaf, index as u64, &proof, &head), Ok(()));
        let wrong_root = TreeHead { root: flipped(head.root, bit), ..head };
        prop_assert!(verify_inclusion(&leaf, index as u64, &proof, &wrong_root).is_err());
        prop_assert!(verify_inclusion(&flipped(leaf, bit), index as u64, &proof, &head).is_err());
        let longer = [proof.as_slice(), &[leaf]].concat();
        prop_assert!(verify_inclusion(&leaf, index as u64, &longer, &head).is_err());
        if !proof.is_empty() {
            let mut wrong = proof.clone();
            let at = place.index(proof.len());
            wrong[at] = flipped(wrong[at], bit);
            prop_assert!(verify_inclusion(&leaf, index as u64, &wrong, &head).is_err());
            prop_assert!(verify_inclusion(&leaf, index as u64, &proof[1..], &head).is_err());
        }
    }

    #[test]
    fn consistency_holds_and_any_flipped_bit_breaks_it(
        leaves in some_leaves(), pick in any::<prop::sample::Index>(), place in any::<prop::sample::Index>(), bit in 0..256_usize,
    ) {
        let size = pick.index(leaves.len() + 1);
        let older = TreeHead { size: size as u64, root: root_by_definition(&leaves[..size]) };
        let newer = TreeHead { size: leaves.len() as u64, root: root_by_definition(&leaves) };
        let proof = consistency_proof(leaves.as_slice(), older.size, newer.size).expect("inside the tree");
        prop_assert_eq!(verify_consistency(&older, &newer, &proof), Ok(()));
        let forged = TreeHead { root: flipped(older.root, bit), ..older };
        prop_assert!(verify_consistency(&forged, &newer, &proof).is_err());
        let longer = [proof.as_slice(), &[older.root]].concat();
        prop_assert!(verify_consistency(&older, &newer, &longer).is_err());
        if size > 0 {
            let forged = TreeHead { root: flipped(newer.root, bit), ..newer };
            prop_assert!(verify_consistency(&older, &forged, &proof).is_err());
        }
        if !proof.is_empty() {
            let mut wrong = proof.clone();
            let at = place.index(proof.len());
            wrong[at] = flipped(wrong[at], bit);
            prop_assert!(verify_consistency(&older, &newer, &wrong).is_err());
            prop_assert!(verify_consistency(&older, &newer, &proof[1..]).is_err());
        }
    }
}
