//! What became of a request, in closed words, and what that asks of people.
//!
//! | answer of the server | here | what the sender's caller does |
//! |---|---|---|
//! | 204 | [`Outcome::Taken`] | goes on |
//! | 429, 503 | [`Outcome::Busy`] | waits as told, sends the same again |
//! | other 5xx, 408, no connection, time-out, TLS, cut answer | [`Outcome::Later`] | waits, sends the same again |
//! | 413 | [`Outcome::TooLarge`] | halves |
//! | 400, 422, 201 | [`Outcome::Refused`] | halves until the points at fault stand alone |
//! | 401, 403 | [`Outcome::Denied`] | waits for a person, tries now and then |
//! | 404 | [`Outcome::Missing`] | the same |
//! | anything else | [`Outcome::Foreign`] | the same |
//!
//! With 400 and 422 InfluxDB 2 may have written some points of the batch. That
//! needs no care: a point that is written again replaces itself.

use std::time::Duration;

use serde::Deserialize;

/// What became of a batch.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Outcome {
    /// The server has taken every point.
    Taken,
    /// The server has too much to do.
    Busy {
        /// Status of the answer: 429 or 503.
        status: u16,
        /// How long it asks to wait, where it says so.
        retry_after: Option<Duration>,
    },
    /// It did not work, and may work later.
    Later(Fault),
    /// The request is larger than the server takes.
    TooLarge,
    /// The server will not have at least one of the points.
    Refused(Refusal),
    /// The token is wrong, or may not write here.
    Denied(Denial),
    /// The bucket, the organisation or the path is not there.
    Missing(Missing),
    /// What answers is no server of this API: a redirection to another host, a page, a status that
    /// the API does not have.
    Foreign {
        /// Status of the answer.
        status: u16,
        /// Where it points to.
        location: Option<String>,
    },
}

/// Why a request could not be brought to its end.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum Fault {
    /// The name of the host is not known.
    #[error("the name of the host cannot be resolved")]
    Name,
    /// Nothing listens there.
    #[error("nothing listens at this address (connection refused)")]
    ConnectionRefused,
    /// No connection, for another reason.
    #[error("no connection: {cause}")]
    Connect {
        /// Why.
        cause: String,
    },
    /// No connection in time.
    #[error("no connection in time")]
    ConnectTimeout,
    /// No whole answer in time.
    #[error("no whole answer in time")]
    Timeout,
    /// TLS failed.
    #[error(transparent)]
    Tls(#[from] TlsFault),
    /// The connection ended before the answer did.
    #[error("the connection ended in the middle of the request or of the answer")]
    Cut,
    /// What came back is not HTTP.
    #[error("what answers does not speak HTTP")]
    NotHttp,
    /// The server failed.
    #[error("the server answers {status}{}", quoted(message))]
    Server {
        /// Status of the answer.
        status: u16,
        /// Its message.
        message: Option<String>,
    },
    /// The token cannot be read from its file.
    #[error("{cause}")]
    Token {
        /// Why.
        cause: String,
        /// What to type or do about it.
        fix: String,
    },
    /// The certificates that are configured cannot be used.
    #[error("{cause}")]
    Certificates {
        /// Why.
        cause: String,
        /// What to type or do about it.
        fix: String,
    },
    /// Anything else.
    #[error("{cause}")]
    Other {
        /// Why.
        cause: String,
    },
}

/// Why TLS failed.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum TlsFault {
    /// The certificate is signed by somebody else.
    #[error("the server's certificate is not signed by an authority trusted here")]
    UnknownAuthority,
    /// The certificate is for other names.
    #[error("the server's certificate is for another host name")]
    OtherName,
    /// The certificate is out of date, or the clock is.
    #[error("the server's certificate is not valid at this time")]
    NotValidNow,
    /// The server does not speak TLS.
    #[error("what answers at this port does not speak TLS")]
    NoTls,
    /// Anything else.
    #[error("TLS failed: {cause}")]
    Other {
        /// Why.
        cause: String,
    },
}

