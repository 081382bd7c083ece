//! What is said to whoever works at the machine, before and while it is done.
//!
//! Scald times and isolation are those of burn-prevention tables and of OSHA 29 CFR 1910.147; the
//! rest is common practice. Local code always comes first.

/// Where readings are looked at.
pub const SCALD: &str = "Hot water and steam scald at once. Never reach into a running machine, open its \
                         door in mid-rinse, or reach into a tank to get at a probe.";

/// The same where there is room for a line or two.
pub const SCALD_SHORT: &str = "Hot water scalds at once. Never reach into a running machine.";

/// Before a cover comes off.
pub const ISOLATION: &str = "Before a cover comes off: shut down, isolate, lock out, and verify. A booster \
                             often has a second supply. Mains is a licensed electrician's work.";

/// Before a line is opened.
pub const PLUMBING: &str = "Before a fitting is loosened: let the line cool, isolate and drain it. Wells and \
                            tees in a pressure line are a licensed plumber's work; local code comes first.";

/// What the readings are not.
pub const AID: &str = "An aid: the machine's gauges, the test kit and the surface indicator stay needed.";
