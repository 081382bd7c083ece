//! All machines of the site behind the calls that drive them.

use std::any::Any;
use std::panic::{AssertUnwindSafe, catch_unwind};

use super::channel::{Channel, Probe};
use super::cycle::judge::Concentration;
use super::cycle::plate::Profile;
use super::effect::Effects;
use super::id::{ChannelId, MachineId};
use super::machine::{Counts, Machine, StaleState, Work};
use super::reading::Sample;
use super::record::{Amendment, Body, Check, MachineFailure};
use super::time::Timestamp;

#[cfg(test)]
mod tests;

/// A machine that has failed this often is left alone until the service starts again.
const FAILURES_MAX: u32 = 3;
/// How often a machine that is left alone lets go of its inputs, s.
const LET_GO_EVERY_S: f64 = 60.0;

/// Something that happened to one machine.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Event {
    /// A source delivered a value.
    Sample(Sample),
    /// The instant of [`Site::deadline`] has come for this machine.
    Tick(MachineId),
    /// No more input will come for this machine.
    End(MachineId),
}

/// What a person enters of a machine, as far as cycles are judged by it.
#[derive(Clone, PartialEq, Debug)]
pub enum Entered {
    /// A check.
    Check(Check),
    /// A concentration was withdrawn or corrected.
    Amended {
        /// What goes on record.
        amendment: Box<Amendment>,
        /// The concentration as it stood.
        was: Concentration,
        /// Those that count, the corrected one among them.
        standing: Vec<Concentration>,
    },
    /// A probe was calibrated or its response measured, or such a record was withdrawn.
    Probe {
        /// Its channel.
        channel: ChannelId,
        /// The probe with what is in force from here on.
        probe: Box<Probe>,
        /// What goes on record.
        body: Box<Body>,
    },
    /// Somebody works or worked on the machine in these times; that is on record already, see [`Machine::work`].
    Work(Vec<Work>),
}

/// A machine, and what is known of its own failures.
#[derive(Clone, Debug)]
struct Place {
    machine: Machine,
    failures: u32,
    let_go: Option<Timestamp>,
}

/// All machines of the site. A mistake in the judging of one is contained here: it is put on
/// record, the machine begins anew, and the others never notice.
#[derive(Clone, Debug)]
pub struct Site {
    machines: Vec<Place>,
    /// By channel: its machine, and its place among that machine's channels.
    routes: Vec<(MachineId, usize)>,
}

impl Site {
    /// Takes the machines and channels of the site, each at the place of its number.
    ///
    /// # Panics
    /// Where there are more than 65,536 machines; the configuration refuses that.
    #[must_use]
    pub fn new(machines: &[Profile], channels: &[Channel]) -> Self {
        let mut own: Vec<Vec<Channel>> = vec![Vec::new(); machines.len()];
        let mut routes = Vec::with_capacity(channels.len());
        for channel in channels {
            let place = usize::from(channel.machine.0);
            routes.push((channel.machine, own[place].len()));
            own[place].push(channel.clone());
        }
        let machines = machines
            .iter()
            .zip(own)
            .enumerate()
            .map(|(id, (profile, channels))| {
                let id = MachineId(u16::try_from(id).expect("at most 65,536 machines"));
                Place { machine: Machine::new(id, profile.clone(), channels), failures: 0, let_go: None }
            })
            .collect();
        Self { machines, routes }
    }

    /// Applies one event at `now`; pushes what must be done, in order.
    pub fn handle(&mut self, now: Timestamp, event: Event, effects: &mut Effects) {
        let local = match event {
            Event::Sample(sample) => self.routes.get(usize::from(sample.channel.0)).map(|(_, local)| *local),
            Event::Tick(_) | Event::End(_) => None,
        };
        let place = self.machine_of(&event).and_then(|id| self.machines.get_mut(usize::from(id.0)));
        let Some(place) = place else { return };
        place.contained(now, effects, |machine, effects| match (event, local) {
            (Event::Sample(sample), Some(local)) => machine.sample(now, local, sample, effects),
            (Event::Sample(_), None) => {}
            (Event::Tick(_), _) => machine.tick(now, effects),
            (Event::End(_), _) => machine.finish(now, effects),
        });
    }

    /// From here on readings of the past are judged, each by what was in force when it was measured: since
    /// when each probe was as it is told, in order of time.
    pub fn follow(&mut self, course: impl IntoIterator<Item = (Timestamp, ChannelId, Probe)>) {
        for (since, channel, probe) in course {
            let Some((machine, local)) = self.routes.get(usize::from(channel.0)).copied() else { continue };
            if let Some(place) = self.machines.get_mut(usize::from(machine.0)) {
                place.machine.follow(since, local, probe);
            }
        }
    }

    /// From here on what is in force last is so for every reading, as it comes.
    pub fn live(&mut self) {
        self.machines.iter_mut().for_each(|place| place.machine.live());
    }

    /// Tells a machine when somebody works on it, see [`Machine::work`].
    pub fn work(&mut self, machine: MachineId, work: Vec<Work>) {
        if let Some(place) = self.machines.get_mut(usize::from(machine.0)) {
            place.machine.work(work);
        }
    }

