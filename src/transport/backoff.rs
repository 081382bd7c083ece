//! How long to wait before something outside is tried again.

use std::time::Duration;

/// Waits that double from the first up to the longest, and begin anew after a success.
///
/// Without chance: a site has one gateway, so nobody else knocks at the same time.
#[derive(Clone, Debug)]
pub struct Backoff {
    first: Duration,
    longest: Duration,
    next: Duration,
}

impl Backoff {
    /// Waits of `first` and more, of at most `longest`.
    #[must_use]
    pub fn new(first: Duration, longest: Duration) -> Self {
        let first = first.min(longest);
        Self { first, longest, next: first }
    }

    /// How long to wait after one more failure.
    pub fn after_failure(&mut self) -> Duration {
        let wait = self.next;
        self.next = wait.saturating_mul(2).min(self.longest);
        wait
    }

    /// It works: the next failure waits the shortest time again.
    pub fn after_success(&mut self) {
        self.next = self.first;
    }

    /// The same for a connection that came to its end, where it had held for longer than the
    /// longest wait: one that breaks at once each time must not be made at that pace.
    pub fn after_connection(&mut self, held: Duration) {
        if held > self.longest {
            self.after_success();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // The series is the gateway's own choice.
    #[test]
    fn doubles_up_to_the_cap_and_begins_anew() {
        let ms = Duration::from_millis;
        let mut backoff = Backoff::new(ms(100), ms(700));
        let mut waits = |count| (0..count).map(|_| backoff.after_failure().as_millis()).collect::<Vec<_>>();
        assert_eq!(waits(6), [100, 200, 400, 700, 700, 700]);
        backoff.after_success();
        assert_eq!(backoff.after_failure(), ms(100));
        backoff.after_connection(ms(700));
        assert_eq!(backoff.after_failure(), ms(200), "it did not hold for long");
        backoff.after_connection(ms(701));
        assert_eq!(backoff.after_failure(), ms(100));
        assert_eq!(Backoff::new(ms(100), ms(30)).after_failure(), ms(30));
    }
}
