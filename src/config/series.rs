//! `[series]` in its resolved form.

use std::path::PathBuf;
use std::time::Duration;

/// Where time series go, and how.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct SeriesOptions {
    /// The server: `http` or `https`, no user, no query, and a path that ends in a slash.
    pub url: reqwest::Url,
    /// Name of the organisation.
    pub organisation: String,
    /// Name of the bucket.
    pub bucket: String,
    /// File that holds the API token.
    pub token_file: Option<PathBuf>,
    /// Certificates of a private CA, in PEM form.
    pub ca_file: Option<PathBuf>,
    /// Which readings are sent.
    pub readings: Readings,
    /// Longest time for one request.
    pub timeout: Duration,
    /// Most points in one request.
    pub batch_points: usize,
    /// Whether requests are compressed.
    pub gzip: bool,
}

/// Which readings are sent.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Readings {
    /// Every one.
    All,
    /// Of each probe the first one in each whole interval since the epoch, every fault and every flag.
    Every(Duration),
}
