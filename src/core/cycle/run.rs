//! Windows from the machine's run signal: on from the start of the wash to the
//! end of the final rinse.

use std::time::Duration;

use serde::{Deserialize, Serialize};

use super::plate::Profile;
use super::spike::Filtered;
use crate::core::effect::TraceReading;
use crate::core::time::Timestamp;

/// A cycle is judged this long after its end, so that the spike filter has answered, s.
const AFTER_S: f64 = 2.0;
/// A run this share of the plate's whole cycle is one that went to its end.
const WHOLE_SHARE: f64 = 0.93;
/// Longest run taken as one; a longer one (a conveyor, a signal that hangs) is judged in pieces, s.
const RUN_MAX_S: f64 = 600.0;

/// The run signal of one machine.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Run {
    seen: bool,
    started: Option<Timestamp>,
    ended: Option<Timestamp>,
    readings: Vec<TraceReading>,
    spike_times: Vec<Timestamp>,
}

/// One run.
#[derive(Clone, PartialEq, Debug)]
pub struct RunWindow {
    /// Start of the wash.
    pub started: Timestamp,
    /// Start of the final rinse.
    pub rinse_started: Timestamp,
    /// End of the run; equal to `rinse_started` where it was broken off before the rinse.
    pub ended: Timestamp,
    /// Readings of the whole run.
    pub readings: Vec<TraceReading>,
    /// Spikes inside the rinse.
    pub spikes: u32,
}

impl Run {
    /// No signal was heard yet.
    #[must_use]
    pub const fn new() -> Self {
        Self { seen: false, started: None, ended: None, readings: Vec::new(), spike_times: Vec::new() }
    }

    /// Whether a run signal was ever heard, so that it decides the windows.
    #[must_use]
    pub const fn decides(&self) -> bool {
        self.seen
    }

    /// Whether no run is under way.
    #[must_use]
    pub const fn is_idle(&self) -> bool {
        self.started.is_none()
    }

    /// Takes the signal. Repeats of the same state change nothing.
    pub fn signal(&mut self, at: Timestamp, on: bool) {
        self.seen = true;
        match (on, self.started, self.ended) {
            (true, None, _) => {
                self.started = Some(at);
                self.ended = None;
                self.readings.clear();
                self.spike_times.clear();
            }
            (false, Some(_), None) => self.ended = Some(at),
            (true, Some(_), _) | (false, _, _) => {}
        }
    }

    /// Takes a reading of the final-rinse probe.
    pub fn reading(&mut self, filtered: Filtered) {
        if self.started.is_none_or(|started| filtered.reading.at < started) {
            return;
        }
        self.readings.push(filtered.reading);
        if filtered.spike {
            self.spike_times.push(filtered.reading.at);
        }
    }

    /// The run, once the readings have reached past its end.
    pub fn finished(&mut self, at: Timestamp, profile: &Profile) -> Option<RunWindow> {
        let started = self.started?;
        if let Some(ended) = self.ended {
            return (at.seconds_since(ended) >= AFTER_S).then(|| self.take(started, ended, profile));
        }
        if at.seconds_since(started) < RUN_MAX_S {
            return None;
        }
        let window = self.take(started, at, profile);
        self.started = Some(at);
        Some(window)
    }

    /// The run that has ended, though no reading has reached past its end.
    pub fn finish(&mut self, profile: &Profile) -> Option<RunWindow> {
        let (started, ended) = (self.started?, self.ended?);
        Some(self.take(started, ended, profile))
    }

    fn take(&mut self, started: Timestamp, ended: Timestamp, profile: &Profile) -> RunWindow {
        let rinse_started = rinse_start(started, ended, profile);
        let spikes = self.spike_times.iter().filter(|at| **at >= rinse_started).count();
        self.started = None;
        self.ended = None;
        self.spike_times.clear();
        RunWindow {
            started,
            rinse_started,
            ended,
            readings: std::mem::take(&mut self.readings),
            spikes: u32::try_from(spikes).unwrap_or(u32::MAX),
        }
    }
}

impl Default for Run {
    fn default() -> Self {
        Self::new()
    }
}

/// Where the final rinse begins inside a run: counted back from the end of a
/// whole one, forward from the start of one that was broken off.
fn rinse_start(started: Timestamp, ended: Timestamp, profile: &Profile) -> Timestamp {
    if profile.kind.is_conveyor() {
        return started;
    }
    let times = profile.times;
    let before_rinse = times.wash + times.pause;
    let whole: Duration = before_rinse + times.rinse;
    if ended.since(started) >= whole.mul_f64(WHOLE_SHARE) {
        ended.minus(times.rinse).max(started)
    } else {
        started.plus(before_rinse).min(ended)
    }
}
