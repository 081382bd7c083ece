//! Looks at the finished trace of one rinse: smoothing, lag correction, the end
//! of the flow, the settled minimum.
//!
//! Everything here works on a [`Series`]: seconds from the start of the flow
//! against °C, in time order.

use std::time::Duration;

use crate::core::effect::TraceReading;
use crate::core::linear::solve;
use crate::core::time::Timestamp;

/// One point of a trace.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Point {
    /// Seconds from the start of the flow.
    pub t: f64,
    /// Temperature, °C.
    pub c: f64,
}

/// A trace in time order.
pub type Series = Vec<Point>;

/// Half width of the smoothing without lag correction, s (own choice: three
/// readings at 4 Hz, so that a minimum is not the minimum of the noise).
const SMOOTH_HALF_S: f64 = 0.3;
/// Half width where the slope is needed for lag correction, s (own choice: the
/// slope's noise falls with the third half power of the width, its lag grows with the square).
const SLOPE_HALF_S: f64 = 1.2;
/// The same while the water arrives, s.
const ARRIVAL_HALF_S: f64 = 0.8;
/// And over at least this many readings to either side.
const ARRIVAL_READINGS: f64 = 1.05;
/// A slope is taken over at least this many readings to either side.
const SLOPE_READINGS: f64 = 2.05;
/// Least time after the start of the flow before a minimum counts, s.
const SETTLE_MIN_S: f64 = 3.0;

/// Points of readings relative to `start`.
#[must_use]
pub fn series(readings: &[TraceReading], start: Timestamp) -> Series {
    readings.iter().map(|r| Point { t: r.at.seconds_since(start), c: r.celsius.0 }).collect()
}

/// The readings smoothed by a local straight line; with `tau`, also corrected
/// for a first-order lag, T + tau·dT/dt.
#[must_use]
pub fn answered(points: &[Point], tau: Option<Duration>) -> Series {
    match tau {
        Some(tau) => {
            let half = SLOPE_HALF_S.max(SLOPE_READINGS * spacing(points));
            smoothed(points, half, tau.as_secs_f64())
        }
        None => smoothed(points, SMOOTH_HALF_S, 0.0),
    }
}

/// The same for the arrival of the water, where sharpness counts for more than noise.
#[must_use]
pub fn arriving(points: &[Point], tau: Option<Duration>) -> Series {
    match tau {
        Some(tau) => {
            let half = ARRIVAL_HALF_S.max(ARRIVAL_READINGS * spacing(points));
            smoothed(points, half, tau.as_secs_f64())
        }
        None => smoothed(points, SMOOTH_HALF_S, 0.0),
    }
}

/// Local straight lines over `half` s to either side, each taken `tau` s ahead.
fn smoothed(points: &[Point], half: f64, tau: f64) -> Series {
    local_lines(points, half).map(|(t, value, slope)| Point { t, c: value + tau * slope }).collect()
}

/// Local slopes over `half` s to either side: (s, °C/s).
#[must_use]
pub fn slopes(points: &[Point], half: f64) -> Series {
    local_lines(points, half).map(|(t, _, slope)| Point { t, c: slope }).collect()
}

/// At each point the least-squares line over `half` s to either side: its time (s), value (°C)
/// and slope (°C/s).
fn local_lines(points: &[Point], half: f64) -> impl Iterator<Item = (f64, f64, f64)> + '_ {
    let (mut first, mut after) = (0, 0);
    points.iter().map(move |centre| {
        while points[first].t < centre.t - half {
            first += 1;
        }
        while after < points.len() && points[after].t <= centre.t + half {
            after += 1;
        }
        let (value, slope) = line_through(&points[first..after], centre.t);
        (centre.t, value, slope)
    })
}

/// Value at the origin (°C) and slope (°C/s) of the least-squares line; zeros where there are no points.
#[must_use]
pub fn trend(points: &[Point]) -> (f64, f64) {
    if points.is_empty() { (0.0, 0.0) } else { line_through(points, 0.0) }
}

