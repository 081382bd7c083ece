//! Checkpoints in an audit: what they say, whether they fit, and who signed them.

use crate::core::causes::chain;
use crate::core::checkpoint::{Checkpoint, CheckpointError};
use crate::core::keys::KeyChain;
use crate::core::merkle::Hash;
use crate::core::note::{Note, NoteError, VerifyingKey};
use crate::core::time::Timestamp;

use super::Bounded;
use super::finding::{Seal, SealFault};

/// A checkpoint as the ledger stores it.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct StoredSeal {
    /// Its number in the ledger, from 1.
    pub number: i64,
    /// When it was made, as stored beside it.
    pub at: Timestamp,
    /// Number of records, as stored beside it.
    pub size: i64,
    /// The signed note.
    pub note: String,
}

/// A checkpoint that was kept elsewhere.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct KeptSeal {
    file: String,
    note: Note,
    says: Checkpoint,
}

/// A text is no checkpoint.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
#[error("it is no signed checkpoint")]
pub struct NotASeal(#[source] CheckpointError);

impl KeptSeal {
    /// Reads what a file held.
    ///
    /// # Errors
    /// [`NotASeal`].
    pub fn read(file: impl Into<String>, note: &str) -> Result<Self, NotASeal> {
        let (note, says) = read(note)?;
        Ok(Self { file: file.into(), note, says })
    }
}

fn read(text: &str) -> Result<(Note, Checkpoint), NotASeal> {
    let note = Note::parse(text).map_err(|error| NotASeal(error.into()))?;
    let says = Checkpoint::parse(note.unverified_text()).map_err(NotASeal)?;
    Ok((note, says))
}

/// Whether a checkpoint fits the records before it.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Fit {
    /// There are not so many records.
    Beyond,
    /// Its root is that of the records as they are.
    Fits,
    /// Its root is that of the hashes stored beside the records, but not of the records.
    OverHashes,
    /// Its root is another one.
    Differs,
    /// A record before it is not to be had.
    NotComparable,
}

/// Where a checkpoint comes from.
#[derive(Clone, PartialEq, Eq, Debug)]
enum Source {
    Stored { number: i64, at: Timestamp, size: i64 },
    Kept { file: String },
}

/// A checkpoint, and whether it fits.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Sealed {
    source: Source,
    note: Note,
    says: Checkpoint,
    pub(super) fit: Fit,
    /// When the first record after it was recorded.
    pub(super) next_recorded: Option<Timestamp>,
}

impl Sealed {
    pub(super) fn stored(stored: StoredSeal, faults: &mut Bounded) -> Option<Self> {
        let StoredSeal { number, at, size, note } = stored;
        match read(&note) {
            Ok((note, says)) => Some(Self::new(Source::Stored { number, at, size }, note, says)),
            Err(error) => {
                faults.push(SealFault::NotACheckpoint { number, cause: chain(&error) });
                None
            }
        }
    }

    pub(super) fn kept(KeptSeal { file, note, says }: KeptSeal) -> Self {
        Self::new(Source::Kept { file }, note, says)
    }

    fn new(source: Source, note: Note, says: Checkpoint) -> Self {
        Self { source, note, says, fit: Fit::Beyond, next_recorded: None }
    }

    pub(super) fn size(&self) -> u64 {
        self.says.head.size
    }

    /// What the ledger it speaks of is called.
    pub(super) fn origin(&self) -> &str {
        &self.says.origin
    }

    pub(super) fn root(&self) -> Hash {
        self.says.head.root
    }

    pub(super) fn file(&self) -> Option<&str> {
        match &self.source {
            Source::Kept { file } => Some(file),
            Source::Stored { .. } => None,
        }
    }

    /// How people find it again.
    pub(super) fn seal(&self, signature: &Signature) -> Seal {
        let stored = match &self.source {
            Source::Stored { at, .. } => Some(*at),
            Source::Kept { .. } => None,
        };
        let signed = signature.signed_at();
        Seal {
            file: self.file().map(str::to_owned),
            size: self.size(),
            at: signed.or(stored),
            signed_time: signed.is_some(),
            unknown_key: self.file().is_some() && signature.is_by_unknown_key(),
        }
    }

