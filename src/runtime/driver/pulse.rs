//! Whether the driver still turns: asked by whoever restarts a gateway that hangs.

use std::time::Duration;

use tokio::sync::{mpsc, oneshot};
use tokio::time::timeout;

/// Those who feel the pulse at once; one more waits for a place.
const ASKING_MAX: usize = 4;

/// Asks a driver for a sign of life.
#[derive(Clone, Debug)]
pub struct Pulse(mpsc::Sender<oneshot::Sender<()>>);

/// The driver's end of a [`Pulse`].
#[derive(Debug)]
pub(super) struct Asked(mpsc::Receiver<oneshot::Sender<()>>);

pub(super) fn pulse() -> (Pulse, Asked) {
    let (sender, receiver) = mpsc::channel(ASKING_MAX);
    (Pulse(sender), Asked(receiver))
}

impl Pulse {
    /// Whether the driver answers within this time. It answers between two turns of its
    /// loop, also while the ledger lets it wait: a slow disk is no reason to end it.
    pub async fn beats_within(&self, limit: Duration) -> bool {
        let (answer, answered) = oneshot::channel();
        let asked = async { self.0.send(answer).await.is_ok() && answered.await.is_ok() };
        timeout(limit, asked).await.unwrap_or(false)
    }
}

impl Asked {
    /// The next one who asks; never where nobody can.
    pub(super) async fn next(asked: &mut Option<Self>) -> Option<oneshot::Sender<()>> {
        match asked {
            Some(asked) => asked.0.recv().await,
            None => std::future::pending().await,
        }
    }
}
