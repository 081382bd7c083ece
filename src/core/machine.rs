//! One machine: event time, the state of its probes, its tracker.

mod course;
mod snapshot;
mod state;
#[cfg(test)]
mod tests;

use std::collections::VecDeque;
use std::time::Duration;

use self::course::Course;
pub use self::state::StaleState;
use self::state::{Behind, ChannelState, Dosed, State};
use super::channel::{Channel, Place, Probe, Role, Signal};
use super::cycle::judge::Concentration;
use super::cycle::plate::Profile;
use super::cycle::tracker::{Judged, Setup};
use super::cycle::verdict::Reason;
use super::effect::{Effect, Effects, Trace};
use super::id::MachineId;
use super::intake::{self, Junction, Terminals};
use super::presence::GapEvent;
use super::reading::{Fault, Sample, Value};
use super::record::{Body, Check, Clock, ClockStep, Cycle, Record};
use super::reorder::Placed;
use super::time::Timestamp;
use super::units::Celsius;

/// A source's clock has stepped back when all that arrives has been late, in
/// order, for this long, s.
const STEP_AFTER_S: f64 = 30.0;
/// And the source's time kept pace with the gateway's within this share: a
/// repeated history comes faster than it was made.
const STEP_PACE: f64 = 0.2;
/// All that arrives has been late for this long, s, before a late sample counts as a sign of life: a
/// probe whose clock runs behind the others of its machine is as good as silent.
const LATE_ALONE_S: f64 = 1.0;
/// Most late samples kept until the step of the clock is certain; beyond it the oldest go unjudged.
const BEHIND_MAX: usize = 8_192;
/// Readings of one probe closer together than this are stored but not judged, s: no probe in water
/// answers so fast, and what a judgement keeps stays bounded.
const APART_MIN_S: f64 = 0.02;
/// An unchanged concentration is put on record this often, s.
const CHECK_EVERY_S: f64 = 900.0;

/// What became of the samples of a machine.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct Counts {
    /// Samples taken in order.
    pub taken: u64,
    /// Samples that were held already.
    pub repeated: u64,
    /// Samples that came behind the order: stored, not judged.
    pub late: u64,
}

/// A time in which somebody works on a machine.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Work {
    /// Since when.
    pub from: Timestamp,
    /// Until when, as far as is known.
    pub until: Timestamp,
}

impl Work {
    fn holds(&self, at: Timestamp) -> bool {
        self.from <= at && at <= self.until
    }

    const fn touches(&self, cycle: &Cycle) -> bool {
        self.from.micros() <= cycle.rinse_ended.micros() && cycle.started.micros() <= self.until.micros()
    }
}

/// One machine and everything that is known of it.
#[derive(Clone, Debug)]
pub struct Machine {
    id: MachineId,
    profile: Profile,
    channels: Vec<Channel>,
    /// Place in `channels` of the probe that is judged.
    rinse: Option<usize>,
    /// What was in force for the probes at each time, where readings of the past are judged.
    course: Course,
    state: State,
    /// When somebody works or worked on it, oldest first: on record elsewhere, so no part of the state.
    work: Vec<Work>,
    counts: Counts,
    /// The sample of this instant makes the machine fail.
    #[cfg(test)]
    pub(super) poison: Option<Timestamp>,
}

impl Machine {
    /// A machine with its channels, of which it keeps those that are its own.
    #[must_use]
    pub fn new(id: MachineId, profile: Profile, channels: Vec<Channel>) -> Self {
        let rinse = channels.iter().position(|channel| place_of(channel) == Some(Place::FinalRinse));
        let state = State::new(&profile, &channels);
        Self {
            id,
            profile,
            channels,
            rinse,
            course: Course::default(),
            state,
            work: Vec::new(),
            counts: Counts::default(),
            #[cfg(test)]
            poison: None,
        }
    }

    /// Takes a sample of the channel at `local` that arrives at `now`.
    pub fn sample(&mut self, now: Timestamp, local: usize, sample: Sample, effects: &mut Effects) {
        #[cfg(test)]
        assert!(self.poison != Some(sample.at), "poisoned");
        self.expect_probes(now);
        let heard = match self.state.reorder.place(now, sample, self.profile.disorder_window) {
            Placed::Held => {
                self.counts.taken += 1;
                self.state.behind = None;
                if let Some(channel) = self.state.channels.get_mut(local) {
                    channel.presence.note_clock(now, sample.at);
                }
                true
            }
            Placed::Repeat => {
                self.counts.repeated += 1;
                true
            }
            Placed::Late => {
                self.counts.late += 1;
                self.note_late(now, sample, effects);
                let alone = |behind: &Behind| now.seconds_since(behind.first_now) >= LATE_ALONE_S;
                self.state.behind.as_ref().is_none_or(alone)
            }
        };
        if heard && let Some(channel) = self.state.channels.get_mut(local) {
            channel.presence.note_arrival(now);
        }
        self.release(now, effects);
        self.snapshot(now, effects);
    }

