//! Keeps each day in numbers once it is over, so that years can be looked through at once.
//!
//! It works at the start and after each local midnight, a part at a time, and never holds
//! a commit back for long. What it has not come to, readers count themselves.

use std::sync::Arc;
use std::time::Duration;

use jiff::tz::TimeZone;
use tokio_util::sync::CancellationToken;

use super::ledger::LedgerHandle;
use crate::core::time::Timestamp;
use crate::core::wall_clock::{local_date, midnight};
use crate::ledger::{Append, LedgerError, Reader};
use crate::runtime::clock::Clock;
use crate::runtime::supervisor::Supervisor;

/// Longest sleep: a clock that was set is noticed within it.
const SLEEP_MAX: Duration = Duration::from_secs(600);
/// Rest between two parts, so that a ledger of years leaves the processor to the readings.
const REST: Duration = Duration::from_millis(20);

/// Why it ends.
#[derive(Debug, thiserror::Error)]
#[error("the days could not be counted")]
struct DaysError(#[from] LedgerError);

#[derive(Debug)]
struct Days {
    zone: TimeZone,
    ledger: LedgerHandle,
    clock: Clock,
}

/// Starts it.
pub(super) fn start(
    followers: &mut Supervisor,
    zone: &TimeZone,
    ledger: &LedgerHandle,
    clock: &Clock,
    last_commit: &CancellationToken,
) {
    let days = Arc::new(Days { zone: zone.clone(), ledger: ledger.clone(), clock: clock.clone() });
    let stop = last_commit.clone();
    followers.keep_running("days".to_owned(), move || {
        let (days, stop) = (Arc::clone(&days), stop.clone());
        async move { days.run(stop).await }
    });
}

impl Days {
    async fn run(&self, stop: CancellationToken) -> Result<(), DaysError> {
        loop {
            let more = self.keep_part().await?;
            let sleep = if more { REST } else { self.until_tomorrow() };
            if stop.run_until_cancelled(tokio::time::sleep(sleep)).await.is_none() {
                return Ok(());
            }
        }
    }

    /// Keeps the next part; `false` where there is none.
    async fn keep_part(&self) -> Result<bool, DaysError> {
        let (path, zone, now) = (self.ledger.path().to_owned(), self.zone.clone(), self.clock.now());
        let counting = tokio::task::spawn_blocking(move || Reader::open(&path)?.days_to_keep(&zone, now));
        let part = counting.await.map_err(|_| LedgerError::WriterEnded { source: None })??;
        let Some((days, bookmark)) = part else { return Ok(false) };
        let append = Append { days: Some(days), bookmarks: vec![bookmark], ..Append::default() };
        self.ledger.append(append).await.map_err(|refused| refused.error)?;
        Ok(true)
    }

    fn until_tomorrow(&self) -> Duration {
        let now = self.clock.now();
        let next = local_date(&self.zone, now).and_then(|today| today.tomorrow().ok());
        let midnight = next.and_then(|date| midnight(&self.zone, date));
        midnight.map_or(SLEEP_MAX, |midnight: Timestamp| self.clock.wait_until(midnight)).min(SLEEP_MAX)
    }
}
