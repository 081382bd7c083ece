//! Too many, and too slow: what keeps places without need must neither stop pages nor racks.

use std::time::{Duration, Instant};

use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;
use tokio::task::JoinSet;

use super::gateway::{Gateway, Site, member};
use super::kitchen::Kitchen;

/// Streams that are served at a time, as the gateway promises.
const STREAMS_MAX: usize = 400;
/// How long a stream is served, as the gateway promises; the browser asks again then.
const STREAM_MAX: Duration = Duration::from_secs(60);
/// Streams that are tried at most, until so many as are served are refused.
const TRIED_MAX: usize = 8_000;
/// Tried at a time, so that this process has files enough where it may have 1,024.
const AT_ONCE: usize = 100;
/// Longest wait for an answer.
const ANSWER_MAX: Duration = Duration::from_secs(60);

/// Asks for a stream; what comes first, and the connection.
async fn stream(port: u16, cookie: String) -> (String, TcpStream) {
    let mut connection = TcpStream::connect(("127.0.0.1", port)).await.expect("it listens");
    let request = format!("GET /live HTTP/1.1\r\nhost: 127.0.0.1:{port}\r\ncookie: {cookie}\r\n\r\n");
    connection.write_all(request.as_bytes()).await.expect("it reads");
    let mut head = Vec::new();
    let read = async {
        while !head.windows(4).any(|four| four == b"\r\n\r\n") {
            if connection.read_buf(&mut head).await.unwrap_or(0) == 0 {
                break;
            }
        }
    };
    tokio::time::timeout(ANSWER_MAX, read).await.expect("an answer");
    (String::from_utf8_lossy(&head).into_owned(), connection)
}

// Own promise: whoever opens thousands of pages that stay live gets so many, is told when to come again with the
// others (RFC 9110 §15.6.4), and takes neither pages nor racks from anybody.
#[tokio::test(flavor = "multi_thread")]
async fn thousands_of_streams_take_nothing_from_others() {
    let mut kitchen = Kitchen::open(0.1);
    let mut browser = member(&kitchen.site, &kitchen.gateway, "ana", "manager").await;
    let (port, cookie) = (kitchen.site.port, browser.cookie.clone().expect("logged in"));
    let (mut held, mut refused, began) = (Vec::new(), 0, Instant::now());
    while refused < STREAMS_MAX {
        assert!(held.len() + refused < TRIED_MAX, "{} are served, {refused} refused", held.len());
        let mut asked = JoinSet::new();
        for _ in 0..AT_ONCE {
            asked.spawn(stream(port, cookie.clone()));
        }
        for (head, connection) in asked.join_all().await {
            if head.starts_with("HTTP/1.1 200") {
                assert!(head.contains("text/event-stream"), "{head}");
                held.push(connection);
            } else {
                assert!(head.starts_with("HTTP/1.1 503") && head.contains("retry-after: 30"), "{head}");
                refused += 1;
            }
        }
    }
    // Nobody has let go of one, so that a place is free again only when its stream has come to its end: however
    // long this took, more have never been served at a time.
    let turns = began.elapsed().as_secs() / STREAM_MAX.as_secs() + 1;
    let served_max = STREAMS_MAX * usize::try_from(turns).expect("few");
    assert!((STREAMS_MAX..=served_max).contains(&held.len()), "{} in {turns} turns", held.len());
    for page in ["/", "/alerts", "/history", "/logbook"] {
        assert_eq!(browser.get(page).await.status, 200, "{page}");
    }
    kitchen.until_cold();
    kitchen.until(|kitchen| kitchen.racks() > 5);
    drop(held);
    let limit = tokio::time::Instant::now() + ANSWER_MAX;
    while !stream(port, cookie.clone()).await.0.starts_with("HTTP/1.1 200") {
        assert!(tokio::time::Instant::now() < limit, "no place is given back");
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
    kitchen.gateway.stop();
}

// Slowloris (from memory): requests that never end hold a place for half a minute, and others are served beside
// them.
#[tokio::test(flavor = "multi_thread")]
async fn requests_that_never_end_stop_nobody() {
    let site = Site::new("");
    let gateway = Gateway::start(&site);
    let mut slow = Vec::new();
    for number in 0..600 {
        let mut connection = TcpStream::connect(("127.0.0.1", site.port)).await.expect("it listens");
        let begun = match number % 3 {
            0 => "GET /login HTTP/1.1\r\nhost: x\r\nx-slow: ",
            1 => {
                "POST /login HTTP/1.1\r\nhost: x\r\nsec-fetch-site: same-origin\r\ncontent-length: 40\r\n\r\nacc"
            }
            _ => "P",
        };
        connection.write_all(begun.as_bytes()).await.expect("it reads");
        slow.push(connection);
    }
    assert_eq!(gateway.browser().get("/login").await.status, 200, "beside them");
    let mut ends = JoinSet::new();
    for mut connection in slow {
        ends.spawn(async move {
            let mut said = Vec::new();
            // However it is ended: closed, or reset with what was not read.
            tokio::time::timeout(ANSWER_MAX, connection.read_to_end(&mut said)).await.is_ok()
        });
    }
    assert!(ends.join_all().await.into_iter().all(|ended| ended), "each is ended");
    assert_eq!(gateway.browser().get("/login").await.status, 200, "after them");
    gateway.stop();
}
