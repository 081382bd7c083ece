//! The order of commits after a refusal.
//!
//! Inputs get their numbers by the order of commits, so a commit must never
//! overtake one that was refused. When one cannot be stored, all that wait
//! behind it are refused as well, and while any is out, only the oldest is
//! taken. A commit is known again by its first input (without inputs, its first
//! record). It may have grown, also by the refused ones after it. A caller that
//! gives refused commits back in order can therefore keep several under way. A
//! commit without inputs and records has no place in the order; it need not come
//! back. Appends have none either and never pass here.

use std::collections::VecDeque;
use std::sync::{Mutex, MutexGuard, PoisonError};

use crate::core::record::Record;

use super::{Commit, Input};

/// Keeps commits in order after a refusal.
#[derive(Debug, Default)]
pub(super) struct Gate {
    /// The commits that were refused and have not come back, the oldest first.
    /// No longer than the list of those that the caller holds.
    pub(super) refused: VecDeque<Head>,
}

impl Gate {
    /// How many of the refused ones this commit brings back; `None` where another one comes first.
    pub(super) fn admits(&self, commit: &Commit, head: Option<&Head>) -> Option<usize> {
        match self.refused.front() {
            None => Some(0),
            Some(first) if Some(first) == head => {
                Some(self.refused.iter().take_while(|refused| refused.is_in(commit)).count())
            }
            Some(_) => None,
        }
    }

    /// Takes note of a commit that is refused as the youngest, where it has a place and is not known yet.
    pub(super) fn note(&mut self, head: Option<Head>) {
        if let Some(head) = head.filter(|head| !self.refused.contains(head)) {
            self.refused.push_back(head);
        }
    }
}

/// The gate, for one caller at a time.
pub(super) fn open_gate(gate: &Mutex<Gate>) -> MutexGuard<'_, Gate> {
    gate.lock().unwrap_or_else(PoisonError::into_inner)
}

/// By what a commit is known again.
#[derive(Clone, PartialEq, Debug)]
pub(super) enum Head {
    Input(Input),
    Record(Box<Record>),
}

impl Head {
    /// `None` for a commit without a place in the order.
    pub(super) fn of(commit: &Commit) -> Option<Self> {
        match (commit.inputs.first(), commit.records.first()) {
            (Some(input), _) => Some(Self::Input(*input)),
            (None, Some(new)) => Some(Self::Record(Box::new(new.record.clone()))),
            (None, None) => None,
        }
    }

    fn is_in(&self, commit: &Commit) -> bool {
        match self {
            Self::Input(input) => commit.inputs.contains(input),
            Self::Record(record) => commit.records.iter().any(|new| new.record == **record),
        }
    }
}
