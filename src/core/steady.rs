//! Whether a probe in a bath is steady, so that what it shows may be compared.
//!
//! The last stretch of readings counts. It is steady where it is long enough for a probe to have
//! answered, where a straight line through it is level, and where the readings keep to that line.
//! Fed with readings in order of time; what is older than the stretch is forgotten.

use std::collections::VecDeque;
use std::time::Duration;

use super::reading::Fault;
use super::time::Timestamp;
use super::units::Celsius;

/// Least length of the stretch, s (own choice): water that is stirred by hand swings within seconds.
const LASTS_MIN_S: f64 = 20.0;
/// The stretch lasts this many time constants of the probe: after five it has answered by 99.3 %
/// (first order; common practice).
const TIME_CONSTANTS: f64 = 5.0;
/// Time constant of a probe that was never tried, s (own choice): slower than any probe in a thermowell
/// that could judge a rinse.
const TAU_UNKNOWN_S: f64 = 8.0;
/// Least readings in the stretch (own choice): the mean of ten is three times as sure as one.
const READINGS_MIN: usize = 10;
/// Most readings that are kept; of more the oldest go, so that the stretch is shorter (own choice: 40 s at
/// 200 Hz; 128 kB).
const READINGS_MAX: usize = 8_192;
/// Steepest line of a steady stretch, °C a minute (own choice): a probe of 8 s is then within 0.04 °C of
/// where it will end.
pub const DRIFT_MAX_C_PER_MIN: f64 = 0.3;
/// Greatest standard deviation about the line, °C (own choice): three times the 0.1 °C that the
/// uncertainty budget takes for granted.
pub const SPREAD_MAX_C: f64 = 0.3;

/// A steady stretch.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Steady {
    /// Mean of the readings.
    pub mean: Celsius,
    /// Standard deviation about the line through them, °C.
    pub spread_c: f64,
    /// Slope of that line, °C a minute.
    pub drift_c_per_min: f64,
    /// Readings.
    pub readings: u32,
    /// From the first to the last, s.
    pub lasted_s: f64,
}

/// Why the readings are not steady, so far.
#[derive(Clone, Copy, PartialEq, Debug, thiserror::Error)]
pub enum Unsteady {
    /// The probe has given no temperature so far.
    #[error("no reading has come")]
    Silent,
    /// The probe reports a fault.
    #[error("the probe reports a fault: {}", .0.as_str())]
    Faulty(Fault),
    /// The stretch is too short.
    #[error("{readings} readings over {lasted_s:.0} s; {READINGS_MIN} over {wanted_s:.0} s are needed")]
    TooFew {
        /// Readings so far.
        readings: usize,
        /// How long they lasted, s.
        lasted_s: f64,
        /// How long they must last, s.
        wanted_s: f64,
    },
    /// It still rises or falls.
    #[error("it drifts by {c_per_min:+.1} °C a minute; at most {DRIFT_MAX_C_PER_MIN} °C are steady")]
    Drifting {
        /// Slope, °C a minute.
        c_per_min: f64,
    },
    /// It swings.
    #[error("it swings by {spread_c:.2} °C (standard deviation); at most {SPREAD_MAX_C} °C are steady")]
    Noisy {
        /// Standard deviation about the line, °C.
        spread_c: f64,
    },
}

/// Watches one probe.
#[derive(Clone, PartialEq, Debug)]
pub struct Steadiness {
    wanted_s: f64,
    readings: VecDeque<(Timestamp, f64)>,
    fault: Option<Fault>,
}

impl Steadiness {
    /// Begins with nothing; `tau` is the probe's time constant where it is on file.
    #[must_use]
    pub fn new(tau: Option<Duration>) -> Self {
        let tau_s = tau.map_or(TAU_UNKNOWN_S, |tau| tau.as_secs_f64());
        let wanted_s = (TIME_CONSTANTS * tau_s).max(LASTS_MIN_S);
        Self { wanted_s, readings: VecDeque::new(), fault: None }
    }

    /// Takes a reading, before any correction. What is not later than the one before is passed over.
    pub fn reading(&mut self, at: Timestamp, celsius: Celsius) {
        self.fault = None;
        if self.readings.back().is_some_and(|(last, _)| at <= *last) {
            return;
        }
        self.readings.push_back((at, celsius.0));
        let old = |(first, _): &(Timestamp, f64)| at.seconds_since(*first) > self.wanted_s;
        while self.readings.len() > READINGS_MAX
            || (self.readings.len() > READINGS_MIN && self.readings.get(1).is_some_and(old))
        {
            self.readings.pop_front();
        }
    }

    /// Takes a fault of the probe: what came before it counts no more.
    pub fn fault(&mut self, fault: Fault) {
        self.readings.clear();
        self.fault = Some(fault);
    }

    /// Takes that readings were lost: what came before them counts no more.
    pub fn begin_anew(&mut self) {
        self.readings.clear();
    }

    /// How long the stretch must be steady, s.
    #[must_use]
    pub const fn wanted_s(&self) -> f64 {
        self.wanted_s
    }

    /// The newest reading.
    #[must_use]
    pub fn last(&self) -> Option<Celsius> {
        self.readings.back().map(|(_, celsius)| Celsius(*celsius))
    }

