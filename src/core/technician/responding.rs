//! A response test under way: level in the air, plunged, answered.

use std::time::Duration;

use super::{STEP_MAX, Value};
use crate::core::response::{NoStep, Response, Stage, StepWatch};
use crate::core::time::Timestamp;

/// Least time between two looks at where the test stands, s of the readings: each is a fit (own choice: a
/// person does not see the difference).
const LOOKED_EVERY_S: f64 = 0.5;

/// A response test that is being made. Times are those of a clock that never steps.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Responding {
    step: Step,
}

#[derive(Clone, PartialEq, Debug, Default)]
enum Step {
    /// Everything is to be made ready.
    #[default]
    Ready,
    Running {
        watch: Box<StepWatch>,
        stage: Stage,
        looked: Option<Timestamp>,
        since: Duration,
    },
    Ended(Ended),
}

/// How a test ended.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Ended {
    /// With a time constant.
    Answered(Response),
    /// With none.
    NoStep(NoStep),
    /// So many readings were lost while the probe answered.
    Lost(u64),
}

/// Where a test stands.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Stands {
    /// Everything is to be made ready.
    Ready,
    /// It goes on.
    Running(Stage),
    /// It is over.
    Ended(Ended),
}

impl Responding {
    /// Begins, or begins anew.
    pub fn begin(&mut self, now: Duration) {
        let watch = Box::default();
        self.step = Step::Running { watch, stage: Stage::Settling, looked: None, since: now };
    }

    /// Takes what the probe shows.
    pub fn hear(&mut self, value: Value) {
        let Step::Running { watch, stage, looked, .. } = &mut self.step else { return };
        match value.measured {
            Some(celsius) => watch.reading(value.at, celsius),
            // A fault breaks the curve.
            None => watch.begin_anew(),
        }
        if looked.is_some_and(|looked| value.at.seconds_since(looked).abs() < LOOKED_EVERY_S) {
            return;
        }
        *looked = Some(value.at);
        *stage = watch.stage();
        if *stage == Stage::Over {
            self.end();
        }
    }

    /// Takes that readings were lost: no curve is drawn over a hole.
    pub fn lost(&mut self, events: u64) {
        let Step::Running { watch, .. } = &mut self.step else { return };
        if watch.has_begun() {
            self.step = Step::Ended(Ended::Lost(events));
        } else {
            watch.begin_anew();
        }
    }

    /// Ends a test that lasts too long.
    pub fn tick(&mut self, now: Duration) {
        if let Step::Running { since, .. } = &self.step
            && now.saturating_sub(*since) >= STEP_MAX
        {
            self.end();
        }
    }

    /// Ends it with what has come.
    pub fn end(&mut self) {
        let Step::Running { watch, .. } = &self.step else { return };
        let ended = watch.look().map_or_else(Ended::NoStep, Ended::Answered);
        self.step = Step::Ended(ended);
    }

    /// Where it stands.
    #[must_use]
    pub const fn stands(&self) -> Stands {
        match &self.step {
            Step::Ready => Stands::Ready,
            Step::Running { stage, .. } => Stands::Running(*stage),
            Step::Ended(ended) => Stands::Ended(*ended),
        }
    }

    /// What can go on record.
    #[must_use]
    pub const fn result(&self) -> Option<Response> {
        match self.step {
            Step::Ended(Ended::Answered(response)) => Some(response),
            Step::Ready | Step::Running { .. } | Step::Ended(Ended::NoStep(_) | Ended::Lost(_)) => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::cycle::fixture::at;
    use crate::core::units::Celsius;

    /// A plunge from 22 to 80 °C at 20 s, answered with this time constant, read at 10 Hz.
    fn plunged(work: &mut Responding, tau_s: f64, until_s: f64) {
        let times = (0..).map(|i| f64::from(i) * 0.1).take_while(|t| *t < until_s);
        for t in times {
            let since = (t - 20.0).max(0.0);
            let measured = Some(Celsius(80.0 - 58.0 * (-since / tau_s).exp()));
            work.hear(Value { at: at(t), measured, fault: None });
        }
    }

    // A first-order answer has a closed form, see `core::response`.
    #[test]
    fn a_plunge_gives_the_time_constant_and_ends_by_itself() {
        let mut work = Responding::default();
        plunged(&mut work, 2.0, 10.0);
        assert_eq!(work.stands(), Stands::Ready, "nothing counts before its person is ready");
        work.begin(Duration::ZERO);
        plunged(&mut work, 2.0, 15.0);
        assert!(matches!(work.stands(), Stands::Running(Stage::Level { .. })));
        plunged(&mut work, 2.0, 22.0);
        assert!(matches!(work.stands(), Stands::Running(Stage::Answering { .. })));
        assert_eq!(work.result(), None);
        plunged(&mut work, 2.0, 60.0);
        let found = work.result().expect("it has answered");
        assert!((found.tau_s - 2.0).abs() < 0.05, "{found:?}");
    }

    #[test]
    fn what_is_no_step_says_why() {
        let mut work = Responding::default();
        work.begin(Duration::ZERO);
        plunged(&mut work, 2.0, 10.0);
        work.tick(STEP_MAX);
        assert_eq!(work.stands(), Stands::Ended(Ended::NoStep(NoStep::None)));
        work.begin(Duration::ZERO);
        plunged(&mut work, 2.0, 21.0);
        work.lost(9);
        assert_eq!((work.stands(), work.result()), (Stands::Ended(Ended::Lost(9)), None));
    }
}
