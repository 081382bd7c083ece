//! Tells the log about refused input without letting garbage fill it.

use std::collections::BTreeMap;
use std::time::Duration;

use tracing::warn;

use crate::core::time::Timestamp;
use crate::wire::refusal::{Refusal, RefusedBecause};

/// Shortest time between two log lines of one cause (own choice).
const QUIET: Duration = Duration::from_secs(5);

/// When each cause was last told, and how many went untold after that. The
/// counters of the application see every refusal; this is for the log only.
#[derive(Debug, Default)]
pub struct RefusalLog {
    told: BTreeMap<RefusedBecause, (Timestamp, u64)>,
}

impl RefusalLog {
    /// Logs the refusals of `source` that are due at `now`.
    pub fn note(&mut self, source: &str, now: Timestamp, refusals: &[Refusal]) {
        for refusal in refusals {
            if let Some(untold) = self.due(refusal.why, now) {
                warn!(slug = "input-refused", source, cause = %refusal.why, input = refusal.what, untold, "input refused");
            }
        }
    }

    /// How many of this cause went untold before, where it is time for a line.
    fn due(&mut self, why: RefusedBecause, now: Timestamp) -> Option<u64> {
        let Some((last, untold)) = self.told.get_mut(&why) else {
            self.told.insert(why, (now, 0));
            return Some(0);
        };
        // A clock put back must not silence the log.
        if now.since(*last) < QUIET && *last <= now {
            *untold += 1;
            return None;
        }
        *last = now;
        Some(std::mem::take(untold))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // The quiet time is the gateway's own choice.
    #[test]
    fn tells_each_cause_once_in_a_while_with_the_count_in_between() {
        let mut log = RefusalLog::default();
        let at = |seconds: i64| Timestamp::from_micros(seconds * 1_000_000);
        for (cause, seconds, expected) in [
            (RefusedBecause::Unit, 100, Some(0)),
            (RefusedBecause::Unit, 101, None),
            (RefusedBecause::Time, 101, Some(0)),
            (RefusedBecause::Unit, 104, None),
            (RefusedBecause::Unit, 105, Some(2)),
            (RefusedBecause::Unit, 106, None),
            // The clock goes back.
            (RefusedBecause::Unit, 50, Some(1)),
        ] {
            assert_eq!(log.due(cause, at(seconds)), expected, "{cause} at {seconds} s");
        }
    }
}
