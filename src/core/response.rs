//! How fast a probe answers: its time constant from a step, from the air of the room into hot water.
//!
//! A probe of the first order answers a step at `s` by
//! `T(t) = T0 + (Tf − T0)·(1 − exp(−(t − s)/tau))` (the response of a first-order system; after one
//! tau 63.2 %, after three 95.0 %, after five 99.3 %). All four unknowns are fitted by least
//! squares: for each pair of `s` and `tau` the other two follow from a straight line, so that the
//! search is over two. What the fit leaves shows whether the probe is of the first order at all: one
//! in a heavy well is not, and has no one time constant that the lag of a rinse could be corrected by.

use std::collections::VecDeque;
use std::time::Duration;

use super::channel::Place;
use super::cycle::window;
use super::linear::solve;
use super::time::Timestamp;
use super::units::Celsius;

/// Least step, °C (own choice): digits of 0.1 °C are then half a percent of it, and room and
/// hot water are further apart anyway.
pub const STEP_MIN_C: f64 = 20.0;
/// Warmest that the air of a room is, °C: a kitchen is at 30 °C at most (common practice, no source), and a tip that
/// was dried may be a little warmer yet (own choice). A level above it is asked about.
pub const ROOM_MAX_C: f64 = 35.0;
/// Readings before the step that must be level, and over how long at least, s (own choice: one reading may be
/// a slip, five are none; and a probe that still cools by as much as [`REST_RANGE_C`] in this time is seen).
const REST_READINGS: usize = 5;
/// See [`REST_READINGS`].
const REST_S: f64 = 3.0;
/// Level: all within this range, °C (own choice; a hand warms a probe by more).
const REST_RANGE_C: f64 = 1.5;
/// So far from the level before it a reading shows that the step has come, °C (own choice: twice
/// [`REST_RANGE_C`], so that what counts as level never looks like a step).
const ONSET_C: f64 = 3.0;
/// Readings before the step that take part in the fit reach back so far, s (own choice: enough to know the
/// level, and too short for the air of the room to change by a part of the step that matters).
const FIT_BEFORE_S: f64 = 10.0;
/// The answer is over after so many time constants: 1 − exp(−6) = 99.75 % of it (first order).
const OVER_AFTER: f64 = 6.0;
/// And the fit ends after so many (own choice: later on the answer changes by less than 0.04 %, exp(−8), and
/// what is seen is the water that cools).
const FIT_AFTER: f64 = 8.0;
/// Least time after the onset, s (own choice: a probe that is only touched is back by then).
const OVER_MIN_S: f64 = 3.0;
/// Fewest readings within one time constant (own choice; common practice asks for five, no
/// source). With three the fit finds the time constant within a few percent, see the tests.
pub const PER_TAU_MIN: f64 = 3.0;
/// Greatest root mean square of what the fit leaves, as a share of the step (own choice). A second
/// lag of a third of the first leaves about 1 %, one as large as the first about 2.5 %.
pub const RESIDUAL_MAX: f64 = 0.015;
/// Longest time between two readings while the probe answers, in usual ones (own choice: two or three that
/// were lost on a radio link leave the curve known, a longer hole may hide its steepest part).
const HOLE: f64 = 4.0;
/// Longest time constant that is looked for, s: that of the configuration's key `tau`.
const TAU_MAX_S: f64 = 120.0;
/// Shortest one, s (own choice: the tip of a bare wire of 0.1 mm in moving water is not faster; no source).
const TAU_MIN_S: f64 = 0.01;
/// How differently hands plunge a probe, ± s (own choice: a stroke of 50 mm at 0.5 m/s takes as long).
const HAND_S: f64 = 0.1;
/// Most readings that are kept; of more the oldest go (own choice: 16,384 at 10 Hz are 27 minutes, longer than
/// any test; 256 kB).
const READINGS_MAX: usize = 16_384;
/// Most readings that take part in the search; a longer record is thinned for it (own choice: ten for each
/// second of the longest test, so that a look at where the test stands takes some milliseconds).
const SEARCHED_MAX: usize = 1_200;

