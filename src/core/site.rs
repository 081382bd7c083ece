//! All machines of the site behind the two calls that drive them.

use super::channel::Channel;
use super::cycle::plate::Profile;
use super::effect::Effects;
use super::id::MachineId;
use super::reading::Sample;
use super::time::Timestamp;

/// Something that happened to one machine.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Event {
    /// A source delivered a value.
    Sample(Sample),
    /// The instant of [`Site::deadline`] has come for this machine.
    Tick(MachineId),
}

/// All machines of the site.
#[derive(Debug, Default)]
pub struct Site {}

/// A stored state that cannot be used.
#[derive(Debug, thiserror::Error)]
#[error("the stored state of a machine is not of this version")]
pub struct StaleState;

impl Site {
    /// Takes the machines and channels of the site, each at the place of its number.
    #[must_use]
    pub fn new(_machines: &[Profile], _channels: &[Channel]) -> Self {
        Self {}
    }

    /// Puts a machine back to a state from [`super::effect::Effect::Snapshot`].
    ///
    /// # Errors
    /// [`StaleState`] where another version made it; the machine is left as new.
    pub fn restore(&mut self, _machine: MachineId, _state: &[u8]) -> Result<(), StaleState> {
        Ok(())
    }

    /// The machine that an event is about.
    #[must_use]
    pub fn machine_of(&self, event: &Event) -> MachineId {
        match event {
            Event::Tick(machine) => *machine,
            Event::Sample(_) => MachineId(0),
        }
    }

    /// Applies one event at `now`; pushes what must be done, in order.
    pub fn handle(&mut self, _now: Timestamp, _event: Event, _effects: &mut Effects) {}

    /// When to send a tick, and to which machine, if nothing arrives. `None`: nothing is pending.
    #[must_use]
    pub fn deadline(&self) -> Option<(Timestamp, MachineId)> {
        None
    }
}
