//! Peers that make no way, and those that read for long, over real connections; the clock is that of the test.

use std::io::Read as _;
use std::net::Ipv4Addr;
use std::sync::Arc;

use std::convert::Infallible;

use axum::body::{Body, Bytes};
use axum::middleware::from_fn;
use axum::response::IntoResponse;
use axum::routing::{get, post};
use futures_util::stream;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::sync::Notify;
use tokio::time::Instant;
use tokio_util::sync::DropGuard;

use super::*;
use crate::web::deadline::{self, ANSWER_MAX};

/// Places there are.
const PLACES: usize = 20;

/// Serves this router; its address, and what stops it.
async fn served(router: Router) -> (SocketAddr, DropGuard, JoinSet<()>) {
    let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).await.expect("loopback");
    let address = listener.local_addr().expect("bound");
    let stop = CancellationToken::new();
    let mut tasks = JoinSet::new();
    let router = router.layer(from_fn(deadline::within));
    tasks.spawn(bounded(listener, None, router, stop.clone(), PLACES));
    (address, stop.drop_guard(), tasks)
}

/// All that comes after this was sent.
async fn told(address: SocketAddr, sent: &str) -> String {
    let mut stream = TcpStream::connect(address).await.expect("it listens");
    stream.write_all(sent.as_bytes()).await.expect("it reads");
    let mut answer = Vec::new();
    stream.read_to_end(&mut answer).await.expect("it ends in good order");
    String::from_utf8(answer).expect("text")
}

/// Tells when it is dropped.
struct Told(Arc<Notify>);

impl Drop for Told {
    fn drop(&mut self) {
        self.0.notify_one();
    }
}

// RFC 9110 §15.5.9 for 408; that a half head is ended without an answer is hyper's.
#[tokio::test(start_paused = true)]
async fn who_makes_no_way_loses_the_place() {
    let router = Router::new().route("/", post(async |body: Bytes| format!("{} bytes", body.len())));
    let (address, _stop, _tasks) = served(router).await;
    let half = "POST / HTTP/1.1\r\nhost: a\r\ncontent-length: 9\r\n\r\nabc";
    for (sent, answered) in [("", ""), ("GET / HT", ""), (half, "408")] {
        let begun = Instant::now();
        let answer = told(address, sent).await;
        let after = begun.elapsed();
        assert!(after >= HEAD_MAX && after < HEAD_MAX + ANSWER_MAX + AGAIN, "{sent:?}: {after:?}");
        assert!(if answered.is_empty() { answer.is_empty() } else { answer.contains(answered) }, "{answer}");
    }
    let whole = format!("{half}def456");
    let answer = told(address, &whole.replace("host: a", "host: a\r\nconnection: close")).await;
    assert!(answer.ends_with("9 bytes"), "{answer}");
}

// RFC 9110 §15.5.9 lets a client send again after a 408: only where its request did not come whole. RFC 9457 for
// programs. Own promise: whoever sent it is told what is so, in either language.
#[tokio::test(start_paused = true)]
async fn what_came_whole_may_be_on_record() {
    let router = || {
        let slow = post(async |body: Bytes| {
            tokio::time::sleep(ANSWER_MAX * 2).await;
            body
        });
        let unread = post(async || tokio::time::sleep(ANSWER_MAX * 2).await);
        Router::new().route("/deed", slow.clone()).route("/api/v1/deed", slow).route("/unread", unread)
    };
    let (address, _stop, _tasks) = served(router()).await;
    for (path, length, status, says) in [
        ("/deed", 3, "503", "It may be on record"),
        ("/deed", 9, "408", "did not arrive whole"),
        ("/deed", 0, "503", "It may be on record"),
        ("/unread", 3, "503", "It may be on record"),
        ("/api/v1/deed", 3, "503", "\"do\":\"look whether it is on record before it is sent again\""),
        (
            "/api/v1/deed",
            9,
            "408",
            "\"detail\":\"the request did not arrive whole in time; nothing was done\"",
        ),
    ] {
        let body = &"abc"[..length.min(3)];
        let head =
            format!("POST {path} HTTP/1.1\r\nhost: a\r\nconnection: close\r\ncontent-length: {length}");
        let answer = told(address, &format!("{head}\r\n\r\n{body}")).await;
        assert!(answer.starts_with(&format!("HTTP/1.1 {status} ")), "{path} {length}: {answer}");
        assert!(answer.contains(says), "{path} {length}: {answer}");
        assert_eq!(answer.contains("application/problem+json"), path.starts_with("/api/"), "{answer}");
    }
    let spanish = "POST /deed HTTP/1.1\r\nhost: a\r\nconnection: close\r\naccept-language: es-MX\r\n\r\n";
    let answer = told(address, spanish).await;
    assert!(answer.contains("Puede que esté registrado"), "{answer}");
}

