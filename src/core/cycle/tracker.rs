//! Recognises the cycles of one machine and judges each.
//!
//! A run signal, where one has ever been heard, decides the windows; otherwise, and
//! while that signal hangs, the trace of the final-rinse probe does. Readings come
//! in event-time order. A probe that falls silent ends what it was in the middle of.

mod kind;
#[cfg(test)]
mod tests;

use std::collections::VecDeque;
use std::time::Duration;

use serde::{Deserialize, Serialize};

use self::kind::Kind;
use super::back::{Course, Flows};
use super::faults::Faults;
use super::judge::{self, Concentration, Evidence, Rinse};
use super::line::{BRIDGE_S, Candidate, Line};
use super::plate::{Profile, RinseFrom};
use super::run::{Run, RunWindow};
use super::spike::{Filtered, SpikeFilter};
use super::sump::Sump;
use super::tank::{Operation, Tank, Wash};
use crate::core::channel::{Place, Probe};
use crate::core::effect::{Trace, TraceReading};
use crate::core::reading::Fault;
use crate::core::record::{Cycle, WindowFrom};
use crate::core::time::Timestamp;
use crate::core::units::Celsius;

/// Longest flow of a conveyor, with what it is looked at for after its end.
const CONVEYOR_KEEP: Duration = Duration::from_secs(620);
/// What is kept of the wash beyond the plate's cycle.
const WASH_MARGIN: Duration = Duration::from_secs(45);
/// How rinses are found in the trace.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
enum Recogniser {
    Line(Line),
    Sump(Sump),
}

/// The machine as the tracker needs it.
#[derive(Clone, Copy, Debug)]
pub struct Setup<'a> {
    /// The machine.
    pub profile: &'a Profile,
    /// Its final-rinse probe.
    pub rinse: &'a Probe,
}

/// Cycle recognition of one machine.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Tracker {
    recogniser: Recogniser,
    filter: SpikeFilter,
    wash_filter: SpikeFilter,
    tank: Tank,
    ware: VecDeque<TraceReading>,
    run: Run,
    /// What the trace showed during the run under way: counts if its signal turns out to hang.
    held: Option<Candidate>,
    /// The last usable reading of the final-rinse probe.
    heard: Option<Timestamp>,
    faults: Faults,
    concentration: Option<Concentration>,
    /// The one before it: a cycle may end before a check and be judged after it.
    #[serde(default)]
    earlier: Option<Concentration>,
    #[serde(default)]
    flows: Flows,
    /// What the tank was when the flow under way began.
    operation: Operation,
}

/// A recognised and judged cycle.
#[derive(Clone, PartialEq, Debug)]
pub struct Judged {
    /// The judgement.
    pub cycle: Cycle,
    /// What it stands on.
    pub trace: Trace,
}

impl Tracker {
    /// Knows nothing yet.
    #[must_use]
    pub const fn new(from: RinseFrom) -> Self {
        let recogniser = match from {
            RinseFrom::FreshLine => Recogniser::Line(Line::new()),
            RinseFrom::Sump => Recogniser::Sump(Sump::new()),
        };
        Self {
            recogniser,
            filter: SpikeFilter { window: [None; super::spike::WIDTH] },
            wash_filter: SpikeFilter { window: [None; super::spike::WIDTH] },
            tank: Tank::new(),
            ware: VecDeque::new(),
            run: Run::new(),
            held: None,
            heard: None,
            faults: Faults::new(),
            concentration: None,
            earlier: None,
            flows: Flows::new(),
            operation: Operation::In,
        }
    }

    /// Whether no cycle is under way.
    #[must_use]
    pub const fn is_idle(&self) -> bool {
        self.is_quiet() && self.run.is_idle()
    }

