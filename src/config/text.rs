//! Quantities as text with their unit: temperatures, differences, durations.
//!
//! A bare number is refused everywhere: a unit that stands in the value cannot
//! be read wrongly. Each form has one canonical spelling, used in the record of
//! a configuration change, and reading it back gives the same value.

use std::time::Duration;

use crate::core::units::Celsius;

/// Why a text is no quantity.
#[derive(Clone, Copy, PartialEq, Eq, Debug, thiserror::Error)]
pub enum QuantityError {
    /// No number at the start.
    #[error("does not start with a number")]
    Number,
    /// A number alone.
    #[error("has no unit")]
    NoUnit,
    /// A unit that does not belong here.
    #[error("has an unknown unit")]
    Unit,
    /// NaN, infinite, negative where that has no meaning, or beyond any use.
    #[error("is out of any range")]
    Range,
}

/// Reads a temperature: `82.2 °C`, `180F`, `355.4 K`.
///
/// # Errors
/// [`QuantityError`] says what is wrong.
pub fn temperature(text: &str) -> Result<Celsius, QuantityError> {
    let (number, unit) = split(text)?;
    match unit {
        "°C" | "C" | "℃" => Ok(Celsius(number)),
        "°F" | "F" | "℉" => Ok(Celsius::from_fahrenheit(number)),
        "K" => Ok(Celsius::from_kelvin(number)),
        "" => Err(QuantityError::NoUnit),
        _ => Err(QuantityError::Unit),
    }
}

/// Reads a difference of temperatures in kelvin: `0.5 °C` and `0.5 K` are the
/// same, `0.9 °F` too.
///
/// # Errors
/// [`QuantityError`] says what is wrong.
pub fn difference(text: &str) -> Result<f64, QuantityError> {
    let (number, unit) = split(text)?;
    match unit {
        "°C" | "C" | "℃" | "K" => Ok(number),
        "°F" | "F" | "℉" => Ok(number / 1.8),
        "" => Err(QuantityError::NoUnit),
        _ => Err(QuantityError::Unit),
    }
}

/// Microseconds of each unit of time, the longest first; a day is 24 hours.
const UNITS: [(&str, u64); 6] = [
    ("d", 86_400_000_000),
    ("h", 3_600_000_000),
    ("min", 60_000_000),
    ("s", 1_000_000),
    ("ms", 1_000),
    ("us", 1),
];

/// Reads a duration: `500ms`, `10s`, `1h 30min`, `400d`; `m` is `min`, `µs` is `us`.
///
/// # Errors
/// [`QuantityError`] says what is wrong.
pub fn duration(text: &str) -> Result<Duration, QuantityError> {
    let mut rest = text.trim();
    let mut micros = 0_u64;
    loop {
        let digits = rest.find(|c: char| !c.is_ascii_digit() && c != '.').unwrap_or(rest.len());
        let (number, after) = rest.split_at(digits);
        let after = after.trim_start();
        let letters = after.find(|c: char| !c.is_alphabetic()).unwrap_or(after.len());
        let part = part(number, &after[..letters])?;
        micros = micros.checked_add(part).ok_or(QuantityError::Range)?;
        rest = after[letters..].trim_start();
        if rest.is_empty() {
            return Ok(Duration::from_micros(micros));
        }
    }
}

/// Microseconds of one number with its unit: exact where the number is whole,
/// else to the nearest microsecond.
fn part(number: &str, unit: &str) -> Result<u64, QuantityError> {
    let float: f64 = number.parse().map_err(|_| QuantityError::Number)?;
    let unit = match unit {
        "" => return Err(QuantityError::NoUnit),
        "m" => "min",
        "µs" | "μs" => "us",
        unit => unit,
    };
    let (_, micros) = UNITS.iter().find(|(name, _)| *name == unit).ok_or(QuantityError::Unit)?;
    if let Ok(whole) = number.parse::<u64>() {
        return whole.checked_mul(*micros).ok_or(QuantityError::Range);
    }
    let span =
        Duration::try_from_secs_f64(float * (*micros as f64) / 1e6).map_err(|_| QuantityError::Range)?;
    u64::try_from((span.as_nanos() + 500) / 1000).map_err(|_| QuantityError::Range)
}

/// The canonical spelling of a duration: the longest unit that divides it.
#[must_use]
pub fn of_duration(duration: Duration) -> String {
    let micros = duration.as_micros();
    if micros == 0 {
        return "0s".to_owned();
    }
    let divides = |(_, unit): &&(&str, u64)| micros.is_multiple_of(u128::from(*unit));
    let (name, unit) = UNITS.iter().find(divides).unwrap_or(&UNITS[5]);
    format!("{}{name}", micros / u128::from(*unit))
}

/// The canonical spelling of a temperature: the shortest digits that give it back, in °C, or in °F where only
/// that is a short one: it was written so.
#[must_use]
pub fn of_temperature(celsius: Celsius) -> String {
    shortest(celsius.0, celsius.0 * 1.8 + 32.0, |text| temperature(text).ok().map(|read| read.0))
}

/// The canonical spelling of a difference, as that of a temperature.
#[must_use]
pub fn of_difference(kelvin: f64) -> String {
    shortest(kelvin, kelvin * 1.8, |text| difference(text).ok())
}