    /// The gateway's clock shows `now`: what was due by then is done.
    pub fn tick(&mut self, now: Timestamp, effects: &mut Effects) {
        self.expect_probes(now);
        if self.state.reorder.deadline(self.profile.disorder_window).is_some_and(|deadline| deadline <= now) {
            self.flush(now, effects);
        }
        for local in 0..self.channels.len() {
            let Role::Probe(probe) = &self.channels[local].role else { continue };
            if let Some(gap) = self.state.channels[local].presence.tick(now, probe.silent_after) {
                self.record_gap(now, local, gap, effects);
            }
        }
        self.snapshot(now, effects);
    }

    /// Puts a concentration that a person has measured on file. It is no input and not stored as
    /// one: the state that knows it is handed out at once.
    pub fn check(&mut self, now: Timestamp, check: Concentration, effects: &mut Effects) {
        self.state.tracker.check(check);
        self.hand_out(now, effects);
    }

    /// Somebody works on it in these times, all that matter for what is judged from here on. It is no input:
    /// whoever starts this machine anew must tell it again.
    pub fn work(&mut self, work: Vec<Work>) {
        self.work = work;
    }

    /// Somebody withdrew or corrected a concentration; see [`super::cycle::tracker::Tracker::amend`].
    pub fn amend(
        &mut self,
        now: Timestamp,
        was: Concentration,
        standing: &[Concentration],
        effects: &mut Effects,
    ) {
        self.state.tracker.amend(was, standing);
        self.hand_out(now, effects);
    }

    /// Puts another correction and time constant in force for the probe at `local`, for what is judged from
    /// here on. It is no input: the state is handed out at once, so that what came before is never judged
    /// by it again. Whoever starts this machine anew must give it the probe as it is then.
    pub fn put_in_force(&mut self, now: Timestamp, local: usize, probe: Probe, effects: &mut Effects) {
        if let Some(channel) = self.channels.get_mut(local) {
            channel.role = Role::Probe(probe);
        }
        self.hand_out(now, effects);
    }

    /// From here on the probe at `local` is `probe` for what was measured from `since` on, and what was entered
    /// before for what was measured before it; see [`Machine::live`].
    pub fn follow(&mut self, since: Timestamp, local: usize, probe: Probe) {
        self.course.enter(since, local, probe);
    }

    /// From here on what is in force last is so for every reading, whatever its time: it is measured now.
    pub fn live(&mut self) {
        self.course.set(Timestamp::MAX, &mut self.channels);
        self.course = Course::default();
    }

    /// No more input will come: everything held is applied and judged.
    pub fn finish(&mut self, now: Timestamp, effects: &mut Effects) {
        self.flush(now, effects);
        self.finish_tracker(now, false, effects);
    }

    /// When [`Machine::tick`] has something to do.
    #[must_use]
    pub fn deadline(&self) -> Option<Timestamp> {
        let held = self.state.reorder.deadline(self.profile.disorder_window);
        let silent = self.channels.iter().zip(&self.state.channels).filter_map(|(channel, state)| {
            let Role::Probe(probe) = &channel.role else { return None };
            state.presence.deadline(probe.silent_after)
        });
        held.into_iter().chain(silent).chain(self.snapshot_deadline()).min()
    }

    /// Event time up to which everything is judged; what comes at or before it is late.
    #[must_use]
    pub const fn released(&self) -> Option<Timestamp> {
        self.state.reorder.released()
    }

    /// As [`Tracker::under_way_since`](super::cycle::tracker::Tracker::under_way_since).
    #[must_use]
    pub fn under_way_since(&self) -> Option<Timestamp> {
        self.state.tracker.under_way_since()
    }

    /// What became of the samples since the last call.
    pub fn take_counts(&mut self) -> Counts {
        std::mem::take(&mut self.counts)
    }

    fn expect_probes(&mut self, now: Timestamp) {
        if self.state.expected {
            return;
        }
        self.state.expected = true;
        for (channel, state) in self.channels.iter().zip(&mut self.state.channels) {
            if matches!(channel.role, Role::Probe(_)) {
                state.presence.expect(now);
            }
        }
    }

    fn release(&mut self, now: Timestamp, effects: &mut Effects) {
        while let Some(sample) = self.state.reorder.release(self.profile.disorder_window) {
            self.apply(now, sample, effects);
        }
    }

