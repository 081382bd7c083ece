//! The two fixed points that a kitchen has: boiling water and melting ice, and how far each can be trusted.
//!
//! Water boils where its saturation pressure is the pressure of the air at that place: the
//! **station pressure**, not the one that weather services give for sea level. The saturation line
//! is that of IAPWS-IF97, region 4 (equations 30 and 31, coefficients of table 34), valid from
//! 273.15 K to 647.096 K. Where no barometer is at hand the pressure follows from the altitude by
//! the International Standard Atmosphere (ISO 2533:1975), and the weather is then not known.

use super::units::Celsius;

/// A temperature and what it may be wrong by.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct FixedPoint {
    /// The temperature.
    pub celsius: Celsius,
    /// Expanded uncertainty (k = 2), °C.
    pub expanded_c: f64,
}

/// A pressure, in kilopascals.
#[derive(Clone, Copy, PartialEq, PartialOrd, Debug)]
pub struct Kilopascals(pub f64);

/// Air pressures that a kitchen can have, kPa (own choice): those of 5,000 m (54.0 kPa by ISO 2533)
/// in a deep low up to the strongest high at the shore of the Dead Sea.
pub const PRESSURE_RANGE: std::ops::RangeInclusive<f64> = 50.0..=112.0;
/// Altitudes of kitchens, m (own choice).
pub const ALTITUDE_RANGE: std::ops::RangeInclusive<f64> = -430.0..=5_000.0;

/// What an honest pot of boiling water may differ from the saturation line by, ± °C (own choice): a
/// depth of 5 cm raises it by 0.14 °C, superheat at the wall and minerals by as much again.
const POT_C: f64 = 0.2;
/// What a glass of ice and water may differ from 0 °C by, ± °C (common practice, no source: ±0.1 to
/// ±0.3 °C for a bath that is stirred and drained by hand).
const ICE_C: f64 = 0.2;
/// Swing of the weather about the standard atmosphere, ± kPa (common practice, no source).
const WEATHER_KPA: f64 = 3.0;
/// What an altitude is known to, ± m (own choice: a map or a telephone).
const ALTITUDE_M: f64 = 30.0;
/// What a barometer may be wrong by where nothing is said of it, ± kPa (own choice: 1 hPa, the usual
/// claim of a telephone or a weather station).
pub const BAROMETER_KPA: f64 = 0.1;

/// Coefficients n1 to n10 of IAPWS-IF97, table 34.
const N: [f64; 10] = [
    0.116_705_214_527_67e4,
    -0.724_213_167_032_06e6,
    -0.170_738_469_400_92e2,
    0.120_208_247_024_70e5,
    -0.323_255_503_223_33e7,
    0.149_151_086_135_30e2,
    -0.482_326_573_615_91e4,
    0.405_113_405_420_57e6,
    -0.238_555_575_678_49,
    0.650_175_348_447_98e3,
];
const ZERO_CELSIUS_IN_KELVIN: f64 = 273.15;

/// Why there is no such fixed point.
#[derive(Clone, Copy, PartialEq, Debug, thiserror::Error)]
pub enum OutOfRange {
    /// No air has this pressure where people wash dishes.
    #[error("{kpa:.1} kPa is no air pressure of a kitchen; 50 to 112 kPa (500 to 1120 hPa) are")]
    Pressure {
        /// What was given, kPa.
        kpa: f64,
    },
    /// No kitchen lies there.
    #[error("an altitude of {metres:.0} m is outside -430 to 5000 m")]
    Altitude {
        /// What was given, m.
        metres: f64,
    },
}

/// Temperature at which water boils under `pressure` (IAPWS-IF97, equation 31). Valid from
/// 0.611213 kPa to 22,064 kPa; NaN outside of what can be computed.
#[must_use]
pub fn saturation_temperature(pressure: Kilopascals) -> Celsius {
    let beta = (pressure.0 / 1_000.0).sqrt().sqrt();
    let e = beta * beta + N[2] * beta + N[5];
    let f = N[0] * beta * beta + N[3] * beta + N[6];
    let g = N[1] * beta * beta + N[4] * beta + N[7];
    let d = 2.0 * g / (-f - (f * f - 4.0 * e * g).sqrt());
    let sum = N[9] + d;
    let kelvin = (sum - (sum * sum - 4.0 * (N[8] + N[9] * d)).sqrt()) / 2.0;
    Celsius(kelvin - ZERO_CELSIUS_IN_KELVIN)
}

/// Pressure at which water boils at `celsius` (IAPWS-IF97, equation 30). Valid from 0 °C to 373.946 °C.
#[must_use]
pub fn saturation_pressure(celsius: Celsius) -> Kilopascals {
    let kelvin = celsius.0 + ZERO_CELSIUS_IN_KELVIN;
    let theta = kelvin + N[8] / (kelvin - N[9]);
    let a = theta * theta + N[0] * theta + N[1];
    let b = N[2] * theta * theta + N[3] * theta + N[4];
    let c = N[5] * theta * theta + N[6] * theta + N[7];
    let root = 2.0 * c / (-b + (b * b - 4.0 * a * c).sqrt());
    Kilopascals(root.powi(4) * 1_000.0)
}

/// Pressure of the standard atmosphere at an altitude (ISO 2533:1975, up to 11,000 m).
#[must_use]
pub fn standard_pressure(altitude_m: f64) -> Kilopascals {
    Kilopascals(101.325 * libm::pow(1.0 - 0.006_5 * altitude_m / 288.15, 5.255_880))
}

