//! The control socket: how a command reaches the running service.
//!
//! HTTP/1.1 over a Unix socket of mode 0660, so that the service's user and group
//! may use it and nobody else. Who is at the other end is asked of the system
//! (SO_PEERCRED, unix(7)), not of the peer; the user's name goes on record beside
//! the name that was given.
//!
//! | route | body | answer |
//! |---|---|---|
//! | `GET /health` | | [`Health`] |
//! | `GET /time` | | [`Time`]: what the service's clock shows, and how fast it runs |
//! | `GET /alerts`, `GET /alerts/{number}` | | open alerts as JSON |
//! | `GET /readings` | | [`LiveEvent`](super::live::LiveEvent)s, one a line, for as long as somebody reads |
//! | `POST /orders` | [`Order`] | [`Done`] |
//! | `POST /tests/{contact}` | [`TestOrder`] | [`Trial`]: each step of a test through every channel |
//! | `POST /series/resend` | [`Again`] | the same, once it is kept |
//! | `POST /checkpoints` | | [`StoredCheckpoint`]: over all records so far |
//! | `POST /accounts` | [`AccessOrder`] | [`AccessDone`]: accounts and tokens as they are then |
//! | `POST /keys` | [`KeyRotation`] | [`Rotated`]: the signing key that is in force from here on |
//!
//! What cannot be done is answered as [`Problem`]. The holder of the ledger's lock
//! owns the socket, so that one that is left over from a killed run is replaced.

pub(super) mod client;
mod peer;
pub(super) mod time;

use std::future::{Future, IntoFuture};
use std::os::unix::fs::{FileTypeExt, PermissionsExt};
use std::path::{Path, PathBuf};
use std::time::Duration;

