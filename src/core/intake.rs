//! From a delivered value to a calibrated temperature.

use std::time::Duration;

use serde::{Deserialize, Serialize};

use super::channel::{Probe, Signal};
use super::reading::{Fault, Value};
use super::rtd::{self, Ohms};
use super::thermocouple::{self, Millivolts};
use super::time::Timestamp;
use super::units::Celsius;

/// Coldest and hottest water a dish machine can hold, °C. Water below 0 °C is
/// ice; above 130 °C no open machine can heat it.
const WATER_MIN: Celsius = Celsius(-2.0);
/// See [`WATER_MIN`].
const WATER_MAX: Celsius = Celsius(130.0);
/// A thermocouple that reads colder than this has its leads exchanged, °C: it
/// falls below its terminals as fast as the water rises above them.
const REVERSED_BELOW: Celsius = Celsius(-2.0);
/// Below this a line at rest may show the same digits for hours, °C.
const STUCK_ABOVE: Celsius = Celsius(40.0);

/// Temperature of a cold junction when it was last read.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize)]
pub struct Junction {
    /// When.
    #[serde(with = "super::time::micros")]
    pub at: Timestamp,
    /// What.
    pub celsius: Celsius,
}

/// Converts a value of `signal` to °C, before any calibration. `junction` is the
/// cold junction of a thermocouple, not older than `silent_after`.
///
/// # Errors
/// The fault that the value stands for, or that it reveals.
pub fn converted(
    signal: Signal,
    at: Timestamp,
    value: Value,
    junction: Option<Junction>,
    silent_after: Duration,
) -> Result<Celsius, Fault> {
    let number = match value {
        Value::Number(number) if number.is_finite() => number,
        Value::Fault(fault) => return Err(fault),
        Value::Number(_) | Value::Flag(_) => return Err(Fault::Reported),
    };
    let celsius = match signal {
        Signal::Celsius => Celsius(number),
        Signal::Fahrenheit => Celsius::from_fahrenheit(number),
        Signal::Kelvin => Celsius::from_kelvin(number),
        Signal::Pt100 => rtd::temperature(Ohms(number)).map_err(|_| Fault::OutOfRange)?,
        Signal::Thermocouple { kind, .. } => {
            let fresh = |junction: &Junction| at.since(junction.at) <= silent_after;
            let junction = junction.filter(fresh).ok_or(Fault::NoColdJunction)?;
            let celsius = thermocouple::compensated(kind, Millivolts::from_volts(number), junction.celsius)
                .map_err(|_| Fault::OutOfRange)?;
            if celsius < REVERSED_BELOW {
                return Err(Fault::Reversed);
            }
            celsius
        }
    };
    if celsius < WATER_MIN || celsius > WATER_MAX { Err(Fault::OutOfRange) } else { Ok(celsius) }
}

/// Notices a probe whose digits stand still.
#[derive(Clone, Copy, PartialEq, Debug, Default, Serialize, Deserialize)]
pub struct Stillness {
    /// The first reading with these digits.
    since: Option<Junction>,
    /// The last one.
    last: Option<Timestamp>,
}

impl Stillness {
    /// Takes a converted reading; tells whether the probe is stuck. What it showed while it was
    /// silent, or before its clock stepped back, is not known, so the time starts anew there.
    pub fn is_stuck(&mut self, probe: &Probe, at: Timestamp, celsius: Celsius) -> bool {
        let Some(limit) = probe.stuck_after else { return false };
        let follows = |last: Timestamp| at >= last && at.since(last) <= probe.silent_after;
        let unbroken = self.last.replace(at).is_some_and(follows);
        match self.since {
            Some(still) if unbroken && still.celsius == celsius => {
                celsius > STUCK_ABOVE && at.since(still.at) >= limit
            }
            Some(_) | None => {
                self.since = Some(Junction { at, celsius });
                false
            }
        }
    }
}
