//! What a temperature may be wrong by, and what that means for a limit.
//!
//! The budget follows the GUM (JCGM 100:2008): each component becomes a standard
//! uncertainty, they combine by root sum of squares, and the result is expanded
//! with k = 2 (about 95 %). A bound without a known distribution counts as
//! rectangular, half width divided by √3; a display step as full width divided
//! by √12. All values are in kelvin, which for differences is °C.
//!
//! Decision rules follow JCGM 106:2012 and ILAC-G8:09/2019, with the sign turned
//! for a limit from below.

#[cfg(test)]
mod tests;
pub mod tolerance;

use tolerance::{Pt100Class, ThermocoupleClass};

use super::thermocouple::ThermocoupleType;
use super::units::Celsius;

/// What the sensing element itself may be wrong by.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Sensor {
    /// Uncalibrated thermocouple wire within its tolerance class.
    Thermocouple {
        /// Type of the thermocouple.
        kind: ThermocoupleType,
        /// Class of its wire.
        class: ThermocoupleClass,
    },
    /// Uncalibrated Pt100 within its tolerance class.
    Pt100(Pt100Class),
    /// A bound from a data sheet.
    Within {
        /// Half width of the bound, °C.
        half_width_c: f64,
    },
    /// Calibrated, and the correction applied: the uncertainty of the
    /// calibration counts in place of the tolerance.
    Calibrated {
        /// Expanded uncertainty (k = 2) of the calibration, °C.
        expanded_c: f64,
    },
}

impl Sensor {
    /// Standard uncertainty at a temperature, °C.
    #[must_use]
    pub fn standard(self, at: Celsius) -> f64 {
        match self {
            Self::Thermocouple { kind, class } => rectangular(class.half_width(kind, at)),
            Self::Pt100(class) => rectangular(class.half_width(at)),
            Self::Within { half_width_c } => rectangular(half_width_c),
            Self::Calibrated { expanded_c } => expanded_c / COVERAGE,
        }
    }
}

/// Uncertainty budget of a probe. Every value is zero or more; a component that
/// does not apply is zero.
#[derive(Clone, PartialEq, Debug)]
pub struct Budget {
    /// The sensing element.
    pub sensor: Sensor,
    /// Bound (±) on the measured terminal temperature, °C; zero for a Pt100.
    /// Taken one for one: where water is hotter than the terminals every type
    /// passes on a little less (K 0.975, T 0.90 at 82 °C and 25 °C).
    pub cold_junction_c: f64,
    /// Bound (±) on the converter's own error, °C.
    pub converter_c: f64,
    /// One step of the display or of the delivered number, full width, °C.
    pub resolution_c: f64,
    /// Bound (±) on the difference between the water and the place where the
    /// probe sits: stem conduction, immersion, a strap-on pipe probe, °C.
    pub installation_c: f64,
    /// Standard deviation of repeated readings in steady water, °C.
    pub repeatability_c: f64,
    /// Bound (±) on the drift since the last calibration, °C.
    pub drift_c: f64,
}

impl Default for Budget {
    /// A probe of which nothing is said.
    ///
    /// - Sensor ±1.5 °C: what Food Code 4-203.12 asks of any water thermometer on
    ///   a machine, for the whole chain, so cold junction, converter and drift
    ///   are inside it and zero here. It is also IEC class 1 of type K; class 2
    ///   (±2.5 °C) does not meet the code and must be declared.
    /// - Resolution 0.1 °C, installation ±0.3 °C, repeatability 0.1 °C: own
    ///   choice for a probe immersed in the flowing line.
    ///
    /// Expanded: 1.78 °C. A site that wants fewer early warnings declares its
    /// wire or calibrates.
    fn default() -> Self {
        Self {
            sensor: Sensor::Within { half_width_c: 1.5 },
            cold_junction_c: 0.0,
            converter_c: 0.0,
            resolution_c: 0.1,
            installation_c: 0.3,
            repeatability_c: 0.1,
            drift_c: 0.0,
        }
    }
}

/// The value of a budget is no uncertainty.
#[derive(Clone, Copy, PartialEq, Eq, Debug, thiserror::Error)]
#[error("the {component} component of an uncertainty budget must be zero or more")]
pub struct BudgetError {
    /// Name of the component, as in [`Budget::components`].
    pub component: &'static str,
}

/// One line of a budget.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Component {
    /// What it stands for.
    pub name: &'static str,
    /// Its standard uncertainty, °C.
    pub standard: f64,
}

