//! How long the server of an HTTP answer asks to be left alone.

use std::time::Duration;

/// Reads a `Retry-After` (RFC 9110 §10.2.3): seconds, or a time by the clock of the server, which
/// its `Date` shows; our own clock does not come into it. `None` where it is neither, or a time
/// without a `Date`.
#[must_use]
pub fn read(retry_after: &str, date: Option<&str>) -> Option<Duration> {
    if let Ok(seconds) = retry_after.trim().parse::<u64>() {
        return Some(Duration::from_secs(seconds));
    }
    let second = |text: &str| Some(jiff::fmt::rfc2822::parse(text.trim()).ok()?.timestamp().as_second());
    let (until, now) = (second(retry_after)?, second(date?)?);
    Some(Duration::from_secs(u64::try_from(until.saturating_sub(now)).unwrap_or(0)))
}
