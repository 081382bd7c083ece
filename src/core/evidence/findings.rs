//! What does not hold in a file of evidence, and what is to be known beside it.

use crate::core::checkpoint::CheckpointError;
use crate::core::keys::Standing;
use crate::core::merkle::InvalidProof;
use crate::core::record::RecordError;
use crate::core::time::Timestamp;

/// Why a file cannot be checked at all.
#[derive(Debug, thiserror::Error)]
pub enum Uncheckable {
    /// Its first line is not that of evidence.
    #[error("its first line is not that of evidence")]
    Header(#[source] serde_json::Error),
    /// It is of a later version of the form.
    #[error("it has form {found} of evidence, and this program knows form {known}")]
    Version {
        /// Version found.
        found: u32,
        /// Version known.
        known: u32,
    },
    /// It has no line.
    #[error("it is empty")]
    Empty,
}

/// One thing that does not hold.
#[derive(Debug)]
pub struct Finding {
    /// Line of the file, from 1; absent where the whole file is meant.
    pub line: Option<u64>,
    /// Index of the record; absent where none can be named.
    pub record: Option<u64>,
    /// When that record was made, as far as it can be read.
    pub recorded: Option<Timestamp>,
    /// What.
    pub flaw: Flaw,
}

/// What does not hold.
#[derive(Debug, thiserror::Error)]
pub enum Flaw {
    /// A line that is none of the form.
    #[error("this line is not as the form of evidence has it: something in it was changed")]
    Line(#[source] serde_json::Error),
    /// A line that is no text.
    #[error("this line is no UTF-8 text")]
    NotText,
    /// A line longer than any that is written.
    #[error("this line is longer than any of evidence")]
    LongLine,
    /// No last line.
    #[error("the file ends before its last line: it was cut short")]
    Cut,
    /// Something after the last line.
    #[error("something follows the last line")]
    AfterEnd,
    /// The last line counts otherwise.
    #[error("the last line says {said} {what}, and there are {found}")]
    Count {
        /// Of what.
        what: &'static str,
        /// Number in the last line.
        said: u64,
        /// Number found.
        found: u64,
    },
    /// Records of the stretch that are not there.
    #[error("records {from} to {last} are missing")]
    Missing {
        /// The first of them.
        from: u64,
        /// The last of them.
        last: u64,
    },
    /// A record that is there already, or stands after a later one.
    #[error("the record stands here again, or after a later one")]
    OutOfOrder,
    /// A record outside the stretch without a proof of its own, or one inside with one.
    #[error("the record is {} the stretch and {} a proof of its own", if *.inside { "inside" } else { "outside" }, if *.inside { "has" } else { "lacks" })]
    Place {
        /// Whether it is inside.
        inside: bool,
    },
    /// The bytes of the record do not hash to the leaf beside them.
    #[error("the record was changed: it does not have the hash it was stored with")]
    Changed,
    /// The record is sealed like that, and cannot be read.
    #[error("the record cannot be read")]
    Record(#[source] RecordError),
    /// The stretch does not lead to the root.
    #[error(
        "the records do not lead to the root that the checkpoint seals: at least one was changed, left out, put in or moved"
    )]
    Stretch(#[source] InvalidProof),
    /// A record apart does not lead to the root.
    #[error("the record is not one of those that the checkpoint seals")]
    Apart(#[source] InvalidProof),
    /// The readings do not hash to what the cycle says.
    #[error("the readings of the cycle were changed: they do not have the hash that its record names")]
    Trace,
    /// Readings beside a record that names none.
    #[error("the record names no readings, and some stand beside it")]
    TraceOfNothing,
    /// No readings beside a cycle that did not plainly pass and names some.
    #[error(
        "the readings that this cycle was judged on are not in the file: they were taken out, or could not be read when it was made"
    )]
    TraceMissing,
    /// The record that an amendment speaks of is not there.
    #[error("it amends record {of}, which is not in the file: that one was taken out")]
    AmendedMissing {
        /// Index of the amended record.
        of: u64,
    },
    /// The beginning of an alert is not there.
    #[error(
        "it is of alert {alert}, and the record that raised that one is not in the file: it was taken out"
    )]
    AlertMissing {
        /// Number of the alert.
        alert: u64,
    },
    /// The checkpoint cannot be read.
    #[error("the checkpoint cannot be read")]
    Checkpoint(#[source] CheckpointError),
    /// The checkpoint is not signed by the key, nor by one that it vouches for.
    #[error("the checkpoint is not sealed by the key given, nor by one that this key vouches for")]
    Signature(#[source] CheckpointError),
    /// It is signed by a later key of the ledger than the one given, and that one does not vouch for it.
    #[error(
        "the checkpoint is sealed by «{key}», a later key of the ledger, in force from record {from} on, for which the key given does not vouch{}; give it with --key if you got it by other means",
        match .standing { Standing::Lost => ": the key before it was lost", Standing::First | Standing::Endorsed | Standing::Broken(_) => "" }
    )]
    Unvouched {
        /// The key.
        key: String,
        /// Record that brought it into force.
        from: u64,
        /// What speaks for it.
        standing: Standing,
    },
    /// It is signed by a key that is on record, and the one given is not by then: it came later, or is of another ledger.
    #[error(
        "the checkpoint is sealed by «{key}», in force from record {from} on, and the key given was not on record by then: it is a later key of the ledger, which does not vouch for earlier ones, or of another ledger; give the key of then with --key if you got it by other means, never from this file"
    )]
    Earlier {
        /// The key that signed.
        key: String,
        /// Record that brought it into force.
        from: u64,
    },
    /// It is signed by a key that was no longer in force.
    #[error("the checkpoint is sealed by a key that was replaced at record {from}")]
    Replaced {
        /// Record that brought the later key into force.
        from: u64,
    },
    /// The header says something else than the checkpoint.
    #[error("the first line says {said} records, and the checkpoint counts {sealed}")]
    Size {
        /// Number in the header.
        said: u64,
        /// Number in the checkpoint.
        sealed: u64,
    },
    /// The stretch is empty or longer than what is sealed.
    #[error("the first line names a stretch from record {first} to {end}, of {size} records")]
    Bounds {
        /// First record.
        first: u64,
        /// First after it.
        end: u64,
        /// Number of records.
        size: u64,
    },
    /// The stretch begins inside the span.
    #[error("the records begin inside the span: what was recorded of it before is left out")]
    BeginsLate,
    /// The stretch ends inside the span, and there are more records.
    #[error("the records end inside the span, and the checkpoint counts more: they are left out")]
    EndsEarly,
    /// A checkpoint kept elsewhere has another root over the same records.
    #[error("the kept checkpoint of {size} records does not fit: what it sealed was changed afterwards")]
    Kept {
        /// Number of records of that checkpoint.
        size: u64,
    },
    /// What the first line says is not what is on record.
    #[error("the first line says {what} «{said}», and on record it is «{recorded}»")]
    Name {
        /// What.
        what: &'static str,
        /// What is said.
        said: String,
        /// What is on record.
        recorded: String,
    },
}

