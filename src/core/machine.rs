//! One machine: event time, the state of its probes, its tracker.

use std::time::Duration;

use serde::{Deserialize, Serialize};

use super::channel::{Channel, Place, Probe, Role, Signal};
use super::cycle::judge::Concentration;
use super::cycle::plate::Profile;
use super::cycle::tracker::{Judged, Setup, Tracker};
use super::effect::{Effect, Effects, Trace};
use super::id::MachineId;
use super::intake::{self, Junction, Stillness};
use super::presence::{GapEvent, Presence};
use super::reading::{Fault, Sample, Value};
use super::record::{Body, Check, Clock, ClockStep, Record};
use super::reorder::{Placed, Reorder};
use super::time::Timestamp;
use super::units::Celsius;
use sha2::{Digest, Sha256};

/// Version of the stored state; a state of another version is not used.
const STATE_VERSION: u32 = 2;
/// Age of the last snapshot, by the gateway's clock or in event time, at which an idle machine
/// makes the next one.
const SNAPSHOT_EVERY: Duration = Duration::from_secs(60);
/// The same in the middle of a cycle, where the state is large: a node may fall silent there
/// for months, and what came since the last snapshot is applied again at every start.
const SNAPSHOT_EVERY_UNDER_WAY: Duration = Duration::from_secs(600);
/// A source's clock has stepped back when all that arrives has been late, in
/// order, for this long, s.
const STEP_AFTER_S: f64 = 30.0;
/// And the source's time kept pace with the gateway's within this share: a
/// repeated history comes faster than it was made.
const STEP_PACE: f64 = 0.2;
/// An unchanged concentration is put on record this often, s.
const CHECK_EVERY_S: f64 = 900.0;

/// What became of an event.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct Counts {
    /// Samples taken in order.
    pub taken: u64,
    /// Samples that were held already.
    pub repeated: u64,
    /// Samples that came behind the order: stored, not judged.
    pub late: u64,
}

/// One machine and everything that is known of it.
#[derive(Clone, Debug)]
pub struct Machine {
    id: MachineId,
    profile: Profile,
    channels: Vec<Channel>,
    /// Place in `channels` of the probe that is judged.
    rinse: Option<usize>,
    state: State,
    counts: Counts,
}

/// The part that a snapshot keeps.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
struct State {
    version: u32,
    reorder: Reorder,
    tracker: Tracker,
    channels: Vec<ChannelState>,
    ph: Option<f64>,
    recorded_check: Option<Concentration>,
    behind: Option<Behind>,
    expected: bool,
    snapshot_at: Option<Timestamp>,
    /// Event time of the last snapshot.
    #[serde(default)]
    snapshot_of: Option<Timestamp>,
    /// Whether something came since the last snapshot.
    #[serde(skip)]
    changed: bool,
}

/// What is known of one channel.
#[derive(Clone, Copy, PartialEq, Debug, Default, Serialize, Deserialize)]
struct ChannelState {
    presence: Presence,
    stillness: Stillness,
    /// Last value of a cold junction.
    junction: Option<Junction>,
}

/// A stretch in which all that arrives is late.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize)]
struct Behind {
    first_at: Timestamp,
    first_now: Timestamp,
    last_at: Timestamp,
}

impl Machine {
    /// A machine with its channels, of which it keeps those that are its own.
    #[must_use]
    pub fn new(id: MachineId, profile: Profile, channels: Vec<Channel>) -> Self {
        let rinse = channels.iter().position(|channel| place_of(channel) == Some(Place::FinalRinse));
        let state = State::new(&profile, channels.len());
        Self { id, profile, channels, rinse, state, counts: Counts::default() }
    }

    /// Takes a sample of the channel at `local` that arrives at `now`.
    pub fn sample(&mut self, now: Timestamp, local: usize, sample: Sample, effects: &mut Effects) {
        self.expect_probes(now);
        if let Some(channel) = self.state.channels.get_mut(local) {
            channel.presence.note_arrival(now);
        }
        match self.state.reorder.place(now, sample) {
            Placed::Held => {
                self.counts.taken += 1;
                self.state.behind = None;
                while let Some(sample) = self.state.reorder.release(self.profile.disorder_window) {
                    self.apply(now, sample, effects);
                }
            }
            Placed::Repeat => self.counts.repeated += 1,
            Placed::Late => {
                self.counts.late += 1;
                self.note_late(now, sample, effects);
            }
        }
        self.snapshot(now, effects);
    }

