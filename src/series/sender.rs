//! Brings a batch to the server and says what became of it.
//!
//! One request at a time is enough: the server's own work, not the way there,
//! sets the pace. The sender keeps nothing of a batch; who calls it keeps the
//! batch until the outcome is [`Outcome::Taken`].

use std::io::Write;

use flate2::Compression;
use flate2::write::GzEncoder;
use reqwest::Method;

use super::answer::{Fault, Outcome};
use super::batch::Lines;
use super::http::{PrepareError, Request, Server};
use crate::config::series::SeriesOptions;

/// Level of gzip. Measured on lines of readings: level 1 leaves 7.6 bytes a point at 4.7 million
/// points a second and core, level 6 leaves 5.4 at 0.74 million.
const GZIP_LEVEL: u32 = 1;
/// How much of an answer to a write is read, in bytes.
const ANSWER_BYTES_MAX: usize = 64 << 10;

/// Writes to one bucket.
#[derive(Debug)]
pub struct Sender {
    server: Server,
    organisation: String,
    bucket: String,
    is_gzip: bool,
}

impl Sender {
    /// Prepares a sender; nothing is sent yet.
    ///
    /// # Errors
    /// [`PrepareError`] where the certificates cannot be used.
    pub fn new(options: &SeriesOptions) -> Result<Self, PrepareError> {
        Ok(Self {
            server: Server::new(options)?,
            organisation: options.organisation.clone(),
            bucket: options.bucket.clone(),
            is_gzip: options.gzip,
        })
    }

    /// The server it writes to.
    #[must_use]
    pub const fn server(&self) -> &Server {
        &self.server
    }

    /// Writes these lines, times in nanoseconds. No lines are taken without asking.
    ///
    /// May be dropped at any instant: the server has then taken all, some or none of them, and
    /// writing them again is right.
    pub async fn write(&self, lines: Lines<'_>) -> Outcome {
        if lines.is_empty() {
            return Outcome::Taken;
        }
        let body = if self.is_gzip {
            match gzip(lines.bytes()) {
                Ok(body) => body,
                Err(error) => return Outcome::Later(Fault::Other { cause: error.to_string() }),
            }
        } else {
            lines.bytes().to_vec()
        };
        let request = Request {
            method: Method::POST,
            path: "api/v2/write",
            query: vec![
                ("org", self.organisation.clone()),
                ("bucket", self.bucket.clone()),
                ("precision", "ns".to_owned()),
            ],
            content_type: "text/plain; charset=utf-8",
            is_gzip: self.is_gzip,
            body: body.into(),
            answer_bytes_max: ANSWER_BYTES_MAX,
        };
        match self.server.ask(&request).await {
            Ok(answer) => answer.outcome(),
            Err(fault) => Outcome::Later(fault),
        }
    }
}

/// Lines compressed.
fn gzip(bytes: &[u8]) -> std::io::Result<Vec<u8>> {
    let mut encoder = GzEncoder::new(Vec::with_capacity(bytes.len() / 8), Compression::new(GZIP_LEVEL));
    encoder.write_all(bytes)?;
    encoder.finish()
}
