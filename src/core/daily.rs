//! One machine on one day, in numbers: counts by verdict, lowest and median settled minimum.
//!
//! A summary for looking things up, made from the records and never proof: whoever doubts
//! it counts the records. A day is one of the site's time zone.

use jiff::civil::Date;

use super::cycle::verdict::Verdict;
use super::late::late_by;
use super::record::{Body, Record};

/// The numbers of some cycles of one machine.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct DayNumbers {
    /// Cycles of each verdict, in the order of [`Verdict::ALL`].
    pub counts: [u64; Verdict::ALL.len()],
    /// Lowest settled minimum, °C.
    pub rinse_min_c: Option<f64>,
    /// Median of the settled minima, °C; of an even number the mean of the middle two.
    pub rinse_median_c: Option<f64>,
    /// Cycles that were recorded late, see [`super::late`].
    pub late: u64,
    /// Cycles whose record is damaged: in none of the other numbers.
    pub damaged: u64,
}

/// One machine on one day.
#[derive(Clone, PartialEq, Debug)]
pub struct MachineDay {
    /// The day, in the zone that was asked for.
    pub day: Date,
    /// Name of the machine.
    pub machine: String,
    /// Its numbers.
    pub numbers: DayNumbers,
}

impl DayNumbers {
    /// Cycles that could be read.
    #[must_use]
    pub fn cycles(&self) -> u64 {
        self.counts.iter().sum()
    }

    /// Cycles of one verdict.
    #[must_use]
    pub fn of(&self, verdict: Verdict) -> u64 {
        place_of(verdict).map_or(0, |place| self.counts[place])
    }

    /// Share that passed, narrowly or plainly, 0 to 1; `None` without a cycle. What is
    /// unproven counts as not passed.
    #[must_use]
    pub fn pass_rate(&self) -> Option<f64> {
        let cycles = self.cycles();
        let passed = self.of(Verdict::Narrow) + self.of(Verdict::Pass);
        (cycles > 0).then(|| passed as f64 / cycles as f64)
    }
}

/// Counts cycles.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Counting {
    numbers: DayNumbers,
    minima_c: Vec<f64>,
}

impl Counting {
    /// Takes a record; only cycles count.
    pub fn note(&mut self, record: &Record) {
        let Body::Cycle(cycle) = &record.body else { return };
        if let Some(place) = place_of(cycle.verdict) {
            self.numbers.counts[place] += 1;
        }
        self.numbers.late += u64::from(late_by(record).is_some());
        self.minima_c.extend(cycle.rinse_min_c);
    }

    /// A cycle is there whose record cannot be read.
    pub const fn note_damaged(&mut self) {
        self.numbers.damaged += 1;
    }

    /// The numbers of all that was taken; `None` where nothing was.
    #[must_use]
    pub fn finish(mut self) -> Option<DayNumbers> {
        self.numbers.rinse_min_c = self.minima_c.iter().copied().reduce(f64::min);
        self.numbers.rinse_median_c = median(&mut self.minima_c);
        Some(self.numbers).filter(|numbers| numbers.cycles() + numbers.damaged > 0)
    }
}

/// Median of numbers in any order; of an even count the mean of the middle two.
#[must_use]
pub fn median(values: &mut [f64]) -> Option<f64> {
    let (middle, odd) = (values.len() / 2, values.len() % 2 == 1);
    if values.is_empty() {
        return None;
    }
    let (below, upper, _) = values.select_nth_unstable_by(middle, f64::total_cmp);
    let upper = *upper;
    if odd {
        return Some(upper);
    }
    let lower = below.iter().copied().reduce(f64::max)?;
    Some(f64::midpoint(lower, upper))
}

fn place_of(verdict: Verdict) -> Option<usize> {
    Verdict::ALL.iter().position(|known| *known == verdict)
}

#[cfg(test)]
mod tests {
    use super::*;

    // Worked by hand.
    #[test]
    fn the_median_is_in_the_middle() {
        for (values, expected) in [
            (vec![], None),
            (vec![3.0], Some(3.0)),
            (vec![4.0, 1.0], Some(2.5)),
            (vec![9.0, 1.0, 5.0], Some(5.0)),
            (vec![9.0, 1.0, 5.0, 6.0], Some(5.5)),
        ] {
            assert_eq!(median(&mut values.clone()), expected, "{values:?}");
        }
    }

    #[test]
    fn what_is_unproven_did_not_pass() {
        let mut counting = Counting::default();
        assert_eq!(counting.clone().finish(), None);
        counting.note_damaged();
        let numbers = counting.finish().expect("a damaged one is one");
        assert_eq!((numbers.cycles(), numbers.pass_rate()), (0, None));
        // In the order of Verdict::ALL: cold, brief, weak, unproven, narrow, pass.
        let numbers = DayNumbers { counts: [1, 0, 0, 2, 3, 4], ..DayNumbers::default() };
        assert_eq!(numbers.pass_rate(), Some(0.7));
    }
}
