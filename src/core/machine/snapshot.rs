//! The state of a machine handed out, so that a start needs few of the inputs before, and brought back.

use std::time::Duration;

use super::Machine;
use super::state::{STATE_VERSION, StaleState, State, signature};
use crate::core::effect::{Effect, Effects};
use crate::core::time::Timestamp;

/// Age of the last snapshot, by the gateway's clock or in event time, at which an idle machine
/// makes the next one.
const SNAPSHOT_EVERY: Duration = Duration::from_secs(60);
/// The same in the middle of a cycle, where the state is large: a node may fall silent there
/// for months, and what came since the last snapshot is applied again at every start.
const SNAPSHOT_EVERY_UNDER_WAY: Duration = Duration::from_secs(600);

impl Machine {
    /// Hands the state out, whatever its age, so that no input before is needed any more.
    pub fn keep(&mut self, now: Timestamp, effects: &mut Effects) {
        self.hand_out(now, effects);
    }

    /// The service started at `now`: what no probe could tell before counts as no probe's silence. No input and not
    /// stored as one: the state that knows it is handed out at once.
    pub fn resume(&mut self, now: Timestamp, effects: &mut Effects) {
        self.state.channels.iter_mut().for_each(|channel| channel.presence.resume(now));
        self.hand_out(now, effects);
    }

    /// Brings back a stored state.
    ///
    /// # Errors
    /// [`StaleState`] where it is not of this version or not of this machine; nothing is changed then.
    pub fn restore(&mut self, state: &[u8]) -> Result<(), StaleState> {
        let state: State = serde_json::from_slice(state).map_err(StaleState::Unreadable)?;
        if state.version != STATE_VERSION {
            return Err(StaleState::Version { found: state.version });
        }
        if state.signature != signature(&self.profile, &self.channels) {
            return Err(StaleState::Machine);
        }
        self.state = state;
        Ok(())
    }

    /// Begins anew, as if nothing had been heard; the inputs so far are not needed any more.
    pub fn renew(&mut self, now: Timestamp, effects: &mut Effects) {
        self.state = State::new(&self.profile, &self.channels);
        self.snapshot(now, effects);
    }

    /// Hands the state out where the last one has become old, so that no input is needed for
    /// long: a new start applies again what came since, and the ledger keeps it aside.
    pub(super) fn snapshot(&mut self, now: Timestamp, effects: &mut Effects) {
        self.state.changed = true;
        let of = self.state.reorder.released();
        let age_s = |at: Timestamp, before: Option<Timestamp>| {
            before.map_or(f64::INFINITY, |before| at.seconds_since(before).abs())
        };
        let event_age_s = of.map_or(0.0, |of| age_s(of, self.state.snapshot_of));
        if age_s(now, self.state.snapshot_at).max(event_age_s) < self.snapshot_every().as_secs_f64() {
            return;
        }
        self.hand_out(now, effects);
    }

    pub(super) fn hand_out(&mut self, now: Timestamp, effects: &mut Effects) {
        self.state.snapshot_at = Some(now);
        self.state.snapshot_of = self.state.reorder.released();
        self.state.changed = false;
        let state = serde_json::to_vec(&self.state).expect("a state holds nothing that JSON cannot print");
        effects.push(Effect::Snapshot { machine: self.id, state });
    }

    /// When a snapshot is due although nothing arrives.
    pub(super) fn snapshot_deadline(&self) -> Option<Timestamp> {
        let last = self.state.snapshot_at.filter(|_| self.state.changed)?;
        Some(last.plus(self.snapshot_every()))
    }

    fn snapshot_every(&self) -> Duration {
        if self.state.tracker.is_idle() { SNAPSHOT_EVERY } else { SNAPSHOT_EVERY_UNDER_WAY }
    }
}
