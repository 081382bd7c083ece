//! What a probe is compared with: ice, boiling water, another thermometer.

use crate::core::boiling::{self, BAROMETER_KPA, FixedPoint, Kilopascals, OutOfRange};
use crate::core::calibration::fitted::admit;
use crate::core::record::{Against, CalibrationPoint};
use crate::core::steady::{Steadiness, Steady, Unsteady};
use crate::core::units::Celsius;

/// A comparison that is to be made.
#[derive(Clone, PartialEq, Debug)]
pub struct Bath {
    /// Of which kind.
    pub against: Against,
    /// What the probe should show, and how surely.
    pub point: FixedPoint,
}

/// Why a point cannot be taken yet.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum NotYet {
    /// The probe is not steady.
    Unsteady(Unsteady),
    /// It is, where no sound probe can be.
    TooFar(Celsius),
}

impl Bath {
    /// Ice and water.
    #[must_use]
    pub fn ice() -> Self {
        Self { against: Against::Ice, point: boiling::ice() }
    }

    /// Boiling water at a station pressure, which the barometer shows to within its own bound.
    ///
    /// # Errors
    /// [`OutOfRange`].
    pub fn boiling(pressure: Kilopascals, barometer: Option<Kilopascals>) -> Result<Self, OutOfRange> {
        let barometer = barometer.unwrap_or(Kilopascals(BAROMETER_KPA));
        let (station_hpa, barometer_hpa) = (pressure.0 * 10.0, barometer.0 * 10.0);
        let point = boiling::at_pressure(pressure, barometer)?;
        Ok(Self { against: Against::Boiling { station_hpa, barometer_hpa }, point })
    }

    /// Boiling water at an altitude, m, whatever the weather.
    ///
    /// # Errors
    /// [`OutOfRange`].
    pub fn boiling_at_altitude(altitude_m: f64) -> Result<Self, OutOfRange> {
        let point = boiling::at_altitude(altitude_m)?;
        Ok(Self { against: Against::BoilingAtAltitude { altitude_m }, point })
    }

    /// Water in which a thermometer of this name shows so much; expanded uncertainty (k = 2), °C.
    #[must_use]
    pub const fn beside_thermometer(celsius: Celsius, thermometer: String, expanded_c: f64) -> Self {
        Self { against: Against::Thermometer { thermometer }, point: FixedPoint { celsius, expanded_c } }
    }

    /// Whether a sound probe can show this in it.
    #[must_use]
    pub fn is_near(&self, celsius: Celsius) -> bool {
        admit(self.point.celsius, celsius).is_ok()
    }

    /// The stretch that is taken for the point, once there is one.
    ///
    /// # Errors
    /// [`NotYet`].
    pub fn look(&self, watch: &Steadiness) -> Result<Steady, NotYet> {
        let steady = watch.look().map_err(NotYet::Unsteady)?;
        if self.is_near(steady.mean) { Ok(steady) } else { Err(NotYet::TooFar(steady.mean)) }
    }

    /// The point; what is left at it is worked out with the others.
    #[must_use]
    pub fn compared(&self, steady: &Steady) -> CalibrationPoint {
        CalibrationPoint {
            against: self.against.clone(),
            reference_c: self.point.celsius.0,
            reference_expanded_c: self.point.expanded_c,
            indicated_c: steady.mean.0,
            spread_c: steady.spread_c,
            readings: steady.readings,
            lasted_s: steady.lasted_s,
            found_error_c: 0.0,
            left_error_c: 0.0,
        }
    }
}