    /// The gateway's clock shows `now`: what was due by then is done.
    pub fn tick(&mut self, now: Timestamp, effects: &mut Effects) {
        self.expect_probes(now);
        if self.state.reorder.deadline(self.profile.disorder_window).is_some_and(|deadline| deadline <= now) {
            while let Some(sample) = self.state.reorder.flush() {
                self.apply(now, sample, effects);
            }
        }
        for local in 0..self.channels.len() {
            let Role::Probe(probe) = &self.channels[local].role else { continue };
            if let Some(gap) = self.state.channels[local].presence.tick(now, probe.silent_after) {
                self.record_gap(now, local, gap, effects);
            }
        }
        self.snapshot(now, effects);
    }

    /// No more input will come: everything held is applied and judged.
    pub fn finish(&mut self, now: Timestamp, effects: &mut Effects) {
        while let Some(sample) = self.state.reorder.flush() {
            self.apply(now, sample, effects);
        }
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

    /// What became of the samples since the last call.
    pub fn take_counts(&mut self) -> Counts {
        std::mem::take(&mut self.counts)
    }

    /// The machine as configured.
    #[must_use]
    pub const fn profile(&self) -> &Profile {
        &self.profile
    }

    /// Brings back a stored state.
    ///
    /// # Errors
    /// Where it is not of this version or not of this machine; nothing is changed then.
    pub fn restore(&mut self, state: &[u8]) -> Result<(), serde_json::Error> {
        let state: State = serde_json::from_slice(state)?;
        if state.version != STATE_VERSION || state.channels.len() != self.channels.len() {
            return Err(serde::de::Error::custom("state of another version or another machine"));
        }
        self.state = state;
        Ok(())
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

    /// Applies a sample whose order is certain.
    fn apply(&mut self, now: Timestamp, sample: Sample, effects: &mut Effects) {
        let Some(local) = self.channels.iter().position(|channel| channel.id == sample.channel) else {
            return;
        };
        match &self.channels[local].role {
            Role::Probe(_) => self.apply_reading(now, local, sample, effects),
            Role::ColdJunction { signal } => {
                let converted = intake::converted(*signal, sample.at, sample.value, None, Duration::ZERO);
                self.state.channels[local].junction =
                    converted.ok().map(|celsius| Junction { at: sample.at, celsius });
            }
            Role::Running => {
                if let Value::Flag(on) = sample.value {
                    self.state.tracker.running(sample.at, on);
                }
            }
            Role::Concentration => {
                if let Value::Number(mg_per_l) = sample.value {
                    self.apply_check(now, local, sample.at, mg_per_l, effects);
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
        let value = self.calibrated(probe, sample);
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
        let Some(rinse) = self.rinse else { return };
        if place == Place::FinalRinse && local != rinse {
            return;
        }
        let Role::Probe(rinse_probe) = &self.channels[rinse].role else { return };
        let setup = Setup { profile: &self.profile, rinse: rinse_probe };
        if let Some(judged) = self.state.tracker.reading(setup, place, sample.at, value, now) {
            self.record_cycle(now, judged, effects);
        }
    }

    fn calibrated(&self, probe: &Probe, sample: Sample) -> Result<Celsius, Fault> {
        let junction = match probe.signal {
            Signal::Thermocouple { cold_junction, .. } => {
                let place = self.channels.iter().position(|channel| channel.id == cold_junction);
                place.and_then(|local| self.state.channels[local].junction)
            }
            Signal::Celsius | Signal::Fahrenheit | Signal::Kelvin | Signal::Pt100 => None,
        };
        intake::converted(probe.signal, sample.at, sample.value, junction, probe.silent_after)
            .map(|celsius| probe.calibration.apply(celsius))
    }

    fn apply_check(
        &mut self,
        now: Timestamp,
        local: usize,
        at: Timestamp,
        mg_per_l: f64,
        effects: &mut Effects,
    ) {
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
        self.record(now, Body::Check(Check::Sanitizer { at, mg_per_l, ph: check.ph, by }), None, effects);
    }

    /// Notes a late sample; where the sources' clock has stepped back, starts event time anew.
    fn note_late(&mut self, now: Timestamp, sample: Sample, effects: &mut Effects) {
        let behind = match self.state.behind {
            Some(behind) if sample.at >= behind.last_at => Behind { last_at: sample.at, ..behind },
            Some(_) | None => Behind { first_at: sample.at, first_now: now, last_at: sample.at },
        };
        self.state.behind = Some(behind);
        let span_s = behind.last_at.seconds_since(behind.first_at);
        let pace_s = now.seconds_since(behind.first_now);
        if span_s < STEP_AFTER_S || (span_s - pace_s).abs() > STEP_PACE * span_s {
            return;
        }
        let from = self.state.reorder.released().unwrap_or(sample.at);
        while let Some(sample) = self.state.reorder.flush() {
            self.apply(now, sample, effects);
        }
        self.finish_tracker(now, true, effects);
        self.state.reorder.restart();
        self.state.behind = None;
        for channel in &mut self.state.channels {
            channel.presence.restart();
            channel.junction = None;
        }
        self.state.tracker = Tracker::new(self.profile.rinse_from);
        let step = ClockStep { clock: Clock::Source, from, to: sample.at };
        self.record(now, Body::ClockStep(step), None, effects);
    }

    fn finish_tracker(&mut self, now: Timestamp, clock_stepped: bool, effects: &mut Effects) {
        let Some(rinse) = self.rinse else { return };
        let Role::Probe(probe) = &self.channels[rinse].role else { return };
        let setup = Setup { profile: &self.profile, rinse: probe };
        if let Some(judged) = self.state.tracker.finish(setup, now, clock_stepped) {
            self.record_cycle(now, judged, effects);
        }
    }

    fn record_gap(&self, now: Timestamp, local: usize, gap: GapEvent, effects: &mut Effects) {
        let probe = self.channels[local].name.to_string();
        self.record(now, Body::Gap(gap.record(probe)), None, effects);
    }

    fn record_cycle(&self, now: Timestamp, mut judged: Judged, effects: &mut Effects) {
        let digest = Sha256::digest(judged.trace.canonical_bytes());
        judged.cycle.trace_sha256 = Some(digest.iter().map(|byte| format!("{byte:02x}")).collect());
        self.record(now, Body::Cycle(Box::new(judged.cycle)), Some(judged.trace), effects);
    }

    fn record(&self, now: Timestamp, body: Body, trace: Option<Trace>, effects: &mut Effects) {
        let record = Box::new(Record::new(now, Some(self.profile.name.clone()), body));
        effects.push(Effect::Record { record, trace: trace.map(Box::new) });
    }

    /// Hands the state out where the last one has become old, so that no input is needed for
    /// long: a new start applies again what came since, and the ledger keeps it aside.
    fn snapshot(&mut self, now: Timestamp, effects: &mut Effects) {
        self.state.changed = true;
        let of = self.state.reorder.released();
        let age_s = |at: Timestamp, before: Option<Timestamp>| {
            before.map_or(f64::INFINITY, |before| at.seconds_since(before).abs())
        };
        let event_age_s = of.map_or(0.0, |of| age_s(of, self.state.snapshot_of));
        if age_s(now, self.state.snapshot_at).max(event_age_s) < self.snapshot_every().as_secs_f64() {
            return;
        }
        self.state.snapshot_at = Some(now);
        self.state.snapshot_of = of;
        self.state.changed = false;
        let state = serde_json::to_vec(&self.state).expect("a state holds nothing that JSON cannot print");
        effects.push(Effect::Snapshot { machine: self.id, state });
    }

    /// When a snapshot is due although nothing arrives.
    fn snapshot_deadline(&self) -> Option<Timestamp> {
        let last = self.state.snapshot_at.filter(|_| self.state.changed)?;
        Some(last.plus(self.snapshot_every()))
    }

    fn snapshot_every(&self) -> Duration {
        if self.state.tracker.is_idle() { SNAPSHOT_EVERY } else { SNAPSHOT_EVERY_UNDER_WAY }
    }
}

impl State {
    fn new(profile: &Profile, channels: usize) -> Self {
        Self {
            version: STATE_VERSION,
            reorder: Reorder::new(),
            tracker: Tracker::new(profile.rinse_from),
            channels: vec![ChannelState::default(); channels],
            ph: None,
            recorded_check: None,
            behind: None,
            expected: false,
            snapshot_at: None,
            snapshot_of: None,
            changed: false,
        }
    }
}

const fn place_of(channel: &Channel) -> Option<Place> {
    match &channel.role {
        Role::Probe(probe) => Some(probe.place),
        Role::ColdJunction { .. } | Role::Running | Role::Concentration | Role::Ph => None,
    }
}
