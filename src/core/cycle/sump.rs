//! Finds rinses in the sump of a machine that dumps its wash water and refills.
//!
//! The probe sees the retained water cool, the wash stir it, the dump leave it
//! in air for a few seconds, and the refill bring it to the temperature of the
//! fresh water, where it stays: the next wash uses it. The rinse begins with
//! the last quick change of a disturbed stretch.

use std::collections::VecDeque;
use std::time::Duration;

use serde::{Deserialize, Serialize};

use super::baseline::Baseline;
use super::line::Candidate;
use super::plate::Profile;
use super::spike::Filtered;
use super::window::{self, Point};
use crate::core::effect::TraceReading;
use crate::core::time::Timestamp;

/// A sump whose temperature changes by less than this over [`SETTLED_S`] is settled, °C.
const SETTLED_C: f64 = 0.8;
/// See [`SETTLED_C`], s.
const SETTLED_S: f64 = 6.0;
/// Least excursion that a dump and refill makes, °C.
const CHANGE_MIN_C: f64 = 1.5;
/// Share of the steepest change that still belongs to the refill.
const EDGE_SHARE: f64 = 0.25;
/// Readings kept while quiet, s.
const LOOK_BACK_S: f64 = 8.0;

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
        let oldest = reading.at.minus(Duration::from_secs_f64(LOOK_BACK_S));
        while self.recent.front().is_some_and(|first| first.at < oldest) {
            self.recent.pop_front();
        }
        let baseline = self.baseline.get_or_insert_with(|| Baseline::new(reading.at, reading.celsius.0));
        let departure = baseline.push(reading.at, reading.celsius.0)?;
        let readings = self.recent.iter().filter(|r| r.at >= departure.at).copied().collect();
        self.disturbed = Some(Disturbed { since: departure.at, level: departure.level, spikes: 0, readings });
        None
    }

    /// Hands out the rinse of the disturbed stretch, where it holds one.
    pub fn finish(&mut self, profile: &Profile) -> Option<Candidate> {
        let disturbed = self.disturbed.take()?;
        self.recent.clear();
        self.baseline = None;
        disturbed.rinse(profile)
    }
}

impl Default for Sump {
    fn default() -> Self {
        Self::new()
    }
}

impl Disturbed {
    /// Over when the water has stood settled for a rinse, or after twice the plate's cycle.
    fn is_over(&self, now: Timestamp, profile: &Profile) -> bool {
        let times = profile.times;
        let whole = times.wash + times.pause + times.rinse;
        let running_s = now.seconds_since(self.since);
        if running_s >= whole.as_secs_f64() * 2.0 {
            return true;
        }
        let settled_s = self.settled_s(now);
        settled_s >= (times.rinse.as_secs_f64() * 0.8).max(SETTLED_S)
    }

    /// For how long the newest readings have stayed within the settled band, s.
    fn settled_s(&self, now: Timestamp) -> f64 {
        let Some(last) = self.readings.last() else { return 0.0 };
        let inside = |reading: &&TraceReading| (reading.celsius.0 - last.celsius.0).abs() <= SETTLED_C;
        let first = self.readings.iter().rev().take_while(inside).last();
        first.map_or(0.0, |first| now.seconds_since(first.at))
    }

    fn rinse(&self, profile: &Profile) -> Option<Candidate> {
        let change = self.readings.iter().map(|r| (r.celsius.0 - self.level).abs()).fold(0.0, f64::max);
        if change < CHANGE_MIN_C {
            return None;
        }
        let points = window::answered(&window::series(&self.readings, self.since), None);
        let (edge, settled) = last_edge(&points)?;
        let start = self.since.plus(Duration::from_secs_f64(edge.max(0.0)));
        let end = start.plus(profile.times.rinse);
        Some(Candidate {
            start,
            end: end.min(self.readings.last()?.at),
            readings: self.readings.clone(),
            spikes: self.spikes,
            goes_on: false,
            fill: Duration::from_secs_f64(
                (settled - edge).clamp(0.0, profile.times.rinse.as_secs_f64() / 2.0),
            ),
        })
    }
}

/// Start and end of the last quick change, in s.
fn last_edge(points: &[Point]) -> Option<(f64, f64)> {
    let rates: Vec<(f64, f64)> = points
        .windows(5)
        .map(|five| {
            ((five[4].t + five[0].t) / 2.0, (five[4].c - five[0].c) / (five[4].t - five[0].t).max(1e-3))
        })
        .collect();
    let steepest = rates.iter().map(|(_, rate)| rate.abs()).fold(0.0, f64::max);
    let quick = |rate: f64| rate.abs() >= EDGE_SHARE * steepest;
    let end = rates.iter().rposition(|(_, rate)| quick(*rate))?;
    let sign = rates[end].1.signum();
    let same = |(_, rate): &&(f64, f64)| quick(*rate) && (rate.signum() - sign).abs() < 0.5;
    let run = rates[..=end].iter().rev().take_while(same).count();
    Some((rates[end + 1 - run].0, rates[end].0))
}
