//! What an audit wants to know of a record's bytes, without reading the rest of them.
//!
//! Millions of cycles are looked at, each with fifty fields of which six matter: these six
//! are read and the others passed over, as JSON all the same. Records of other kinds are few
//! and are read whole.

use std::borrow::Cow;
use std::fmt;

use serde::Deserialize;
use serde::de::{Deserializer, IgnoredAny, MapAccess, Visitor};

use crate::core::cycle::verdict::Verdict;
use crate::core::record::{Body, FORMAT, Record, RecordError};
use crate::core::time::Timestamp;

/// What matters of a record.
#[derive(Clone, PartialEq, Debug)]
pub(super) struct Glance<'a> {
    /// When it was recorded.
    pub recorded: Timestamp,
    /// The machine it is about.
    pub machine: Option<Cow<'a, str>>,
    /// What happened.
    pub what: What<'a>,
}

/// What happened, as far as it matters.
#[derive(Clone, PartialEq, Debug)]
pub(super) enum What<'a> {
    /// A cycle.
    Cycle(CycleGlance<'a>),
    /// Anything else, read whole.
    Other(Box<Body>),
}

/// What the ledger derives from a cycle, and what it keeps beside it.
#[derive(Clone, PartialEq, Debug)]
pub(super) struct CycleGlance<'a> {
    /// Start of the final rinse.
    pub rinse_started: Timestamp,
    /// Its end.
    pub rinse_ended: Timestamp,
    /// Verdict.
    pub verdict: Verdict,
    /// Settled final-rinse minimum, °C.
    pub rinse_min_c: Option<f64>,
    /// SHA-256 of the stored trace in hexadecimal.
    pub trace_sha256: Option<Cow<'a, str>>,
}

impl Glance<'_> {
    /// The word for its kind.
    #[must_use]
    pub(super) fn kind(&self) -> &'static str {
        match &self.what {
            What::Cycle(_) => "cycle",
            What::Other(body) => body.kind(),
        }
    }
}

/// Looks at the bytes of a record.
///
/// # Errors
/// [`RecordError`] where they are none, or of a later format.
pub(super) fn glance(bytes: &[u8]) -> Result<Glance<'_>, RecordError> {
    match serde_json::from_slice::<Shape<'_>>(bytes) {
        Ok(Shape { v: 0..=FORMAT, recorded, machine, body: BodyShape(Some(cycle)) }) => Ok(Glance {
            recorded,
            machine: machine.map(Cow::Borrowed),
            what: What::Cycle(CycleGlance {
                rinse_started: cycle.rinse_started,
                rinse_ended: cycle.rinse_ended,
                verdict: cycle.verdict,
                rinse_min_c: cycle.rinse_min_c,
                trace_sha256: cycle.trace_sha256.map(Cow::Borrowed),
            }),
        }),
        // Another kind, another version, a text with escapes, or no record: read whole it will show.
        Ok(_) | Err(_) => whole(bytes),
    }
}

fn whole(bytes: &[u8]) -> Result<Glance<'static>, RecordError> {
    let Record { recorded, machine, body, .. } = Record::from_bytes(bytes)?;
    let what = if let Body::Cycle(cycle) = body {
        What::Cycle(CycleGlance {
            rinse_started: cycle.rinse_started,
            rinse_ended: cycle.rinse_ended,
            verdict: cycle.verdict,
            rinse_min_c: cycle.rinse_min_c,
            trace_sha256: cycle.trace_sha256.map(Cow::Owned),
        })
    } else {
        What::Other(Box::new(body))
    };
    Ok(Glance { recorded, machine: machine.map(Cow::Owned), what })
}

#[derive(Deserialize)]
struct Shape<'a> {
    v: u32,
    recorded: Timestamp,
    #[serde(borrow, default)]
    machine: Option<&'a str>,
    #[serde(borrow)]
    body: BodyShape<'a>,
}

/// The cycle, where the body is one.
struct BodyShape<'a>(Option<CycleShape<'a>>);

#[derive(Deserialize)]
struct CycleShape<'a> {
    rinse_started: Timestamp,
    rinse_ended: Timestamp,
    verdict: Verdict,
    rinse_min_c: Option<f64>,
    #[serde(borrow, default)]
    trace_sha256: Option<&'a str>,
}

impl<'de: 'a, 'a> Deserialize<'de> for BodyShape<'a> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct OneEntry;

        impl<'de> Visitor<'de> for OneEntry {
            type Value = BodyShape<'de>;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("what happened")
            }

            fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Self::Value, A::Error> {
                let cycle = match map.next_key::<&str>()? {
                    Some("cycle") => Some(map.next_value()?),
                    Some(_) => {
                        map.next_value::<IgnoredAny>()?;
                        None
                    }
                    None => None,
                };
                Ok(BodyShape(cycle))
            }
        }

        deserializer.deserialize_map(OneEntry)
    }
}
