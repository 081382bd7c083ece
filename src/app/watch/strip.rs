//! How a probe moves, in a word and in a strip of a minute.

use crate::core::time::Timestamp;

/// What a strip reaches back, s.
pub(super) const STRIP_S: f64 = 60.0;
/// What the trend is taken from, s (own choice: longer than the noise of a probe, shorter than a rinse).
const TREND_S: f64 = 10.0;
/// Fewest readings for a trend, and the shortest time they must span, s.
const TREND_MIN: (usize, f64) = (3, 2.0);
/// From here on a probe is rising or falling, and from there on fast, °C/s. Own choice: a hand
/// warms a probe at 0.1 to 1 °C/s, a tank heats at 0.02 °C/s, a probe at rest wanders less than 0.02.
const MOVES_C_PER_S: (f64, f64) = (0.02, 0.2);
/// A strip of less than this is drawn as if it were so high, °C: the noise of a still probe is no mountain.
const STRIP_LEAST_C: f64 = 2.0;
/// Steps of a strip, lowest first (Unicode, block elements).
const STEPS: [char; 8] = ['▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];

/// Which way a probe moves.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Trend {
    /// By less than noise.
    Steady,
    /// Up.
    Rising,
    /// Up, as by a flow of hot water.
    RisingFast,
    /// Down.
    Falling,
    /// Down, as after a flow.
    FallingFast,
}

impl Trend {
    /// The trend at the end of a trace; `None` where it is too short to say.
    pub(super) fn of(trace: impl DoubleEndedIterator<Item = (Timestamp, f64)>) -> Option<Self> {
        let mut newest = None;
        let recent: Vec<(f64, f64)> = trace
            .rev()
            .map(|(at, celsius)| (at.seconds_since(*newest.get_or_insert(at)), celsius))
            .take_while(|(age, _)| age.abs() <= TREND_S)
            .collect();
        let span = recent.last().map_or(0.0, |(age, _)| age.abs());
        if recent.len() < TREND_MIN.0 || span < TREND_MIN.1 {
            return None;
        }
        let slope = slope(&recent)?;
        let (moves, fast) = MOVES_C_PER_S;
        Some(match slope {
            slope if slope >= fast => Self::RisingFast,
            slope if slope >= moves => Self::Rising,
            slope if slope <= -fast => Self::FallingFast,
            slope if slope <= -moves => Self::Falling,
            _ => Self::Steady,
        })
    }
}

/// Slope of the straight line through these points by least squares; `None` where they stand at one time.
fn slope(points: &[(f64, f64)]) -> Option<f64> {
    let count = points.len() as f64;
    let mean = |of: fn(&(f64, f64)) -> f64| points.iter().map(of).sum::<f64>() / count;
    let (x, y) = (mean(|point| point.0), mean(|point| point.1));
    let square: f64 = points.iter().map(|point| (point.0 - x).powi(2)).sum();
    let product: f64 = points.iter().map(|point| (point.0 - x) * (point.1 - y)).sum();
    (square > 0.0).then(|| product / square)
}

/// The last minute up to `now` in `width` columns: the mean of what lies in each, a space where
/// there is nothing. The lowest value stands at the bottom, the highest at the top.
pub(super) fn strip(trace: impl Iterator<Item = (Timestamp, f64)>, now: Timestamp, width: usize) -> String {
    let mut columns = vec![(0.0, 0_u32); width];
    for (at, celsius) in trace {
        let age = now.seconds_since(at) / STRIP_S;
        if !(0.0..1.0).contains(&age) {
            continue;
        }
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "0 to the width of a line"
        )]
        let column = ((1.0 - age) * width as f64) as usize;
        if let Some((sum, count)) = columns.get_mut(column.min(width.saturating_sub(1))) {
            *sum += celsius;
            *count += 1;
        }
    }
    let means: Vec<Option<f64>> =
        columns.into_iter().map(|(sum, count)| (count > 0).then(|| sum / f64::from(count))).collect();
    let known = || means.iter().flatten().copied();
    let (low, high) = (known().fold(f64::INFINITY, f64::min), known().fold(f64::NEG_INFINITY, f64::max));
    let height = (high - low).max(STRIP_LEAST_C);
    let step = |celsius: f64| {
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to 7")]
        let step = ((celsius - low) / height * (STEPS.len() - 1) as f64).round() as usize;
        STEPS[step.min(STEPS.len() - 1)]
    };
    means.into_iter().map(|mean| mean.map_or(' ', step)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::cycle::fixture::at;

    // Arithmetic; the limits are this program's own.
    #[test]
    fn a_trend_is_told_once_it_can_be_known() {
        for (name, every_s, per_s, count, expected) in [
            ("one reading", 1.0, 0.0, 1, None),
            ("too short", 0.25, 1.0, 4, None),
            ("still", 0.25, 0.0, 60, Some(Trend::Steady)),
            ("a tank that heats", 1.0, 0.03, 60, Some(Trend::Rising)),
            ("a hand", 0.25, 0.5, 60, Some(Trend::RisingFast)),
            ("a tank that cools", 5.0, -0.03, 60, Some(Trend::Falling)),
            ("after a rinse", 0.25, -0.4, 60, Some(Trend::FallingFast)),
        ] {
            let trace =
                (0..count).map(|i| (at(f64::from(i) * every_s), 50.0 + f64::from(i) * every_s * per_s));
            assert_eq!(Trend::of(trace), expected, "{name}");
        }
        let turned = (0..60).map(|i| (at(f64::from(i)), if i < 45 { 20.0 + f64::from(i) } else { 65.0 }));
        assert_eq!(Trend::of(turned), Some(Trend::Steady), "what was before the last seconds does not count");
        let at_once = (0..9).map(|i| (at(5.0), f64::from(i)));
        assert_eq!(Trend::of(at_once), None, "nine values of one instant");
    }

    // Arithmetic: 60 s in 6 columns are 10 s each; 2 °C are the least height.
    #[test]
    fn a_strip_is_the_last_minute_on_its_own_scale() {
        let ramp = |from: f64, per_s: f64| move |i: i32| (at(f64::from(i)), from + f64::from(i) * per_s);
        for (name, trace, expected) in [
            ("nothing", vec![], "      "),
            ("a rise of a minute", (0..60).map(ramp(20.0, 1.0)).collect(), "▁▂▄▅▇█"),
            ("noise of a still probe", (0..60).map(ramp(66.0, 0.001)).collect(), "▁▁▁▁▁▁"),
            ("a gap", (0..60).filter(|i| !(20..40).contains(i)).map(ramp(20.0, 1.0)).collect(), "▁▂  ▇█"),
            ("too old", (0..60).map(|i| (at(f64::from(i) - 100.0), 20.0)).collect(), "      "),
        ] {
            let trace: Vec<(Timestamp, f64)> = trace;
            assert_eq!(strip(trace.into_iter(), at(59.999), 6), expected, "{name}");
        }
        assert_eq!(strip([(at(0.0), 1.0)].into_iter(), at(0.0), 0), "");
    }
}
