//! The way back: tells the end of something that stood in the line from new water.
//!
//! Not all that warms a line's probe is a rinse: it is plunged into a pot, water is run through
//! by hand. What comes is taken for a flow, since a rinse looks no other. When it ends the line
//! goes back to where it was, and that is a departure as well: no rinse, and nothing that keeps
//! a rinse after it from being one. A line that was rinsed does not go back within seconds, its
//! water stays hot: so a whole way back also shows that what came before it was no rinse.

use serde::{Deserialize, Serialize};

use super::plate::Profile;
use crate::core::effect::TraceReading;
use crate::core::time::Timestamp;

/// A line is back where it was once this share of its way is left ...
const LEFT_SHARE: f64 = 0.25;
/// ... and this much more, °C: rest is not the same twice.
const LEFT_C: f64 = 1.0;
/// Least excursion whose way back can be told from noise and cooling, °C.
const AWAY_MIN_C: f64 = 5.0;
/// A way back that is slow still goes on while a rinse would stand: least change over the second half of it, °C ...
const GOES_ON_C: f64 = 0.5;
/// ... and as a share of the whole.
const GOES_ON_SHARE: f64 = 0.25;
/// What comes may still rise a little before it goes: by this share of its way.
const OUTWARD_SHARE: f64 = 0.1;
/// A line that changes by less than this for as long as [`STIRS_S`] only stirs, °C ...
const STIRS_C: f64 = 2.0;
/// ... s, where it then changes by this many times as much.
const STIRS_S: f64 = 6.0;
/// See [`STIRS_S`].
const STIRS_TIMES: f64 = 3.0;
/// A line on its way back that turns by this much is met by other water, °C.
const TURN_C: f64 = 2.0;
/// Water that comes after a rinse changes the line by [`AWAY_MIN_C`] within this time, s: a slow probe that still
/// answers to what came before takes longer.
const JUMP_S: f64 = 1.5;
/// A way back takes at least this long, s: cold water from a long line passes a hot one sooner.
const WAY_MIN_S: f64 = 2.0;
/// Readings this close to the nearest one are as near, °C.
const NEAR_C: f64 = 0.3;
/// Shortest share of wash and pause between two rinses: sooner, nothing can have been washed between them.
pub const SPACING_SHARE: f64 = 0.6;

/// The shortest time from the end of a rinse to the start of the next one, s: that `share` of wash and pause.
#[must_use]
pub fn spacing_s(profile: &Profile, share: f64) -> f64 {
    share * (profile.times.wash + profile.times.pause).as_secs_f64()
}

/// What a stretch of change in the line is.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Course {
    /// Water that came and stays in the line.
    #[default]
    Came,
    /// It came, and the line was back where it was within the same stretch.
    CameAndWent,
    /// The end of what came before, on its way.
    GoesBack,
    /// The end of what came before: the line is where it was.
    WentBack,
    /// The line only stirred; other water came within the same stretch.
    Stirred,
}

/// Where the line was before the last thing that came into it.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize)]
pub struct Stood {
    /// Temperature of the line before it, °C.
    pub before_c: f64,
    /// End of what came, or of its way back.
    #[serde(with = "crate::core::time::micros")]
    pub at: Timestamp,
}

/// Tells what a stretch of change is. `readings` run from its start at `before_c` to the end of what is looked
/// at, `stood` is what came
/// before it, where that was lately.
#[must_use]
pub fn course(stood: Option<Stood>, before_c: f64, readings: &[TraceReading], start: Timestamp) -> Course {
    let first = readings.partition_point(|r| r.at < start);
    let inside = &readings[first..];
    let (Some(last), Some(middle)) = (inside.last(), inside.get(inside.len() / 2)) else {
        return Course::Came;
    };
    let (last_c, middle_c) = (last.celsius.0, middle.celsius.0);
    if let Some(stood) = stood {
        let away = before_c - stood.before_c;
        let outward = inside.iter().map(|r| (r.celsius.0 - before_c) * away.signum()).fold(0.0, f64::max);
        let goes_back = away.abs() > LEFT_C
            && outward <= OUTWARD_SHARE * away.abs() + LEFT_C
            && (last_c - before_c) * away < 0.0;
        if goes_back && is_back(stood.before_c, away.abs(), last_c) {
            return Course::WentBack;
        }
        let beyond = (stood.before_c - last_c) * away.signum() > LEFT_SHARE * away.abs() + LEFT_C;
        let left = (middle_c - last_c) * away.signum();
        if goes_back && !beyond && left >= GOES_ON_C.max(GOES_ON_SHARE * (before_c - last_c).abs()) {
            return Course::GoesBack;
        }
    }
    let away = inside.iter().map(|r| (r.celsius.0 - before_c).abs()).fold(0.0, f64::max);
    if away >= AWAY_MIN_C && is_back(before_c, away, last_c) { Course::CameAndWent } else { Course::Came }
}

