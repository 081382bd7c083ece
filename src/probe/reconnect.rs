//! How long to wait before a source is tried again.

use std::time::Duration;

/// First wait after a success (own choice: a plug pushed back in is found at once).
const FIRST_WAIT: Duration = Duration::from_millis(100);

/// Waits that double from 100 ms up to a cap, and begin anew after a success.
///
/// Without chance: a site has one gateway, so nobody else knocks at the same time.
#[derive(Clone, Debug)]
pub struct Backoff {
    next: Duration,
    most: Duration,
}

impl Backoff {
    /// Waits of at most `most`.
    #[must_use]
    pub fn new(most: Duration) -> Self {
        Self { next: FIRST_WAIT.min(most), most }
    }

    /// How long to wait after one more failure.
    pub fn after_failure(&mut self) -> Duration {
        let wait = self.next;
        self.next = wait.saturating_mul(2).min(self.most);
        wait
    }

    /// The source works: the next failure waits the shortest time again.
    pub fn after_success(&mut self) {
        self.next = FIRST_WAIT.min(self.most);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // The series is the gateway's own choice.
    #[test]
    fn doubles_up_to_the_cap_and_begins_anew() {
        let mut backoff = Backoff::new(Duration::from_millis(700));
        let mut waits = |count| (0..count).map(|_| backoff.after_failure().as_millis()).collect::<Vec<_>>();
        assert_eq!(waits(6), [100, 200, 400, 700, 700, 700]);
        backoff.after_success();
        assert_eq!(backoff.after_failure().as_millis(), 100);
        assert_eq!(Backoff::new(Duration::from_millis(30)).after_failure().as_millis(), 30);
    }
}
