//! The command's end of the control socket.

use std::path::Path;
use std::time::Duration;

use serde::Serialize;
use serde::de::DeserializeOwned;

use super::super::order::Problem;

/// Longest wait for the service.
const ANSWER_MAX: Duration = Duration::from_secs(130);

/// Why there is no answer.
#[derive(Debug, thiserror::Error)]
pub(in crate::app) enum CallError {
    /// No service listens there.
    #[error("no service answers")]
    NotRunning,
    /// The user may not use the socket.
    #[error("this user may not speak to the service")]
    Forbidden,
    /// The service refuses.
    #[error("{}", .0.summary)]
    Refused(Problem),
    /// It answers otherwise than expected.
    #[error("the service gave no answer that is understood")]
    Answer(#[source] reqwest::Error),
}

/// Whether a service can be spoken to at this socket.
///
/// # Errors
/// [`CallError::NotRunning`] or [`CallError::Forbidden`].
pub(in crate::app) fn knock(socket: &Path) -> Result<(), CallError> {
    match std::os::unix::net::UnixStream::connect(socket) {
        Ok(_) => Ok(()),
        Err(error) if error.kind() == std::io::ErrorKind::PermissionDenied => Err(CallError::Forbidden),
        Err(_) => Err(CallError::NotRunning),
    }
}

/// Asks the service for an answer that may go on for ever.
///
/// # Errors
/// [`CallError`] where it does not begin.
pub(in crate::app) async fn open(socket: &Path, route: &str) -> Result<reqwest::Response, CallError> {
    let client = reqwest::Client::builder().unix_socket(socket).build().map_err(CallError::Answer)?;
    let sent = client.get(format!("http://localhost{route}")).send();
    let sent = tokio::time::timeout(ANSWER_MAX, sent).await.map_err(|_| CallError::NotRunning)?;
    sent.and_then(reqwest::Response::error_for_status).map_err(CallError::Answer)
}

/// Posts a body to the service behind this socket.
///
/// # Errors
/// [`CallError`] where nothing was done.
pub(in crate::app) fn post<T: DeserializeOwned>(
    socket: &Path,
    route: &str,
    body: &impl Serialize,
) -> Result<T, CallError> {
    call(socket, route, ANSWER_MAX, |client, url| client.post(url).json(body))
}

/// Asks the service behind this socket for something, for no longer than this.
///
/// # Errors
/// [`CallError`] where it does not answer in time.
pub(in crate::app) fn get_within<T: DeserializeOwned>(
    socket: &Path,
    route: &str,
    within: Duration,
) -> Result<T, CallError> {
    call(socket, route, within, |client, url| client.get(url))
}

fn call<T: DeserializeOwned>(
    socket: &Path,
    route: &str,
    within: Duration,
    ask: impl FnOnce(reqwest::Client, String) -> reqwest::RequestBuilder,
) -> Result<T, CallError> {
    knock(socket)?;
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|_| CallError::NotRunning)?;
    runtime.block_on(async {
        let client = reqwest::Client::builder()
            .unix_socket(socket)
            .timeout(within)
            .build()
            .map_err(CallError::Answer)?;
        let sent = ask(client, format!("http://localhost{route}")).send().await;
        let response = sent.map_err(CallError::Answer)?;
        if response.status() == reqwest::StatusCode::CONFLICT {
            return Err(CallError::Refused(response.json().await.map_err(CallError::Answer)?));
        }
        let response = response.error_for_status().map_err(CallError::Answer)?;
        response.json().await.map_err(CallError::Answer)
    })
}