use axum::extract::{ConnectInfo, DefaultBodyLimit, Path as Segment, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use axum::{Json, Router};
use serde::{Deserialize, Serialize};
use tokio::net::{UnixListener, UnixSocket};
use tokio_util::sync::CancellationToken;

pub(super) use peer::Peer;
use time::{TIME, Time};

use super::access::command::{ACCOUNTS, AccessDone, AccessOrder};
use super::live::{self, Begun, Listening};
use super::order::{Done, KeyRotation, Order, Problem, Rotated, TestOrder, Trial};
use super::seal::command::{CHECKPOINTS, KEYS};
use super::series::Again;
use crate::ledger::StoredCheckpoint;

/// Mode of the socket: its user and group.
const MODE: u32 = 0o660;
/// Longest body, in bytes: an order holds texts of some thousand bytes at most.
const BODY_BYTES_MAX: usize = 64 * 1024;
/// Connections that may wait to be accepted.
const BACKLOG: u32 = 128;
/// Longest wait for an answer; a test through every channel takes the longest.
const ANSWER_MAX: Duration = Duration::from_secs(120);

/// Longest wait for those who are being answered when the service stops.
const FAREWELL_MAX: Duration = Duration::from_millis(500);

/// Why the socket is not there.
#[derive(Debug, thiserror::Error)]
pub(super) enum DoorError {
    /// Another program answers there.
    #[error("another service answers at «{}»", path.display())]
    Taken {
        /// The socket.
        path: PathBuf,
    },
    /// It cannot be made.
    #[error("cannot make the control socket «{}»", path.display())]
    Make {
        /// The socket.
        path: PathBuf,
        /// Why.
        #[source]
        source: std::io::Error,
    },
    /// It was taken away while it was served.
    #[error("the control socket failed")]
    Serve(#[source] std::io::Error),
}

/// How the service is doing.
#[derive(Clone, PartialEq, Debug, Default, Serialize, Deserialize)]
pub(super) struct Health {
    /// Version of the program.
    pub(super) version: String,
    /// Records in the ledger.
    pub(super) records: u64,
    /// Open alerts.
    pub(super) alerts_open: usize,
    /// Whether the desk has looked at every record.
    pub(super) alerts_up_to_date: bool,
}

/// Whoever does what is asked at the door.
pub(super) trait Service: Clone + Send + Sync + 'static {
    /// How it is doing.
    fn health(&self) -> impl Future<Output = Result<Health, Problem>> + Send;
    /// How its clock stands.
    fn time(&self) -> Time;
    /// Open alerts; one of this number, where it is given.
    fn alerts(
        &self,
        number: Option<u64>,
    ) -> impl Future<Output = Result<Vec<serde_json::Value>, Problem>> + Send;
    /// What those who look on are told: who tells, how things stand, what comes.
    fn readings(&self) -> (Begun, Listening);
    /// Does what a person asks for, and answers when it is on record.
    fn perform(&self, order: Order) -> impl Future<Output = Result<Done, Problem>> + Send;
    /// Tries every way to a contact, where the service runs with this configuration.
    fn test(&self, contact: String, asked: TestOrder) -> impl Future<Output = Result<Trial, Problem>> + Send;
    /// Sends again what the time series server refused.
    fn resend(&self, again: Again) -> impl Future<Output = Result<Again, Problem>> + Send;
    /// Signs a checkpoint over all records so far.
    fn checkpoint(&self) -> impl Future<Output = Result<StoredCheckpoint, Problem>> + Send;
    /// Does something to the accounts, or lists them.
    fn accounts(&self, order: AccessOrder) -> impl Future<Output = Result<AccessDone, Problem>> + Send;
    /// Puts a new signing key in the place of the old one.
    fn rotate(&self, rotation: KeyRotation) -> impl Future<Output = Result<Rotated, Problem>> + Send;
}

/// The socket, ready to be served.
#[derive(Debug)]
pub(super) struct Door {
    listener: UnixListener,
    place: Place,
}

/// Where the socket lies; it is removed with this.
#[derive(Debug)]
struct Place(PathBuf);

impl Drop for Place {
    fn drop(&mut self) {
        // One that stays behind is replaced at the next start.
        drop(std::fs::remove_file(&self.0));
    }
}

impl Door {
    /// Makes the socket, in place of one that nobody serves any more. Must be called inside the
    /// runtime, by the holder of the ledger's lock.
    ///
    /// # Errors
    /// [`DoorError`] where it cannot be made, or another program answers there.
    pub(super) fn open(path: &Path) -> Result<Self, DoorError> {
        if std::os::unix::net::UnixStream::connect(path).is_ok() {
            return Err(DoorError::Taken { path: path.to_owned() });
        }
        let failed = |source| DoorError::Make { path: path.to_owned(), source };
        // Any other file stays, and the next line says that the place is taken.
        if std::fs::symlink_metadata(path).is_ok_and(|found| found.file_type().is_socket()) {
            std::fs::remove_file(path).map_err(failed)?;
        }
        let listener = bound(path).map_err(failed)?;
        let place = Place(path.to_owned());
        std::fs::set_permissions(path, std::fs::Permissions::from_mode(MODE)).map_err(failed)?;
        Ok(Self { listener, place })
    }

    /// Serves until stopped.
    ///
    /// # Errors
    /// [`DoorError::Serve`] where the system takes the socket away.
    pub(super) async fn serve(self, service: impl Service, stop: CancellationToken) -> Result<(), DoorError> {
        let Self { listener, place: _place } = self;
        let router = router(service, &stop).into_make_service_with_connect_info::<Peer>();
        let served = axum::serve(listener, router).with_graceful_shutdown(stop.clone().cancelled_owned());
        // Somebody who has stopped reading would keep the door open for ever.
        let too_long = async {
            stop.cancelled().await;
            tokio::time::sleep(FAREWELL_MAX).await;
        };
        tokio::select! {
            served = served.into_future() => served.map_err(DoorError::Serve),
            () = too_long => Ok(()),
        }
    }
}

/// A socket that is closed to others from its first instant, not only once the mode of the file is
/// set: Linux gives the file the socket's own mode (`unix_bind_bsd`, net/unix/af_unix.c). The mask of
/// the process would do that too, and change whatever its other threads make meanwhile.
fn bound(path: &Path) -> std::io::Result<UnixListener> {
    let socket = UnixSocket::new_stream()?;
    rustix::fs::fchmod(&socket, rustix::fs::Mode::from_raw_mode(MODE))?;
    socket.bind(path)?;
    socket.listen(BACKLOG)
}

fn router<S: Service>(service: S, stop: &CancellationToken) -> Router {
    let stop = stop.clone();
    let readings = move |State(service): State<S>| {
        let (begun, listening) = service.readings();
        std::future::ready(live::answer(begun, listening, stop.clone()))
    };
    let time = |State(service): State<S>| std::future::ready(Json(service.time()));
    Router::new()
        .route("/health", get(health::<S>))
        .route(TIME, get(time))
        .route("/alerts", get(alerts::<S>))
        .route("/alerts/{number}", get(alert::<S>))
        .route(live::READINGS, get(readings))
        .route("/orders", post(perform::<S>))
        .route("/tests/{contact}", post(test::<S>))
        .route("/series/resend", post(resend::<S>))
        .route(CHECKPOINTS, post(checkpoint::<S>))
        .route(ACCOUNTS, post(accounts::<S>))
        .route(KEYS, post(rotate::<S>))
        .layer(DefaultBodyLimit::max(BODY_BYTES_MAX))
        .with_state(service)
}

async fn health<S: Service>(State(service): State<S>) -> Response {
    answer(service.health()).await
}

async fn alerts<S: Service>(State(service): State<S>) -> Response {
    answer(service.alerts(None)).await
}

async fn alert<S: Service>(State(service): State<S>, Segment(number): Segment<u64>) -> Response {
    answer(service.alerts(Some(number))).await
}

async fn perform<S: Service>(
    State(service): State<S>,
    ConnectInfo(peer): ConnectInfo<Peer>,
    Json(order): Json<Order>,
) -> Response {
    answer(service.perform(order.signed(&peer))).await
}

async fn test<S: Service>(
    State(service): State<S>,
    Segment(contact): Segment<String>,
    Json(asked): Json<TestOrder>,
) -> Response {
    answer(service.test(contact, asked)).await
}

async fn resend<S: Service>(State(service): State<S>, Json(again): Json<Again>) -> Response {
    answer(service.resend(again)).await
}

async fn checkpoint<S: Service>(State(service): State<S>) -> Response {
    answer(service.checkpoint()).await
}

async fn accounts<S: Service>(
    State(service): State<S>,
    ConnectInfo(peer): ConnectInfo<Peer>,
    Json(order): Json<AccessOrder>,
) -> Response {
    match order.signed(&peer) {
        Ok(order) => answer(service.accounts(order)).await,
        Err(problem) => answer(std::future::ready(Err::<(), _>(problem))).await,
    }
}

async fn rotate<S: Service>(
    State(service): State<S>,
    ConnectInfo(peer): ConnectInfo<Peer>,
    Json(rotation): Json<KeyRotation>,
) -> Response {
    match rotation.signed(&peer) {
        Ok(rotation) => answer(service.rotate(rotation)).await,
        Err(problem) => answer(std::future::ready(Err::<(), _>(problem))).await,
    }
}

async fn answer<T: Serialize>(work: impl Future<Output = Result<T, Problem>>) -> Response {
    match tokio::time::timeout(ANSWER_MAX, work).await {
        Ok(Ok(done)) => Json(done).into_response(),
        Ok(Err(problem)) => (StatusCode::CONFLICT, Json(problem)).into_response(),
        Err(_) => StatusCode::GATEWAY_TIMEOUT.into_response(),
    }
}

#[cfg(test)]
mod tests;
