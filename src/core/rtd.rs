//! Pt100 by IEC 60751: resistance from temperature and back.
//!
//! Callendar–Van Dusen equation of IEC 60751:2022, −200 to 850 °C:
//! `R = R0 (1 + A t + B t²)` from 0 °C up, with `+ C (t − 100) t³` added in the
//! bracket below. The tolerance classes are in [`super::uncertainty`].

#[cfg(test)]
mod tests;

use std::fmt;

use super::units::Celsius;

/// A resistance in ohms.
#[derive(Clone, Copy, PartialEq, PartialOrd, Debug)]
pub struct Ohms(pub f64);

impl fmt::Display for Ohms {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:.3} Ω", self.0)
    }
}

/// The lowest temperature of IEC 60751.
pub const LOWEST: Celsius = Celsius(-200.0);
/// The highest temperature of IEC 60751.
pub const HIGHEST: Celsius = Celsius(850.0);

/// Resistance at 0 °C, Ω.
const R0: f64 = 100.0;
/// IEC 60751:2022, 1/K.
const A: f64 = 3.9083e-3;
/// IEC 60751:2022, 1/K².
const B: f64 = -5.775e-7;
/// IEC 60751:2022, 1/K⁴, below 0 °C only.
const C: f64 = -4.183e-12;

/// Newton steps below 0 °C. The equation is close to a parabola and the start
/// is within 2.5 °C, so three steps reach 1e-9 °C; the fourth is reserve.
const NEWTON_STEPS: usize = 4;

/// Why a Pt100 value has no counterpart.
#[derive(Clone, Copy, PartialEq, Debug, thiserror::Error)]
pub enum RtdError {
    /// The value given is not a number.
    #[error("the value of a Pt100 is not a number")]
    NotANumber,
    /// The temperature is outside −200 to 850 °C.
    #[error("{temperature} is outside the range of a Pt100")]
    TemperatureOutOfRange {
        /// Temperature given.
        temperature: Celsius,
    },
    /// The resistance belongs to no temperature from −200 to 850 °C.
    #[error("{resistance} is outside the range of a Pt100")]
    ResistanceOutOfRange {
        /// Resistance given.
        resistance: Ohms,
    },
}

/// Resistance of a Pt100 at `temperature`.
///
/// # Errors
/// [`RtdError`] where the temperature is not a number or outside [`LOWEST`] to [`HIGHEST`].
pub fn resistance(temperature: Celsius) -> Result<Ohms, RtdError> {
    if temperature.0.is_nan() {
        return Err(RtdError::NotANumber);
    }
    if temperature < LOWEST || temperature > HIGHEST {
        return Err(RtdError::TemperatureOutOfRange { temperature });
    }
    Ok(Ohms(value_and_slope(temperature.0).0))
}

/// Temperature of a Pt100 of `resistance`: in closed form from 0 °C up, by
/// Newton's method below. Agrees with [`resistance()`] to better than 1e-6 °C.
///
/// # Errors
/// [`RtdError`] where the resistance is not a number or belongs to no
/// temperature from [`LOWEST`] to [`HIGHEST`].
///
/// ```
/// use rinseward::core::rtd::{Ohms, temperature};
///
/// // IEC 60751: 138.5055 Ω at 100 °C.
/// assert!((temperature(Ohms(138.5055))?.0 - 100.0).abs() < 1e-3);
/// # Ok::<(), rinseward::core::rtd::RtdError>(())
/// ```
pub fn temperature(resistance: Ohms) -> Result<Celsius, RtdError> {
    if resistance.0.is_nan() {
        return Err(RtdError::NotANumber);
    }
    let (lowest, highest) = (value_and_slope(LOWEST.0).0, value_and_slope(HIGHEST.0).0);
    if resistance.0 < lowest || resistance.0 > highest {
        return Err(RtdError::ResistanceOutOfRange { resistance });
    }
    // Positive over the whole range: A² = 1.5e-5, and the second term lies between -2e-6 and 7e-6.
    let discriminant = A * A - 4.0 * B * (1.0 - resistance.0 / R0);
    let mut celsius = (-A + discriminant.sqrt()) / (2.0 * B);
    if resistance.0 < R0 {
        for _ in 0..NEWTON_STEPS {
            let (value, slope) = value_and_slope(celsius);
            celsius -= (value - resistance.0) / slope;
        }
    }
    Ok(Celsius(celsius))
}

/// Resistance in Ω and its derivative in Ω/K at `t` °C.
fn value_and_slope(t: f64) -> (f64, f64) {
    let (value, slope) = (1.0 + t * (A + t * B), A + 2.0 * B * t);
    if t >= 0.0 {
        return (R0 * value, R0 * slope);
    }
    let cubed = t * t * t;
    (R0 * (value + C * (t - 100.0) * cubed), R0 * (slope + C * (4.0 * cubed - 300.0 * t * t)))
}
