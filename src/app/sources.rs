//! Every source as a task of its own, each run on a link of its own.

use std::convert::Infallible;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use tokio::sync::{mpsc, watch};
use tokio_util::sync::CancellationToken;

use crate::config::source::{Source, SourceKind};
use crate::core::id::SourceId;
use crate::probe::FromSource;
use crate::probe::replay::ReplayProbe;
use crate::probe::serial::SerialProbe;
use crate::runtime::clock::Clock;
use crate::runtime::driver::{Inbound, Link};
use crate::runtime::supervisor::Supervisor;

/// Messages between a source and its link.
const LINK_MAX: usize = 64;

/// What every source needs.
#[derive(Clone, Debug)]
pub(super) struct Surroundings {
    pub(super) clock: Clock,
    pub(super) stop: CancellationToken,
    pub(super) inbound: mpsc::Sender<Inbound>,
    pub(super) links: Arc<AtomicU64>,
}

/// Starts all sources. Their end of the channel closes when the last of them has ended.
pub(super) fn start(supervisor: &mut Supervisor, sources: &[Source], surroundings: &Surroundings) {
    for (number, source) in (0_u16..).zip(sources) {
        let (source, around) = (source.clone(), surroundings.clone());
        supervisor.keep_running(format!("source {}", source.name), move || {
            run(SourceId(number), source.clone(), around.clone())
        });
    }
}

async fn run(id: SourceId, source: Source, around: Surroundings) -> Result<(), Infallible> {
    let link = Link {
        id: around.links.fetch_add(1, Ordering::Relaxed),
        committed: watch::Sender::new(0),
        eager_after: None,
    };
    let (to, messages) = mpsc::channel(LINK_MAX);
    let clock = around.clock.clone();
    let now = move || clock.now();
    let (name, directory) = (source.name, source.directory);
    match source.kind {
        SourceKind::Serial(settings) => {
            let probe = SerialProbe { source: id, name, settings, directory, now };
            tokio::join!(probe.run(to, around.stop), forward(messages, &around.inbound, link));
        }
        SourceKind::Replay(settings) => {
            let probe = ReplayProbe { source: id, name, settings, directory, now };
            tokio::join!(probe.run(to, around.stop), forward(messages, &around.inbound, link));
        }
        SourceKind::Mqtt(_) => {}
    }
    Ok(())
}

async fn forward(mut messages: mpsc::Receiver<FromSource>, inbound: &mpsc::Sender<Inbound>, link: Link) {
    while let Some(message) = messages.recv().await {
        if inbound.send(Inbound { link: link.clone(), message }).await.is_err() {
            return;
        }
    }
}