/// What the server says of points that it will not have.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Refusal {
    /// Status of the answer: 400, 422 or 201.
    pub status: u16,
    /// Its message, where it has one.
    pub message: Option<String>,
    /// The line at fault, from 1, where it names one.
    pub line: Option<usize>,
    /// How many points were dropped while all others were written, where it says so: «dropped=2».
    pub dropped: Option<usize>,
}

/// The token is wrong, or may not write here.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Denial {
    /// Status of the answer: 401 or 403.
    pub status: u16,
    /// Its message.
    pub message: Option<String>,
}

/// What is not there.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Missing {
    /// What.
    pub what: Thing,
    /// The message of the server.
    pub message: Option<String>,
}

/// What may be missing on a server.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Thing {
    /// The bucket.
    Bucket,
    /// The organisation.
    Organisation,
    /// The path itself.
    Path,
}

/// Longest message that is kept of a server, in bytes.
const MESSAGE_BYTES_MAX: usize = 500;

/// An answer as it came.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(super) struct Answer {
    /// Status.
    pub(super) status: u16,
    /// Where it points to.
    pub(super) location: Option<String>,
    /// How long to wait.
    pub(super) retry_after: Option<Duration>,
    /// What was read of it.
    pub(super) body: Vec<u8>,
}

/// Error body of InfluxDB 2 (OpenAPI description, schemas `Error` and `LineProtocolError`).
#[derive(Deserialize)]
struct ErrorBody {
    message: Option<String>,
    /// InfluxDB 1.8 and servers after it.
    error: Option<String>,
    line: Option<serde_json::Number>,
}

impl Answer {
    /// The message of the server on one line, cut to a length that fits a log.
    pub(super) fn message(&self) -> Option<String> {
        let text = match serde_json::from_slice::<ErrorBody>(&self.body) {
            Ok(body) => body.message.or(body.error)?,
            Err(_) => String::from_utf8_lossy(&self.body).trim().to_owned(),
        };
        // A page for a browser explains nothing here.
        let tells = !text.is_empty() && !text.starts_with('<');
        tells.then(|| super::point::one_line(&text, MESSAGE_BYTES_MAX))
    }

    /// What this answer to a write means.
    pub(super) fn outcome(&self) -> Outcome {
        let message = self.message();
        match self.status {
            204 => Outcome::Taken,
            // victoria-metrics 1.79 has no 404 for a path that it does not know.
            400 if message.as_deref().is_some_and(|told| told.contains("unsupported path requested")) => {
                Outcome::Missing(Missing { what: Thing::Path, message })
            }
            201 | 400 | 422 => Outcome::Refused(self.refusal(message)),
            401 | 403 => Outcome::Denied(Denial { status: self.status, message }),
            404 => Outcome::Missing(Missing { what: thing(message.as_deref()), message }),
            413 => Outcome::TooLarge,
            429 | 503 => Outcome::Busy { status: self.status, retry_after: self.retry_after },
            status @ (408 | 500..=599) => Outcome::Later(Fault::Server { status, message }),
            status => Outcome::Foreign { status, location: self.location.clone() },
        }
    }

    fn refusal(&self, message: Option<String>) -> Refusal {
        let body = serde_json::from_slice::<ErrorBody>(&self.body).ok();
        let line = body.and_then(|body| body.line?.as_u64()).and_then(|line| usize::try_from(line).ok());
        let dropped = message.as_deref().and_then(|message| {
            let digits = message.split_once("dropped=")?.1;
            digits.split(|c: char| !c.is_ascii_digit()).next()?.parse().ok()
        });
        Refusal { status: self.status, message, line: line.filter(|line| *line > 0), dropped }
    }
}

/// What a 404 to a write is about. InfluxDB 2 names it in its message; a server
/// that does not know the path says something else.
fn thing(message: Option<&str>) -> Thing {
    let message = message.unwrap_or_default().to_lowercase();
    if message.contains("bucket") {
        Thing::Bucket
    } else if message.contains("org") && message.contains("not found") {
        Thing::Organisation
    } else {
        Thing::Path
    }
}

fn quoted(message: &Option<String>) -> String {
    message.as_ref().map(|message| format!(": «{message}»")).unwrap_or_default()
}

#[cfg(test)]
mod tests;
