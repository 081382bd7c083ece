//! The heartbeat at a watcher.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::time::Duration;

use rinseward::alert::heartbeat::{Heartbeat, Recording};
use rinseward::config::delivery::{BeatMethod, HeartbeatSettings};
use tokio::time::Instant;
use tokio_util::sync::CancellationToken;

use super::peer::Peer;

/// A ledger that can be written, or not; it counts how often it could not.
#[derive(Clone, Default)]
struct Ledger {
    full: Arc<AtomicBool>,
    refused: Arc<AtomicUsize>,
}

impl Recording for Ledger {
    async fn prove(&self) -> Result<(), String> {
        if self.full.load(Ordering::SeqCst) {
            self.refused.fetch_add(1, Ordering::SeqCst);
            return Err("the disk is full".to_owned());
        }
        Ok(())
    }
}

impl Ledger {
    async fn until_refused(&self, times: usize) {
        let deadline = Instant::now() + Duration::from_secs(10);
        while self.refused.load(Ordering::SeqCst) < times {
            assert!(Instant::now() < deadline, "nobody asks for a proof");
            tokio::time::sleep(Duration::from_millis(5)).await;
        }
    }
}

// Own promise: no beat without a commit before it.
#[tokio::test(flavor = "multi_thread")]
async fn beats_while_something_can_be_recorded() {
    let watcher = Peer::start("webhook.py", &[]);
    let settings = HeartbeatSettings {
        url: format!("http://127.0.0.1:{}/beat", watcher.port()),
        method: BeatMethod::Get,
        every: Duration::from_millis(50),
        ca_file: None,
    };
    let ledger = Ledger::default();
    let stop = CancellationToken::new();
    let heartbeat = Heartbeat::prepare(settings).expect("legal settings");
    let running = tokio::spawn(heartbeat.run(ledger.clone(), stop.clone()));
    for _ in 0..3 {
        assert_eq!(watcher.next("a beat")["method"], "GET");
    }

    ledger.full.store(true, Ordering::SeqCst);
    // Each beat is answered before the next proof: what was heard by then was proven.
    ledger.until_refused(1).await;
    while watcher.heard().is_some() {}
    ledger.until_refused(5).await;
    watcher.assert_silent();

    ledger.full.store(false, Ordering::SeqCst);
    watcher.next("a beat again");
    stop.cancel();
    running.await.expect("it ends by itself");
}
