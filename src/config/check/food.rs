//! Limits of the FDA Food Code, held here until `core::food_code` exists.

use crate::core::cycle::plate::{MachineKind, Sanitizing};
use crate::core::units::Celsius;

/// Which half of a printed pair holds.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Rounding {
    /// The stricter.
    Stricter,
    /// The figure in °C.
    Celsius,
    /// The figure in °F.
    Fahrenheit,
}

/// A printed pair.
#[derive(Clone, Copy, Debug)]
pub struct Printed {
    celsius: f64,
    fahrenheit: f64,
}

impl Printed {
    /// The minimum of the pair.
    #[must_use]
    pub fn minimum(self, rounding: Rounding) -> Celsius {
        let (celsius, fahrenheit) = (Celsius(self.celsius), Celsius::from_fahrenheit(self.fahrenheit));
        match rounding {
            Rounding::Stricter => celsius.max(fahrenheit),
            Rounding::Celsius => celsius,
            Rounding::Fahrenheit => fahrenheit,
        }
    }

    /// The maximum of the pair.
    #[must_use]
    pub fn maximum(self, rounding: Rounding) -> Celsius {
        let (celsius, fahrenheit) = (Celsius(self.celsius), Celsius::from_fahrenheit(self.fahrenheit));
        match rounding {
            Rounding::Stricter => celsius.min(fahrenheit),
            Rounding::Celsius => celsius,
            Rounding::Fahrenheit => fahrenheit,
        }
    }
}

/// 4-501.110.
#[must_use]
pub const fn wash_minimum(kind: MachineKind, sanitizing: Sanitizing) -> Printed {
    match (sanitizing, kind) {
        (Sanitizing::HotWater, MachineKind::StationaryRackSingleTemperature) => {
            Printed { celsius: 74.0, fahrenheit: 165.0 }
        }
        (Sanitizing::HotWater, MachineKind::SingleTankConveyor) => {
            Printed { celsius: 71.0, fahrenheit: 160.0 }
        }
        (Sanitizing::HotWater, _) => Printed { celsius: 66.0, fahrenheit: 150.0 },
        (_, _) => Printed { celsius: 49.0, fahrenheit: 120.0 },
    }
}

/// 4-501.112, 4-501.114.
#[must_use]
pub const fn final_rinse_minimum(kind: MachineKind, sanitizing: Sanitizing) -> Printed {
    match (sanitizing, kind) {
        (Sanitizing::HotWater, MachineKind::StationaryRackSingleTemperature) => {
            Printed { celsius: 74.0, fahrenheit: 165.0 }
        }
        (Sanitizing::HotWater, _) => Printed { celsius: 82.0, fahrenheit: 180.0 },
        (Sanitizing::Chlorine, _) => Printed { celsius: 13.0, fahrenheit: 55.0 },
        (Sanitizing::Iodine, _) => Printed { celsius: 20.0, fahrenheit: 68.0 },
        (Sanitizing::Quat, _) => Printed { celsius: 24.0, fahrenheit: 75.0 },
    }
}

/// 4-501.112.
#[must_use]
pub const fn final_rinse_maximum(sanitizing: Sanitizing) -> Option<Printed> {
    match sanitizing {
        Sanitizing::HotWater => Some(Printed { celsius: 90.0, fahrenheit: 194.0 }),
        Sanitizing::Chlorine | Sanitizing::Iodine | Sanitizing::Quat => None,
    }
}
