//! A receiver of the demo's messages: webhooks at the loopback address, one for each contact, written to a file.
//!
//! It stands for the phones that nobody has here. What comes is what a real receiver gets: CloudEvents, sent by the
//! courier, tried again and put on record as ever. Left out: a signature, since only programs of this computer
//! reach it: the type of what is sent is one that no page of elsewhere may send from a browser (CORS, «safelisted»).

use std::fs::{File, OpenOptions};
use std::io::{self, Write as _};
use std::net::{Ipv4Addr, SocketAddr, TcpListener};
use std::os::unix::fs::OpenOptionsExt;
use std::path::Path;
use std::sync::{Arc, Mutex, PoisonError};

use axum::Router;
use axum::extract::{Path as Named, State};
use axum::http::header::CONTENT_TYPE;
use axum::http::{HeaderMap, StatusCode};
use axum::routing::post;
use bytes::Bytes;
use serde_json::Value;
use tokio::sync::mpsc;
use tokio_util::sync::CancellationToken;

/// Name of the file, one event a line.
pub(super) const FILE: &str = "messages.jsonl";
/// Most messages that wait to be shown; what comes while it is full is in the file only.
pub(super) const SHOWN_MAX: usize = 64;
/// Longest file, bytes; what comes then is refused (own choice: some 20,000 messages).
const FILE_MAX: u64 = 1 << 24;
/// Of which type a message is (CloudEvents 1.0, HTTP binding 3.2).
const TYPE: &str = "application/cloudevents+json";

/// A receiver that listens and takes nothing yet.
#[derive(Debug)]
pub(super) struct Inbox {
    listener: TcpListener,
    address: SocketAddr,
    file: File,
}

/// What the requests share.
#[derive(Clone, Debug)]
struct Shared {
    file: Arc<Mutex<File>>,
    told: mpsc::Sender<String>,
}

impl Inbox {
    /// Listens at a free port, and opens the file in this directory.
    ///
    /// # Errors
    /// The system's.
    pub(super) fn open(directory: &Path) -> io::Result<Self> {
        let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0))?;
        listener.set_nonblocking(true)?;
        let file = OpenOptions::new().append(true).create(true).mode(0o600).open(directory.join(FILE))?;
        Ok(Self { address: listener.local_addr()?, listener, file })
    }

    /// Where a contact of this name is reached.
    pub(super) fn url(&self, contact: &str) -> String {
        format!("http://{}/{contact}", self.address)
    }

    /// Takes messages until `stop`; `told` gets one line of each.
    ///
    /// # Errors
    /// The system's.
    pub(super) async fn take(self, told: mpsc::Sender<String>, stop: CancellationToken) -> io::Result<()> {
        let listener = tokio::net::TcpListener::from_std(self.listener)?;
        let shared = Shared { file: Arc::new(Mutex::new(self.file)), told };
        let router = Router::new().route("/{contact}", post(taken)).with_state(shared);
        axum::serve(listener, router).with_graceful_shutdown(stop.cancelled_owned()).await
    }
}

async fn taken(
    State(shared): State<Shared>,
    Named(contact): Named<String>,
    headers: HeaderMap,
    body: Bytes,
) -> StatusCode {
    let of_type = headers.get(CONTENT_TYPE).and_then(|of_type| of_type.to_str().ok());
    if !of_type.is_some_and(|of_type| of_type.starts_with(TYPE)) {
        return StatusCode::UNSUPPORTED_MEDIA_TYPE;
    }
    let Ok(event) = serde_json::from_slice::<Value>(&body) else { return StatusCode::BAD_REQUEST };
    let stored = {
        let mut file = shared.file.lock().unwrap_or_else(PoisonError::into_inner);
        let length = file.metadata().map(|file| file.len());
        length.and_then(|length| if length < FILE_MAX { writeln!(file, "{event}") } else { Err(full()) })
    };
    if let Err(error) = stored {
        tracing::warn!(%error, "a message cannot be kept");
        return StatusCode::INSUFFICIENT_STORAGE;
    }
    // Nobody may be looking; the file has it.
    let _shown = shared.told.try_send(line(&contact, &event));
    std::future::ready(StatusCode::NO_CONTENT).await
}

fn full() -> io::Error {
    io::Error::other(format!("{FILE} is full"))
}

/// One line of a message, such as «message to duty: dm1: final rinse too cold».
fn line(contact: &str, event: &Value) -> String {
    let said = |name: &str| event.pointer(name).and_then(Value::as_str);
    let what = said("/data/summary").unwrap_or("(nothing that can be told in a line)");
    format!("message to {contact}: {what}").replace(char::is_control, " ")
}

#[cfg(test)]
mod tests {
    use super::*;

    // CloudEvents 1.0 in the structured mode, as the courier sends it: it is kept as it came, and told in a line.
    #[tokio::test]
    async fn a_message_is_kept_and_told() {
        let directory = tempfile::tempdir().expect("a temporary directory");
        let inbox = Inbox::open(directory.path()).expect("a free port");
        let (told, mut lines) = mpsc::channel(SHOWN_MAX);
        let (url, stop) = (inbox.url("duty"), CancellationToken::new());
        assert!(url.starts_with("http://127.0.0.1:"), "{url}");
        // Refused only where another test has done it.
        drop(rustls::crypto::ring::default_provider().install_default());
        let client = reqwest::Client::new();
        let visit = async {
            for (of_type, body, expected) in [
                (
                    TYPE,
                    r#"{"type":"x.alert","data":{"summary":"dm1:\u001b[2J cold"}}"#,
                    StatusCode::NO_CONTENT,
                ),
                (TYPE, r#"{"type":"x.other","data":{}}"#, StatusCode::NO_CONTENT),
                (TYPE, "not JSON", StatusCode::BAD_REQUEST),
                // What a page of elsewhere may send without being asked (Fetch, «CORS-safelisted»).
                ("text/plain", r#"{"type":"x.forged"}"#, StatusCode::UNSUPPORTED_MEDIA_TYPE),
            ] {
                let request = client.post(&url).header("content-type", of_type).body(body);
                let answer = request.send().await.expect("an answer");
                assert_eq!(answer.status().as_u16(), expected.as_u16(), "{body}");
            }
            stop.cancel();
        };
        let (served, ()) = tokio::join!(inbox.take(told, stop.clone()), visit);
        served.expect("it served");
        assert_eq!(lines.recv().await.as_deref(), Some("message to duty: dm1: [2J cold"));
        assert_eq!(
            lines.recv().await.as_deref(),
            Some("message to duty: (nothing that can be told in a line)")
        );
        let kept = std::fs::read_to_string(directory.path().join(FILE)).expect("a file");
        assert_eq!(kept.lines().count(), 2, "{kept}");
    }
}
