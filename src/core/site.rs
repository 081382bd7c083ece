//! All machines of the site behind the two calls that drive them.

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

impl Site {
    /// Applies one event at `now`; pushes what must be done, in order.
    pub fn handle(&mut self, _now: Timestamp, _event: Event, _effects: &mut Effects) {}

    /// When to send a tick, and to which machine, if nothing arrives. `None`: nothing is pending.
    #[must_use]
    pub fn deadline(&self) -> Option<(Timestamp, MachineId)> {
        None
    }
}
