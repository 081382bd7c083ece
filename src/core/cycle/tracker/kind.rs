//! Tells a cycle from a fill, a hose, a valve's hiccup and the end of what came before.

use super::{Candidate, Tracker};
use crate::core::cycle::back::{self, Course};
use crate::core::cycle::plate::{Profile, RinseFrom};
use crate::core::cycle::tank::Operation;
use crate::core::cycle::verdict::Reason;

/// Shortest share of wash and pause between two rinses while the tank may be empty, see [`back::SPACING_SHARE`].
const SPACING_SHARE_DOUBTFUL: f64 = 0.9;
/// Water that changes the line by less than this need not be a rinse, °C (own choice: of 96 rinses that cooled
/// the line by less in the simulator, none came later than five minutes after the one before).
const FAINT_C: f64 = 2.0;
/// A line at rest for this long is cooler than what can flow through it, s.
const LONG_AT_REST_S: f64 = 600.0;
/// Share of the plate's rinse that a whole one lasts.
const WHOLE_SHARE: f64 = 0.85;
/// Shortest flow that is a rinse, s; a shorter one is a valve's hiccup.
const RINSE_MIN_S: f64 = 1.5;

/// What a stretch of flow is to the machine.
pub(super) enum Kind {
    /// A cycle.
    Cycle,
    /// Perhaps one: it is on record as unproven, for this reason.
    Doubtful(Reason),
    /// None.
    NoCycle,
}

impl Tracker {
    /// What it is, by its length, its course, the tank, and what came before it.
    pub(super) fn kind(&mut self, profile: &Profile, candidate: &Candidate) -> Kind {
        let length_s = candidate.end.seconds_since(candidate.start);
        let operation = match profile.rinse_from {
            RinseFrom::FreshLine => self.operation.max(self.tank.operation()),
            // The sump is emptied in every cycle.
            RinseFrom::Sump => Operation::In,
        };
        match candidate.course {
            Course::Came | Course::CameAndWent => {}
            Course::GoesBack | Course::Stirred => return Kind::NoCycle,
            Course::WentBack => {
                self.flows.went_back();
                return Kind::NoCycle;
            }
        }
        let conveyor = profile.kind.is_conveyor();
        let whole = length_s >= WHOLE_SHARE * profile.times.rinse.as_secs_f64();
        let (is_none, share) = match operation {
            Operation::In => (false, back::SPACING_SHARE),
            Operation::Doubtful => (!whole && !conveyor, SPACING_SHARE_DOUBTFUL),
            Operation::Unseen => (!whole && !conveyor, SPACING_SHARE_DOUBTFUL),
            Operation::Out => (true, SPACING_SHARE_DOUBTFUL),
        };
        if is_none || length_s < RINSE_MIN_S {
            self.flows.no_cycle(candidate.readings.last().map(|last| last.at));
            return Kind::NoCycle;
        }
        let cycle = match operation {
            Operation::In | Operation::Doubtful | Operation::Out => Kind::Cycle,
            Operation::Unseen => Kind::Doubtful(Reason::TankUnseen),
        };
        if conveyor {
            return cycle;
        }
        let after_s = self.flows.after_s(candidate.start);
        let needed_s = back::spacing_s(profile, share);
        let faint_c = candidate.change_c.filter(|change| change.abs() < FAINT_C);
        if let Some(after_s) = after_s.filter(|after_s| *after_s < needed_s) {
            // The last of what came before moves the line by less; what overlaps a cycle is on record with it.
            let apart = self.flows.last_cycle_end().is_none_or(|end| candidate.start >= end);
            let seen = apart && faint_c.is_none();
            return if seen {
                Kind::Doubtful(Reason::TooSoon { after_s: after_s.max(0.0), needed_s })
            } else {
                Kind::NoCycle
            };
        }
        // A flow that went as it came leaves no spacing, but its place on record.
        if self.flows.last_cycle_end().is_some_and(|end| candidate.start < end) {
            return Kind::NoCycle;
        }
        let long_at_rest = after_s.is_none_or(|after_s| after_s > LONG_AT_REST_S);
        match faint_c.filter(|change| long_at_rest && *change < 0.0) {
            Some(change_c) => Kind::Doubtful(Reason::Faint { change_c: -change_c }),
            None => cycle,
        }
    }
}
