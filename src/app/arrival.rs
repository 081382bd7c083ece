//! When the readings of a trace would have arrived, reckoned from their own times.
//!
//! A trace has no gateway's clock. As long as a machine's time runs forward it is
//! its own clock. Where it steps back, the gateway's clock would have run on; told
//! nothing of that, the core would take an hour of readings for late ones and
//! judge none of them. So what comes behind its machine's time moves the clock on
//! by the time that passes in it, unless it is there twice: history that a node
//! sent again takes no time.

use std::collections::VecDeque;
use std::time::Duration;

use crate::config::resolve::Configuration;
use crate::core::reading::{Sample, Value};
use crate::core::time::Timestamp;

/// A machine's time counts as stepped back after this much of it, as the core counts it.
const STEP_AFTER: Duration = Duration::from_secs(30);
/// Readings of one machine that are remembered to tell history sent again from a step of the
/// clock (own choice: some nine hours of two probes at 4 Hz, 20 MB at most).
const REMEMBERED: usize = 1 << 18;

/// The clock of a replay.
#[derive(Debug)]
pub(super) struct Arrival {
    /// Latest instant reckoned so far.
    now: Option<Timestamp>,
    /// Number of the machine of each channel.
    machine_of: Vec<usize>,
    machines: Vec<MachineTime>,
}

/// The time of one machine.
#[derive(Debug)]
struct MachineTime {
    window: Duration,
    newest: Option<Timestamp>,
    /// How far its clock has stepped back in all.
    stepped: Duration,
    behind: Option<Behind>,
    /// What came, in order of its time.
    remembered: VecDeque<Sample>,
}

/// A stretch of readings behind the machine's time.
#[derive(Clone, Copy, Debug)]
struct Behind {
    first: Timestamp,
    newest: Timestamp,
    /// The clock when it began.
    since: Timestamp,
}

impl Arrival {
    /// At the start of a trace. Up to `judged` a ledger holds everything already: the clock stands
    /// there until the trace has come so far, and nothing before it is judged a second time.
    pub(super) fn new(configuration: &Configuration, judged: Option<Timestamp>) -> Self {
        let machine = |profile: &crate::core::cycle::plate::Profile| MachineTime {
            window: profile.disorder_window,
            newest: None,
            stepped: Duration::ZERO,
            behind: None,
            remembered: VecDeque::new(),
        };
        Self {
            now: judged,
            machine_of: configuration.channels.iter().map(|channel| usize::from(channel.machine.0)).collect(),
            machines: configuration.machines.iter().map(machine).collect(),
        }
    }

    /// When the next reading of the trace would have arrived; never before the one that came before it.
    pub(super) fn of(&mut self, sample: Sample) -> Timestamp {
        let machine = self.machine_of.get(usize::from(sample.channel.0)).copied();
        let machine = machine.and_then(|machine| self.machines.get_mut(machine));
        let now = self.now.unwrap_or(sample.at);
        let at = machine.map_or(sample.at, |machine| machine.arrival(now, sample));
        let now = now.max(at);
        self.now = Some(now);
        now
    }

    /// When the last reading arrived.
    pub(super) fn last(&self) -> Option<Timestamp> {
        self.now
    }
}

impl MachineTime {
    fn arrival(&mut self, now: Timestamp, sample: Sample) -> Timestamp {
        let newest = *self.newest.get_or_insert(sample.at);
        if sample.at >= newest.minus(self.window) {
            self.newest = Some(newest.max(sample.at));
            self.behind = None;
            self.remember(sample);
            return sample.at.plus(self.stepped);
        }
        if self.is_repeat(sample) {
            return now;
        }
        let begun = Behind { first: sample.at, newest: sample.at, since: now };
        let runs_on = |behind: &Behind| sample.at >= behind.newest.minus(self.window);
        let mut behind = self.behind.filter(runs_on).unwrap_or(begun);
        behind.newest = behind.newest.max(sample.at);
        self.behind = Some(behind);
        let passed = behind.newest.since(behind.first);
        if passed >= STEP_AFTER {
            self.stepped = behind.since.since(behind.first);
            self.newest = Some(behind.newest);
            self.behind = None;
            self.remembered.clear();
        }
        behind.since.plus(passed)
    }

    fn remember(&mut self, sample: Sample) {
        let later = self.remembered.iter().rev().take_while(|known| known.at > sample.at).count();
        self.remembered.insert(self.remembered.len() - later, sample);
        if self.remembered.len() > REMEMBERED {
            self.remembered.pop_front();
        }
    }

    /// Whether the same channel gave the same at the same time before.
    fn is_repeat(&self, sample: Sample) -> bool {
        let from = self.remembered.partition_point(|known| known.at < sample.at);
        let same_time = self.remembered.range(from..).take_while(|known| known.at == sample.at);
        same_time.into_iter().any(|known| known.channel == sample.channel && same(known.value, sample.value))
    }
}

fn same(one: Value, other: Value) -> bool {
    match (one, other) {
        (Value::Number(one), Value::Number(other)) => one.to_bits() == other.to_bits(),
        (one, other) => one == other,
    }
}
