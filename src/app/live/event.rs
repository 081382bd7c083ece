//! What somebody who looks on is told, and its form as JSON at the control socket.
//!
//! One object a line, told apart by `event`: `begun`, `reading`, `source`, `unit`, `refused`,
//! `lost`, `ended`. Temperatures are in °C, times RFC 3339. Fields are added, never taken away.

use serde::{Deserialize, Serialize};

use crate::core::channel::{Channel, Place, Role};
use crate::core::reading::{Fault, Value};
use crate::core::readout::Shown;
use crate::core::time::Timestamp;
use crate::core::units::Celsius;
use crate::probe::UnitState;

/// Something that happens while readings are looked at.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
#[serde(tag = "event", rename_all = "kebab-case")]
pub(in crate::app) enum LiveEvent {
    /// The service begins to tell.
    Begun(Begun),
    /// A value of one channel was delivered.
    Reading(LiveReading),
    /// A source came up or went down; at the beginning, how each that has said so stands.
    Source(SourceSeen),
    /// A unit of a source answers for some channels other than before; at the beginning, how each stands.
    Unit(UnitSeen),
    /// A source delivered something that cannot be used.
    Refused {
        /// Which.
        source: String,
        /// The name or its first characters, made printable.
        what: String,
        /// Why, in words.
        why: String,
    },
    /// The listener was too slow, and this many events before the next one are lost to it.
    Lost {
        /// How many.
        events: u64,
    },
    /// Nothing else will come.
    Ended {
        /// Why, in words.
        cause: String,
    },
}

/// Who tells.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub(in crate::app) struct Begun {
    /// Version of the service.
    pub(in crate::app) version: String,
    /// SHA-256 of the configuration in force, in hexadecimal.
    pub(in crate::app) configuration: String,
    /// Whether its machines are simulated; absent where they are real.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub(in crate::app) simulated: bool,
}

/// A value of one channel as it was delivered, and what the core makes of it.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub(in crate::app) struct LiveReading {
    /// Name of the channel, `<machine>/<probe>`.
    pub(in crate::app) channel: String,
    /// Name of its machine.
    pub(in crate::app) machine: String,
    /// What the channel is for.
    pub(in crate::app) role: LiveRole,
    /// Where the probe sits; absent for what is no probe.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub(in crate::app) place: Option<Place>,
    /// When it was measured, by the source's clock.
    pub(in crate::app) at: Timestamp,
    /// When it arrived, by the gateway's clock.
    pub(in crate::app) arrived: Timestamp,
    /// What was delivered, in the channel's own unit: a number, `true` or `false`, or the word of a fault.
    #[serde(with = "plain")]
    pub(in crate::app) delivered: Value,
    /// Temperature before any calibration.
    #[serde(rename = "measured_c", skip_serializing_if = "Option::is_none", default)]
    pub(in crate::app) measured: Option<Celsius>,
    /// Temperature after the correction in force.
    #[serde(rename = "corrected_c", skip_serializing_if = "Option::is_none", default)]
    pub(in crate::app) corrected: Option<Celsius>,
    /// Why there is no usable temperature; a stuck probe shows its digits all the same.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub(in crate::app) fault: Option<Fault>,
}

/// What a channel is for, as one word.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(in crate::app) enum LiveRole {
    /// A temperature probe.
    Probe,
    /// The temperature of a thermocouple's terminals.
    ColdJunction,
    /// The machine's run signal.
    Running,
    /// Sanitizer, mg/L.
    Concentration,
    /// pH.
    Ph,
}

/// How a source stands.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub(in crate::app) struct SourceSeen {
    /// Its name in the configuration.
    pub(in crate::app) source: String,
    /// Whether it is open and listened to.
    pub(in crate::app) up: bool,
    /// Why it is not, in words.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub(in crate::app) cause: Option<String>,
}

/// How a unit on a line that several share answers for some channels.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub(in crate::app) struct UnitSeen {
    /// Name of its source in the configuration.
    pub(in crate::app) source: String,
    /// Its address.
    pub(in crate::app) unit: u8,
    /// The channels, `<machine>/<probe>`.
    pub(in crate::app) channels: Vec<String>,
    /// `state`: `answers`, `silent`, `late`, `garbled`, or `refuses` with function, register and exception.
    #[serde(flatten)]
    pub(in crate::app) state: UnitState,
}

impl LiveReading {
    /// A value of this channel.
    pub(in crate::app) fn new(
        channel: &Channel,
        at: Timestamp,
        arrived: Timestamp,
        delivered: Value,
        shown: Shown,
    ) -> Self {
        let Shown { measured, corrected, fault } = shown;
        let place = match &channel.role {
            Role::Probe(probe) => Some(probe.place),
            Role::ColdJunction { .. } | Role::Running | Role::Concentration | Role::Ph => None,
        };
        Self {
            channel: channel.name.to_string(),
            machine: channel.name.machine().to_owned(),
            role: LiveRole::of(channel),
            place,
            at,
            arrived,
            delivered,
            measured,
            corrected,
            fault,
        }
    }
}

impl LiveRole {
    /// What this channel is for.
    const fn of(channel: &Channel) -> Self {
        match &channel.role {
            Role::Probe(_) => Self::Probe,
            Role::ColdJunction { .. } => Self::ColdJunction,
            Role::Running => Self::Running,
            Role::Concentration => Self::Concentration,
            Role::Ph => Self::Ph,
        }
    }
}

/// A value as JSON without a name for its kind.
mod plain {
    use serde::{Deserialize, Deserializer, Serialize, Serializer};

    use crate::core::reading::{Fault, Value};

    #[derive(Serialize, Deserialize)]
    #[serde(untagged)]
    enum Plain {
        Number(f64),
        Flag(bool),
        Fault(Fault),
    }

    pub(super) fn serialize<S: Serializer>(value: &Value, serializer: S) -> Result<S::Ok, S::Error> {
        let plain = match *value {
            Value::Number(number) => Plain::Number(number),
            Value::Flag(flag) => Plain::Flag(flag),
            Value::Fault(fault) => Plain::Fault(fault),
        };
        plain.serialize(serializer)
    }

    pub(super) fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Value, D::Error> {
        Ok(match Plain::deserialize(deserializer)? {
            Plain::Number(number) => Value::Number(number),
            Plain::Flag(flag) => Value::Flag(flag),
            Plain::Fault(fault) => Value::Fault(fault),
        })
    }
}
