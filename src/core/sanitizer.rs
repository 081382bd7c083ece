//! Chemical sanitizers by FDA Food Code 4-501.114 and 4-703.11.
//!
//! Chlorine, mg/L of available chlorine, lowest temperature, shortest contact:
//!
//! | mg/L | pH to 8 | pH to 10 | contact |
//! |---|---|---|---|
//! | 25 to 49 | 49 °C (120 °F) | 49 °C (120 °F) | 10 s |
//! | 50 to 99 | 24 °C (75 °F) | 38 °C (100 °F) | 7 s |
//! | 100 up | 13 °C (55 °F) | 13 °C (55 °F) | 10 s |
//!
//! The bands are printed in whole numbers. A value in a gap (49 to 50, 99 to
//! 100) is read as the lower band, the careful choice (own). An unknown pH is
//! read in the column for pH 10. A higher concentration may ask for a longer
//! contact than a lower one: the 7 s of 4-703.11 name 50 mg/L.
//!
//! Iodine: 12.5 to 25 mg/L, 20 °C (68 °F), pH at most 5.0. Quat: as the label
//! says, 24 °C (75 °F). Contact of both: 30 s. Where a label asks for more, the
//! label rules.
//!
//! A test strip shows one of a few colours, [`strip_colours`]. Between two of them nobody reads a number: the weaker
//! one is entered, but the stronger one where it is above the range ([`too_strong_between`]). So what may lie outside
//! is entered as outside, the careful choice (own, as for the bands). What another kit shows as a number is entered
//! as one.
//!
//! Chlorine must never meet an acid (descaler, rinse-aid concentrate) or
//! ammonia: the gas set free is poisonous. A concentration found wrong is
//! corrected at the dispenser, by the product's label, with the tank rinsed
//! between deliming and refilling.

pub mod bound;
#[cfg(test)]
mod tests;

use std::ops::RangeInclusive;
use std::time::Duration;

use serde::{Deserialize, Serialize};

use self::bound::Bound;
use super::cycle::plate::Sanitizing;
use super::food_code::{Printed, Rounding};
use super::units::Celsius;

/// Why a concentration cannot sanitize.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Refusal {
    /// Below the lowest permitted concentration.
    TooWeak,
    /// Above the highest permitted concentration.
    TooStrong,
    /// The pH is above what the table covers.
    PhTooHigh,
    /// The concentration or the pH is no possible measurement: not a number, below zero, a pH above 14.
    NotAMeasurement,
    /// The machine sanitizes by hot water: no concentration counts.
    NotChemical,
}

/// What a concentration asks of the final rinse.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Requirement {
    /// Lowest temperature of the solution.
    pub min: Celsius,
    /// Shortest contact.
    pub contact: Duration,
}

/// What may differ from site to site and from product to product.
#[derive(Clone, PartialEq, Debug)]
pub struct Rules {
    /// Which figure of a printed pair counts.
    pub rounding: Rounding,
    /// Highest permitted chlorine, mg/L.
    pub chlorine_max_mg_per_l: f64,
    /// Permitted iodine, mg/L.
    pub iodine_mg_per_l: RangeInclusive<f64>,
    /// Highest permitted pH of an iodine solution.
    pub iodine_ph_max: f64,
    /// Permitted quaternary ammonium, mg/L: the range of the product's label.
    pub quat_mg_per_l: RangeInclusive<f64>,
}

impl Default for Rules {
    /// The figures of the Food Code and of 40 CFR 180.940 (200 mg/L chlorine).
    /// Quat has no figure but its label's; 200 to 400 mg/L is what labels
    /// commonly say (common practice, no source).
    fn default() -> Self {
        Self {
            rounding: Rounding::Stricter,
            chlorine_max_mg_per_l: 200.0,
            iodine_mg_per_l: 12.5..=25.0,
            iodine_ph_max: 5.0,
            quat_mg_per_l: 200.0..=400.0,
        }
    }
}

impl Rules {
    /// The concentrations that can sanitize, mg/L, each at its temperature and pH; `None` for hot water, which has none.
    #[must_use]
    pub fn permitted(&self, sanitizing: Sanitizing) -> Option<RangeInclusive<f64>> {
        match sanitizing {
            Sanitizing::HotWater => None,
            Sanitizing::Chlorine => Some(CHLORINE_MIN_MG_PER_L..=self.chlorine_max_mg_per_l),
            Sanitizing::Iodine => Some(self.iodine_mg_per_l.clone()),
            Sanitizing::Quat => Some(self.quat_mg_per_l.clone()),
        }
    }

