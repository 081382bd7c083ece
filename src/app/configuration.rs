//! Loads the configuration for a command.

use std::path::PathBuf;

use super::{Failure, Streams};
use crate::config::layers;
use crate::config::load::Loaded;
use crate::config::resolve::Configuration;
use crate::diagnostic::Diagnostic;

/// Loads the files with the environment over them; warnings go to `streams.err`.
///
/// # Errors
/// Every problem of the configuration at once.
pub(super) fn load(files: &[PathBuf], streams: &mut Streams<'_>) -> Result<Loaded, Failure> {
    load_from(files, layers::environment(), streams)
}

/// The same with these variables as the environment.
///
/// # Errors
/// Every problem of the configuration at once.
pub(super) fn load_from(
    files: &[PathBuf],
    variables: impl IntoIterator<Item = (String, String)>,
    streams: &mut Streams<'_>,
) -> Result<Loaded, Failure> {
    let loaded = Configuration::load(files, variables)
        .map_err(|problems| Failure::from(problems.iter().map(Diagnostic::from).collect::<Vec<_>>()))?;
    for warning in &loaded.warnings {
        writeln!(streams.err, "{}", Diagnostic::from(warning)).map_err(Failure::output)?;
    }
    Ok(loaded)
}
