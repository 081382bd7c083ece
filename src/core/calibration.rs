//! Correction of a probe from its calibration.
//!
//! A calibration maps a value to a corrected one; the delivered value is stored
//! as it came and never overwritten, so a calibration found wrong can be undone.
//!
//! What an ice bath and boiling water show when the probe is sound is in
//! [`Point::reference`]; boiling water must be taken at the **station pressure**
//! of the day, not at 100 °C. Scald hazard: boiling water and steam burn at
//! once; use gloves and face protection.

pub mod fitted;
#[cfg(test)]
mod tests;

use super::record::Correction;
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

/// One comparison of the probe with a reference.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Point {
    /// What the reference says.
    pub reference: Celsius,
    /// What the probe showed, uncorrected.
    pub indicated: Celsius,
}

/// Least and greatest gain of a two-point calibration (own choice). A sound
/// thermocouple of IEC class 2 is within 0.75 % or 2.5 °C, a gain within about
/// 0.975 to 1.025 over the 100 °C from ice to boil; more is a fault, such as
/// the wrong type set, and must be mended and not calibrated away.
pub const GAIN_RANGE: std::ops::RangeInclusive<f64> = 0.97..=1.03;

/// Largest correction at a calibration point, °C (own choice, twice the ±2.5 °C
/// of IEC class 2): past it the probe or its wiring is at fault.
pub const CORRECTION_MAX_C: f64 = 5.0;

/// Least distance of the two points, °C (own choice): an error of 0.2 °C in each
/// then still leaves the gain within 1.3 %. Ice to boil is 86 °C apart even at
/// 4000 m.
pub const POINTS_APART_MIN_C: f64 = 30.0;
/// What the way from another scale may cost of a difference, °C: 126 and 180 °F are 30 °C apart.
const ROUNDING_C: f64 = 1e-6;

/// Why a calibration was refused.
#[derive(Clone, Copy, PartialEq, Debug, thiserror::Error)]
pub enum CalibrationError {
    /// A value is not a finite number.
    #[error("a value of the calibration is not a number")]
    NotANumber,
    /// The reference temperatures are too near to each other.
    #[error("the references are {apart_c:.1} °C apart; {POINTS_APART_MIN_C} °C are needed")]
    PointsTooNear {
        /// Distance of the references, or of the indications where that is less, °C.
        apart_c: f64,
    },
    /// The gain is outside [`GAIN_RANGE`].
    #[error(
        "a gain of {gain:.4} is outside {} to {}; look for a fault or a wrong type before calibrating",
        GAIN_RANGE.start(),
        GAIN_RANGE.end()
    )]
    Gain {
        /// Gain that the points ask for.
        gain: f64,
    },
    /// The correction is more than [`CORRECTION_MAX_C`].
    #[error(
        "a correction of {correction_c:.1} °C is more than {CORRECTION_MAX_C} °C; look for a fault before calibrating"
    )]
    Correction {
        /// Correction that a point asks for, °C.
        correction_c: f64,
    },
    /// There is no point.
    #[error("a calibration needs at least one point")]
    NoPoint,
    /// The points contradict one another.
    #[error(
        "the points contradict one another: no correction brings this one nearer than {left_c:.2} °C to its reference, which is sure to {expanded_c:.2} °C"
    )]
    Disagree {
        /// What is left at the point that fits worst, °C.
        left_c: f64,
        /// Expanded uncertainty of that point, °C.
        expanded_c: f64,
    },
}

impl Point {
    /// What must be added to the indication at this point, °C.
    fn correction(self) -> Result<f64, CalibrationError> {
        let correction_c = self.reference.0 - self.indicated.0;
        if !correction_c.is_finite() {
            Err(CalibrationError::NotANumber)
        } else if correction_c.abs() > CORRECTION_MAX_C {
            Err(CalibrationError::Correction { correction_c })
        } else {
            Ok(correction_c)
        }
    }
}

/// Whether references so far apart, °C, are two.
const fn is_apart(apart_c: f64) -> bool {
    apart_c + ROUNDING_C >= POINTS_APART_MIN_C
}

impl Calibration {
    /// A calibration at one point: the same correction everywhere.
    ///
    /// # Errors
    /// [`CalibrationError::NotANumber`] and [`CalibrationError::Correction`].
    pub fn one_point(point: Point) -> Result<Self, CalibrationError> {
        point.correction().map(Self::Offset)
    }

    /// A calibration at two points, in either order: the line through both.
    ///
    /// # Errors
    /// Any [`CalibrationError`].
    ///
    /// ```
    /// use rinseward::core::calibration::{Calibration, Point};
    /// use rinseward::core::units::Celsius;
    ///
    /// let ice = Point { reference: Celsius(0.0), indicated: Celsius(0.4) };
    /// let boil = Point { reference: Celsius(99.974), indicated: Celsius(99.1) };
    /// let calibration = Calibration::two_point(ice, boil)?;
    /// assert!((calibration.apply(Celsius(99.1)).0 - 99.974).abs() < 1e-9);
    /// # Ok::<(), rinseward::core::calibration::CalibrationError>(())
    /// ```
    pub fn two_point(one: Point, other: Point) -> Result<Self, CalibrationError> {
        one.correction()?;
        other.correction()?;
        let reference_span = other.reference.0 - one.reference.0;
        let indicated_span = other.indicated.0 - one.indicated.0;
        let apart_c = reference_span.abs().min(indicated_span.abs());
        if !is_apart(apart_c) {
            return Err(CalibrationError::PointsTooNear { apart_c });
        }
        let gain = reference_span / indicated_span;
        if !GAIN_RANGE.contains(&gain) {
            return Err(CalibrationError::Gain { gain });
        }
        Ok(Self::TwoPoint { gain, offset: one.reference.0 - gain * one.indicated.0 })
    }

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

/// As it stands on record.
impl From<Correction> for Calibration {
    fn from(correction: Correction) -> Self {
        let Correction { gain, offset_c } = correction;
        // A gain of exactly one is how a record says that there is none.
        match (gain.to_bits() == 1f64.to_bits(), offset_c == 0.0) {
            (true, true) => Self::None,
            (true, false) => Self::Offset(offset_c),
            (false, _) => Self::TwoPoint { gain, offset: offset_c },
        }
    }
}

/// As it goes on record.
impl From<Calibration> for Correction {
    fn from(calibration: Calibration) -> Self {
        match calibration {
            Calibration::None => Self { gain: 1.0, offset_c: 0.0 },
            Calibration::Offset(offset_c) => Self { gain: 1.0, offset_c },
            Calibration::TwoPoint { gain, offset } => Self { gain, offset_c: offset },
        }
    }
}
