//! Sets outliers aside.
//!
//! A decision-based median filter over seven readings: the middle one is
//! replaced only where it departs from the median of the seven by more than
//! 1.5 °C. On a monotonic stretch the middle reading *is* the median, so
//! a step of the water passes untouched; only something that goes and comes
//! back within three readings is set aside. Interference on a long lead does
//! that, water cannot.

use serde::{Deserialize, Serialize};

use crate::core::effect::TraceReading;

/// Least departure from the median of seven that counts as a spike, °C (own
/// choice: ten times the noise of a good converter, below a booster's swing).
const SPIKE_C: f64 = 1.5;

/// Readings looked at together.
pub(super) const WIDTH: usize = 7;
/// Place of the reading that is decided on.
const MIDDLE: usize = WIDTH / 2;

/// A reading that left the filter.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Filtered {
    /// The reading, replaced by the median where it was a spike.
    pub reading: TraceReading,
    /// Whether it was a spike.
    pub spike: bool,
}

/// Seven readings, the newest last; a reading leaves when three more have come.
#[derive(Clone, Copy, PartialEq, Debug, Default, Serialize, Deserialize)]
pub struct SpikeFilter {
    pub(super) window: [Option<TraceReading>; WIDTH],
}

impl SpikeFilter {
    /// Takes a reading; gives the one that three later readings have confirmed.
    pub fn push(&mut self, reading: TraceReading) -> Option<Filtered> {
        self.window.copy_within(1.., 0);
        self.window[WIDTH - 1] = Some(reading);
        let filtered = self.middle()?;
        // What was decided stays decided, so that two spikes close together do not outvote the rest.
        self.window[MIDDLE] = Some(filtered.reading);
        Some(filtered)
    }

    /// Gives what is still held, oldest first, once no more readings follow.
    pub fn drain(&mut self) -> Vec<Filtered> {
        let held = std::mem::take(self).window;
        held.into_iter()
            .skip(MIDDLE + 1)
            .flatten()
            .map(|reading| Filtered { reading, spike: false })
            .collect()
    }

    fn middle(&self) -> Option<Filtered> {
        let middle = self.window[MIDDLE]?;
        let near = |other: &TraceReading| (middle.celsius.0 - other.celsius.0).abs() <= SPIKE_C;
        if self.window.iter().flatten().all(near) {
            // The median is one of them, so the middle one is no spike.
            return Some(Filtered { reading: middle, spike: false });
        }
        let mut values = [middle.celsius.0; WIDTH];
        for (value, slot) in values.iter_mut().zip(&self.window) {
            *value = slot.map_or(middle.celsius.0, |reading| reading.celsius.0);
        }
        values.sort_unstable_by(f64::total_cmp);
        let median = values[MIDDLE];
        let spike = (middle.celsius.0 - median).abs() > SPIKE_C;
        let celsius = if spike { crate::core::units::Celsius(median) } else { middle.celsius };
        Some(Filtered { reading: TraceReading { at: middle.at, celsius }, spike })
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

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
            (vec![83.0, 83.0, 83.0, 83.0, 20.0, 25.0, 83.0, 83.0, 83.0, 83.0], 2),
            (vec![79.9, 79.9, 79.9, 5.4, 5.3, 79.9, 69.2, 79.9, 79.9, 79.9], 3),
            (vec![83.0, 83.1, 83.0, 83.2, 82.9, 83.0, 83.1], 0),
            (vec![83.0, 83.0, 83.0, 83.0, 81.5, 83.0, 83.0, 83.0, 83.0], 0),
            (vec![83.0, 83.0, 83.0, 83.0, 81.4, 83.0, 83.0, 83.0, 83.0], 1),
            (vec![83.0, 83.0, 83.0, 83.0, 75.0, 75.0, 75.0, 75.0, 83.0, 83.0, 83.0, 83.0], 0),
        ] {
            let out = run(&given);
            assert_eq!(out.len(), given.len(), "nothing is lost: {given:?}");
            assert_eq!(out.iter().filter(|(_, spike)| *spike).count(), spikes, "{given:?}");
            let lowest = out.iter().map(|(value, _)| *value).fold(f64::INFINITY, f64::min);
            assert!(lowest >= 69.9, "no spike is left: {out:?}");
        }
    }

    proptest! {
        // On a monotonic stretch the middle of seven is their median, by definition.
        #[test]
        fn water_that_only_warms_or_only_cools_passes_untouched(
            mut values in proptest::collection::vec(10.0..95.0_f64, 7..60), falls in any::<bool>(),
        ) {
            values.sort_by(f64::total_cmp);
            if falls {
                values.reverse();
            }
            let out = run(&values);
            prop_assert_eq!(out, values.iter().map(|value| (*value, false)).collect::<Vec<_>>());
        }
    }
}
