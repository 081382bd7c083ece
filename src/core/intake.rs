//! From a delivered value to a calibrated temperature.

use std::time::Duration;

use serde::{Deserialize, Serialize};

use super::channel::{Probe, Signal};
use super::reading::{Fault, Value};
use super::rtd::{self, Ohms};
use super::thermocouple::{self, Millivolts, ThermocoupleError, ThermocoupleType};
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

/// Emf of a thermocouple's terminals, kept while their temperature stands.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
pub struct Terminals {
    known: Option<(Celsius, Millivolts)>,
}

impl Terminals {
    fn emf(&mut self, kind: ThermocoupleType, cold: Celsius) -> Result<Millivolts, ThermocoupleError> {
        if let Some((celsius, emf)) = self.known
            && celsius == cold
        {
            return Ok(emf);
        }
        let emf = thermocouple::emf(kind, cold)?;
        self.known = Some((cold, emf));
        Ok(emf)
    }
}

/// Converts a value of `signal` to °C, before any calibration. `junction` is the
/// cold junction of a thermocouple, not older than `silent_after`; `terminals`
/// belongs to the probe.
///
/// # Errors
/// The fault that the value stands for, or that it reveals.
pub fn converted(
    signal: Signal,
    at: Timestamp,
    value: Value,
    junction: Option<Junction>,
    terminals: &mut Terminals,
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
            let terminals = terminals.emf(kind, junction.celsius).map_err(|_| Fault::OutOfRange)?;
            let celsius = thermocouple::above_terminals(kind, Millivolts::from_volts(number), terminals)
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::channel::Place;
    use crate::core::cycle::fixture::{at, probe};
    use crate::core::id::ChannelId;
    use crate::core::thermocouple::ThermocoupleType;

    const SILENT: Duration = Duration::from_secs(10);

    // 100 °C is 138.51 Ω (IEC 60751) and 4.096 mV against 0 °C of type K (NIST ITS-90 table);
    // the bounds of water are this program's own choice.
    #[test]
    fn a_value_is_a_temperature_or_a_fault() {
        let junction = |age: f64| Some(Junction { at: at(100.0 - age), celsius: Celsius(0.0) });
        let kind = ThermocoupleType::K;
        let thermocouple = Signal::Thermocouple { kind, cold_junction: ChannelId(9) };
        for (name, signal, value, junction, expected) in [
            ("°C", Signal::Celsius, Value::Number(82.0), None, Ok(82.0)),
            ("°F", Signal::Fahrenheit, Value::Number(212.0), None, Ok(100.0)),
            ("K", Signal::Kelvin, Value::Number(373.15), None, Ok(100.0)),
            ("Pt100", Signal::Pt100, Value::Number(138.51), None, Ok(100.0)),
            ("type K", thermocouple, Value::Number(0.004_096), junction(1.0), Ok(100.0)),
            ("no junction", thermocouple, Value::Number(0.004_096), None, Err(Fault::NoColdJunction)),
            (
                "an old junction",
                thermocouple,
                Value::Number(0.004_096),
                junction(11.0),
                Err(Fault::NoColdJunction),
            ),
            ("reversed", thermocouple, Value::Number(-0.003), junction(1.0), Err(Fault::Reversed)),
            ("a fault", Signal::Celsius, Value::Fault(Fault::Short), None, Err(Fault::Short)),
            ("a flag", Signal::Celsius, Value::Flag(true), None, Err(Fault::Reported)),
            ("no number", Signal::Celsius, Value::Number(f64::NAN), None, Err(Fault::Reported)),
            ("hottest water", Signal::Celsius, Value::Number(130.0), None, Ok(130.0)),
            ("hotter", Signal::Celsius, Value::Number(130.1), None, Err(Fault::OutOfRange)),
            ("ice", Signal::Celsius, Value::Number(-2.1), None, Err(Fault::OutOfRange)),
        ] {
            match (converted(signal, at(100.0), value, junction, &mut Terminals::default(), SILENT), expected)
            {
                (Ok(found), Ok(expected)) => assert!((found.0 - expected).abs() < 0.02, "{name}: {found}"),
                (found, expected) => assert_eq!(found.map(|c| c.0), expected, "{name}"),
            }
        }
    }

    // The times are the probe's configuration; 40 °C is this program's own choice.
    #[test]
    fn a_probe_whose_digits_stand_still_is_stuck() {
        let probe = probe(Place::FinalRinse, None);
        let every_5_s: Vec<f64> = (0..=120).map(|i| f64::from(i) * 5.0).collect();
        let over_a_silence: Vec<f64> = [0.0, 5.0, 700.0, 705.0].to_vec();
        let over_a_step_back: Vec<f64> = [3_600.0, 3_605.0, 5.0, 10.0].to_vec();
        for (name, celsius, times, expected) in [
            ("ten minutes", 81.9, &every_5_s, true),
            ("not quite", 81.9, &every_5_s[..120].to_vec(), false),
            ("a cold line at rest", 22.0, &every_5_s, false),
            ("the same digits after a silence", 81.9, &over_a_silence, false),
            ("the same digits after a step of the clock", 81.9, &over_a_step_back, false),
        ] {
            let mut stillness = Stillness::default();
            let last = times.iter().map(|t| stillness.is_stuck(&probe, at(*t), Celsius(celsius))).last();
            assert_eq!(last, Some(expected), "{name}");
        }
    }
}
