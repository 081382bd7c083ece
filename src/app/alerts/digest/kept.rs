//! What was counted for a digest, kept for the next letter that tells the same.
//!
//! Several contacts get the same digest at the same moment, and each letter that went leaves a record of itself, which
//! changes no number. One digest is kept; its lock is held for nothing but to look and to put.

use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use super::count::{Asked, Washed};
use crate::alert::digest::{Digest, Span};
use crate::core::record::Body;
use crate::core::time::Timestamp;
use crate::ledger::{LedgerError, Reader};

/// Most records that may have come since (own choice: more letters than a digest has); after more it is counted anew.
const SINCE_MAX: u64 = 64;

/// A digest as it was counted.
#[derive(Debug)]
pub(super) struct Counted {
    pub(super) digest: Digest,
    /// The cycles of the machine whose picture is sent.
    pub(super) cycles: Vec<Washed>,
}

/// The digest that was counted last.
#[derive(Debug, Default)]
pub(in crate::app::alerts) struct Kept(Mutex<Option<Last>>);

#[derive(Clone, Debug)]
struct Last {
    span: Span,
    from: Timestamp,
    /// Records of the ledger before it was counted.
    size: u64,
    counted: Arc<Counted>,
}

impl Kept {
    /// What is asked for, where it was counted last and nothing came since but letters of digests.
    pub(super) fn find(&self, reader: &Reader, asked: Asked) -> Result<Option<Arc<Counted>>, LedgerError> {
        let last = self.last().clone();
        let Some(last) = last.filter(|last| (last.span, last.from) == (asked.span, asked.from)) else {
            return Ok(None);
        };
        let size = reader.size()?;
        if !(last.size..=last.size.saturating_add(SINCE_MAX)).contains(&size) {
            return Ok(None);
        }
        for index in last.size..size {
            if !reader.record(index)?.is_ok_and(|(_, record)| is_letter(&record.body)) {
                return Ok(None);
            }
        }
        Ok(Some(last.counted))
    }

    /// Keeps what was counted in a ledger that had `size` records before.
    pub(super) fn keep(&self, asked: Asked, size: u64, counted: &Arc<Counted>) {
        let (span, from, counted) = (asked.span, asked.from, Arc::clone(counted));
        *self.last() = Some(Last { span, from, size, counted });
    }

    fn last(&self) -> MutexGuard<'_, Option<Last>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Whether a record says of a letter that it came to its end, and of no alert.
const fn is_letter(body: &Body) -> bool {
    matches!(body, Body::Notification(letter) if letter.alert.is_none())
}
