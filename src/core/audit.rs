//! Whether a ledger is whole: what an auditor checks, with nothing but the public key.
//!
//! [`examine`] looks at one record and what is kept beside it; [`Audit`] takes what it saw in
//! order and builds the tree of RFC 6962 anew over the bytes as they are, and over the hashes
//! as they are stored where these differ, so that a record that was changed can be told from
//! one that was exchanged for another together with its hash. Every checkpoint, those of the
//! ledger and those that the auditor kept elsewhere, is compared with the root of its size.
//!
//! What is proved: that the records before a checkpoint are those that its key sealed. Not
//! proved: what came after the newest one, and anything by a key that the one who signs could
//! not keep to themselves: then a checkpoint that left the house in time is what shows it.
//!
//! Findings are bounded by [`FINDINGS_MAX`] of each sort; the others are counted.

mod days;
mod finding;
mod glance;
mod judge;
mod order;
mod report;
mod row;
mod seals;
#[cfg(test)]
mod tests;
mod words;

use super::keys::{KeyChain, key_chain};
use super::merkle::{Frontier, Hash, SUBTREE_LEVEL};
use super::record::SigningKeyChange;
use super::time::Timestamp;

pub use days::DayRecount;
pub use finding::{BesideFault, DayFault, Finding, KeyFault, Named, RecordFault, Seal, SealFault};
pub use report::{Kept, KeptAnswer, Outcome, Remark, Report};
pub use row::{CycleFound, CycleRow, Row, Seen, TraceRow, Washed, examine};
pub use seals::{KeptSeal, NotASeal, Sealed, Signature, StoredSeal, signature};

use order::Order;
use seals::Fit;

/// Most findings of a sort that are told one by one.
pub const FINDINGS_MAX: usize = 50;

/// Findings, so many of them, and how many more there were.
#[derive(Clone, PartialEq, Debug, Default)]
pub(crate) struct Bounded {
    told: Vec<Finding>,
    more: u64,
}

impl Bounded {
    fn push(&mut self, finding: impl Into<Finding>) {
        if self.told.len() < FINDINGS_MAX {
            self.told.push(finding.into());
        } else {
            self.more += 1;
        }
    }
}

/// Where the ledger itself says that it stands.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Standing {
    /// Number of records it counts.
    pub size: u64,
    /// Its tree, as stored.
    pub frontier: Vec<u8>,
}

/// An audit under way.
#[derive(Debug)]
pub struct Audit {
    next: u64,
    /// The first record that is not to be had: no root is known past it.
    broken: Option<u64>,
    /// Over the bytes as they are.
    tree: Frontier,
    /// Over the hashes as they are stored, since they first differed.
    stored: Option<Frontier>,
    /// Roots of its whole subtrees of [`SUBTREE_LEVEL`].
    subtrees: Vec<Hash>,
    order: Order,
    first: Option<Timestamp>,
    last: Option<Timestamp>,
    traces: u64,
    traces_without_hash: u64,
    keys: Vec<(u64, SigningKeyChange)>,
    seals: Vec<Sealed>,
    /// Of the seals, in order of their size, those before this one have been compared.
    compared: usize,
    records: Bounded,
    beside: Bounded,
    of_seals: Bounded,
}

impl Audit {
    /// Begins, with the checkpoints of the ledger in the order of their numbers, the number that
    /// the newest one ever had, and those that were kept elsewhere.
    #[must_use]
    pub fn new(stored: Vec<StoredSeal>, newest_number: Option<i64>, kept: Vec<KeptSeal>) -> Self {
        let mut of_seals = Bounded::default();
        seals::look_for_holes(&stored, newest_number, &mut of_seals);
        let mut seals: Vec<Sealed> =
            stored.into_iter().filter_map(|stored| Sealed::stored(stored, &mut of_seals)).collect();
        seals.extend(kept.into_iter().map(Sealed::kept));
        seals.sort_by_key(Sealed::size);
        let mut audit = Self {
            next: 0,
            broken: None,
            tree: Frontier::default(),
            stored: None,
            subtrees: Vec::new(),
            order: Order::default(),
            first: None,
            last: None,
            traces: 0,
            traces_without_hash: 0,
            keys: Vec::new(),
            seals,
            compared: 0,
            records: Bounded::default(),
            beside: Bounded::default(),
            of_seals,
        };
        audit.compare();
        audit
    }

