//! The keys of signed notes: Ed25519 with a name (C2SP signed-note, type 0x01).
//!
//! The same key cosigns (type 0x04) under another id, which is made from it and its name.

use std::fmt;
use std::str::FromStr;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use ed25519_dalek::Signer;
use sha2::{Digest, Sha256};

use super::{COSIGNATURE as COSIGNATURE_LINE, KEY_ID_LEN};

/// Signature type Ed25519 of the specification.
const ED25519: u8 = 0x01;
/// Signature type of a timestamped Ed25519 cosignature.
const COSIGNATURE: u8 = 0x04;
/// Begins the text form of a secret key, as Go's `sumdb/note`, from which the specification came, writes it.
const PRIVATE_MARK: &str = "PRIVATE+KEY+";

/// Why a text is no key.
#[derive(Clone, Copy, PartialEq, Eq, Debug, thiserror::Error)]
pub enum KeyError {
    /// A name is not empty, and has neither spaces nor `+`.
    #[error("a key is named without spaces and «+»")]
    Name,
    /// It is not `name+id+base64`.
    #[error("a key has the form name+id+base64")]
    Form,
    /// It is a key of another type than Ed25519.
    #[error("the key is of type {found:#04x}, which is not Ed25519")]
    Type {
        /// Type found.
        found: u8,
    },
    /// Name and key do not hash to the id.
    #[error("the id does not belong to this name and key: a character is wrong or missing")]
    Id,
    /// The bytes are no point of the curve.
    #[error("the bytes are no Ed25519 key")]
    Point,
}

/// Whether a key may be called so.
pub(super) fn is_name(name: &str) -> bool {
    !name.is_empty() && !name.contains(|character: char| character.is_whitespace() || character == '+')
}

/// A key that signs. Its text form is a secret; `Debug` does not show it.
pub struct SigningKey {
    name: String,
    key: ed25519_dalek::SigningKey,
}

impl SigningKey {
    /// A key from 32 bytes that must have been drawn at random. The first line of a cosignature
    /// is no name for it: its checkpoints would begin as that does.
    ///
    /// # Errors
    /// [`KeyError::Name`].
    pub fn from_seed(name: impl Into<String>, seed: &[u8; 32]) -> Result<Self, KeyError> {
        let name = name.into();
        if !is_name(&name) || name == COSIGNATURE_LINE.trim_end() {
            return Err(KeyError::Name);
        }
        Ok(Self { name, key: ed25519_dalek::SigningKey::from_bytes(seed) })
    }

    /// Reads what [`SigningKey::secret_text`] wrote.
    ///
    /// # Errors
    /// [`KeyError`].
    pub fn from_secret_text(text: &str) -> Result<Self, KeyError> {
        let rest = text.trim_end().strip_prefix(PRIVATE_MARK).ok_or(KeyError::Form)?;
        let (name, id, seed) = split(rest)?;
        let key = Self::from_seed(name, &seed)?;
        if key.verifying().key_id() == id { Ok(key) } else { Err(KeyError::Id) }
    }

    /// The form that a key file holds, one line without its end.
    #[must_use]
    pub fn secret_text(&self) -> String {
        format!("{PRIVATE_MARK}{}", joined(&self.name, self.verifying().key_id(), &self.key.to_bytes()))
    }

    /// Its name.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// The key that verifies what this one signed.
    #[must_use]
    pub fn verifying(&self) -> VerifyingKey {
        VerifyingKey { name: self.name.clone(), key: self.key.verifying_key() }
    }

    pub(super) fn sign(&self, text: &[u8]) -> [u8; 64] {
        self.key.sign(text).to_bytes()
    }
}

impl fmt::Debug for SigningKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("SigningKey").field("name", &self.name).finish_non_exhaustive()
    }
}

/// A key that verifies. Its text form, `name+id+base64`, is meant to be handed out.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct VerifyingKey {
    name: String,
    key: ed25519_dalek::VerifyingKey,
}

impl VerifyingKey {
    /// Its name.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// First 4 bytes of SHA-256 over name, LF, type and key.
    #[must_use]
    pub fn key_id(&self) -> [u8; KEY_ID_LEN] {
        self.id_for(ED25519)
    }

    /// The id under which the same key cosigns.
    #[must_use]
    pub fn cosigner_id(&self) -> [u8; KEY_ID_LEN] {
        self.id_for(COSIGNATURE)
    }

    fn id_for(&self, signature_type: u8) -> [u8; KEY_ID_LEN] {
        let hash: [u8; 32] = Sha256::new()
            .chain_update(self.name.as_bytes())
            .chain_update([b'\n', signature_type])
            .chain_update(self.key.as_bytes())
            .finalize()
            .into();
        [hash[0], hash[1], hash[2], hash[3]]
    }

    /// Strict verification (RFC 8032 §5.1.7, and no point of small order).
    pub(super) fn verifies(&self, text: &[u8], signature: &[u8]) -> bool {
        ed25519_dalek::Signature::from_slice(signature)
            .is_ok_and(|signature| self.key.verify_strict(text, &signature).is_ok())
    }
}

impl fmt::Display for VerifyingKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&joined(&self.name, self.key_id(), self.key.as_bytes()))
    }
}

impl FromStr for VerifyingKey {
    type Err = KeyError;

    fn from_str(text: &str) -> Result<Self, KeyError> {
        let (name, id, bytes) = split(text.trim())?;
        let key = ed25519_dalek::VerifyingKey::from_bytes(&bytes).map_err(|_| KeyError::Point)?;
        let key = Self { name: name.to_owned(), key };
        if key.key_id() == id { Ok(key) } else { Err(KeyError::Id) }
    }
}

fn joined(name: &str, [a, b, c, d]: [u8; KEY_ID_LEN], key: &[u8; 32]) -> String {
    let mut typed = vec![ED25519];
    typed.extend_from_slice(key);
    format!("{name}+{a:02x}{b:02x}{c:02x}{d:02x}+{}", STANDARD.encode(typed))
}

fn split(text: &str) -> Result<(&str, [u8; KEY_ID_LEN], [u8; 32]), KeyError> {
    // The base64 of a key may hold a `+` itself; name and id cannot.
    let mut parts = text.splitn(3, '+');
    let (Some(name), Some(id), Some(encoded)) = (parts.next(), parts.next(), parts.next()) else {
        return Err(KeyError::Form);
    };
    if !is_name(name) {
        return Err(KeyError::Name);
    }
    let id = u32::from_str_radix(id, 16).ok().filter(|_| id.len() == 2 * KEY_ID_LEN).ok_or(KeyError::Form)?;
    let typed = STANDARD.decode(encoded).map_err(|_| KeyError::Form)?;
    match typed.split_first() {
        Some((&ED25519, bytes)) => {
            let bytes = bytes.try_into().map_err(|_| KeyError::Form)?;
            Ok((name, id.to_be_bytes(), bytes))
        }
        Some((&found, _)) => Err(KeyError::Type { found }),
        None => Err(KeyError::Form),
    }
}
