//! Findings in sentences.

use std::fmt;

use crate::core::record::KeyChange;

use super::finding::{BesideFault, DayFault, KeyFault, RecordFault, Seal, SealFault, range, records};

impl fmt::Display for RecordFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::RecordChanged { named } => {
                write!(f, "{named} was changed: its bytes do not fit the hash stored beside them")
            }
            Self::RecordsMissing { from, to } => write!(f, "{} missing", range(*from, *to)),
            Self::RecordsUnreadable { from, to } => {
                write!(f, "{} in a damaged part of the file that cannot be read", range(*from, *to))
            }
            Self::RecordOutOfPlace { index } => {
                write!(f, "something lies at place {index}, where no record is")
            }
            Self::NotARecord { record, cause } => write!(f, "what lies at record {record} is none: {cause}"),
            Self::KindDiffers { named, found } => {
                write!(f, "{named} is stored as «{found}», which it is not")
            }
            Self::TimeRunsBack { named, after } => write!(
                f,
                "{named} bears an earlier time than a record before it ({after}), and no record says that the \
                 clock was set back"
            ),
        }
    }
}

impl fmt::Display for BesideFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::CycleRowMissing { named } => {
                write!(f, "{named} is missing from the table that the history is looked up by")
            }
            Self::CycleRowDiffers { named, column } => {
                write!(f, "the table that the history is looked up by has another «{column}» than {named}")
            }
            Self::CycleRowStray { index } => {
                write!(
                    f,
                    "the table that the history is looked up by has a cycle {index}, which is no record"
                )
            }
            Self::TraceMissing { named } => write!(f, "the trace that {named} was judged on is missing"),
            Self::TraceDiffers { named } => {
                write!(f, "the trace of {named} was changed: its hash is not the one in the record")
            }
            Self::TraceStray { index } => write!(f, "there is a trace {index} that no cycle speaks of"),
            Self::BlockDamaged { channel, first, last } => write!(
                f,
                "the block of readings of «{channel}» from {first} to {last} does not fit its own check; the \
                 traces of cycles are kept apart from it"
            ),
            Self::TailDamaged { first } => {
                write!(f, "the newest stored readings, from input {first} on, do not fit their own check")
            }
            Self::IndexDiffers { name } => write!(
                f,
                "the index «{name}», by which the history finds its entries, has others than its table: it hides \
                 some, or shows what is not there"
            ),
            Self::LookupDiffers { name } => write!(
                f,
                "the table «{name}», by which the history finds alerts, checks, gaps and notes and proofs are made, \
                 has other entries than the records give: it hides some, or shows what is not there"
            ),
            Self::DayDiffers { day, machine, numbers } => {
                write!(
                    f,
                    "the numbers that the history shows of «{machine}» on {day} are not those of its records: "
                )?;
                numbers.fmt(f)
            }
            Self::TableUnreadable { what, from, cause } => {
                write!(f, "{what} cannot be read from number {from} on: {cause}")
            }
            Self::StateDiffers { counted: None, .. } => {
                f.write_str("the row that says where the ledger stands makes no sense")
            }
            Self::StateDiffers { counted: Some(counted), found } if counted == found => {
                f.write_str("the row that says where the ledger stands has another tree than its records")
            }
            Self::StateDiffers { counted: Some(counted), found } => write!(
                f,
                "the row that says where the ledger stands counts {}, and there are {found}",
                records(*counted)
            ),
        }
    }
}

impl fmt::Display for DayFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Count { what, said, found } => {
                write!(f, "it counts {said} {what} racks, and there are {found} on record")
            }
            Self::Lowest => f.write_str("its lowest settled minimum is another one"),
            Self::Median => f.write_str("the median of its settled minima is another one"),
            Self::Missing { found } => write!(f, "it shows none, and {found} racks are on record"),
            Self::Stray => f.write_str("no rack of that day is on record"),
        }
    }
}

/// Said of a kept checkpoint that a stranger may have signed, and that is compared all the same.
const BY_UNKNOWN_KEY: &str = "; no key known here signed that checkpoint, so that it may be of another ledger of this \
                              name: give the key that signed it with --key as well";

impl fmt::Display for SealFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let unknown_key = |f: &mut fmt::Formatter<'_>, seal: &Seal| {
            if seal.unknown_key { f.write_str(BY_UNKNOWN_KEY) } else { Ok(()) }
        };
        match self {
            Self::NotACheckpoint { number, cause } => {
                write!(f, "stored checkpoint {number} is none: {cause}")
            }
            Self::CheckpointsMissing { from, to } if from == to => {
                write!(f, "stored checkpoint {from} is missing")
            }
            Self::CheckpointsMissing { from, to } => {
                write!(f, "stored checkpoints {from} to {to} are missing")
            }
            Self::CheckpointRowDiffers { number, seal, column } => {
                write!(f, "stored checkpoint {number} has another {column} beside it than it signs ({seal})")
            }
            Self::Unsigned { seal, key, cause } => {
                write!(f, "{seal}, does not hold under «{key}», the key in force: {cause}")
            }
            Self::TimeNotSigned { seal } => {
                write!(f, "the time of {seal}, is not signed, though those of other checkpoints are")
            }
            Self::NotAsSealed { from, to, differs, fits, later, hashes_fit } => {
                write!(f, "{} not as sealed: {differs}, does not fit", range(*from, *to))?;
                match fits {
                    Some(fits) => write!(f, "; {fits}, still fits")?,
                    None => f.write_str("; there is none before it that fits")?,
                }
                if *later > 0 {
                    let (ones, do_not) = if *later == 1 { ("one", "does") } else { ("ones", "do") };
                    write!(f, "; {later} later {ones} {do_not} not fit either")?;
                }
                if *hashes_fit {
                    f.write_str(
                        "; the stored hashes do fit, so that only the records named as changed differ",
                    )?;
                }
                unknown_key(f, differs)
            }
            Self::CutBack { found, seal } => {
                write!(
                    f,
                    "the ledger was cut back: it holds {}, and {seal}, shows that there were more",
                    records(*found)
                )?;
                unknown_key(f, seal)
            }
            Self::NotComparable { seal, later, record } => {
                write!(f, "{seal}, cannot be compared, since record {record} is not to be had")?;
                match later {
                    0 => Ok(()),
                    1 => f.write_str("; nor can 1 later one"),
                    _ => write!(f, "; nor can {later} later ones"),
                }
            }
        }
    }
}

impl fmt::Display for KeyFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::KeyUnknown { given, on_record } => {
                write!(f, "«{}», the key given, is not a key of this ledger", given.join("», «"))?;
                if on_record.is_empty() {
                    return f.write_str(", and no checkpoint is signed by it");
                }
                write!(
                    f,
                    ": its records name «{}». It is another ledger, or its history was written anew",
                    on_record.join("», «")
                )
            }
            Self::KeyNotVouchedFor { record, key, change } => {
                let how = match change {
                    KeyChange::Lost => "the secret key before it is said to be lost",
                    KeyChange::Rotated => "the key before it did not sign for it",
                    KeyChange::First => "it is said to be the first",
                };
                write!(
                    f,
                    "from record {record} on «{key}» signs, and the key given does not vouch for it: {how}. Only \
                     whoever got that key by other means can check what follows, by giving it with --key as well"
                )
            }
            Self::KeyRecord { record, cause } => {
                write!(f, "record {record} names the key that signs, and does not hold: {cause}")
            }
        }
    }
}