/// The answer of a probe to a step.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Response {
    /// When the step came.
    pub at: Timestamp,
    /// Time constant, s.
    pub tau_s: f64,
    /// Expanded uncertainty (k = 2) of it, s.
    pub expanded_s: f64,
    /// Root mean square of what the fit leaves, °C.
    pub residual_c: f64,
    /// Where the step began.
    pub from: Celsius,
    /// Where it ended.
    pub to: Celsius,
    /// Readings that were fitted.
    pub readings: u32,
}

/// Where a test stands.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Stage {
    /// The probe is not level yet; the test cannot begin.
    Settling,
    /// The probe is level: it may be plunged.
    Level {
        /// The level.
        celsius: Celsius,
    },
    /// The step has come, and the answer is under way.
    Answering {
        /// How long since, s.
        since_s: f64,
    },
    /// The answer is over: look at it.
    Over,
}

/// Why a record is no step that a time constant could be taken from.
#[derive(Clone, Copy, PartialEq, Debug, thiserror::Error)]
pub enum NoStep {
    /// Nothing has happened.
    #[error("no step has come: the probe stayed within {ONSET_C} °C of where it was")]
    None,
    /// It is too small.
    #[error("the step was {step_c:.1} °C; at least {STEP_MIN_C} °C are needed")]
    TooSmall {
        /// Its height, °C.
        step_c: f64,
    },
    /// The answer had not ended.
    #[error(
        "the answer had not ended after {lasted_s:.0} s: the probe is slow, or the water went on changing"
    )]
    NotEnded {
        /// Time since the step, s.
        lasted_s: f64,
    },
    /// Readings are missing from the answer.
    #[error(
        "readings are missing: none came for {gap_s:.1} s while the probe answered, and one every {apart_s:.2} s is usual"
    )]
    Hole {
        /// Longest time between two readings of the answer, s.
        gap_s: f64,
        /// Usual time between two readings, s.
        apart_s: f64,
    },
    /// Its shape is another.
    #[error(
        "the answer is not of the first order: the curve misses it by {:.1} % of the step, at most {:.1} % are taken",
        share * 100.0,
        RESIDUAL_MAX * 100.0
    )]
    NotFirstOrder {
        /// What the fit leaves, as a share of the step.
        share: f64,
    },
    /// The probe is read too seldom for how fast it answers.
    #[error(
        "it is read every {apart_s:.2} s and answers with about {tau_s:.2} s: it must be read at least every {wanted_s:.2} s"
    )]
    TooSlow {
        /// Usual time between two readings, s.
        apart_s: f64,
        /// The time constant that the fit gives, s.
        tau_s: f64,
        /// The longest time between two readings that would do, s.
        wanted_s: f64,
    },
}

/// Watches one probe for its step.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct StepWatch {
    readings: VecDeque<(Timestamp, f64)>,
    /// When the probe was level last before the step, and the level, °C.
    level: Option<(Timestamp, f64)>,
    /// Place of the first reading that shows the step.
    onset: Option<usize>,
}

impl StepWatch {
    /// Takes a reading. What is not later than the one before is passed over.
    pub fn reading(&mut self, at: Timestamp, celsius: Celsius) {
        if self.readings.back().is_some_and(|(last, _)| at <= *last) {
            return;
        }
        let stepped = self.level.is_some_and(|(_, level)| (celsius.0 - level).abs() > ONSET_C);
        self.readings.push_back((at, celsius.0));
        if self.readings.len() > READINGS_MAX {
            self.readings.pop_front();
            self.onset = self.onset.map(|place| place.saturating_sub(1));
        }
        if self.onset.is_none() && stepped {
            self.onset = Some(self.readings.len() - 1);
        } else if self.onset.is_none() {
            self.level = self.level_now().map(|level| (at, level)).or(self.level);
        }
    }

