//! Correction of a probe from its calibration.

use super::units::Celsius;

/// Correction applied to a converted temperature.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
pub enum Calibration {
    /// None on file.
    #[default]
    None,
    /// Add this many degrees.
    Offset(f64),
    /// Line through two points.
    TwoPoint {
        /// Factor.
        gain: f64,
        /// Added after the factor, °C.
        offset: f64,
    },
}

impl Calibration {
    /// The corrected temperature.
    #[must_use]
    pub fn apply(self, measured: Celsius) -> Celsius {
        match self {
            Self::None => measured,
            Self::Offset(offset) => Celsius(measured.0 + offset),
            Self::TwoPoint { gain, offset } => Celsius(measured.0 * gain + offset),
        }
    }
}
