//! Signed notes (C2SP signed-note): a text that anybody can read, and below it
//! who vouches for it.
//!
//! ```text
//! <text, each line ended by LF>
//! <empty line>
//! — <key name> <base64 of 4 bytes of key id and the signature>
//! ```
//!
//! What is signed is the text with its last LF, without the empty line. Two kinds
//! of signature are made and verified here, both Ed25519 (RFC 8032); signatures of
//! other kinds and of unknown keys are kept and ignored, as the specification asks.
//! A signature of a known key that does not hold refuses the note.
//!
//! - Type 0x01, C2SP signed-note: over the text.
//! - Type 0x04, `cosignature/v1` of C2SP tlog-cosignature: over two lines with the
//!   time in whole seconds since 1970 and then the text. The bytes are the time, most
//!   significant first, and the signature, so that the time is signed and not only said.
//!
//! One key makes both. signed-note allows the same key and name for several types
//! where the signed bytes cannot be mistaken for each other: [`Note::sign`] refuses a
//! text that begins as a cosignature does. tlog-cosignature asks for one key for each
//! cosigner, since the name is not signed: a key of ours has one name for its life.
//!
//! Keys are made from bytes that somebody else drew: nothing here is random.

mod key;
#[cfg(test)]
mod tests;

use std::fmt;
use std::time::Duration;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;

pub use key::{KeyError, SigningKey, VerifyingKey};

use super::time::Timestamp;

/// Most signatures of a note that are read. The specification asks for 16 at least.
const SIGNATURES_MAX: usize = 64;
/// Longest note that is read, bytes.
const NOTE_MAX: usize = 1 << 20;
/// Begins a line of a signature: em dash and space.
const SIGNATURE_MARK: &str = "\u{2014} ";
/// Length of a key id.
const KEY_ID_LEN: usize = 4;
/// First line of what a cosignature signs.
const COSIGNATURE: &str = "cosignature/v1\n";

/// Why a text is no signed note, or does not hold.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum NoteError {
    /// Longer than a note may be.
    #[error("{found} bytes are more than a signed note may have")]
    TooLong {
        /// Bytes found.
        found: usize,
    },
    /// A control character other than a line feed.
    #[error("a signed note has no control character, this one has one at byte {at}")]
    Control {
        /// Place of the character.
        at: usize,
    },
    /// No empty line between the text and its signatures, or no text.
    #[error("the empty line between the text and its signatures is missing")]
    NotSplit,
    /// The text begins as what a cosignature signs.
    #[error("a signed text does not begin with «cosignature/v1»")]
    LooksCosigned,
    /// A line below the empty one is no signature.
    #[error("line {line} of the signatures is none")]
    SignatureLine {
        /// Which, from 1.
        line: usize,
    },
    /// More signatures than are read.
    #[error("a signed note with {found} signatures is not read")]
    TooManySignatures {
        /// How many.
        found: usize,
    },
    /// None of the signatures is by the key that was asked for.
    #[error("it is not signed by «{name}»")]
    NotSigned {
        /// Name of the key.
        name: String,
    },
    /// The signature of the key that was asked for does not fit the text.
    #[error("the signature of «{name}» does not fit the text")]
    Forged {
        /// Name of the key.
        name: String,
    },
}

/// One signature below a note.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Signature {
    /// Name of the key, without spaces and `+`.
    pub name: String,
    /// First bytes of the hash of name and key.
    pub key_id: [u8; KEY_ID_LEN],
    /// The signature as its type has it; 64 bytes for Ed25519.
    pub bytes: Vec<u8>,
}

/// A text with its signatures. [`fmt::Display`] gives the bytes of the file.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Note {
    text: String,
    signatures: Vec<Signature>,
}

impl Note {
    /// Signs a text, which must end in a line feed.
    ///
    /// # Errors
    /// [`NoteError::NotSplit`] for an empty text or one that does not end in a line
    /// feed, [`NoteError::Control`] for one with control characters,
    /// [`NoteError::LooksCosigned`] for one that could pass for a cosignature.
    pub fn sign(text: impl Into<String>, keys: &[&SigningKey]) -> Result<Self, NoteError> {
        let text = text.into();
        check_characters(&text)?;
        if !text.ends_with('\n') {
            return Err(NoteError::NotSplit);
        }
        if text.starts_with(COSIGNATURE) {
            return Err(NoteError::LooksCosigned);
        }
        let signatures = keys
            .iter()
            .map(|key| Signature {
                name: key.name().to_owned(),
                key_id: key.verifying().key_id(),
                bytes: key.sign(text.as_bytes()).to_vec(),
            })
            .collect();
        Ok(Self { text, signatures })
    }

