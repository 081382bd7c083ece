//! Orderly end: the first signal asks, the second one does not.

use tokio::signal::unix::{Signal, SignalKind, signal};
use tokio_util::sync::CancellationToken;

/// Exit code after a second signal: 128 + SIGINT, as a shell reports it (POSIX XCU 2.8.2).
const INTERRUPTED: i32 = 130;

/// The signals that ask the program to end.
#[derive(Debug)]
pub struct Signals {
    terminate: Signal,
    interrupt: Signal,
}

impl Signals {
    /// Takes over SIGTERM and SIGINT.
    ///
    /// # Errors
    /// The system's, where a handler cannot be installed.
    pub fn take() -> std::io::Result<Self> {
        Ok(Self { terminate: signal(SignalKind::terminate())?, interrupt: signal(SignalKind::interrupt())? })
    }

    /// Cancels `stop` at the first signal and ends the process at the second.
    pub async fn watch(mut self, stop: CancellationToken) {
        let name = self.next().await;
        tracing::info!(signal = name, "stopping: draining and committing; a second signal ends at once");
        stop.cancel();
        let name = self.next().await;
        tracing::warn!(signal = name, "ended by a second signal; what was not committed is not acknowledged");
        std::process::exit(INTERRUPTED);
    }

    /// Waits for the first signal and leaves what follows to the caller.
    pub async fn first(mut self) {
        self.next().await;
    }

    async fn next(&mut self) -> &'static str {
        tokio::select! {
            _ = self.terminate.recv() => "SIGTERM",
            _ = self.interrupt.recv() => "SIGINT",
        }
    }
}
