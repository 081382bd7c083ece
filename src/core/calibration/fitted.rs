//! A calibration from the points of a session: one or more, each as sure as its reference.
//!
//! Points that lie far apart give a line, by least squares weighted with their uncertainties; one
//! point gives an offset. A line through two points goes through both. Several that are all near to each other are
//! refused: they would stand on record as several baths and say no more than one, since nothing shows the gain.

use super::{CORRECTION_MAX_C, Calibration, CalibrationError, GAIN_RANGE, Point, is_apart};
use crate::core::record::CalibrationPoint;
use crate::core::uncertainty::{COVERAGE, Uncertainty};
use crate::core::units::Celsius;

/// What the gain of a probe may be wrong by where it was compared at one temperature only, ± (own
/// choice: that of thermocouple wire of IEC 60584-1 class 2, 0.75 %).
const GAIN_UNKNOWN: f64 = 0.0075;

/// What a session came to.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Fitted {
    /// The correction from here on.
    pub left: Calibration,
    /// Expanded uncertainty (k = 2) of a value that is corrected so, at the temperature that was asked for, °C.
    pub expanded_c: f64,
}

/// Sums over the points: of the weights, and of the weights times indication and correction.
#[derive(Default)]
struct Sums {
    w: f64,
    wx: f64,
    wy: f64,
    wxx: f64,
    wxy: f64,
}

/// Works a session out and writes into each point what is left there, with the correction `found` before and
/// with the new one. `near` is where the probe will be judged.
///
/// # Errors
/// [`CalibrationError`]; the points are left as they were.
pub fn work_out(
    points: &mut [CalibrationPoint],
    found: Calibration,
    near: Celsius,
) -> Result<Fitted, CalibrationError> {
    let fitted = fit(points, near)?;
    let error = |calibration: Calibration, point: &CalibrationPoint| {
        calibration.apply(Celsius(point.indicated_c)).0 - point.reference_c
    };
    for point in points.iter() {
        let (left_c, expanded_c) = (error(fitted.left, point), expanded_c(point));
        if left_c.abs() > expanded_c {
            return Err(CalibrationError::Disagree { left_c, expanded_c });
        }
    }
    apart_enough(points.iter().map(|point| Celsius(point.reference_c)))?;
    for point in points {
        (point.found_error_c, point.left_error_c) = (error(found, point), error(fitted.left, point));
    }
    Ok(fitted)
}

/// Refuses several references that are all near to each other.
///
/// # Errors
/// [`CalibrationError::PointsTooNear`].
pub fn apart_enough(references: impl IntoIterator<Item = Celsius>) -> Result<(), CalibrationError> {
    let (mut count, mut low, mut high) = (0_u32, f64::INFINITY, f64::NEG_INFINITY);
    for Celsius(reference) in references {
        (count, low, high) = (count.saturating_add(1), low.min(reference), high.max(reference));
    }
    let apart_c = high - low;
    if count > 1 && !is_apart(apart_c) {
        return Err(CalibrationError::PointsTooNear { apart_c });
    }
    Ok(())
}

/// Refuses a point at which no sound probe can be.
///
/// # Errors
/// [`CalibrationError::NotANumber`] and [`CalibrationError::Correction`].
pub fn admit(reference: Celsius, indicated: Celsius) -> Result<(), CalibrationError> {
    Point { reference, indicated }.correction().map(drop)
}

fn fit(points: &[CalibrationPoint], near: Celsius) -> Result<Fitted, CalibrationError> {
    let mut sums = Sums::default();
    let (mut low, mut high, mut surest) = (f64::INFINITY, f64::NEG_INFINITY, f64::INFINITY);
    for point in points {
        admit(Celsius(point.reference_c), Celsius(point.indicated_c))?;
        let standard = expanded_c(point) / COVERAGE;
        if !(standard.is_finite() && standard > 0.0) {
            return Err(CalibrationError::NotANumber);
        }
        (low, high) = (low.min(point.reference_c), high.max(point.reference_c));
        surest = surest.min(standard);
        sums.add(1.0 / (standard * standard), point.indicated_c, point.reference_c - point.indicated_c);
    }
    if points.is_empty() {
        return Err(CalibrationError::NoPoint);
    }
    let apart = is_apart(high - low);
    let (left, variance) = if apart { sums.line(near.0)? } else { sums.offset(near.0) };
    let at_the_limit = left.apply(near).0 - near.0;
    if at_the_limit.abs() > CORRECTION_MAX_C {
        return Err(CalibrationError::Correction { correction_c: at_the_limit });
    }
    // Points of one reference share its error: many are no surer than the surest.
    let standard = variance.sqrt().max(surest);
    Ok(Fitted { left, expanded_c: Uncertainty::from_standard(standard).expanded })
}

