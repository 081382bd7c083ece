//! Temperatures with their unit in the type.

use std::fmt;

use serde::{Deserialize, Serialize};

/// A temperature in degrees Celsius (ITS-90).
#[derive(Clone, Copy, PartialEq, PartialOrd, Debug, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Celsius(pub f64);

/// 0 °C in kelvin, by definition of the Celsius scale (BIPM SI Brochure, 9th edition, §2.3.1).
const ZERO_CELSIUS_IN_KELVIN: f64 = 273.15;

impl Celsius {
    /// Converts from degrees Fahrenheit.
    #[must_use]
    pub fn from_fahrenheit(fahrenheit: f64) -> Self {
        Self((fahrenheit - 32.0) / 1.8)
    }

    /// Converts from kelvin.
    #[must_use]
    pub fn from_kelvin(kelvin: f64) -> Self {
        Self(kelvin - ZERO_CELSIUS_IN_KELVIN)
    }

    /// This temperature in degrees Fahrenheit.
    #[must_use]
    pub fn fahrenheit(self) -> f64 {
        self.0 * 1.8 + 32.0
    }

    /// The lower of two temperatures.
    #[must_use]
    pub fn min(self, other: Self) -> Self {
        Self(self.0.min(other.0))
    }

    /// The higher of two temperatures.
    #[must_use]
    pub fn max(self, other: Self) -> Self {
        Self(self.0.max(other.0))
    }
}

impl fmt::Display for Celsius {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(precision) = f.precision() {
            write!(f, "{:.precision$} °C", self.0)
        } else {
            write!(f, "{:.1} °C", self.0)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // FDA Food Code prints these pairs rounded; the exact halves were computed
    // from the definition of the two scales (180 °F = 82.222… °C).
    #[test]
    fn converts_between_scales() {
        for (fahrenheit, celsius) in [(180.0, 82.222_222), (194.0, 90.0), (212.0, 100.0), (32.0, 0.0)] {
            assert!((Celsius::from_fahrenheit(fahrenheit).0 - celsius).abs() < 1e-6, "{fahrenheit} °F");
            assert!((Celsius(celsius).fahrenheit() - fahrenheit).abs() < 1e-5, "{celsius} °C");
        }
        assert!((Celsius::from_kelvin(273.15).0).abs() < 1e-12);
    }
}
