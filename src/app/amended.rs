//! What people said of records later: which were withdrawn, and when a check is said since to have been made.
//!
//! An amendment may come years after what it speaks of: all of them are read. What is damaged after it was read is told
//! by `verify` and by the history of records. Each takes some hundred bytes for as long as the service runs: people
//! write them by hand, and so no more than some thousands in ten years.

use std::collections::BTreeSet;
use std::ops::ControlFlow;

use crate::core::record::{AmendmentChange, Body, CheckKind, Record};
use crate::core::time::Timestamp;
use crate::ledger::{LedgerError, ReadOn, Reader};

/// The amendments that change what counts, as far as the record was read.
#[derive(Clone, Debug, Default)]
pub(super) struct Amended {
    withdrawn: Vec<(u64, Option<u64>)>,
    /// The records that were withdrawn for certain.
    known: BTreeSet<u64>,
    corrected: Vec<Correction>,
    /// The first record that was not read.
    next: u64,
}

/// A check as somebody corrected it.
#[derive(Clone, Debug)]
pub(super) struct Correction {
    /// Record of the correction.
    index: u64,
    /// Record of the entry.
    pub(super) of: u64,
    pub(super) machine: Option<String>,
    pub(super) check: CheckKind,
    /// When it is said to have been made.
    pub(super) made: Timestamp,
}

impl ReadOn for Amended {
    fn next(&self) -> u64 {
        self.next
    }

    fn read_on(&mut self, ledger: &Reader, size: u64) -> Result<(), LedgerError> {
        ledger.records_found(&["amendment"], self.next, |index, found| {
            if index >= size {
                return ControlFlow::Break(());
            }
            match found {
                Ok((_, Record { machine, body: Body::Amendment(amendment), .. })) => {
                    let of = amendment.of;
                    match &amendment.change {
                        AmendmentChange::Withdrawn => {
                            self.withdrawn.push((index, Some(of)));
                            self.known.insert(of);
                        }
                        AmendmentChange::Corrected(check) => {
                            let (check, made) = (check.kind(), check.at());
                            self.corrected.push(Correction { index, of, machine, check, made });
                        }
                        AmendmentChange::Comment => {}
                    }
                }
                Ok(_) => {}
                Err(_) => self.withdrawn.push((index, None)),
            }
            self.next = index + 1;
            ControlFlow::Continue(())
        })?;
        self.next = size.max(self.next);
        Ok(())
    }
}

impl Amended {
    /// Whether this record was withdrawn for certain.
    pub(super) fn is_withdrawn(&self, record: u64) -> bool {
        self.known.contains(&record)
    }

    /// What was withdrawn, in order of the records that say so: of one that is damaged nobody can say what it
    /// withdrew.
    pub(super) fn withdrawn(&self) -> impl Iterator<Item = (u64, Option<u64>)> {
        self.withdrawn.iter().copied()
    }

    /// Amendments that are damaged among the first records, as many as `size`: somebody who looked meanwhile may have
    /// read on past what is on record for this answer.
    pub(super) fn damaged(&self, size: u64) -> impl Iterator<Item = u64> {
        let damaged = self.withdrawn.iter().filter(|(_, of)| of.is_none()).map(|(index, _)| *index);
        damaged.take_while(move |index| *index < size)
    }

    /// The corrections of checks among the first records, as many as `size`, whatever was said of their entries later.
    pub(super) fn corrected(&self, size: u64) -> impl Iterator<Item = &Correction> {
        self.corrected.iter().take_while(move |one| one.index < size)
    }
}
