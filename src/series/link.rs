//! The way to the server while the gateway runs: prepared at the first request, and again where TLS fails.
//!
//! Certificates that cannot be read are a fault like any other: the points wait,
//! `series status` says why, and a file that was put right is found without a restart.

use std::sync::{Arc, Mutex, PoisonError};

use super::answer::{Fault, Outcome};
use super::batch::Lines;
use super::check::{self, Look};
use super::http::{PrepareError, chain};
use super::pump;
use super::sender::Sender;
use crate::config::series::SeriesOptions;

/// A way to one bucket.
#[derive(Debug)]
pub struct Link {
    options: SeriesOptions,
    sender: Mutex<Option<Arc<Sender>>>,
}

impl Link {
    /// Nothing is read and nothing is sent yet.
    #[must_use]
    pub const fn new(options: SeriesOptions) -> Self {
        Self { options, sender: Mutex::new(None) }
    }

    /// Looks whether the server and the bucket are there.
    ///
    /// # Errors
    /// The [`Outcome`] that a write would have, as far as it can be told without writing.
    pub async fn look(&self) -> Result<Look, Outcome> {
        let sender = self.sender().map_err(|error| Outcome::Later(unprepared(&error)))?;
        check::look(sender.server(), &self.options).await
    }

    async fn write_lines(&self, lines: Lines<'_>) -> Outcome {
        let outcome = match self.sender() {
            Ok(sender) => sender.write(lines).await,
            Err(error) => return Outcome::Later(unprepared(&error)),
        };
        if matches!(outcome, Outcome::Later(Fault::Tls(_))) {
            // The certificates of the authority may be others by the next time.
            *self.sender.lock().unwrap_or_else(PoisonError::into_inner) = None;
        }
        outcome
    }

    fn sender(&self) -> Result<Arc<Sender>, PrepareError> {
        let mut known = self.sender.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(sender) = &*known {
            return Ok(Arc::clone(sender));
        }
        let sender = Arc::new(Sender::new(&self.options)?);
        *known = Some(Arc::clone(&sender));
        Ok(sender)
    }
}

impl pump::Server for Arc<Link> {
    fn write(&self, lines: Lines<'_>) -> impl Future<Output = Outcome> + Send {
        self.write_lines(lines)
    }
}

fn unprepared(error: &PrepareError) -> Fault {
    Fault::Certificates { cause: chain(error), fix: error.fix() }
}
