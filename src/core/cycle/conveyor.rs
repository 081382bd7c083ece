//! Where the flow of a conveyor ends: its racks, not a timer, decide.

use std::time::Duration;

use super::window;
use crate::core::effect::TraceReading;
use crate::core::time::Timestamp;

/// Longest flow or run of a conveyor taken as one cycle, s; a longer one is recorded in pieces.
pub(super) const PIECE_S: f64 = 600.0;
/// Of such a piece the last part is left to the next one, s, so that one that ends just then is not
/// taken for one too short.
pub(super) const PIECE_KEEP_S: f64 = 60.0;
/// Trends are compared over this long before and after the moment a flow may have ended, s.
pub(super) const KINK_S: f64 = 6.0;
/// Least break of the trend at the end of a flow, °C/s.
const KINK_MIN_C_PER_S: f64 = 0.07;
/// Slowest change of a line at rest just after a flow, °C/s: what does not change still flows.
const REST_SLOPE_MIN_C_PER_S: f64 = 0.05;
/// Fastest, °C/s; what is faster is the flow itself changing.
const REST_SLOPE_MAX_C_PER_S: f64 = 0.3;
/// How long before the break the flow ended, s: what stood in the line still looks like flow.
const REST_LAG_S: f64 = 1.5;
/// Slowest change that is a line going back to the temperature it came from, °C/s.
const HOME_SLOPE_MIN_C_PER_S: f64 = 0.02;
/// Slowest change that only fresh water makes, °C/s.
const ONSET_C_PER_S: f64 = 0.5;
/// Over how long that is taken, s.
const ONSET_S: f64 = 1.5;
/// Temperature that is still the plateau of a flow, °C below or above its extreme (own choice).
pub(super) const PLATEAU_C: f64 = 0.5;

/// Where the line came to rest, once that shows: the trend breaks, and at rest the line goes back
/// slowly to the `idle` temperature it came from.
pub(super) fn came_to_rest(readings: &[TraceReading], idle: f64, now: Timestamp) -> Option<Timestamp> {
    let half = Duration::from_secs_f64(KINK_S);
    let (middle, from) = (now.minus(half), now.minus(half * 2));
    let (flowing, resting) = (between(readings, from, middle), between(readings, middle, now));
    let home = (idle - resting.last()?.celsius.0).signum();
    let before = home * trend(flowing);
    let after = home * trend(resting);
    let slowly = (REST_SLOPE_MIN_C_PER_S..=REST_SLOPE_MAX_C_PER_S).contains(&after);
    let breaks = after - before >= KINK_MIN_C_PER_S;
    (slowly && breaks).then(|| middle.minus(Duration::from_secs_f64(REST_LAG_S)))
}

/// Whether fresh water arrives in a line that had been going back to `idle`: the flow before it
/// has ended unseen. Gives the last moment at which the line still followed its trend.
pub(super) fn flows_again(readings: &[TraceReading], idle: f64, now: Timestamp) -> Option<Timestamp> {
    let onset = now.minus(Duration::from_secs_f64(ONSET_S));
    let from = onset.minus(Duration::from_secs_f64(KINK_S));
    let (resting, fresh) = (between(readings, from, onset), between(readings, onset, now));
    let home = (idle - resting.last()?.celsius.0).signum();
    let went_home = home * trend(resting) > HOME_SLOPE_MIN_C_PER_S;
    let leaves = -home * trend(fresh) >= ONSET_C_PER_S;
    (went_home && leaves).then_some(onset)
}

/// The last moment at which the flow was surely still running: its temperature had not left the
/// plateau towards `idle`.
pub(super) fn surely_until(readings: &[TraceReading], idle: f64) -> Option<Timestamp> {
    let away = |reading: &TraceReading| (reading.celsius.0 - idle).abs();
    let most = readings.iter().map(away).fold(0.0, f64::max);
    readings.iter().rev().find(|reading| away(reading) >= most - PLATEAU_C).map(|reading| reading.at)
}

fn between(readings: &[TraceReading], from: Timestamp, to: Timestamp) -> &[TraceReading] {
    let first = readings.partition_point(|r| r.at < from);
    let after = readings.partition_point(|r| r.at <= to);
    &readings[first..after.max(first)]
}

/// Slope of the least-squares line, °C/s.
fn trend(readings: &[TraceReading]) -> f64 {
    readings.first().map_or(0.0, |first| window::trend(&window::series(readings, first.at)).1)
}
