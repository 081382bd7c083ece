//! Records about the record itself: what people add to it, the key that seals it, and how it is kept.

use serde::{Deserialize, Serialize};

use super::Check;
use crate::core::note::VerifyingKey;
use crate::core::time::Timestamp;

/// Something that somebody wants on record.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Note {
    /// When it was so; absent where the time of the record is meant.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub at: Option<Timestamp>,
    /// What is noted.
    pub text: String,
    /// Who says so.
    pub by: String,
}

/// Says of an earlier record what is to be known beside it. The earlier record stays as it is.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Amendment {
    /// Index of the record it is about.
    pub of: u64,
    /// Why.
    pub reason: String,
    /// Who says so.
    pub by: String,
    /// What is to be known.
    pub change: AmendmentChange,
}

/// What an amendment says. A verdict is never amended, it can only be commented on.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum AmendmentChange {
    /// Only the reason is to be read beside the record.
    Comment,
    /// A check or a note that was entered by mistake: it counts no more.
    Withdrawn,
    /// The check as it should have been entered; it counts in place of the earlier one.
    Corrected(Check),
}

/// The key that signs checkpoints.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct SigningKeyChange {
    /// The public key in force from here on, as `name+id+base64` (C2SP signed-note).
    pub key: String,
    /// How it came.
    pub change: KeyChange,
    /// The public key before it.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub before: Option<String>,
    /// The new key's name and id signed by the key before it (a C2SP signed note), where that was at hand.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub endorsed: Option<String>,
    /// Who asked for it; absent where the program did it by itself.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub by: Option<String>,
}

impl SigningKeyChange {
    /// The first key of a ledger, which the program makes by itself.
    #[must_use]
    pub fn first(key: &VerifyingKey) -> Self {
        Self { key: key.to_string(), change: KeyChange::First, before: None, endorsed: None, by: None }
    }
}

/// How a signing key came into force.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum KeyChange {
    /// The first key of this ledger.
    First,
    /// A new key by order, endorsed by the one before.
    Rotated,
    /// The secret key before it was gone, so that a new one had to be made.
    Lost,
}

/// Whether readings may be pruned by age.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct LawfulHold {
    /// Whether nothing may be pruned from here on.
    pub on: bool,
    /// Why: who asked for it, which case.
    pub reason: String,
    /// Who says so.
    pub by: String,
}

/// Readings were pruned by their age. Records and traces of cycles never are.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Pruned {
    /// Nothing that arrived before this instant is left.
    pub before: Timestamp,
    /// How many readings went.
    pub readings: u64,
}

/// Readings of a file were taken over.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Import {
    /// Name of the file, without its folders.
    pub file: String,
    /// SHA-256 of the file in hexadecimal.
    pub sha256: String,
    /// How many readings it held that fit a channel.
    pub readings: u64,
    /// How many of them were on record already.
    pub repeats: u64,
    /// First instant of its readings.
    pub from: Option<Timestamp>,
    /// Last instant of its readings.
    pub to: Option<Timestamp>,
    /// Who took it over.
    pub by: String,
}

/// The ledger goes on from a backup.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Restored {
    /// Records the backup held.
    pub records: u64,
    /// Root over them in hexadecimal.
    pub root: String,
    /// Who restored it.
    pub by: String,
}
