//! Real time, or faster.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;
use std::time::{Duration, Instant};

/// Asks whoever plays a world to stop; a clone asks the same player.
#[derive(Clone, Default, Debug)]
pub struct Stop(Arc<AtomicBool>);

impl Stop {
    /// Asks.
    pub fn stop(&self) {
        self.0.store(true, Ordering::Release);
    }

    /// Whether somebody asked.
    #[must_use]
    pub fn is_stopped(&self) -> bool {
        self.0.load(Ordering::Acquire)
    }
}

/// Longest sleep between two looks at the stop flag.
const SLICE: Duration = Duration::from_millis(50);

/// Holds emissions back until their time.
#[derive(Debug)]
pub struct Pace {
    began: Instant,
    began_micros: i64,
    speed: f64,
    stop: Stop,
}

impl Pace {
    /// A pace of `speed` simulated seconds a second, from `began_micros` of simulated time.
    /// Infinity never waits.
    #[must_use]
    pub fn new(began_micros: i64, speed: f64, stop: Stop) -> Self {
        Self { began: Instant::now(), began_micros, speed, stop }
    }

    /// Waits for the simulated instant; false when asked to stop.
    #[must_use]
    pub fn wait_until(&self, at_micros: i64) -> bool {
        let after_s = (at_micros - self.began_micros) as f64 * 1e-6 / self.speed;
        loop {
            if self.stop.is_stopped() {
                return false;
            }
            let left_s = after_s - self.began.elapsed().as_secs_f64();
            if left_s <= 0.0 {
                return true;
            }
            thread::sleep(SLICE.min(Duration::from_secs_f64(left_s)));
        }
    }

    /// Whether somebody asked to stop.
    #[must_use]
    pub fn is_stopped(&self) -> bool {
        self.stop.is_stopped()
    }
}
