//! How a probe moves and how often it is read, from its last minute.

use std::collections::VecDeque;

use crate::core::time::Timestamp;

/// What is kept of the past, s.
pub const KEPT_S: f64 = 60.0;
/// One value is kept in so many seconds (own choice: a minute is drawn with 120 points).
const KEPT_EVERY_S: f64 = 0.5;
/// A probe's clock that has stepped back by more than this begins anew, s.
const STEP_BACK_S: f64 = 5.0;
/// What the rate of arrival is taken from, s, where two arrivals lie in it.
const RATE_S: f64 = 20.0;
/// Arrivals kept for that; of more the oldest go.
const ARRIVALS_MAX: usize = 256;
/// What the trend is taken from, s (own choice: longer than the noise of a probe, shorter than a rinse).
const TREND_S: f64 = 10.0;
/// Fewest values for a trend, and the shortest time they must span, s.
const TREND_MIN: (usize, f64) = (3, 2.0);
/// From here on a probe is rising or falling, and from there on fast, °C/s. Own choice: a hand warms a probe at
/// 0.1 to 1 °C/s, a tank heats at 0.02 °C/s, a probe at rest wanders less than 0.02.
const MOVES_C_PER_S: (f64, f64) = (0.02, 0.2);

/// Which way a probe moves.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Trend {
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
    #[must_use]
    pub fn of(trace: impl DoubleEndedIterator<Item = (Timestamp, f64)>) -> Option<Self> {
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

/// The last minute of one probe.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Gauge {
    trace: VecDeque<(Timestamp, f64)>,
    /// How many readings arrived when.
    arrivals: VecDeque<(Timestamp, u32)>,
}

impl Gauge {
    /// Takes a reading; `celsius` is `None` for a fault.
    pub fn take(&mut self, at: Timestamp, arrived: Timestamp, celsius: Option<f64>) {
        match self.arrivals.back_mut() {
            Some((last, count)) if *last == arrived => *count += 1,
            Some(_) | None => self.arrivals.push_back((arrived, 1)),
        }
        let old = |(first, _): &(Timestamp, u32)| arrived.seconds_since(*first) > RATE_S;
        while self.arrivals.len() > ARRIVALS_MAX
            || self.arrivals.len() > 2 && self.arrivals.front().is_some_and(old)
        {
            self.arrivals.pop_front();
        }
        let Some(celsius) = celsius else { return };
        let since = self.trace.back().map(|(last, _)| at.seconds_since(*last));
        if since.is_some_and(|since| since < -STEP_BACK_S) {
            self.trace.clear();
        } else if since.is_some_and(|since| since < KEPT_EVERY_S) {
            return;
        }
        self.trace.push_back((at, celsius));
        let old = |(first, _): &(Timestamp, f64)| at.seconds_since(*first) > KEPT_S;
        while self.trace.front().is_some_and(old) {
            self.trace.pop_front();
        }
    }

    /// Which way it moves; `None` where too little is known.
    #[must_use]
    pub fn trend(&self) -> Option<Trend> {
        Trend::of(self.trace.iter().copied())
    }

    /// Readings a second; `None` where fewer than two arrived.
    #[must_use]
    pub fn per_s(&self) -> Option<f64> {
        let ((first, _), (last, _)) = (self.arrivals.front()?, self.arrivals.back()?);
        let readings: u32 = self.arrivals.iter().skip(1).map(|(_, count)| count).sum();
        let span_s = last.seconds_since(*first);
        (readings > 0 && span_s > 0.0).then(|| f64::from(readings) / span_s)
    }

    /// The last minute: seconds before the newest value, and °C.
    #[must_use]
    pub fn minute(&self) -> Vec<(f64, f64)> {
        let Some((newest, _)) = self.trace.back() else { return Vec::new() };
        self.trace.iter().map(|(at, celsius)| (newest.seconds_since(*at), *celsius)).collect()
    }
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

    // The limits are this program's own; slopes and rates follow by arithmetic.
    #[test]
    fn trend_and_rate_follow_from_the_last_readings() {
        for (c_per_s, expected) in [
            (0.0, Trend::Steady),
            (0.05, Trend::Rising),
            (0.5, Trend::RisingFast),
            (-0.05, Trend::Falling),
            (-2.0, Trend::FallingFast),
        ] {
            let mut gauge = Gauge::default();
            assert_eq!((gauge.trend(), gauge.per_s()), (None, None));
            for quarter in 0..400 {
                let t = f64::from(quarter) * 0.25;
                gauge.take(at(t), at(t), Some(60.0 + c_per_s * t));
            }
            assert_eq!(gauge.trend(), Some(expected), "{c_per_s} °C/s");
            assert!(gauge.per_s().is_some_and(|rate| (rate - 4.0).abs() < 0.01), "{gauge:?}");
            assert!((119..=122).contains(&gauge.minute().len()), "{}", gauge.minute().len());
        }
    }
}