    /// What does not fit of that which is stored beside it.
    pub(super) fn row_fault(&self, signature: &Signature) -> Option<SealFault> {
        let Source::Stored { number, at, size } = &self.source else { return None };
        let column = if u64::try_from(*size).ok() != Some(self.size()) {
            "number of records"
        } else if signature.signed_at().is_some_and(|signed| signed.micros() / SECOND != at.micros() / SECOND)
        {
            "time"
        } else {
            return None;
        };
        Some(SealFault::CheckpointRowDiffers { number: *number, seal: self.seal(signature), column })
    }
}

/// Signed times are whole seconds.
const SECOND: i64 = 1_000_000;

/// Who signed a checkpoint.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Signature {
    /// The key that was in force, or one that was given, or for a kept one any key of the ledger.
    Holds {
        /// Which.
        key: VerifyingKey,
        /// When, where that is signed.
        at: Option<Timestamp>,
    },
    /// The key that was in force did not, or it does not fit.
    Fails {
        /// Name and id of that key; the name of the ledger where none is known.
        key: String,
        /// Why not.
        error: CheckpointError,
    },
}

impl Signature {
    fn signed_at(&self) -> Option<Timestamp> {
        match self {
            Self::Holds { at, .. } => *at,
            Self::Fails { .. } => None,
        }
    }

    /// Whether none of the known keys signed it at all.
    pub(super) fn is_by_unknown_key(&self) -> bool {
        match self {
            Self::Holds { .. } => false,
            Self::Fails { error, .. } => {
                matches!(error, CheckpointError::Note(NoteError::NotSigned { .. }))
            }
        }
    }
}

/// Finds out who signed a checkpoint. The costly part of an audit that can be done for each
/// on its own.
#[must_use]
pub fn signature(sealed: &Sealed, chain: &KeyChain, given: &[VerifyingKey]) -> Signature {
    let in_force = chain.signer_of(sealed.size()).map(|signer| &signer.key);
    let any = || chain.keys.iter().rev().map(|signer| &signer.key).chain(given);
    let candidates: Vec<&VerifyingKey> = match (&sealed.source, in_force) {
        (Source::Stored { .. }, Some(key)) => vec![key],
        // Of before the first key on record, or of no ledger that we know.
        (Source::Stored { .. }, None) => given.iter().collect(),
        (Source::Kept { .. }, _) => any().collect(),
    };
    let mut failed = None;
    for key in candidates {
        match holds(sealed, key) {
            Ok(at) => return Signature::Holds { key: key.clone(), at },
            Err(error) => {
                // That another key signed says less than that this one did not sign this.
                let says_little = matches!(error, CheckpointError::Note(NoteError::NotSigned { .. }));
                if failed.is_none() || !says_little {
                    failed = Some((short(key), error));
                }
            }
        }
    }
    let (key, error) = failed.unwrap_or_else(|| {
        let name = sealed.says.origin.clone();
        (name.clone(), CheckpointError::Note(NoteError::NotSigned { name }))
    });
    Signature::Fails { key, error }
}

fn holds(sealed: &Sealed, key: &VerifyingKey) -> Result<Option<Timestamp>, CheckpointError> {
    sealed.note.verified(key)?;
    let at = sealed.note.cosigned_at(key)?;
    if sealed.says.origin == key.name() {
        Ok(at)
    } else {
        let (found, wanted) = (sealed.says.origin.clone(), key.name().to_owned());
        Err(CheckpointError::Origin { found, wanted })
    }
}

/// Name and id of a key: what people compare.
pub(super) fn short(key: &VerifyingKey) -> String {
    let [a, b, c, d] = key.key_id();
    format!("{}+{a:02x}{b:02x}{c:02x}{d:02x}", key.name())
}

/// The numbers of stored checkpoints rise by one.
pub(super) fn look_for_holes(stored: &[StoredSeal], newest_number: Option<i64>, faults: &mut Bounded) {
    let mut next = 1;
    let ends = stored.iter().map(|stored| stored.number).chain(newest_number.map(|newest| newest + 1));
    for number in ends {
        if number > next {
            faults.push(SealFault::CheckpointsMissing { from: next, to: number - 1 });
        }
        next = number + 1;
    }
}