    /// Takes what a person enters. It is on record whatever the machine's state; a
    /// concentration counts for the cycles that end after it. No input: see [`Machine::check`].
    pub fn enter(&mut self, now: Timestamp, machine: MachineId, entered: Entered, effects: &mut Effects) {
        let Some(place) = self.machines.get_mut(usize::from(machine.0)) else { return };
        let body = match entered {
            Entered::Check(check) => {
                if let Some(measured) = Concentration::of(&check) {
                    place.contained(now, effects, |machine, effects| machine.check(now, measured, effects));
                }
                Body::Check(check)
            }
            Entered::Amended { amendment, was, standing } => {
                place.contained(now, effects, |machine, effects| {
                    machine.amend(now, was, &standing, effects);
                });
                Body::Amendment(amendment)
            }
            Entered::Probe { channel, probe, body } => {
                let local = self.routes.get(usize::from(channel.0)).filter(|(own, _)| *own == machine);
                if let Some((_, local)) = local {
                    place.contained(now, effects, |machine, effects| {
                        machine.put_in_force(now, *local, *probe, effects);
                    });
                }
                *body
            }
            Entered::Work(work) => {
                place.machine.work(work);
                return;
            }
        };
        place.machine.record(now, body, None, effects);
    }

    /// Hands out the state of every machine, so that no input before is needed any more.
    pub fn keep(&mut self, now: Timestamp, effects: &mut Effects) {
        for place in &mut self.machines {
            place.contained(now, effects, |machine, effects| machine.keep(now, effects));
        }
    }

    /// The service has started after a time without it, see [`Machine::resume`].
    pub fn resume(&mut self, now: Timestamp, effects: &mut Effects) {
        for place in &mut self.machines {
            place.contained(now, effects, |machine, effects| machine.resume(now, effects));
        }
    }

    /// When to send a tick, and to which machine, if nothing arrives. `None`: nothing is pending.
    #[must_use]
    pub fn deadline(&self) -> Option<(Timestamp, MachineId)> {
        let of = |(id, place): (usize, &Place)| {
            let deadline = (place.failures < FAILURES_MAX).then(|| place.machine.deadline())??;
            Some((deadline, MachineId(u16::try_from(id).ok()?)))
        };
        self.machines.iter().enumerate().filter_map(of).min()
    }

    /// Puts a machine back to a state from [`super::effect::Effect::Snapshot`].
    ///
    /// # Errors
    /// [`StaleState`] where another version or another configuration made it; the machine is left as new.
    pub fn restore(&mut self, machine: MachineId, state: &[u8]) -> Result<(), StaleState> {
        match self.machines.get_mut(usize::from(machine.0)) {
            Some(place) => place.machine.restore(state),
            None => Ok(()),
        }
    }

    /// The machine that an event is about; `None` for a channel that is not configured.
    #[must_use]
    pub fn machine_of(&self, event: &Event) -> Option<MachineId> {
        match event {
            Event::Tick(machine) | Event::End(machine) => Some(*machine),
            Event::Sample(sample) => {
                self.routes.get(usize::from(sample.channel.0)).map(|(machine, _)| *machine)
            }
        }
    }

    /// Every machine of the site.
    pub fn machines(&self) -> impl Iterator<Item = MachineId> + use<> {
        (0..self.machines.len()).filter_map(|id| u16::try_from(id).ok().map(MachineId))
    }

    /// Latest event time up to which a machine is judged.
    #[must_use]
    pub fn released(&self) -> Option<Timestamp> {
        self.machines.iter().filter_map(|place| place.machine.released()).max()
    }

    /// Event time up to which this machine is judged; `None` where nothing is yet.
    #[must_use]
    pub fn released_of(&self, machine: MachineId) -> Option<Timestamp> {
        self.machines.get(usize::from(machine.0)).and_then(|place| place.machine.released())
    }

    /// The machines where a run, or what may be a final rinse, is under way, each with since when.
    pub fn under_way(&self) -> impl Iterator<Item = (MachineId, Timestamp)> {
        let since = |place: &Place| place.machine.under_way_since();
        self.machines().zip(&self.machines).filter_map(move |(id, place)| Some((id, since(place)?)))
    }

    /// What became of the samples of a machine since the last call.
    pub fn take_counts(&mut self, machine: MachineId) -> Counts {
        self.machines
            .get_mut(usize::from(machine.0))
            .map(|place| place.machine.take_counts())
            .unwrap_or_default()
    }
}

impl Place {
    /// Does `work` with the machine; a panic in it becomes a record.
    fn contained(
        &mut self,
        now: Timestamp,
        effects: &mut Effects,
        work: impl FnOnce(&mut Machine, &mut Effects),
    ) {
        if self.failures >= FAILURES_MAX {
            self.let_go(now, effects);
            return;
        }
        let before = effects.len();
        // The machine is renewed after a panic, and what it had asked for is dropped: nothing of a
        // broken state is ever seen.
        let result = catch_unwind(AssertUnwindSafe(|| work(&mut self.machine, effects)));
        let Err(panic) = result else { return };
        effects.truncate(before);
        self.failures += 1;
        self.let_go = None;
        self.let_go(now, effects);
        let stopped = self.failures >= FAILURES_MAX;
        let failure = MachineFailure { cause: words_of(panic.as_ref()), stopped };
        self.machine.record(now, Body::MachineFailure(failure), None, effects);
    }

    /// Begins anew and lets go of the inputs so far, so that they hold nobody back.
    fn let_go(&mut self, now: Timestamp, effects: &mut Effects) {
        if self.let_go.is_none_or(|at| now.seconds_since(at).abs() >= LET_GO_EVERY_S) {
            self.let_go = Some(now);
            self.machine.renew(now, effects);
        }
    }
}

/// What a panic says.
fn words_of(panic: &(dyn Any + Send)) -> String {
    let text = panic.downcast_ref::<&str>().copied();
    let text = text.or_else(|| panic.downcast_ref::<String>().map(String::as_str));
    text.unwrap_or("a panic without words").chars().take(200).collect()
}
