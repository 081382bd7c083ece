//! Loads the configuration for a command.

use std::path::PathBuf;

use super::{Failure, Streams};
use crate::config::layers;
use crate::config::load::Loaded;
use crate::config::resolve::Configuration;
use crate::diagnostic::Diagnostic;

/// Loads the files with the environment over them. What is legal but doubtful is not told: a
/// command that only asks or enters something would say it before each answer.
///
/// # Errors
/// Every problem of the configuration at once.
pub(super) fn load(files: &[PathBuf]) -> Result<Loaded, Failure> {
    loaded(files, layers::environment())
}

/// The same for a command that is about the configuration or goes on with it for long: what is
/// doubtful goes to `streams.err`.
///
/// # Errors
/// Every problem of the configuration at once.
pub(super) fn load_with_doubts(files: &[PathBuf], streams: &mut Streams<'_>) -> Result<Loaded, Failure> {
    tell_doubts(loaded(files, layers::environment())?, streams)
}

/// Loads one file without an environment, and tells what is doubtful.
///
/// # Errors
/// Every problem of the configuration at once.
pub(super) fn load_alone(file: PathBuf, streams: &mut Streams<'_>) -> Result<Loaded, Failure> {
    tell_doubts(loaded(&[file], [])?, streams)
}

fn loaded(
    files: &[PathBuf],
    variables: impl IntoIterator<Item = (String, String)>,
) -> Result<Loaded, Failure> {
    Configuration::load(files, variables)
        .map_err(|problems| Failure::from(problems.iter().map(Diagnostic::from).collect::<Vec<_>>()))
}

fn tell_doubts(loaded: Loaded, streams: &mut Streams<'_>) -> Result<Loaded, Failure> {
    for doubt in &loaded.warnings {
        writeln!(streams.err, "{}", Diagnostic::from(doubt)).map_err(Failure::output)?;
    }
    Ok(loaded)
}
