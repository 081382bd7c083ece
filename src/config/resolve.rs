//! The configuration as the program uses it: whatever exists makes sense.

use std::path::PathBuf;
use std::time::Duration;

use jiff::civil::Time;

use super::delivery::Delivery;
use super::source::Source;
use crate::core::alert::Settings;
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

/// Who gets a digest.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct DigestOptions {
    /// When it leaves, in the site's time.
    pub at: Time,
    /// Contacts that get the one of yesterday, every day.
    pub daily: Vec<String>,
    /// Contacts that get the one of last week, on Mondays.
    pub weekly: Vec<String>,
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
    /// Whom to call for service, as messages say it.
    pub call: Option<String>,
    /// Who is told of what, and when.
    pub alerts: Settings,
    /// Who gets which digest, and when.
    pub digest: DigestOptions,
    /// How messages leave.
    pub delivery: Delivery,
    /// How far ahead of the gateway's clock a reading may be stamped.
    pub ahead_max: Duration,
}
