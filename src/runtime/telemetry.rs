//! Logs: to standard error, since standard output belongs to what was asked for.

use std::io::IsTerminal;

use tracing_subscriber::EnvFilter;
use tracing_subscriber::filter::ParseError;

/// What is logged where nobody says otherwise.
const FILTER_DEFAULT: &str = "info";

/// Form of the log.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default, clap::ValueEnum)]
pub enum LogForm {
    /// Lines for people.
    #[default]
    Text,
    /// One JSON object a line.
    Json,
}

/// How to log.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Log {
    /// Filter in the syntax of `RUST_LOG`; that variable where `None`, else `info`.
    pub filter: Option<String>,
    /// Form.
    pub form: LogForm,
}

/// Why logging could not be set up.
#[derive(Debug, thiserror::Error)]
#[error("«{filter}» is no log filter")]
pub struct BadFilter {
    /// The filter as given.
    pub filter: String,
    /// What the parser says.
    #[source]
    pub source: ParseError,
}

/// Starts logging; a second call in one process changes nothing.
///
/// # Errors
/// [`BadFilter`] where the filter cannot be read.
pub fn start(log: &Log) -> Result<(), BadFilter> {
    let text = log
        .filter
        .clone()
        .or_else(|| std::env::var(EnvFilter::DEFAULT_ENV).ok().filter(|text| !text.is_empty()))
        .unwrap_or_else(|| FILTER_DEFAULT.to_owned());
    let filter = EnvFilter::try_new(&text).map_err(|source| BadFilter { filter: text, source })?;
    let colour = std::io::stderr().is_terminal() && std::env::var_os("NO_COLOR").is_none();
    let builder =
        tracing_subscriber::fmt().with_env_filter(filter).with_writer(std::io::stderr).with_ansi(colour);
    let started = match log.form {
        LogForm::Text => builder.try_init(),
        LogForm::Json => builder.json().flatten_event(true).try_init(),
    };
    // A subscriber that is already there was set up by an earlier call, or by a test.
    drop(started);
    Ok(())
}