fn shortest(celsius: f64, fahrenheit: f64, read: impl Fn(&str) -> Option<f64>) -> String {
    // The way there and back costs some of the last digits of a double.
    let fahrenheit = (fahrenheit * 1e6).round() / 1e6;
    let (in_celsius, in_fahrenheit) = (format!("{celsius} °C"), format!("{fahrenheit} °F"));
    let is_shorter = in_fahrenheit.len() + 4 < in_celsius.len() && read(&in_fahrenheit) == Some(celsius);
    if is_shorter { in_fahrenheit } else { in_celsius }
}

/// Splits a text into its number and its unit, which may be empty.
fn split(text: &str) -> Result<(f64, &str), QuantityError> {
    let text = text.trim();
    let digits =
        text.find(|c: char| !c.is_ascii_digit() && !matches!(c, '.' | '+' | '-')).unwrap_or(text.len());
    let number: f64 = text[..digits].parse().map_err(|_| QuantityError::Number)?;
    if !number.is_finite() {
        return Err(QuantityError::Range);
    }
    Ok((number, text[digits..].trim()))
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    // Food Code pairs by the definition of the scales: 180 °F = 82.222… °C, 194 °F = 90 °C.
    #[test]
    fn reads_temperatures() {
        for (text, expected) in [
            ("82.2 °C", Ok(82.2)),
            ("82.2C", Ok(82.2)),
            ("  -0.5 °C ", Ok(-0.5)),
            ("194F", Ok(90.0)),
            ("194 °F", Ok(90.0)),
            ("363.15 K", Ok(90.0)),
            ("82.2", Err(QuantityError::NoUnit)),
            ("82,2 °C", Err(QuantityError::Unit)),
            ("NaN °C", Err(QuantityError::Number)),
            ("hot", Err(QuantityError::Number)),
            ("82 bar", Err(QuantityError::Unit)),
            ("1-2 °C", Err(QuantityError::Number)),
            ("", Err(QuantityError::Number)),
        ] {
            let rounded = temperature(text).map(|celsius| (celsius.0 * 1e9).round() / 1e9);
            assert_eq!(rounded, expected, "{text}");
        }
    }

    // By the definition of the scales; own rule: what was written in °F is read in °F, and not as 82.22222222222221 °C.
    #[test]
    fn a_temperature_is_told_as_it_was_written() {
        for (text, told) in [
            ("180 °F", "180 °F"),
            ("149.5F", "149.5 °F"),
            ("82.2 °C", "82.2 °C"),
            ("-4 °F", "-20 °C"),
            ("194 °F", "90 °C"),
            ("82.2222 °C", "82.2222 °C"),
        ] {
            assert_eq!(of_temperature(temperature(text).expect("a temperature")), told, "{text}");
        }
        for (text, told) in [("2 °F", "2 °F"), ("0.9 °F", "0.5 °C"), ("1.1 K", "1.1 °C")] {
            assert_eq!(of_difference(difference(text).expect("a difference")), told, "{text}");
        }
    }

    // Seconds by the definition of the units (BIPM SI Brochure, 9th edition, table 8).
    #[test]
    fn reads_durations() {
        for (text, expected) in [
            ("500ms", Ok(0.5)),
            ("10s", Ok(10.0)),
            ("2.5 s", Ok(2.5)),
            ("5m", Ok(300.0)),
            ("1h 30min", Ok(5_400.0)),
            ("8h", Ok(28_800.0)),
            ("400d", Ok(34_560_000.0)),
            ("10", Err(QuantityError::NoUnit)),
            ("s", Err(QuantityError::Number)),
            ("-5s", Err(QuantityError::Number)),
            ("5 fortnights", Err(QuantityError::Unit)),
            ("1e9s", Err(QuantityError::Unit)),
            ("99999999999999999999999d", Err(QuantityError::Range)),
        ] {
            assert_eq!(duration(text).map(|span| span.as_secs_f64()), expected, "{text}");
        }
    }

    // A shrunk failure of the property below.
    #[test]
    fn a_duration_of_centuries_reads_back() {
        let span = Duration::from_micros(19_960_196_043_789_968);
        assert_eq!(duration(&of_duration(span)), Ok(span));
    }

    proptest! {
        #[test]
        fn a_canonical_duration_reads_back(micros in 0_u64..40_000_000_000_000_000) {
            let span = Duration::from_micros(micros);
            prop_assert_eq!(duration(&of_duration(span)), Ok(span));
        }

        #[test]
        fn a_canonical_temperature_reads_back(celsius in -300.0..2000.0_f64) {
            prop_assert_eq!(temperature(&of_temperature(Celsius(celsius))), Ok(Celsius(celsius)));
        }

        #[test]
        fn a_canonical_temperature_of_fahrenheit_reads_back(tenths in -4_000..20_000_i32) {
            let celsius = Celsius::from_fahrenheit(f64::from(tenths) / 10.0);
            prop_assert_eq!(temperature(&of_temperature(celsius)), Ok(celsius));
            let kelvin = f64::from(tenths) / 18.0;
            prop_assert_eq!(difference(&of_difference(kelvin)), Ok(kelvin));
        }

        #[test]
        fn no_text_breaks_the_readers(text in "\\PC*") {
            // The property is that these return at all.
            let told = [temperature(&text).is_ok(), difference(&text).is_ok(), duration(&text).is_ok()];
            prop_assert_eq!(told.len(), 3);
        }
    }
}
