//! A machine as its data plate and the Food Code describe it.

use std::time::Duration;

use serde::{Deserialize, Serialize};

use crate::core::sanitizer::Rules;
use crate::core::units::Celsius;

/// Kind of machine, in the words of FDA Food Code 4-501.110.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum MachineKind {
    /// Door or under-counter machine, one temperature for wash and rinse.
    StationaryRackSingleTemperature,
    /// Door or under-counter machine, hotter final rinse.
    StationaryRackDualTemperature,
    /// Racks travel through one tank.
    SingleTankConveyor,
    /// Racks travel through several tanks.
    MultitankConveyor,
}

impl MachineKind {
    /// Whether racks travel, so that one final rinse may run for minutes.
    #[must_use]
    pub const fn is_conveyor(self) -> bool {
        match self {
            Self::SingleTankConveyor | Self::MultitankConveyor => true,
            Self::StationaryRackSingleTemperature | Self::StationaryRackDualTemperature => false,
        }
    }
}

/// How the machine sanitizes.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Sanitizing {
    /// By the heat of the final rinse.
    HotWater,
    /// By chlorine in the final rinse.
    Chlorine,
    /// By iodine in the final rinse.
    Iodine,
    /// By a quaternary ammonium compound in the final rinse.
    Quat,
}

impl Sanitizing {
    /// Whether a concentration is needed to judge a cycle.
    #[must_use]
    pub const fn is_chemical(self) -> bool {
        match self {
            Self::HotWater => false,
            Self::Chlorine | Self::Iodine | Self::Quat => true,
        }
    }
}

/// Where the final-rinse probe meets the rinse water.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum RinseFrom {
    /// In the line to the manifold: idle between rinses, flowing during one.
    FreshLine,
    /// In the sump of a machine that dumps its wash water and refills with the rinse.
    Sump,
}

/// Where a limit comes from.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum LimitSource {
    /// The machine's data plate, as given in the configuration.
    DataPlate,
    /// FDA Food Code, where the data plate gives none.
    FoodCode,
    /// A stricter figure the site has chosen.
    Site,
    /// The concentration on file asks for it (Food Code 4-501.114).
    Concentration,
}

/// A temperature limit and its origin.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize)]
pub struct Limit {
    /// The limit.
    pub at: Celsius,
    /// Who says so.
    pub source: LimitSource,
}

/// Times of the machine's automatic cycle.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct PlateTimes {
    /// Length of the wash.
    pub wash: Duration,
    /// From the end of the wash to the start of the final rinse (drain and refill included).
    pub pause: Duration,
    /// Length of the final rinse; on a conveyor the time one rack spends in it.
    pub rinse: Duration,
}

/// Everything the tracker must know of one machine.
#[derive(Clone, PartialEq, Debug)]
pub struct Profile {
    /// Name, the first part of its channels' names.
    pub name: String,
    /// Kind of machine.
    pub kind: MachineKind,
    /// Sanitizing method.
    pub sanitizing: Sanitizing,
    /// Where the final-rinse probe meets the rinse water.
    pub rinse_from: RinseFrom,
    /// Data-plate times.
    pub times: PlateTimes,
    /// Lowest permitted final rinse. On a chemical machine the concentration may ask for more.
    pub rinse_min: Limit,
    /// Highest permitted final rinse; the Food Code sets none for a chemical machine.
    pub rinse_max: Option<Limit>,
    /// Lowest permitted wash.
    pub wash_min: Limit,
    /// How long the limit must be held.
    pub dwell_min: Duration,
    /// How much disorder of event time is put right.
    pub disorder_window: Duration,
    /// What the label and the site permit of a chemical sanitizer.
    pub sanitizer: Rules,
    /// How long a concentration check stands for the cycles after it.
    pub check_valid_for: Duration,
}