impl Sums {
    fn add(&mut self, w: f64, x: f64, y: f64) {
        self.w += w;
        self.wx += w * x;
        self.wy += w * y;
        self.wxx += w * x * x;
        self.wxy += w * x * y;
    }

    /// The weighted line of the correction over the indication, and its variance at `near`.
    fn line(&self, near: f64) -> Result<(Calibration, f64), CalibrationError> {
        let denominator = self.w * self.wxx - self.wx * self.wx;
        let slope = (self.w * self.wxy - self.wx * self.wy) / denominator;
        let gain = 1.0 + slope;
        if !GAIN_RANGE.contains(&gain) {
            return Err(CalibrationError::Gain { gain });
        }
        let offset = (self.wy - slope * self.wx) / self.w;
        let variance = (self.wxx - 2.0 * near * self.wx + near * near * self.w) / denominator;
        Ok((Calibration::TwoPoint { gain, offset }, variance))
    }

    /// The weighted mean of the correction, and its variance at `near`: the gain of the probe is not known.
    fn offset(&self, near: f64) -> (Calibration, f64) {
        let away = GAIN_UNKNOWN * (near - self.wx / self.w) / 3f64.sqrt();
        (Calibration::Offset(self.wy / self.w), 1.0 / self.w + away * away)
    }
}