    /// Since when a run is under way, or what may be a final rinse where no run signal decides; what it is, such as a
    /// tank that fills, shows once it has ended.
    #[must_use]
    pub fn under_way_since(&self) -> Option<Timestamp> {
        let flow = match &self.recogniser {
            Recogniser::Line(line) => line.since(),
            Recogniser::Sump(sump) => sump.since(),
        };
        let flow = flow.filter(|start| !self.run.governs(*start));
        [flow, self.run.started()].into_iter().flatten().min()
    }

    const fn is_quiet(&self) -> bool {
        match &self.recogniser {
            Recogniser::Line(line) => line.is_quiet(),
            Recogniser::Sump(sump) => sump.is_quiet(),
        }
    }

    /// Puts a concentration on file.
    pub fn check(&mut self, check: Concentration) {
        match self.concentration {
            Some(newest) if check.at < newest.at => {
                if self.earlier.is_none_or(|earlier| earlier.at <= check.at) {
                    self.earlier = Some(check);
                }
            }
            Some(newest) if check.at == newest.at => self.concentration = Some(check),
            newest => (self.earlier, self.concentration) = (newest, Some(check)),
        }
    }

    /// Puts on file what stands after a concentration was withdrawn or corrected: `standing` are
    /// those that count, in any order. What was judged by it stays as it was judged.
    pub fn amend(&mut self, was: Concentration, standing: &[Concentration]) {
        let kept = [self.earlier, self.concentration].into_iter().flatten().filter(|known| *known != was);
        let mut all: Vec<Concentration> = kept.chain(standing.iter().copied()).collect();
        all.sort_by_key(|check| check.at);
        all.dedup();
        self.concentration = all.pop();
        self.earlier = all.pop();
    }

    /// Goes on after the source's clock stepped by `back`: what depends on it is forgotten, what
    /// is on file is kept.
    pub fn restart(&mut self, from: RinseFrom, back: Duration) {
        let moved = |check: Concentration| Concentration { at: check.at.minus(back), ..check };
        let (concentration, earlier) = (self.concentration.map(moved), self.earlier.map(moved));
        let mut run = std::mem::take(&mut self.run);
        run.restart();
        *self = Self { concentration, earlier, run, ..Self::new(from) };
    }

    /// The run signal at `at`. A run that ended just before this one began is judged.
    pub fn running(&mut self, setup: Setup<'_>, at: Timestamp, on: bool, now: Timestamp) -> Vec<Judged> {
        let judged = if on && self.run.has_ended() { self.end_run(setup, now) } else { Vec::new() };
        self.run.signal(at, on);
        judged
    }

    /// Event time has come to `at`: what a silent final-rinse probe holds open is judged on what is there.
    pub fn advance(&mut self, setup: Setup<'_>, at: Timestamp, now: Timestamp) -> Vec<Judged> {
        let waiting = !self.is_quiet() || self.run.has_ended();
        let longest_s = setup.rinse.silent_after.as_secs_f64().max(BRIDGE_S);
        let silent = self.heard.is_none_or(|heard| at.seconds_since(heard) > longest_s);
        if !(waiting && silent) {
            return Vec::new();
        }
        self.run.give_up(at, setup.profile);
        self.end(setup, now, false, false)
    }

    /// A reading, or a fault in its place, that arrived at `now`.
    pub fn reading(
        &mut self,
        setup: Setup<'_>,
        place: Place,
        at: Timestamp,
        value: Result<Celsius, Fault>,
        now: Timestamp,
    ) -> Vec<Judged> {
        match (place, value) {
            (Place::FinalRinse, Ok(celsius)) => return self.rinse(setup, TraceReading { at, celsius }, now),
            (Place::FinalRinse, Err(fault)) => self.faults.note(at, fault),
            (Place::WashTank, Ok(celsius)) => {
                let keep = keep_wash(setup.profile);
                if let Some(filtered) = self.wash_filter.push(TraceReading { at, celsius }) {
                    self.tank.push(filtered.reading, setup.profile.wash_min.at.0, keep);
                }
            }
            (Place::WashTank, Err(fault)) => self.tank.push_fault(at, fault),
            (Place::Ware, Ok(celsius)) => {
                self.ware.push_back(TraceReading { at, celsius });
                let oldest = at.minus(keep_wash(setup.profile));
                while self.ware.front().is_some_and(|first| first.at < oldest) {
                    self.ware.pop_front();
                }
            }
            (Place::Ware | Place::Other, _) => {}
        }
        Vec::new()
    }

