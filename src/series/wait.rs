//! How long to wait before the server is asked again.

use std::time::Duration;

use crate::transport::backoff::Backoff;

/// The waits between tries; each is drawn from the upper half of its span, so that gateways
/// that lost the same server do not come back in step.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Waits {
    /// After the first failure; doubled with each further one.
    pub first: Duration,
    /// No wait after a failure is longer.
    pub longest: Duration,
    /// Where only a person can help: a wrong token, a bucket that is not there, everything refused.
    pub person: Duration,
    /// What a server asks for is obeyed up to this; the header of a broken proxy must not
    /// silence the series for a day.
    pub asked_max: Duration,
}

impl Default for Waits {
    fn default() -> Self {
        Self {
            first: Duration::from_secs(1),
            longest: Duration::from_secs(60),
            person: Duration::from_secs(60),
            asked_max: Duration::from_secs(600),
        }
    }
}

/// Counts failures and gives the wait after each.
#[derive(Clone, Debug)]
pub struct BackOff {
    waits: Waits,
    doubling: Backoff,
}

impl BackOff {
    /// Begins with the shortest wait.
    #[must_use]
    pub fn new(waits: Waits) -> Self {
        Self { waits, doubling: Backoff::new(waits.first, waits.longest) }
    }

    /// It worked.
    pub fn reset(&mut self) {
        self.doubling.after_success();
    }

    /// The wait after a failure; `draw` is chance, 0 to 255.
    pub fn failed(&mut self, draw: u8) -> Duration {
        spread(self.doubling.after_failure(), draw)
    }

    /// The wait of a server that says how long, or of one that only says it is busy.
    pub fn busy(&mut self, asked: Option<Duration>, draw: u8) -> Duration {
        match asked {
            // Never earlier than asked; the spread comes on top.
            Some(asked) => {
                let asked = asked.min(self.waits.asked_max);
                asked + spread(self.waits.first, draw) / 4
            }
            None => self.failed(draw),
        }
    }

    /// The wait for a person.
    #[must_use]
    pub fn person(&self, draw: u8) -> Duration {
        spread(self.waits.person, draw)
    }
}

/// Chance from the system, for the waits; without any the waits are the longest.
#[must_use]
pub fn draw() -> u8 {
    let mut byte = [u8::MAX];
    match getrandom::fill(&mut byte) {
        Ok(()) => byte[0],
        Err(_) => u8::MAX,
    }
}

fn spread(wait: Duration, draw: u8) -> Duration {
    wait / 2 + wait.mul_f64(f64::from(draw) / 510.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn seconds(count: u64) -> Duration {
        Duration::from_secs(count)
    }

    // The figures of `Waits::default`, own choice.
    #[test]
    fn waits_double_up_to_a_minute_and_begin_again() {
        let mut back_off = BackOff::new(Waits::default());
        let waits: Vec<u64> = (0..8).map(|_| back_off.failed(255).as_secs()).collect();
        assert_eq!(waits, [1, 2, 4, 8, 16, 32, 60, 60]);
        assert_eq!(back_off.failed(0), seconds(30), "half of it at least");
        back_off.reset();
        assert_eq!(back_off.failed(255), seconds(1));
    }

    // RFC 9110 §10.2.3: how long the server asks to wait before the next request.
    #[test]
    fn what_the_server_asks_for_is_obeyed_up_to_ten_minutes() {
        let mut back_off = BackOff::new(Waits::default());
        for (asked, least) in [(0, 0), (7, 7), (600, 600), (86_400, 600)] {
            for draw in [0, 128, 255] {
                let wait = back_off.busy(Some(seconds(asked)), draw);
                assert!(wait >= seconds(least) && wait <= seconds(least + 1), "{asked} s: {wait:?}");
            }
        }
        assert_eq!(back_off.busy(None, 255), seconds(1));
    }
}
