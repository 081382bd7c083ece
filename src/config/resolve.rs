//! The configuration as the program uses it: whatever exists makes sense.

use std::path::PathBuf;
use std::time::Duration;

use super::delivery::Delivery;
use super::source::Source;
use crate::core::channel::Channel;
use crate::core::cycle::plate::Profile;

/// Where and how the ledger is kept.
#[derive(Clone, PartialEq, Debug)]
pub struct LedgerOptions {
    /// The file.
    pub path: PathBuf,
    /// Longest time between two commits.
    pub commit_interval: Duration,
    /// How long blocks of readings are kept; records and the traces of cycles stay for ever.
    pub block_retention: Duration,
}

/// The whole configuration.
#[derive(Clone, Debug)]
pub struct Configuration {
    /// Name of the site.
    pub site: String,
    /// Machines; the place is the [`crate::core::id::MachineId`].
    pub machines: Vec<Profile>,
    /// Channels; the place is the [`crate::core::id::ChannelId`].
    pub channels: Vec<Channel>,
    /// Sources; the place is the [`crate::core::id::SourceId`].
    pub sources: Vec<Source>,
    /// The ledger.
    pub ledger: LedgerOptions,
    /// How messages leave.
    pub delivery: Delivery,
    /// How far ahead of the gateway's clock a reading may be stamped.
    pub ahead_max: Duration,
}