/// Usual time between two points, s: their median.
fn spacing(points: &[Point]) -> f64 {
    let mut gaps: Vec<f64> = points.windows(2).map(|pair| pair[1].t - pair[0].t).collect();
    gaps.sort_unstable_by(f64::total_cmp);
    gaps.get(gaps.len() / 2).copied().unwrap_or(0.0)
}

/// Value at `t` and slope of the least-squares line.
fn line_through(points: &[Point], t: f64) -> (f64, f64) {
    let n = points.len() as f64;
    let mean_t = points.iter().map(|p| p.t - t).sum::<f64>() / n;
    let mean_c = points.iter().map(|p| p.c).sum::<f64>() / n;
    let (mut stt, mut stc) = (0.0, 0.0);
    for p in points {
        let dt = p.t - t - mean_t;
        stt += dt * dt;
        stc += dt * (p.c - mean_c);
    }
    let slope = if stt > 1e-12 { stc / stt } else { 0.0 };
    (mean_c - slope * mean_t, slope)
}

/// From when on, in s after the start of the flow, the probe has answered:
/// the larger of 3 s and three time constants, never more than half the
/// data-plate rinse. Without a time constant on file it is that half.
#[must_use]
pub fn settle_s(tau: Option<Duration>, rinse: Duration) -> f64 {
    let half = rinse.as_secs_f64() / 2.0;
    tau.map_or(half, |tau| answers_after_s(tau).min(half))
}

/// From when on a probe has answered, in s after the start of the flow: the larger of 3 s and three
/// time constants. A rinse shorter than twice that is too short for it.
#[must_use]
pub fn answers_after_s(tau: Duration) -> f64 {
    (3.0 * tau.as_secs_f64()).max(SETTLE_MIN_S)
}

/// Lowest value from `from` to `to` (both in s, both included), and how many points it stands on.
#[must_use]
pub fn lowest(points: &[Point], from: f64, to: f64) -> (Option<f64>, usize) {
    let inside = points.iter().filter(|p| p.t >= from && p.t <= to);
    let (mut lowest, mut count) = (None, 0);
    for p in inside {
        lowest = Some(lowest.map_or(p.c, |c: f64| c.min(p.c)));
        count += 1;
    }
    (lowest, count)
}

/// Time at or above `limit` and area below it, over `from..=to`, with straight
/// lines between the points: (s, °C·s).
#[must_use]
pub fn dwell_and_area(points: &[Point], limit: f64, from: f64, to: f64) -> (f64, f64) {
    let (mut dwell, mut area) = (0.0, 0.0);
    for pair in points.windows(2) {
        let Some((a, b)) = clipped(pair[0], pair[1], from, to) else { continue };
        let (above, below) = above_and_below(a, b, limit);
        dwell += above;
        area += below;
    }
    (dwell, area)
}

/// The part of a segment inside `from..=to`.
fn clipped(a: Point, b: Point, from: f64, to: f64) -> Option<(Point, Point)> {
    if b.t <= from || a.t >= to || b.t <= a.t {
        return None;
    }
    let at = |t: f64| Point { t, c: a.c + (b.c - a.c) * (t - a.t) / (b.t - a.t) };
    Some((at(a.t.max(from)), at(b.t.min(to))))
}

/// Seconds of a segment at or above `limit`, and °C·s below it.
fn above_and_below(a: Point, b: Point, limit: f64) -> (f64, f64) {
    let dt = b.t - a.t;
    let (da, db) = (a.c - limit, b.c - limit);
    if da >= 0.0 && db >= 0.0 {
        return (dt, 0.0);
    }
    if da < 0.0 && db < 0.0 {
        return (0.0, -(da + db) / 2.0 * dt);
    }
    let below_share = if da < 0.0 { da / (da - db) } else { db / (db - da) };
    let depth = -da.min(db);
    (dt * (1.0 - below_share), depth / 2.0 * dt * below_share)
}

