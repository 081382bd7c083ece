//! Keeping the record for years: `hold`, `backup`, `restore`, `import`.

pub(super) mod backup;
pub(super) mod hold;
pub(super) mod import;
mod import_plan;
pub(super) mod restore;

use serde::Serialize;

use super::door::Peer;
use super::{Failure, Streams};
use crate::core::logbook;
use crate::diagnostic::Diagnostic;

/// Whoever asked for something, with the user of this computer beside the name. A name is what
/// everybody's is who enters something, see [`logbook::name`].
fn signed(by: Option<&str>) -> Result<String, Failure> {
    let own = Peer::own();
    let Some(by) = by else { return Ok(own.to_string()) };
    logbook::name(logbook::Field::By, by).map_err(|error| {
        Diagnostic::error("usage", format!("{error} (--by)")).advice("say who it is, in one line")
    })?;
    Ok(format!("{} ({own})", by.trim()))
}

/// Prints one object as JSON, or the lines for people.
fn tell(
    streams: &mut Streams<'_>,
    json: bool,
    told: &impl Serialize,
    lines: &[String],
) -> Result<(), Failure> {
    let written = if json {
        serde_json::to_writer(&mut *streams.out, told)
            .map_err(std::io::Error::from)
            .and_then(|()| writeln!(streams.out))
    } else {
        lines.iter().try_for_each(|line| writeln!(streams.out, "{line}"))
    };
    written.map_err(Failure::output)
}

/// A number with its thing, in the singular or the plural.
fn counted(number: u64, one: &str, many: &str) -> String {
    if number == 1 { format!("1 {one}") } else { format!("{number} {many}") }
}
