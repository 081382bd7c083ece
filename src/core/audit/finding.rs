//! What an audit found, in plain words: which record, since when, and what still holds.

use std::fmt;

use jiff::civil::Date;
use serde::Serialize;

use crate::core::counted::Noun;
use crate::core::reader::Language;
use crate::core::record::KeyChange;
use crate::core::time::Timestamp;

/// A record as people find it again.
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
pub struct Named {
    /// Its ledger index.
    pub record: u64,
    /// The word for its kind, where it can be read.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub kind: Option<&'static str>,
    /// The machine it is about.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub machine: Option<String>,
    /// When it says that it was recorded.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub recorded: Option<Timestamp>,
}

impl Named {
    /// A record of which nothing more is known.
    #[must_use]
    pub const fn only(record: u64) -> Self {
        Self { record, kind: None, machine: None, recorded: None }
    }
}

impl fmt::Display for Named {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "record {}", self.record)?;
        let parts = (self.kind, &self.machine, self.recorded);
        match parts {
            (Some(kind), Some(machine), Some(recorded)) => {
                write!(f, " ({kind} of «{machine}», recorded {recorded})")
            }
            (Some(kind), None, Some(recorded)) => write!(f, " ({kind}, recorded {recorded})"),
            (_, _, _) => Ok(()),
        }
    }
}

/// A checkpoint as people find it again.
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
pub struct Seal {
    /// The file it was given in; absent for one that the ledger itself holds.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub file: Option<String>,
    /// Number of records it speaks of.
    pub size: u64,
    /// When it was made: signed, where `signed_time` says so, else as stored beside it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub at: Option<Timestamp>,
    /// Whether that time is signed.
    pub signed_time: bool,
    /// Whether it was given and no key known here signed it: it may be of another ledger of that name.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub unknown_key: bool,
}

impl fmt::Display for Seal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "the checkpoint of {}", records(self.size))?;
        if let Some(file) = &self.file {
            write!(f, " in «{file}»")?;
        }
        match (self.at, self.signed_time) {
            (Some(at), true) => write!(f, ", signed {at}"),
            (Some(at), false) => write!(f, ", stored {at}"),
            (None, _) => Ok(()),
        }
    }
}

/// Something that does not hold.
#[derive(Clone, PartialEq, Debug, Serialize)]
#[serde(untagged)]
pub enum Finding {
    /// Of records.
    Record(RecordFault),
    /// Of what is kept beside them.
    Beside(BesideFault),
    /// Of checkpoints.
    Seal(SealFault),
    /// Of keys.
    Key(KeyFault),
}

impl fmt::Display for Finding {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Record(fault) => fault.fmt(f),
            Self::Beside(fault) => fault.fmt(f),
            Self::Seal(fault) => fault.fmt(f),
            Self::Key(fault) => fault.fmt(f),
        }
    }
}

/// What is wrong with records.
#[derive(Clone, PartialEq, Debug, Serialize)]
#[serde(tag = "fault", rename_all = "kebab-case")]
pub enum RecordFault {
    /// The bytes of a record do not fit the hash stored beside them.
    RecordChanged {
        /// Which.
        #[serde(flatten)]
        named: Named,
    },
    /// Records that should be there are not.
    RecordsMissing {
        /// The first.
        from: u64,
        /// The last.
        to: u64,
    },
    /// Records lie in a part of the file that cannot be read.
    RecordsUnreadable {
        /// The first.
        from: u64,
        /// The last.
        to: u64,
    },
    /// There is something at a place that no record has.
    RecordOutOfPlace {
        /// The place.
        index: i64,
    },
    /// The bytes are as stored, and no record.
    NotARecord {
        /// Which.
        record: u64,
        /// What is wrong with them.
        cause: String,
    },
    /// The kind stored beside a record is not that of the record.
    KindDiffers {
        /// Which.
        #[serde(flatten)]
        named: Named,
        /// The kind stored beside it.
        found: String,
    },
    /// The time of a record lies before that of an earlier one, and no clock was set back.
    TimeRunsBack {
        /// Which.
        #[serde(flatten)]
        named: Named,
        /// The latest time before it.
        after: Timestamp,
    },
}

impl From<RecordFault> for Finding {
    fn from(fault: RecordFault) -> Self {
        Self::Record(fault)
    }
}

