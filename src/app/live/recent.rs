//! What each probe showed in the last ten minutes: the lowest and the highest of each second.
//!
//! Bounded: a channel has [`SECONDS`] places at most, whatever it delivers. What was measured before
//! what is here already is left out; the record has it.

use std::collections::{BTreeMap, VecDeque};

use crate::core::id::ChannelId;
use crate::core::time::Timestamp;

/// How long what was shown is kept, s.
pub(in crate::app) const SECONDS: i64 = 600;

/// The lowest and the highest of one second, °C.
#[derive(Clone, Copy, PartialEq, Debug)]
pub(in crate::app) struct Extremes {
    second: i64,
    /// The lowest.
    pub(in crate::app) low_c: f64,
    /// The highest.
    pub(in crate::app) high_c: f64,
}

impl Extremes {
    /// Those of a second since 1970, for tests.
    #[cfg(test)]
    pub(in crate::app) const fn of_second(second: i64, (low_c, high_c): (f64, f64)) -> Self {
        Self { second, low_c, high_c }
    }

    /// The beginning of its second.
    pub(in crate::app) fn at(&self) -> Timestamp {
        Timestamp::from_micros(self.second.saturating_mul(1_000_000))
    }
}

/// The last minutes of every channel.
#[derive(Debug, Default)]
pub(super) struct Recent(BTreeMap<ChannelId, VecDeque<Extremes>>);

impl Recent {
    /// Takes a usable value.
    pub(super) fn take(&mut self, channel: ChannelId, at: Timestamp, celsius: f64) {
        let second = at.micros().div_euclid(1_000_000);
        let kept = self.0.entry(channel).or_default();
        match kept.back_mut() {
            Some(last) if last.second == second => {
                (last.low_c, last.high_c) = (last.low_c.min(celsius), last.high_c.max(celsius));
            }
            Some(last) if last.second > second => {}
            Some(_) | None => kept.push_back(Extremes { second, low_c: celsius, high_c: celsius }),
        }
        while kept.front().is_some_and(|first| first.second <= second - SECONDS) {
            kept.pop_front();
        }
    }

    /// What is kept of a channel, in order of time.
    pub(super) fn of(&self, channel: ChannelId) -> Vec<Extremes> {
        self.0.get(&channel).map(|kept| kept.iter().copied().collect()).unwrap_or_default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Own rule: extremes of each second, ten minutes of them, nothing out of order.
    #[test]
    fn what_is_old_goes_and_no_extreme_is_lost() {
        let (mut recent, channel) = (Recent::default(), ChannelId(3));
        let at = |ms: i64| Timestamp::from_micros(1_795_694_400_000_000 + ms * 1_000);
        for (ms, celsius) in [(0, 60.0), (250, 59.5), (750, 61.0), (1_000, 70.0), (500, 10.0)] {
            recent.take(channel, at(ms), celsius);
        }
        let kept = recent.of(channel);
        let extremes: Vec<(f64, f64)> = kept.iter().map(|one| (one.low_c, one.high_c)).collect();
        assert_eq!(extremes, [(59.5, 61.0), (70.0, 70.0)]);
        recent.take(channel, at(600_000), 80.0);
        assert_eq!(recent.of(channel).len(), 2, "the first second is ten minutes old");
        assert!(recent.of(ChannelId(4)).is_empty());
    }
}
