//! Where water boils: the saturation line of IAPWS SR1-86, solved for the temperature.

/// Critical temperature of water, K (IAPWS SR1-86(1992)).
const CRITICAL_K: f64 = 647.096;
/// Critical pressure of water, hPa (IAPWS SR1-86(1992)).
const CRITICAL_HPA: f64 = 220_640.0;
/// Coefficients and exponents of equation 1 of IAPWS SR1-86(1992), "Saturation Properties of Ordinary
/// Water Substance", ITS-90 (W. Wagner, A. Pruss, J. Phys. Chem. Ref. Data 22, 783, 1993).
const TERMS: [(f64, f64); 6] = [
    (-7.859_517_83, 1.0),
    (1.844_082_59, 1.5),
    (-11.786_649_7, 3.0),
    (22.680_741_1, 3.5),
    (-15.961_871_9, 4.0),
    (1.801_225_02, 7.5),
];
const ZERO_CELSIUS_IN_KELVIN: f64 = 273.15;

/// Pressure at which water boils at this temperature, hPa. Holds from 0.01 °C to 373.9 °C.
#[must_use]
pub fn saturation_hpa(celsius: f64) -> f64 {
    let kelvin = celsius + ZERO_CELSIUS_IN_KELVIN;
    let away = 1.0 - kelvin / CRITICAL_K;
    let sum: f64 = TERMS.iter().map(|(factor, power)| factor * away.powf(*power)).sum();
    CRITICAL_HPA * (CRITICAL_K / kelvin * sum).exp()
}

/// Temperature at which water boils under this pressure of the air, °C. Holds from 7 hPa to 15,000 hPa;
/// beyond, the nearer end of 0 to 200 °C.
#[must_use]
pub fn boiling_c(hpa: f64) -> f64 {
    let (mut below_c, mut above_c) = (0.0, 200.0);
    // Each halving is a bit: 200 °C to a millionth takes 28.
    for _ in 0..40 {
        let middle_c = (below_c + above_c) / 2.0;
        if saturation_hpa(middle_c) < hpa {
            below_c = middle_c;
        } else {
            above_c = middle_c;
        }
    }
    below_c
}

#[cfg(test)]
mod tests {
    use super::*;

    // IAPWS SR1-86(1992), table 1 (from memory): triple point, normal boiling point, critical point.
    #[test]
    fn the_saturation_line_meets_its_table() {
        for (kelvin, hpa) in [(273.16, 6.116_57), (373.1243, 1_013.25), (647.096, 220_640.0)] {
            let found = saturation_hpa(kelvin - ZERO_CELSIUS_IN_KELVIN);
            assert!((found / hpa - 1.0).abs() < 1e-5, "{kelvin} K: {found} hPa");
        }
    }

    // At 1013.25 hPa water boils at 99.974 °C by ITS-90 (373.1243 K, as above), not at 100 °C. Of the others:
    // 1000 hPa 372.7559 K (IAPWS-IF97, table 36, another equation for the same line).
    #[test]
    fn water_boils_a_little_below_a_hundred() {
        for (hpa, celsius) in [(1_013.25, 99.974), (1_000.0, 99.606)] {
            let found = boiling_c(hpa);
            assert!((found - celsius).abs() < 0.001, "{hpa} hPa: {found} °C");
            assert!((saturation_hpa(found) - hpa).abs() < 1e-3, "{hpa} hPa and back");
        }
    }
}
