//! Looks at the finished trace of one rinse: smoothing, lag correction, the end
//! of the flow, the settled minimum.
//!
//! Everything here works on a [`Series`]: seconds from the start of the flow
//! against °C, in time order.

use std::time::Duration;

use crate::core::effect::TraceReading;
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
const SLOPE_HALF_S: f64 = 0.8;
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
    let (half, tau) = match tau {
        Some(tau) => (SLOPE_HALF_S, tau.as_secs_f64()),
        None => (SMOOTH_HALF_S, 0.0),
    };
    let (mut first, mut after) = (0, 0);
    points
        .iter()
        .map(|centre| {
            while points[first].t < centre.t - half {
                first += 1;
            }
            while after < points.len() && points[after].t <= centre.t + half {
                after += 1;
            }
            let (value, slope) = line_through(&points[first..after], centre.t);
            Point { t: centre.t, c: value + tau * slope }
        })
        .collect()
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
    tau.map_or(half, |tau| (3.0 * tau.as_secs_f64()).max(SETTLE_MIN_S).min(half))
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

/// What bounds the search for the end of a flow, in s after its start.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct EndSearch {
    /// Fit only from here on: the water has arrived.
    pub fit_from: f64,
    /// Earliest end.
    pub earliest: f64,
    /// Latest end.
    pub latest: f64,
    /// Where the data plate puts it; `None` on a conveyor.
    pub expected: Option<f64>,
}

/// Penalty of an end far from the data plate's, in units of χ². An end is
/// taken from the trace only where it fits better by more than this.
const FAR_FROM_PLATE: f64 = 10.0;
/// Penalty of a flow whose own temperature drifts, in units of χ²: a steady
/// flow that ends early is likelier than one that drifts just as a line at rest would.
const DRIFTING: f64 = 15.0;
/// Standard deviation of a steady flow's drift, °C/s.
const DRIFT_SD_C_PER_S: f64 = 0.02;
/// Standard deviation of the data plate's timer, as a share of the rinse.
const PLATE_SD: f64 = 0.06;
/// Least standard deviation of the readings in the fit, °C.
const FIT_SIGMA_MIN_C: f64 = 0.04;
/// Most points that take part in the fit; a longer trace is thinned.
const FIT_POINTS_MAX: usize = 160;

/// Time constants that are tried where none is on file, s.
const TAUS_S: [f64; 13] = [0.4, 0.52, 0.68, 0.88, 1.14, 1.48, 1.93, 2.5, 3.26, 4.23, 5.5, 7.2, 9.3];

/// Finds the end of the flow: the hinge where the trace of the flow goes over
/// into the cooling of a line at rest.
///
/// For each candidate a line before it, a line after it and one exponential
/// (the answer of the probe to the arrival) are fitted by least squares; the
/// best fit wins, weighed against the data plate's time. Where nothing shows in
/// the trace the data plate decides.
#[must_use]
pub fn flow_end(points: &[Point], tau: Option<Duration>, search: EndSearch) -> Option<f64> {
    let inside: Series = points.iter().copied().filter(|p| p.t >= search.fit_from).collect();
    let step = inside.len().div_ceil(FIT_POINTS_MAX).max(1);
    let thin: Series = inside.iter().copied().step_by(step).collect();
    if thin.len() < 8 {
        return search.expected;
    }
    let taus: &[f64] = match tau {
        Some(tau) => &[tau.as_secs_f64().max(0.3)],
        None => &TAUS_S,
    };
    let candidates: Vec<f64> =
        thin.iter().map(|p| p.t).filter(|t| (search.earliest..=search.latest).contains(t)).collect();
    let fits: Vec<Hinge> =
        candidates.iter().flat_map(|end| taus.iter().map(|tau| fit_hinge(&thin, *end, *tau))).collect();
    let best = fits.iter().map(|fit| fit.sse).fold(f64::INFINITY, f64::min);
    let freedom = thin.len().saturating_sub(5).max(1) as f64;
    let sigma2 = (best / freedom).max(FIT_SIGMA_MIN_C * FIT_SIGMA_MIN_C);
    let cost = |fit: &Hinge| {
        let far = search.expected.map_or(0.0, |expected| {
            ((fit.end - expected) / (PLATE_SD * expected)).powi(2).min(FAR_FROM_PLATE)
        });
        let drifting = (fit.drift / DRIFT_SD_C_PER_S).powi(2).min(DRIFTING);
        fit.sse / sigma2 + far + drifting
    };
    fits.iter().min_by(|a, b| cost(a).total_cmp(&cost(b))).map(|fit| fit.end).or(search.expected)
}

/// One fitted end of a flow.
struct Hinge {
    end: f64,
    /// Slope before the end, °C/s.
    drift: f64,
    /// Sum of squared residuals, °C².
    sse: f64,
}

/// Fits `a + b·min(t−end,0) + c·max(t−end,0) + d·exp(−t/tau)`.
fn fit_hinge(points: &[Point], end: f64, tau: f64) -> Hinge {
    let basis = |t: f64| {
        let u = t - end;
        [1.0, u.min(0.0), u.max(0.0), (-t / tau).exp()]
    };
    let mut normal = [[0.0; 5]; 4];
    for p in points {
        let x = basis(p.t);
        for i in 0..4 {
            for j in 0..4 {
                normal[i][j] += x[i] * x[j];
            }
            normal[i][4] += x[i] * p.c;
        }
    }
    for (i, row) in normal.iter_mut().enumerate() {
        // A trace of ridge keeps the system solvable where a basis function is flat.
        row[i] += 1e-9;
    }
    let weights = solve(normal);
    let residual = |p: &Point| p.c - basis(p.t).iter().zip(weights).map(|(x, w)| x * w).sum::<f64>();
    let sse = points.iter().map(|p| residual(p).powi(2)).sum();
    Hinge { end, drift: weights[1], sse }
}

/// Solves four equations by elimination with partial pivoting.
fn solve(mut m: [[f64; 5]; 4]) -> [f64; 4] {
    for column in 0..4 {
        let pivot = (column..4)
            .max_by(|a, b| m[*a][column].abs().total_cmp(&m[*b][column].abs()))
            .expect("the range is not empty");
        m.swap(column, pivot);
        let pivot_row = m[column];
        for row in &mut m[column + 1..] {
            let factor = row[column] / pivot_row[column];
            for (value, pivot) in row.iter_mut().zip(pivot_row) {
                *value -= factor * pivot;
            }
        }
    }
    let mut x = [0.0; 4];
    for row in (0..4).rev() {
        let known: f64 = (row + 1..4).map(|k| m[row][k] * x[k]).sum();
        x[row] = (m[row][4] - known) / m[row][row];
    }
    x
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

    #[test]
    fn the_end_is_found_where_it_shows_and_taken_from_the_plate_where_not() {
        let search = EndSearch { fit_from: 1.5, earliest: 2.0, latest: 14.0, expected: Some(10.0) };
        for (end, cooling, expected) in
            [(10.0, 0.1, 10.0), (6.0, 0.1, 6.0), (3.5, 0.08, 3.5), (6.0, 0.0, 10.0)]
        {
            let points = sampled(16.0, |t| {
                let noise = 0.03 * (t * 37.0).sin();
                84.0 - 20.0 * (-t / 1.2).exp() - cooling * (t - end).max(0.0) + noise
            });
            let found = flow_end(&points, None, search).expect("an end");
            assert!((found - expected).abs() <= 1.6, "end {end}, cooling {cooling}: {found}");
        }
    }
}
