//! Temperature limits of the FDA Food Code by kind of machine and sanitizing method.
//!
//! Section numbers are those of the model Food Code; the figures were read in
//! state adoptions keyed to them (Washington WAC 246-215, Wisconsin, Delaware)
//! and in the CDC Vessel Sanitation Program Operations Manual 2018. The
//! authority having jurisdiction and the machine's data plate come first.
//!
//! The code prints each limit in both scales, rounded, so that the two differ
//! by up to half a degree; [`Rounding`] says which of the two counts.

#[cfg(test)]
mod tests;

use serde::{Deserialize, Serialize};

use super::cycle::plate::{MachineKind, Sanitizing};
use super::units::Celsius;

/// Which figure of a printed pair counts.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Rounding {
    /// The stricter of the two: the higher of a minimum, the lower of a maximum.
    #[default]
    Stricter,
    /// The figure in °C.
    Celsius,
    /// The figure in °F.
    Fahrenheit,
}

/// A limit as the code prints it, in both scales.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Printed {
    /// The figure in °C.
    pub celsius: f64,
    /// The figure in °F.
    pub fahrenheit: f64,
}

impl Printed {
    /// The limit where lower temperatures fail.
    #[must_use]
    pub fn minimum(self, rounding: Rounding) -> Celsius {
        let (celsius, fahrenheit) = self.both();
        match rounding {
            Rounding::Stricter => celsius.max(fahrenheit),
            Rounding::Celsius => celsius,
            Rounding::Fahrenheit => fahrenheit,
        }
    }

    /// The limit where higher temperatures fail.
    #[must_use]
    pub fn maximum(self, rounding: Rounding) -> Celsius {
        let (celsius, fahrenheit) = self.both();
        match rounding {
            Rounding::Stricter => celsius.min(fahrenheit),
            Rounding::Celsius => celsius,
            Rounding::Fahrenheit => fahrenheit,
        }
    }

    fn both(self) -> (Celsius, Celsius) {
        (Celsius(self.celsius), Celsius::from_fahrenheit(self.fahrenheit))
    }
}

/// Lowest wash solution temperature, 4-501.110.
///
/// ```
/// use rinseward::core::cycle::plate::{MachineKind, Sanitizing};
/// use rinseward::core::food_code::{Rounding, wash_minimum};
///
/// let printed = wash_minimum(MachineKind::StationaryRackDualTemperature, Sanitizing::HotWater);
/// assert_eq!(printed.minimum(Rounding::Stricter).0, 66.0); // 150 °F is 65.6 °C
/// ```
#[must_use]
pub const fn wash_minimum(kind: MachineKind, sanitizing: Sanitizing) -> Printed {
    match sanitizing {
        Sanitizing::HotWater => match kind {
            MachineKind::StationaryRackSingleTemperature => Printed { celsius: 74.0, fahrenheit: 165.0 },
            MachineKind::SingleTankConveyor => Printed { celsius: 71.0, fahrenheit: 160.0 },
            MachineKind::StationaryRackDualTemperature | MachineKind::MultitankConveyor => {
                Printed { celsius: 66.0, fahrenheit: 150.0 }
            }
        },
        Sanitizing::Chlorine | Sanitizing::Iodine | Sanitizing::Quat => {
            Printed { celsius: 49.0, fahrenheit: 120.0 }
        }
    }
}

/// Lowest final rinse. Hot water: 4-501.112, at the entry of the manifold.
/// Chemical: the lowest temperature that 4-501.114 permits at any
/// concentration; [`super::sanitizer::requirement`] gives that of the
/// concentration on file, which may be higher.
#[must_use]
pub const fn final_rinse_minimum(kind: MachineKind, sanitizing: Sanitizing) -> Printed {
    match sanitizing {
        Sanitizing::HotWater => match kind {
            MachineKind::StationaryRackSingleTemperature => Printed { celsius: 74.0, fahrenheit: 165.0 },
            MachineKind::StationaryRackDualTemperature
            | MachineKind::SingleTankConveyor
            | MachineKind::MultitankConveyor => Printed { celsius: 82.0, fahrenheit: 180.0 },
        },
        Sanitizing::Chlorine => Printed { celsius: 13.0, fahrenheit: 55.0 },
        Sanitizing::Iodine => Printed { celsius: 20.0, fahrenheit: 68.0 },
        Sanitizing::Quat => Printed { celsius: 24.0, fahrenheit: 75.0 },
    }
}

/// Highest final rinse, 4-501.112: hotter spray breaks up and flashes to vapour,
/// so that less heat reaches the ware. `None` for a chemical machine, for which
/// the code sets no maximum. It does not apply to hand-held high-pressure wands.
#[must_use]
pub const fn final_rinse_maximum(sanitizing: Sanitizing) -> Option<Printed> {
    match sanitizing {
        Sanitizing::HotWater => Some(Printed { celsius: 90.0, fahrenheit: 194.0 }),
        Sanitizing::Chlorine | Sanitizing::Iodine | Sanitizing::Quat => None,
    }
}
