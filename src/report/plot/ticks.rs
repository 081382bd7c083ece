//! Marks on an axis at round numbers.
//!
//! Steps of 1, 2 or 5 times a power of ten, as in P. Heckbert, «Nice Numbers
//! for Graph Labels», Graphics Gems (1990), p. 61.

use super::area::cut;
use super::{Axis, Tick};

/// An axis that holds `from` to `to`, widened to whole steps where `widen` says so,
/// with at most `most` steps.
pub(super) fn axis(label: String, from: f64, to: f64, most: usize, widen: bool) -> Axis {
    let (from, to) = proper(from, to);
    let step = step(to - from, most);
    let (from, to) =
        if widen { ((from / step).floor() * step, (to / step).ceil() * step) } else { (from, to) };
    let digits = cut((-step.log10()).ceil());
    let first = (from / step - 1e-9).ceil();
    let ticks = (0..=most + 1)
        .map(|count| (first + count as f64) * step)
        .take_while(|at| *at <= to + step * 1e-9)
        // Without the sum a zero may print as «-0».
        .map(|at| Tick { at, label: format!("{:.digits$}", at + 0.0) })
        .collect();
    Axis { label, from, to, ticks }
}

/// Ends that are finite and apart.
fn proper(from: f64, to: f64) -> (f64, f64) {
    let (from, to) =
        if from.is_finite() && to.is_finite() { (from.min(to), from.max(to)) } else { (0.0, 1.0) };
    if to - from < 1e-6 { (from - 0.5, to + 0.5) } else { (from, to) }
}

/// The smallest step of 1, 2 or 5 × 10ⁿ that needs at most `most` steps.
fn step(span: f64, most: usize) -> f64 {
    let rough = span / most.max(1) as f64;
    let power = 10_f64.powf(rough.log10().floor());
    [1.0, 2.0, 5.0]
        .into_iter()
        .map(|count| count * power)
        .find(|step| *step >= rough - 1e-12)
        .unwrap_or(10.0 * power)
}

#[cfg(test)]
mod tests {
    use super::*;

    // Steps of 1, 2, 5 by the rule of the source named above; the rows are worked by hand.
    #[test]
    fn ticks_are_round() {
        for (from, to, most, widen, expected) in [
            (61.3, 86.0, 6, true, "60 65 70 75 80 85 90"),
            (0.0, 70.0, 8, false, "0 10 20 30 40 50 60 70"),
            (0.0, 0.4, 4, false, "0.0 0.1 0.2 0.3 0.4"),
            (-3.0, 3.0, 6, false, "-3 -2 -1 0 1 2 3"),
            (82.0, 82.0, 2, true, "81.5 82.0 82.5"),
            (f64::NAN, 3.0, 2, true, "0.0 0.5 1.0"),
        ] {
            let axis = axis(String::new(), from, to, most, widen);
            let labels: Vec<String> = axis.ticks.into_iter().map(|tick| tick.label).collect();
            assert_eq!(labels.join(" "), expected, "{from} to {to}");
        }
    }
}
