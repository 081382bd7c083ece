//! One machine's day counted anew from its records, against what is kept of it.
//!
//! Years of days are counted at once, so that the settled minima themselves are not kept: how
//! many lie on either side of the median that is to be checked, and the nearest of them, are
//! enough to say whether it is theirs.

use std::cmp::Ordering;

use super::finding::DayFault;
use super::row::Washed;
use crate::core::cycle::verdict::Verdict;
use crate::core::daily::DayNumbers;

/// The cycles of one machine on one day, counted.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
pub struct DayRecount {
    /// In the order of [`Verdict::ALL`].
    counts: [u64; Verdict::ALL.len()],
    late: u64,
    lowest_c: Option<f64>,
    /// Settled minima below the median to be checked, the same as it, and above.
    below: u64,
    same: u64,
    above: u64,
    /// The highest below, and the lowest above.
    below_c: Option<f64>,
    above_c: Option<f64>,
}

impl DayRecount {
    /// Takes a cycle; `median_c` is the median to be checked, the same for all of one day.
    pub fn take(&mut self, washed: &Washed, median_c: Option<f64>) {
        let place = Verdict::ALL.iter().position(|known| *known == washed.verdict);
        if let Some(place) = place {
            self.counts[place] += 1;
        }
        self.late += u64::from(washed.late);
        let Some(minimum_c) = washed.rinse_min_c else { return };
        self.lowest_c = lower(self.lowest_c, Some(minimum_c));
        match minimum_c.partial_cmp(&median_c.unwrap_or(f64::NEG_INFINITY)) {
            Some(Ordering::Less) => {
                self.below += 1;
                self.below_c = higher(self.below_c, Some(minimum_c));
            }
            Some(Ordering::Equal) => self.same += 1,
            Some(Ordering::Greater) | None => {
                self.above += 1;
                self.above_c = lower(self.above_c, Some(minimum_c));
            }
        }
    }

    /// Adds others of the same day.
    pub fn add(&mut self, other: &Self) {
        for (count, other) in self.counts.iter_mut().zip(other.counts) {
            *count += other;
        }
        self.late += other.late;
        self.lowest_c = lower(self.lowest_c, other.lowest_c);
        self.below += other.below;
        self.same += other.same;
        self.above += other.above;
        self.below_c = higher(self.below_c, other.below_c);
        self.above_c = lower(self.above_c, other.above_c);
    }

    /// How many cycles there are.
    #[must_use]
    pub fn cycles(&self) -> u64 {
        self.counts.iter().sum()
    }

    /// The first of the kept numbers that is not that of the records.
    #[must_use]
    pub fn differs(&self, kept: &DayNumbers) -> Option<DayFault> {
        for ((verdict, said), found) in Verdict::ALL.into_iter().zip(kept.counts).zip(self.counts) {
            if said != found {
                return Some(DayFault::Count { what: verdict.as_str(), said, found });
            }
        }
        if kept.late != self.late {
            return Some(DayFault::Count { what: "late", said: kept.late, found: self.late });
        }
        if kept.damaged > 0 {
            return Some(DayFault::Count { what: "damaged", said: kept.damaged, found: 0 });
        }
        if kept.rinse_min_c.partial_cmp(&self.lowest_c) != Some(Ordering::Equal) {
            return Some(DayFault::Lowest);
        }
        (!self.is_median(kept.rinse_median_c)).then_some(DayFault::Median)
    }

    /// Whether what the minima were compared with is their median.
    fn is_median(&self, median_c: Option<f64>) -> bool {
        let count = self.below + self.same + self.above;
        let Some(median_c) = median_c else { return count == 0 };
        let middle = count / 2;
        let found_c = if count % 2 == 1 {
            self.minimum(middle, median_c)
        } else {
            let low_c = middle.checked_sub(1).and_then(|place| self.minimum(place, median_c));
            low_c.zip(self.minimum(middle, median_c)).map(|(low_c, high_c)| f64::midpoint(low_c, high_c))
        };
        found_c.partial_cmp(&Some(median_c)) == Some(Ordering::Equal)
    }

    /// The minimum at a place of all in order, where it is one of those next to `median_c`.
    fn minimum(&self, place: u64, median_c: f64) -> Option<f64> {
        if place < self.below {
            self.below_c.filter(|_| place + 1 == self.below)
        } else if place < self.below + self.same {
            Some(median_c)
        } else {
            self.above_c.filter(|_| place == self.below + self.same)
        }
    }
}

fn lower(one: Option<f64>, other: Option<f64>) -> Option<f64> {
    one.into_iter().chain(other).reduce(f64::min)
}

fn higher(one: Option<f64>, other: Option<f64>) -> Option<f64> {
    one.into_iter().chain(other).reduce(f64::max)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::core::daily::median;
    use crate::core::time::Timestamp;

    fn washed(rinse_min_c: f64) -> Washed {
        Washed {
            rinse_started: Timestamp::from_micros(0),
            verdict: Verdict::Pass,
            rinse_min_c: Some(rinse_min_c),
            late: false,
            machine_fits: true,
        }
    }

    proptest! {
        // The median that is kept is found to be it, any other is not, however the day was split.
        #[test]
        fn only_the_median_is_taken_for_it(
            minima in prop::collection::vec(prop::sample::select(vec![80.0, 80.1, 80.3, 82.2, 90.0]), 1..12),
            split in any::<prop::sample::Index>(),
            other in prop::sample::select(vec![79.0, 80.0, 80.05, 80.1, 80.2, 80.3, 82.2, 90.0, 91.0]),
        ) {
            let true_c = median(&mut minima.clone());
            for kept in [true_c, Some(other), None] {
                let split = split.index(minima.len());
                let mut parts = [DayRecount::default(), DayRecount::default()];
                for (place, minimum) in minima.iter().enumerate() {
                    parts[usize::from(place >= split)].take(&washed(*minimum), kept);
                }
                let [mut all, second] = parts;
                all.add(&second);
                prop_assert_eq!(all.is_median(kept), kept == true_c, "{:?} of {:?}", kept, minima);
            }
        }
    }
}
