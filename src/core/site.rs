//! All machines of the site behind the calls that drive them.

use super::channel::Channel;
use super::cycle::plate::Profile;
use super::effect::Effects;
use super::id::MachineId;
use super::machine::{Counts, Machine};
use super::reading::Sample;
use super::time::Timestamp;

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

/// A stored state that cannot be used.
#[derive(Debug, thiserror::Error)]
#[error("the stored state of a machine is not of this version")]
pub struct StaleState(#[source] serde_json::Error);

/// All machines of the site.
#[derive(Clone, Debug)]
pub struct Site {
    machines: Vec<Machine>,
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
                Machine::new(id, profile.clone(), channels)
            })
            .collect();
        Self { machines, routes }
    }

    /// Applies one event at `now`; pushes what must be done, in order.
    pub fn handle(&mut self, now: Timestamp, event: Event, effects: &mut Effects) {
        match event {
            Event::Sample(sample) => {
                let Some((machine, local)) = self.routes.get(usize::from(sample.channel.0)).copied() else {
                    return;
                };
                self.machines[usize::from(machine.0)].sample(now, local, sample, effects);
            }
            Event::Tick(machine) => {
                if let Some(machine) = self.machines.get_mut(usize::from(machine.0)) {
                    machine.tick(now, effects);
                }
            }
            Event::End(machine) => {
                if let Some(machine) = self.machines.get_mut(usize::from(machine.0)) {
                    machine.finish(now, effects);
                }
            }
        }
    }

    /// When to send a tick, and to which machine, if nothing arrives. `None`: nothing is pending.
    #[must_use]
    pub fn deadline(&self) -> Option<(Timestamp, MachineId)> {
        let of = |(id, machine): (usize, &Machine)| {
            Some((machine.deadline()?, MachineId(u16::try_from(id).ok()?)))
        };
        self.machines.iter().enumerate().filter_map(of).min()
    }

    /// Puts a machine back to a state from [`super::effect::Effect::Snapshot`].
    ///
    /// # Errors
    /// [`StaleState`] where another version or another configuration made it; the machine is left as new.
    pub fn restore(&mut self, machine: MachineId, state: &[u8]) -> Result<(), StaleState> {
        match self.machines.get_mut(usize::from(machine.0)) {
            Some(machine) => machine.restore(state).map_err(StaleState),
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
        self.machines.iter().filter_map(Machine::released).max()
    }

    /// What became of the samples of a machine since the last call.
    pub fn take_counts(&mut self, machine: MachineId) -> Counts {
        self.machines.get_mut(usize::from(machine.0)).map(Machine::take_counts).unwrap_or_default()
    }
}