    /// Reads a note. Nothing is verified yet.
    ///
    /// # Errors
    /// [`NoteError`] says what is not as the specification has it.
    pub fn parse(note: &str) -> Result<Self, NoteError> {
        if note.len() > NOTE_MAX {
            return Err(NoteError::TooLong { found: note.len() });
        }
        check_characters(note)?;
        let split = note.rfind("\n\n").ok_or(NoteError::NotSplit)?;
        let (text, below) = (&note[..=split], &note[split + 2..]);
        let below = below.strip_suffix('\n').ok_or(NoteError::NotSplit)?;
        let signatures = below
            .split('\n')
            .zip(1..)
            .map(|(line, number)| parse_signature(line).ok_or(NoteError::SignatureLine { line: number }))
            .collect::<Result<Vec<_>, _>>()?;
        if signatures.len() > SIGNATURES_MAX {
            return Err(NoteError::TooManySignatures { found: signatures.len() });
        }
        Ok(Self { text: text.to_owned(), signatures })
    }

    /// The text, once `key` is found to have signed it.
    ///
    /// # Errors
    /// [`NoteError::NotSigned`] and [`NoteError::Forged`].
    pub fn verified(&self, key: &VerifyingKey) -> Result<&str, NoteError> {
        let mut by_key = self.signatures.iter().filter(|signature| signature.is_by(key)).peekable();
        if by_key.peek().is_none() {
            return Err(NoteError::NotSigned { name: key.name().to_owned() });
        }
        if by_key.all(|signature| key.verifies(self.text.as_bytes(), &signature.bytes)) {
            Ok(&self.text)
        } else {
            Err(NoteError::Forged { name: key.name().to_owned() })
        }
    }

    /// Adds a cosignature: the key's word that the text was so at this time. Parts of a second
    /// are left out; a time before 1970 counts as 1970.
    #[must_use]
    pub fn cosigned_by(mut self, key: &SigningKey, at: Timestamp) -> Self {
        let seconds = at.micros().div_euclid(1_000_000).max(0).cast_unsigned();
        let mut bytes = seconds.to_be_bytes().to_vec();
        bytes.extend_from_slice(&key.sign(cosigned_text(seconds, &self.text).as_bytes()));
        let (name, key_id) = (key.name().to_owned(), key.verifying().cosigner_id());
        self.signatures.push(Signature { name, key_id, bytes });
        self
    }

    /// The time at which `key` cosigned the text, in whole seconds; the earliest where it did so
    /// more than once. `None` where it did not.
    ///
    /// # Errors
    /// [`NoteError::Forged`] where a cosignature of this key does not fit.
    pub fn cosigned_at(&self, key: &VerifyingKey) -> Result<Option<Timestamp>, NoteError> {
        let forged = || NoteError::Forged { name: key.name().to_owned() };
        let id = key.cosigner_id();
        let mut earliest = None;
        for own in self.signatures.iter().filter(|own| own.name == key.name() && own.key_id == id) {
            let (seconds, signature) = own.bytes.split_first_chunk().ok_or_else(forged)?;
            let seconds = u64::from_be_bytes(*seconds);
            if !key.verifies(cosigned_text(seconds, &self.text).as_bytes(), signature) {
                return Err(forged());
            }
            let at = Timestamp::from_micros(0).plus(Duration::from_secs(seconds));
            earliest = Some(earliest.map_or(at, |other: Timestamp| other.min(at)));
        }
        Ok(earliest)
    }

    /// The text, of which nothing is known: for people, and to find the key that is asked for.
    #[must_use]
    pub fn unverified_text(&self) -> &str {
        &self.text
    }

    /// The signatures, in the order of the note.
    #[must_use]
    pub fn signatures(&self) -> &[Signature] {
        &self.signatures
    }
}

impl fmt::Display for Note {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "{}", self.text)?;
        self.signatures.iter().try_for_each(|signature| writeln!(f, "{signature}"))
    }
}

impl Signature {
    fn is_by(&self, key: &VerifyingKey) -> bool {
        self.name == key.name() && self.key_id == key.key_id()
    }
}

impl fmt::Display for Signature {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut stamped = self.key_id.to_vec();
        stamped.extend_from_slice(&self.bytes);
        write!(f, "{SIGNATURE_MARK}{} {}", self.name, STANDARD.encode(stamped))
    }
}

/// What a cosignature signs.
fn cosigned_text(seconds: u64, text: &str) -> String {
    format!("{COSIGNATURE}time {seconds}\n{text}")
}

fn parse_signature(line: &str) -> Option<Signature> {
    let (name, encoded) = line.strip_prefix(SIGNATURE_MARK)?.split_once(' ')?;
    if !key::is_name(name) {
        return None;
    }
    let stamped = STANDARD.decode(encoded).ok()?;
    let (key_id, bytes) = stamped.split_first_chunk::<KEY_ID_LEN>()?;
    if bytes.is_empty() {
        return None;
    }
    Some(Signature { name: name.to_owned(), key_id: *key_id, bytes: bytes.to_vec() })
}

fn check_characters(text: &str) -> Result<(), NoteError> {
    match text.bytes().position(|byte| byte.is_ascii_control() && byte != b'\n') {
        Some(at) => Err(NoteError::Control { at }),
        None => Ok(()),
    }
}