fn is_back(rest_c: f64, away: f64, celsius: f64) -> bool {
    (celsius - rest_c).abs() <= LEFT_SHARE * away + LEFT_C
}

/// The last moment of rest before other water came, in a stretch in which the line had gone back to
/// `rest_c` or turned on its way there.
#[must_use]
pub fn other_water(readings: &[TraceReading], rest_c: f64, start: Timestamp) -> Option<Timestamp> {
    let inside = &readings[readings.partition_point(|r| r.at < start)..];
    let mut away = 0.0_f64;
    let mut way: Option<Way> = None;
    for reading in inside {
        let off = (reading.celsius.0 - rest_c).abs();
        if let Some(way) = &way
            && off > way.least + TURN_C.max(LEFT_SHARE * away)
            && away - way.least >= AWAY_MIN_C.min(away / 2.0)
            && way.until.seconds_since(way.from) >= WAY_MIN_S
        {
            return Some(way.until);
        }
        match &mut way {
            _ if off >= away => (away, way) = (off, None),
            Some(way) if off <= way.least + NEAR_C => {
                (way.least, way.until) = (way.least.min(off), reading.at)
            }
            Some(_) => {}
            None => way = Some(Way { least: off, from: reading.at, until: reading.at }),
        }
    }
    None
}

/// The last moment of a line that only stirred before water came.
#[must_use]
pub fn stirred_until(readings: &[TraceReading], before_c: f64, start: Timestamp) -> Option<Timestamp> {
    let inside = &readings[readings.partition_point(|r| r.at < start)..];
    let off = |r: &TraceReading| (r.celsius.0 - before_c).abs();
    let stirs = inside.iter().position(|r| off(r) >= STIRS_C)?;
    let last = inside.get(stirs.checked_sub(1)?)?.at;
    let comes = inside.iter().any(|r| off(r) >= STIRS_TIMES * STIRS_C);
    (comes && last.seconds_since(start) >= STIRS_S).then_some(last)
}

/// The last moment of rest after `over`, the end of a rinse, before other water came: a line that was rinsed
/// changes by less within seconds.
#[must_use]
pub fn jump_after(readings: &[TraceReading], over: Timestamp) -> Option<Timestamp> {
    let after = &readings[readings.partition_point(|r| r.at < over)..];
    let rest_c = after.first()?.celsius.0;
    let off = |r: &TraceReading| (r.celsius.0 - rest_c).abs();
    let jumps = after.iter().position(|r| off(r) >= AWAY_MIN_C)?;
    let last = after[..jumps].iter().rfind(|r| off(r) < LEFT_C)?.at;
    (after[jumps].at.seconds_since(last) <= JUMP_S).then_some(last)
}

/// A line on its way back.
struct Way {
    /// Least distance from its rest, °C.
    least: f64,
    from: Timestamp,
    /// When it was last about that near.
    until: Timestamp,
}

/// The flows before the next one, as far as they decide whether that can be a cycle.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default, Serialize, Deserialize)]
pub struct Flows {
    last: Option<Timestamp>,
    before: Option<Timestamp>,
    cycle: Option<Timestamp>,
}

impl Flows {
    /// None yet.
    #[must_use]
    pub const fn new() -> Self {
        Self { last: None, before: None, cycle: None }
    }

    /// Time since the end of the last flow, s.
    #[must_use]
    pub fn after_s(&self, start: Timestamp) -> Option<f64> {
        self.last.map(|end| start.seconds_since(end))
    }

    /// End of the last rinse on record.
    #[must_use]
    pub const fn last_cycle_end(&self) -> Option<Timestamp> {
        self.cycle
    }

    /// A cycle whose rinse ended at `end`. What went as it came was no rinse, and keeps none from being one.
    pub fn cycle(&mut self, end: Timestamp, course: Course) {
        self.cycle = Some(end);
        if course != Course::CameAndWent {
            self.before = self.last.replace(end);
        }
    }

    /// Perhaps a cycle. Whether the next can be one is told by what came before this.
    pub const fn doubtful(&mut self, end: Timestamp) {
        self.cycle = Some(end);
    }

    /// A flow that was no cycle, such as a fill.
    pub const fn no_cycle(&mut self, end: Option<Timestamp>) {
        if end.is_some() {
            (self.before, self.last) = (self.last, end);
        }
    }

    /// The last flow went as it came.
    pub const fn went_back(&mut self) {
        self.last = self.before;
    }
}
