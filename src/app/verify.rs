//! `verify`: whether what is on record is as it was sealed, with nothing but the public key.

mod account;
mod answer;
mod attachments;
mod export;
mod source;
mod table;

use std::path::Path;

use super::{Failure, Streams};
use crate::cli::VerifyArgs;
use crate::core::checkpoint::Checkpoint;
use crate::core::evidence::examine::Trust;
use crate::core::merkle::TreeHead;
use crate::core::note::{Note, VerifyingKey};
use crate::diagnostic::Diagnostic;

#[cfg(test)]
pub(in crate::app) use export::{CannotCheck, ExportReport, verify_export};

pub(super) fn verify(arguments: &VerifyArgs, streams: &mut Streams<'_>) -> Result<(), Failure> {
    let keys = arguments.keys.iter().map(|key| read_key(key)).collect::<Result<Vec<_>, _>>()?;
    let kept = arguments
        .checkpoints
        .iter()
        .map(|path| read_checkpoint(path, &keys))
        .collect::<Result<Vec<_>, _>>()?;
    answer::export(arguments, Trust { keys, kept }, streams)
}

/// Begins the message that nothing can be said.
fn unchecked(place: impl Into<String>) -> Diagnostic {
    Diagnostic::error("verify-unchecked", "could not be checked").place(place)
}

/// A key by its text, or by a file that holds it.
fn read_key(key: &str) -> Result<VerifyingKey, Failure> {
    let text = std::fs::read_to_string(key).unwrap_or_else(|_| key.to_owned());
    text.parse().map_err(|error| {
        let advice = "give the line name+id+base64 as the site gave it to you, or a file that holds it";
        unchecked(format!("--key {key}")).because(&error).advice(advice).into()
    })
}

/// The head of a kept checkpoint that one of the keys signed.
fn read_checkpoint(path: &Path, keys: &[VerifyingKey]) -> Result<TreeHead, Failure> {
    let refused = || {
        unchecked(format!("--checkpoint {}", path.display()))
            .advice("give the file as you got it, and with --key the key that signed it")
    };
    let text = std::fs::read_to_string(path).map_err(|error| refused().because(&error))?;
    let note = Note::parse(&text).map_err(|error| refused().because(&error))?;
    let held = keys.iter().find_map(|key| Checkpoint::verified(&note, key).ok());
    Ok(held.ok_or_else(|| refused().cause("none of the keys given signed it"))?.head)
}
