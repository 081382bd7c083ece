//! The logbook: what is due, what people enter at the machine, and what it came to.
//!
//! A check is entered in seconds and judged at once. A failed check is a true entry. What is on record
//! is never changed: whoever has the right says beside it what is to be known.

mod amend;
mod check;
mod correcting;
mod entry;
mod forms;
mod supplies;
mod thermometer;
mod today;
pub(in crate::web) mod words;

use std::future::Future;

pub(super) use self::amend::{amend, amend_own, comment};
pub(super) use self::check::{ask, enter};
pub(super) use self::entry::show as show_entry;
pub(super) use self::today::{parts, show};

use super::frame::Refusal;
use crate::core::alert::DueCheck;
use crate::core::alert::did::Deeds;
use crate::core::alert::supplies::Shortage;
use crate::core::cycle::plate::Sanitizing;
use crate::core::logbook::Judgement;
use crate::core::merkle::Hash;
use crate::core::reader::Reader;
use crate::core::record::{Amendment, Check, Note, Supply};
use crate::core::time::Timestamp;

/// A machine, as far as the forms need it.
#[derive(Clone, PartialEq, Debug)]
pub struct Known {
    /// Its name.
    pub name: String,
    /// How it sanitizes.
    pub sanitizing: Sanitizing,
    /// The colours of its strip, mg/L, between which it counts as the stronger one, see
    /// [`crate::core::sanitizer::too_strong_between`].
    pub too_strong_between: Option<(f64, f64)>,
    /// Its temperature probes, `<machine>/<probe>`.
    pub probes: Vec<String>,
}

/// What somebody entered.
#[derive(Clone, PartialEq, Debug)]
pub enum Written {
    /// A check.
    Check(Check),
    /// A note.
    Note(Note),
}

/// An entry on record.
#[derive(Clone, PartialEq, Debug)]
pub struct Entered {
    /// Index of its record.
    pub record: u64,
    /// Of which machine; `None` is the whole site.
    pub machine: Option<String>,
    /// When it came on record.
    pub recorded: Timestamp,
    /// What was entered.
    pub written: Written,
    /// What a check comes to, with its corrections.
    pub judgement: Option<Judgement>,
    /// What was said of it later, oldest first.
    pub amendments: Vec<(u64, Timestamp, Amendment)>,
    /// Whether something that was said of it cannot be read.
    pub is_damaged: bool,
    /// What it or its corrections did to alerts; where it is looked at by itself also that it is a part of one that was open
    /// when it failed.
    pub did: Deeds,
    /// Those that are about it and open, and how each stands, where it is looked at by itself.
    pub waiting: Vec<(u64, Waits)>,
    /// Where it is a good test of the sanitizer: when the latest one was made, if that is later and failed.
    pub failed_since: Option<Timestamp>,
    /// Open alerts that had put racks of before it in doubt when it went on record, though it was good.
    pub came_after: Vec<u64>,
    /// Where it is a test of the sanitizer that failed, looked at by itself: the racks that are to be held for it.
    pub held: Option<Held>,
    /// Where a tank was drained in the very minute in which a rack was washed: that one, from when to when.
    pub ran: Option<Ran>,
    /// Where one may have been under way then and still is: since when.
    pub running: Option<Timestamp>,
}

impl Entered {
    /// The alerts that it or its corrections set off, by number, or that was open when it failed.
    #[must_use]
    pub fn alerts(&self) -> Vec<u64> {
        self.did.iter().filter(|(_, did)| did.sets_off()).map(|(alert, _)| alert.0).collect()
    }
}

/// How an open alert stands for an entry that it is about.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Waits {
    /// It lasts, or wants an action.
    Lasts,
    /// Nothing more is to be done: it recovered by what was said of the entry, and closes by itself.
    RecoveredByIt,
    /// The same, by something else.
    Recovered,
}

/// Racks that passed before a test of the sanitizer failed, since it was good last.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Held {
    /// Since when.
    pub since: GoodSince,
    /// How many racks of the machine passed since then, until the test went on record.
    pub passed: u64,
}

