//! The proof that one record is in a ledger: a file that whoever has the public key can check.
//!
//! # The file, `rinseward-inclusion-1`
//!
//! One JSON object without blanks, in this order:
//!
//! | key | holds |
//! |---|---|
//! | `format` | the word above |
//! | `record` | index of the record in the ledger |
//! | `bytes` | the bytes of the record, a text |
//! | `leaf_sha256` | its leaf hash (RFC 9162 §2.1.1), hexadecimal |
//! | `tree_size`, `root_sha256` | number of records that the checkpoint counts, and the root over them |
//! | `inclusion_path` | RFC 9162 §2.1.3, lowest hash first |
//! | `checkpoint` | the signed checkpoint (C2SP tlog-checkpoint), with its line ends |
//! | `key` | the public key it is signed with: no proof, since anybody can write one there |
//!
//! It is checked from the bytes upwards: their hash, the path to the root, the checkpoint that seals the root,
//! the key that somebody brought along. A file that says the same in other bytes is told of: nothing in
//! it may be changed unseen.

use serde::{Deserialize, Serialize};

use super::examine::{Kept, Trust};
use crate::core::checkpoint::{Checkpoint, CheckpointError};
use crate::core::merkle::{Hash, InvalidProof, TreeHead, leaf_hash, verify_inclusion};
use crate::core::note::{Note, NoteError, VerifyingKey};
use crate::core::record::{Record, RecordError};
use crate::core::time::Timestamp;

/// The word of this form.
pub const FORMAT: &str = "rinseward-inclusion-1";
/// How a file of it begins.
pub const BEGINS: &str = "{\"format\":\"rinseward-inclusion-1\"";
/// Longest file that is read, bytes (own choice: the longest record and its path many times over).
pub const PROOF_MAX: usize = 4 << 20;

/// What the file holds. Its fields are in the order of the file.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Inclusion {
    /// [`FORMAT`].
    pub format: String,
    /// Index of the record.
    pub record: u64,
    /// Its bytes.
    pub bytes: String,
    /// Their leaf hash.
    pub leaf_sha256: String,
    /// Number of records that the checkpoint counts.
    pub tree_size: u64,
    /// Root over them.
    pub root_sha256: String,
    /// Hashes from the leaf to the root.
    pub inclusion_path: Vec<String>,
    /// The signed checkpoint.
    pub checkpoint: String,
    /// The public key that signed it.
    pub key: String,
}

impl Inclusion {
    /// The file.
    ///
    /// # Panics
    /// Never: texts, numbers and lists of texts have a JSON form.
    #[must_use]
    pub fn to_json(&self) -> String {
        serde_json::to_string(self).expect("texts and numbers can be printed")
    }
}

/// Whether a file that begins so means to be a proof of inclusion; blanks say nothing.
#[must_use]
pub fn is_inclusion(head: &[u8]) -> bool {
    let dense: Vec<u8> = head.iter().copied().filter(|byte| !byte.is_ascii_whitespace()).collect();
    dense.starts_with(BEGINS.as_bytes())
}

