//! What happens to the service itself: starts and stops, clocks, configurations, its own mistakes.

use serde::{Deserialize, Serialize};

use crate::core::time::Timestamp;

/// The service started.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct ServiceStart {
    /// Version of the program.
    pub version: String,
    /// Last instant on record before this start.
    pub last_record: Option<Timestamp>,
    /// Whether the last run ended in order.
    pub after_clean_stop: bool,
    /// Whether a file of readings is replayed: there is no clock beside them, and what is recorded
    /// of the machines up to the next start bears the times of the readings.
    #[serde(skip_serializing_if = "std::ops::Not::not", default)]
    pub from_file: bool,
    /// Inputs that were applied again to bring the machines back to where they were.
    pub replayed: u64,
}

impl ServiceStart {
    /// Whether the ledger begins with it: no run came before, so that none ended.
    #[must_use]
    pub const fn is_first(&self) -> bool {
        self.last_record.is_none()
    }
}

/// The service stopped in order.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct ServiceStop {
    /// Why.
    pub cause: StopCause,
}

/// Why the service stopped.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum StopCause {
    /// A terminate or interrupt signal.
    Signal,
    /// Every source came to its end.
    EndOfInput,
}

/// A clock stepped.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct ClockStep {
    /// Whose clock.
    pub clock: Clock,
    /// What it showed before.
    pub from: Timestamp,
    /// What it showed after.
    pub to: Timestamp,
}

/// Whose clock.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Clock {
    /// The gateway's.
    Gateway,
    /// That of the sources of one machine.
    Source,
}

/// The configuration in force changed.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct ConfigurationChange {
    /// SHA-256 of the resolved configuration in hexadecimal.
    pub sha256: String,
    /// The resolved configuration, secrets left out, as TOML.
    pub toml: String,
}

/// A mistake in this program ended the judging of one machine.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct MachineFailure {
    /// What the program says of its mistake.
    pub cause: String,
    /// Whether the machine is left alone until the service starts again. Otherwise its judging
    /// begins anew with the next reading; the cycle under way is not judged.
    pub stopped: bool,
}
