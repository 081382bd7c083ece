//! The service's clock, as commands see it: a demo lives faster than the world, and at another hour.
//!
//! What a command says of a time goes on record beside what the service measures, and is judged by the service's
//! clock. So a command goes by that one wherever a service answers, and by the computer's where none does.

use std::path::Path;
use std::time::Duration;

use serde::{Deserialize, Serialize};

use super::client;
use crate::config::resolve::socket_beside;
use crate::core::time::Timestamp;
use crate::runtime::clock::Clock;

/// The route.
pub(in crate::app) const TIME: &str = "/time";
/// Longest wait for the answer (own choice: a service that stands still keeps nobody from reading its ledger).
const ANSWER_MAX: Duration = Duration::from_secs(2);

/// How the clock of the service stands and runs.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize)]
pub(in crate::app) struct Time {
    /// What it shows.
    pub(in crate::app) now: Timestamp,
    /// Seconds of it in one second of the world.
    pub(in crate::app) rate: f64,
}

impl Time {
    /// That of this clock.
    pub(in crate::app) fn of(clock: &Clock) -> Self {
        Self { now: clock.now(), rate: clock.rate() }
    }
}

/// The clock of the service behind this socket; that of the computer where none answers, or one that does not
/// tell its time.
pub(in crate::app) fn clock(socket: &Path) -> Clock {
    match client::get_within::<Time>(socket, TIME, ANSWER_MAX) {
        Ok(Time { now, rate }) if rate.is_finite() && rate > 0.0 => Clock::at_rate(now, rate),
        Ok(told) => {
            tracing::warn!(?told, "the service tells a time that no clock shows");
            Clock::system()
        }
        Err(error) => {
            tracing::debug!(%error, "no service tells its time");
            Clock::system()
        }
    }
}

/// The clock of the service that writes this ledger, whose configuration names the socket; without one it is looked
/// for where it usually listens.
pub(in crate::app) fn clock_of(ledger: &Path, socket: Option<&Path>) -> Clock {
    socket.map_or_else(|| clock(&socket_beside(ledger)), clock)
}
