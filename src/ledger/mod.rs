//! The ledger: one SQLite file, one writer, many readers.

use crate::core::effect::Trace;
use crate::core::id::MachineId;
use crate::core::record::Record;
use crate::core::site::Event;
use crate::core::time::Timestamp;

/// One input, in the order in which it was applied to the core.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Input {
    /// The `now` it was applied with.
    pub now: Timestamp,
    /// What was applied.
    pub event: Event,
}

/// A record on its way into the ledger.
#[derive(Clone, PartialEq, Debug)]
pub struct NewRecord {
    /// The record.
    pub record: Record,
    /// The trace of a cycle.
    pub trace: Option<Trace>,
}

/// The state of a machine after an input.
#[derive(Clone, PartialEq, Debug)]
pub struct MachineSnapshot {
    /// Whose state.
    pub machine: MachineId,
    /// Number of the last input it contains.
    pub after: u64,
    /// The state.
    pub state: Vec<u8>,
}

/// What is committed in one transaction.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Commit {
    /// Inputs in order; the first continues the numbering of the commit before.
    pub inputs: Vec<Input>,
    /// The records these inputs caused, in order.
    pub records: Vec<NewRecord>,
    /// Snapshots that replace older ones of the same machine.
    pub snapshots: Vec<MachineSnapshot>,
    /// Inputs up to and including this number are needed by no machine for recovery.
    pub settled: u64,
}