    /// Somebody works on the machine: what was read of its tank so far tells no drain and no fill.
    pub fn forget_tank(&mut self) {
        self.tank.forget();
    }

    /// Ends what is under way: the input is over, the final-rinse probe silent, or the clock stepped.
    pub fn finish(&mut self, setup: Setup<'_>, now: Timestamp, clock_stepped: bool) -> Vec<Judged> {
        self.end(setup, now, clock_stepped, true)
    }

    /// Judges what is open. `over`: nothing more comes, the end of a run under way neither; the
    /// trace then shows what was rinsed in it.
    fn end(&mut self, setup: Setup<'_>, now: Timestamp, clock_stepped: bool, over: bool) -> Vec<Judged> {
        let mut judged = Vec::new();
        for filtered in self.filter.drain() {
            judged.extend(self.filtered(setup, filtered, now));
        }
        if let Some(window) = self.run.finish(setup.profile) {
            judged.push(self.judge_run(setup, &window, now, clock_stepped));
        }
        let candidate = match &mut self.recogniser {
            Recogniser::Line(line) => line.finish(setup.profile, setup.rinse.tau),
            Recogniser::Sump(sump) => sump.finish(setup.profile),
        };
        let endless = self.run.started().filter(|_| over && !setup.profile.kind.is_conveyor());
        if let Some(candidate) = candidate
            && (!self.run.governs(candidate.start) || endless.is_some_and(|since| candidate.start >= since))
        {
            judged.extend(self.judge_candidate(setup, candidate, now, clock_stepped));
        }
        judged
    }

    fn rinse(&mut self, setup: Setup<'_>, reading: TraceReading, now: Timestamp) -> Vec<Judged> {
        self.heard = Some(reading.at);
        self.faults.over();
        match self.filter.push(reading) {
            Some(filtered) => self.filtered(setup, filtered, now),
            None => Vec::new(),
        }
    }

    fn filtered(&mut self, setup: Setup<'_>, filtered: Filtered, now: Timestamp) -> Vec<Judged> {
        if self.is_quiet() {
            self.operation = self.tank.operation();
        }
        let candidate = match &mut self.recogniser {
            Recogniser::Line(line) => line.push(filtered, setup.profile, setup.rinse.tau),
            Recogniser::Sump(sump) => sump.push(filtered, setup.profile),
        };
        let mut judged = Vec::new();
        if let Some(candidate) = candidate {
            let governed = self.run.governs(candidate.start);
            if !governed {
                judged.extend(self.judge_candidate(setup, candidate, now, false));
            } else if self.run.started().is_some_and(|run| candidate.start >= run) {
                self.held = Some(candidate);
            }
        }
        if self.run.decides() {
            judged.extend(self.during_run(setup, filtered, now));
        }
        judged
    }

    /// The run signal decides; where it turns out to hang, what the trace showed counts.
    fn during_run(&mut self, setup: Setup<'_>, filtered: Filtered, now: Timestamp) -> Option<Judged> {
        self.run.reading(filtered);
        if let Some(window) = self.run.finished(filtered.reading.at, setup.profile) {
            return Some(self.judge_run(setup, &window, now, false));
        }
        if self.run.decides() {
            return None;
        }
        let held = self.held.take()?;
        self.judge_candidate(setup, held, now, false)
    }

    /// Judges a run that has ended, with the readings that the spike filter still holds.
    fn end_run(&mut self, setup: Setup<'_>, now: Timestamp) -> Vec<Judged> {
        let held = self.filter.drain();
        let mut judged: Vec<_> =
            held.into_iter().flat_map(|filtered| self.filtered(setup, filtered, now)).collect();
        let window = self.run.finish(setup.profile);
        judged.extend(window.map(|window| self.judge_run(setup, &window, now, false)));
        judged
    }

