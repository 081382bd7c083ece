//! Chemical sanitizers by FDA Food Code 4-501.114 and 4-703.11.

use serde::{Deserialize, Serialize};

/// Why a concentration cannot sanitize.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Refusal {
    /// Below the lowest permitted concentration.
    TooWeak,
    /// Above the highest permitted concentration.
    TooStrong,
    /// The pH is above what the table covers.
    PhTooHigh,
}
