//! Readings through the running service: both ends of one endless answer at the control socket.

use std::convert::Infallible;
use std::path::Path;
use std::sync::Arc;

use axum::body::Body;
use bytes::Bytes;
use futures_util::stream;
use tokio::runtime::Runtime;
use tokio::sync::broadcast;
use tokio::sync::broadcast::error::{RecvError, TryRecvError};
use tokio_util::sync::CancellationToken;

use super::WAITING_MAX;
use super::event::{Begun, LiveEvent};
use super::tap::Listening;
use crate::app::door::client::{self, CallError};
use crate::app::order::Problem;

/// The route.
pub(in crate::app) const READINGS: &str = "/readings";
/// Most bytes of events that are sent together.
const TOGETHER_BYTES: usize = 16_384;
/// Longest line that is taken: an event is some hundred bytes.
const LINE_BYTES_MAX: usize = 65_536;

/// The service's end: an event a line until `stop`, or until nobody reads.
pub(in crate::app) fn answer(begun: Begun, listening: Listening, stop: CancellationToken) -> Body {
    let Listening { known, events } = listening;
    let mut first = Vec::new();
    for event in [LiveEvent::Begun(begun)].into_iter().chain(known) {
        write_line(&event, &mut first);
    }
    let telling = Telling { first: Some(first), events: Some(events), stop };
    Body::from_stream(stream::unfold(telling, |mut telling| async move {
        let part = telling.part().await?;
        Some((Ok::<_, Infallible>(Bytes::from(part)), telling))
    }))
}

struct Telling {
    first: Option<Vec<u8>>,
    /// `None` after the end.
    events: Option<broadcast::Receiver<Arc<LiveEvent>>>,
    stop: CancellationToken,
}

impl Telling {
    /// The next lines; `None` after the last.
    async fn part(&mut self) -> Option<Vec<u8>> {
        if let Some(first) = self.first.take() {
            return Some(first);
        }
        let events = self.events.as_mut()?;
        let mut lines = Vec::new();
        let received = tokio::select! {
            received = events.recv() => Some(received),
            () = self.stop.cancelled() => None,
        };
        match received {
            Some(Ok(event)) => write_line(&event, &mut lines),
            Some(Err(RecvError::Lagged(events))) => write_line(&LiveEvent::Lost { events }, &mut lines),
            Some(Err(RecvError::Closed)) | None => {
                let cause = "the service is stopping".to_owned();
                write_line(&LiveEvent::Ended { cause }, &mut lines);
                self.events = None;
                return Some(lines);
            }
        }
        while lines.len() < TOGETHER_BYTES {
            match events.try_recv() {
                Ok(event) => write_line(&event, &mut lines),
                Err(TryRecvError::Lagged(events)) => write_line(&LiveEvent::Lost { events }, &mut lines),
                Err(TryRecvError::Empty | TryRecvError::Closed) => break,
            }
        }
        Some(lines)
    }
}

fn write_line(event: &LiveEvent, lines: &mut Vec<u8>) {
    match serde_json::to_vec(event) {
        Ok(line) => {
            lines.extend(line);
            lines.push(b'\n');
        }
        // Only a number that JSON cannot hold, which no source delivers.
        Err(error) => tracing::debug!(%error, "an event cannot be told"),
    }
}

/// The command's end: asks, and passes on what comes until `stop`.
///
/// # Errors
/// [`CallError`] where the service does not begin to tell.
pub(super) fn listen(
    runtime: &Runtime,
    socket: &Path,
    stop: &CancellationToken,
) -> Result<(Begun, broadcast::Receiver<Arc<LiveEvent>>), CallError> {
    let (to, events) = broadcast::channel(WAITING_MAX);
    let (begun, mut told) = runtime.block_on(async {
        let mut told = Told { response: client::open(socket, READINGS).await?, rest: Vec::new() };
        match told.next().await? {
            Some(LiveEvent::Begun(begun)) => Ok((begun, told)),
            Some(
                LiveEvent::Reading(_)
                | LiveEvent::Source(_)
                | LiveEvent::Unit(_)
                | LiveEvent::Refused { .. }
                | LiveEvent::Lost { .. }
                | LiveEvent::Ended { .. },
            )
            | None => {
                let problem = Problem::new("service-socket", "it does not say who it is", "try again");
                Err(CallError::Refused(problem))
            }
        }
    })?;
    let stop = stop.clone();
    drop(runtime.spawn(async move {
        loop {
            let next = tokio::select! {
                next = told.next() => next,
                () = stop.cancelled() => return,
            };
            let event = match next {
                Ok(Some(event)) => event,
                Ok(None) => LiveEvent::Ended { cause: "the service has ended".to_owned() },
                Err(error) => LiveEvent::Ended { cause: error.to_string() },
            };
            let last = matches!(event, LiveEvent::Ended { .. });
            if to.send(Arc::new(event)).is_err() || last {
                return;
            }
        }
    }));
    Ok((begun, events))
}

/// The lines of the answer.
struct Told {
    response: reqwest::Response,
    rest: Vec<u8>,
}

impl Told {
    /// The next event; `None` at the end of the answer. A line that is not understood is passed
    /// over: a later version may tell more. May be dropped at any await without loss.
    async fn next(&mut self) -> Result<Option<LiveEvent>, CallError> {
        loop {
            while let Some(end) = self.rest.iter().position(|byte| *byte == b'\n') {
                let line: Vec<u8> = self.rest.drain(..=end).collect();
                match serde_json::from_slice(&line) {
                    Ok(event) => return Ok(Some(event)),
                    Err(error) => tracing::debug!(%error, "the service tells something unknown"),
                }
            }
            if self.rest.len() > LINE_BYTES_MAX {
                self.rest.clear();
            }
            match self.response.chunk().await.map_err(CallError::Answer)? {
                Some(chunk) => self.rest.extend_from_slice(&chunk),
                None => return Ok(None),
            }
        }
    }
}
