//! Finds rinses in the sump of a machine that dumps its wash water and refills.
//!
//! The probe sees the retained water cool, the wash stir it, the dump leave it
//! in air for a few seconds, and the refill bring it to the temperature of the
//! fresh water, where it stays: the next wash uses it. The rinse begins with
//! the last quick change of a disturbed stretch.

#[cfg(test)]
mod tests;

use std::collections::VecDeque;
use std::time::Duration;

use serde::{Deserialize, Serialize};

use super::back::Course;
use super::baseline::Baseline;
use super::line::Candidate;
use super::plate::Profile;
use super::spike::Filtered;
use super::window::{self, Point};
use crate::core::effect::TraceReading;
use crate::core::time::Timestamp;

/// Least excursion that a dump and refill makes, °C.
const CHANGE_MIN_C: f64 = 0.8;
/// Half width over which the rate of a change is taken, s.
const SLOPE_HALF_S: f64 = 1.0;
/// Slowest change that a dump or a refill makes, °C/s; a wash that begins stirs more slowly.
const EDGE_MIN_C_PER_S: f64 = 0.35;
/// The refill is in once the sump changes more slowly than this, °C/s.
const FILLED_C_PER_S: f64 = 0.2;
/// Share of the steepest change that still belongs to the refill.
const EDGE_SHARE: f64 = 0.2;
/// A rinse is over once this share of it has passed since the last quick change.
const OVER_SHARE: f64 = 0.9;
/// Least share of the rinse that must have been seen for its end to be known.
const SEEN_SHARE: f64 = 0.8;
/// Least share of it that must have been seen for a rinse to be told from a drain.
const CUT_OFF_SHARE_MIN: f64 = 0.2;
/// Longest disturbance that is followed, s (own choice: several cycles of any machine); water that
/// moves for longer is no cycle's, and the stretch is cut there.
const DISTURBED_MAX_S: f64 = 900.0;
/// Readings kept while quiet.
const LOOK_BACK: Duration = Duration::from_secs(8);

/// The sump of one machine.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Sump {
    baseline: Option<Baseline>,
    recent: VecDeque<TraceReading>,
    disturbed: Option<Disturbed>,
}

/// A stretch that departed from the retained water's cooling.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
struct Disturbed {
    #[serde(with = "crate::core::time::micros")]
    since: Timestamp,
    level: f64,
    /// When the last quick change was seen.
    edge: Option<Timestamp>,
    spikes: u32,
    readings: Vec<TraceReading>,
}

impl Sump {
    /// Knows nothing yet.
    #[must_use]
    pub const fn new() -> Self {
        Self { baseline: None, recent: VecDeque::new(), disturbed: None }
    }

    /// Whether the retained water is undisturbed.
    #[must_use]
    pub const fn is_quiet(&self) -> bool {
        self.disturbed.is_none()
    }

    /// Since when it is disturbed.
    #[must_use]
    pub fn since(&self) -> Option<Timestamp> {
        self.disturbed.as_ref().map(|disturbed| disturbed.since)
    }

    /// Takes a filtered reading; gives a rinse whose window has passed.
    pub fn push(&mut self, filtered: Filtered, profile: &Profile) -> Option<Candidate> {
        let reading = filtered.reading;
        if let Some(disturbed) = &mut self.disturbed {
            disturbed.spikes += u32::from(filtered.spike);
            disturbed.readings.push(reading);
            if !disturbed.is_over(reading.at, profile) {
                return None;
            }
            return self.finish(profile);
        }
        self.recent.push_back(reading);
        let oldest = reading.at.minus(LOOK_BACK);
        while self.recent.front().is_some_and(|first| first.at < oldest) {
            self.recent.pop_front();
        }
        let baseline = self.baseline.get_or_insert_with(|| Baseline::new(reading.at, reading.celsius.0));
        let departure = baseline.push(reading.at, reading.celsius.0)?;
        let readings = self.recent.iter().filter(|r| r.at >= departure.at).copied().collect();
        self.disturbed =
            Some(Disturbed { since: departure.at, level: departure.level, edge: None, spikes: 0, readings });
        None
    }

    /// Hands out the rinse of the disturbed stretch, where it holds one.
    pub fn finish(&mut self, profile: &Profile) -> Option<Candidate> {
        let disturbed = self.disturbed.take()?;
        self.rest_after(&disturbed);
        disturbed.rinse(profile)
    }

    /// Starts the baseline on the last readings.
    fn rest_after(&mut self, disturbed: &Disturbed) {
        self.recent.clear();
        self.baseline = None;
        let Some(last) = disturbed.readings.last() else { return };
        let from = last.at.minus(LOOK_BACK);
        for reading in disturbed.readings.iter().filter(|r| r.at >= from) {
            self.recent.push_back(*reading);
            let start = || Baseline::new(reading.at, reading.celsius.0);
            self.baseline.get_or_insert_with(start).push(reading.at, reading.celsius.0);
        }
    }
}

impl Default for Sump {
    fn default() -> Self {
        Self::new()
    }
}

impl Disturbed {
    /// Over when a rinse has passed since the last quick change, or, where there was none, when
    /// the wash that stirred the water is long over.
    fn is_over(&mut self, now: Timestamp, profile: &Profile) -> bool {
        let Some(last) = self.readings.last() else { return false };
        let before = now.minus(Duration::from_secs_f64(2.0 * SLOPE_HALF_S));
        let back = self.readings.partition_point(|r| r.at < before);
        let earlier = &self.readings[back];
        let dt = last.at.seconds_since(earlier.at);
        if dt > 0.0 && ((last.celsius.0 - earlier.celsius.0) / dt).abs() >= EDGE_MIN_C_PER_S {
            self.edge = Some(now);
        }
        if now.seconds_since(self.since) >= DISTURBED_MAX_S {
            return true;
        }
        let times = profile.times;
        match self.edge {
            Some(edge) => now.since(edge) >= times.rinse.mul_f64(OVER_SHARE),
            None => now.since(self.since) >= times.wash + times.pause * 2,
        }
    }

    fn rinse(&self, profile: &Profile) -> Option<Candidate> {
        let change = self.readings.iter().map(|r| (r.celsius.0 - self.level).abs()).fold(0.0, f64::max);
        if change < CHANGE_MIN_C {
            return None;
        }
        let points = window::answered(&window::series(&self.readings, self.since), None);
        let filled = last_edge(&points)?;
        let start = self.since.plus(Duration::from_secs_f64(filled.max(0.0)));
        let end = start.plus(profile.times.rinse);
        let last = self.readings.last()?.at;
        let seen = last.since(start);
        if seen < profile.times.rinse.mul_f64(CUT_OFF_SHARE_MIN) {
            return None;
        }
        let end_seen = seen >= profile.times.rinse.mul_f64(SEEN_SHARE);
        Some(Candidate {
            start,
            end: if end_seen { end.min(last) } else { end },
            readings: self.readings.clone(),
            spikes: self.spikes,
            end_seen,
            course: Course::Came,
            change_c: None,
        })
    }
}

/// Where the last quick change ends, in s: the refill is in.
fn last_edge(points: &[Point]) -> Option<f64> {
    let rates = window::slopes(points, SLOPE_HALF_S);
    let steepest = rates.iter().map(|rate| rate.c.abs()).fold(0.0, f64::max);
    if steepest < EDGE_MIN_C_PER_S {
        return None;
    }
    let least = (EDGE_SHARE * steepest).max(FILLED_C_PER_S);
    rates.iter().rev().find(|rate| rate.c.abs() >= least).map(|rate| rate.t)
}
