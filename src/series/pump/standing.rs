//! How the series stands, as the pump tells it after each turn.

use super::super::track::{Heads, Track, Trouble};
use crate::core::time::Timestamp;

/// How the series stands, for whoever watches over it.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Standing {
    /// About how many readings have not been sent.
    pub readings_behind: u64,
    /// How many records have not been sent.
    pub records_behind: u64,
    /// Time of the oldest reading that has not been sent, as far as is known.
    pub oldest: Option<Timestamp>,
    /// When the server last took something.
    pub last_taken: Option<Timestamp>,
    /// Points set aside in the life of the ledger.
    pub set_aside: u64,
    /// Why nothing goes out; `None` while it does.
    pub trouble: Option<Trouble>,
}

impl Standing {
    /// How a track stands where the ledger is at `heads`.
    #[must_use]
    pub fn of(track: &Track, heads: Heads) -> Self {
        Self {
            readings_behind: track.inputs_behind(heads),
            records_behind: track.records_behind(heads),
            oldest: track.oldest(heads),
            last_taken: track.last_taken,
            set_aside: track.set_aside,
            trouble: track.trouble.clone(),
        }
    }
}
