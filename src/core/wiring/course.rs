//! What one channel showed at rest and while a probe was warmed, in a bounded room.

use std::collections::VecDeque;

use super::{ANSWER_MIN_C, ANSWER_SIGMAS, READINGS_MIN};
use crate::core::reading::Fault;
use crate::core::time::Timestamp;
use crate::core::units::Celsius;

/// Shortest stretch that shows whether a probe is at rest, s (own choice: with noise of 0.1 °C at 4 Hz the line
/// through it is sure to 0.015 °C/s).
const REST_S: f64 = 5.0;
/// And so many readings it holds at least (own choice: with fewer the spread of the noise is not known).
const REST_READINGS_MIN: usize = 8;
/// Most readings of it that are kept; of more the oldest go (own choice: 5 s at 800 Hz).
const REST_READINGS_MAX: usize = 4_096;
/// At rest the line through the stretch rises or falls by no more than this over its length, °C (own choice: a
/// tip that still cools by 0.04 °C/s has at most some two degrees left to fall, in a time constant of a minute).
const REST_CHANGE_MAX_C: f64 = 0.2;
/// Or by no more than so many standard deviations of what noise alone makes of such a line.
const REST_SIGMAS: f64 = 3.0;

/// One channel while a probe was warmed: temperature before calibration, or fault.
///
/// Holds the last stretch at rest, and of the time of warming only what is judged by, however long
/// it lasts and however fast the channel is read.
#[derive(Clone, PartialEq, Debug)]
pub struct Course {
    name: String,
    rest: Stretch,
    warmed: Warmed,
    /// Whether nothing came of it for a while, at rest or while it was warmed: then nobody saw how it stood there.
    silent: bool,
}

/// The last stretch of what was read, long enough to tell rest from movement.
#[derive(Clone, PartialEq, Debug, Default)]
struct Stretch(VecDeque<(Timestamp, Result<f64, Fault>)>);

/// How a probe stands before it is warmed.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Standing {
    /// Too little was read so far.
    TooFew,
    /// It still rises or falls.
    Moving {
        /// Slope, °C a minute.
        c_per_min: f64,
    },
    /// It stays where it is; or it gives no value, which no waiting changes.
    AtRest,
}

/// What was seen while a probe was warmed, of all readings in order.
#[derive(Clone, PartialEq, Debug, Default)]
struct Warmed {
    /// The line at rest, from when the first reading of this stretch came.
    line: Option<Line>,
    count: usize,
    /// The last values, each with what it is above the line at rest.
    last: [(f64, f64); READINGS_MIN],
    /// Extremes of the mean of three in a row: one outlier is no answer.
    high_c: f64,
    low_c: f64,
    /// What was read last.
    newest: Stretch,
    /// The lowest of the means against the line at rest.
    below_c: f64,
    /// The fault that came last, but for silence.
    fault: Option<Fault>,
}

/// A straight line through readings at rest.
#[derive(Clone, Copy, PartialEq, Debug)]
struct Line {
    /// The middle of the readings.
    at: Timestamp,
    mean_c: f64,
    c_per_s: f64,
    /// Standard deviation about the line, °C.
    sigma_c: f64,
    lasted_s: f64,
    count: f64,
}

/// How one channel moved.
#[derive(Clone, Copy, Debug)]
pub(super) struct Moved {
    pub(super) rest_c: f64,
    pub(super) high_c: f64,
    pub(super) low_c: f64,
    /// How far it fell below what its line at rest leads to.
    below_c: f64,
    /// Slope at rest, °C a minute.
    pub(super) c_per_min: f64,
    /// Least rise or fall that is an answer.
    pub(super) least_c: f64,
}

impl Course {
    /// Of the channel `<machine>/<probe>`, with nothing read.
    #[must_use]
    pub fn new(name: impl Into<String>) -> Self {
        Self { name: name.into(), rest: Stretch::default(), warmed: Warmed::default(), silent: false }
    }

    /// Name of the channel.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Forgets everything.
    pub fn begin_anew(&mut self) {
        self.rest.0.clear();
        self.warmed = Warmed::default();
        self.silent = false;
    }

    /// Takes what was read at rest.
    pub fn rests(&mut self, at: Timestamp, value: Result<Celsius, Fault>) {
        self.silent |= value == Err(Fault::Silent);
        self.rest.take(at, value);
    }

    /// Takes what was read while a probe was warmed.
    pub fn warms(&mut self, at: Timestamp, value: Result<Celsius, Fault>) {
        if self.warmed.line.is_none() {
            self.warmed.line = self.rest.line();
        }
        self.warmed.newest.take(at, value);
        match value {
            Ok(celsius) => self.warmed.take(at, celsius.0),
            Err(Fault::Silent) => self.silent = true,
            Err(fault) => self.warmed.fault = Some(fault),
        }
    }

    /// How it stands before anything is warmed.
    #[must_use]
    pub fn standing(&self) -> Standing {
        self.rest.standing()
    }

    /// Whether it may still rise while it is warmed: it does, or too little was read to say that it does not.
    #[must_use]
    pub fn may_rise(&self) -> bool {
        match self.warmed.newest.standing() {
            Standing::TooFew => true,
            Standing::Moving { c_per_min } => c_per_min > 0.0,
            Standing::AtRest => false,
        }
    }

    /// How fast it rises while it is warmed, °C a minute; `None` where it does not, or too little was read.
    pub(super) fn rises_c_per_min(&self) -> Option<f64> {
        match self.warmed.newest.standing() {
            Standing::Moving { c_per_min } => Some(c_per_min).filter(|slope| *slope > 0.0),
            Standing::TooFew | Standing::AtRest => None,
        }
    }