/// What is on record of the last good test before one that failed.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum GoodSince {
    /// When it was made.
    Test(Timestamp),
    /// There is none since the record began.
    Never(Timestamp),
}

/// A rack that was washed while something else is said to have been done to its machine.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Ran {
    /// Index of its record.
    pub record: u64,
    /// Start of its wash.
    pub from: Timestamp,
    /// End of its final rinse.
    pub to: Timestamp,
}

/// The logbook of the day.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Today {
    /// What is due.
    pub due: Vec<DueCheck>,
    /// What is short, until a look says that it is put right.
    pub short: Vec<Shortage>,
    /// Whether shifts or meal periods are configured, which ask for checks.
    pub is_planned: bool,
    /// The entries since midnight, the newest first, at most [`ENTRIES_MAX`].
    pub entries: Vec<Entered>,
    /// Entries that cannot be read.
    pub damaged: usize,
}

/// Most entries on the page (own choice: a busy day of a large kitchen; the history has all).
pub const ENTRIES_MAX: usize = 50;

/// What is to go on record.
#[derive(Clone, PartialEq, Debug)]
pub struct Going {
    /// Of which machine; `None` is the whole site.
    pub machine: Option<String>,
    /// What is entered.
    pub written: Written,
    /// Whether one from long ago is meant.
    pub late: bool,
    /// Names this press of the button and all that was typed: sent twice, it is one entry. `None` where the form
    /// did not say which press it is: then each is an entry of its own.
    pub once: Option<Hash>,
}

/// What is to be known of an entry.
#[derive(Clone, PartialEq, Debug)]
pub enum Amending {
    /// Only the reason is to be read beside it.
    Comment,
    /// It counts no more.
    Withdraw,
    /// It counts with these values in place of those it has.
    Correct(Corrected),
}

/// The values of a check that were entered wrong; what is absent stays.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Corrected {
    /// When it was made.
    pub at: Option<Timestamp>,
    /// By what the concentration was measured.
    pub method: Option<String>,
    /// Concentration, mg/L.
    pub mg_per_l: Option<f64>,
    /// pH.
    pub ph: Option<f64>,
    /// Temperature of the solution, °C.
    pub solution_c: Option<f64>,
    /// Whether the supplies were there or filled up.
    pub enough: Option<bool>,
    /// What of them was short.
    pub short: Option<Vec<Supply>>,
    /// The note.
    pub note: Option<String>,
    /// What the thermometer showed, °C.
    pub shown_c: Option<f64>,
    /// What the reference showed, °C.
    pub reference_c: Option<f64>,
}

/// Why nothing went on record.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum NotPut {
    /// It cannot be so; said in English, by the ledger's own rules.
    Refused(String),
    /// It cannot be put on record just now.
    NotNow,
}

/// What the pages ask of whoever keeps the logbook.
pub trait Logbook: Clone + Send + Sync + 'static {
    /// Every machine.
    fn machines(&self) -> Vec<Known>;

    /// What is due, and the entries of the day.
    fn today(&self, reader: &Reader) -> impl Future<Output = Result<Today, Refusal>> + Send;

    /// Whether somebody is told of what a look at the supplies found short, by an alert that is open.
    fn tells_of_look(&self, record: u64) -> impl Future<Output = Result<bool, Refusal>> + Send;

    /// The reference that the newest comparison of a thermometer on record names; `None` where there is none.
    fn last_reference(&self) -> impl Future<Output = Result<Option<String>, Refusal>> + Send;

    /// An entry on record.
    fn entry(&self, record: u64) -> impl Future<Output = Result<Entered, Refusal>> + Send;

    /// Puts an entry on record; answers with its index.
    fn put(&self, going: Going) -> impl Future<Output = Result<Option<u64>, NotPut>> + Send;

    /// Puts on record what is to be known of an entry.
    fn amend(
        &self,
        of: u64,
        reason: String,
        by: String,
        amending: Amending,
        once: Option<Hash>,
    ) -> impl Future<Output = Result<(), NotPut>> + Send;
}

#[cfg(test)]
mod tests;
