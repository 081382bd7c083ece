//! Windows from the machine's run signal: on from the start of the wash to the
//! end of the final rinse. On a conveyor that is the signal of the rinse valve or
//! of a rack in the rinse, not of the motor: while it is on, water must flow.
//!
//! A signal that stays on for longer than any cycle of a rack machine decides
//! nothing until it has gone off: meanwhile the trace does.

#[cfg(test)]
mod tests;

use std::time::Duration;

use serde::{Deserialize, Serialize};

use super::conveyor::{PIECE_KEEP_S, PIECE_S};
use super::plate::Profile;
use super::spike::Filtered;
use crate::core::effect::TraceReading;
use crate::core::time::Timestamp;

/// A cycle is judged this long after its end, so that the spike filter has answered, s.
const AFTER_S: f64 = 2.0;
/// A run this share of the plate's whole cycle is one that went to its end.
const WHOLE_SHARE: f64 = 0.93;
/// Shortest rinse, s; a run that ended sooner was broken off in the wash.
const RINSE_MIN_S: f64 = 1.0;
/// A run this many times the plate's whole cycle, and [`HANGS_AFTER_S`] more, is no cycle's: the
/// signal hangs, or its end was lost, or the machine holds the wash until its booster is hot.
const HANGS_SHARE: f64 = 1.5;
/// See [`HANGS_SHARE`], s: by then the trace has shown the rinse of a cycle of the plate's length.
const HANGS_AFTER_S: f64 = 12.0;

/// The run signal of one machine.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Run {
    /// Since when the signal has been heard without hanging.
    trusted: Option<Timestamp>,
    /// Whether the signal has been on for longer than any cycle lasts.
    hangs: bool,
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
    /// End of the run.
    pub ended: Timestamp,
    /// Readings of the run, and a few after it.
    pub readings: Vec<TraceReading>,
    /// Spikes inside the rinse.
    pub spikes: u32,
}

impl Run {
    /// No signal was heard yet.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            trusted: None,
            hangs: false,
            started: None,
            ended: None,
            readings: Vec::new(),
            spike_times: Vec::new(),
        }
    }

    /// Whether the signal decides the windows: it was heard once, and does not hang.
    #[must_use]
    pub const fn decides(&self) -> bool {
        self.trusted.is_some() && !self.hangs
    }

    /// Whether the signal decides on a flow that began at `start`.
    #[must_use]
    pub fn governs(&self, start: Timestamp) -> bool {
        !self.hangs && self.trusted.is_some_and(|since| start >= since)
    }

    /// Start of the run under way.
    #[must_use]
    pub const fn started(&self) -> Option<Timestamp> {
        self.started
    }

    /// Whether the run is over and only its last readings are missing.
    #[must_use]
    pub const fn has_ended(&self) -> bool {
        self.ended.is_some()
    }

    /// Whether no run is under way.
    #[must_use]
    pub const fn is_idle(&self) -> bool {
        self.started.is_none()
    }

    /// Takes the signal. Repeats of the same state change nothing. A run that has ended must be
    /// taken, by [`Run::finish`], before the next one begins.
    pub fn signal(&mut self, at: Timestamp, on: bool) {
        if self.hangs && !on {
            self.hangs = false;
            self.trusted = Some(at);
        }
        self.trusted.get_or_insert(at);
        match (on, self.started, self.ended) {
            (true, None, _) if self.hangs => {}
            (true, None, _) => {
                self.clear();
                self.started = Some(at);
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

    /// The run, once the readings have reached past its end. A run that ended before its final
    /// rinse was due is no cycle: the door was opened in the wash.
    pub fn finished(&mut self, at: Timestamp, profile: &Profile) -> Option<RunWindow> {
        let started = self.started?;
        if let Some(ended) = self.ended {
            if at.seconds_since(ended) < AFTER_S {
                return None;
            }
            return self.take(started, ended, profile);
        }
        if profile.kind.is_conveyor() {
            return self.piece(started, at, profile);
        }
        self.give_up(at, profile);
        None
    }

    /// Trusts no longer in a signal that has been on for longer than any cycle of a rack machine.
    pub fn give_up(&mut self, at: Timestamp, profile: &Profile) {
        let under_way = self.started.filter(|_| self.ended.is_none() && !profile.kind.is_conveyor());
        let times = profile.times;
        let whole = (times.wash + times.pause + times.rinse).mul_f64(HANGS_SHARE);
        let longest = whole + Duration::from_secs_f64(HANGS_AFTER_S);
        if under_way.is_some_and(|started| at.since(started) >= longest) {
            self.clear();
            self.hangs = true;
        }
    }

    /// What has passed of a conveyor's long run.
    fn piece(&mut self, started: Timestamp, at: Timestamp, profile: &Profile) -> Option<RunWindow> {
        if at.seconds_since(started) < PIECE_S {
            return None;
        }
        let until = at.minus(Duration::from_secs_f64(PIECE_KEEP_S));
        let rest: Vec<_> = self.readings.iter().filter(|r| r.at >= until).copied().collect();
        let window = self.take(started, until, profile);
        self.started = Some(until);
        self.readings = rest;
        window
    }

    /// The run that has ended, though no reading has reached past its end.
    pub fn finish(&mut self, profile: &Profile) -> Option<RunWindow> {
        let (started, ended) = (self.started?, self.ended?);
        self.take(started, ended, profile)
    }

    fn take(&mut self, started: Timestamp, ended: Timestamp, profile: &Profile) -> Option<RunWindow> {
        let rinse_started = rinse_start(started, ended, profile);
        let inside = |at: &&Timestamp| **at >= rinse_started && **at <= ended;
        let spikes = self.spike_times.iter().filter(inside).count();
        let readings = std::mem::take(&mut self.readings);
        self.clear();
        let spikes = u32::try_from(spikes).unwrap_or(u32::MAX);
        let rinsed = ended.seconds_since(rinse_started) >= RINSE_MIN_S;
        rinsed.then_some(RunWindow { started, rinse_started, ended, readings, spikes })
    }

    /// Forgets the run under way: the clock stepped. Its start is lost, so the signal decides nothing
    /// until it has gone off.
    pub fn restart(&mut self) {
        self.hangs = self.hangs || self.started.is_some() && self.ended.is_none();
        self.clear();
        self.trusted = self.trusted.map(|_| Timestamp::MIN);
    }

    fn clear(&mut self) {
        self.started = None;
        self.ended = None;
        self.readings.clear();
        self.spike_times.clear();
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