/// What is wrong with that which is kept beside the records: derived rows, traces, readings.
#[derive(Clone, PartialEq, Debug, Serialize)]
#[serde(tag = "fault", rename_all = "kebab-case")]
pub enum BesideFault {
    /// A cycle is not in the table that the history is looked up by.
    CycleRowMissing {
        /// Which.
        #[serde(flatten)]
        named: Named,
    },
    /// The table that the history is looked up by says something else than the record.
    CycleRowDiffers {
        /// Which.
        #[serde(flatten)]
        named: Named,
        /// The column.
        column: &'static str,
    },
    /// The table that the history is looked up by has a cycle that is no record.
    CycleRowStray {
        /// Its place.
        index: i64,
    },
    /// The trace that a cycle was judged on is gone.
    TraceMissing {
        /// Which.
        #[serde(flatten)]
        named: Named,
    },
    /// The trace is not the one whose hash stands in the cycle.
    TraceDiffers {
        /// Which.
        #[serde(flatten)]
        named: Named,
    },
    /// There is a trace that no cycle speaks of.
    TraceStray {
        /// Its place.
        index: i64,
    },
    /// A block of readings does not fit its own check.
    BlockDamaged {
        /// Name of the channel.
        channel: String,
        /// Its first reading, as stored beside it.
        first: Timestamp,
        /// Its last reading.
        last: Timestamp,
    },
    /// Stored inputs that are in no block yet do not fit their own check.
    TailDamaged {
        /// Number of the first of them.
        first: i64,
    },
    /// An index that the history is looked up by has other entries than its table.
    IndexDiffers {
        /// Its name.
        name: &'static str,
    },
    /// A table that the history finds records in, or proofs are made of, has other entries than the records give.
    LookupDiffers {
        /// Its name.
        name: &'static str,
    },
    /// What the history shows of a machine's day is not what its records say.
    DayDiffers {
        /// The day, in the zone that the days are kept in.
        day: Date,
        /// Name of the machine.
        machine: String,
        /// What differs.
        #[serde(flatten)]
        numbers: DayFault,
    },
    /// Part of a table lies in a part of the file that cannot be read.
    TableUnreadable {
        /// What it holds.
        what: &'static str,
        /// Which of it: from this index or number on.
        from: i64,
        /// What the database said.
        cause: String,
    },
    /// The row that says where the ledger stands does not fit the records.
    StateDiffers {
        /// Number of records it counts.
        counted: Option<u64>,
        /// Number of records there are.
        found: u64,
    },
}

impl From<BesideFault> for Finding {
    fn from(fault: BesideFault) -> Self {
        Self::Beside(fault)
    }
}

/// What is wrong with the numbers that are kept of a machine's day.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize)]
#[serde(tag = "differs", rename_all = "kebab-case")]
pub enum DayFault {
    /// A count.
    Count {
        /// Of which racks.
        what: &'static str,
        /// The number kept.
        said: u64,
        /// The number of records.
        found: u64,
    },
    /// The lowest settled minimum.
    Lowest,
    /// The median of the settled minima.
    Median,
    /// There are records of that day, and no numbers.
    Missing {
        /// The number of records.
        found: u64,
    },
    /// There are numbers, and no records of that day.
    Stray,
}

/// What is wrong with checkpoints, or proved by them.
#[derive(Clone, PartialEq, Debug, Serialize)]
#[serde(tag = "fault", rename_all = "kebab-case")]
pub enum SealFault {
    /// A stored checkpoint is no checkpoint.
    NotACheckpoint {
        /// Its number in the ledger.
        number: i64,
        /// What is wrong with it.
        cause: String,
    },
    /// Stored checkpoints are gone.
    CheckpointsMissing {
        /// Number of the first.
        from: i64,
        /// Number of the last.
        to: i64,
    },
    /// Size or time stored beside a checkpoint are not those that it signs.
    CheckpointRowDiffers {
        /// Its number in the ledger.
        number: i64,
        /// The checkpoint.
        seal: Seal,
        /// The column.
        column: &'static str,
    },
    /// A checkpoint is not signed by the key in force, or the signature does not fit.
    Unsigned {
        /// The checkpoint.
        seal: Seal,
        /// Name and id of the key in force.
        key: String,
        /// What is wrong.
        cause: String,
    },
    /// The time of a checkpoint is not signed, though those of others are.
    TimeNotSigned {
        /// The checkpoint.
        seal: Seal,
    },
    /// The records are not those that were sealed.
    NotAsSealed {
        /// The first record that may differ.
        from: u64,
        /// The last one before the checkpoint.
        to: u64,
        /// The first checkpoint that does not fit.
        differs: Seal,
        /// The last one before it that does.
        #[serde(skip_serializing_if = "Option::is_none")]
        fits: Option<Seal>,
        /// How many later ones do not fit either.
        later: u64,
        /// Whether the stored hashes fit, so that only records found changed differ.
        hashes_fit: bool,
    },
    /// Fewer records than were sealed.
    CutBack {
        /// Number of records there are.
        found: u64,
        /// The newest checkpoint that speaks of more.
        seal: Seal,
    },
    /// A checkpoint cannot be compared, since records before it are missing or unreadable.
    NotComparable {
        /// The first such checkpoint.
        seal: Seal,
        /// How many later ones there are.
        later: u64,
        /// The first record that is missing.
        record: u64,
    },
}

impl From<SealFault> for Finding {
    fn from(fault: SealFault) -> Self {
        Self::Seal(fault)
    }
}

/// What is wrong with keys.
#[derive(Clone, PartialEq, Debug, Serialize)]
#[serde(tag = "fault", rename_all = "kebab-case")]
pub enum KeyFault {
    /// No key that was given ever signed this ledger.
    KeyUnknown {
        /// Names and ids of the keys given.
        given: Vec<String>,
        /// Names and ids of the keys on record.
        on_record: Vec<String>,
    },
    /// From a record on a key signs for which the keys given do not vouch.
    KeyNotVouchedFor {
        /// The record of the change.
        record: u64,
        /// Name and id of the key.
        key: String,
        /// How it came.
        change: KeyChange,
    },
    /// The record of a key cannot be used.
    KeyRecord {
        /// Which.
        record: u64,
        /// What is wrong.
        cause: String,
    },
}

impl From<KeyFault> for Finding {
    fn from(fault: KeyFault) -> Self {
        Self::Key(fault)
    }
}

/// A number of records in words.
pub(super) fn records(count: u64) -> String {
    Noun::Records.of(count, Language::English)
}

/// A range of records with its verb.
pub(super) fn range(from: u64, to: u64) -> String {
    if from == to { format!("record {from} is") } else { format!("records {from} to {to} are") }
}
