//! Keeping the record for years: `hold`, `backup`, `restore`, `import`.

pub(super) mod backup;
pub(super) mod hold;
pub(super) mod import;
mod import_plan;
pub(super) mod restore;

use serde::Serialize;

use super::door::Peer;
use super::{Failure, Streams};

/// Whoever asked for something, with the user of this computer beside the name.
fn signed(by: Option<&str>) -> String {
    let own = Peer::own();
    match by.map(str::trim).filter(|by| !by.is_empty()) {
        Some(by) => format!("{by} ({own})"),
        None => own.to_string(),
    }
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

/// 64 hexadecimal digits.
fn hex(bytes: &[u8; 32]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

/// A number with its thing, in the singular or the plural.
fn counted(number: u64, one: &str, many: &str) -> String {
    if number == 1 { format!("1 {one}") } else { format!("{number} {many}") }
}
