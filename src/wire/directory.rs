//! Which name on the wire is which channel.

use std::collections::BTreeMap;

use crate::core::id::ChannelId;

/// Unit in which a channel's numbers must come.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum WireUnit {
    /// Degrees Celsius, SenML `Cel`.
    Celsius,
    /// Degrees Fahrenheit; SenML has no registered unit for it, `degF` is accepted.
    Fahrenheit,
    /// Kelvin, SenML `K`.
    Kelvin,
    /// Volt, SenML `V`.
    Volt,
    /// Ohm, SenML `Ohm`.
    Ohm,
    /// A boolean, no unit.
    Flag,
    /// Milligrams per litre of sanitizer; SenML `mg/L` or none.
    MilligramPerLitre,
    /// pH, SenML `pH` or none.
    Ph,
}

impl WireUnit {
    /// The unit symbol of SenML (RFC 8428 §12.1); empty for a flag.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Celsius => "Cel",
            Self::Fahrenheit => "degF",
            Self::Kelvin => "K",
            Self::Volt => "V",
            Self::Ohm => "Ohm",
            Self::Flag => "",
            Self::MilligramPerLitre => "mg/L",
            Self::Ph => "pH",
        }
    }
}

/// Names on the wire and what they stand for.
#[derive(Clone, Debug, Default)]
pub struct Directory {
    channels: BTreeMap<String, (ChannelId, WireUnit)>,
}

impl Directory {
    /// Adds a channel under its whole name, `<machine>/<probe>`.
    pub fn insert(&mut self, name: String, channel: ChannelId, unit: WireUnit) {
        self.channels.insert(name, (channel, unit));
    }

    /// The channel of that name and its unit.
    #[must_use]
    pub fn find(&self, name: &str) -> Option<(ChannelId, WireUnit)> {
        self.channels.get(name).copied()
    }
}