/// Time from the opening of the valve to the first change at the probe, s: what
/// stands in the line between passes first (own choice, half a litre at a
/// quarter of a litre a second purges a quarter of its change in about that time).
const PURGE_S: f64 = 0.35;

/// Where the flow began, in s against the origin of `points`: the straight line
/// through 20 % and 50 % of the change is followed back to none, and the time
/// the line needs to show anything is taken off.
///
/// `idle` is the temperature of the line at rest. `None` where there is no
/// change to speak of.
#[must_use]
pub fn flow_start(points: &[Point], idle: f64, until: f64) -> Option<f64> {
    let inside = points.iter().take_while(|p| p.t <= until);
    let change = inside.map(|p| p.c - idle).max_by(|a, b| a.abs().total_cmp(&b.abs()))?;
    let crossing = |share: f64| {
        let beyond = |p: &Point| (p.c - idle) / change >= share;
        let after = points.iter().position(beyond)?;
        let (a, b) = (points.get(after.checked_sub(1)?)?, points.get(after)?);
        let level = idle + share * change;
        Some(a.t + (b.t - a.t) * (level - a.c) / (b.c - a.c))
    };
    let (early, late) = (crossing(0.2)?, crossing(0.5)?);
    Some(early - (late - early) * (0.2 / 0.3) - PURGE_S)
}

/// Least standard deviation of the readings in the fit, °C.
const FIT_SIGMA_MIN_C: f64 = 0.04;
/// Most points that take part in the fit; a longer trace is thinned.
const FIT_POINTS_MAX: usize = 160;
/// The last part of the trace, surely at rest, s.
const REST_TAIL_S: f64 = 4.0;
/// Time constants that are tried where none is on file, s.
const TAUS_S: [f64; 13] = [0.4, 0.52, 0.68, 0.88, 1.14, 1.48, 1.93, 2.5, 3.26, 4.23, 5.5, 7.2, 9.3];
/// A rinse that was broken off must fit better by this much, in units of χ², than a whole one.
const BROKEN_OFF_MARGIN: f64 = 25.0;
/// The same where the response of the probe is not on file, so that more stories fit.
const BROKEN_OFF_MARGIN_UNKNOWN: f64 = 60.0;
/// Standard deviation of a steady flow's drift, °C/s.
const DRIFT_SD_C_PER_S: f64 = 0.02;
/// A probe that answers more slowly than this share of the rinse cannot show where it was broken off.
const SLOW_SHARE: f64 = 0.3;
/// Most that a drift counts against a story, in units of χ²: a booster that runs down does drift.
const DRIFT_COST_MAX: f64 = 60.0;

/// Where a rinse ended, as far as its trace shows.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum FlowEnd {
    /// Nothing speaks against the data plate's timer.
    Plate,
    /// The readings show that it was broken off, s after the start of the flow.
    BrokenOff(f64),
    /// A whole rinse fits the readings, but its drift is that of a line at rest.
    Unclear,
}

/// Finds out whether a rinse was broken off: from where on the trace is that of a line at rest.
///
/// `points` run from the start of the flow to well past `plate_s`, the data
/// plate's rinse. For each end up to the plate's own a
/// story is fitted by least squares: a straight line while the water flows, one
/// exponential for the answer of the probe, and after the end the slope that the
/// line shows at last, where it is surely at rest. A flow that drifts just as a
/// line at rest would is the less likely story. An early end counts only where
/// it is clearly the likelier one, and not after `latest` of the plate's time.
///
/// The drift alone is no evidence of an early end: a sound booster's water runs
/// down by 0.11 to 0.15 °C/s, and a line at rest by 0.12 to 0.14 (simulator).
/// Where a whole rinse fits the readings about as well, the end is
/// [`FlowEnd::Unclear`]. Such a rinse is judged over the whole of the plate's
/// time, so that cold water in any part of it shows, and otherwise is unproven:
/// 83 of 13,045 good rinses end so, and 2 of 27 that were truly broken off. To
/// call them brief would be 83 false alarms for two; to call them passes would
/// pass rinses that are ten times likelier than others to have been broken off.
#[must_use]
pub fn flow_end(points: &[Point], tau: Option<Duration>, plate_s: f64, latest: f64) -> FlowEnd {
    likeliest_end(points, tau, plate_s, latest).unwrap_or(FlowEnd::Plate)
}

