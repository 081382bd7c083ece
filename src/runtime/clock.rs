//! The gateway's clock: the only place that asks what time it is.
//!
//! The clock takes the system's wall time once and counts on with the monotonic
//! clock, so that no reading is stamped by a wall clock that somebody is setting.
//! [`Clock::check`] compares the two; a difference of more than
//! [`STEP_MIN`] is a step: it is returned, to be put on record, and the
//! system's time is adopted. Smaller differences are left alone, since a time
//! service that slews moves both clocks alike.
//!
//! A clock may run at a rate: the demo lives sixty seconds in one, and every
//! timer of the gateway with it. Such a clock has no wall to be compared with.

use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant, SystemTime};

use crate::core::time::Timestamp;

/// Smallest difference from the system's wall clock that counts as a step
/// (own choice: a cycle is at least tens of seconds long, and NTP steps
/// only from 128 ms on; two seconds keep a loaded computer from crying wolf).
pub const STEP_MIN: Duration = Duration::from_secs(2);

/// The gateway's clock. Copies share one state.
#[derive(Clone, Debug)]
pub struct Clock {
    shared: Arc<Shared>,
}

#[derive(Debug)]
struct Shared {
    anchor: Mutex<Anchor>,
    base: Base,
    /// Seconds of this clock in one second of the world.
    rate: f64,
}

/// This clock showed `shown` when the monotonic clock stood at `at`.
#[derive(Clone, Copy, Debug)]
struct Anchor {
    shown: Timestamp,
    at: Duration,
}

#[derive(Debug)]
enum Base {
    System { origin: Instant },
    Manual(Mutex<Manual>),
}

#[derive(Clone, Copy, Debug)]
struct Manual {
    wall: Timestamp,
    monotonic: Duration,
}

/// The system's clock was set.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Step {
    /// What the gateway's clock showed.
    pub from: Timestamp,
    /// What the system's clock showed at that moment, adopted from there on.
    pub to: Timestamp,
}

impl Clock {
    /// The clock of the daemon: system time, real speed.
    #[must_use]
    pub fn system() -> Self {
        let base = Base::System { origin: monotonic_now() };
        Self::new(base, wall_now(), 1.0)
    }

    /// A clock that shows `start` now and runs `rate` times as fast as the world.
    ///
    /// # Panics
    /// Where `rate` is not a positive finite number.
    #[must_use]
    pub fn at_rate(start: Timestamp, rate: f64) -> Self {
        let base = Base::System { origin: monotonic_now() };
        Self::new(base, start, rate)
    }

    /// A clock that stands until [`Clock::turn`] moves it, for tests.
    #[must_use]
    pub fn manual(start: Timestamp, rate: f64) -> Self {
        let manual = Manual { wall: start, monotonic: Duration::ZERO };
        Self::new(Base::Manual(Mutex::new(manual)), start, rate)
    }

    fn new(base: Base, start: Timestamp, rate: f64) -> Self {
        assert!(rate.is_finite() && rate > 0.0, "a clock runs forward");
        let at = base.monotonic();
        let anchor = Mutex::new(Anchor { shown: start, at });
        Self { shared: Arc::new(Shared { anchor, base, rate }) }
    }

    /// What time it is.
    #[must_use]
    pub fn now(&self) -> Timestamp {
        let anchor = *lock(&self.shared.anchor);
        anchor.shown.plus(self.shared.base.monotonic().saturating_sub(anchor.at).mul_f64(self.shared.rate))
    }

    /// Seconds of this clock in one second of the world.
    #[must_use]
    pub fn rate(&self) -> f64 {
        self.shared.rate
    }

    /// What it will show when so much time of the world has passed.
    #[must_use]
    pub fn after(&self, span: Duration) -> Timestamp {
        self.now().plus(span.mul_f64(self.shared.rate))
    }

    /// How long the world has to wait until this clock shows `instant`; zero where it has passed.
    #[must_use]
    pub fn wait_until(&self, instant: Timestamp) -> Duration {
        instant.since(self.now()).div_f64(self.shared.rate)
    }

    /// Time of the world since this clock was made; never steps.
    #[must_use]
    pub fn elapsed(&self) -> Duration {
        self.shared.base.monotonic()
    }

