//! Thermocouples by ITS-90: emf from temperature, temperature from emf, and
//! cold-junction compensation.
//!
//! Reference functions: NIST Standard Reference Database 60 (NIST Monograph
//! 175, 1993); IEC 60584-1:2013 uses the same functions, type K only to
//! 1300 °C. Type B is left out: its function has two temperatures for one emf
//! below about 42 °C, so it cannot serve water.
//!
//! | type | range, °C | µV/K at 0 °C | at 25 °C | at 82 °C |
//! |---|---|---|---|---|
//! | K | −270 to 1372 | 39.45 | 40.52 | 41.54 |
//! | T | −270 to 400 | 38.75 | 40.68 | 45.43 |
//! | J | −210 to 1200 | 50.38 | 51.75 | 53.91 |
//! | E | −270 to 1000 | 58.67 | 60.95 | 66.05 |
//! | N | −270 to 1300 | 26.16 | 26.78 | 28.96 |
//! | R | −50 to 1768.1 | 5.29 | 5.94 | 7.16 |
//! | S | −50 to 1768.1 | 5.40 | 5.99 | 7.06 |
//!
//! The sensitivities are the derivatives of the reference functions. An error
//! of the cold-junction temperature passes into the result in the ratio of the
//! two sensitivities, for type K at 82 °C with terminals at 25 °C 0.975.
//!
//! The inverse starts from the published inverse polynomial and is refined on
//! the reference function itself, so that forward and inverse agree to better
//! than 0.001 °C over the whole range.

mod tables;
#[cfg(test)]
mod tests;

use std::fmt;

use tables::{Curve, Polynomial};

use super::units::Celsius;

/// Type of a thermocouple by its letter (IEC 60584-1).
#[derive(Clone, Copy, PartialEq, Eq, Debug, serde::Serialize, serde::Deserialize)]
pub enum ThermocoupleType {
    /// Nickel-chromium / nickel-aluminium.
    K,
    /// Copper / copper-nickel.
    T,
    /// Iron / copper-nickel.
    J,
    /// Nickel-chromium / copper-nickel.
    E,
    /// Nickel-chromium-silicon / nickel-silicon.
    N,
    /// Platinum-13 % rhodium / platinum.
    R,
    /// Platinum-10 % rhodium / platinum.
    S,
}

impl ThermocoupleType {
    /// Every type, in the order of declaration.
    pub const ALL: [Self; 7] = [Self::K, Self::T, Self::J, Self::E, Self::N, Self::R, Self::S];

    /// Its letter.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::K => "K",
            Self::T => "T",
            Self::J => "J",
            Self::E => "E",
            Self::N => "N",
            Self::R => "R",
            Self::S => "S",
        }
    }

    /// The lowest and the highest temperature of its reference function.
    #[must_use]
    pub fn range(self) -> (Celsius, Celsius) {
        let forward = self.curve().forward;
        (Celsius(forward[0].from), Celsius(forward[forward.len() - 1].to))
    }

    const fn curve(self) -> &'static Curve {
        match self {
            Self::K => &tables::K,
            Self::T => &tables::T,
            Self::J => &tables::J,
            Self::E => &tables::E,
            Self::N => &tables::N,
            Self::R => &tables::R,
            Self::S => &tables::S,
        }
    }
}

impl fmt::Display for ThermocoupleType {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.as_str())
    }
}

/// A thermocouple voltage in millivolts.
#[derive(Clone, Copy, PartialEq, PartialOrd, Debug)]
pub struct Millivolts(pub f64);

impl Millivolts {
    /// Converts from volts.
    #[must_use]
    pub fn from_volts(volts: f64) -> Self {
        Self(volts * 1e3)
    }
}

impl fmt::Display for Millivolts {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:.3} mV", self.0)
    }
}

/// Why a thermocouple value has no counterpart.
#[derive(Clone, Copy, PartialEq, Debug, thiserror::Error)]
pub enum ThermocoupleError {
    /// The value given is not a number.
    #[error("the value of a type {kind} thermocouple is not a number")]
    NotANumber {
        /// Type of the thermocouple.
        kind: ThermocoupleType,
    },
    /// The temperature is outside the reference function.
    #[error("{temperature} is outside the range of a type {kind} thermocouple")]
    TemperatureOutOfRange {
        /// Type of the thermocouple.
        kind: ThermocoupleType,
        /// Temperature given.
        temperature: Celsius,
    },
    /// The emf, compensated where that was asked for, is outside the reference function.
    #[error("{emf} is outside the range of a type {kind} thermocouple")]
    EmfOutOfRange {
        /// Type of the thermocouple.
        kind: ThermocoupleType,
        /// Emf against 0 °C.
        emf: Millivolts,
    },
}

/// Emf of a thermocouple whose measuring junction is at `temperature` and whose
/// terminals are at 0 °C.
///
/// # Errors
/// [`ThermocoupleError`] where the temperature is not a number or outside
/// [`ThermocoupleType::range`].
///
/// ```
/// use rinseward::core::thermocouple::{ThermocoupleType, emf};
/// use rinseward::core::units::Celsius;
///
/// // NIST SRD 60, printed table of type K: 4.096 mV at 100 °C.
/// let emf = emf(ThermocoupleType::K, Celsius(100.0))?;
/// assert!((emf.0 - 4.096).abs() < 0.0005);
/// # Ok::<(), rinseward::core::thermocouple::ThermocoupleError>(())
/// ```
pub fn emf(kind: ThermocoupleType, temperature: Celsius) -> Result<Millivolts, ThermocoupleError> {
    if temperature.0.is_nan() {
        return Err(ThermocoupleError::NotANumber { kind });
    }
    let (lowest, highest) = kind.range();
    if temperature < lowest || temperature > highest {
        return Err(ThermocoupleError::TemperatureOutOfRange { kind, temperature });
    }
    Ok(Millivolts(kind.curve().value_and_slope(temperature.0).0))
}

