//! What a channel means: which machine, which place, and how its number becomes °C.

use std::time::Duration;

use serde::{Deserialize, Serialize};

use super::calibration::Calibration;
use super::id::{ChannelId, ChannelName, MachineId};
use super::thermocouple::ThermocoupleType;
use super::uncertainty::Budget;

/// Where a temperature probe sits.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Place {
    /// In the wash tank, or in the sump of a machine that dumps and refills.
    WashTank,
    /// In the final-rinse line at the manifold; in the sump of a machine that dumps and refills.
    FinalRinse,
    /// At the surface of a ware or a plate carried through the machine.
    Ware,
    /// Anywhere else: stored and shown, never judged.
    Other,
}

/// What the number of a temperature channel is, as delivered.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Signal {
    /// Degrees Celsius.
    Celsius,
    /// Degrees Fahrenheit.
    Fahrenheit,
    /// Kelvin.
    Kelvin,
    /// Thermocouple voltage at the terminals, in volts, uncompensated.
    Thermocouple {
        /// Type of the thermocouple.
        kind: ThermocoupleType,
        /// The channel that gives the temperature of the terminals.
        cold_junction: ChannelId,
    },
    /// Resistance of a Pt100, in ohms.
    Pt100,
}

/// A temperature probe.
#[derive(Clone, PartialEq, Debug)]
pub struct Probe {
    /// Where it sits.
    pub place: Place,
    /// What its number is.
    pub signal: Signal,
    /// Correction applied after conversion.
    pub calibration: Calibration,
    /// What its value may be wrong by.
    pub budget: Budget,
    /// Time constant in water from a response test; `None` where it was never measured.
    pub tau: Option<Duration>,
    /// Longest silence before the probe counts as silent.
    pub silent_after: Duration,
    /// Longest time of unchanged digits before the probe counts as stuck; `None` switches the check off.
    pub stuck_after: Option<Duration>,
}

/// What a channel is for.
#[derive(Clone, PartialEq, Debug)]
pub enum Role {
    /// A temperature that is recorded, and judged where its place says so.
    Probe(Probe),
    /// The temperature of the terminals of one or more thermocouples.
    ColdJunction {
        /// Its unit: one of the three temperature scales or a Pt100.
        signal: Signal,
    },
    /// The machine's run signal: true from the start of the wash to the end of the final rinse.
    Running,
    /// Concentration of the sanitizer in mg/L; each number is a check, entered or measured.
    Concentration,
    /// pH that belongs to the concentrations after it.
    Ph,
}

/// What a channel tells of the sanitizing solution of a machine.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Solution {
    /// Its concentration, mg/L.
    Strength,
    /// Its pH.
    Ph,
}

impl Role {
    /// What such a channel tells of the sanitizing solution; `None` for every other.
    #[must_use]
    pub const fn solution(&self) -> Option<Solution> {
        match self {
            Self::Concentration => Some(Solution::Strength),
            Self::Ph => Some(Solution::Ph),
            Self::Probe(_) | Self::ColdJunction { .. } | Self::Running => None,
        }
    }
}

/// One channel of the site.
#[derive(Clone, PartialEq, Debug)]
pub struct Channel {
    /// Its number.
    pub id: ChannelId,
    /// Its name on the wire.
    pub name: ChannelName,
    /// The machine it belongs to.
    pub machine: MachineId,
    /// What it is for.
    pub role: Role,
}
