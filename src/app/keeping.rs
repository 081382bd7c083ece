//! Keeping the record for years: `hold`.

pub(super) mod hold;

use serde::Serialize;

use super::{Failure, Streams};

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
