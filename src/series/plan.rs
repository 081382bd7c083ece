//! Whose turn it is: what is new, or what is behind.
//!
//! **Rule.** What is new goes first: once a second (at once where a whole request
//! waits), in one request, alerts that
//! are still behind (the newest first), then new records, then new readings. The
//! rest of the time belongs to what is behind: records (the newest first), spans
//! that somebody asked for, readings (the newest stretch first). A server so slow
//! that one request takes more than the second serves both in turn, so that
//! neither waits for more than one request of the other.

use std::time::Duration;

use super::reading::Thinning;
use super::track::{Heads, LIVE_INPUTS_MANY, Place, Run, Span, Track};
use crate::core::time::Timestamp;

/// How often new readings are sent.
pub const FRESH_EVERY: Duration = Duration::from_secs(1);

/// What is to be sent next.
#[derive(Clone, PartialEq, Debug)]
pub enum Turn {
    /// What is new.
    Fresh {
        /// Records behind whose alerts come first; the newest first.
        alerts: Option<Run>,
        /// New records.
        records: Run,
        /// New readings from this place on.
        readings: Place,
        /// How far the ledger was when this was planned.
        heads: Heads,
    },
    /// What is behind.
    Behind(Behind),
}

/// A part of what is behind.
#[derive(Clone, PartialEq, Debug)]
pub enum Behind {
    /// Records of this run, the newest first.
    Records(Run),
    /// The next of a span that was asked for.
    Span(Box<Span>),
    /// Readings from this place on.
    Readings(Place),
}

/// How far what was taken reaches.
#[derive(Clone, PartialEq, Debug)]
pub enum Reached {
    /// Of [`Turn::Fresh`].
    Fresh {
        /// The alerts of the run are through down to this index.
        alerts_down_to: u64,
        /// Records before this one are through.
        records: u64,
        /// Readings up to here are through.
        readings: Place,
        /// Time of the newest of these readings.
        last: Option<Timestamp>,
        /// Which intervals have had theirs.
        thinning: Thinning,
    },
    /// Of [`Behind::Records`]: down to this index.
    Records(u64),
    /// Of [`Behind::Span`].
    Span(Box<Span>),
    /// Of [`Behind::Readings`].
    Readings {
        /// Readings up to here are through.
        next: Place,
        /// Time of the newest of them.
        last: Option<Timestamp>,
        /// Which intervals have had theirs.
        thinning: Thinning,
    },
}

/// Chooses, and keeps the choice fair. Times are those of a clock that never steps.
#[derive(Clone, Debug, Default)]
pub struct Turns {
    /// When what is new was last chosen.
    fresh_at: Option<Duration>,
    /// Whether it was the last to be chosen.
    fresh_was_last: bool,
}

impl Turns {
    /// What to send at `elapsed`, and otherwise when to ask again; `None` for both where only a
    /// change in the ledger brings something new.
    pub fn next(&mut self, track: &Track, heads: Heads, elapsed: Duration) -> Result<Turn, Option<Duration>> {
        let behind = behind(track);
        let is_new = has_new(track, heads);
        // A full request waits for nothing.
        let is_full = heads.inputs.saturating_sub(track.live.input) >= LIVE_INPUTS_MANY;
        let due = self.fresh_at.filter(|_| !is_full).map_or(elapsed, |at| at + FRESH_EVERY);
        if is_new && elapsed >= due && !(self.fresh_was_last && behind.is_some()) {
            self.fresh_at = Some(elapsed);
            self.fresh_was_last = true;
            return Ok(fresh(track, heads));
        }
        self.fresh_was_last = false;
        behind.map(Turn::Behind).ok_or_else(|| is_new.then(|| due.saturating_sub(elapsed)))
    }
}

/// Applies what was taken. `looked` is when the ledger was asked how far it is: what came after
/// that may still wait, however long the server took.
pub fn taken(track: &mut Track, turn: &Turn, reached: &Reached, looked: Timestamp) {
    match (turn, reached) {
        (
            Turn::Fresh { alerts, heads, .. },
            Reached::Fresh { alerts_down_to, records, readings, last, thinning },
        ) => {
            track.thinning[0].clone_from(thinning);
            if let Some(run) = alerts {
                track.alerts_taken(run.to, *alerts_down_to);
            }
            track.live_records_taken(*records);
            track.live_taken(*readings, *heads, *last, looked);
        }
        (Turn::Behind(Behind::Records(run)), Reached::Records(down_to)) => {
            track.records_taken(run.to, *down_to);
        }
        (Turn::Behind(Behind::Span(_)), Reached::Span(span)) => track.span_taken(span),
        (Turn::Behind(Behind::Readings(from)), Reached::Readings { next, last, thinning }) => {
            track.thinning[1].clone_from(thinning);
            track.stretch_taken(*from, *next, *last);
        }
        (Turn::Fresh { .. } | Turn::Behind(_), _) => {
            debug_assert!(false, "a turn is answered by what it reached: {turn:?}, {reached:?}");
        }
    }
}

/// What of that which is behind comes first.
#[must_use]
pub fn behind(track: &Track) -> Option<Behind> {
    let records = track.records.last().copied().map(Behind::Records);
    let span = || track.spans.first().cloned().map(|span| Behind::Span(Box::new(span)));
    let readings = || track.readings.last().map(|stretch| Behind::Readings(stretch.at));
    records.or_else(span).or_else(readings)
}

fn has_new(track: &Track, heads: Heads) -> bool {
    !track.alerts.is_empty() || heads.records > track.live_records || heads.inputs > track.live.input
}

/// What is new, be it nothing.
#[must_use]
pub fn fresh(track: &Track, heads: Heads) -> Turn {
    Turn::Fresh {
        alerts: track.alerts.last().copied(),
        records: Run { from: track.live_records, to: heads.records },
        readings: track.live,
        heads,
    }
}

#[cfg(test)]
mod tests;
