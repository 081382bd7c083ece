//! People at the pages: their browsers, as far as they cost the service anything.

use std::io::Read as _;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};

use flate2::read::GzDecoder;
use reqwest::header::{
    ACCEPT, ACCEPT_ENCODING, CACHE_CONTROL, CONTENT_ENCODING, COOKIE, HeaderMap, RETRY_AFTER, SET_COOKIE,
};
use reqwest::redirect::Policy;
use reqwest::{Client, RequestBuilder, Response};
use tokio::task::JoinSet;

/// A password that is taken.
const PASSWORD: &str = "kettle rain seven";
/// How long browsers wait before they ask for a stream again (HTML standard: a few seconds).
const AGAIN_AFTER: Duration = Duration::from_secs(3);

/// A browser that somebody is logged in with.
#[derive(Clone)]
pub(crate) struct Browser {
    client: Client,
    base: Arc<str>,
    cookie: String,
}

/// What an answer was.
pub(crate) struct Answer {
    pub(crate) status: u16,
    pub(crate) body: String,
    /// Bytes with the head.
    pub(crate) bytes: usize,
    /// Whether the browser need not ask again.
    pub(crate) kept: bool,
    pub(crate) took: Duration,
}

impl Browser {
    pub(crate) fn new(port: u16) -> Self {
        // An error says that a provider is installed already.
        drop(rustls::crypto::ring::default_provider().install_default());
        let client = Client::builder().no_proxy().redirect(Policy::none()).build().expect("a client");
        Self { client, base: format!("http://127.0.0.1:{port}").into(), cookie: String::new() }
    }

    fn dressed(&self, request: RequestBuilder) -> RequestBuilder {
        request
            .header(ACCEPT, "text/html")
            .header(ACCEPT_ENCODING, "gzip, deflate, br")
            .header(COOKIE, &self.cookie)
    }

    pub(crate) async fn get(&self, path: &str) -> Answer {
        let began = Instant::now();
        let response = self.dressed(self.client.get(format!("{}{path}", self.base))).send().await;
        let response = response.expect("an answer");
        let packed = response.headers().contains_key(CONTENT_ENCODING);
        let (status, head) = (response.status().as_u16(), head_bytes(response.headers()));
        let kept = response
            .headers()
            .get(CACHE_CONTROL)
            .is_some_and(|kept| kept.to_str().is_ok_and(|kept| kept.contains("immutable")));
        let bytes = response.bytes().await.expect("a body");
        let took = began.elapsed();
        let mut body = String::new();
        if packed {
            GzDecoder::new(&*bytes).read_to_string(&mut body).expect("gzip");
        } else {
            body.push_str(&String::from_utf8_lossy(&bytes));
        }
        Answer { status, bytes: head + bytes.len(), body, kept, took }
    }

    /// Logs in, from an address of its own, as behind a proxy.
    pub(crate) async fn login(&mut self, account: &str, password: &str, from: &str) -> u16 {
        let form = format!("account={account}&password={}", password.replace(' ', "+"));
        let response = self.send("/login", form, from).await;
        let status = response.status().as_u16();
        if let Some(set) = response.headers().get(SET_COOKIE) {
            let set = set.to_str().expect("ASCII");
            self.cookie = set.split(';').next().expect("a pair").to_owned();
        } else {
            assert!(!response.headers().contains_key(RETRY_AFTER), "told to wait");
        }
        status
    }

    /// Logs in with a one-time secret and chooses [`PASSWORD`].
    pub(crate) async fn settle(&mut self, account: &str, secret: &str) {
        assert_eq!(self.login(account, secret, "192.0.2.1").await, 303, "{account}");
        let new = PASSWORD.replace(' ', "+");
        let response =
            self.send("/account", format!("deed=password&current=&new={new}&again={new}"), "192.0.2.1").await;
        assert_eq!(response.status().as_u16(), 303);
        if let Some(set) = response.headers().get(SET_COOKIE) {
            let set = set.to_str().expect("ASCII");
            self.cookie = set.split(';').next().expect("a pair").to_owned();
        }
    }

    /// The same person at another browser.
    pub(crate) async fn again(&self, account: &str, number: usize) -> Self {
        let mut other = self.clone();
        other.cookie = String::new();
        let from = format!("198.51.100.{}", number % 250);
        assert_eq!(other.login(account, PASSWORD, &from).await, 303);
        other
    }

    async fn send(&self, path: &str, form: String, from: &str) -> Response {
        let request = self.client.post(format!("{}{path}", self.base));
        let request = self.dressed(request).header("x-forwarded-for", from);
        let request = request.header("content-type", "application/x-www-form-urlencoded");
        request.header("sec-fetch-site", "same-origin").body(form).send().await.expect("an answer")
    }

    /// Keeps a page open: takes what its stream sends, and asks again when it ends.
    pub(crate) fn keep_open(&self, path: &'static str, seen: Arc<Seen>, open: &mut JoinSet<()>) {
        let browser = self.clone();
        open.spawn(async move {
            loop {
                let request = browser.dressed(browser.client.get(format!("{}{path}", browser.base)));
                seen.begun.fetch_add(1, Ordering::Relaxed);
                if let Ok(mut response) = request.send().await {
                    if !response.status().is_success() {
                        seen.refused.fetch_add(1, Ordering::Relaxed);
                    }
                    while let Ok(Some(chunk)) = response.chunk().await {
                        seen.bytes.fetch_add(chunk.len() as u64, Ordering::Relaxed);
                    }
                }
                tokio::time::sleep(AGAIN_AFTER).await;
            }
        });
    }
}

/// What open pages were sent.
#[derive(Default)]
pub(crate) struct Seen {
    pub(crate) begun: AtomicU64,
    pub(crate) refused: AtomicU64,
    pub(crate) bytes: AtomicU64,
}

/// The head of an answer as it was on the wire.
fn head_bytes(headers: &HeaderMap) -> usize {
    let fields = headers.iter().map(|(name, value)| name.as_str().len() + value.len() + 4);
    "HTTP/1.1 200 OK\r\n\r\n".len() + fields.sum::<usize>()
}