impl Flaw {
    /// A short word for programs that never changes.
    #[must_use]
    pub const fn code(&self) -> &'static str {
        match self {
            Self::Line(_) => "line",
            Self::NotText => "not-text",
            Self::LongLine => "long-line",
            Self::Cut => "cut-short",
            Self::AfterEnd => "after-end",
            Self::Count { .. } => "count",
            Self::Missing { .. } => "missing",
            Self::OutOfOrder => "out-of-order",
            Self::Place { .. } => "place",
            Self::Changed => "changed",
            Self::Record(_) => "unreadable",
            Self::Stretch(_) => "not-sealed",
            Self::Apart(_) => "not-sealed-apart",
            Self::Trace => "trace",
            Self::TraceOfNothing => "trace-of-nothing",
            Self::TraceMissing => "trace-missing",
            Self::AmendedMissing { .. } => "amended-missing",
            Self::AlertMissing { .. } => "alert-missing",
            Self::Checkpoint(_) => "checkpoint",
            Self::Signature(_) => "signature",
            Self::Unvouched { .. } | Self::Earlier { .. } => "key-not-vouched",
            Self::Replaced { .. } => "key-replaced",
            Self::Size { .. } => "size",
            Self::Bounds { .. } => "bounds",
            Self::BeginsLate => "begins-late",
            Self::EndsEarly => "ends-early",
            Self::Kept { .. } => "kept-checkpoint",
            Self::Name { .. } => "name",
        }
    }
}

/// Findings, the first of them, and how many more there are.
#[derive(Debug, Default)]
pub struct Findings {
    /// The first ones, [`FINDINGS_MAX`] at most.
    pub told: Vec<Finding>,
    /// How many more.
    pub more: u64,
}

/// Most findings that are kept: the first ones say what happened.
pub const FINDINGS_MAX: usize = 100;

impl Findings {
    /// Adds one.
    pub fn push(&mut self, finding: Finding) {
        if self.told.len() < FINDINGS_MAX {
            self.told.push(finding);
        } else {
            self.more += 1;
        }
    }

    /// Whether there is none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.told.is_empty()
    }
}
