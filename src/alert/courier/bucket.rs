//! How many letters may leave now: a bucket of tokens that fills at a steady rate.

use std::time::Duration;

use tokio::time::Instant;

/// A bucket that holds one minute's letters.
#[derive(Clone, Copy, Debug)]
pub(super) struct Bucket {
    per_minute: f64,
    tokens: f64,
    at: Instant,
}

impl Bucket {
    /// A full one.
    pub(super) fn full(per_minute: u32, now: Instant) -> Self {
        let per_minute = f64::from(per_minute.max(1));
        Self { per_minute, tokens: per_minute, at: now }
    }

    /// How many letters may leave at once.
    pub(super) fn available(&mut self, now: Instant) -> usize {
        let filled = now.saturating_duration_since(self.at).as_secs_f64() * self.per_minute / 60.0;
        self.tokens = (self.tokens + filled).min(self.per_minute);
        self.at = now;
        // A hair below a whole one counts, so that waiting until `next` is never in vain.
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "from 0 to the letters of a minute"
        )]
        let whole = (self.tokens + 1e-6) as usize;
        whole
    }

    /// Takes one out.
    pub(super) fn take(&mut self, now: Instant) {
        self.available(now);
        self.tokens = (self.tokens - 1.0).max(0.0);
    }

    /// When the next one may leave.
    pub(super) fn next(&self, now: Instant) -> Instant {
        let lacking = (1.0 - self.tokens).max(0.0) * 60.0 / self.per_minute;
        now + Duration::from_secs_f64(lacking)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Arithmetic of a steady rate, no outside source.
    #[test]
    fn a_minutes_letters_at_once_then_at_a_steady_rate() {
        let start = Instant::now();
        let mut bucket = Bucket::full(30, start);
        assert_eq!(bucket.available(start), 30);
        for _ in 0..30 {
            bucket.take(start);
        }
        assert_eq!(bucket.available(start), 0);
        assert_eq!(bucket.next(start), start + Duration::from_secs(2));
        for (seconds, expected) in [(1, 0), (2, 1), (10, 5), (1000, 30)] {
            assert_eq!(
                bucket.clone().available(start + Duration::from_secs(seconds)),
                expected,
                "{seconds} s"
            );
        }
    }
}
