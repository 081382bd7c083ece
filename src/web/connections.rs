//! Connections to the pages: how many at a time, and which are ended.
//!
//! A peer holds a place from the moment it is accepted, and nobody else waits for it. It loses the
//! place where it makes no way: no handshake, no whole head of a request, no whole body (`deadline`), or
//! nothing taken of what it is sent, each within its time. Whatever is sent for long, as events and exports
//! are, lasts for as long as somebody reads it.

use std::io;
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::body::Body;
use hyper::body::Incoming;
use hyper::server::conn::http1;
use hyper::service::service_fn;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::server::graceful::{GracefulShutdown, Watcher};
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{OwnedSemaphorePermit, Semaphore};
use tokio::task::JoinSet;
use tokio_io_timeout::TimeoutStream;
use tokio_rustls::TlsAcceptor;
use tokio_util::sync::CancellationToken;
use tower::ServiceExt;

use super::access::Far;

/// Connections at a time; one more waits in the system's queue. More than there are places for open
/// pages (`live`), and within the 1,024 files that a process may have open by default.
const CONNECTIONS_MAX: usize = 640;
/// Longest handshake (own choice: two round trips over a bad radio link, and more).
const HANDSHAKE_MAX: Duration = Duration::from_secs(10);
/// Longest wait for the head of a request, the first or the next.
const HEAD_MAX: Duration = Duration::from_secs(30);
/// Longest time in which a peer takes nothing of what it is sent.
const UNREAD_MAX: Duration = Duration::from_secs(30);
/// Longest time that answers have to come to their end once the pages stop.
const ENDING_MAX: Duration = Duration::from_secs(3);
/// Before the next try where the system gives no connection, for want of files as a rule.
const AGAIN: Duration = Duration::from_secs(1);

/// A connection with its place.
type Accepted = (OwnedSemaphorePermit, TcpStream, SocketAddr);

/// Serves a router on a listener, by TLS where there is an acceptor, until stopped. Each request
/// bears [`Far`].
pub(super) async fn serve(
    listener: TcpListener,
    acceptor: Option<TlsAcceptor>,
    router: Router,
    stop: CancellationToken,
) {
    bounded(listener, acceptor, router, stop, CONNECTIONS_MAX).await;
}

/// The same with so many places.
async fn bounded(
    listener: TcpListener,
    acceptor: Option<TlsAcceptor>,
    router: Router,
    stop: CancellationToken,
    places: usize,
) {
    let places = Arc::new(Semaphore::new(places));
    let ending = GracefulShutdown::new();
    let mut tasks = JoinSet::new();
    while let Some((place, stream, far)) = next(&listener, &places, &mut tasks, &stop).await {
        let (router, acceptor, watcher) = (router.clone(), acceptor.clone(), ending.watcher());
        tasks.spawn(async move {
            let _place = place;
            if let Err(error) = talk(stream, far, acceptor, router, watcher).await {
                tracing::debug!(%error, %far, "a connection to the pages ended");
            }
        });
    }
    drop(listener);
    if tokio::time::timeout(ENDING_MAX, ending.shutdown()).await.is_err() {
        tracing::debug!("connections to the pages were cut off at the end");
    }
}

/// The next connection; `None` once stopped.
async fn next(
    listener: &TcpListener,
    places: &Arc<Semaphore>,
    tasks: &mut JoinSet<()>,
    stop: &CancellationToken,
) -> Option<Accepted> {
    loop {
        tokio::select! {
            () = stop.cancelled() => return None,
            Some(_) = tasks.join_next() => {}
            accepted = accept(listener, places) => match accepted {
                Ok(accepted) => return Some(accepted),
                Err(error) => {
                    tracing::warn!(%error, "no connection to the pages can be taken");
                    tokio::time::sleep(AGAIN).await;
                }
            },
        }
    }
}

/// Accepts one where a place is free.
async fn accept(listener: &TcpListener, places: &Arc<Semaphore>) -> io::Result<Accepted> {
    // It is never closed.
    let place = Arc::clone(places).acquire_owned().await.map_err(io::Error::other)?;
    let (stream, far) = listener.accept().await?;
    Ok((place, stream, far))
}

/// Talks with one peer to the end.
async fn talk(
    stream: TcpStream,
    far: SocketAddr,
    acceptor: Option<TlsAcceptor>,
    router: Router,
    watcher: Watcher,
) -> io::Result<()> {
    let mut stream = TimeoutStream::new(stream);
    stream.set_write_timeout(Some(UNREAD_MAX));
    let stream = Box::pin(stream);
    match acceptor {
        None => answer(stream, far, router, watcher).await,
        Some(acceptor) => {
            let encrypted = tokio::time::timeout(HANDSHAKE_MAX, acceptor.accept(stream)).await??;
            answer(encrypted, far, router, watcher).await
        }
    }
}

/// Answers what comes over a stream.
async fn answer(
    stream: impl AsyncRead + AsyncWrite + Unpin + 'static,
    far: SocketAddr,
    router: Router,
    watcher: Watcher,
) -> io::Result<()> {
    let service = service_fn(move |mut request: hyper::Request<Incoming>| {
        request.extensions_mut().insert(Far(far));
        router.clone().oneshot(request.map(Body::new))
    });
    let mut http = http1::Builder::new();
    http.timer(TokioTimer::new()).header_read_timeout(HEAD_MAX);
    let connection = http.serve_connection(TokioIo::new(stream), service);
    watcher.watch(connection).await.map_err(io::Error::other)
}

#[cfg(test)]
mod tests;