/// What does not hold.
#[derive(Debug, thiserror::Error)]
pub enum Broken {
    /// It is no such object.
    #[error("it cannot be read as a proof of inclusion: something in it was changed")]
    Shape(#[source] serde_json::Error),
    /// It is written in other bytes.
    #[error("it is not written as a gateway writes it: blanks, letters or the order were changed")]
    Written,
    /// The bytes do not have the hash beside them.
    #[error("the record was changed, or its hash: «leaf_sha256» is not the hash of «bytes»")]
    Leaf,
    /// The record is sealed like that, and cannot be read.
    #[error("the record cannot be read")]
    Record(#[source] RecordError),
    /// A hash is none.
    #[error("in «{field}» stands what is no hash")]
    NoHash {
        /// Where.
        field: &'static str,
    },
    /// The path does not lead from the record to the root.
    #[error(
        "the record is not number {record} of those that the checkpoint seals: by «inclusion_path» it does not lead to «root_sha256»"
    )]
    Path {
        /// Index of the record.
        record: u64,
        /// Why.
        #[source]
        source: InvalidProof,
    },
    /// The checkpoint cannot be read.
    #[error("the checkpoint cannot be read")]
    Checkpoint(#[source] CheckpointError),
    /// The checkpoint is not signed by a key given.
    #[error("the checkpoint is not sealed by the key given")]
    Signature(#[source] CheckpointError),
    /// The checkpoint has a signature that nobody can check.
    #[error("below the checkpoint stands a signature by «{name}» that is none of the key that sealed it")]
    Stranger {
        /// Whose it says it is.
        name: String,
    },
    /// No time is signed with the checkpoint.
    #[error("no time is signed with the checkpoint")]
    NoTime,
    /// The file says something else than the checkpoint.
    #[error("«{field}» is not what the checkpoint says")]
    Sealed {
        /// Which.
        field: &'static str,
    },
    /// The key beside it is another one.
    #[error("«key» is not the key that sealed the checkpoint")]
    Key,
    /// A checkpoint kept elsewhere has another root over as many records.
    #[error("the kept checkpoint of {size} records does not fit: what it sealed was changed afterwards")]
    Kept {
        /// Number of records of that checkpoint.
        size: u64,
    },
}

impl Broken {
    /// A stable word for what it is, for programs.
    #[must_use]
    pub const fn code(&self) -> &'static str {
        match self {
            Self::Shape(_) => "shape",
            Self::Written => "written",
            Self::Leaf => "changed",
            Self::Record(_) => "record",
            Self::NoHash { .. } => "no-hash",
            Self::Path { .. } => "path",
            Self::Checkpoint(_) => "checkpoint",
            Self::Signature(_) => "signature",
            Self::Stranger { .. } => "stranger",
            Self::NoTime => "no-time",
            Self::Sealed { .. } => "sealed",
            Self::Key => "key",
            Self::Kept { .. } => "kept",
        }
    }
}

/// What came out of checking one.
#[derive(Debug, Default)]
pub struct Checked {
    /// What does not hold; all that follows is only said, not proved, where there is something.
    pub broken: Vec<Broken>,
    /// Index of the record.
    pub index: u64,
    /// The record.
    pub record: Option<Record>,
    /// What the checkpoint says, where it can be read.
    pub sealed: Option<Checkpoint>,
    /// The key given that sealed it.
    pub key: Option<VerifyingKey>,
    /// When that was, as it is signed.
    pub at: Option<Timestamp>,
    /// Each kept checkpoint: how many records it counts, and what came out; outside is every other number than that of
    /// this file.
    pub kept: Vec<(u64, Kept)>,
}

/// Checks a file by the keys and the kept checkpoints that somebody brought along.
#[must_use]
pub fn check(file: &[u8], trust: &Trust) -> Checked {
    let mut checked = Checked::default();
    let said: Inclusion = match serde_json::from_slice(file) {
        Ok(said) => said,
        Err(error) => {
            checked.broken.push(Broken::Shape(error));
            return checked;
        }
    };
    // A line end behind it is what many programs add to a text.
    let bare = file.strip_suffix(b"\n").unwrap_or(file);
    if said.format != FORMAT || said.to_json().as_bytes() != bare {
        checked.broken.push(Broken::Written);
    }
    checked.index = said.record;
    checked.record(&said);
    checked.checkpoint(&said, trust);
    checked.compare(trust);
    checked
}

impl Checked {
    /// From the bytes of the record to the root.
    fn record(&mut self, said: &Inclusion) {
        let leaf = leaf_hash(said.bytes.as_bytes());
        if leaf.to_string() != said.leaf_sha256 {
            self.broken.push(Broken::Leaf);
        }
        match Record::from_bytes(said.bytes.as_bytes()) {
            Ok(record) => self.record = Some(record),
            Err(error) => self.broken.push(Broken::Record(error)),
        }
        // In small letters, as they are written: there is one way to write a hash.
        let hash = |text: &String| text.parse().ok().filter(|hash: &Hash| hash.to_string() == *text);
        let (Some(root), Some(path)) =
            (hash(&said.root_sha256), said.inclusion_path.iter().map(hash).collect::<Option<Vec<_>>>())
        else {
            let is_root = hash(&said.root_sha256).is_none();
            let field = if is_root { "root_sha256" } else { "inclusion_path" };
            return self.broken.push(Broken::NoHash { field });
        };
        let head = TreeHead { size: said.tree_size, root };
        if let Err(source) = verify_inclusion(&leaf, said.record, &path, &head) {
            self.broken.push(Broken::Path { record: said.record, source });
        }
    }

    /// From the root to the key.
    fn checkpoint(&mut self, said: &Inclusion, trust: &Trust) {
        let parsed = Note::parse(&said.checkpoint).map_err(CheckpointError::from);
        let parsed = parsed.and_then(|note| Ok((Checkpoint::parse(note.unverified_text())?, note)));
        let (checkpoint, note) = match parsed {
            Ok(parsed) => parsed,
            Err(error) => return self.broken.push(Broken::Checkpoint(error)),
        };
        let TreeHead { size, root } = checkpoint.head;
        if size != said.tree_size {
            self.broken.push(Broken::Sealed { field: "tree_size" });
        }
        if root.to_string() != said.root_sha256 {
            self.broken.push(Broken::Sealed { field: "root_sha256" });
        }
        self.sealed = Some(checkpoint);
        let mut refused: Option<CheckpointError> = None;
        for key in &trust.keys {
            match Checkpoint::verified(&note, key) {
                Ok(_) => return self.signed(&note, key, said),
                // Of a signature that does not fit is told before one that is not there.
                Err(error @ CheckpointError::Note(NoteError::NotSigned { .. })) => {
                    refused = refused.or(Some(error));
                }
                Err(error) => refused = Some(error),
            }
        }
        self.broken.extend(refused.map(Broken::Signature));
    }

    fn signed(&mut self, note: &Note, key: &VerifyingKey, said: &Inclusion) {
        let own = [key.key_id(), key.cosigner_id()];
        let is_own = |one: &crate::core::note::Signature| one.name == key.name() && own.contains(&one.key_id);
        let strangers = note.signatures().iter().filter(|one| !is_own(one));
        self.broken.extend(strangers.map(|one| Broken::Stranger { name: one.name.clone() }));
        match note.cosigned_at(key) {
            Ok(Some(at)) => self.at = Some(at),
            Ok(None) => self.broken.push(Broken::NoTime),
            Err(error) => self.broken.push(Broken::Signature(error.into())),
        }
        if said.key != key.to_string() {
            self.broken.push(Broken::Key);
        }
        self.key = Some(key.clone());
    }

    fn compare(&mut self, trust: &Trust) {
        let Some(sealed) = &self.sealed else { return };
        for kept in &trust.kept {
            let answer = if kept.origin != sealed.origin {
                Kept::OtherLedger
            } else if kept.head.size != sealed.head.size {
                Kept::Outside
            } else if kept.head.root == sealed.head.root {
                Kept::Holds
            } else {
                self.broken.push(Broken::Kept { size: kept.head.size });
                Kept::Contradicts
            };
            self.kept.push((kept.head.size, answer));
        }
    }
}

#[cfg(test)]
mod tests;
