//! How long a browser session lasts.
//!
//! | role | without a request | at most | |
//! |---|---|---|---|
//! | administrator | 1 h | 12 h | NIST SP 800-63B §4.2.3: 12 h, at most 30 min without; an hour since accounts are made at a desk (own choice) |
//! | any other | 12 h | 7 days | §4.1.3 permits 30 days; a shift without a request ends it (own choice) |

use std::time::Duration;

use crate::core::access::Role;
use crate::core::time::Timestamp;

const HOUR: u64 = 3_600;

/// Longest life of any session.
pub(super) const ABSOLUTE: Duration = Duration::from_secs(7 * 24 * HOUR);
/// How exactly it is known when one was last seen.
pub(super) const SEEN_EVERY: Duration = Duration::from_secs(60);

/// Whether a session that began at `made` and was last seen at `seen` holds.
pub(super) fn holds(role: Role, made: Timestamp, seen: Timestamp, now: Timestamp) -> bool {
    let (idle, absolute) = match role {
        Role::Administrator => (Duration::from_secs(HOUR), Duration::from_secs(12 * HOUR)),
        Role::Auditor | Role::Operator | Role::Manager | Role::Technician => {
            (Duration::from_secs(12 * HOUR), ABSOLUTE)
        }
    };
    now.since(made) < absolute && now.since(seen) < idle
}

#[cfg(test)]
mod tests {
    use super::*;

    // The table above.
    #[test]
    fn a_session_ends_when_idle_and_at_its_longest() {
        let at = |hours: u64| Timestamp::from_micros(0).plus(Duration::from_secs(hours * HOUR));
        for (role, seen, now, expected) in [
            (Role::Operator, 0, 11, true),
            (Role::Operator, 0, 12, false),
            (Role::Operator, 167, 167, true),
            (Role::Operator, 168, 168, false),
            (Role::Administrator, 0, 1, false),
            (Role::Administrator, 11, 11, true),
            (Role::Administrator, 12, 12, false),
        ] {
            assert_eq!(holds(role, at(0), at(seen), at(now)), expected, "{role} {seen} {now}");
        }
    }
}
