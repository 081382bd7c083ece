//! A calibration under way: bath after bath, each point taken once the probe is steady in it.

use std::time::Duration;

use super::bath::{Bath, NotYet};
use super::{STEP_MAX, Value};
use crate::core::calibration::fitted::{Fitted, work_out};
use crate::core::calibration::{Calibration, CalibrationError};
use crate::core::record::CalibrationPoint;
use crate::core::steady::{Steadiness, Steady, Unsteady};
use crate::core::units::Celsius;

/// A calibration that is being made. Times are those of a clock that never steps.
#[derive(Clone, PartialEq, Debug)]
pub struct Calibrating {
    tau: Option<Duration>,
    found: Calibration,
    near: Celsius,
    step_max: Duration,
    points: Vec<CalibrationPoint>,
    step: Step,
}

#[derive(Clone, PartialEq, Debug)]
enum Step {
    /// The probe is to be put into it.
    Placing(Bath),
    /// It is in, since then.
    Watching { bath: Bath, watch: Steadiness, since: Duration },
    /// It was not steady within the time.
    Over { bath: Bath, why: NotYet },
    /// The point was taken from this stretch.
    Taken(Steady),
    /// The last point was taken back.
    Open,
}

/// Where it stands.
#[derive(Clone, PartialEq, Debug)]
pub struct Stands {
    /// What the last step says.
    pub step: StepSeen,
    /// The points so far, worked out where they can be.
    pub points: Vec<CalibrationPoint>,
    /// What they come to; `None` before the first.
    pub result: Option<Result<Fitted, CalibrationError>>,
    /// The correction in force before.
    pub found: Calibration,
    /// Where the probe will be judged.
    pub near: Celsius,
}

/// The step that a calibration is at.
#[derive(Clone, PartialEq, Debug)]
pub enum StepSeen {
    /// The probe is to be put into it.
    Placing(Bath),
    /// It is watched.
    Watching {
        /// In what.
        bath: Bath,
        /// What it shows, before any correction.
        last: Option<Celsius>,
        /// Why its point was not taken so far.
        why: NotYet,
        /// How long it must be steady, s.
        wanted_s: f64,
        /// How long it has been watched, s.
        watched_s: f64,
    },
    /// It was not steady within the time for a step.
    Over {
        /// In what.
        bath: Bath,
        /// Why not.
        why: NotYet,
    },
    /// The point was taken.
    Taken(Steady),
    /// Another bath is to be chosen.
    Open,
}

impl Calibrating {
    /// Begins with a bath; `tau` is the time constant on file, `found` the correction in force, and
    /// `near` where the probe is judged.
    #[must_use]
    pub const fn new(bath: Bath, tau: Option<Duration>, found: Calibration, near: Celsius) -> Self {
        Self { tau, found, near, step_max: STEP_MAX, points: Vec::new(), step: Step::Placing(bath) }
    }

    /// The same, with this longest time for each step.
    #[must_use]
    pub const fn lasting(mut self, step_max: Duration) -> Self {
        self.step_max = step_max;
        self
    }

    /// Takes what the probe shows; its point is taken by itself.
    pub fn hear(&mut self, value: Value) {
        let Step::Watching { bath, watch, .. } = &mut self.step else { return };
        match value.in_bath() {
            Ok(celsius) => watch.reading(value.at, celsius),
            Err(fault) => watch.fault(fault),
        }
        if let Ok(steady) = bath.look(watch) {
            self.points.push(bath.compared(&steady));
            self.step = Step::Taken(steady);
        }
    }

    /// Takes that readings were lost: what was lost may have been what was not steady.
    pub fn lost(&mut self) {
        if let Step::Watching { watch, .. } = &mut self.step {
            watch.begin_anew();
        }
    }

    /// Ends a step that lasts too long.
    pub fn tick(&mut self, now: Duration) {
        if let Step::Watching { bath, watch, since } = &self.step
            && now.saturating_sub(*since) >= self.step_max
            && let Err(why) = bath.look(watch)
        {
            self.step = Step::Over { bath: bath.clone(), why };
        }
    }

    /// The probe is in the bath now; what it showed before counts no more.
    pub fn in_place(&mut self, now: Duration) {
        if let Step::Placing(bath) | Step::Watching { bath, .. } | Step::Over { bath, .. } = &self.step {
            let (bath, watch) = (bath.clone(), Steadiness::new(self.tau));
            self.step = Step::Watching { bath, watch, since: now };
        }
    }

    /// Goes to another bath; a point that was not taken is left.
    pub fn go_to(&mut self, bath: Bath) {
        self.step = Step::Placing(bath);
    }

    /// Takes the last point back.
    pub fn take_back(&mut self) {
        self.points.pop();
        self.step = Step::Open;
    }

    /// How long the probe must be steady in a bath, s.
    #[must_use]
    pub fn wanted_s(&self) -> f64 {
        Steadiness::new(self.tau).wanted_s()
    }

    /// The stretch of the point that was taken last, until another bath is gone to.
    #[must_use]
    pub const fn taken(&self) -> Option<Steady> {
        match self.step {
            Step::Taken(steady) => Some(steady),
            Step::Placing(_) | Step::Watching { .. } | Step::Over { .. } | Step::Open => None,
        }
    }

