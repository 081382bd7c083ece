//! A record at which the desk fails again and again.
//!
//! The desk is started again at its bookmark, so at the very record that it failed at; a record
//! that it can never take would keep every later alert from people. After three tries it is passed
//! over, with an error in the log and, where it is about a machine, a record that says so, which
//! the desk hears of like any other.

use std::sync::{Mutex, MutexGuard, PoisonError};

use crate::core::record::{Body, MachineFailure, Record};
use crate::core::time::Timestamp;

/// Tries after which a record is passed over.
const TRIES_MAX: u32 = 3;

/// What outlives a desk that fails.
#[derive(Debug, Default)]
pub(super) struct Stumble(Mutex<At>);

#[derive(Clone, Copy, Debug, Default)]
struct At {
    /// The record that the desk is taking; one that is found here later was never taken.
    under_way: Option<u64>,
    /// The record that it failed at last, and how often.
    failed: Option<(u64, u32)>,
}

impl Stumble {
    /// The desk is about to take this record; `false` where it has failed at it too often.
    pub(super) fn may_take(&self, record: u64) -> bool {
        let mut at = self.at();
        if let Some(failed) = at.under_way.replace(record) {
            let before = at.failed.filter(|(record, _)| *record == failed).map_or(0, |(_, tries)| tries);
            at.failed = Some((failed, before + 1));
        }
        at.failed.is_none_or(|(failed, tries)| failed != record || tries < TRIES_MAX)
    }

    /// It has taken it.
    pub(super) fn taken(&self) {
        self.at().under_way = None;
    }

    fn at(&self) -> MutexGuard<'_, At> {
        // It holds some numbers: no panic leaves them halfway.
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Tells the log of a record that is passed over; what is to be put on record of it.
pub(super) fn passed_over(now: Timestamp, index: u64, record: &Record) -> Option<Record> {
    let (kind, machine) = (record.body.kind(), record.machine.as_deref());
    tracing::error!(
        slug = "bug",
        record = index,
        kind,
        machine,
        "a mistake in rinseward keeps the alerts from this record; it is passed over, please report it"
    );
    // A failure at the record of a failure would never end.
    if matches!(record.body, Body::MachineFailure(_)) {
        return None;
    }
    let cause = format!("record {index} ({kind}) cannot be told of; look at it in the history");
    let failure = MachineFailure { cause, stopped: false };
    Some(Record::new(now, Some(machine?.to_owned()), Body::MachineFailure(failure)))
}
