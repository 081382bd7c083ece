//! What the tests that kill at random instants share: their numbers, and how to repeat a run.

use std::thread;
use std::time::{SystemTime, UNIX_EPOCH};

/// Says how to repeat the run, where it fails.
pub(crate) struct AgainWith {
    /// How often it kills.
    pub(crate) kills: u32,
    /// What its chance flows from.
    pub(crate) seed: u64,
    test: &'static str,
}

impl AgainWith {
    /// The numbers of a run of this module, from `KILLS` and `SEED` where they are set.
    pub(crate) fn of_environment(test: &'static str, kills: u32) -> Self {
        let kills = number("KILLS").map_or(kills, |kills| u32::try_from(kills).expect("a count of kills"));
        Self { kills, seed: number("SEED").unwrap_or_else(fresh_seed), test }
    }
}

impl Drop for AgainWith {
    fn drop(&mut self) {
        if thread::panicking() {
            report(&format!(
                "again with: KILLS={} SEED={} cargo test --features failpoints --test tests {}",
                self.kills, self.seed, self.test
            ));
        }
    }
}

#[expect(clippy::print_stderr, reason = "a test says what it measured, and how to repeat it")]
pub(crate) fn report(text: &str) {
    eprintln!("{text}");
}

fn number(variable: &str) -> Option<u64> {
    let text = std::env::var(variable).ok()?;
    Some(text.parse().unwrap_or_else(|_| panic!("{variable} is a number, not {text}")))
}

fn fresh_seed() -> u64 {
    let since = SystemTime::now().duration_since(UNIX_EPOCH).expect("a clock after 1970");
    u64::from(since.subsec_nanos())
}