    /// Compares with the system's wall clock; on a step adopts its time and says so.
    /// A clock with a rate other than 1 never steps.
    #[must_use]
    pub fn check(&self) -> Option<Step> {
        if self.shared.rate.total_cmp(&1.0).is_ne() {
            return None;
        }
        let from = self.now();
        let to = self.shared.base.wall();
        if from.since(to).max(to.since(from)) <= STEP_MIN {
            return None;
        }
        *lock(&self.shared.anchor) = Anchor { shown: to, at: self.shared.base.monotonic() };
        Some(Step { from, to })
    }

    /// Lets `span` of the world pass on a manual clock and moves its wall by `step_s` seconds beside.
    ///
    /// # Panics
    /// Where the clock is not a manual one.
    pub fn turn(&self, span: Duration, step_s: i64) {
        let Base::Manual(manual) = &self.shared.base else {
            panic!("only a manual clock can be turned");
        };
        let mut manual = lock(manual);
        manual.monotonic += span;
        manual.wall =
            Timestamp::from_micros(manual.wall.plus(span).micros().saturating_add(step_s * 1_000_000));
    }
}

impl Base {
    fn monotonic(&self) -> Duration {
        match self {
            Self::System { origin } => monotonic_now().saturating_duration_since(*origin),
            Self::Manual(manual) => lock(manual).monotonic,
        }
    }

    fn wall(&self) -> Timestamp {
        match self {
            Self::System { .. } => wall_now(),
            Self::Manual(manual) => lock(manual).wall,
        }
    }
}

/// A lock holder cannot leave these states half written, so a poisoned lock is still good.
fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

#[expect(clippy::disallowed_methods, reason = "this is the clock")]
fn monotonic_now() -> Instant {
    Instant::now()
}

#[expect(clippy::disallowed_methods, reason = "this is the clock")]
fn wall_now() -> Timestamp {
    match SystemTime::now().duration_since(SystemTime::UNIX_EPOCH) {
        Ok(since) => Timestamp::from_micros(0).plus(since),
        Err(before) => Timestamp::from_micros(0).minus(before.duration()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const START: Timestamp = Timestamp::from_micros(1_700_000_000_000_000);

    fn second(count: u64) -> Duration {
        Duration::from_secs(count)
    }

    // Arithmetic of a constant rate: shown = start + rate × elapsed.
    #[test]
    fn runs_at_its_rate() {
        for (rate, elapsed, shown) in [(1.0, 10, 10), (60.0, 10, 600), (1000.0, 1, 1000)] {
            let clock = Clock::manual(START, rate);
            clock.turn(second(elapsed), 0);
            assert_eq!(clock.now(), START.plus(second(shown)), "rate {rate}");
            assert_eq!(clock.wait_until(START.plus(second(shown))), Duration::ZERO);
            assert_eq!(Clock::manual(START, rate).after(second(elapsed)), clock.now(), "rate {rate}");
        }
        let fast = Clock::manual(START, 60.0);
        assert_eq!(fast.wait_until(START.plus(second(120))), second(2));
    }

    // The rows stand on the promise above: more than two seconds is a step, either way.
    #[test]
    fn tells_a_step_once_and_goes_on_from_there() {
        for (step_s, told) in [(0, false), (1, false), (2, false), (3, true), (-3, true), (-3600, true)] {
            let clock = Clock::manual(START, 1.0);
            clock.turn(second(5), step_s);
            let before = START.plus(second(5));
            let after = Timestamp::from_micros(before.micros() + step_s * 1_000_000);
            let expected = told.then_some(Step { from: before, to: after });
            assert_eq!(clock.check(), expected, "step of {step_s} s");
            assert_eq!(clock.check(), None, "a step of {step_s} s is told once");
            clock.turn(second(1), 0);
            let shown = if told { after } else { before };
            assert_eq!(clock.now(), shown.plus(second(1)));
        }
    }

    #[test]
    fn a_fast_clock_has_no_wall() {
        let clock = Clock::manual(START, 60.0);
        clock.turn(second(3600), 0);
        assert_eq!(clock.check(), None);
    }
}
