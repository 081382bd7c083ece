//! What a source delivers: one value of one channel at one instant, untouched.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use super::id::ChannelId;
use super::time::Timestamp;

/// Why a channel has no usable value. A fault is a reading like any other: it
/// is stored, and it makes a cycle unproven, never cold.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Fault {
    /// The loop is broken: a thermocouple burned out or a lead came off.
    OpenCircuit,
    /// The leads touch before the junction: the probe reads its own terminal.
    Short,
    /// Positive and negative lead are exchanged: the value moves the wrong way.
    Reversed,
    /// Outside what this kind of probe, or any dish machine, can show.
    OutOfRange,
    /// The same digits for longer than water can stand still.
    Stuck,
    /// Nothing arrives.
    Silent,
    /// The temperature of a thermocouple's terminals is not known.
    NoColdJunction,
    /// The source reports a fault of its own that has no name here.
    Reported,
}

impl Fault {
    /// Every fault, in the order of declaration.
    pub const ALL: [Self; 8] = [
        Self::OpenCircuit,
        Self::Short,
        Self::Reversed,
        Self::OutOfRange,
        Self::Stuck,
        Self::Silent,
        Self::NoColdJunction,
        Self::Reported,
    ];

    /// The word used on the wire, in records and on pages.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::OpenCircuit => "open-circuit",
            Self::Short => "short",
            Self::Reversed => "reversed",
            Self::OutOfRange => "out-of-range",
            Self::Stuck => "stuck",
            Self::Silent => "silent",
            Self::NoColdJunction => "no-cold-junction",
            Self::Reported => "reported",
        }
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

impl FromStr for Fault {
    type Err = UnknownFault;

    fn from_str(text: &str) -> Result<Self, UnknownFault> {
        Self::ALL.into_iter().find(|fault| fault.as_str() == text).ok_or(UnknownFault)
    }
}

/// The word names no fault known here; see [`Fault::Reported`].
#[derive(Clone, Copy, PartialEq, Eq, Debug, thiserror::Error)]
#[error("no such fault")]
pub struct UnknownFault;

/// The value of a channel as it was delivered, in the channel's own unit.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize)]
pub enum Value {
    /// A finite number in the unit of the channel's [`super::channel::Signal`].
    Number(f64),
    /// A run signal.
    Flag(bool),
    /// A fault in place of a value.
    Fault(Fault),
}

/// One value of one channel at the instant the source gives for it.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize)]
pub struct Sample {
    /// Whose value it is.
    pub channel: ChannelId,
    /// When it was measured, by the source's clock (arrival where the source has none).
    #[serde(with = "super::time::micros")]
    pub at: Timestamp,
    /// What was measured.
    pub value: Value,
}
