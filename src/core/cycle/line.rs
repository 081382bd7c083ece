//! Finds rinses in the trace of a fresh-water line, from temperature alone.
//!
//! Quiet: the line follows its [`Baseline`]. A departure opens a `Flow`; when
//! its window has passed, the flow is handed out as a [`Candidate`] and the
//! baseline starts again. What a candidate is, a cycle or a fill, is decided
//! by who knows the tank and the plate.

use std::collections::VecDeque;
use std::time::Duration;

use serde::{Deserialize, Serialize};

use super::back::{self, Course, Stood};
use super::baseline::{Baseline, Departure};
use super::conveyor;
use super::plate::Profile;
use super::spike::Filtered;
use super::window::{self, FlowEnd};
use crate::core::effect::TraceReading;
use crate::core::time::Timestamp;

/// Readings kept while quiet, so that a flow includes what came before it was noticed.
const LOOK_BACK: Duration = Duration::from_secs(8);
/// Least change of temperature that is a flow, °C (own choice: below the step
/// of a pre-heated line, above the wander of a resting one).
const CHANGE_MIN_C: f64 = 0.7;
/// The same in standard deviations of the resting line.
const CHANGE_MIN_SIGMA: f64 = 7.0;
/// A departure that has not reached the least change after this long was none, s.
const CHANGE_WITHIN_S: f64 = 5.0;
/// A flow is looked at this long after its expected end, s, so that the end shows.
const AFTER_S: f64 = 6.0;
/// And not before this many times the plate's rinse.
const AFTER_SHARE: f64 = 1.3;
/// The end of a conveyor's flow is given up this long after the flow surely ran, s.
const UNSEEN_AFTER_S: f64 = 120.0;
/// Least time from the departure to the last reading of a flow that readings stopped in, as a share
/// of the plate's rinse; less shows nothing.
const CUT_OFF_SHARE_MIN: f64 = 0.2;
/// The trend of a line that has just come to rest is taken from this long, s.
const REST_TREND_S: f64 = 4.0;
/// Steepest trend of a line that has just come to rest, °C/s: what is steeper is still on its way, and soon over
/// (a line at rest cools by 0.12 to 0.14 in the simulator).
const REST_SLOPE_MAX_C_PER_S: f64 = 0.2;
/// The start of a flow lies at most this far before it was noticed, s ...
const START_EARLY_MAX_S: f64 = 6.0;
/// ... and this far after.
const START_LATE_MAX_S: f64 = 2.5;
/// A rinse that ends before this share of the data plate's was broken off.
pub const BROKEN_OFF_SHARE: f64 = 0.5;
/// Longest time without readings that the baseline or a flow bridges, s.
pub(super) const BRIDGE_S: f64 = 30.0;

/// A stretch of flow in the line.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Candidate {
    /// Start of the flow.
    #[serde(with = "crate::core::time::micros")]
    pub start: Timestamp,
    /// End of the flow.
    #[serde(with = "crate::core::time::micros")]
    pub end: Timestamp,
    /// Readings from a little before the start to a little after the end.
    pub readings: Vec<TraceReading>,
    /// Readings set aside as spikes.
    pub spikes: u32,
    /// Whether the end of the flow shows in the trace, or is the machine's timer's.
    pub end_seen: bool,
    /// Whether it is new water, or the end of what came before.
    #[serde(default)]
    pub course: Course,
    /// Largest change of the line, upwards or downwards, °C; not known of a sump.
    #[serde(default)]
    pub change_c: Option<f64>,
}

impl Candidate {
    /// Leaves what came after `last` to the next one.
    fn end_at(&mut self, last: Timestamp) {
        self.readings.truncate(self.readings.partition_point(|r| r.at <= last));
        self.end = self.end.min(last).max(self.start);
    }
}

/// A flow under way.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
struct Flow {
    departure: Departure,
    sigma: f64,
    change: f64,
    spikes: u32,
    readings: Vec<TraceReading>,
    /// Largest distance from the idle temperature, and when the flow was last near it.
    plateau: f64,
    plateau_at: Option<Timestamp>,
}

