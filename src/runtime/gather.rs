//! Applies inputs to the core in order and gathers what they cause into the next commit.
//!
//! Both the daemon and `replay` drive the core through here, so that both put the
//! same things on record. Invariants: inputs are numbered without a hole; a record
//! stands in the commit of the input that caused it; `settled` never passes an
//! input that some machine needs to come back to where it is.

use std::collections::BTreeMap;
use std::fmt;

use crate::core::channel::Probe;
use crate::core::counted::Noun;
use crate::core::effect::{Effect, Effects};
use crate::core::id::{ChannelId, MachineId};
use crate::core::machine::{Counts, Work};
use crate::core::reader::Language;
use crate::core::reading::Sample;
use crate::core::record::{Body, Record};
use crate::core::site::{Entered, Event, Site};
use crate::core::time::Timestamp;
use crate::ledger::{Commit, Input, MachineSnapshot, NewRecord};

/// Most ticks that one call applies. A core that asks for more in one instant is at
/// fault; the rest follows with the next call, so that inputs are never locked out.
const TICKS_MAX: u32 = 10_000;

/// The core, and the commit that is being gathered.
#[derive(Debug)]
pub struct Gather {
    site: Site,
    next_input: u64,
    /// Per machine the first input that is not in its last snapshot.
    needed_from: BTreeMap<MachineId, u64>,
    inputs: Vec<Input>,
    records: Vec<NewRecord>,
    snapshots: BTreeMap<MachineId, MachineSnapshot>,
    effects: Effects,
    urgent: bool,
}

impl Gather {
    /// Takes the core; `next_input` is the number of the first input to come.
    #[must_use]
    pub fn new(site: Site, next_input: u64) -> Self {
        Self {
            site,
            next_input,
            needed_from: BTreeMap::new(),
            inputs: Vec::new(),
            records: Vec::new(),
            snapshots: BTreeMap::new(),
            effects: Effects::new(),
            urgent: false,
        }
    }

    /// Brings the machines back to where they were: their snapshots, then the inputs
    /// after those, each at its own time. What these inputs put on record then is on
    /// record already, and is dropped. Returns how many inputs were applied.
    pub fn recover(&mut self, snapshots: &[MachineSnapshot], inputs: &[(u64, Input)]) -> u64 {
        let mut after = BTreeMap::new();
        for snapshot in snapshots {
            after.insert(snapshot.machine, snapshot.after);
            if let Err(error) = self.site.restore(snapshot.machine, &snapshot.state) {
                let error = &error as &dyn std::error::Error;
                tracing::warn!(machine = snapshot.machine.0, error, "a machine starts without its past");
            }
        }
        let mut applied = 0;
        for (number, input) in inputs {
            let Some(machine) = self.site.machine_of(&input.event) else {
                continue;
            };
            if after.get(&machine).is_some_and(|after| number <= after) {
                continue;
            }
            applied += 1;
            self.needed_from.entry(machine).or_insert(*number);
            self.site.handle(input.now, input.event, &mut self.effects);
            for effect in std::mem::take(&mut self.effects) {
                match effect {
                    Effect::Record { .. } => {}
                    Effect::Snapshot { machine, state } => self.keep_snapshot(machine, *number, state),
                }
            }
        }
        applied
    }

    /// From here on readings of the past are applied, see [`Site::follow`].
    pub fn follow(&mut self, course: impl IntoIterator<Item = (Timestamp, ChannelId, Probe)>) {
        self.site.follow(course);
    }

    /// From here on readings are applied as they come, see [`Site::live`].
    pub fn live(&mut self) {
        self.site.live();
    }

    /// The service has started after a time without it, see [`Site::resume`]: the state that knows it goes into the
    /// first commit.
    pub fn resume(&mut self, now: Timestamp) {
        let mut effects = std::mem::take(&mut self.effects);
        self.site.resume(now, &mut effects);
        self.gather(self.next_input - 1, &mut effects);
        self.effects = effects;
    }

    /// Takes what a person enters, and gives the place of its record in this commit. It is
    /// no input: the machine's state goes into the same commit.
    pub fn enter(&mut self, now: Timestamp, machine: MachineId, entered: Entered) -> Option<usize> {
        let mut effects = std::mem::take(&mut self.effects);
        self.site.enter(now, machine, entered, &mut effects);
        let before = self.records.len();
        self.gather(self.next_input - 1, &mut effects);
        self.effects = effects;
        self.urgent = true;
        // What was entered is the last record that it causes.
        self.records.len().checked_sub(1).filter(|place| *place >= before)
    }

    /// Tells a machine when somebody works on it. That is on record already.
    pub fn work(&mut self, machine: MachineId, work: Vec<Work>) {
        self.site.work(machine, work);
    }

    /// Applies one event at `now`. A channel that is not configured has no machine, and
    /// is left out.
    pub fn apply(&mut self, now: Timestamp, event: Event) {
        let Some(machine) = self.site.machine_of(&event) else {
            return;
        };
        let number = self.next_input;
        self.next_input += 1;
        self.inputs.push(Input { now, event });
        self.needed_from.entry(machine).or_insert(number);
        let mut effects = std::mem::take(&mut self.effects);
        self.site.handle(now, event, &mut effects);
        self.gather(number, &mut effects);
        self.effects = effects;
    }

    /// Takes a reading that is stored and not judged, as of a time that was judged before.
    /// After the last one [`Gather::settle`] must follow in the same commit: a new start would
    /// apply it otherwise.
    pub fn store(&mut self, now: Timestamp, sample: Sample) {
        self.next_input += 1;
        self.inputs.push(Input { now, event: Event::Sample(sample) });
    }

