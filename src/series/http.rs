//! The HTTP side of a server: address, token, TLS, time-outs, and what a failed
//! request means.
//!
//! Nothing is taken from the environment: no proxy of a shell, no redirection
//! to another host, since the token would go with the request. TLS is rustls
//! with the roots of the system, or with those of `ca-file` alone.

use std::error::Error as StdError;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};
use std::time::Duration;

use reqwest::header::{AUTHORIZATION, CONTENT_ENCODING, CONTENT_TYPE, DATE, HeaderMap, HeaderValue};
use reqwest::header::{LOCATION, RETRY_AFTER};
use reqwest::{Client, Method, Url, redirect};

use super::answer::{Answer, Fault, TlsFault};
use crate::config::series::SeriesOptions;
use crate::transport::{certificate, retry_after, secret};

/// Longest wait for a connection (own choice); less where the whole request has less.
const CONNECT_MAX: Duration = Duration::from_secs(10);
/// Redirections within the same server that are followed.
const REDIRECTS_MAX: usize = 3;
/// Longest wait that is taken from a server; an hour more than that is a mistake of the server.
const RETRY_AFTER_MAX: Duration = Duration::from_secs(3_600);

/// Why a server could not be prepared: nothing of it changes by waiting.
#[derive(Debug, thiserror::Error)]
pub enum PrepareError {
    /// A secret or a certificate cannot be used.
    #[error(transparent)]
    Files(#[from] secret::PrepareError),
    /// A token file without a token.
    #[error("«{}» holds no token in its first line", path.display())]
    NoToken {
        /// The file.
        path: PathBuf,
    },
    /// The HTTP client cannot be built.
    #[error("the HTTP client cannot be built")]
    Client(#[source] reqwest::Error),
}

impl PrepareError {
    /// What to type or do about it.
    #[must_use]
    pub fn fix(&self) -> String {
        match self {
            Self::Files(secret::PrepareError::NoSystemRoots) => {
                "install the package ca-certificates, or name a [series] ca-file".to_owned()
            }
            Self::Files(secret::PrepareError::Tls(_)) => {
                "check the certificates in [series] ca-file".to_owned()
            }
            Self::Files(error) => error.fix(),
            Self::NoToken { path } => format!("write the token into the first line of {}", path.display()),
            Self::Client(_) => "read the cause".to_owned(),
        }
    }
}

/// A server, ready to be asked. It holds no connection before the first request.
#[derive(Debug)]
pub struct Server {
    client: Client,
    base: Url,
    token: Option<Token>,
}

/// What is sent.
#[derive(Clone, Debug)]
pub(super) struct Request {
    pub(super) method: Method,
    /// Below the address of the server, without a slash at the start.
    pub(super) path: &'static str,
    pub(super) query: Vec<(&'static str, String)>,
    pub(super) content_type: &'static str,
    pub(super) is_gzip: bool,
    pub(super) body: bytes::Bytes,
    /// How much of the answer is read, in bytes.
    pub(super) answer_bytes_max: usize,
}

impl Request {
    /// A question without a body.
    pub(super) fn get(path: &'static str, query: Vec<(&'static str, String)>) -> Self {
        Self {
            method: Method::GET,
            path,
            query,
            content_type: "",
            is_gzip: false,
            body: bytes::Bytes::new(),
            answer_bytes_max: 1 << 20,
        }
    }
}

impl Server {
    /// Prepares the server of `options`. A token that cannot be read yet is no reason to stop: it
    /// is looked for again with every request.
    ///
    /// # Errors
    /// [`PrepareError`] where the certificates cannot be used.
    pub fn new(options: &SeriesOptions) -> Result<Self, PrepareError> {
        // Without TLS no root is ever looked at.
        let is_https = options.url.scheme() == "https";
        let tls = if is_https {
            certificate::client(options.ca_file.as_deref(), None)?
        } else {
            certificate::trusts_nobody()?
        };
        let client = Client::builder()
            .user_agent(concat!("rinseward/", env!("CARGO_PKG_VERSION")))
            .timeout(options.timeout)
            .connect_timeout(options.timeout.min(CONNECT_MAX))
            .redirect(redirect::Policy::custom(within_the_server))
            .no_proxy()
            .tls_backend_preconfigured((*tls).clone())
            .https_only(is_https)
            .build()
            .map_err(PrepareError::Client)?;
        let token = options.token_file.as_ref().map(|path| Token::new(path));
        Ok(Self { client, base: options.url.clone(), token })
    }

    /// Sends a request and reads the answer. Where the server does not know the token and the file
    /// holds another one by then, it is sent once more with that.
    pub(super) async fn ask(&self, request: &Request) -> Result<Answer, Fault> {
        let Some(token) = &self.token else { return self.ask_with(request, None).await };
        let first =
            token.current().map_err(|error| Fault::Token { cause: chain(&error), fix: error.fix() })?;
        let answer = self.ask_with(request, Some(&first)).await?;
        if answer.status != 401 {
            return Ok(answer);
        }
        match token.read_again() {
            Ok(second) if second != first => self.ask_with(request, Some(&second)).await,
            Ok(_) | Err(_) => Ok(answer),
        }
    }

    async fn ask_with(&self, request: &Request, token: Option<&HeaderValue>) -> Result<Answer, Fault> {
        let mut url = self.base.join(request.path).map_err(|error| other(&error))?;
        if !request.query.is_empty() {
            url.query_pairs_mut().extend_pairs(request.query.iter().map(|(name, value)| (*name, value)));
        }
        let mut headers = HeaderMap::new();
        if let Some(token) = token {
            headers.insert(AUTHORIZATION, token.clone());
        }
        if !request.body.is_empty() {
            headers.insert(CONTENT_TYPE, HeaderValue::from_static(request.content_type));
        }
        if request.is_gzip {
            headers.insert(CONTENT_ENCODING, HeaderValue::from_static("gzip"));
        }
        let built = self.client.request(request.method.clone(), url).headers(headers);
        let response = built.body(request.body.clone()).send().await.map_err(|error| fault(&error))?;
        let status = response.status().as_u16();
        let text = |name| response.headers().get(name).and_then(|value| value.to_str().ok());
        let location = text(LOCATION).map(|text| super::point::one_line(text, 300));
        let retry_after = text(RETRY_AFTER).and_then(|after| wait(after, text(DATE)));
        let body = match body(response, request.answer_bytes_max).await {
            Ok(body) => body,
            // The status says what became of a refused request; its explanation is a gift.
            Err(_) if !(200..300).contains(&status) => Vec::new(),
            Err(error) => return Err(fault(&error)),
        };
        Ok(Answer { status, location, retry_after, body })
    }
}

/// Reads an answer up to `bytes_max`; what comes after it is not read.
async fn body(mut response: reqwest::Response, bytes_max: usize) -> Result<Vec<u8>, reqwest::Error> {
    let mut body = Vec::new();
    while let Some(chunk) = response.chunk().await? {
        let room = bytes_max - body.len();
        body.extend_from_slice(&chunk[..chunk.len().min(room)]);
        if body.len() == bytes_max {
            break;
        }
    }
    Ok(body)
}

/// How long a `Retry-After` asks to wait, as far as it is believed.
fn wait(after: &str, date: Option<&str>) -> Option<Duration> {
    Some(retry_after::read(after, date)?.min(RETRY_AFTER_MAX))
}

/// Follows a redirection that keeps the method and the server: 307 and 308 (RFC 9110 §15.4.8, §15.4.9).
fn within_the_server(attempt: redirect::Attempt<'_>) -> redirect::Action {
    let keeps_method = matches!(attempt.status().as_u16(), 307 | 308);
    let same = attempt.previous().first().is_some_and(|first| first.origin() == attempt.url().origin());
    if keeps_method && same && attempt.previous().len() <= REDIRECTS_MAX {
        attempt.follow()
    } else {
        attempt.stop()
    }
}

/// The API token; never printed.
struct Token {
    path: PathBuf,
    read: Mutex<Option<HeaderValue>>,
}

impl std::fmt::Debug for Token {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Token").field("path", &self.path).finish_non_exhaustive()
    }
}

impl Token {
    fn new(path: &Path) -> Self {
        Self { path: path.to_owned(), read: Mutex::new(None) }
    }

