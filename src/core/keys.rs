//! Which key signs the checkpoints of a ledger, from which record on, and who vouches for it.
//!
//! The `signing-key` records of a ledger are a chain: the first names the first
//! key, each later one the next. Whoever trusts one key of it by other means (it
//! was handed over, or kept) follows the chain from there: a new key counts as the
//! site's own only where the key before it signed its [`endorsement`]. A key that
//! came after a loss has nobody to vouch for it but whoever hands it over.
//!
//! A checkpoint of `size` records is signed by the key in force at its last record,
//! that of the newest change with an index below `size`: see [`KeyChain::signer_of`].

use super::note::{KeyError, Note, NoteError, SigningKey, VerifyingKey};
use super::record::{KeyChange, SigningKeyChange};

/// First line of what the old key signs for the new one. Its second line is no number,
/// so that no endorsement can pass for a checkpoint.
const ENDORSEMENT: &str = "rinseward signing key";

/// What the key before signs of its successor: two lines, the words above and the whole
/// public key as `name+id+base64`. The id alone would be too short to stand for it.
///
/// # Panics
/// Never: a name and base64 hold no control characters.
#[must_use]
pub fn endorsement(next: &VerifyingKey, before: &SigningKey) -> Note {
    Note::sign(endorsement_text(next), &[before])
        .expect("a name of a key and base64, each line with its line feed, are the text of a note")
}

fn endorsement_text(next: &VerifyingKey) -> String {
    format!("{ENDORSEMENT}\n{next}\n")
}

/// What speaks for a key at its place in the chain.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Standing {
    /// It is the first of the ledger: it must be known by other means.
    First,
    /// The key before it signed that this one follows.
    Endorsed,
    /// The key before it was lost: nothing speaks for this one, and it must be known by other means.
    Lost,
    /// It should be endorsed and is not, or its record contradicts the chain.
    Broken(Break),
}

/// Why a change of keys does not hold.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum Break {
    /// A first key where there was one already.
    #[error("it calls itself the first key, but another was in force")]
    SecondFirst,
    /// A successor where nothing was in force before.
    #[error("it follows another key, but none was in force")]
    NothingBefore,
    /// The key it names as its predecessor is not the one in force.
    #[error("the key it says was in force before it was not")]
    OtherBefore,
    /// A rotation without the signature of the key before.
    #[error("the key before it did not sign for it")]
    NotEndorsed,
    /// The endorsement is no signed note, or not by the key before.
    #[error("the endorsement does not hold")]
    Endorsement(#[source] NoteError),
    /// The endorsement is by the key before, but for another key.
    #[error("the endorsement speaks of another key")]
    EndorsesAnother,
    /// The origin of the checkpoints would change.
    #[error("it is called «{found}», and the key before it «{wanted}»")]
    Renamed {
        /// Name of the key.
        found: String,
        /// Name of the key before.
        wanted: String,
    },
}

/// A key and the record that brought it into force.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct KeyInForce {
    /// Index of the record; the key signs checkpoints of more records than this, up to the next.
    pub from: u64,
    /// The key.
    pub key: VerifyingKey,
    /// How it came into force, as the record says.
    pub change: KeyChange,
    /// What speaks for it.
    pub standing: Standing,
}

/// A record that names no key. The key before it stays in force.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Unreadable {
    /// Index of the record.
    pub at: u64,
    /// What is wrong with the key.
    pub error: KeyError,
}

/// The keys of a ledger, oldest first.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct KeyChain {
    /// Each key with what speaks for it; `from` rises strictly.
    pub keys: Vec<KeyInForce>,
    /// Records that name no key.
    pub unreadable: Vec<Unreadable>,
}

impl KeyChain {
    /// The newest key.
    #[must_use]
    pub fn newest(&self) -> Option<&KeyInForce> {
        self.keys.last()
    }

    /// The key that signs a checkpoint of `size` records; `None` where none was in force yet.
    #[must_use]
    pub fn signer_of(&self, size: u64) -> Option<&KeyInForce> {
        self.keys.iter().rev().find(|key| key.from < size)
    }

    /// The keys that `trusted` vouches for: itself and, after it, each that is endorsed by the
    /// one before, up to the first that is not. Empty where `trusted` is not of the chain.
    ///
    /// A key may stand for its own time only: what is older than `trusted` is proved by the
    /// checkpoints it signed, which count all records before them.
    #[must_use]
    pub fn trusted_from(&self, trusted: &VerifyingKey) -> &[KeyInForce] {
        let Some(start) = self.keys.iter().position(|key| key.key == *trusted) else { return &[] };
        let later = &self.keys[start + 1..];
        let endorsed = later.iter().take_while(|key| key.standing == Standing::Endorsed).count();
        &self.keys[start..=start + endorsed]
    }
}

/// The keys that the `signing-key` records of a ledger name. `changes` are all of them with
/// their index, oldest first.
#[must_use]
pub fn key_chain<'r>(changes: impl IntoIterator<Item = (u64, &'r SigningKeyChange)>) -> KeyChain {
    let mut chain = KeyChain::default();
    for (from, change) in changes {
        match change.key.parse::<VerifyingKey>() {
            Ok(key) => {
                let standing = standing(chain.newest().map(|before| &before.key), &key, change);
                chain.keys.push(KeyInForce { from, key, change: change.change, standing });
            }
            Err(error) => chain.unreadable.push(Unreadable { at: from, error }),
        }
    }
    chain
}

fn standing(before: Option<&VerifyingKey>, key: &VerifyingKey, change: &SigningKeyChange) -> Standing {
    let stands = match (change.change, before) {
        (KeyChange::First, None) => Ok(Standing::First),
        (KeyChange::First, Some(_)) => Err(Break::SecondFirst),
        (KeyChange::Rotated | KeyChange::Lost, None) => Err(Break::NothingBefore),
        (KeyChange::Rotated, Some(before)) => follows(before, key, change)
            .and_then(|()| endorsed(before, key, change))
            .map(|()| Standing::Endorsed),
        (KeyChange::Lost, Some(before)) => follows(before, key, change).map(|()| Standing::Lost),
    };
    stands.unwrap_or_else(Standing::Broken)
}

fn follows(before: &VerifyingKey, key: &VerifyingKey, change: &SigningKeyChange) -> Result<(), Break> {
    if change.before.as_deref() != Some(before.to_string().as_str()) {
        return Err(Break::OtherBefore);
    }
    if key.name() != before.name() {
        return Err(Break::Renamed { found: key.name().to_owned(), wanted: before.name().to_owned() });
    }
    Ok(())
}

fn endorsed(before: &VerifyingKey, key: &VerifyingKey, change: &SigningKeyChange) -> Result<(), Break> {
    let note = change.endorsed.as_deref().ok_or(Break::NotEndorsed)?;
    let note = Note::parse(note).map_err(Break::Endorsement)?;
    let text = note.verified(before).map_err(Break::Endorsement)?;
    if text == endorsement_text(key) { Ok(()) } else { Err(Break::EndorsesAnother) }
}

#[cfg(test)]
mod tests;
