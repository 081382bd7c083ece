//! Checkpoints at their times: soon after the start, at each full hour, at the end.
//!
//! An hour is one of the site's clock, so that the one at midnight is the day's last word on
//! the day. The digest asks for one before it leaves, an export when it is made, and the end
//! of the gateway asks for the last, once all that follow the ledger have ended. Where nothing
//! was added since the newest, there is no new one.

use std::time::Duration;

use jiff::tz::TimeZone;
use tokio_util::sync::CancellationToken;

use super::seal::Seal;
use crate::core::causes::chain;
use crate::core::time::Timestamp;
use crate::runtime::clock::Clock;
use crate::runtime::supervisor::Supervisor;

/// Real time from the start to the first checkpoint: the record of the start is then committed.
const FIRST_AFTER: Duration = Duration::from_secs(2);
/// Longest sleep: a clock that was set is noticed within it, and what failed is tried again.
const SLEEP_MAX: Duration = Duration::from_secs(60);
/// One hour, µs.
const HOUR: i64 = 3_600_000_000;

/// Starts the follower.
pub(super) fn start(
    followers: &mut Supervisor,
    seal: &Seal,
    zone: &TimeZone,
    clock: &Clock,
    last_commit: &CancellationToken,
) {
    let hours = Hours { seal: seal.clone(), zone: zone.clone(), clock: clock.clone() };
    followers.run("checkpoints", hours.run(last_commit.clone()));
}

/// Signs at each full hour.
struct Hours {
    seal: Seal,
    zone: TimeZone,
    clock: Clock,
}

impl Hours {
    /// Works until the driver's last commit.
    async fn run(self, last_commit: CancellationToken) {
        let mut plan = Plan::default();
        let mut sleep = FIRST_AFTER;
        while last_commit.run_until_cancelled(tokio::time::sleep(sleep)).await.is_some() {
            let now = self.clock.now();
            let hour = hour_of(&self.zone, now);
            if plan.is_due(hour) {
                match self.seal.checkpoint(now).await {
                    Ok(_) => plan.done = Some(hour),
                    Err(error) if plan.is_news(hour) => {
                        let (cause, path) = (chain(&error), self.seal.path().await);
                        let told = error.diagnose(&path);
                        tracing::error!(slug = told.slug(), cause, "no checkpoint is signed\n{told}");
                    }
                    Err(_) => {}
                }
            }
            sleep = self.clock.wait_until(hour.plus(Duration::from_secs(3_600))).min(SLEEP_MAX);
        }
    }
}

/// Which hours are done with.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
struct Plan {
    /// The hour in which the newest checkpoint was signed or was not needed.
    done: Option<Timestamp>,
    /// The hour in which a failure was told.
    told: Option<Timestamp>,
}

impl Plan {
    /// Whether this hour has no checkpoint so far. A clock that was set back has another hour, too.
    fn is_due(&self, hour: Timestamp) -> bool {
        self.done != Some(hour)
    }

    /// Whether a failure in this hour is the first.
    fn is_news(&mut self, hour: Timestamp) -> bool {
        self.told.replace(hour) != Some(hour)
    }
}

/// The full hour of the clock at the wall at or before `now`. Midnight is one, and where a change
/// of the clock leaves midnight out, the first instant of the day is.
fn hour_of(zone: &TimeZone, now: Timestamp) -> Timestamp {
    let offset = jiff::Timestamp::from_microsecond(now.micros())
        .map_or(0, |now| i64::from(zone.to_offset(now).seconds()) * 1_000_000);
    let local = now.micros().saturating_add(offset);
    Timestamp::from_micros(now.micros().saturating_sub(local.rem_euclid(HOUR)))
}

#[cfg(test)]
mod tests;
