//! Thermal dose: A0 and HUE.
//!
//! A0 (EN ISO 15883-1, definitions and annex): `∫ 10^((T − 80)/10) dt`, T in °C,
//! equivalent seconds at 80 °C; the record counts from [`A0_LOWER_BOUND`] up.
//!
//! HUE, heat unit equivalents: `∫ 3.03438e-17 · exp(0.265972 · T) dt`, T in °F,
//! at most 165 °F; the curve of Fuchs, "Bactericidal Value of Dishwashing
//! Machine Sprays", 1951, as quoted in "Sanitation History: Where did 3600 HUE
//! come from?", 2009. HUE is a quantity of the **ware surface**: from a water
//! probe it is an upper bound and must be labelled so. No lower cut-off is stated.
//!
//! The two disagree by design (z = 10 K against 4.81 K and a cap) and must never
//! be converted into each other. An error of 1 K in T makes A0 wrong by 23 % and
//! HUE by 48 %.
//!
//! A segment between two readings is taken as a straight line, for which the
//! integral has a closed form; bounds are met exactly, where the line crosses them.

#[cfg(test)]
mod tests;

use super::units::Celsius;

/// Thermal dose so far.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
pub struct Dose {
    /// A0 in equivalent seconds at 80 °C, counted from [`A0_LOWER_BOUND`] up.
    pub a0: f64,
    /// Heat unit equivalents.
    pub hue: f64,
}

/// Temperature below which the record counts no A0 (EN ISO 15883-1 practice).
pub const A0_LOWER_BOUND: Celsius = Celsius(65.0);

/// Temperature from which A0 grows no faster (own choice, above any water a
/// dish machine holds): keeps the dose finite whatever a broken probe says.
pub const A0_CEILING: Celsius = Celsius(150.0);

/// Temperature in °F from which HUE grows no faster (Fuchs 1951).
pub const HUE_CEILING_F: f64 = 165.0;

/// Reference temperature of A0, °C.
const A0_REFERENCE_C: f64 = 80.0;
/// `ln(10)/z` of A0 with z = 10 K, 1/K.
const A0_PER_KELVIN: f64 = std::f64::consts::LN_10 / 10.0;
/// HUE per second at 0 °F (Fuchs 1951).
const HUE_FACTOR: f64 = 3.034_38e-17;
/// Growth of HUE, 1/°F (Fuchs 1951).
const HUE_PER_FAHRENHEIT: f64 = 0.265_972;

impl Dose {
    /// Adds a stretch of `seconds` in which the temperature went in a straight
    /// line from `from` to `to`. Adds nothing where a value is not a finite
    /// number or `seconds` is not positive: a gap earns no dose.
    ///
    /// ```
    /// use rinseward::core::dose::Dose;
    /// use rinseward::core::units::Celsius;
    ///
    /// // EN ISO 15883-1: ten minutes at 80 °C are A0 = 600.
    /// let mut dose = Dose::default();
    /// dose.add(Celsius(80.0), Celsius(80.0), 600.0);
    /// assert!((dose.a0 - 600.0).abs() < 1e-9);
    /// ```
    pub fn add(&mut self, from: Celsius, to: Celsius, seconds: f64) {
        self.a0 += a0(from, to, seconds, Some(A0_LOWER_BOUND));
        self.hue += hue(from, to, seconds);
    }
}

/// A0 of a straight line, in s at 80 °C; nothing below `lower_bound` counts.
/// Bad values count as nothing, see [`Dose::add`].
#[must_use]
pub fn a0(from: Celsius, to: Celsius, seconds: f64, lower_bound: Option<Celsius>) -> f64 {
    let floor = lower_bound.map_or(f64::NEG_INFINITY, |bound| bound.0);
    let line = Line { from: from.0, to: to.0, seconds };
    let rate =
        Rate { at_origin: 1.0, origin: A0_REFERENCE_C, growth: A0_PER_KELVIN, floor, ceiling: A0_CEILING.0 };
    rate.over(line)
}

/// HUE of a straight line. Bad values count as nothing, see [`Dose::add`].
#[must_use]
pub fn hue(from: Celsius, to: Celsius, seconds: f64) -> f64 {
    let line = Line { from: from.fahrenheit(), to: to.fahrenheit(), seconds };
    let rate = Rate {
        at_origin: HUE_FACTOR,
        origin: 0.0,
        growth: HUE_PER_FAHRENHEIT,
        floor: f64::NEG_INFINITY,
        ceiling: HUE_CEILING_F,
    };
    rate.over(line)
}

/// A temperature that goes straight from one value to another.
#[derive(Clone, Copy)]
struct Line {
    from: f64,
    to: f64,
    seconds: f64,
}

/// A dose rate `at_origin · exp(growth · (T − origin))` with its bounds, in the
/// scale of the dose.
struct Rate {
    at_origin: f64,
    origin: f64,
    growth: f64,
    /// Below it the rate is zero.
    floor: f64,
    /// Above it the rate is that at it.
    ceiling: f64,
}

impl Rate {
    fn at(&self, temperature: f64) -> f64 {
        self.at_origin * libm::exp(self.growth * (temperature - self.origin))
    }

    /// Integral along a line: the part above the ceiling at the ceiling's rate,
    /// the part between the bounds in closed form, the part below the floor as zero.
    fn over(&self, line: Line) -> f64 {
        let span_is_finite = (line.to - line.from).is_finite();
        if !span_is_finite || !line.seconds.is_finite() || line.seconds <= 0.0 {
            return 0.0;
        }
        // The rate depends on the temperature alone, so a fall counts as the rise it mirrors.
        let (low, high) = (line.from.min(line.to), line.from.max(line.to));
        let span = high - low;
        let share_below = |bound: f64| if span > 0.0 { ((bound - low) / span).clamp(0.0, 1.0) } else { 0.0 };
        if high < self.floor {
            return 0.0;
        }
        if low >= self.ceiling {
            return line.seconds * self.at(self.ceiling);
        }
        let (start, end) = (low.max(self.floor), high.min(self.ceiling));
        let above = if high > self.ceiling { 1.0 - share_below(self.ceiling) } else { 0.0 };
        let below = if low < self.floor { share_below(self.floor) } else { 0.0 };
        let between = 1.0 - above - below;
        let seconds = line.seconds;
        seconds * above * self.at(self.ceiling) + seconds * between * self.mean_between(start, end)
    }

    /// Mean rate along a straight line from `start` up to `end`:
    /// `r(end) · (1 − exp(−x))/x` with `x = growth · (end − start)`, which cannot overflow.
    fn mean_between(&self, start: f64, end: f64) -> f64 {
        let x = self.growth * (end - start);
        // Below 1e-8 the quotient differs from 1 − x/2 by less than 1e-16.
        let mean = if x < 1e-8 { 1.0 - x / 2.0 } else { -libm::expm1(-x) / x };
        self.at(end) * mean
    }
}