    /// Lets every machine hand out its state, so that a new start needs no input so far.
    pub fn settle(&mut self, now: Timestamp) {
        let mut effects = std::mem::take(&mut self.effects);
        self.site.keep(now, &mut effects);
        self.gather(self.next_input - 1, &mut effects);
        self.effects = effects;
    }

    /// Event time up to which this machine is judged.
    #[must_use]
    pub fn released_of(&self, machine: MachineId) -> Option<Timestamp> {
        self.site.released_of(machine)
    }

    /// The machines where a rack may be under way, each with since when.
    #[must_use]
    pub fn under_way(&self) -> BTreeMap<MachineId, Timestamp> {
        self.site.under_way().collect()
    }

    /// Takes what came of the inputs up to `number`.
    fn gather(&mut self, number: u64, effects: &mut Effects) {
        for effect in effects.drain(..) {
            match effect {
                Effect::Record { record, trace } => {
                    if let Body::MachineFailure(failure) = &record.body {
                        let machine = record.machine.as_deref().unwrap_or_default();
                        let (cause, stopped) = (&failure.cause, failure.stopped);
                        tracing::error!(
                            machine,
                            %cause,
                            stopped,
                            "a mistake in rinseward ended the judging of a machine; please report it"
                        );
                    }
                    self.urgent |= record.body.is_urgent();
                    self.records.push(NewRecord { record: *record, trace: trace.map(|trace| *trace) });
                }
                Effect::Snapshot { machine, state } => self.keep_snapshot(machine, number, state),
            }
        }
    }

    /// Sends every tick that is due at `now`, at `now`.
    pub fn tick(&mut self, now: Timestamp) {
        self.tick_at(now, |_| now);
    }

    /// Sends every tick that is due at `now`, each at the instant it is due: for
    /// input that comes faster than time passes.
    pub fn tick_as_due(&mut self, now: Timestamp) {
        self.tick_at(now, |due| due);
    }

    fn tick_at(&mut self, now: Timestamp, at: impl Fn(Timestamp) -> Timestamp) {
        for _ in 0..TICKS_MAX {
            match self.site.deadline() {
                Some((due, machine)) if due <= now => self.apply(at(due), Event::Tick(machine)),
                Some(_) | None => return,
            }
        }
        tracing::error!(ticks = TICKS_MAX, "the core asks for ticks without end");
    }

    /// When the next tick is due.
    #[must_use]
    pub fn deadline(&self) -> Option<Timestamp> {
        self.site.deadline().map(|(due, _)| due)
    }

    /// Latest event time up to which a machine is judged.
    #[must_use]
    pub fn released(&self) -> Option<Timestamp> {
        self.site.released()
    }

    /// What became of the samples of all machines since the last call.
    pub fn take_counts(&mut self) -> Counts {
        let mut sum = Counts::default();
        for machine in self.site.machines() {
            let counts = self.site.take_counts(machine);
            sum.taken += counts.taken;
            sum.repeated += counts.repeated;
            sum.late += counts.late;
        }
        sum
    }

    /// Puts something on record that no input caused.
    pub fn record(&mut self, record: Record) {
        self.urgent |= record.body.is_urgent();
        self.records.push(NewRecord { record, trace: None });
    }

    /// Inputs gathered since the last [`Gather::take`].
    #[must_use]
    pub fn inputs(&self) -> usize {
        self.inputs.len()
    }

    /// What was gathered since the last [`Gather::take`].
    pub(super) const fn left(&self) -> Left {
        Left::of(self.inputs.as_slice(), self.records.as_slice())
    }

    /// Whether there is nothing to commit.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.inputs.is_empty() && self.records.is_empty() && self.snapshots.is_empty()
    }

    /// Whether a gathered record must be committed at once.
    #[must_use]
    pub fn is_urgent(&self) -> bool {
        self.urgent
    }

    /// Takes what was gathered.
    pub fn take(&mut self) -> Commit {
        self.urgent = false;
        Commit {
            inputs: std::mem::take(&mut self.inputs),
            records: std::mem::take(&mut self.records),
            snapshots: std::mem::take(&mut self.snapshots).into_values().collect(),
            settled: self.settled(),
        }
    }

    /// The last input that no machine needs for recovery.
    fn settled(&self) -> u64 {
        let needed = self.needed_from.values().copied().min().unwrap_or(self.next_input);
        needed.saturating_sub(1)
    }

    fn keep_snapshot(&mut self, machine: MachineId, after: u64, state: Vec<u8>) {
        self.needed_from.remove(&machine);
        self.snapshots.insert(machine, MachineSnapshot { machine, after, state });
    }
}

/// What waits to be committed.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct Left {
    /// Readings and ticks.
    pub inputs: usize,
    /// Records, the one of the stop among them.
    pub records: usize,
}

impl Left {
    pub(super) const fn of(inputs: &[Input], records: &[NewRecord]) -> Self {
        Self { inputs: inputs.len(), records: records.len() }
    }

    pub(super) const fn and(self, other: Self) -> Self {
        Self { inputs: self.inputs + other.inputs, records: self.records + other.records }
    }
}

impl fmt::Display for Left {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let counted = |count: usize, noun: Noun| noun.of(count as u64, Language::English);
        let records = counted(self.records, Noun::Records);
        match self.inputs {
            0 => f.write_str(&records),
            inputs => write!(f, "{} and {records}", counted(inputs, Noun::Inputs)),
        }
    }
}

#[cfg(test)]
mod tests;