    /// The token as it was read last; read from its file where that has not worked yet.
    fn current(&self) -> Result<HeaderValue, PrepareError> {
        let known = self.read.lock().unwrap_or_else(PoisonError::into_inner).clone();
        known.map_or_else(|| self.read_again(), Ok)
    }

    fn read_again(&self) -> Result<HeaderValue, PrepareError> {
        let no_token = || PrepareError::NoToken { path: self.path.clone() };
        let line = secret::first_line(&self.path).map_err(|error| {
            if matches!(error, secret::PrepareError::Empty { .. }) { no_token() } else { error.into() }
        })?;
        let token = line.trim();
        let header = HeaderValue::try_from(format!("Token {token}"));
        let (false, Ok(mut header)) = (token.is_empty(), header) else {
            return Err(no_token());
        };
        header.set_sensitive(true);
        *self.read.lock().unwrap_or_else(PoisonError::into_inner) = Some(header.clone());
        Ok(header)
    }
}

/// What a request that came to no answer means. The crates below say most of it
/// only by the errors they wrap.
fn fault(error: &reqwest::Error) -> Fault {
    let mut next: Option<&(dyn StdError + 'static)> = Some(error);
    let mut cut = false;
    while let Some(error) = next {
        if let Some(tls) = error.downcast_ref::<rustls::Error>() {
            return Fault::Tls(tls_fault(tls));
        }
        if let Some(io) = error.downcast_ref::<io::Error>() {
            if let Some(tls) = certificate::error_within(io) {
                return Fault::Tls(tls_fault(tls));
            }
            if io.kind() == io::ErrorKind::ConnectionRefused {
                return Fault::ConnectionRefused;
            }
            cut |= matches!(
                io.kind(),
                io::ErrorKind::ConnectionReset
                    | io::ErrorKind::BrokenPipe
                    | io::ErrorKind::UnexpectedEof
                    | io::ErrorKind::ConnectionAborted
            );
        }
        if error.to_string().starts_with("dns error") {
            return Fault::Name;
        }
        if let Some(http) = error.downcast_ref::<hyper::Error>() {
            if http.is_parse() {
                return Fault::NotHttp;
            }
            cut |= http.is_incomplete_message() || http.is_closed() || http.is_canceled();
        }
        next = error.source();
    }
    match (error.is_timeout(), error.is_connect()) {
        (true, true) => Fault::ConnectTimeout,
        (true, false) => Fault::Timeout,
        (false, _) if cut => Fault::Cut,
        (false, true) => Fault::Connect { cause: chain(error) },
        (false, false) => other(error),
    }
}

fn tls_fault(error: &rustls::Error) -> TlsFault {
    match certificate::fault_of(error) {
        Some(certificate::TlsFault::UnknownAuthority) => TlsFault::UnknownAuthority,
        Some(certificate::TlsFault::OtherName) => TlsFault::OtherName,
        Some(certificate::TlsFault::NotValidNow) => TlsFault::NotValidNow,
        Some(certificate::TlsFault::NoTls) => TlsFault::NoTls,
        // Told in the words of TLS: the series shows no certificate of its own.
        Some(
            certificate::TlsFault::AuthorityAsServer
            | certificate::TlsFault::ClientCertificateMissing
            | certificate::TlsFault::ClientCertificateRefused,
        )
        | None => TlsFault::Other { cause: chain(error) },
    }
}

fn other(error: &(dyn StdError + 'static)) -> Fault {
    Fault::Other { cause: chain(error) }
}

/// An error and what is behind it, on one line; the address is left to the message around it.
pub(super) fn chain(error: &(dyn StdError + 'static)) -> String {
    let mut parts: Vec<String> = Vec::new();
    let mut next = Some(error);
    while let Some(error) = next {
        let part = error.to_string();
        if parts.last() != Some(&part) {
            parts.push(part);
        }
        next = error.source();
    }
    super::point::one_line(&parts.join(": "), 500)
}

#[cfg(test)]
mod tests;