/// [`flow_end`]; `None` where the trace is too short, or the probe too slow, to show any end.
fn likeliest_end(points: &[Point], tau: Option<Duration>, plate_s: f64, latest: f64) -> Option<FlowEnd> {
    let from_s = settle_s(tau, Duration::from_secs_f64(plate_s)).min(0.35 * plate_s);
    let inside: Series = points.iter().copied().filter(|p| p.t >= from_s).collect();
    let step = inside.len().div_ceil(FIT_POINTS_MAX).max(1);
    let thin: Series = inside.iter().copied().step_by(step).collect();
    let last = thin.last()?.t;
    if thin.len() < 12 || last < plate_s + 2.0 {
        return None;
    }
    let tail_from = (last - REST_TAIL_S).max(plate_s);
    let tail = &thin[thin.partition_point(|p| p.t < tail_from)..];
    let (_, rest) = line_through(tail, tail_from);
    let taus: &[f64] = match tau {
        Some(tau) => &[tau.as_secs_f64().max(0.3)],
        None => &TAUS_S,
    };
    if taus[0] > SLOW_SHARE * plate_s {
        return None;
    }
    let points = &thin[..];
    let answers: Vec<Vec<f64>> =
        taus.iter().map(|tau| points.iter().map(|p| (-p.t / tau).exp()).collect()).collect();
    let stories = |end: f64| answers.iter().map(move |answer| fit_end(points, answer, end, rest));
    let whole: Vec<EndFit> = stories(plate_s).collect();
    let ends = thin.iter().map(|p| p.t).filter(|t| *t < plate_s);
    let broken: Vec<EndFit> = ends.flat_map(stories).collect();
    let least = whole.iter().chain(&broken).map(|fit| fit.sse).fold(f64::INFINITY, f64::min);
    let freedom = thin.len().saturating_sub(5).max(1) as f64;
    let sigma2 = (least / freedom).max(FIT_SIGMA_MIN_C * FIT_SIGMA_MIN_C);
    let misfit = |fit: &EndFit| fit.sse / sigma2;
    let cost = |fit: &EndFit| misfit(fit) + (fit.drift / DRIFT_SD_C_PER_S).powi(2).min(DRIFT_COST_MAX);
    let likeliest = broken.iter().min_by(|a, b| cost(a).total_cmp(&cost(b)))?;
    let whole_cost = whole.iter().map(cost).fold(f64::INFINITY, f64::min);
    let whole_misfit = whole.iter().map(misfit).fold(f64::INFINITY, f64::min);
    let margin = if tau.is_some() { BROKEN_OFF_MARGIN } else { BROKEN_OFF_MARGIN_UNKNOWN };
    Some(if cost(likeliest) + margin >= whole_cost || likeliest.end > latest * plate_s {
        FlowEnd::Plate
    } else if misfit(likeliest) + margin < whole_misfit {
        FlowEnd::BrokenOff(likeliest.end)
    } else {
        FlowEnd::Unclear
    })
}

/// One fitted end of a flow.
struct EndFit {
    end: f64,
    /// Slope just before the end, °C/s.
    drift: f64,
    /// Sum of squared residuals, °C².
    sse: f64,
}