/// How a flow ended.
#[derive(Clone, Copy)]
enum Ending {
    /// By the machine's timer, or broken off before.
    Timer,
    /// Here the line came to rest.
    Rest(Timestamp),
    /// Unseen: after this moment fresh water came again.
    Unseen(Timestamp),
    /// It had gone when, after this moment, other water came.
    Other(Timestamp),
    /// It goes on; what has passed is taken as one cycle.
    GoesOn,
}

/// The final-rinse line of one machine.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Line {
    baseline: Option<Baseline>,
    last: Option<TraceReading>,
    recent: VecDeque<TraceReading>,
    flow: Option<Flow>,
    /// Noise of the line at rest, °C.
    sigma: f64,
    /// What came into the line last.
    #[serde(default)]
    stood: Option<Stood>,
}

impl Line {
    /// Knows nothing yet.
    #[must_use]
    pub const fn new() -> Self {
        Self { baseline: None, last: None, recent: VecDeque::new(), flow: None, sigma: 0.0, stood: None }
    }

    /// Whether no flow is under way.
    #[must_use]
    pub const fn is_quiet(&self) -> bool {
        self.flow.is_none()
    }

    /// Since when a flow is under way.
    #[must_use]
    pub fn since(&self) -> Option<Timestamp> {
        self.flow.as_ref().map(|flow| flow.departure.at)
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
                self.go_on_from(reading);
                return None;
            }
            let ending = flow.ending(reading.at, profile, tau)?;
            let before_c = flow.departure.level;
            let mut candidate = flow.candidate(reading.at, profile, tau, ending);
            let other = self.place(&mut candidate, before_c, ending, profile);
            self.after(other.map_or(ending, Ending::Other), &candidate);
            if let Some(other) = other {
                candidate.end_at(other);
            }
            return Some(candidate);
        }
        self.remember(reading);
        if silent_s > BRIDGE_S {
            self.baseline = None;
        }
        self.quiet(reading);
        None
    }

    /// Follows the line at rest; a departure opens a flow.
    fn quiet(&mut self, reading: TraceReading) {
        let start = || Baseline::new(reading.at, reading.celsius.0);
        let baseline = self.baseline.get_or_insert_with(start);
        let sigma = baseline.sigma();
        if let Some(departure) = baseline.push(reading.at, reading.celsius.0) {
            self.sigma = sigma;
            self.flow = Some(Flow::open(departure, sigma, &self.recent));
        }
    }

    /// Hands out a flow under way when no reading of it will come any more.
    pub fn finish(&mut self, profile: &Profile, tau: Option<Duration>) -> Option<Candidate> {
        let flow = self.flow.take()?;
        let last = flow.readings.last()?.at;
        let shortest_s = CUT_OFF_SHARE_MIN * profile.times.rinse.as_secs_f64();
        let long_enough = last.seconds_since(flow.departure.at) >= shortest_s;
        let ending = if profile.kind.is_conveyor() { Ending::Unseen(last) } else { Ending::Timer };
        (flow.changed() && long_enough).then(|| flow.candidate(last, profile, tau, ending))
    }

    /// Tells whether a flow is the end of what came before; gives where other water came into that.
    fn place(
        &mut self,
        candidate: &mut Candidate,
        before_c: f64,
        ending: Ending,
        profile: &Profile,
    ) -> Option<Timestamp> {
        match ending {
            Ending::Timer => {}
            Ending::Rest(_) | Ending::Unseen(_) | Ending::Other(_) | Ending::GoesOn => return None,
        }
        let lately = |stood: &Stood| {
            candidate.start.seconds_since(stood.at) < back::spacing_s(profile, back::SPACING_SHARE)
        };
        let stood = self.stood.filter(lately);
        let readings = &candidate.readings;
        if stood.is_some()
            && let Some(stirred) = back::stirred_until(readings, before_c, candidate.start)
        {
            candidate.course = Course::Stirred;
            return Some(stirred);
        }
        let rest_c = stood.map_or(before_c, |stood| stood.before_c);
        // The water of one rinse may change as well: what may be a rinse is never cut within its time.
        let rinsed = candidate.start.plus(profile.times.rinse);
        let other = back::other_water(readings, rest_c, candidate.start)
            .filter(|other| stood.is_some() || *other >= rinsed)
            .or_else(|| back::jump_after(readings, rinsed));
        let last = other.or_else(|| candidate.readings.last().map(|last| last.at))?;
        let until = candidate.readings.partition_point(|r| r.at <= last);
        candidate.course = back::course(stood, before_c, &candidate.readings[..until], candidate.start);
        self.stood = match candidate.course {
            Course::Came => Some(Stood { before_c, at: candidate.end }),
            Course::CameAndWent => Some(Stood { before_c, at: last }),
            Course::GoesBack | Course::WentBack => stood.map(|stood| Stood { at: last, ..stood }),
            Course::Stirred => stood,
        };
        other
    }

    fn remember(&mut self, reading: TraceReading) {
        self.recent.push_back(reading);
        let oldest = reading.at.minus(LOOK_BACK);
        while self.recent.front().is_some_and(|first| first.at < oldest) {
            self.recent.pop_front();
        }
    }

    /// The departure was none: the line goes on with the trend and the noise it had.
    fn go_on_from(&mut self, reading: TraceReading) {
        let Some(flow) = self.flow.take() else { return };
        self.recent = flow.readings.into();
        let slope = flow.departure.slope;
        self.baseline = Some(Baseline::resting(reading.at, reading.celsius.0, slope).with_sigma(self.sigma));
    }

    /// Goes on after a flow was handed out.
    fn after(&mut self, ending: Ending, candidate: &Candidate) {
        match ending {
            Ending::Timer | Ending::Rest(_) => {
                if let Some(last) = candidate.readings.last() {
                    self.rest_until(last.at, candidate);
                }
            }
            Ending::Unseen(onset) | Ending::Other(onset) => self.rest_until(onset, candidate),
            Ending::GoesOn => {
                if let Some(flow) = &mut self.flow {
                    flow.departure.at = candidate.end;
                    flow.readings.retain(|reading| reading.at >= candidate.end);
                    flow.spikes = 0;
                }
            }
        }
    }

    /// Starts the baseline on the readings up to `until`, in which the line was at rest, and
    /// follows the ones after it.
    fn rest_until(&mut self, until: Timestamp, candidate: &Candidate) {
        self.flow = None;
        self.recent.clear();
        let readings = &candidate.readings;
        let from = until.minus(Duration::from_secs_f64(REST_TREND_S));
        let split = readings.partition_point(|r| r.at <= until);
        let tail = &readings[readings.partition_point(|r| r.at < from)..split];
        if tail.is_empty() {
            // Nothing was heard just then: the line is learned anew.
            self.baseline = None;
            return;
        }
        self.recent.extend(tail);
        let (level, slope) = window::trend(&window::series(tail, until));
        let slope = slope.clamp(-REST_SLOPE_MAX_C_PER_S, REST_SLOPE_MAX_C_PER_S);
        self.baseline = Some(Baseline::resting(until, level, slope).with_sigma(self.sigma));
        for reading in &readings[split..] {
            self.remember(*reading);
            match &mut self.flow {
                Some(flow) => flow.push(Filtered { reading: *reading, spike: false }),
                None => self.quiet(*reading),
            }
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
        let mut flow = Self {
            departure,
            sigma,
            change: 0.0,
            spikes: 0,
            readings: Vec::new(),
            plateau: 0.0,
            plateau_at: None,
        };
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
        let away = (reading.celsius.0 - self.departure.level).abs();
        self.plateau = self.plateau.max(away);
        if away >= self.plateau - conveyor::PLATEAU_C {
            self.plateau_at = Some(reading.at);
        }
    }

    fn changed(&self) -> bool {
        self.change > CHANGE_MIN_C.max(CHANGE_MIN_SIGMA * self.sigma)
    }

    fn was_none(&self, now: Timestamp) -> bool {
        now.seconds_since(self.departure.at) > CHANGE_WITHIN_S && !self.changed()
    }

    /// How the flow ended, once its window has passed.
    fn ending(&self, now: Timestamp, profile: &Profile, tau: Option<Duration>) -> Option<Ending> {
        let running_s = now.seconds_since(self.departure.at);
        let rinse_s = profile.times.rinse.as_secs_f64();
        if !profile.kind.is_conveyor() {
            let over = running_s >= (rinse_s + AFTER_S).max(rinse_s * AFTER_SHARE);
            return over.then_some(Ending::Timer);
        }
        let idle = self.departure.level;
        if self.plateau_at.is_some_and(|at| now.seconds_since(at) >= UNSEEN_AFTER_S) {
            return Some(Ending::Unseen(now));
        }
        if running_s >= conveyor::PIECE_S {
            return Some(Ending::GoesOn);
        }
        if running_s < window::settle_s(tau, profile.times.rinse) + conveyor::KINK_S {
            return None;
        }
        conveyor::came_to_rest(&self.readings, idle, now)
            .map(Ending::Rest)
            .or_else(|| conveyor::flows_again(&self.readings, idle, now).map(Ending::Unseen))
    }

    fn candidate(
        &self,
        now: Timestamp,
        profile: &Profile,
        tau: Option<Duration>,
        ending: Ending,
    ) -> Candidate {
        let start = self.start(profile, tau);
        let (end, end_seen) = match ending {
            Ending::Timer | Ending::Other(_) => {
                let (end, is_clear) = self.end_by_timer(start, profile, tau);
                (end, is_clear && end <= now)
            }
            Ending::Rest(rest) => (rest, true),
            Ending::Unseen(onset) => {
                let before = &self.readings[..self.readings.partition_point(|r| r.at <= onset)];
                (conveyor::surely_until(before, self.departure.level).unwrap_or(onset), false)
            }
            Ending::GoesOn => (now.minus(Duration::from_secs_f64(conveyor::PIECE_KEEP_S)), true),
        };
        let end = end.max(start);
        Candidate {
            start,
            end,
            readings: self.readings.clone(),
            spikes: self.spikes,
            end_seen,
            course: Course::Came,
            change_c: self.largest_change(start, end),
        }
    }

    /// Largest change from the line at rest, °C.
    fn largest_change(&self, start: Timestamp, end: Timestamp) -> Option<f64> {
        let inside = self.readings.iter().filter(|r| r.at >= start && r.at <= end);
        let change = inside.map(|r| r.celsius.0 - self.departure.level);
        change.max_by(|a, b| a.abs().total_cmp(&b.abs()))
    }

    fn start(&self, profile: &Profile, tau: Option<Duration>) -> Timestamp {
        let seen = self.departure.at;
        let points = window::arriving(&window::series(&self.readings, seen), tau);
        let until = profile.times.rinse.as_secs_f64();
        let found = window::flow_start(&points, self.departure.level, until).unwrap_or(0.0);
        // What changes much later than the line was seen to leave its trend is the water, not the flow.
        let found = if found > START_LATE_MAX_S { 0.0 } else { found.max(-START_EARLY_MAX_S) };
        let shift = Duration::from_secs_f64(found.abs());
        if found < 0.0 { seen.minus(shift) } else { seen.plus(shift) }
    }

    /// The machine's timer ends a rinse that was not broken off: the readings cannot tell the last
    /// seconds of a booster that runs down from a line at rest. Gives the end, and whether it is clear.
    fn end_by_timer(&self, start: Timestamp, profile: &Profile, tau: Option<Duration>) -> (Timestamp, bool) {
        let rinse_s = profile.times.rinse.as_secs_f64();
        let points = window::series(&self.readings, start);
        let (length_s, is_clear) = match window::flow_end(&points, tau, rinse_s, BROKEN_OFF_SHARE) {
            FlowEnd::Plate => (rinse_s, true),
            FlowEnd::BrokenOff(end_s) => (end_s, true),
            FlowEnd::Unclear => (rinse_s, false),
        };
        (start.plus(Duration::from_secs_f64(length_s)), is_clear)
    }
}