    fn flush(&mut self, now: Timestamp, effects: &mut Effects) {
        while let Some(sample) = self.state.reorder.flush() {
            self.apply(now, sample, effects);
        }
        self.apply_check(now, effects);
    }

    /// Applies a sample whose order is certain.
    fn apply(&mut self, now: Timestamp, sample: Sample, effects: &mut Effects) {
        let Some(local) = self.channels.iter().position(|channel| channel.id == sample.channel) else {
            return;
        };
        if self.state.dosed.is_some_and(|dosed| dosed.at < sample.at) {
            self.apply_check(now, effects);
        }
        self.course.set(sample.at, &mut self.channels);
        let setup = setup(&self.profile, &self.channels, self.rinse);
        let ended = setup.map(|setup| self.state.tracker.advance(setup, sample.at, now));
        self.record_cycles(now, ended.unwrap_or_default(), effects);
        match &self.channels[local].role {
            Role::Probe(_) => self.apply_reading(now, local, sample, effects),
            Role::ColdJunction { signal } => {
                let none = &mut Terminals::default();
                let converted =
                    intake::converted(*signal, sample.at, sample.value, None, none, Duration::ZERO);
                self.state.channels[local].junction =
                    converted.ok().map(|celsius| Junction { at: sample.at, celsius });
            }
            Role::Running => {
                let setup = self::setup(&self.profile, &self.channels, self.rinse);
                if let (Value::Flag(on), Some(setup)) = (sample.value, setup) {
                    let ended = self.state.tracker.running(setup, sample.at, on, now);
                    self.record_cycles(now, ended, effects);
                }
            }
            Role::Concentration => {
                if let Value::Number(mg_per_l) = sample.value {
                    self.state.dosed = Some(Dosed { at: sample.at, mg_per_l, local });
                }
            }
            Role::Ph => {
                if let Value::Number(ph) = sample.value {
                    self.state.ph = Some(ph);
                }
            }
        }
    }

    fn apply_reading(&mut self, now: Timestamp, local: usize, sample: Sample, effects: &mut Effects) {
        let Role::Probe(probe) = &self.channels[local].role else { return };
        let value = calibrated(&self.channels, &mut self.state.channels, local, probe, sample);
        let state = &mut self.state.channels[local];
        let value = value.and_then(|celsius| {
            if state.stillness.is_stuck(probe, sample.at, celsius) { Err(Fault::Stuck) } else { Ok(celsius) }
        });
        let gap = match value {
            Ok(_) => state.presence.usable(sample.at, probe.silent_after),
            Err(fault) => state.presence.fault(sample.at, fault, probe.silent_after),
        };
        let place = probe.place;
        if let Some(gap) = gap {
            self.record_gap(now, local, gap, effects);
        }
        let second = place == Place::FinalRinse && self.rinse != Some(local);
        if second || !self.is_apart(local, sample.at, value.is_ok()) {
            return;
        }
        if let Some(setup) = setup(&self.profile, &self.channels, self.rinse) {
            let judged = self.state.tracker.reading(setup, place, sample.at, value, now);
            if place == Place::WashTank && self.work.iter().any(|work| work.holds(sample.at)) {
                self.state.tracker.forget_tank();
            }
            self.record_cycles(now, judged, effects);
        }
    }

    /// Whether a reading is far enough from the one before it to be judged; a fault always is.
    fn is_apart(&mut self, local: usize, at: Timestamp, usable: bool) -> bool {
        let judged = &mut self.state.channels[local].judged;
        if usable && judged.is_some_and(|last| at.seconds_since(last) < APART_MIN_S) {
            return false;
        }
        *judged = Some(at);
        true
    }

    /// Puts the concentration that waits on file, and on record where it is news.
    fn apply_check(&mut self, now: Timestamp, effects: &mut Effects) {
        let Some(Dosed { at, mg_per_l, local }) = self.state.dosed.take() else { return };
        let check = Concentration { at, mg_per_l, ph: self.state.ph };
        self.state.tracker.check(check);
        let known = self.state.recorded_check.is_some_and(|last| {
            let same = last.mg_per_l.to_bits() == mg_per_l.to_bits() && last.ph == check.ph;
            same && at.seconds_since(last.at) < CHECK_EVERY_S
        });
        if known {
            return;
        }
        self.state.recorded_check = Some(check);
        let by = self.channels[local].name.to_string();
        let check = Check::Sanitizer { at, mg_per_l, ph: check.ph, solution_c: None, method: None, by };
        self.record(now, Body::Check(check), None, effects);
    }