/// Fits the flow before `end` as `a + b·u + c·exp(−t/tau)` with u = t − end, and the rest after it
/// as a line of slope `rest` from the same point. `answer` is the exponential at each of the points.
fn fit_end(points: &[Point], answer: &[f64], end: f64, rest: f64) -> EndFit {
    let basis = |t: f64, answer: f64| [1.0, (t - end).min(0.0), answer];
    let flowing = |p: &Point| p.c - rest * (p.t - end).max(0.0);
    let mut normal = [[0.0; 4]; 3];
    for (p, answer) in points.iter().zip(answer) {
        let x = basis(p.t, *answer);
        for i in 0..3 {
            for j in 0..3 {
                normal[i][j] += x[i] * x[j];
            }
            normal[i][3] += x[i] * flowing(p);
        }
    }
    for (i, row) in normal.iter_mut().enumerate() {
        // A trace of ridge keeps the system solvable where a basis function is flat.
        row[i] += 1e-9;
    }
    let weights = solve(normal);
    let told = |t: f64, answer: f64| basis(t, answer).iter().zip(weights).map(|(x, w)| x * w).sum::<f64>();
    let residuals = points.iter().zip(answer).map(|(p, answer)| flowing(p) - told(p.t, *answer));
    let sse = residuals.map(|residual| residual.powi(2)).sum();
    EndFit { end, drift: weights[1], sse }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sampled(seconds: f64, celsius: impl Fn(f64) -> f64) -> Series {
        (0..)
            .map(|i| f64::from(i) * 0.25)
            .take_while(|t| *t <= seconds)
            .map(|t| Point { t, c: celsius(t) })
            .collect()
    }

    // A first-order lag has a closed solution; correction must give the water back.
    #[test]
    fn lag_correction_gives_the_water_back() {
        for tau in [0.5, 1.0, 2.0, 6.0] {
            let points = sampled(12.0, |t| 84.0 + (60.0 - 84.0) * (-t / tau).exp());
            let corrected = answered(&points, Some(Duration::from_secs_f64(tau)));
            let (lowest, _) = lowest(
                &corrected,
                settle_s(Some(Duration::from_secs_f64(tau)), Duration::from_secs(10)),
                10.0,
            );
            let lowest = lowest.expect("points in the window");
            assert!((lowest - 84.0).abs() < 0.3, "tau {tau}: {lowest}");
        }
    }

    #[test]
    fn dwell_counts_crossings() {
        let triangle = [Point { t: 0.0, c: 80.0 }, Point { t: 2.0, c: 84.0 }, Point { t: 4.0, c: 80.0 }];
        let (dwell, area) = dwell_and_area(&triangle, 82.0, 0.0, 4.0);
        assert!((dwell - 2.0).abs() < 1e-9, "{dwell}");
        assert!((area - 2.0).abs() < 1e-9, "two triangles of base 1 s and height 2 °C: {area}");
        let (dwell, _) = dwell_and_area(&triangle, 82.0, 1.5, 2.5);
        assert!((dwell - 1.0).abs() < 1e-9, "{dwell}");
    }

    // A line at rest cools; the readings carry the noise of 0.05 °C digits. A sound booster's flow
    // may run down just as fast (simulator: 0.11 to 0.15 °C/s, a line at rest 0.12 to 0.14).
    #[test]
    fn a_rinse_that_was_broken_off_is_told_from_one_that_ran_down() {
        use FlowEnd::{BrokenOff, Plate, Unclear};
        let tau = Some(Duration::from_secs_f64(1.2));
        for (end, drift, rest, expected) in [
            (10.0, 0.0, -0.12, Plate),
            (10.0, -0.3, -0.12, Plate),
            (10.0, -0.12, -0.12, Unclear),
            (4.5, 0.0, -0.12, Unclear),
            (4.5, 0.0, -0.8, BrokenOff(4.5)),
            (8.0, 0.0, -0.8, Plate),
        ] {
            let points = sampled(16.0, |t| {
                let noise = 0.03 * (t * 37.0).sin();
                let flowing = 84.0 - 20.0 * (-t / 1.2).exp() + drift * (t.min(end) - 2.0).max(0.0);
                flowing + rest * (t - end).max(0.0) + noise
            });
            let found = flow_end(&points, tau, 10.0, 0.5);
            let agrees = match (found, expected) {
                (BrokenOff(found), BrokenOff(expected)) => (found - expected).abs() < 1.0,
                (found, expected) => found == expected,
            };
            assert!(agrees, "end {end}, drift {drift}, rest {rest}: {found:?}");
        }
    }
}
