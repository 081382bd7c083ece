//! Saves the bookmark, never saying more than the server has taken.

use std::time::Duration;

use tokio::time::Instant;

use super::super::stock::Stock;
use super::super::track::Track;
use super::{Pump, SAVE_EVERY, Server};
use crate::core::time::Timestamp;

impl<Stocked: Stock, To: Server> Pump<Stocked, To> {
    /// How long until the bookmark is to be saved; `None` where it says all there is.
    pub(super) fn save_within(&self) -> Option<Duration> {
        match &self.saved {
            _ if !self.aside.is_empty() && !self.keep_failed => Some(Duration::ZERO),
            Some((_, track)) if *track == self.track && self.aside.is_empty() => None,
            Some((at, _)) => Some(SAVE_EVERY.saturating_sub(at.elapsed())),
            None => Some(Duration::ZERO),
        }
    }

    pub(super) async fn save_if_due(&mut self) {
        if self.save_within().is_some_and(|within| within.is_zero()) {
            self.save().await;
        }
    }

    /// Saves the bookmark, with what is to be set aside. A ledger that does not take
    /// it now is asked again; until then no more is marked as sent on disk.
    pub(super) async fn save(&mut self) -> bool {
        let (aside, settled) = (self.aside.clone(), self.settled.clone());
        let kept = self.loader.stock().keep(self.track.to_bytes(), aside, settled, (self.now)()).await;
        let track = match kept {
            Ok(()) => {
                self.aside.clear();
                self.settled.clear();
                self.keep_failed = false;
                self.track.clone()
            }
            Err(failure) => {
                if !self.keep_failed {
                    let cause: &dyn std::error::Error = &failure;
                    tracing::warn!(cause, "the place of the series cannot be saved; it is tried again");
                }
                self.keep_failed = true;
                // Not what is on disk, so that it is saved again.
                self.saved.take().map_or_else(|| Track::new(Timestamp::MIN), |(_, track)| track)
            }
        };
        self.saved = Some((Instant::now(), track));
        !self.keep_failed
    }
}