/// Expanded uncertainty of a comparison: that of the reference, and that of the mean of the readings.
fn expanded_c(point: &CalibrationPoint) -> f64 {
    let of_mean = point.spread_c / f64::from(point.readings.max(1)).sqrt();
    point.reference_expanded_c.hypot(COVERAGE * of_mean)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::record::Against;

    fn point(reference_c: f64, indicated_c: f64, reference_expanded_c: f64) -> CalibrationPoint {
        CalibrationPoint {
            against: Against::Thermometer { thermometer: "a thermometer".to_owned() },
            reference_c,
            reference_expanded_c,
            indicated_c,
            spread_c: 0.0,
            readings: 80,
            lasted_s: 20.0,
            found_error_c: f64::NAN,
            left_error_c: f64::NAN,
        }
    }

    // A line through two points is exact; its uncertainty between them follows from
    // T = (1 − s)·T1 + s·T2 (GUM, JCGM 100:2008, 5.1.2), and is never less than that of the surer one.
    #[test]
    fn two_points_apart_give_the_line_through_both() {
        let mut points = [point(0.0, 0.4, 0.2), point(99.5, 98.6, 1.0)];
        let found = Calibration::Offset(-0.4);
        let fitted = work_out(&mut points, found, Celsius(82.0)).expect("a sound probe");
        let two = Calibration::two_point(
            Point { reference: Celsius(0.0), indicated: Celsius(0.4) },
            Point { reference: Celsius(99.5), indicated: Celsius(98.6) },
        );
        let two = two.expect("a sound probe");
        for c in [0.0, 50.0, 82.0, 99.0] {
            assert!((fitted.left.apply(Celsius(c)).0 - two.apply(Celsius(c)).0).abs() < 1e-9, "{c}");
        }
        assert!((points[0].found_error_c - 0.0).abs() < 1e-9 && (points[1].found_error_c + 1.3).abs() < 1e-9);
        assert!(points.iter().all(|point| point.left_error_c.abs() < 1e-9), "{points:?}");
        let share = (82.0 - 0.4) / 98.2;
        let expected = ((1.0 - share) * 0.2_f64).hypot(share * 1.0);
        assert!((fitted.expanded_c - expected).abs() < 1e-6, "{fitted:?}");
    }

    // Far from the only point nothing is known of the gain: 0.75 % of 82 °C is ±0.62 °C.
    #[test]
    fn one_point_is_worth_little_far_away() {
        for (reference_c, expected_c) in [(0.0, 0.2_f64.hypot(2.0 * 0.615 / 3f64.sqrt())), (82.0, 0.2)] {
            let mut points = [point(reference_c, reference_c + 0.5, 0.2)];
            let fitted = work_out(&mut points, Calibration::None, Celsius(82.0)).expect("a sound probe");
            assert!((fitted.expanded_c - expected_c).abs() < 0.01, "{reference_c}: {fitted:?}");
            assert!((fitted.left.apply(Celsius(80.5)).0 - 80.0).abs() < 1e-9);
            assert!((points[0].found_error_c - 0.5).abs() < 1e-9, "{points:?}");
        }
    }

    // The surer point weighs more: the line passes within a few hundredths of the thermometer.
    #[test]
    fn three_points_are_weighted() {
        let mut points = [point(0.0, 0.3, 0.23), point(99.1, 99.0, 0.99), point(82.0, 82.3, 0.1)];
        let fitted = work_out(&mut points, Calibration::None, Celsius(82.0)).expect("a sound probe");
        assert!(points[2].left_error_c.abs() < 0.03, "{points:?}");
        assert!(points[1].left_error_c.abs() > 0.2, "{points:?}");
        assert!((0.1..0.13).contains(&fitted.expanded_c), "{fitted:?}");
    }

    // Own choice, see `POINTS_APART_MIN_C`: baths that are all near to each other are no two; what was compared is left as
    // it was, and one more bath that is far from them makes it a calibration, as does the first alone.
    #[test]
    fn points_that_are_nearly_the_same_are_not_two() {
        for (apart_c, is_sound) in [(0.0, false), (0.2, false), (29.9, false), (30.0, true), (80.0, true)] {
            let mut points = [point(82.0 - apart_c, 82.1 - apart_c, 0.2), point(82.0, 82.1, 0.2)];
            let before = format!("{points:?}");
            let found = work_out(&mut points, Calibration::None, Celsius(82.0));
            match found {
                Ok(fitted) => {
                    assert!(is_sound && matches!(fitted.left, Calibration::TwoPoint { .. }), "{apart_c}");
                }
                Err(CalibrationError::PointsTooNear { apart_c: told }) => {
                    assert!(!is_sound && (told - apart_c).abs() < 1e-9, "{apart_c}");
                    assert_eq!(format!("{points:?}"), before, "{apart_c}");
                }
                Err(error) => panic!("{apart_c}: {error}"),
            }
            let mut three = [points[0].clone(), points[1].clone(), point(0.0, 0.1, 0.2)];
            assert!(work_out(&mut three, Calibration::None, Celsius(82.0)).is_ok(), "{apart_c}");
            let one = work_out(&mut points[..1], Calibration::None, Celsius(82.0)).expect("one point");
            assert!(matches!(one.left, Calibration::Offset(_)), "{apart_c}");
        }
    }

    // The definition of the scale (NIST SP 811, B.8): 54 °F are 30 °C, whatever the way there costs of the last digit.
    #[test]
    fn baths_of_whole_degrees_fahrenheit_are_apart() {
        let celsius = |fahrenheit: f64| Celsius((fahrenheit - 32.0) / 1.8);
        for low in (50..=160).map(f64::from) {
            assert_eq!(apart_enough([celsius(low), celsius(low + 54.0)]), Ok(()), "{low}");
            assert!(apart_enough([celsius(low), celsius(low + 53.9)]).is_err(), "{low}");
        }
    }

    // Bounds: own choices of this program.
    #[test]
    fn what_no_sound_probe_shows_is_refused() {
        for (what, mut points, wanted) in [
            ("nothing", vec![], "at least one point"),
            ("far off", vec![point(0.0, 6.0, 0.2)], "more than 5 °C"),
            ("wrong type", vec![point(0.0, 0.0, 0.2), point(100.0, 96.5, 0.2)], "gain of 1.03"),
            ("no number", vec![point(f64::NAN, 0.0, 0.2)], "not a number"),
            ("too sure", vec![point(0.0, 0.0, 0.0)], "not a number"),
            (
                "one of three was not in the ice",
                vec![point(0.0, 2.0, 0.2), point(0.0, 0.1, 0.2), point(99.5, 99.6, 0.2)],
                "contradict",
            ),
            ("two thermometers", vec![point(80.0, 80.0, 0.1), point(82.0, 81.0, 0.1)], "contradict"),
        ] {
            let before = points.clone();
            let said = work_out(&mut points, Calibration::None, Celsius(82.0)).expect_err(what).to_string();
            assert!(said.contains(wanted), "{what}: {said}");
            assert_eq!(format!("{points:?}"), format!("{before:?}"), "{what}");
        }
    }
}
