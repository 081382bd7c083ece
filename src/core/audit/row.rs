//! One record and what is kept beside it.

use crate::core::cycle::verdict::Verdict;
use crate::core::late::late_after;
use crate::core::merkle::{HASH_LEN, Hash, leaf_hash};
use crate::core::record::{Body, SigningKeyChange};
use crate::core::time::Timestamp;

use super::finding::{BesideFault, Finding, Named, RecordFault};
use super::glance::{CycleGlance, Glance, What, glance};
use super::order::{Lane, StepBack};

/// A record as it is stored, with what stands beside it.
#[derive(Clone, Copy, Debug)]
pub struct Row<'a> {
    /// Its ledger index.
    pub index: u64,
    /// The kind stored beside it.
    pub kind: &'a str,
    /// The leaf hash stored beside it.
    pub leaf: &'a [u8],
    /// Its bytes.
    pub bytes: &'a [u8],
    /// Its row in the table that the history is looked up by.
    pub cycle: CycleFound<'a>,
    /// Its trace.
    pub trace: TraceRow,
}

/// What is known of the row that the history is looked up by.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum CycleFound<'a> {
    /// It could not be read.
    NotLookedAt,
    /// There is none.
    Absent,
    /// There is one.
    There(CycleRow<'a>),
}

/// What the history is looked up by.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct CycleRow<'a> {
    /// Name of the machine; absent where its number names none.
    pub machine: Option<&'a str>,
    /// Start of the final rinse, µs since the epoch.
    pub rinse_started: i64,
    /// Verdict; absent where its number names none.
    pub verdict: Option<Verdict>,
    /// Settled minimum, °C.
    pub rinse_min_c: Option<f64>,
}

/// What is known of a trace.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum TraceRow {
    /// Nobody looked.
    NotLookedAt,
    /// There is none.
    Absent,
    /// There is one that cannot be read.
    Unreadable,
    /// SHA-256 of its canonical bytes.
    Sha256([u8; HASH_LEN]),
}

/// What a cycle adds to the counts of its machine's day.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Washed {
    /// Start of the final rinse.
    pub rinse_started: Timestamp,
    /// Verdict.
    pub verdict: Verdict,
    /// Settled minimum, °C.
    pub rinse_min_c: Option<f64>,
    /// Whether it was recorded late, see [`crate::core::late`].
    pub late: bool,
    /// Whether the table that the history is looked up by has it under its machine.
    pub machine_fits: bool,
}

/// What an audit keeps of a record.
#[derive(Clone, PartialEq, Debug)]
pub struct Seen {
    pub(super) index: u64,
    /// Over the bytes as they are.
    pub(super) leaf: Hash,
    /// The stored one, where it differs.
    pub(super) stored: Option<Hash>,
    pub(super) recorded: Option<Timestamp>,
    pub(super) kind: Option<&'static str>,
    pub(super) lane: Lane,
    pub(super) step: Option<StepBack>,
    pub(super) key: Option<Box<SigningKeyChange>>,
    /// Whether its trace was found to be the one it was judged on.
    pub(super) trace: bool,
    /// Whether it has a trace whose hash it does not name.
    pub(super) trace_without_hash: bool,
    /// What it adds to its day, where it is a cycle that is as it was stored.
    washed: Option<Washed>,
    pub(super) faults: Vec<Finding>,
}

impl Seen {
    /// What it adds to the counts of a day; `None` for what is no cycle, or not as it was stored.
    #[must_use]
    pub const fn washed(&self) -> Option<Washed> {
        self.washed
    }
}

