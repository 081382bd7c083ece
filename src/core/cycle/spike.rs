//! Sets single and double outliers aside.
//!
//! A decision-based median filter over five readings: the middle one is
//! replaced only where it departs from the median of the five by more than
//! [`SPIKE_C`]. On a monotonic stretch the middle reading *is* the median, so
//! a step of the water passes untouched; only something that goes and comes
//! back within two readings is set aside. Interference on a long lead does
//! that, water cannot.

use serde::{Deserialize, Serialize};

use crate::core::effect::TraceReading;

/// Least departure from the median of five that counts as a spike, °C (own
/// choice: ten times the noise of a good converter, below a booster's swing).
const SPIKE_C: f64 = 1.5;

/// A reading that left the filter.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Filtered {
    /// The reading, replaced by the median where it was a spike.
    pub reading: TraceReading,
    /// Whether it was a spike.
    pub spike: bool,
}

/// Five readings, the newest last; a reading leaves when two more have come.
#[derive(Clone, Copy, PartialEq, Debug, Default, Serialize, Deserialize)]
pub struct SpikeFilter {
    pub(super) window: [Option<TraceReading>; 5],
}

impl SpikeFilter {
    /// Takes a reading; gives the one that two later readings have confirmed.
    pub fn push(&mut self, reading: TraceReading) -> Option<Filtered> {
        self.window.rotate_left(1);
        self.window[4] = Some(reading);
        self.middle()
    }

    /// Gives what is still held, oldest first, once no more readings follow.
    pub fn drain(&mut self) -> Vec<Filtered> {
        let rest = [self.window[3], self.window[4]];
        *self = Self::default();
        rest.into_iter().flatten().map(|reading| Filtered { reading, spike: false }).collect()
    }

    fn middle(&self) -> Option<Filtered> {
        let middle = self.window[2]?;
        let mut values = [middle.celsius.0; 5];
        for (value, slot) in values.iter_mut().zip(&self.window) {
            *value = slot.map_or(middle.celsius.0, |reading| reading.celsius.0);
        }
        values.sort_unstable_by(f64::total_cmp);
        let median = values[2];
        let spike = (middle.celsius.0 - median).abs() > SPIKE_C;
        let celsius = if spike { crate::core::units::Celsius(median) } else { middle.celsius };
        Some(Filtered { reading: TraceReading { at: middle.at, celsius }, spike })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::time::Timestamp;
    use crate::core::units::Celsius;

    fn run(values: &[f64]) -> Vec<(f64, bool)> {
        let mut filter = SpikeFilter::default();
        let mut out = Vec::new();
        for (i, value) in values.iter().enumerate() {
            let at = Timestamp::from_micros(i as i64 * 250_000);
            out.extend(filter.push(TraceReading { at, celsius: Celsius(*value) }));
        }
        out.extend(filter.drain());
        out.into_iter().map(|filtered| (filtered.reading.celsius.0, filtered.spike)).collect()
    }

    // From the definition of the median; no outside source is needed for it.
    #[test]
    fn a_step_passes_and_an_outlier_does_not() {
        for (given, spikes) in [
            (vec![70.0, 70.0, 70.0, 75.0, 79.0, 82.0, 83.0, 83.5, 83.7], 0),
            (vec![83.0, 83.0, 83.0, 20.0, 83.0, 83.0, 83.0, 83.0], 1),
            (vec![83.0, 83.0, 83.0, 20.0, 25.0, 83.0, 83.0, 83.0], 2),
            (vec![83.0, 83.1, 83.0, 83.2, 82.9, 83.0, 83.1], 0),
        ] {
            let out = run(&given);
            assert_eq!(out.len(), given.len(), "nothing is lost: {given:?}");
            assert_eq!(out.iter().filter(|(_, spike)| *spike).count(), spikes, "{given:?}");
            let lowest = out.iter().map(|(value, _)| *value).fold(f64::INFINITY, f64::min);
            assert!(lowest >= 70.0, "no spike is left: {out:?}");
        }
    }
}