    /// Whether the step has come, so that a reading that is missing from here on is missing from the answer.
    #[must_use]
    pub const fn has_begun(&self) -> bool {
        self.onset.is_some()
    }

    /// Takes a fault of the probe, or that readings were lost: the test begins anew.
    pub fn begin_anew(&mut self) {
        *self = Self::default();
    }

    /// The level of the last readings, where they are level.
    fn level_now(&self) -> Option<f64> {
        let (last, _) = self.readings.back()?;
        let recent = |(at, _): &&(Timestamp, f64)| last.seconds_since(*at) <= REST_S;
        let within = self.readings.iter().rev().take_while(recent).count().max(REST_READINGS);
        let first = self.readings.len().checked_sub(within)?;
        let (mut low, mut high, mut sum) = (f64::INFINITY, f64::NEG_INFINITY, 0.0);
        for (_, celsius) in self.readings.iter().skip(first) {
            (low, high, sum) = (low.min(*celsius), high.max(*celsius), sum + celsius);
        }
        let (begun, _) = self.readings.front()?;
        let long_enough = last.seconds_since(*begun) >= REST_S;
        (long_enough && high - low <= REST_RANGE_C).then(|| sum / within as f64)
    }

    /// Where the test stands.
    #[must_use]
    pub fn stage(&self) -> Stage {
        let (Some(onset), Some((last, _))) = (self.onset, self.readings.back()) else {
            return match self.level_now() {
                Some(level) => Stage::Level { celsius: Celsius(level) },
                None => Stage::Settling,
            };
        };
        let since_s = last.seconds_since(self.readings[onset].0);
        let over = since_s >= OVER_MIN_S && self.fit().is_some_and(|fit| since_s >= OVER_AFTER * fit.tau);
        if over { Stage::Over } else { Stage::Answering { since_s } }
    }

    /// Looks at the answer.
    ///
    /// # Errors
    /// [`NoStep`] says why it is none that a time constant could be taken from.
    pub fn look(&self) -> Result<Response, NoStep> {
        let (Some(onset), Some((_, level)), Some((last, newest))) =
            (self.onset, self.level, self.readings.back())
        else {
            return Err(NoStep::None);
        };
        let lasted_s = last.seconds_since(self.readings[onset].0);
        let fit = self.fit().ok_or(NoStep::NotEnded { lasted_s })?;
        if lasted_s < OVER_AFTER * fit.tau || lasted_s < OVER_MIN_S {
            return Err(NoStep::NotEnded { lasted_s });
        }
        // A probe that was touched and let go again ends where it began.
        let step_c = fit.rise.abs().min((newest - level).abs());
        if step_c < STEP_MIN_C {
            return Err(NoStep::TooSmall { step_c });
        }
        let points = self.points(onset, FIT_AFTER * fit.tau);
        let apart_s = spacing(&points);
        let gap_s = longest_gap(&points, OVER_AFTER * fit.tau);
        if gap_s > HOLE * apart_s {
            return Err(NoStep::Hole { gap_s, apart_s });
        }
        if apart_s * PER_TAU_MIN > fit.tau {
            return Err(NoStep::TooSlow { apart_s, tau_s: fit.tau, wanted_s: fit.tau / PER_TAU_MIN });
        }
        let share = residual(&points, &fit) / step_c;
        if share > RESIDUAL_MAX {
            return Err(NoStep::NotFirstOrder { share });
        }
        let standard_s = fit.standard_of_tau(&points).hypot(HAND_S / 3f64.sqrt());
        Ok(Response {
            at: self.readings[onset].0.minus(Duration::from_secs_f64(-fit.start)),
            tau_s: fit.tau,
            expanded_s: 2.0 * standard_s,
            residual_c: residual(&points, &fit),
            from: Celsius(fit.from),
            to: Celsius(fit.from + fit.rise),
            readings: u32::try_from(points.len()).unwrap_or(u32::MAX),
        })
    }

