//! Finds rinses in the trace of a fresh-water line, from temperature alone.
//!
//! Quiet: the line follows its [`Baseline`]. A departure opens a [`Flow`]; when
//! its window has passed, the flow is handed out as a [`Candidate`] and the
//! baseline starts again. What a candidate is, a cycle or a fill, is decided
//! by who knows the tank and the plate.

use std::collections::VecDeque;
use std::time::Duration;

use serde::{Deserialize, Serialize};

use super::baseline::{Baseline, Departure};
use super::plate::Profile;
use super::spike::Filtered;
use super::window::{self, EndSearch};
use crate::core::effect::TraceReading;
use crate::core::time::Timestamp;

/// Readings kept while quiet, so that a flow includes what came before it was noticed, s.
const LOOK_BACK_S: f64 = 8.0;
/// Least change of temperature that is a flow, °C (own choice: below the step
/// of a pre-heated line, above the wander of a resting one).
const CHANGE_MIN_C: f64 = 0.7;
/// The same in standard deviations of the resting line.
const CHANGE_MIN_SIGMA: f64 = 7.0;
/// A departure that has not reached the least change after this long was none, s.
const CHANGE_WITHIN_S: f64 = 5.0;
/// A flow is looked at this long after its expected end, s, so that the end shows.
const AFTER_S: f64 = 6.0;
/// Longest flow of a conveyor taken as one cycle, s; a longer one is recorded in pieces.
const CONVEYOR_MAX_S: f64 = 600.0;
/// Steepest fall or rise of a line just after a flow, °C/s; what is faster is the flow itself changing.
const REST_SLOPE_MAX_C_PER_S: f64 = 0.3;
/// How long a conveyor's line must look at rest before its flow has ended, s.
const REST_FOR_S: f64 = 8.0;
/// Longest time without readings that the baseline bridges, s.
const BRIDGE_S: f64 = 30.0;

/// A stretch of flow in the line.
#[derive(Clone, PartialEq, Debug)]
pub struct Candidate {
    /// Start of the flow.
    pub start: Timestamp,
    /// End of the flow.
    pub end: Timestamp,
    /// Readings from a little before the start to a little after the end.
    pub readings: Vec<TraceReading>,
    /// Readings set aside as spikes.
    pub spikes: u32,
    /// Whether the flow went on when the candidate was handed out.
    pub goes_on: bool,
    /// Time after the start in which a sump fills; zero for a line.
    pub fill: Duration,
}

/// A flow under way.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
struct Flow {
    departure: Departure,
    sigma: f64,
    change: f64,
    spikes: u32,
    readings: Vec<TraceReading>,
    /// Conveyor only: the trend of the flowing water, and where the line may have come to rest.
    within: Option<Baseline>,
    rest: Option<Departure>,
}

/// The final-rinse line of one machine.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Line {
    baseline: Option<Baseline>,
    last: Option<TraceReading>,
    recent: VecDeque<TraceReading>,
    flow: Option<Flow>,
}

impl Line {
    /// Knows nothing yet.
    #[must_use]
    pub const fn new() -> Self {
        Self { baseline: None, last: None, recent: VecDeque::new(), flow: None }
    }

    /// Whether no flow is under way.
    #[must_use]
    pub const fn is_quiet(&self) -> bool {
        self.flow.is_none()
    }

    /// Takes a filtered reading; gives a flow whose window has passed.
    pub fn push(
        &mut self,
        filtered: Filtered,
        profile: &Profile,
        tau: Option<Duration>,
    ) -> Option<Candidate> {
        let reading = filtered.reading;
        let silent_s = self.last.map_or(0.0, |last| reading.at.seconds_since(last.at));
        self.last = Some(reading);
        if let Some(flow) = &mut self.flow {
            flow.push(filtered);
            if flow.was_none(reading.at) {
                self.rest_at(reading);
                return None;
            }
            let candidate = flow.finished(reading.at, profile, tau)?;
            self.rest_after(&candidate);
            return Some(candidate);
        }
        self.remember(reading);
        if silent_s > BRIDGE_S {
            self.baseline = None;
        }
        let baseline = self.baseline.get_or_insert_with(|| Baseline::new(reading.at, reading.celsius.0));
        let sigma = baseline.sigma();
        let departure = baseline.push(reading.at, reading.celsius.0)?;
        self.flow = Some(Flow::open(departure, sigma, &self.recent));
        None
    }

    /// Hands out a flow under way when nothing more will come.
    pub fn finish(&mut self, profile: &Profile, tau: Option<Duration>) -> Option<Candidate> {
        let flow = self.flow.take()?;
        let last = flow.readings.last()?.at;
        let long_enough = last.seconds_since(flow.departure.at) >= profile.times.rinse.as_secs_f64() * 0.5;
        (flow.changed() && long_enough).then(|| flow.candidate(last, profile, tau, false))
    }

    fn remember(&mut self, reading: TraceReading) {
        self.recent.push_back(reading);
        let oldest = reading.at.minus(Duration::from_secs_f64(LOOK_BACK_S));
        while self.recent.front().is_some_and(|first| first.at < oldest) {
            self.recent.pop_front();
        }
    }