impl Budget {
    /// Every component with its standard uncertainty at a temperature, in the
    /// order of the fields; those that are zero too.
    #[must_use]
    pub fn components(&self, at: Celsius) -> [Component; 7] {
        [
            Component { name: "sensor", standard: self.sensor.standard(at) },
            Component { name: "cold junction", standard: rectangular(self.cold_junction_c) },
            Component { name: "converter", standard: rectangular(self.converter_c) },
            Component { name: "resolution", standard: self.resolution_c / 12f64.sqrt() },
            Component { name: "installation", standard: rectangular(self.installation_c) },
            Component { name: "repeatability", standard: self.repeatability_c },
            Component { name: "drift", standard: rectangular(self.drift_c) },
        ]
    }

    /// Refuses a component that is negative or not a finite number.
    ///
    /// # Errors
    /// [`BudgetError`] naming the first such component.
    pub fn check(&self) -> Result<(), BudgetError> {
        let bad = |component: &Component| !(component.standard.is_finite() && component.standard >= 0.0);
        match self.components(Celsius(0.0)).iter().find(|component| bad(component)) {
            Some(component) => Err(BudgetError { component: component.name }),
            None => Ok(()),
        }
    }

    /// The combined uncertainty of one reading at a temperature.
    #[must_use]
    pub fn combined(&self, at: Celsius) -> Uncertainty {
        let squares: f64 = self.components(at).iter().map(|component| component.standard.powi(2)).sum();
        Uncertainty::from_standard(squares.sqrt())
    }
}

/// Coverage factor of every expanded uncertainty here.
pub const COVERAGE: f64 = 2.0;

/// A combined uncertainty, °C.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Uncertainty {
    /// Standard uncertainty.
    pub standard: f64,
    /// Expanded uncertainty, k = 2.
    pub expanded: f64,
}

impl Uncertainty {
    /// Expands a standard uncertainty.
    #[must_use]
    pub fn from_standard(standard: f64) -> Self {
        Self { standard, expanded: COVERAGE * standard }
    }
}

/// Probability that the true value is at or above `limit`, a minimum, when
/// `measured` was read: `Φ((measured − limit)/u)` (JCGM 106:2012, normal error).
/// With an uncertainty of zero it is 1 or 0. `None` where a value is not a
/// finite number or the uncertainty is negative.
///
/// ```
/// use rinseward::core::uncertainty::{Uncertainty, conformance_probability};
/// use rinseward::core::units::Celsius;
///
/// let u = Uncertainty::from_standard(0.5);
/// let probability = conformance_probability(Celsius(82.5), Celsius(82.0), u);
/// assert!(probability.is_some_and(|p| (p - 0.8413).abs() < 1e-4)); // Φ(1)
/// ```
#[must_use]
pub fn conformance_probability(measured: Celsius, limit: Celsius, u: Uncertainty) -> Option<f64> {
    let margin = measured.0 - limit.0;
    if !margin.is_finite() || !u.standard.is_finite() || u.standard < 0.0 {
        return None;
    }
    if u.standard > 0.0 {
        return Some(0.5 * libm::erfc(-margin / u.standard * std::f64::consts::FRAC_1_SQRT_2));
    }
    Some(if margin >= 0.0 { 1.0 } else { 0.0 })
}

/// How far above a minimum a reading must be (ILAC-G8:09/2019, 4.2).
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum GuardBand {
    /// None: at or above the limit is accepted, as an inspector does; up to
    /// 50 % of false acceptance at the limit.
    SimpleAcceptance,
    /// 1.645 u: at most 5 % of false acceptance.
    FivePercent,
    /// U = 2 u: at most 2.5 % of false acceptance.
    Expanded,
}

impl GuardBand {
    /// Width of the band, °C.
    #[must_use]
    pub fn width(self, u: Uncertainty) -> f64 {
        match self {
            Self::SimpleAcceptance => 0.0,
            Self::FivePercent => NORMAL_95 * u.standard,
            Self::Expanded => u.expanded,
        }
    }

    /// The lowest reading that is accepted against the minimum `limit`.
    #[must_use]
    pub fn acceptance_limit(self, limit: Celsius, u: Uncertainty) -> Celsius {
        Celsius(limit.0 + self.width(u))
    }
}

/// One-sided 95 % point of the normal distribution (JCGM 106:2012).
const NORMAL_95: f64 = 1.645;

/// Standard uncertainty of a bound without a known distribution (JCGM 100:2008, 4.3.7).
fn rectangular(half_width: f64) -> f64 {
    half_width / 3f64.sqrt()
}
