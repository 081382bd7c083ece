//! What is made of records in their order: read once, from then on only what is new, shared by all who ask.
//!
//! It is made of kinds of records that are rare, and grows with them: some hundred bytes for each.

use std::sync::{Arc, Mutex, PoisonError};

use super::error::LedgerError;
use super::reader::Reader;

/// Made of records in their order.
pub trait ReadOn: Clone + Default {
    /// Index of the first record that was not read.
    fn next(&self) -> u64;

    /// Reads the records from there up to `size`, excluded. Where the database fails on the way, what was read is not
    /// read again.
    ///
    /// # Errors
    /// [`LedgerError`] where the database fails; damage of single records is none.
    fn read_on(&mut self, ledger: &Reader, size: u64) -> Result<(), LedgerError>;

    /// What is on record by now, read from the begin.
    ///
    /// # Errors
    /// As [`ReadOn::read_on`].
    fn whole(ledger: &Reader) -> Result<Self, LedgerError> {
        let mut made = Self::default();
        ledger.in_one_state(|size| made.read_on(ledger, size))?;
        Ok(made)
    }
}

/// What was made so far. Copies are the same.
#[derive(Debug, Default)]
pub struct Known<Made>(Arc<Mutex<Arc<Made>>>);

impl<Made> Clone for Known<Made> {
    fn clone(&self) -> Self {
        Self(Arc::clone(&self.0))
    }
}

impl<Made: ReadOn> Known<Made> {
    /// What is on record by now. Whoever asks from an older state of the ledger is told what others read since too.
    ///
    /// # Errors
    /// As [`ReadOn::read_on`].
    pub fn fresh(&self, ledger: &Reader) -> Result<Arc<Made>, LedgerError> {
        ledger.in_one_state(|size| {
            let mut known = self.0.lock().unwrap_or_else(PoisonError::into_inner);
            if known.next() < size {
                Arc::make_mut(&mut known).read_on(ledger, size)?;
            }
            Ok(Arc::clone(&known))
        })
    }
}