    /// Where it stands at `now`.
    #[must_use]
    pub fn stands(&self, now: Duration) -> Stands {
        let step = match &self.step {
            Step::Placing(bath) => StepSeen::Placing(bath.clone()),
            Step::Watching { bath, watch, since } => StepSeen::Watching {
                bath: bath.clone(),
                last: watch.last(),
                // A stretch that is steady was taken when its last reading came.
                why: bath.look(watch).err().unwrap_or(NotYet::Unsteady(Unsteady::Silent)),
                wanted_s: watch.wanted_s(),
                watched_s: now.saturating_sub(*since).as_secs_f64(),
            },
            Step::Over { bath, why } => StepSeen::Over { bath: bath.clone(), why: *why },
            Step::Taken(steady) => StepSeen::Taken(*steady),
            Step::Open => StepSeen::Open,
        };
        let mut points = self.points.clone();
        let result = (!points.is_empty()).then(|| work_out(&mut points, self.found, self.near));
        Stands { step, points, result, found: self.found, near: self.near }
    }

    /// The points and what they come to, where that can go on record: no bath is open.
    #[must_use]
    pub fn result(&self) -> Option<(Vec<CalibrationPoint>, Fitted)> {
        match self.step {
            Step::Taken(_) | Step::Open => {}
            Step::Placing(_) | Step::Watching { .. } | Step::Over { .. } => return None,
        }
        let mut points = self.points.clone();
        let fitted = work_out(&mut points, self.found, self.near).ok()?;
        Some((points, fitted))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::cycle::fixture::at;

    /// Readings each quarter of a second from `from` on, as long as `seconds`.
    fn feed(work: &mut Calibrating, from: f64, seconds: f64, celsius: impl Fn(f64) -> f64) {
        let times = (0..).map(|i| f64::from(i) * 0.25).take_while(|t| *t < seconds);
        for t in times {
            let measured = Some(Celsius(celsius(t)));
            work.hear(Value { at: at(from + t), measured, fault: None });
            work.tick(Duration::from_secs_f64(from + t));
        }
    }

    fn begun() -> Calibrating {
        let tau = Some(Duration::from_secs(2));
        Calibrating::new(Bath::ice(), tau, Calibration::None, Celsius(82.2))
    }

    fn noise(t: f64) -> f64 {
        0.03 * (t * 37.0).sin()
    }

    // Regression: level lines were followed by a wide swing, since the immersion was among what is looked at.
    #[test]
    fn a_swing_says_over_how_long_it_is_looked_at() {
        use crate::core::reader::{Language, Scale};
        use crate::core::steady::Unsteady;
        use crate::core::technician::words;
        let why = NotYet::Unsteady(Unsteady::Noisy { spread_c: 4.93 });
        for (language, told) in [
            (
                Language::English,
                "  0.60 °C: swings by ±4.93 °C over the last 40 s; once level, up to 40 s more",
            ),
            (
                Language::Spanish,
                "  0.60 °C: oscila ±4.93 °C en los últimos 40 s; ya sin cambios, hasta 40 s más",
            ),
        ] {
            let said =
                words::progress(language, Scale::Celsius, &Bath::ice(), Some(Celsius(0.6)), &why, 40.0);
            assert_eq!(said, told);
        }
    }

    // Own rules: nothing counts before its person says so, a point is taken by itself, and nothing goes on
    // record while a bath is open. 0 °C is the ice point (ITS-90).
    #[test]
    fn points_are_taken_by_themselves_once_the_probe_is_in_the_bath() {
        let mut work = begun();
        feed(&mut work, 0.0, 60.0, noise);
        assert_eq!(work.stands(Duration::ZERO).step, StepSeen::Placing(Bath::ice()));
        work.in_place(Duration::from_secs(60));
        feed(&mut work, 60.0, 60.0, |t| 0.4 + 20.0 * (-t / 2.0).exp() + noise(t));
        let stands = work.stands(Duration::from_secs(120));
        assert!(matches!(stands.step, StepSeen::Taken(steady) if (steady.mean.0 - 0.4).abs() < 0.05));
        let (points, fitted) = work.result().expect("a point");
        assert_eq!((points.len(), points[0].readings > 50), (1, true));
        assert!(matches!(fitted.left, Calibration::Offset(offset) if (offset + 0.4).abs() < 0.05));
        work.go_to(Bath::beside_thermometer(Celsius(80.0), "reference 7".to_owned(), 0.2));
        assert_eq!(work.result(), None, "a bath is open");
        work.in_place(Duration::from_secs(120));
        feed(&mut work, 120.0, 60.0, |t| 80.5 + noise(t));
        assert!(matches!(work.result(), Some((points, _)) if points.len() == 2));
        work.take_back();
        assert!(matches!(work.result(), Some((points, _)) if points.len() == 1));
    }

    // Limits of `core::steady` and `core::calibration`.
    #[test]
    fn what_is_not_taken_says_why() {
        let over = STEP_MAX.as_secs_f64() + 1.0;
        let shows: [(&str, &dyn Fn(f64) -> f64); 3] =
            [("swings", &|t| 20.0 * noise(t)), ("warm", &|t| 12.0 + noise(t)), ("rises", &|t| t / 60.0)];
        for (what, celsius) in shows {
            let mut work = begun();
            work.in_place(Duration::ZERO);
            feed(&mut work, 0.0, 60.0, celsius);
            let StepSeen::Watching { why, .. } = work.stands(Duration::from_secs(60)).step else {
                panic!("{what}: {:?}", work.stands(Duration::ZERO))
            };
            let expected = match what {
                "swings" => matches!(why, NotYet::Unsteady(Unsteady::Noisy { .. })),
                "warm" => matches!(why, NotYet::TooFar(_)),
                _ => matches!(why, NotYet::Unsteady(Unsteady::Drifting { .. })),
            };
            assert!(expected, "{what}: {why:?}");
            work.tick(Duration::from_secs_f64(over));
            assert!(matches!(work.stands(Duration::ZERO).step, StepSeen::Over { .. }), "{what}");
            assert_eq!(work.result(), None, "{what}");
        }
    }
}