    /// Seconds from the onset against °C, from shortly before it to `after` s behind it.
    fn points(&self, onset: usize, after: f64) -> Vec<(f64, f64)> {
        let origin = self.readings[onset].0;
        let points = self.readings.iter().map(|(at, celsius)| (at.seconds_since(origin), *celsius));
        points.filter(|(t, _)| (-FIT_BEFORE_S..=after).contains(t)).collect()
    }

    /// The best curve; again over the part that belongs to it, once its time constant is known.
    fn fit(&self) -> Option<Fit> {
        let onset = self.onset?;
        // The start lies between the last level reading and the first that shows the step.
        let earliest = self.level?.0.seconds_since(self.readings[onset].0) - 1.0;
        let first = Fit::of(&self.points(onset, f64::INFINITY), earliest)?;
        Fit::of(&self.points(onset, FIT_AFTER * first.tau), earliest)
    }
}

/// A fitted answer; times in s from the onset, temperatures in °C.
#[derive(Clone, Copy, PartialEq, Debug)]
struct Fit {
    start: f64,
    tau: f64,
    from: f64,
    rise: f64,
    /// Sum of the squared residuals, °C².
    sse: f64,
}

/// Steps of the first search, over the start and over the logarithm of the time constant (own choice: forty from
/// 0.01 s to 120 s are a factor of 1.26 each, and the sum of squares has one valley wider than that).
const COARSE: (u32, u32) = (24, 40);
/// Steps of each search after the first, in both directions (own choice: over three steps of the one before to
/// either side, so that each halves the distance).
const FINE: u32 = 12;
/// How often the search is repeated on a part half as large (own choice: 2^−14 of a step of 26 % is 0.002 % of the
/// time constant): start and time constant make up for one another, so that the best of a coarse search may
/// lie some steps beside the best of all.
const REFINED: u32 = 14;

impl Fit {
    /// The best curve through the points that starts at `earliest` or later; `None` where there are too few.
    fn of(points: &[(f64, f64)], earliest: f64) -> Option<Self> {
        let after = points.iter().filter(|(t, _)| *t >= 0.0).count();
        if after < 4 || after == points.len() {
            return None;
        }
        let step = points.len().div_ceil(SEARCHED_MAX).max(1);
        let thin: Vec<(f64, f64)> = points.iter().copied().step_by(step).collect();
        let mut starts = (earliest.max(-FIT_BEFORE_S), 0.0);
        let mut taus = (TAU_MIN_S.ln(), TAU_MAX_S.ln());
        let mut best: Option<Self> = None;
        let mut steps = COARSE;
        for _ in 0..=REFINED {
            let width = ((starts.1 - starts.0) / f64::from(steps.0), (taus.1 - taus.0) / f64::from(steps.1));
            for i in 0..=steps.0 {
                for j in 0..=steps.1 {
                    let start = (starts.0 + f64::from(i) * width.0).min(0.0);
                    let fit = Self::at(&thin, start, (taus.0 + f64::from(j) * width.1).exp());
                    if best.is_none_or(|best| fit.sse < best.sse) {
                        best = Some(fit);
                    }
                }
            }
            let found = best?;
            let (start, tau) = (found.start, found.tau.ln());
            starts = (start - 3.0 * width.0, start + 3.0 * width.0);
            taus = (tau - 3.0 * width.1, (tau + 3.0 * width.1).min(TAU_MAX_S.ln()));
            steps = (FINE, FINE);
        }
        best
    }

    /// The best curve with this start and time constant: a straight line over the answer.
    fn at(points: &[(f64, f64)], start: f64, tau: f64) -> Self {
        let n = points.len() as f64;
        let (mut sum_a, mut sum_c, mut sum_aa, mut sum_ac, mut sum_cc) = (0.0, 0.0, 0.0, 0.0, 0.0);
        for (t, c) in points {
            let a = answered(t - start, tau);
            sum_a += a;
            sum_c += c;
            sum_aa += a * a;
            sum_ac += a * c;
            sum_cc += c * c;
        }
        let (saa, sac, scc) =
            (sum_aa - sum_a * sum_a / n, sum_ac - sum_a * sum_c / n, sum_cc - sum_c * sum_c / n);
        let rise = if saa > 1e-9 { sac / saa } else { 0.0 };
        Self { start, tau, from: (sum_c - rise * sum_a) / n, rise, sse: (scc - rise * sac).max(0.0) }
    }