/// Looks at a record and what is kept beside it.
#[must_use]
pub fn examine(row: &Row<'_>) -> Seen {
    let leaf = leaf_hash(row.bytes);
    let changed = leaf.0[..] != *row.leaf;
    let mut seen = Seen {
        index: row.index,
        leaf,
        // What is no hash fits nothing that was sealed, as does this one.
        stored: changed.then(|| Hash(row.leaf.try_into().unwrap_or_default())),
        recorded: None,
        kind: None,
        lane: Lane::None,
        step: None,
        key: None,
        trace: false,
        trace_without_hash: false,
        washed: None,
        faults: Vec::new(),
    };
    let glance = match glance(row.bytes) {
        Ok(glance) => glance,
        Err(error) => {
            seen.faults.push(if changed {
                RecordFault::RecordChanged { named: Named::only(row.index) }.into()
            } else {
                let cause = crate::core::causes::chain(&error);
                RecordFault::NotARecord { record: row.index, cause }.into()
            });
            return seen;
        }
    };
    seen.recorded = Some(glance.recorded);
    seen.kind = Some(glance.kind());
    if changed {
        // What stands beside it was derived from what it was.
        seen.faults.push(RecordFault::RecordChanged { named: named(row.index, &glance) }.into());
        return seen;
    }
    seen.lane = Lane::of(&glance.what);
    seen.step = StepBack::of(&glance.what);
    if row.kind != glance.kind() {
        let found = row.kind.to_owned();
        seen.faults.push(RecordFault::KindDiffers { named: named(row.index, &glance), found }.into());
    }
    match &glance.what {
        What::Cycle(cycle) => look_beside(row, &glance, cycle, &mut seen),
        What::Other(body) => {
            stray(row, &mut seen.faults);
            if let Body::SigningKey(change) = &**body {
                seen.key = Some(change.clone());
            }
        }
    }
    seen
}

/// Compares what is kept beside a cycle.
fn look_beside(row: &Row<'_>, glance: &Glance<'_>, cycle: &CycleGlance<'_>, seen: &mut Seen) {
    let name = || named(row.index, glance);
    let machine = Some(glance.machine.as_deref().unwrap_or_default());
    seen.washed = Some(Washed {
        rinse_started: cycle.rinse_started,
        verdict: cycle.verdict,
        rinse_min_c: cycle.rinse_min_c,
        late: late_after(cycle.rinse_ended, glance.recorded).is_some(),
        machine_fits: matches!(&row.cycle, CycleFound::There(found) if found.machine == machine),
    });
    match &row.cycle {
        CycleFound::NotLookedAt => {}
        CycleFound::Absent => seen.faults.push(BesideFault::CycleRowMissing { named: name() }.into()),
        CycleFound::There(found) => {
            let differs = differing(found, glance.machine.as_deref(), cycle);
            seen.faults
                .extend(differs.map(|column| BesideFault::CycleRowDiffers { named: name(), column }.into()));
        }
    }
    match (row.trace, &cycle.trace_sha256) {
        (TraceRow::Sha256(found), Some(wanted)) => match wanted.parse::<Hash>() {
            Ok(wanted) if wanted.0 == found => seen.trace = true,
            Ok(_) | Err(_) => seen.faults.push(BesideFault::TraceDiffers { named: name() }.into()),
        },
        (TraceRow::Unreadable, Some(_)) => {
            seen.faults.push(BesideFault::TraceDiffers { named: name() }.into());
        }
        (TraceRow::Absent, Some(_)) => {
            seen.faults.push(BesideFault::TraceMissing { named: name() }.into());
        }
        (TraceRow::Sha256(_) | TraceRow::Unreadable, None) => seen.trace_without_hash = true,
        (TraceRow::NotLookedAt, _) | (TraceRow::Absent, None) => {}
    }
}

/// The first column of the derived row that is not what the record says.
fn differing(row: &CycleRow<'_>, machine: Option<&str>, cycle: &CycleGlance<'_>) -> Option<&'static str> {
    if row.machine != Some(machine.unwrap_or_default()) {
        Some("machine")
    } else if row.rinse_started != cycle.rinse_started.micros() {
        Some("start of the final rinse")
    } else if row.verdict != Some(cycle.verdict) {
        Some("verdict")
    } else if row.rinse_min_c.partial_cmp(&cycle.rinse_min_c) != Some(std::cmp::Ordering::Equal) {
        Some("settled minimum")
    } else {
        None
    }
}

/// What only cycles have beside them.
fn stray(row: &Row<'_>, faults: &mut Vec<Finding>) {
    match row.cycle {
        CycleFound::There(_) => faults.push(BesideFault::CycleRowStray { index: place(row.index) }.into()),
        CycleFound::NotLookedAt | CycleFound::Absent => {}
    }
    match row.trace {
        TraceRow::Sha256(_) | TraceRow::Unreadable => {
            faults.push(BesideFault::TraceStray { index: place(row.index) }.into());
        }
        TraceRow::NotLookedAt | TraceRow::Absent => {}
    }
}

fn place(index: u64) -> i64 {
    i64::try_from(index).unwrap_or(i64::MAX)
}

fn named(record: u64, glance: &Glance<'_>) -> Named {
    Named {
        record,
        kind: Some(glance.kind()),
        machine: glance.machine.as_deref().map(str::to_owned),
        recorded: Some(glance.recorded),
    }
}
