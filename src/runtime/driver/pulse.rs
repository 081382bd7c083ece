//! Whether the driver still turns: asked by whoever restarts a gateway that hangs; and at which machines something runs.

use std::collections::BTreeMap;
use std::time::Duration;

use tokio::sync::{mpsc, oneshot};
use tokio::time::timeout;

use crate::core::id::MachineId;
use crate::core::time::Timestamp;

/// The machines where a rack may be under way, each with since when.
pub(super) type UnderWay = BTreeMap<MachineId, Timestamp>;

/// Those who feel the pulse at once; one more waits for a place.
const ASKING_MAX: usize = 4;

/// Asks a driver for a sign of life.
#[derive(Clone, Debug)]
pub struct Pulse(mpsc::Sender<oneshot::Sender<UnderWay>>);

/// The driver's end of a [`Pulse`].
#[derive(Debug)]
pub(super) struct Asked(mpsc::Receiver<oneshot::Sender<UnderWay>>);

pub(super) fn pulse() -> (Pulse, Asked) {
    let (sender, receiver) = mpsc::channel(ASKING_MAX);
    (Pulse(sender), Asked(receiver))
}

impl Pulse {
    /// Whether the driver answers within this time. It answers between two turns of its
    /// loop, also while the ledger lets it wait: a slow disk is no reason to end it.
    pub async fn beats_within(&self, limit: Duration) -> bool {
        timeout(limit, self.ask()).await.is_ok_and(|answer| answer.is_some())
    }

    /// Since when a rack may be under way at a machine: a run by its signal, or what may be a final rinse. `None` also
    /// where the driver does not answer within this time.
    pub async fn under_way_since(&self, machine: MachineId, limit: Duration) -> Option<Timestamp> {
        timeout(limit, self.ask()).await.ok()??.get(&machine).copied()
    }

    async fn ask(&self) -> Option<UnderWay> {
        let (answer, answered) = oneshot::channel();
        self.0.send(answer).await.ok()?;
        answered.await.ok()
    }
}

impl Asked {
    /// The next one who asks; never where nobody can.
    pub(super) async fn next(asked: &mut Option<Self>) -> Option<oneshot::Sender<UnderWay>> {
        match asked {
            Some(asked) => asked.0.recv().await,
            None => std::future::pending().await,
        }
    }
}