    fn judge_run(
        &mut self,
        setup: Setup<'_>,
        window: &RunWindow,
        now: Timestamp,
        clock_stepped: bool,
    ) -> Judged {
        self.held = None;
        self.flows.cycle(window.ended, Course::Came);
        let profile = setup.profile;
        let wash_to = if profile.kind.is_conveyor() {
            window.ended
        } else {
            window.started.plus(profile.times.wash).min(window.rinse_started)
        };
        let rinse = Rinse {
            start: window.rinse_started,
            end: window.ended,
            from: WindowFrom::RunSignal,
            readings: &window.readings,
            spikes: window.spikes,
            fault: self.faults.between(window.rinse_started, window.ended),
            end_seen: true,
        };
        let wash = self.tank.between(window.started, wash_to);
        self.judged(setup, window.started, rinse, wash, now, clock_stepped)
    }

    fn judge_candidate(
        &mut self,
        setup: Setup<'_>,
        candidate: Candidate,
        now: Timestamp,
        clock_stepped: bool,
    ) -> Option<Judged> {
        let profile = setup.profile;
        let before = self.flows.last_cycle_end();
        let doubt = match self.kind(profile, &candidate) {
            Kind::Cycle => {
                self.flows.cycle(candidate.end, candidate.course);
                None
            }
            Kind::Doubtful(reason) => {
                self.flows.doubtful(candidate.end);
                Some(reason)
            }
            Kind::NoCycle => return None,
        };
        let times = profile.times;
        let (started, wash_to) = if profile.kind.is_conveyor() {
            (candidate.start, candidate.end)
        } else {
            let wash_to = candidate.start.minus(times.pause);
            let washed_from = wash_to.minus(times.wash);
            // A wash shorter than the plate's did not begin before the last rinse was over.
            (before.map_or(washed_from, |before| washed_from.max(before).min(candidate.start)), wash_to)
        };
        let rinse = Rinse {
            start: candidate.start,
            end: candidate.end,
            from: WindowFrom::Trace,
            readings: &candidate.readings,
            spikes: candidate.spikes,
            fault: self.faults.between(candidate.start, candidate.end),
            end_seen: candidate.end_seen,
        };
        let wash = self.tank.between(started, wash_to);
        let mut judged = self.judged(setup, started, rinse, wash, now, clock_stepped);
        if let Some(doubt) = doubt {
            judged.cycle.put_in_doubt(doubt);
        }
        Some(judged)
    }

    fn judged(
        &self,
        setup: Setup<'_>,
        started: Timestamp,
        rinse: Rinse<'_>,
        wash: Wash,
        now: Timestamp,
        clock_stepped: bool,
    ) -> Judged {
        let ended = rinse.end;
        let stands = |check: &Concentration| {
            check.at <= ended && ended.since(check.at) <= setup.profile.check_valid_for
        };
        let evidence = Evidence {
            profile: setup.profile,
            probe: setup.rinse,
            started,
            rinse,
            wash,
            ware: self.ware.iter().filter(|r| r.at >= started && r.at <= ended).copied().collect(),
            concentration: self.concentration.filter(stands).or_else(|| self.earlier.filter(stands)),
            clock_stepped,
            received: now,
        };
        let (cycle, trace) = judge::judge(&evidence);
        Judged { cycle, trace }
    }
}

/// How much of the wash tank's past a judgement may ask for.
fn keep_wash(profile: &Profile) -> Duration {
    let times = profile.times;
    let whole = times.wash + times.pause + times.rinse * 3;
    let conveyor = if profile.kind.is_conveyor() { CONVEYOR_KEEP } else { Duration::ZERO };
    whole.max(conveyor) + WASH_MARGIN
}
