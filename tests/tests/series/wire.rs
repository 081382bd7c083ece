//! Links that break in the middle: every one becomes an outcome in bounded time, and the same batch
//! sent again is there once.

use std::time::{Duration, Instant};

use rinseward::series::answer::{Fault, Outcome};

use super::bad_proxy::{BadProxy, Mischief};
use super::influx::Influx;
use super::{batch, fault, options, sender};

#[tokio::test]
async fn whatever_the_link_does_the_batch_is_there_once_in_the_end() {
    let server = Influx::start().await;
    for (mischief, expected) in [
        (Mischief::Reset, Fault::Cut),
        (Mischief::CutRequest(0), Fault::Cut),
        (Mischief::CutRequest(100), Fault::Cut),
        (Mischief::CutRequest(600), Fault::Cut),
        (Mischief::CutAnswer(0), Fault::Cut),
        (Mischief::CutAnswer(10), Fault::Cut),
        (Mischief::Stall, Fault::Timeout),
        (Mischief::Drip(Duration::from_millis(200)), Fault::Timeout),
        (Mischief::Garbage, Fault::NotHttp),
    ] {
        let proxy = BadProxy::start(server.port(), []).await;
        proxy.add([mischief]);
        let mut options = options(&proxy.url());
        options.timeout = Duration::from_secs(1);
        options.gzip = false;
        let sender = sender(&options);
        let batch = batch(50);
        let started = Instant::now();
        assert_eq!(fault(sender.write(batch.lines()).await), expected, "{mischief:?}");
        assert!(started.elapsed() < Duration::from_secs(5), "{mischief:?}: {:?}", started.elapsed());

        assert_eq!(sender.write(batch.lines()).await, Outcome::Taken, "{mischief:?}");
        assert_eq!(server.behaviour().points.len(), 50, "{mischief:?}");
        assert_eq!(proxy.connections(), 2, "{mischief:?}");
    }
}

/// An answer that was given counts, even where what follows it is cut off.
#[tokio::test]
async fn a_status_that_came_through_counts() {
    let server = Influx::start().await;
    let slow = BadProxy::start(server.port(), [Mischief::Drip(Duration::from_millis(1))]).await;
    assert_eq!(sender(&options(&slow.url())).write(batch(1).lines()).await, Outcome::Taken);
}

#[tokio::test]
async fn no_server_and_no_name_are_told_apart() {
    let listener = std::net::TcpListener::bind("127.0.0.1:0").expect("loopback");
    let port = listener.local_addr().expect("a bound socket").port();
    drop(listener);
    for (url, expected) in [
        (format!("http://127.0.0.1:{port}/"), Fault::ConnectionRefused),
        // RFC 6761 §6.4: no name below .invalid ever exists.
        ("http://influx.invalid:8086/".to_owned(), Fault::Name),
    ] {
        assert_eq!(fault(sender(&options(&url)).write(batch(1).lines()).await), expected, "{url}");
    }
}

/// Dropped in the middle of a request, the sender serves the next one.
#[tokio::test]
async fn a_request_may_be_given_up_at_any_instant() {
    let server = Influx::start().await;
    let proxy = BadProxy::start(server.port(), [Mischief::Stall]).await;
    let sender = sender(&options(&proxy.url()));
    let given_up = tokio::time::timeout(Duration::from_millis(200), sender.write(batch(5).lines())).await;
    assert!(given_up.is_err());
    assert_eq!(sender.write(batch(5).lines()).await, Outcome::Taken);
    assert_eq!(server.behaviour().points.len(), 5);
}