/// Temperature of the measuring junction of a thermocouple whose emf against
/// 0 °C is `emf`. Agrees with [`emf()`] to better than 0.001 °C.
///
/// # Errors
/// [`ThermocoupleError`] where the emf is not a number or belongs to no
/// temperature of [`ThermocoupleType::range`].
pub fn temperature(kind: ThermocoupleType, emf: Millivolts) -> Result<Celsius, ThermocoupleError> {
    if emf.0.is_nan() {
        return Err(ThermocoupleError::NotANumber { kind });
    }
    kind.curve().solve(emf.0).map(Celsius).ok_or(ThermocoupleError::EmfOutOfRange { kind, emf })
}

/// Temperature of the measuring junction from the voltage `measured` at
/// terminals that are at the temperature `cold`.
///
/// The emf of the terminals is added to the voltage and the sum converted.
/// Adding the terminal temperature to a converted voltage would read hot, by
/// 0.9 °C for type K and 2.7 °C for type T at 82 °C and 25 °C terminals.
///
/// # Errors
/// [`ThermocoupleError`] where either value is not a number, the terminal
/// temperature is outside [`ThermocoupleType::range`], or the sum belongs to no
/// temperature in it.
pub fn compensated(
    kind: ThermocoupleType,
    measured: Millivolts,
    cold: Celsius,
) -> Result<Celsius, ThermocoupleError> {
    above_terminals(kind, measured, emf(kind, cold)?)
}

/// The same for terminals whose emf against 0 °C is known already.
///
/// # Errors
/// [`ThermocoupleError`] where the voltage is not a number or the sum belongs to no temperature of
/// [`ThermocoupleType::range`].
pub fn above_terminals(
    kind: ThermocoupleType,
    measured: Millivolts,
    terminals: Millivolts,
) -> Result<Celsius, ThermocoupleError> {
    temperature(kind, Millivolts(measured.0 + terminals.0))
}

/// An iteration that moves by less than this is at its end, °C. Newton's
/// method squares its error, so the step after it would be below 1e-9 °C.
const STEP_MIN: f64 = 1e-5;

/// Bound on the iteration; halving the longest range (1819 °C) 40 times reaches 2e-9 °C.
const STEPS_MAX: usize = 40;

impl Curve {
    /// Emf in mV at `celsius` and its derivative in mV/K. Outside the range the
    /// nearest polynomial is used.
    fn value_and_slope(&self, celsius: f64) -> (f64, f64) {
        let (mut value, mut slope) = segment(self.forward, celsius).value_and_slope(celsius);
        if let Some(bump) = &self.exponential
            && celsius > 0.0
        {
            let distance = celsius - bump.a2;
            let term = bump.a0 * libm::exp(bump.a1 * distance * distance);
            value += term;
            slope += 2.0 * bump.a1 * distance * term;
        }
        (value, slope)
    }

    /// Whether the emf is well inside the range, told without evaluating the ends of it.
    fn surely_covers(&self, millivolts: f64) -> bool {
        let (first, last) = (&self.inverse[0], &self.inverse[self.inverse.len() - 1]);
        // The ends of the inverse polynomials are printed to 0.001 mV and cover no more than the curve.
        millivolts > first.from + 0.001 && millivolts < last.to - 0.001
    }

    /// The temperature in °C at which the emf is `millivolts`; `None` outside the range.
    ///
    /// Newton's method inside a bracket that every step narrows; a step that
    /// would leave the bracket halves it, so the search cannot run away where
    /// the curve is flat (near −270 °C).
    fn solve(&self, millivolts: f64) -> Option<f64> {
        let (mut low, mut high) = (self.forward[0].from, self.forward[self.forward.len() - 1].to);
        let inside = |millivolts: f64| {
            millivolts >= self.value_and_slope(low).0 && millivolts <= self.value_and_slope(high).0
        };
        if !self.surely_covers(millivolts) && !inside(millivolts) {
            return None;
        }
        let mut celsius = segment(self.inverse, millivolts).value_and_slope(millivolts).0.clamp(low, high);
        for _ in 0..STEPS_MAX {
            let (value, slope) = self.value_and_slope(celsius);
            if value > millivolts {
                high = celsius;
            } else {
                low = celsius;
            }
            let newton = celsius - (value - millivolts) / slope;
            let next = if newton >= low && newton <= high { newton } else { (low + high) / 2.0 };
            let step = next - celsius;
            celsius = next;
            if step.abs() < STEP_MIN {
                break;
            }
        }
        Some(celsius)
    }
}

impl Polynomial {
    /// Value and derivative at `x` (Horner).
    fn value_and_slope(&self, x: f64) -> (f64, f64) {
        let (mut value, mut slope) = (0.0, 0.0);
        for coefficient in self.coefficients.iter().rev() {
            slope = slope * x + value;
            value = value * x + coefficient;
        }
        (value, slope)
    }
}

/// The polynomial whose range holds `x`, else the nearest.
fn segment(polynomials: &'static [Polynomial], x: f64) -> &'static Polynomial {
    let last = &polynomials[polynomials.len() - 1];
    polynomials.iter().find(|polynomial| x <= polynomial.to).unwrap_or(last)
}