    /// Notes a late sample; where the sources' clock has stepped back, starts event time anew.
    fn note_late(&mut self, now: Timestamp, sample: Sample, effects: &mut Effects) {
        let in_order = |behind: &Behind| sample.at >= behind.newest_at.minus(self.profile.disorder_window);
        let mut behind = self.state.behind.take().filter(in_order).unwrap_or_else(|| Behind {
            first_at: sample.at,
            first_now: now,
            newest_at: sample.at,
            samples: VecDeque::new(),
        });
        behind.newest_at = behind.newest_at.max(sample.at);
        if behind.samples.len() >= BEHIND_MAX {
            behind.samples.pop_front();
        }
        behind.samples.push_back(sample);
        let span_s = behind.newest_at.seconds_since(behind.first_at);
        let pace_s = now.seconds_since(behind.first_now);
        if span_s < STEP_AFTER_S || (span_s - pace_s).abs() > STEP_PACE * span_s {
            self.state.behind = Some(behind);
            return;
        }
        self.step_back(now, behind, effects);
    }

    /// The sources' clock has stepped back: event time starts anew with what has come since.
    fn step_back(&mut self, now: Timestamp, behind: Behind, effects: &mut Effects) {
        self.flush(now, effects);
        self.finish_tracker(now, true, effects);
        let to = behind.first_at;
        let from = self.state.reorder.released().unwrap_or(to);
        let back = from.since(to);
        self.state.reorder.restart();
        for channel in &mut self.state.channels {
            channel.presence.step_back(back);
            channel.presence.note_clock(now, behind.newest_at);
            channel.junction = None;
            channel.judged = None;
        }
        self.state.tracker.restart(self.profile.rinse_from, back);
        self.record(now, Body::ClockStep(ClockStep { clock: Clock::Source, from, to }), None, effects);
        for sample in behind.samples {
            self.state.reorder.place(now, sample, self.profile.disorder_window);
        }
    }

    fn finish_tracker(&mut self, now: Timestamp, clock_stepped: bool, effects: &mut Effects) {
        let setup = setup(&self.profile, &self.channels, self.rinse);
        let ended = setup.map(|setup| self.state.tracker.finish(setup, now, clock_stepped));
        self.record_cycles(now, ended.unwrap_or_default(), effects);
    }

    fn record_gap(&self, now: Timestamp, local: usize, gap: GapEvent, effects: &mut Effects) {
        let probe = self.channels[local].name.to_string();
        self.record(now, Body::Gap(gap.record(probe)), None, effects);
    }

    fn record_cycles(&self, now: Timestamp, ended: impl IntoIterator<Item = Judged>, effects: &mut Effects) {
        for mut judged in ended {
            if self.work.iter().any(|work| work.touches(&judged.cycle)) {
                judged.cycle.put_in_doubt(Reason::WorkedOn);
            }
            judged.cycle.trace_sha256 = Some(judged.trace.sha256().to_string());
            self.record(now, Body::Cycle(Box::new(judged.cycle)), Some(judged.trace), effects);
        }
    }

    pub(super) fn record(&self, now: Timestamp, body: Body, trace: Option<Trace>, effects: &mut Effects) {
        let record = Box::new(Record::new(now, Some(self.profile.name.clone()), body));
        effects.push(Effect::Record { record, trace: trace.map(Box::new) });
    }
}

/// The corrected temperature of a sample of the probe at `local`.
fn calibrated(
    channels: &[Channel],
    states: &mut [ChannelState],
    local: usize,
    probe: &Probe,
    sample: Sample,
) -> Result<Celsius, Fault> {
    let junction = match probe.signal {
        Signal::Thermocouple { cold_junction, .. } => {
            let place = channels.iter().position(|channel| channel.id == cold_junction);
            place.and_then(|place| states[place].junction)
        }
        Signal::Celsius | Signal::Fahrenheit | Signal::Kelvin | Signal::Pt100 => None,
    };
    let terminals = &mut states[local].terminals;
    intake::converted(probe.signal, sample.at, sample.value, junction, terminals, probe.silent_after)
        .map(|celsius| probe.calibration.apply(celsius))
}

/// What the tracker needs; `None` for a machine without a final-rinse probe.
fn setup<'a>(profile: &'a Profile, channels: &'a [Channel], rinse: Option<usize>) -> Option<Setup<'a>> {
    match &channels[rinse?].role {
        Role::Probe(rinse) => Some(Setup { profile, rinse }),
        Role::ColdJunction { .. } | Role::Running | Role::Concentration | Role::Ph => None,
    }
}

const fn place_of(channel: &Channel) -> Option<Place> {
    match &channel.role {
        Role::Probe(probe) => Some(probe.place),
        Role::ColdJunction { .. } | Role::Running | Role::Concentration | Role::Ph => None,
    }
}
