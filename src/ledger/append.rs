//! What others than the driver put on record: no inputs, so no place in their order.
//!
//! An append is one transaction like a commit, but neither waits for a refused
//! commit nor makes one wait. After an error nothing of it is on record and its
//! sender has it back.

use super::NewRecord;
use super::aside::{self, SetAside};
use super::bookmark::{self, Bookmark};
use super::checkpoints::{self, StoredCheckpoint};
use super::commit::{Committed, Store, insert_record};
use super::days::{self, DaysPart};
use super::error::LedgerError;
use super::failpoint::{Point, reach};
use super::outbox::{self, OutboxChange};
use super::retention::held_after;
use super::schema::write_state;

/// What is stored in one transaction.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Append {
    /// Records, in order.
    pub records: Vec<NewRecord>,
    /// Bookmarks that replace those of the same name.
    pub bookmarks: Vec<Bookmark>,
    /// What happens to letters, in order.
    pub outbox: Vec<OutboxChange>,
    /// What a receiver will not take.
    pub set_aside: Vec<SetAside>,
    /// Ids of what was set aside and has been taken after all.
    pub taken_back: Vec<i64>,
    /// Signed checkpoints of what was committed before.
    pub checkpoints: Vec<StoredCheckpoint>,
    /// Days in numbers, to be looked up.
    pub days: Option<DaysPart>,
}

/// An append that was not stored, given back for another try.
#[derive(Debug, thiserror::Error)]
#[error("the ledger refused an append")]
pub struct AppendRefused {
    /// The append, unchanged.
    pub append: Box<Append>,
    /// Why.
    #[source]
    pub error: LedgerError,
}

/// What is called when an append is on the device or refused.
pub type AppendDone = Box<dyn FnOnce(Result<Committed, AppendRefused>) + Send>;

impl Store {
    /// Stores an append. It is on the device when this returns; after an error nothing of it is.
    pub(super) fn append(&mut self, append: &Append) -> Result<Committed, LedgerError> {
        reach(Point::BeforeAppend);
        let failed = |source| LedgerError::from_database(&self.path, "appending", source);
        let mut state = self.state.clone();
        let transaction = self.connection.transaction().map_err(failed)?;
        let first_index = (!append.records.is_empty()).then(|| state.tree.size());
        for new in &append.records {
            insert_record(&transaction, &mut state, new).map_err(failed)?;
            // Its sender may be behind, working off what was committed before a restart.
            state.last_recorded = state.last_recorded.max(Some(new.record.recorded.micros()));
        }
        for change in &append.outbox {
            outbox::apply(&transaction, change, failed)?;
        }
        reach(Point::AfterLetters);
        for set_aside in &append.set_aside {
            aside::put(&transaction, set_aside).map_err(failed)?;
        }
        for id in &append.taken_back {
            aside::take_back(&transaction, *id).map_err(failed)?;
        }
        for checkpoint in &append.checkpoints {
            checkpoints::put(&transaction, checkpoint).map_err(failed)?;
        }
        if let Some(part) = &append.days {
            days::put(&transaction, part).map_err(failed)?;
        }
        for bookmark in &append.bookmarks {
            bookmark::put(&transaction, bookmark).map_err(failed)?;
        }
        if first_index.is_some() {
            write_state(&transaction, &state).map_err(failed)?;
        }
        reach(Point::BeforeAppendCommit);
        transaction.commit().map_err(failed)?;
        reach(Point::AfterAppendCommit);
        self.state = state;
        self.held = held_after(self.held, &append.records);
        Ok(self.committed(first_index))
    }
}
