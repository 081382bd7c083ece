//! Signs of life for an outside watcher, since a dead gateway cannot complain.
//!
//! Before each beat the application proves that recording works, by a commit.
//! No proof, no beat: a gateway that runs but cannot write is as dead as one
//! without power. A beat that fails is not repeated, the next one comes anyway.

use std::future::Future;
use std::time::Duration;

use reqwest::Method;
use tokio::time::{Instant, MissedTickBehavior, interval_at, timeout};
use tokio_util::sync::CancellationToken;

use super::answer::{Answer, Step, Tell};
use super::http;
use crate::config::delivery::{BeatMethod, HeartbeatSettings};
use crate::core::alert::trial::{self, Fact};
use crate::transport::secret::PrepareError;

/// Longest wait for an answer (own choice).
const ANSWER_MAX: Duration = Duration::from_secs(10);
/// Longest wait for the proof (own choice: far above a slow disk).
const PROOF_MAX: Duration = Duration::from_secs(30);

/// Whether the gateway records.
pub trait Recording: Send + Sync + 'static {
    /// Commits something; an error says why that failed.
    fn prove(&self) -> impl Future<Output = Result<(), String>> + Send;
}

/// A watcher, ready to hear.
pub struct Heartbeat {
    settings: HeartbeatSettings,
    client: reqwest::Client,
}

impl Heartbeat {
    /// Reads the certificates.
    ///
    /// # Errors
    /// [`PrepareError`] names the file and what to do about it.
    pub fn prepare(settings: HeartbeatSettings) -> Result<Self, PrepareError> {
        Ok(Self { client: http::client(settings.ca_file.as_deref(), ANSWER_MAX)?, settings })
    }

    /// Beats until `stop`: at once, then at the configured interval.
    pub async fn run(self, recording: impl Recording, stop: CancellationToken) {
        let mut ticks = interval_at(Instant::now(), self.settings.every);
        ticks.set_missed_tick_behavior(MissedTickBehavior::Delay);
        let mut was_well = true;
        while stop.run_until_cancelled(ticks.tick()).await.is_some() {
            let outcome = stop.run_until_cancelled(self.once(&recording)).await;
            let Some(outcome) = outcome else { return };
            match (&outcome, was_well) {
                (Err(error), true) => tracing::error!(error, "the heartbeat stays away"),
                (Ok(()), false) => tracing::info!("the heartbeat is back"),
                (Err(_), false) | (Ok(()), true) => {}
            }
            was_well = outcome.is_ok();
        }
    }

    async fn once(&self, recording: &impl Recording) -> Result<(), String> {
        match timeout(PROOF_MAX, recording.prove()).await {
            Ok(Ok(())) => {}
            Ok(Err(error)) => return Err(format!("nothing can be recorded: {error}")),
            Err(_) => return Err(format!("nothing was recorded within {PROOF_MAX:?}")),
        }
        match self.trial(&mut |_| ()).await.error() {
            None => Ok(()),
            Some(error) => Err(format!("the watcher: {error}")),
        }
    }

    /// One beat without a proof, each step told.
    pub async fn trial(&self, tell: Tell<'_>) -> Answer {
        let method = match self.settings.method {
            BeatMethod::Get => Method::GET,
            BeatMethod::Post => Method::POST,
        };
        let answer = match self.client.request(method, &self.settings.url).send().await {
            Ok(response) if response.status().is_success() => Answer::Taken,
            Ok(response) => Answer::later(Fact::Status { status: response.status().to_string() }),
            Err(error) => Answer::later(http::failure(error, ANSWER_MAX)),
        };
        let outcome = match answer.error() {
            None => Ok(Fact::Taken {}.into()),
            Some(error) => Err(error.clone()),
        };
        tell(Step { what: trial::HEARTBEAT, outcome });
        answer
    }
}