/// Boiling water under a measured station pressure; `barometer` is the bound (±) on its error.
///
/// # Errors
/// [`OutOfRange::Pressure`].
///
/// ```
/// use rinseward::core::boiling::{BAROMETER_KPA, Kilopascals, at_pressure};
///
/// let boiling = at_pressure(Kilopascals(101.325), Kilopascals(BAROMETER_KPA))?;
/// assert!((boiling.celsius.0 - 99.974).abs() < 0.001); // not 100
/// # Ok::<(), rinseward::core::boiling::OutOfRange>(())
/// ```
pub fn at_pressure(pressure: Kilopascals, barometer: Kilopascals) -> Result<FixedPoint, OutOfRange> {
    if !PRESSURE_RANGE.contains(&pressure.0) {
        return Err(OutOfRange::Pressure { kpa: pressure.0 });
    }
    Ok(boiling(pressure, barometer.0.abs()))
}

/// Boiling water at an altitude, whatever the weather: about one degree is not known then.
///
/// # Errors
/// [`OutOfRange::Altitude`].
pub fn at_altitude(altitude_m: f64) -> Result<FixedPoint, OutOfRange> {
    if !ALTITUDE_RANGE.contains(&altitude_m) {
        return Err(OutOfRange::Altitude { metres: altitude_m });
    }
    let pressure = standard_pressure(altitude_m);
    let of_altitude = (standard_pressure(altitude_m - ALTITUDE_M).0 - pressure.0).abs();
    Ok(boiling(pressure, WEATHER_KPA.hypot(of_altitude)))
}

/// Melting ice in clean water: 0 °C at every pressure of a kitchen (the melting point falls by
/// 0.0075 °C for each 100 kPa).
#[must_use]
pub fn ice() -> FixedPoint {
    FixedPoint { celsius: Celsius(0.0), expanded_c: expanded(ICE_C, 0.0) }
}

/// The bound on the pressure becomes one on the temperature by the slope of the saturation line.
fn boiling(pressure: Kilopascals, bound_kpa: f64) -> FixedPoint {
    let at = |kpa: f64| saturation_temperature(Kilopascals(kpa)).0;
    let slope_c_per_kpa = (at(pressure.0 + 0.5) - at(pressure.0 - 0.5)).abs();
    FixedPoint {
        celsius: saturation_temperature(pressure),
        expanded_c: expanded(POT_C, slope_c_per_kpa * bound_kpa),
    }
}

/// Two bounds without a known distribution, combined and expanded (k = 2) by JCGM 100:2008, 4.3.7.
fn expanded(one_c: f64, other_c: f64) -> f64 {
    2.0 * (one_c / 3f64.sqrt()).hypot(other_c / 3f64.sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;

    // IAPWS-IF97, tables 35 and 36: the values by which a program is checked.
    #[test]
    fn the_saturation_line_is_that_of_if97() {
        for (kelvin, mpa) in [(300.0, 0.353_658_941e-2), (500.0, 0.263_889_776e1), (600.0, 0.123_443_146e2)] {
            let found = saturation_pressure(Celsius(kelvin - 273.15)).0 / 1_000.0;
            assert!((found / mpa - 1.0).abs() < 1e-8, "{kelvin} K: {found} MPa");
        }
        for (mpa, kelvin) in [(0.1, 372.755_919), (1.0, 453.035_632), (10.0, 584.149_488)] {
            let found = saturation_temperature(Kilopascals(mpa * 1_000.0)).0 + 273.15;
            assert!((found - kelvin).abs() < 1e-6, "{mpa} MPa: {found} K");
        }
    }

    // Made with the package iapws 1.5.5 and ISO 2533, and by an independent coding of region 4.
    #[test]
    fn altitudes_boil_as_the_table_says() {
        let table = include_str!("../../tests/data/boiling_check.csv");
        let mut rows = 0;
        for line in table.lines().skip(1) {
            let cells: Vec<f64> = line.split(',').map(|cell| cell.parse().expect("a number")).collect();
            let [altitude_m, kpa, boiling_c] = cells[..] else { panic!("three columns: {line}") };
            let pressure = standard_pressure(altitude_m);
            assert!((pressure.0 - kpa).abs() < 6e-5, "{altitude_m} m: {}", pressure.0);
            let found = at_altitude(altitude_m).expect("a kitchen").celsius;
            assert!((found.0 - boiling_c).abs() < 6e-5, "{altitude_m} m: {}", found.0);
            let back = saturation_pressure(found);
            assert!((back.0 - pressure.0).abs() < 1e-6, "{altitude_m} m and back: {}", back.0);
            rows += 1;
        }
        assert_eq!(rows, 17);
    }

    // The slope near sea level is 0.2765 °C for each kPa (computed from IF97), so the weather's ±3 kPa are
    // ±0.83 °C; expanded by 2/√3 and joined with the pot's 0.2 °C that is 0.99 °C. The bounds are own choices.
    #[test]
    fn a_barometer_is_worth_a_degree() {
        let measured = at_pressure(Kilopascals(101.325), Kilopascals(BAROMETER_KPA)).expect("sea level");
        assert!((measured.expanded_c - 0.233).abs() < 0.002, "{}", measured.expanded_c);
        let by_altitude = at_altitude(0.0).expect("sea level");
        assert!((by_altitude.expanded_c - 0.99).abs() < 0.02, "{}", by_altitude.expanded_c);
        assert!((ice().expanded_c - 0.231).abs() < 0.001);
    }

    #[test]
    fn what_is_no_kitchen_is_refused() {
        for kpa in [49.9, 112.1, 1_002.3, f64::NAN] {
            assert!(at_pressure(Kilopascals(kpa), Kilopascals(0.1)).is_err(), "{kpa} kPa");
        }
        for metres in [-431.0, 5_001.0, f64::NAN] {
            assert!(at_altitude(metres).is_err(), "{metres} m");
        }
    }
}
