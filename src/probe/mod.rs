//! Sources: serial ports, brokers, files.
//!
//! Each source runs on its own and meets the rest in one bounded channel. It
//! numbers what it delivers; the application says through a
//! [`tokio::sync::watch`] up to which number everything is committed, and only
//! then may a source acknowledge to whoever sent it.

pub mod modbus;
pub mod mqtt;
mod outlet;
pub mod ports;
pub mod refusals;
pub mod replay;
pub mod scan;
pub mod serial;
pub mod text;

use serde::{Deserialize, Serialize};

use crate::core::id::{ChannelId, SourceId};
use crate::core::reading::Sample;
use crate::core::time::Timestamp;
use crate::wire::refusal::Refusal;

/// What a source sends to the application.
#[derive(Debug)]
pub enum FromSource {
    /// Values arrived.
    Delivery(Delivery),
    /// The source itself changed state.
    State {
        /// Which source.
        source: SourceId,
        /// What it is now.
        state: SourceState,
    },
    /// A unit on a line that several share answers a request, or not, other than the last time.
    Unit {
        /// Which source.
        source: SourceId,
        /// Address of the unit.
        unit: u8,
        /// The channels that the request is for.
        channels: Vec<ChannelId>,
        /// How it answers.
        state: UnitState,
    },
}

/// How a unit answers a request.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(tag = "state", rename_all = "kebab-case")]
pub enum UnitState {
    /// With values.
    Answers,
    /// Not at all.
    Silent,
    /// With something, after its time-out.
    Late,
    /// With what cannot be read.
    Garbled,
    /// With an exception.
    Refuses {
        /// Code of the function that it was asked for.
        function: u8,
        /// The first register, counted from 0.
        register: u16,
        /// Code of the exception.
        exception: u8,
    },
}

/// Values that arrived together.
#[derive(Debug)]
pub struct Delivery {
    /// Which source.
    pub source: SourceId,
    /// Number of this delivery, counted by the source from 1 without a hole.
    pub number: u64,
    /// When it arrived, by the gateway's clock.
    pub received: Timestamp,
    /// How many messages it holds, each of which a broker counts as under way.
    pub messages: u64,
    /// What could be used, in order.
    pub samples: Vec<Sample>,
    /// What could not.
    pub refusals: Vec<Refusal>,
}

/// State of a source.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum SourceState {
    /// Open and listening.
    Up,
    /// Not reachable; the source keeps trying.
    Down {
        /// Why, for people.
        cause: String,
    },
    /// A file or standard input came to its end.
    Ended,
}
