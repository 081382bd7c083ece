//! What a machine keeps of the past, in a form that a snapshot can store.

use std::collections::VecDeque;

use serde::{Deserialize, Serialize};

use super::place_of;
use crate::core::channel::Channel;
use crate::core::cycle::judge::Concentration;
use crate::core::cycle::plate::Profile;
use crate::core::cycle::tracker::Tracker;
use crate::core::intake::{Junction, Stillness, Terminals};
use crate::core::presence::Presence;
use crate::core::reading::Sample;
use crate::core::reorder::Reorder;
use crate::core::time::Timestamp;

/// Version of the stored state; a state of another version is not used.
pub(super) const STATE_VERSION: u32 = 2;

/// Why a stored state cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum StaleState {
    /// It does not have the form of this version.
    #[error("the stored state of a machine cannot be read")]
    Unreadable(#[source] serde_json::Error),
    /// Another version made it.
    #[error("the stored state of a machine has version {found}; this program reads {STATE_VERSION}")]
    Version {
        /// Version found.
        found: u32,
    },
    /// It was made for other channels, or for another kind of rinse.
    #[error("the stored state is of a machine that was configured otherwise")]
    Machine,
}

/// The part that a snapshot keeps.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub(super) struct State {
    pub(super) version: u32,
    /// The machine and its channels as they were configured; see [`signature`].
    pub(super) signature: String,
    pub(super) reorder: Reorder,
    pub(super) tracker: Tracker,
    pub(super) channels: Vec<ChannelState>,
    pub(super) ph: Option<f64>,
    pub(super) dosed: Option<Dosed>,
    pub(super) recorded_check: Option<Concentration>,
    pub(super) behind: Option<Behind>,
    pub(super) expected: bool,
    pub(super) snapshot_at: Option<Timestamp>,
    /// Event time of the last snapshot.
    #[serde(default)]
    pub(super) snapshot_of: Option<Timestamp>,
    /// Whether something came since the last snapshot.
    #[serde(skip)]
    pub(super) changed: bool,
}

/// What is known of one channel.
#[derive(Clone, Copy, PartialEq, Debug, Default, Serialize, Deserialize)]
pub(super) struct ChannelState {
    pub(super) presence: Presence,
    pub(super) stillness: Stillness,
    /// Last value of a cold junction.
    pub(super) junction: Option<Junction>,
    /// Emf of a thermocouple's terminals; made again where it is not known.
    #[serde(skip)]
    pub(super) terminals: Terminals,
    /// Last reading handed to the tracker.
    pub(super) judged: Option<Timestamp>,
}

/// A concentration that waits for the pH of the same instant, which may come after it.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize)]
pub(super) struct Dosed {
    pub(super) at: Timestamp,
    pub(super) mg_per_l: f64,
    pub(super) local: usize,
}

/// A stretch in which all that arrives is late.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub(super) struct Behind {
    pub(super) first_at: Timestamp,
    pub(super) first_now: Timestamp,
    pub(super) newest_at: Timestamp,
    pub(super) samples: VecDeque<Sample>,
}

impl State {
    pub(super) fn new(profile: &Profile, channels: &[Channel]) -> Self {
        Self {
            version: STATE_VERSION,
            signature: signature(profile, channels),
            reorder: Reorder::new(),
            tracker: Tracker::new(profile.rinse_from),
            channels: vec![ChannelState::default(); channels.len()],
            ph: None,
            dosed: None,
            recorded_check: None,
            behind: None,
            expected: false,
            snapshot_at: None,
            snapshot_of: None,
            changed: false,
        }
    }
}

/// What a stored state depends on beside its version: a state that was made for other channels, or
/// for another kind of rinse, must not be taken up.
pub(super) fn signature(profile: &Profile, channels: &[Channel]) -> String {
    let mut signature = format!("{} {:?} {:?}", profile.name, profile.kind, profile.rinse_from);
    for channel in channels {
        signature.push_str(&format!(" {} {:?}", channel.name, place_of(channel)));
    }
    signature
}
