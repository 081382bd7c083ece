//! The seal of an export: a checkpoint over all that is on record, made for it where that can be.

use std::io::Write;
use std::path::Path;

use super::evidence::{self, Asked, EvidenceError, Traces};
use super::{Failure, Progress};
use crate::app::{ledger, seal};
use crate::core::checkpoint::Checkpoint;
use crate::core::evidence::span::Span;
use crate::core::keys::key_chain;
use crate::core::note::Note;
use crate::diagnostic::Diagnostic;
use crate::ledger::{LedgerError, Reader, StoredCheckpoint};
use crate::report::account::Seal;
use crate::report::account::build::Question;

/// The seal to export with; `None` where the ledger has no checkpoint, or none that its own keys
/// signed. `socket` is where the service of this ledger would listen, where that is known.
///
/// # Errors
/// Where the ledger cannot be read, or its service or key fails.
pub(in crate::app) fn make(path: &Path, socket: Option<&Path>) -> Result<Option<Seal>, Failure> {
    let failed = |error: LedgerError| Failure::from(ledger::diagnose(&error, path));
    let Some(stored) = seal::command::for_export(path, socket)? else { return Ok(None) };
    Reader::open(path).and_then(|reader| verified(&reader, stored)).map_err(failed)
}

/// The newest checkpoint that the ledger holds already; `None` as for [`make`].
///
/// # Errors
/// The ledger's.
pub(in crate::app) fn newest(reader: &Reader) -> Result<Option<Seal>, LedgerError> {
    reader.newest_checkpoint()?.map_or(Ok(None), |stored| verified(reader, stored))
}

/// The checkpoint as a seal, where it holds under the key that was in force at its last record:
/// a key that came later signed nothing before.
fn verified(reader: &Reader, stored: StoredCheckpoint) -> Result<Option<Seal>, LedgerError> {
    let changes = reader.signing_keys()?;
    let chain = key_chain(changes.iter().map(|(index, change)| (*index, change)));
    let Some(signer) = chain.signer_of(stored.size) else { return Ok(None) };
    let sealed = Note::parse(&stored.note)
        .ok()
        .and_then(|note| Checkpoint::verified(&note, &signer.key).ok())
        .map(|checkpoint| checkpoint.head);
    Ok(sealed.map(|head| Seal {
        checkpoint: stored.note,
        key: signer.key.to_string(),
        size: head.size,
        root: head.root.to_string(),
    }))
}

/// Writes the evidence that answers a question; gives the records that are not as they were sealed.
///
/// # Errors
/// Where nothing seals the ledger, it is not as it was sealed, or it cannot be read or written; where `progress`
/// was told to end it that of an output that ended.
pub(in crate::app) fn evidence(
    (reader, path): (&Reader, &Path),
    question: &Question,
    traces: Traces,
    seal: Option<&Seal>,
    out: &mut dyn Write,
    progress: &mut Progress<'_>,
) -> Result<Vec<u64>, Failure> {
    let asked = Asked {
        span: Span { from: question.from, to: question.to },
        machines: question.only.clone(),
        site: question.site.clone(),
        zone: question.zone_name.clone(),
        made: question.made,
        traces,
    };
    let seal = seal.ok_or_else(|| unsealed(path))?;
    match evidence::write(reader, &asked, seal, out, progress) {
        Ok(facts) => Ok(facts.damaged),
        Err(error) => Err(told(error, path)),
    }
}

fn told(error: EvidenceError, path: &Path) -> Failure {
    match error {
        EvidenceError::Ledger(error) => ledger::diagnose(&error, path).into(),
        EvidenceError::Output(error) => Failure::output(error),
        EvidenceError::NothingSealed => unsealed(path),
        EvidenceError::NotAsSealed { .. } => Diagnostic::error("ledger-damaged", error.to_string())
            .place(path.display().to_string())
            .advice("`rinseward verify` says what holds, and since when; keep the file as it is")
            .into(),
        EvidenceError::Key(_) | EvidenceError::Note(_) | EvidenceError::Checkpoint(_) => {
            Diagnostic::error("export-unsealed", "the checkpoint of the ledger does not hold")
                .place(path.display().to_string())
                .because(&error)
                .advice("`rinseward verify` says what holds, and since when")
                .into()
        }
    }
}

fn unsealed(path: &Path) -> Failure {
    Diagnostic::error("export-unsealed", "there is no checkpoint that proves this ledger")
        .place(path.display().to_string())
        .advice("`rinseward checkpoint make` on the gateway; a running service makes one by itself each hour")
        .into()
}