    fn rest_at(&mut self, reading: TraceReading) {
        self.flow = None;
        self.recent.clear();
        self.recent.push_back(reading);
        self.baseline = Some(Baseline::new(reading.at, reading.celsius.0));
    }

    /// Starts the baseline on what came after the flow.
    fn rest_after(&mut self, candidate: &Candidate) {
        self.flow = None;
        self.recent.clear();
        self.baseline = None;
        for reading in candidate.readings.iter().filter(|r| r.at > candidate.end) {
            self.recent.push_back(*reading);
            let start = || Baseline::new(reading.at, reading.celsius.0);
            // A departure here is the probe still settling; the trend absorbs it.
            self.baseline.get_or_insert_with(start).push(reading.at, reading.celsius.0);
        }
    }
}

impl Default for Line {
    fn default() -> Self {
        Self::new()
    }
}

impl Flow {
    fn open(departure: Departure, sigma: f64, recent: &VecDeque<TraceReading>) -> Self {
        let from = departure.at.minus(Duration::from_secs(2));
        let readings: Vec<_> = recent.iter().filter(|r| r.at >= from).copied().collect();
        let mut flow =
            Self { departure, sigma, change: 0.0, spikes: 0, readings: Vec::new(), within: None, rest: None };
        for reading in readings {
            flow.push(Filtered { reading, spike: false });
        }
        flow
    }

    fn push(&mut self, filtered: Filtered) {
        let reading = filtered.reading;
        self.spikes += u32::from(filtered.spike);
        self.change = self.change.max((reading.celsius.0 - self.departure.idle_at(reading.at)).abs());
        self.readings.push(reading);
    }

    fn changed(&self) -> bool {
        self.change > CHANGE_MIN_C.max(CHANGE_MIN_SIGMA * self.sigma)
    }

    fn was_none(&self, now: Timestamp) -> bool {
        now.seconds_since(self.departure.at) > CHANGE_WITHIN_S && !self.changed()
    }

    /// The flow, once its window has passed.
    fn finished(&mut self, now: Timestamp, profile: &Profile, tau: Option<Duration>) -> Option<Candidate> {
        let running_s = now.seconds_since(self.departure.at);
        let rinse_s = profile.times.rinse.as_secs_f64();
        if !profile.kind.is_conveyor() {
            let over = running_s >= (rinse_s + AFTER_S).max(rinse_s * 1.3);
            return over.then(|| self.candidate(now, profile, tau, false));
        }
        if running_s >= CONVEYOR_MAX_S {
            return Some(self.candidate(now, profile, tau, true));
        }
        if running_s >= window::settle_s(tau, profile.times.rinse) + 2.0 {
            self.watch_for_rest();
        }
        let rest = self.rest?;
        let rested = now.seconds_since(rest.at) >= REST_FOR_S;
        rested.then(|| self.candidate(now, profile, tau, false))
    }

    /// Conveyor: notes where the flowing water leaves its trend for that of a line at rest.
    fn watch_for_rest(&mut self) {
        let Some(reading) = self.readings.last().copied() else { return };
        let start = || Baseline::new(reading.at, reading.celsius.0);
        let within = self.within.get_or_insert_with(start);
        if let Some(rest) = self.rest {
            let for_s = reading.at.seconds_since(rest.at);
            let slope = (reading.celsius.0 - rest.level) / for_s.max(1.0);
            if for_s > 2.0 && slope.abs() > REST_SLOPE_MAX_C_PER_S {
                self.rest = None;
                self.within = Some(start());
            }
        } else if let Some(departure) = within.push(reading.at, reading.celsius.0) {
            self.rest = Some(departure);
        }
    }

    fn candidate(
        &self,
        now: Timestamp,
        profile: &Profile,
        tau: Option<Duration>,
        goes_on: bool,
    ) -> Candidate {
        let start = self.departure.at;
        let end = if goes_on { now } else { self.end(now, profile, tau) };
        Candidate {
            start,
            end,
            readings: self.readings.clone(),
            spikes: self.spikes,
            goes_on,
            fill: Duration::ZERO,
        }
    }

    fn end(&self, now: Timestamp, profile: &Profile, tau: Option<Duration>) -> Timestamp {
        let start = self.departure.at;
        let last_s = now.seconds_since(start);
        let rinse_s = profile.times.rinse.as_secs_f64();
        let points = window::series(&self.readings, start);
        let search = match self.rest {
            Some(rest) => {
                let rest_s = rest.at.seconds_since(start);
                let fit_from = (rest_s - 20.0).max(window::settle_s(tau, profile.times.rinse));
                EndSearch { fit_from, earliest: rest_s - 6.0, latest: rest_s + 3.0, expected: Some(rest_s) }
            }
            None => EndSearch {
                fit_from: 1.0,
                earliest: 1.5,
                latest: (last_s - 2.0).min(rinse_s * 1.4),
                expected: Some(rinse_s.min(last_s)),
            },
        };
        let end_s = window::flow_end(&points, tau, search).unwrap_or(rinse_s);
        start.plus(Duration::from_secs_f64(end_s.max(0.0)))
    }
}
