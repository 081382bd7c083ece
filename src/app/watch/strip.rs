//! How a probe moved, in a strip of a minute.

use crate::core::time::Timestamp;

/// What a strip reaches back, s.
pub(super) const STRIP_S: f64 = 60.0;
/// A strip of less than this is drawn as if it were so high, °C: the noise of a still probe is no mountain.
const STRIP_LEAST_C: f64 = 2.0;
/// Steps of a strip, lowest first (Unicode, block elements).
const STEPS: [char; 8] = ['▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];

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