#[tokio::test(start_paused = true)]
async fn what_is_sent_for_long_lasts_while_it_is_read() {
    const PARTS: u32 = 20;
    let pace = Duration::from_secs(20);
    let parts = move || {
        let parts = stream::unfold(0, move |sent| async move {
            tokio::time::sleep(pace).await;
            (sent < PARTS).then_some((Ok::<_, Infallible>(Bytes::from_static(b"part.")), sent + 1))
        });
        std::future::ready(Body::from_stream(parts).into_response())
    };
    let (address, _stop, _tasks) = served(Router::new().route("/", get(parts))).await;
    let begun = Instant::now();
    let answer = told(address, "GET / HTTP/1.1\r\nhost: a\r\nconnection: close\r\n\r\n").await;
    assert_eq!(answer.matches("part.").count(), 20, "{answer}");
    assert!(begun.elapsed() >= pace * PARTS, "{:?}", begun.elapsed());
}

#[tokio::test(start_paused = true)]
async fn who_takes_nothing_of_an_answer_loses_the_place() {
    let gone = Arc::new(Notify::new());
    let noted = Arc::clone(&gone);
    let endless = move || {
        let held = Told(Arc::clone(&noted));
        let parts = stream::repeat_with(move || {
            let _held = &held;
            Ok::<_, Infallible>(Bytes::from_static(&[b'x'; 65_536]))
        });
        std::future::ready(Body::from_stream(parts).into_response())
    };
    let (address, _stop, _tasks) = served(Router::new().route("/", get(endless))).await;
    let mut stream = TcpStream::connect(address).await.expect("it listens");
    stream.write_all(b"GET / HTTP/1.1\r\nhost: a\r\n\r\n").await.expect("it reads");
    gone.notified().await;
    // What it took before stands in its buffer still: it was connected all the time.
    let mut stream = stream.into_std().expect("a stream");
    assert_eq!(stream.read(&mut [0; 12]).expect("bytes"), 12);
}

#[tokio::test(start_paused = true)]
async fn each_peer_has_one_of_the_places() {
    let (address, _stop, _tasks) = served(Router::new().route("/", get(async || "here"))).await;
    let mut silent = Vec::new();
    for _ in 0..PLACES {
        silent.push(TcpStream::connect(address).await.expect("it listens"));
    }
    // One more waits until the silent ones are ended, and is answered then.
    let begun = Instant::now();
    let answer = told(address, "GET / HTTP/1.1\r\nhost: a\r\nconnection: close\r\n\r\n").await;
    assert!(answer.ends_with("here") && begun.elapsed() >= HEAD_MAX / 2, "{answer} {:?}", begun.elapsed());
}

#[tokio::test(start_paused = true)]
async fn what_never_ends_is_cut_off_at_the_stop() {
    let endless = || {
        let parts = stream::pending::<Result<Bytes, Infallible>>();
        std::future::ready(Body::from_stream(parts).into_response())
    };
    let (address, stop, mut tasks) = served(Router::new().route("/", get(endless))).await;
    let mut stream = TcpStream::connect(address).await.expect("it listens");
    stream.write_all(b"GET / HTTP/1.1\r\nhost: a\r\n\r\n").await.expect("it reads");
    assert!(stream.read(&mut [0; 64]).await.expect("a head") > 0);
    let begun = Instant::now();
    drop(stop);
    assert!(tasks.join_next().await.is_some_and(|ended| ended.is_ok()));
    assert!(begun.elapsed() >= ENDING_MAX && begun.elapsed() < ENDING_MAX + AGAIN);
    assert!(TcpStream::connect(address).await.is_err());
}