    /// Takes the next record there is, in order of the index.
    pub fn take(&mut self, seen: Seen) {
        if seen.index > self.next {
            self.records.push(RecordFault::RecordsMissing { from: self.next, to: seen.index - 1 });
            self.skip_to(seen.index);
        }
        let just_before = self.seals[..self.compared].iter_mut().rev();
        for sealed in just_before.take_while(|sealed| sealed.size() == seen.index) {
            sealed.next_recorded = seen.recorded;
        }
        if let Some(recorded) = seen.recorded {
            if let Some(after) = self.order.take(seen.lane, recorded, seen.step) {
                let named =
                    Named { record: seen.index, kind: seen.kind, machine: None, recorded: Some(recorded) };
                self.records.push(RecordFault::TimeRunsBack { named, after });
            }
            self.first = Some(self.first.map_or(recorded, |first| first.min(recorded)));
            self.last = self.last.max(Some(recorded));
        }
        for finding in seen.faults {
            match finding {
                Finding::Record(fault) => self.records.push(fault),
                Finding::Beside(_) | Finding::Seal(_) | Finding::Key(_) => self.beside.push(finding),
            }
        }
        self.traces += u64::from(seen.trace);
        self.traces_without_hash += u64::from(seen.trace_without_hash);
        self.keys.extend(seen.key.map(|key| (seen.index, *key)));
        if self.broken.is_none() {
            if let Some(other) = seen.stored {
                self.stored.get_or_insert_with(|| self.tree.clone()).push(other);
            } else if let Some(stored) = &mut self.stored {
                stored.push(seen.leaf);
            }
            let subtrees = &mut self.subtrees;
            self.tree.push_and_tell(seen.leaf, |level, root| {
                if level == SUBTREE_LEVEL {
                    subtrees.push(root);
                }
            });
        }
        self.next = seen.index + 1;
        self.compare();
    }

    /// Says that the records up to and without `end` cannot be read.
    pub fn unreadable(&mut self, end: u64) {
        if end > self.next {
            self.records.push(RecordFault::RecordsUnreadable { from: self.next, to: end - 1 });
            self.skip_to(end);
        }
    }

    /// Says that something else does not hold.
    pub fn found(&mut self, fault: impl Into<Finding>) {
        self.beside.push(fault);
    }

    /// The index after that of the last record there is.
    #[must_use]
    pub fn next(&self) -> u64 {
        self.next
    }

    /// The roots of its whole subtrees of [`SUBTREE_LEVEL`], in order; none where a record is missing or was changed.
    #[must_use]
    pub fn subtrees(&self) -> Option<&[Hash]> {
        (self.broken.is_none() && self.stored.is_none()).then_some(self.subtrees.as_slice())
    }

    /// The keys that its records name.
    #[must_use]
    pub fn chain(&self) -> KeyChain {
        key_chain(self.keys.iter().map(|(index, change)| (*index, change)))
    }

    /// The checkpoints, in order of their size: [`signature`] is asked for each.
    #[must_use]
    pub fn seals(&self) -> &[Sealed] {
        &self.seals
    }

    fn skip_to(&mut self, index: u64) {
        self.broken = self.broken.or(Some(self.next));
        self.next = index;
        self.compare();
    }

    /// Compares the checkpoints of as many records as there were so far.
    fn compare(&mut self) {
        while let Some(sealed) = self.seals.get_mut(self.compared)
            && sealed.size() <= self.next
        {
            let root = sealed.root();
            sealed.fit = if self.broken.is_some_and(|broken| sealed.size() > broken) {
                Fit::NotComparable
            } else if self.tree.root() == root {
                Fit::Fits
            } else if self.stored.as_ref().is_some_and(|stored| stored.root() == root) {
                Fit::OverHashes
            } else {
                Fit::Differs
            };
            self.compared += 1;
        }
    }
}
