//! The HTTP side of webhooks and heartbeats.
//!
//! No redirection is followed, since a signed event must not go where nobody
//! sent it, and nothing is taken from the environment. TLS is rustls with the
//! roots of the system, or with those of `ca-file` alone.

use std::path::Path;
use std::time::Duration;

use reqwest::header::{DATE, HeaderMap, RETRY_AFTER};
use reqwest::{Client, Response, Url, redirect};

use super::answer::{chain, printable};
use crate::core::alert::trial::{Fact, Told};
use crate::transport::certificate::{self, fault_among};
use crate::transport::retry_after;
use crate::transport::secret::PrepareError;

/// Longest wait for a connection (own choice); less where the whole request has less.
const CONNECT_MAX: Duration = Duration::from_secs(10);
/// How much of an answer is looked at, in bytes.
const SAID_MAX: usize = 2_048;

/// Builds a client.
pub(super) fn client(ca_file: Option<&Path>, timeout: Duration) -> Result<Client, PrepareError> {
    let tls = certificate::client(ca_file, None)?;
    Client::builder()
        .tls_backend_preconfigured((*tls).clone())
        .redirect(redirect::Policy::none())
        .no_proxy()
        .timeout(timeout)
        .connect_timeout(CONNECT_MAX.min(timeout))
        .pool_idle_timeout(Duration::from_secs(20))
        .user_agent(concat!("rinseward/", env!("CARGO_PKG_VERSION")))
        .build()
        .map_err(PrepareError::Client)
}

/// Why there was no answer.
pub(super) fn failure(error: reqwest::Error, timeout: Duration) -> Told {
    let address = error.url().and_then(address);
    let error = error.without_url();
    if let Some(fault) = fault_among(&error) {
        return fault.into();
    }
    let fact = if error.is_timeout() {
        return Fact::NoAnswer { within: format!("{timeout:?}") }.into();
    } else if error.is_builder() {
        Fact::NotARequest {}
    } else if error.is_connect() {
        address.map_or(Fact::NoConnection {}, |address| Fact::NotConnected { address })
    } else {
        Fact::Broken {}
    };
    Told::from(fact).because(chain(&error))
}

/// Host and port: what stands behind them may be a secret.
fn address(url: &Url) -> Option<String> {
    let (host, port) = (url.host_str()?, url.port_or_known_default()?);
    Some(format!("{host}:{port}"))
}

/// The beginning of what a receiver said, on one line.
pub(super) async fn said(response: &mut Response) -> String {
    let mut bytes = Vec::new();
    while bytes.len() < SAID_MAX {
        match response.chunk().await {
            Ok(Some(chunk)) => bytes.extend_from_slice(&chunk[..chunk.len().min(SAID_MAX)]),
            Ok(None) | Err(_) => break,
        }
    }
    printable(&String::from_utf8_lossy(&bytes))
}

/// How long the receiver asks to be left alone.
pub(super) fn asked_to_wait(headers: &HeaderMap) -> Option<Duration> {
    let text = |name| headers.get(name).and_then(|value| value.to_str().ok());
    retry_after::read(text(RETRY_AFTER)?, text(DATE))
}

#[cfg(test)]
mod tests {
    use reqwest::header::HeaderValue;
    use tokio::io::{AsyncReadExt, AsyncWriteExt};
    use tokio::net::TcpListener;

    use super::*;

    /// A real request to `url`, which is not answered.
    async fn unanswered(url: &str) -> Fact {
        let tls = certificate::trusts_nobody().expect("ring");
        let client = Client::builder().tls_backend_preconfigured((*tls).clone()).no_proxy().build();
        let error = client.expect("a client").post(url).send().await.expect_err("no answer");
        failure(error, CONNECT_MAX).fact
    }

    // Own rule: what stays on record says what happened, and shows nothing of the path.
    #[tokio::test]
    async fn why_there_was_no_answer_is_told_apart() {
        let listener = TcpListener::bind("127.0.0.1:0").await.expect("a free port");
        let address = listener.local_addr().expect("its address").to_string();
        let url = format!("http://{address}/secret");
        for said in ["", "HTTP/1.1 200", "no HTTP at all\r\n\r\n"] {
            let hangs_up = async {
                let (mut stream, _) = listener.accept().await.expect("a connection");
                let read = stream.read(&mut [0; 4_096]).await.expect("a request");
                stream.write_all(said.as_bytes()).await.expect("it listens");
                read
            };
            let (fact, read) = tokio::join!(unanswered(&url), hangs_up);
            assert!(read > 0);
            assert_eq!(fact, Fact::Broken {}, "{said:?}");
        }
        drop(listener);
        assert_eq!(unanswered(&url).await, Fact::NotConnected { address });
        assert_eq!(unanswered("http://").await, Fact::NotARequest {});
    }

    // RFC 9110 §10.2.3 (both forms), §5.6.7 (the date).
    #[test]
    fn reads_how_long_to_wait() {
        for (retry, date, expected) in [
            ("120", None, Some(120)),
            ("Fri, 31 Dec 1999 23:59:59 GMT", Some("Fri, 31 Dec 1999 23:58:59 GMT"), Some(60)),
            ("Fri, 31 Dec 1999 23:59:59 GMT", Some("Sat, 01 Jan 2000 00:00:00 GMT"), Some(0)),
            ("Fri, 31 Dec 1999 23:59:59 GMT", None, None),
            ("soon", None, None),
            ("-5", None, None),
        ] {
            let mut headers = HeaderMap::new();
            headers.insert(RETRY_AFTER, HeaderValue::from_static(retry));
            if let Some(date) = date {
                headers.insert(DATE, HeaderValue::from_static(date));
            }
            assert_eq!(asked_to_wait(&headers), expected.map(Duration::from_secs), "{retry}");
        }
    }
}
