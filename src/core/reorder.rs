//! Puts small disorder of event time right.
//!
//! A sample is held until the newest sample of its machine is one window
//! ahead of it, or until nothing has arrived for one window of the gateway's
//! clock; then it is released, in event-time order. What arrives behind the
//! last release is late: it is stored, never judged. "Newest" means among what
//! arrived in the last window or two, so that one sample from a far future does
//! not end the patience with the others: it waits for its time, or for silence.

use std::collections::VecDeque;
use std::time::Duration;

use serde::{Deserialize, Serialize};

use super::reading::Sample;
use super::time::Timestamp;

/// Most samples held for one machine. Beyond it the oldest is released early, so
/// that a source with a broken clock cannot grow the memory.
pub const HELD_MAX: usize = 65_536;

/// What became of a sample.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Placed {
    /// Held, in order.
    Held,
    /// The same channel and instant are held already.
    Repeat,
    /// Behind the last release.
    Late,
}

/// Holds samples of one machine until their order is certain.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Reorder {
    held: VecDeque<Sample>,
    /// Newest instant among the arrivals since `turned`, and among those of the window before.
    newest: [Option<Timestamp>; 2],
    turned: Option<Timestamp>,
    released: Option<Timestamp>,
    arrived: Option<Timestamp>,
}

impl Reorder {
    /// Holds nothing yet.
    #[must_use]
    pub const fn new() -> Self {
        Self { held: VecDeque::new(), newest: [None; 2], turned: None, released: None, arrived: None }
    }

    /// Takes a sample that arrived at `now`, to be held for `window` at most.
    pub fn place(&mut self, now: Timestamp, sample: Sample, window: Duration) -> Placed {
        if self.released.is_some_and(|released| sample.at <= released) {
            return Placed::Late;
        }
        let mut place = self.held.len();
        while place > 0 {
            let before = &self.held[place - 1];
            if before.at < sample.at {
                break;
            }
            if before.at == sample.at && before.channel == sample.channel {
                return Placed::Repeat;
            }
            if before.at == sample.at && before.channel < sample.channel {
                break;
            }
            place -= 1;
        }
        if place == self.held.len() {
            self.held.push_back(sample);
        } else {
            self.held.insert(place, sample);
        }
        let turn = self.turned.is_none_or(|turned| now < turned || now.since(turned) >= window);
        if turn {
            self.newest = [None, self.newest[0]];
            self.turned = Some(now);
        }
        self.newest[0] = self.newest[0].max(Some(sample.at));
        self.arrived = Some(now);
        Placed::Held
    }

    /// The next sample whose order is certain.
    ///
    /// Samples of one instant leave together or not at all, ordered by channel.
    pub fn release(&mut self, window: Duration) -> Option<Sample> {
        let (first, newest) = (self.held.front()?, self.newest[0].max(self.newest[1])?);
        if first.at > newest.minus(window) && self.held.len() <= HELD_MAX {
            return None;
        }
        self.pop()
    }

    /// The next sample, whether its order is certain or not.
    pub fn flush(&mut self) -> Option<Sample> {
        self.pop()
    }

    fn pop(&mut self) -> Option<Sample> {
        let sample = self.held.pop_front()?;
        let more_of_this_instant = self.held.front().is_some_and(|next| next.at == sample.at);
        if !more_of_this_instant {
            self.released = Some(sample.at);
        }
        Some(sample)
    }

    /// When everything held must be flushed if nothing arrives.
    #[must_use]
    pub fn deadline(&self, window: Duration) -> Option<Timestamp> {
        if self.held.is_empty() { None } else { self.arrived.map(|arrived| arrived.plus(window)) }
    }

    /// Instant of the last release: nothing at or before it can still be judged.
    #[must_use]
    pub const fn released(&self) -> Option<Timestamp> {
        self.released
    }

    /// Forgets the order so far: a clock stepped.
    pub fn restart(&mut self) {
        *self = Self::new();
    }
}

impl Default for Reorder {
    fn default() -> Self {
        Self::new()
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::core::id::ChannelId;
    use crate::core::reading::Value;

    // The rules are this module's own, stated at its head.

    const WINDOW: Duration = Duration::from_secs(5);

    fn sample(channel: u16, millis: i64) -> Sample {
        let at = Timestamp::from_micros(millis * 1000);
        Sample { channel: ChannelId(channel), at, value: Value::Number(0.0) }
    }

    proptest! {
        // Property: any disorder smaller than the window leaves in event-time order, each sample once.
        #[test]
        fn disorder_inside_the_window_is_put_right(shifts in proptest::collection::vec(0_i64..4_900, 1..200)) {
            let window = WINDOW;
            let mut arrivals: Vec<(i64, i64)> =
                shifts.iter().enumerate().map(|(i, shift)| (i as i64 * 250 + shift, i as i64 * 250)).collect();
            arrivals.sort_unstable();
            let mut reorder = Reorder::new();
            let mut out = Vec::new();
            for (arrival, at) in arrivals {
                let placed = reorder.place(Timestamp::from_micros(arrival * 1000), sample(0, at), window);
                prop_assert_eq!(placed, Placed::Held);
                while let Some(sample) = reorder.release(window) {
                    out.push(sample.at);
                }
            }
            while let Some(sample) = reorder.flush() {
                out.push(sample.at);
            }
            prop_assert_eq!(out.len(), shifts.len());
            prop_assert!(out.is_sorted());
        }
    }

    #[test]
    fn one_sample_from_the_future_does_not_end_the_patience_with_the_others() {
        let mut reorder = Reorder::new();
        let mut out = Vec::new();
        for i in 0..200_i64 {
            // Two neighbours come in the wrong order throughout; one sample claims the next century.
            let at = if i == 40 { 3_000_000_000_000 } else { (i ^ 1) * 250 };
            let placed = reorder.place(Timestamp::from_micros(i * 250_000), sample(0, at), WINDOW);
            if i > 90 {
                assert_eq!(placed, Placed::Held, "sample {i}");
            }
            while let Some(sample) = reorder.release(WINDOW) {
                out.push(sample.at);
            }
        }
        assert!(out.is_sorted());
        assert!(out.last().is_some_and(|last| last.seconds() < 60.0), "it still waits: {out:?}");
    }

    #[test]
    fn repeats_and_late_samples_are_told_apart() {
        let mut reorder = Reorder::new();
        let now = Timestamp::from_micros(0);
        for (given, expected) in [
            (sample(0, 0), Placed::Held),
            (sample(0, 0), Placed::Repeat),
            (sample(1, 0), Placed::Held),
            (sample(0, 6_000), Placed::Held),
        ] {
            assert_eq!(reorder.place(now, given, WINDOW), expected, "{given:?}");
        }
        while reorder.release(WINDOW).is_some() {}
        assert_eq!(reorder.place(now, sample(0, 0), WINDOW), Placed::Late);
        assert_eq!(reorder.place(now, sample(0, 3_000), WINDOW), Placed::Held);
    }
}