    /// The limit beyond which a solution lies that was refused; `None` where it has none: no measurement, hot water.
    #[must_use]
    pub fn crossed(&self, sanitizing: Sanitizing, refusal: Refusal) -> Option<Bound> {
        let permitted = self.permitted(sanitizing)?;
        match (refusal, sanitizing) {
            (Refusal::TooWeak, _) => Some(Bound::AtLeast(*permitted.start())),
            (Refusal::TooStrong, _) => Some(Bound::AtMost(*permitted.end())),
            (Refusal::PhTooHigh, Sanitizing::Chlorine) => Some(Bound::PhAtMost(CHLORINE_PH_MAX)),
            (Refusal::PhTooHigh, Sanitizing::Iodine) => Some(Bound::PhAtMost(self.iodine_ph_max)),
            (Refusal::PhTooHigh, Sanitizing::Quat | Sanitizing::HotWater)
            | (Refusal::NotAMeasurement | Refusal::NotChemical, _) => None,
        }
    }
}

/// A concentration as it is shown everywhere, mg/L: without a decimal where it is whole, otherwise with one, and with more
/// only where that one would make a whole number of it, which might be the permitted one that it missed.
#[must_use]
pub fn shown(mg_per_l: f64) -> String {
    let whole =
        |text: &String| text.trim_start_matches(|c| c != '.').chars().skip(1).all(|digit| digit == '0');
    if mg_per_l.fract().abs() < f64::EPSILON {
        return format!("{mg_per_l:.0}");
    }
    (1..=3)
        .map(|digits| format!("{mg_per_l:.digits$}"))
        .find(|text| !whole(text))
        .unwrap_or_else(|| format!("{mg_per_l:.0}"))
}

/// Concentrations that the colours of the usual test strips stand for, mg/L, the weakest first (common practice, no
/// source: the blocks of strips for warewashing as they are sold); none for hot water.
#[must_use]
pub const fn strip_colours(sanitizing: Sanitizing) -> &'static [f64] {
    match sanitizing {
        Sanitizing::HotWater => &[],
        Sanitizing::Chlorine => &[0.0, 10.0, 25.0, 50.0, 100.0, 200.0],
        Sanitizing::Iodine => &[0.0, 12.5, 25.0, 50.0],
        Sanitizing::Quat => &[0.0, 100.0, 200.0, 300.0, 400.0, 500.0],
    }
}

/// The neighbouring colours of a test strip, mg/L, between which it counts as the stronger one: the weaker is permitted
/// and the stronger is above the range, so that the solution may be too strong. `None` where no two are so; between
/// all others it counts as the weaker one.
///
/// ```
/// use rinseward::core::cycle::plate::Sanitizing;
/// use rinseward::core::sanitizer::{Rules, too_strong_between};
///
/// assert_eq!(too_strong_between(Sanitizing::Iodine, &Rules::default()), Some((25.0, 50.0)));
/// ```
#[must_use]
pub fn too_strong_between(sanitizing: Sanitizing, rules: &Rules) -> Option<(f64, f64)> {
    let permitted = rules.permitted(sanitizing)?;
    let mut neighbours = strip_colours(sanitizing).windows(2).map(|pair| (pair[0], pair[1]));
    neighbours.find(|(weaker, stronger)| permitted.contains(weaker) && stronger > permitted.end())
}

/// Lowest chlorine of 4-501.114, mg/L.
pub const CHLORINE_MIN_MG_PER_L: f64 = 25.0;
/// Highest pH of 4-501.114 for chlorine.
pub const CHLORINE_PH_MAX: f64 = 10.0;
/// pH up to which 50 mg/L of chlorine may be colder, 4-501.114.
const CHLORINE_PH_LOW: f64 = 8.0;
/// Chlorine, 4-703.11(C)(1), s.
const CONTACT_CHLORINE_S: u64 = 10;
/// Chlorine at 50 mg/L with pH and temperature of the table, 4-703.11(C)(2), s.
const CONTACT_CHLORINE_50_S: u64 = 7;
/// Other chemicals, 4-703.11(C)(3), s.
const CONTACT_OTHER_S: u64 = 30;

