//! The right edge of the ledger's Merkle tree (RFC 6962 §2.1), as far as a
//! writer needs it: append a leaf hash, know the root.

use sha2::{Digest, Sha256};

/// A hash of the tree.
pub(super) type Hash = [u8; 32];

/// The roots of the perfect subtrees that make up the tree, largest first: one
/// for each bit set in `size`.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub(super) struct Frontier {
    size: u64,
    roots: Vec<Hash>,
}

/// Hash of a leaf: SHA-256(0x00 ‖ bytes), RFC 6962 §2.1.
pub(super) fn leaf_hash(bytes: &[u8]) -> Hash {
    Sha256::new().chain_update([0]).chain_update(bytes).finalize().into()
}

/// Hash of a node: SHA-256(0x01 ‖ left ‖ right), RFC 6962 §2.1.
fn node_hash(left: &Hash, right: &Hash) -> Hash {
    Sha256::new().chain_update([1]).chain_update(left).chain_update(right).finalize().into()
}

impl Frontier {
    /// Takes a stored frontier; `None` where `bytes` cannot belong to a tree of this size.
    pub(super) fn from_bytes(size: u64, bytes: &[u8]) -> Option<Self> {
        let (roots, rest) = bytes.as_chunks::<32>();
        if !rest.is_empty() || roots.len() != size.count_ones() as usize {
            return None;
        }
        Some(Self { size, roots: roots.to_vec() })
    }

    /// The bytes to store: the roots one after the other.
    pub(super) fn to_bytes(&self) -> Vec<u8> {
        self.roots.concat()
    }

    /// Number of leaves.
    pub(super) fn size(&self) -> u64 {
        self.size
    }

    /// Appends a leaf hash.
    pub(super) fn append(&mut self, leaf: Hash) {
        let mut right = leaf;
        for _ in 0..self.size.trailing_ones() {
            if let Some(left) = self.roots.pop() {
                right = node_hash(&left, &right);
            }
        }
        self.roots.push(right);
        self.size += 1;
    }

    /// The root; that of the empty tree is the hash of nothing.
    pub(super) fn root(&self) -> Hash {
        let mut roots = self.roots.iter().rev();
        let Some(last) = roots.next() else { return Sha256::digest([]).into() };
        roots.fold(*last, |right, left| node_hash(left, &right))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn hex(bytes: &[u8]) -> String {
        bytes.iter().map(|byte| format!("{byte:02x}")).collect()
    }

    // Leaves and roots of the reference tests of Certificate Transparency
    // (google/certificate-transparency, merkletree/merkle_tree_test.cc), from
    // memory; RFC 6962 §2.1 defines the hashes.
    #[test]
    fn roots_are_those_of_rfc_6962() {
        let leaves: [&[u8]; 8] = [
            &[],
            &[0x00],
            &[0x10],
            &[0x20, 0x21],
            &[0x30, 0x31],
            &[0x40, 0x41, 0x42, 0x43],
            &[0x50, 0x51, 0x52, 0x53, 0x54, 0x55, 0x56, 0x57],
            &[0x60, 0x61, 0x62, 0x63, 0x64, 0x65, 0x66, 0x67, 0x68, 0x69, 0x6a, 0x6b, 0x6c, 0x6d, 0x6e, 0x6f],
        ];
        let roots = [
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
        let mut tree = Frontier::default();
        assert_eq!(hex(&tree.root()), roots[0]);
        for (leaf, root) in leaves.iter().zip(&roots[1..]) {
            tree.append(leaf_hash(leaf));
            assert_eq!(hex(&tree.root()), *root, "{} leaves", tree.size());
            let stored = Frontier::from_bytes(tree.size(), &tree.to_bytes());
            assert_eq!(stored.as_ref(), Some(&tree));
        }
        assert_eq!(Frontier::from_bytes(3, &[0; 32]), None, "three leaves have two roots");
    }
}
