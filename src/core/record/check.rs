//! What people check and enter: the sanitizer, supplies, drain and clean, a thermometer.

use std::str::FromStr;

use serde::{Deserialize, Serialize};

use crate::core::time::Timestamp;

/// The method of a check of the sanitizer that a form writes of itself, where its test strip was ticked.
pub const TEST_STRIP: &str = "test strip";

/// A check that somebody entered.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
#[serde(tag = "check", rename_all = "kebab-case")]
pub enum Check {
    /// Concentration of the sanitizer, by a test kit.
    Sanitizer {
        /// When it was made.
        at: Timestamp,
        /// Concentration, mg/L.
        mg_per_l: f64,
        /// pH, where it was measured.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        ph: Option<f64>,
        /// Temperature of the solution, °C, where it was measured beside it.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        solution_c: Option<f64>,
        /// How it was measured: test strip, titration, meter.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        method: Option<String>,
        /// Who made it.
        by: String,
    },
    /// A look at the supplies: detergent, rinse additive, sanitizer.
    Supply {
        /// When it was made.
        at: Timestamp,
        /// Whether everything was there, or was filled up.
        enough: bool,
        /// What is short, where it has a name of its own; empty where everything was there.
        #[serde(skip_serializing_if = "Vec::is_empty", default)]
        short: Vec<Supply>,
        /// What was refilled, or is short beside that.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        note: Option<String>,
        /// Who made it.
        by: String,
    },
    /// The machine was drained and cleaned: sump screen, scrap tray, arms and jets.
    DrainAndClean {
        /// When it was done.
        at: Timestamp,
        /// What was found.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        note: Option<String>,
        /// Who did it.
        by: String,
    },
    /// A thermometer was compared with another one.
    Thermometer {
        /// When it was made.
        at: Timestamp,
        /// What was checked: a probe by its channel, a gauge or a hand thermometer by its name.
        what: String,
        /// What it showed, °C.
        shown_c: f64,
        /// What the reference showed, °C.
        reference_c: f64,
        /// Largest difference that is still good, °C.
        tolerance_c: f64,
        /// The reference: an ice bath, a thermometer with its number.
        reference: String,
        /// Who made it.
        by: String,
    },
}

/// What a dish machine runs short of, as the record names it; what is none of these stands in a note.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Supply {
    /// Detergent.
    Detergent,
    /// Rinse additive.
    RinseAdditive,
    /// Sanitizer.
    Sanitizer,
    /// Test strips for the sanitizer.
    TestStrips,
}

impl Supply {
    /// Every one.
    pub const ALL: [Self; 4] = [Self::Detergent, Self::RinseAdditive, Self::Sanitizer, Self::TestStrips];

    /// The word used in records, commands and forms.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Detergent => "detergent",
            Self::RinseAdditive => "rinse-additive",
            Self::Sanitizer => "sanitizer",
            Self::TestStrips => "test-strips",
        }
    }
}

/// A word that names no supply.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
#[error("no supply is called «{0}»: detergent, rinse-additive, sanitizer or test-strips")]
pub struct UnknownSupply(String);

impl FromStr for Supply {
    type Err = UnknownSupply;

    fn from_str(word: &str) -> Result<Self, UnknownSupply> {
        let found = Self::ALL.into_iter().find(|supply| supply.as_str() == word);
        found.ok_or_else(|| UnknownSupply(word.to_owned()))
    }
}

/// Kind of a check.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum CheckKind {
    /// Concentration of the sanitizer.
    Sanitizer,
    /// Supplies.
    Supply,
    /// Drain and clean.
    DrainAndClean,
    /// A thermometer against another one.
    Thermometer,
}

impl CheckKind {
    /// Every kind.
    pub const ALL: [Self; 4] = [Self::Sanitizer, Self::Supply, Self::DrainAndClean, Self::Thermometer];

    /// Those that are due at each shift or meal period where a site does not say otherwise.
    pub const ROUTINE: [Self; 3] = [Self::Sanitizer, Self::Supply, Self::DrainAndClean];

    /// The kind of this word; `None` where there is none.
    #[must_use]
    pub fn named(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.as_str() == word)
    }

    /// The word used in records, in the configuration and on pages.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Sanitizer => "sanitizer",
            Self::Supply => "supply",
            Self::DrainAndClean => "drain-and-clean",
            Self::Thermometer => "thermometer",
        }
    }
}

impl Check {
    /// Its kind.
    #[must_use]
    pub const fn kind(&self) -> CheckKind {
        match self {
            Self::Sanitizer { .. } => CheckKind::Sanitizer,
            Self::Supply { .. } => CheckKind::Supply,
            Self::DrainAndClean { .. } => CheckKind::DrainAndClean,
            Self::Thermometer { .. } => CheckKind::Thermometer,
        }
    }

    /// Who made it.
    #[must_use]
    pub fn by(&self) -> &str {
        match self {
            Self::Sanitizer { by, .. }
            | Self::Supply { by, .. }
            | Self::DrainAndClean { by, .. }
            | Self::Thermometer { by, .. } => by,
        }
    }

    /// Who made it, to be signed.
    pub const fn by_mut(&mut self) -> &mut String {
        match self {
            Self::Sanitizer { by, .. }
            | Self::Supply { by, .. }
            | Self::DrainAndClean { by, .. }
            | Self::Thermometer { by, .. } => by,
        }
    }

    /// When it was made.
    #[must_use]
    pub const fn at(&self) -> Timestamp {
        match self {
            Self::Sanitizer { at, .. }
            | Self::Supply { at, .. }
            | Self::DrainAndClean { at, .. }
            | Self::Thermometer { at, .. } => *at,
        }
    }
}
