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
        let (newest, _) = self.trace.back()?;
        let ago = |at: Timestamp| newest.seconds_since(at);
        let recent = self.trace.iter().rev().take_while(|(at, _)| ago(*at) <= TREND_S);
        let recent: Vec<(f64, f64)> = recent.map(|(at, celsius)| (-ago(*at), *celsius)).collect();
        let span = recent.last().map_or(0.0, |(t, _)| -t);
        if recent.len() < TREND_MIN.0 || span < TREND_MIN.1 {
            return None;
        }
        let count = recent.len() as f64;
        let mean_t = recent.iter().map(|(t, _)| t).sum::<f64>() / count;
        let mean_c = recent.iter().map(|(_, c)| c).sum::<f64>() / count;
        let square: f64 = recent.iter().map(|(t, _)| (t - mean_t).powi(2)).sum();
        let product: f64 = recent.iter().map(|(t, c)| (t - mean_t) * (c - mean_c)).sum();
        let (moves, fast) = MOVES_C_PER_S;
        Some(match product / square {
            slope if slope >= fast => Trend::RisingFast,
            slope if slope >= moves => Trend::Rising,
            slope if slope <= -fast => Trend::FallingFast,
            slope if slope <= -moves => Trend::Falling,
            _ => Trend::Steady,
        })
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