    /// How it moved; `None` where a stretch holds too few values.
    pub(super) fn moved(&self) -> Option<Moved> {
        let line = self.warmed.line?;
        if self.warmed.count < READINGS_MIN {
            return None;
        }
        Some(Moved {
            rest_c: line.mean_c,
            high_c: self.warmed.high_c,
            low_c: self.warmed.low_c,
            below_c: self.warmed.below_c,
            c_per_min: line.c_per_s * 60.0,
            least_c: ANSWER_MIN_C.max(ANSWER_SIGMAS * line.sigma_c),
        })
    }

    /// The fault that it gave last while it was warmed; silence where it gave none of its own.
    pub(super) fn fault(&self) -> Option<Fault> {
        self.warmed.fault.or(self.silent.then_some(Fault::Silent))
    }

    /// Whether nothing came of it for a while.
    pub(super) const fn was_silent(&self) -> bool {
        self.silent
    }
}

impl Stretch {
    /// Takes a reading and forgets what is older than the stretch. A clock that steps back begins it anew.
    fn take(&mut self, at: Timestamp, value: Result<Celsius, Fault>) {
        if self.0.back().is_some_and(|(last, _)| at < *last) {
            self.0.clear();
        }
        self.0.push_back((at, value.map(|celsius| celsius.0)));
        let old = |(first, _): &(Timestamp, Result<f64, Fault>)| at.seconds_since(*first) >= REST_S;
        while self.0.len() > REST_READINGS_MAX
            || (self.0.len() > REST_READINGS_MIN && self.0.get(1).is_some_and(old))
        {
            self.0.pop_front();
        }
    }

    fn standing(&self) -> Standing {
        let (Some((first, _)), Some((last, _))) = (self.0.front(), self.0.back()) else {
            return Standing::TooFew;
        };
        if self.0.len() < REST_READINGS_MIN || last.seconds_since(*first) < REST_S {
            return Standing::TooFew;
        }
        match self.line() {
            Some(line) if line.moves() => Standing::Moving { c_per_min: line.c_per_s * 60.0 },
            Some(_) | None => Standing::AtRest,
        }
    }

    /// The line through its values; `None` where there are too few.
    fn line(&self) -> Option<Line> {
        let values = || self.0.iter().filter_map(|(at, value)| Some((*at, value.ok()?)));
        let (first, last) = (values().next()?.0, values().next_back()?.0);
        let count = values().count();
        if count < READINGS_MIN {
            return None;
        }
        let n = count as f64;
        let mean_t = values().map(|(at, _)| at.seconds_since(first)).sum::<f64>() / n;
        let mean_c = values().map(|(_, celsius)| celsius).sum::<f64>() / n;
        let (mut stt, mut stc, mut scc) = (0.0, 0.0, 0.0);
        for (at, celsius) in values() {
            let (t, c) = (at.seconds_since(first) - mean_t, celsius - mean_c);
            stt += t * t;
            stc += t * c;
            scc += c * c;
        }
        let c_per_s = if stt > 0.0 { stc / stt } else { 0.0 };
        let sigma_c = ((scc - c_per_s * stc).max(0.0) / (n - 2.0)).sqrt();
        let at = first.plus(std::time::Duration::from_secs_f64(mean_t));
        Some(Line { at, mean_c, c_per_s, sigma_c, lasted_s: last.seconds_since(first), count: n })
    }
}

impl Line {
    /// Whether it rises or falls by more than noise and rest do.
    fn moves(&self) -> bool {
        // Of n readings over a time T the slope has the standard deviation σ·√(12/n)/T (line through evenly
        // spaced points).
        let noise_c = REST_SIGMAS * self.sigma_c * (12.0 / self.count).sqrt();
        self.c_per_s.abs() * self.lasted_s > REST_CHANGE_MAX_C.max(noise_c)
    }

    /// Where a tip that cools would have come to by then; one that does not cool stays.
    fn leads_to(&self, at: Timestamp) -> f64 {
        self.mean_c + self.c_per_s.min(0.0) * at.seconds_since(self.at).max(0.0)
    }
}

impl Warmed {
    fn take(&mut self, at: Timestamp, celsius: f64) {
        let above_c = self.line.map_or(0.0, |line| celsius - line.leads_to(at));
        self.last.rotate_left(1);
        self.last[READINGS_MIN - 1] = (celsius, above_c);
        self.count += 1;
        if self.count < READINGS_MIN {
            return;
        }
        let n = READINGS_MIN as f64;
        let mean_c = self.last.iter().map(|(celsius, _)| celsius).sum::<f64>() / n;
        let mean_above_c = self.last.iter().map(|(_, above_c)| above_c).sum::<f64>() / n;
        if self.count == READINGS_MIN {
            (self.high_c, self.low_c, self.below_c) = (mean_c, mean_c, mean_above_c);
        }
        self.high_c = self.high_c.max(mean_c);
        self.low_c = self.low_c.min(mean_c);
        self.below_c = self.below_c.min(mean_above_c);
    }
}

impl Moved {
    pub(super) fn rise_c(self) -> f64 {
        self.high_c - self.rest_c
    }

    pub(super) fn rises(self) -> bool {
        self.rise_c() >= self.least_c
    }

    /// Fell by as much as an answer.
    pub(super) fn falls(self) -> bool {
        self.rest_c - self.low_c >= self.least_c && !self.rises()
    }

    /// Fell by as much as an answer, and further than a tip that still cooled would have.
    pub(super) fn falls_from_rest(self) -> bool {
        self.falls() && -self.below_c >= self.least_c
    }
}