    /// Whether the last stretch is steady.
    ///
    /// # Errors
    /// [`Unsteady`] says why not.
    pub fn look(&self) -> Result<Steady, Unsteady> {
        if let Some(fault) = self.fault {
            return Err(Unsteady::Faulty(fault));
        }
        let (Some((first, _)), Some((last, _))) = (self.readings.front(), self.readings.back()) else {
            return Err(Unsteady::Silent);
        };
        let (count, lasted_s, wanted_s) = (self.readings.len(), last.seconds_since(*first), self.wanted_s);
        if count < READINGS_MIN || lasted_s < wanted_s {
            return Err(Unsteady::TooFew { readings: count, lasted_s, wanted_s });
        }
        let n = count as f64;
        let times = self.readings.iter().map(|(at, _)| at.seconds_since(*first));
        let mean_t = times.clone().sum::<f64>() / n;
        let mean_c = self.readings.iter().map(|(_, celsius)| celsius).sum::<f64>() / n;
        let (mut stt, mut stc) = (0.0, 0.0);
        for (t, (_, celsius)) in times.clone().zip(&self.readings) {
            stt += (t - mean_t).powi(2);
            stc += (t - mean_t) * (celsius - mean_c);
        }
        let slope = stc / stt;
        let left = times.zip(&self.readings).map(|(t, (_, c))| (c - mean_c - slope * (t - mean_t)).powi(2));
        let spread_c = (left.sum::<f64>() / (n - 2.0)).sqrt();
        let c_per_min = slope * 60.0;
        if spread_c > SPREAD_MAX_C {
            Err(Unsteady::Noisy { spread_c })
        } else if c_per_min.abs() > DRIFT_MAX_C_PER_MIN {
            Err(Unsteady::Drifting { c_per_min })
        } else {
            Ok(Steady {
                mean: Celsius(mean_c),
                spread_c,
                drift_c_per_min: c_per_min,
                readings: u32::try_from(count).unwrap_or(u32::MAX),
                lasted_s,
            })
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::cycle::fixture::at;

    /// Readings each quarter of a second of what `celsius` says at s.
    fn watched(tau_s: Option<f64>, seconds: f64, celsius: impl Fn(f64) -> f64) -> Steadiness {
        let mut watch = Steadiness::new(tau_s.map(Duration::from_secs_f64));
        let times = (0..).map(|i| f64::from(i) * 0.25).take_while(|t| *t <= seconds);
        times.for_each(|t| watch.reading(at(t), Celsius(celsius(t))));
        watch
    }

    /// Noise of about 0.035 °C.
    fn noise(t: f64) -> f64 {
        0.05 * (t * 37.0).sin()
    }

    // Five time constants and the 0.3 °C are the choices above; a first-order answer has a closed form.
    #[test]
    fn a_probe_is_steady_once_it_has_answered() {
        let answer = |t: f64| 100.0 - 78.0 * (-t / 6.0_f64).exp() + noise(t);
        let mut steady_from = None;
        for seconds in 0..90 {
            let looked = watched(Some(6.0), f64::from(seconds), answer).look();
            if let Ok(steady) = looked {
                steady_from.get_or_insert(seconds);
                assert!((steady.mean.0 - 100.0).abs() < 0.1, "{seconds} s: {steady:?}");
                assert!((steady.lasted_s - 30.0).abs() < 0.5 && steady.readings > 100, "{steady:?}");
            }
        }
        let from = steady_from.expect("it becomes steady");
        assert!((45..75).contains(&from), "{from} s");
    }

    #[test]
    fn what_is_not_steady_says_why() {
        for (what, watch, wanted) in [
            ("nothing", watched(None, -1.0, noise), "no reading"),
            ("short", watched(None, 15.0, noise), "15 s; 10 over 40 s"),
            ("rising", watched(Some(1.0), 60.0, |t| t / 60.0), "drifts by +1.0 °C a minute"),
            ("falling", watched(Some(1.0), 60.0, |t| 80.0 - t / 120.0), "drifts by -0.5 °C a minute"),
            ("swinging", watched(Some(1.0), 60.0, |t| 80.0 + 20.0 * noise(t)), "swings by 0.7"),
        ] {
            let said = watch.look().expect_err(what).to_string();
            assert!(said.contains(wanted), "{what}: {said}");
        }
        let mut broken = watched(Some(1.0), 60.0, noise);
        assert!(broken.look().is_ok());
        broken.fault(Fault::OpenCircuit);
        assert_eq!(broken.look(), Err(Unsteady::Faulty(Fault::OpenCircuit)));
        broken.reading(at(61.0), Celsius(0.0));
        assert!(matches!(broken.look(), Err(Unsteady::TooFew { readings: 1, .. })), "it begins anew");
    }

    // A node that reads once in five seconds: ten readings take 45 s.
    #[test]
    fn a_slow_node_needs_ten_readings() {
        let mut watch = Steadiness::new(Some(Duration::from_secs(1)));
        let mut steady_at = None;
        for second in (0..100).step_by(5) {
            watch.reading(at(f64::from(second)), Celsius(0.1));
            if watch.look().is_ok() {
                steady_at.get_or_insert(second);
            }
        }
        assert_eq!(steady_at, Some(45));
    }
}