    /// Standard uncertainty of the time constant, s: from the curvature of the sum of squares at its
    /// least (JCGM 100:2008, H.3, for a fit that is not linear), the noise taken from what it leaves.
    fn standard_of_tau(&self, points: &[(f64, f64)]) -> f64 {
        let mut normal = [[0.0; 5]; 4];
        for (t, _) in points {
            let since = (t - self.start).max(0.0);
            let fall = if since > 0.0 { libm::exp(-since / self.tau) } else { 0.0 };
            let answer = answered(since, self.tau);
            let slopes = [
                1.0,
                answer,
                -self.rise * fall / self.tau,
                -self.rise * fall * since / (self.tau * self.tau),
            ];
            for (row, one) in normal.iter_mut().zip(slopes) {
                for (cell, other) in row.iter_mut().zip(slopes) {
                    *cell += one * other;
                }
            }
        }
        // The inverse's last column is the solution for the last unit vector.
        normal[3][4] = 1.0;
        let freedom = points.len().saturating_sub(4).max(1) as f64;
        let squares: f64 = points.iter().map(|point| self.miss(*point).powi(2)).sum();
        let variance = solve(normal)[3] * squares / freedom;
        if variance > 0.0 { variance.sqrt() } else { 0.0 }
    }

    /// What the curve leaves of a point, °C.
    fn miss(&self, (t, c): (f64, f64)) -> f64 {
        c - self.from - self.rise * answered(t - self.start, self.tau)
    }
}

/// The answered share of a step `since` s ago.
fn answered(since: f64, tau: f64) -> f64 {
    if since > 0.0 { -libm::expm1(-since / tau) } else { 0.0 }
}

/// Root mean square of what the fit leaves while the probe answers, °C: before the step and long after
/// it every curve fits.
fn residual(points: &[(f64, f64)], fit: &Fit) -> f64 {
    let answering = points.iter().filter(|(t, _)| (0.0..=OVER_AFTER * fit.tau).contains(&(t - fit.start)));
    let (mut squares, mut count) = (0.0, 0.0);
    for point in answering {
        squares += fit.miss(*point).powi(2);
        count += 1.0;
    }
    if count > 0.0 { f64::sqrt(squares / count) } else { 0.0 }
}

/// Usual time between two readings, s: their median.
fn spacing(points: &[(f64, f64)]) -> f64 {
    let mut gaps: Vec<f64> = points.windows(2).map(|pair| pair[1].0 - pair[0].0).collect();
    gaps.sort_unstable_by(f64::total_cmp);
    gaps.get(gaps.len() / 2).copied().unwrap_or(0.0)
}

/// Longest time between two readings from the last before the onset until `until` s after it, s.
fn longest_gap(points: &[(f64, f64)], until: f64) -> f64 {
    let answering = points.windows(2).filter(|pair| pair[1].0 >= 0.0 && pair[0].0 <= until);
    answering.map(|pair| pair[1].0 - pair[0].0).fold(0.0, f64::max)
}

/// Whether a probe of this time constant can show a rinse of this length: it has answered within half of
/// it, as cycles are judged (see [`window::settle_s`]). `None` where no rinse is judged by its place.
#[must_use]
pub fn fast_enough(place: Place, tau: Duration, rinse: Duration) -> Option<bool> {
    match place {
        Place::FinalRinse => Some(window::answers_after_s(tau) <= rinse.as_secs_f64() / 2.0),
        Place::WashTank | Place::Ware | Place::Other => None,
    }
}

#[cfg(test)]
mod tests;