/// The contact of 4-703.11(C) whatever the concentration: the 7 s that it grants chlorine of
/// 50 mg/L under conditions are left out. `None` for hot water.
#[must_use]
pub const fn contact_time(sanitizing: Sanitizing) -> Option<Duration> {
    match sanitizing {
        Sanitizing::HotWater => None,
        Sanitizing::Chlorine => Some(Duration::from_secs(CONTACT_CHLORINE_S)),
        Sanitizing::Iodine | Sanitizing::Quat => Some(Duration::from_secs(CONTACT_OTHER_S)),
    }
}

/// What the Food Code asks of a final rinse with this concentration, or why no
/// temperature would do. An unknown pH counts as 10 for chlorine and is not
/// held against iodine, whose concentrates are acid (own choice).
///
/// # Errors
/// [`Refusal`] where the concentration cannot sanitize.
///
/// ```
/// use rinseward::core::cycle::plate::Sanitizing;
/// use rinseward::core::sanitizer::{Rules, requirement};
///
/// let asked = requirement(Sanitizing::Chlorine, 50.0, Some(7.6), &Rules::default());
/// assert_eq!(asked.map(|asked| asked.min.0), Ok(24.0));
/// ```
pub fn requirement(
    sanitizing: Sanitizing,
    mg_per_l: f64,
    ph: Option<f64>,
    rules: &Rules,
) -> Result<Requirement, Refusal> {
    if !mg_per_l.is_finite() || mg_per_l < 0.0 || ph.is_some_and(|ph| !(0.0..=14.0).contains(&ph)) {
        return Err(Refusal::NotAMeasurement);
    }
    let (printed, contact_s) = match sanitizing {
        Sanitizing::HotWater => return Err(Refusal::NotChemical),
        Sanitizing::Chlorine => {
            inside(mg_per_l, &(CHLORINE_MIN_MG_PER_L..=rules.chlorine_max_mg_per_l))?;
            chlorine(mg_per_l, ph.unwrap_or(CHLORINE_PH_MAX))?
        }
        Sanitizing::Iodine => {
            inside(mg_per_l, &rules.iodine_mg_per_l)?;
            if ph.is_some_and(|ph| ph > rules.iodine_ph_max) {
                return Err(Refusal::PhTooHigh);
            }
            (Printed { celsius: 20.0, fahrenheit: 68.0 }, CONTACT_OTHER_S)
        }
        Sanitizing::Quat => {
            inside(mg_per_l, &rules.quat_mg_per_l)?;
            (Printed { celsius: 24.0, fahrenheit: 75.0 }, CONTACT_OTHER_S)
        }
    };
    Ok(Requirement { min: printed.minimum(rules.rounding), contact: Duration::from_secs(contact_s) })
}

/// The row and column of 4-501.114 and the contact of 4-703.11; `mg_per_l` is at least 25.
fn chlorine(mg_per_l: f64, ph: f64) -> Result<(Printed, u64), Refusal> {
    if ph > CHLORINE_PH_MAX {
        return Err(Refusal::PhTooHigh);
    }
    Ok(if mg_per_l < 50.0 {
        (Printed { celsius: 49.0, fahrenheit: 120.0 }, CONTACT_CHLORINE_S)
    } else if mg_per_l >= 100.0 {
        (Printed { celsius: 13.0, fahrenheit: 55.0 }, CONTACT_CHLORINE_S)
    } else if ph <= CHLORINE_PH_LOW {
        (Printed { celsius: 24.0, fahrenheit: 75.0 }, CONTACT_CHLORINE_50_S)
    } else {
        (Printed { celsius: 38.0, fahrenheit: 100.0 }, CONTACT_CHLORINE_50_S)
    })
}

/// Refuses what lies outside; a range with NaN at an end refuses everything.
fn inside(mg_per_l: f64, permitted: &RangeInclusive<f64>) -> Result<(), Refusal> {
    if permitted.contains(&mg_per_l) {
        Ok(())
    } else if mg_per_l < *permitted.start() {
        Err(Refusal::TooWeak)
    } else {
        Err(Refusal::TooStrong)
    }
}
