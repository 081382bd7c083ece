//! The rectangle of the curves: from the values of the axes to px.

use super::Axis;
use super::scene::Spot;

/// Where the curves are drawn, px.
#[derive(Debug)]
pub(super) struct Area {
    pub(super) left: f64,
    pub(super) right: f64,
    /// Top of the shaded windows.
    pub(super) top: f64,
    /// Top of the curves, below the names of the windows.
    pub(super) curves: f64,
    pub(super) bottom: f64,
}

impl Area {
    /// Horizontal place of a value, kept inside.
    pub(super) fn x(&self, axis: &Axis, value: f64) -> f64 {
        self.left + share(axis, value) * (self.right - self.left)
    }

    /// Vertical place of a value, kept inside.
    pub(super) fn y(&self, axis: &Axis, value: f64) -> f64 {
        self.bottom - share(axis, value) * (self.bottom - self.curves)
    }
}

/// How far along the axis a value lies, 0 to 1.
fn share(axis: &Axis, value: f64) -> f64 {
    let share = (value - axis.from) / (axis.to - axis.from);
    if share.is_finite() { share.clamp(0.0, 1.0) } else { 0.0 }
}

/// A count or a place of px as a whole number, cut; below zero, or no number at all, it is zero.
#[expect(clippy::cast_possible_truncation, reason = "cut on purpose; `as` saturates, and px are few")]
pub(super) const fn cut(value: f64) -> usize {
    value as usize
}

/// Keeps the lowest and the highest point of each px column, in their order, so that no extreme is lost.
pub(super) fn decimated(spots: Vec<Spot>) -> Vec<Spot> {
    let column = |spot: &Spot| spot.0.floor();
    let columns = spots.chunk_by(|one, next| column(one).total_cmp(&column(next)).is_eq());
    let mut kept = Vec::new();
    for spots in columns {
        let by_height = |one: &(usize, &Spot), other: &(usize, &Spot)| one.1.1.total_cmp(&other.1.1);
        let lowest = spots.iter().enumerate().min_by(by_height);
        let highest = spots.iter().enumerate().max_by(by_height);
        let (Some((low, _)), Some((high, _))) = (lowest, highest) else { continue };
        kept.push(spots[low.min(high)]);
        if low != high {
            kept.push(spots[low.max(high)]);
        }
    }
    kept
}

#[cfg(test)]
mod tests {
    use super::*;

    // Own rule: two points for each column, and the extremes among them.
    #[test]
    fn thinning_keeps_the_extremes() {
        let spots = (0..10_000).map(|number| {
            let x = f64::from(number) / 100.0;
            (x, if number == 5_432 { -7.0 } else { (x * 3.0).sin() })
        });
        let kept = decimated(spots.collect());
        assert!(kept.len() <= 200, "{}", kept.len());
        assert!(kept.iter().any(|spot| spot.1 < -6.9));
        assert!(kept.is_sorted_by(|one, next| one.0 < next.0));
    }
}
