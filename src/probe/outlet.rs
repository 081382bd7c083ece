//! Where a source that owns a port hands over what it has, and why it stops.

use tokio::sync::mpsc;
use tokio_util::sync::CancellationToken;

use super::{Delivery, FromSource, SourceState, UnitState};
use crate::core::id::{ChannelId, SourceId};
use crate::core::time::Timestamp;
use crate::wire::decoded::Decoded;

/// Why the work at a port or a connection ended.
pub(super) enum Stop {
    /// The application is ending.
    Asked,
    /// The port or the connection failed; the text is for people.
    Failed(String),
}

/// Where deliveries and states go. Stays over every opening of the port.
pub(super) struct Outlet {
    source: SourceId,
    to: mpsc::Sender<FromSource>,
    stop: CancellationToken,
    number: u64,
    /// The state told last.
    state: Option<SourceState>,
}

impl Outlet {
    pub(super) const fn new(source: SourceId, to: mpsc::Sender<FromSource>, stop: CancellationToken) -> Self {
        Self { source, to, stop, number: 0, state: None }
    }

    /// What says that the application is ending.
    pub(super) const fn stop(&self) -> &CancellationToken {
        &self.stop
    }

    /// Whether the last state that was told is that nothing can be read.
    pub(super) const fn is_down(&self) -> bool {
        matches!(self.state, Some(SourceState::Down { .. }))
    }

    /// Hands over what arrived together, under the next number.
    pub(super) async fn deliver(&mut self, received: Timestamp, decoded: Decoded) -> Result<(), Stop> {
        self.number += 1;
        let Decoded { samples, refusals } = decoded;
        let (source, number) = (self.source, self.number);
        self.send(FromSource::Delivery(Delivery { source, number, received, messages: 1, samples, refusals }))
            .await
    }

    /// Tells a state that differs from the last one.
    pub(super) async fn state(&mut self, state: SourceState) -> Result<(), Stop> {
        if self.state.as_ref() == Some(&state) {
            return Ok(());
        }
        self.state = Some(state.clone());
        self.send(FromSource::State { source: self.source, state }).await
    }

    /// Tells how a unit answers the request for these channels.
    pub(super) async fn unit(
        &self,
        unit: u8,
        channels: Vec<ChannelId>,
        state: UnitState,
    ) -> Result<(), Stop> {
        self.send(FromSource::Unit { source: self.source, unit, channels, state }).await
    }

    /// Waits for room; what is read when the program ends still goes out where there is room.
    async fn send(&self, message: FromSource) -> Result<(), Stop> {
        tokio::select! {
            biased;
            sent = self.to.send(message) => sent.map_err(|_| Stop::Asked),
            () = self.stop.cancelled() => Err(Stop::Asked),
        }
    }
}
