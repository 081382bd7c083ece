//! Evidence: the records of a span of time in one file that proves itself.
//!
//! Whoever holds the file and the public key of the ledger can tell, without the ledger and
//! without this program, that each record in it is as it was sealed, stands in its place, and
//! that none between the first and the last of the stretch is missing.
//!
//! # The file
//!
//! JSON Lines in UTF-8, each line ended by LF. The first line is the [`Header`]:
//!
//! | key | holds |
//! |---|---|
//! | `rinseward` | the word `evidence` |
//! | `v` | version of this form, 1 |
//! | `program`, `made` | version of the program that wrote it, and when |
//! | `site`, `zone` | name and time zone of the site, as its configuration on record has them |
//! | `from`, `to` | the span asked for: its first instant, and the first one after it |
//! | `machines` | the machines asked for, for the table that goes with it; empty means all. The file always holds the records of all |
//! | `first`, `end` | the stretch: records with an index from `first` up to, without, `end`, every one of them |
//! | `size` | number of records that the checkpoint counts |
//! | `checkpoint` | the signed checkpoint (C2SP signed-note), with its line ends |
//! | `key` | the public key it is signed with, `name+id+base64`: no proof, since anybody can write one there |
//! | `before`, `after` | hashes of [`crate::core::merkle::RangeProof`], hexadecimal |
//!
//! Each further line but the last is an [`Entry`], in rising order of `index`:
//!
//! | key | holds |
//! |---|---|
//! | `index` | index of the record in the ledger |
//! | `leaf` | its leaf hash, SHA-256 of 0x00 and the bytes of the record, hexadecimal |
//! | `record` | the bytes of the record, a text |
//! | `proof` | only outside the stretch: inclusion proof (RFC 9162 §2.1.3), lowest hash first |
//! | `trace` | the readings a cycle was judged on: `rinse` and `wash`, pairs of microseconds since 1970 (UTC) and °C; their hash ([`crate::core::effect::Trace::canonical_bytes`]) is `trace_sha256` of the cycle |
//!
//! The last line is the [`Trailer`]: `records` in the stretch, records `apart` from it, `traces`.
//! A file without it was cut short.
//!
//! # How it is checked
//!
//! 1. The signature of the checkpoint, by the key that somebody brought along or by one that it
//!    vouches for over the `signing-key` records in the file ([`crate::core::keys`]).
//! 2. The leaf hashes of the stretch, in order, after `before` and followed by `after`, lead to the
//!    root of the checkpoint.
//! 3. Each `proof` leads from its leaf to the same root.
//! 4. Each record hashes to its leaf, and each trace to the `trace_sha256` of its record.
//! 5. The stretch covers the span: it begins with a record from before it or with record 0, and
//!    ends with one from after it or with the last one the checkpoint counts.
//!
//! Where 2 holds, what fails in 4 is exactly what was changed: that is what `leaf` is for.
//!
//! # What is in it
//!
//! The stretch holds every record made in the span, with one from before and one from after it.
//! Apart from it stand, as far as the checkpoint counts them, those of the span that were recorded
//! at another time, and what belongs to it: see [`span`]. What a record of the file amends, and
//! where an alert began of which the stretch tells, is asked for: [`examine`] says what is lacking. That
//! none of the others apart is missing is shown by the ledger only, not by this file, since nothing
//! ends their list.
//!
//! The readings of a cycle that did not plainly pass belong to it; of those that passed they may be
//! left out, and how many is told.

pub mod examine;
pub mod findings;
pub mod inclusion;
pub mod span;
#[cfg(test)]
mod tests;

use std::borrow::Cow;

use serde::{Deserialize, Deserializer, Serialize, Serializer, de};

use super::effect::Trace;
use super::merkle::{Hash, RangeProof};
use super::time::Timestamp;

/// Version of the form.
pub const EVIDENCE_FORMAT: u32 = 1;
/// Media type of lines of JSON, of which evidence consists (jsonlines.org; none is registered with IANA).
pub const JSON_LINES: &str = "application/jsonl";
/// Longest line that is read, bytes: a record or a trace is some ten thousand.
pub const LINE_MAX: usize = 16 << 20;
/// With what the last line begins, and no other.
const TRAILER_MARK: &[u8] = b"{\"records\":";

/// What the file is.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Form {
    /// Evidence.
    Evidence,
}

/// The first line.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Header {
    /// What the file is.
    pub rinseward: Form,
    /// Version of the form, [`EVIDENCE_FORMAT`].
    pub v: u32,
    /// Version of the program that wrote it.
    pub program: String,
    /// When it was made.
    pub made: Timestamp,
    /// Name of the site.
    pub site: String,
    /// Time zone of the site (IANA).
    pub zone: String,
    /// First instant of the span.
    pub from: Timestamp,
    /// First instant after it.
    pub to: Timestamp,
    /// Machines asked for; empty means all.
    pub machines: Vec<String>,
    /// Index of the first record of the stretch.
    pub first: u64,
    /// Index of the first record after it.
    pub end: u64,
    /// Number of records that the checkpoint counts.
    pub size: u64,
    /// The signed checkpoint.
    pub checkpoint: String,
    /// The public key it is signed with.
    pub key: String,
    /// Hashes of the subtrees before the stretch.
    pub before: Vec<Hex>,
    /// Hashes of the subtrees after it.
    pub after: Vec<Hex>,
}

impl Header {
    /// The hashes beside the stretch.
    #[must_use]
    pub fn proof(&self) -> RangeProof {
        let hashes = |list: &[Hex]| list.iter().map(|hex| hex.0).collect();
        RangeProof { before: hashes(&self.before), after: hashes(&self.after) }
    }

    /// Whether a cycle belongs to the table that goes with the file.
    #[must_use]
    pub fn asks_for(&self, machine: &str, rinse_started: Timestamp) -> bool {
        let asked = self.machines.is_empty() || self.machines.iter().any(|name| name == machine);
        asked && self.from <= rinse_started && rinse_started < self.to
    }
}

/// A line with a record.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Entry<'b> {
    /// Index of the record.
    pub index: u64,
    /// Its leaf hash.
    pub leaf: Hex,
    /// Its bytes.
    #[serde(borrow)]
    pub record: Cow<'b, str>,
    /// Its inclusion proof, where it stands outside the stretch.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub proof: Option<Vec<Hex>>,
    /// The readings a cycle was judged on.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub trace: Option<Trace>,
}

/// The last line. `records` stands first, so that it is told from an entry by its beginning.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Trailer {
    /// Records of the stretch.
    pub records: u64,
    /// Records apart from it.
    pub apart: u64,
    /// Traces.
    pub traces: u64,
}

/// A hash in hexadecimal, in lower case only: there is one way to write it.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Hex(pub Hash);

impl Serialize for Hex {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(&self.0)
    }
}

impl<'de> Deserialize<'de> for Hex {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = Cow::<str>::deserialize(deserializer)?;
        let hash: Hash = text.parse().map_err(de::Error::custom)?;
        if hash.to_string() == text {
            Ok(Self(hash))
        } else {
            Err(de::Error::custom("a hash is in lower case"))
        }
    }
}
