//! What the series needs of the ledger. Edges do not know each other: `app` puts the two together.

use std::error::Error;
use std::future::Future;
use std::sync::Arc;

use super::reading::{Reading, Stretch};
use super::sieve::Aside;
use super::track::{Heads, Place, Run, Span};
use crate::core::on_file::OnFile;
use crate::core::record::Record;
use crate::core::time::Timestamp;

/// Readings in the order in which they became durable.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Part {
    /// From here on the next part is read; the place of this one where nothing is left.
    pub next: Place,
    /// Readings by channel.
    pub readings: Vec<Stretch>,
    /// What lay on the way and cannot be read, in words.
    pub damaged: Vec<String>,
}

/// The ledger. Every call but [`Stock::keep`] blocks and is made off the threads of the runtime.
pub trait Stock: Send + Sync + 'static {
    /// Why the ledger cannot be read or written.
    type Failure: Error + Send + Sync + 'static;

    /// The bookmark of the series.
    ///
    /// # Errors
    /// Where it cannot be read.
    fn bookmark(&self) -> Result<Option<Vec<u8>>, Self::Failure>;

    /// How far the ledger is.
    ///
    /// # Errors
    /// Where it cannot be read.
    fn heads(&self) -> Result<Heads, Self::Failure>;

    /// The readings after a place, about `readings_max` of them.
    ///
    /// # Errors
    /// Where they cannot be read.
    fn readings(&self, from: Place, readings_max: usize) -> Result<Part, Self::Failure>;

    /// Some records of a run in order, at most `records_max`, beginning with `run.from`.
    ///
    /// # Errors
    /// Where they cannot be read.
    fn records(&self, run: Run, records_max: usize) -> Result<Vec<(u64, Record)>, Self::Failure>;

    /// The newest records about alerts in a run, the newest first, at most `records_max`.
    ///
    /// # Errors
    /// Where they cannot be read.
    fn alerts(&self, run: Run, records_max: usize) -> Result<Vec<(u64, Record)>, Self::Failure>;

    /// The calibrations on record.
    ///
    /// # Errors
    /// Where they cannot be read.
    fn on_file(&self) -> Result<Arc<OnFile>, Self::Failure>;

    /// Names of the channels, in an order that stays.
    fn channels(&self) -> &[String];

    /// The readings of a channel measured from one instant on and before another, in order of time.
    ///
    /// # Errors
    /// Where they cannot be read.
    fn window(&self, channel: &str, from: Timestamp, to: Timestamp) -> Result<Vec<Reading>, Self::Failure>;

    /// No reading was measured from `from` on and before this instant; `None` where none was from there on.
    ///
    /// # Errors
    /// Where that cannot be read.
    fn next_reading(&self, from: Timestamp) -> Result<Option<Timestamp>, Self::Failure>;

    /// Numbers of the rows that a span sent again has settled: set aside before it was asked
    /// for, with every point inside it.
    ///
    /// # Errors
    /// Where they cannot be read.
    fn settled(&self, span: &Span) -> Result<Vec<i64>, Self::Failure>;

    /// Stores the bookmark, what was set aside at `now`, and the end of rows that were settled, in
    /// one transaction.
    ///
    /// # Errors
    /// Where they cannot be stored; nothing of it is then.
    fn keep(
        &self,
        bookmark: Vec<u8>,
        aside: Vec<Aside>,
        settled: Vec<i64>,
        now: Timestamp,
    ) -> impl Future<Output = Result<(), Self::Failure>> + Send;
}
