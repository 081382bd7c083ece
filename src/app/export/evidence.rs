//! Writes evidence: the records of a span with what proves them, see [`crate::core::evidence`].
//!
//! # Which records
//!
//! The stretch is found by halving over the instants at which records were made: from the one
//! before the first of the span to the one after the last. Records of the span whose clock or
//! place differs (a clock that stepped, the desk of the alerts a commit behind) widen it where
//! they stand within [`NEAR`] of it, and so does everything where more than [`APART_MAX`] cycles
//! of the span stand outside. The rest goes beside it, each with a proof of its own.
//!
//! # What it costs
//!
//! One walk over the leaf hashes of the whole ledger, one over its records that are no cycles, and
//! the records of the span themselves, written as they are read. Memory: 32 bytes for each
//! thousand records, and the indices of what stands apart.

use std::collections::BTreeSet;
use std::io::{self, Write};
use std::ops::ControlFlow;

use super::Progress;
use crate::core::checkpoint::{Checkpoint, CheckpointError};
use crate::core::cycle::verdict::Verdict;
use crate::core::evidence::span::{Companions, Span};
use crate::core::evidence::{EVIDENCE_FORMAT, Entry, Form, Header, Hex, Trailer};
use crate::core::merkle::{Hash, ProofError, RangeProof, TreeHead, inclusion_proof, range_proof};
use crate::core::note::{KeyError, Note, NoteError, VerifyingKey};
use crate::core::record::{Body, Record};
use crate::core::time::Timestamp;
use crate::ledger::{LedgerError, LedgerTree, Part, Reader};
use crate::report::account::Seal;

/// How far from the stretch a record of the span widens it, in records.
const NEAR: u64 = 1_000;
/// Most cycles that stand apart: a proof of its own is longer than a record.
const APART_MAX: usize = 4_096;

/// The readings of which cycles go with their records.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(in crate::app) enum Traces {
    /// Of those that did not plainly pass.
    OfExceptions,
    /// Of all.
    All,
}

/// What is asked for.
#[derive(Clone, PartialEq, Debug)]
pub(in crate::app) struct Asked {
    /// The span.
    pub span: Span,
    /// Machines of the table that goes with it; empty means all.
    pub machines: Vec<String>,
    /// Name of the site, as configured.
    pub site: String,
    /// Its time zone (IANA), as configured.
    pub zone: String,
    /// The time now.
    pub made: Timestamp,
    /// Which readings.
    pub traces: Traces,
}

/// What was written.
#[derive(Clone, PartialEq, Debug)]
pub(in crate::app) struct EvidenceFacts {
    /// First record of the stretch, and the first after it.
    pub stretch: (u64, u64),
    /// What the last line counts.
    pub counted: Trailer,
    /// Records that the checkpoint counts.
    pub sealed: u64,
    /// Records of the ledger that it does not count yet: none of them is in the file.
    pub unsealed: u64,
    /// Records that are not as they were sealed: they are in the file as they are, and checking it
    /// names them.
    pub damaged: Vec<u64>,
}

/// Why no evidence could be written.
#[derive(Debug, thiserror::Error)]
pub(in crate::app) enum EvidenceError {
    /// The ledger cannot be read.
    #[error("the ledger cannot be read")]
    Ledger(#[from] LedgerError),
    /// The public key of the seal is none.
    #[error("the public key is none")]
    Key(#[from] KeyError),
    /// The checkpoint is no signed note.
    #[error("the checkpoint is no signed note")]
    Note(#[from] NoteError),
    /// The checkpoint does not hold.
    #[error("the checkpoint does not hold")]
    Checkpoint(#[from] CheckpointError),
    /// The checkpoint counts no record.
    #[error("nothing is on record that a checkpoint counts")]
    NothingSealed,
    /// The records are not those that the checkpoint sealed.
    #[error("the first {size} records of the ledger are not those that its checkpoint sealed")]
    NotAsSealed {
        /// Number of records.
        size: u64,
    },
    /// It cannot be written.
    #[error("it cannot be written")]
    Output(#[from] io::Error),
}

impl From<ProofError<LedgerError>> for EvidenceError {
    fn from(error: ProofError<LedgerError>) -> Self {
        match error {
            ProofError::Source(error) => Self::Ledger(error),
            ProofError::OutsideTree { asked, .. } => {
                Self::Ledger(LedgerError::Damaged(Part::Record { index: asked }))
            }
        }
    }
}

/// Writes the evidence of a span under a checkpoint, which the caller has made for it, so that it
/// counts what is on record now.
///
/// # Errors
/// [`EvidenceError`]; `out` then holds a part that is not to be handed out.
pub(in crate::app) fn write(
    reader: &Reader,
    asked: &Asked,
    seal: &Seal,
    out: &mut dyn Write,
    progress: &mut Progress<'_>,
) -> Result<EvidenceFacts, EvidenceError> {
    let key: VerifyingKey = seal.key.parse()?;
    let head = Checkpoint::verified(&Note::parse(&seal.checkpoint)?, &key)?.head;
    let size = head.size;
    let recorded = reader.size()?;
    if size == 0 {
        return Err(EvidenceError::NothingSealed);
    }
    if size > recorded {
        return Err(EvidenceError::NotAsSealed { size });
    }
    let (tree, stretch, apart) = choose(reader, asked.span, head, progress)?;
    let proof = range_proof(&tree, stretch.0, stretch.1, size)?;
    serde_json::to_writer(&mut *out, &header(asked, seal, stretch, size, &proof)).map_err(io::Error::from)?;
    out.write_all(b"\n")?;
    let mut lines = Lines { reader, asked, out, progress, counted: Trailer::default(), damaged: Vec::new() };
    for index in apart.range(..stretch.0) {
        lines.apart(&tree, *index)?;
    }
    lines.stretch(stretch)?;
    for index in apart.range(stretch.1..) {
        lines.apart(&tree, *index)?;
    }
    let Lines { counted, damaged, .. } = lines;
    serde_json::to_writer(&mut *out, &counted).map_err(io::Error::from)?;
    out.write_all(b"\n")?;
    Ok(EvidenceFacts { stretch, counted, sealed: size, unsealed: recorded - size, damaged })
}

fn header(asked: &Asked, seal: &Seal, stretch: (u64, u64), size: u64, proof: &RangeProof) -> Header {
    let hexes = |hashes: &[Hash]| hashes.iter().copied().map(Hex).collect();
    Header {
        rinseward: Form::Evidence,
        v: EVIDENCE_FORMAT,
        program: env!("CARGO_PKG_VERSION").to_owned(),
        made: asked.made,
        site: asked.site.clone(),
        zone: asked.zone.clone(),
        from: asked.span.from,
        to: asked.span.to,
        machines: asked.machines.clone(),
        first: stretch.0,
        end: stretch.1,
        size,
        checkpoint: seal.checkpoint.clone(),
        key: seal.key.clone(),
        before: hexes(&proof.before),
        after: hexes(&proof.after),
    }
}

/// The tree, the stretch and the indices of what goes beside it.
type Chosen<'r> = (LedgerTree<'r>, (u64, u64), BTreeSet<u64>);

fn choose<'r>(
    reader: &'r Reader,
    span: Span,
    head: TreeHead,
    progress: &Progress<'_>,
) -> Result<Chosen<'r>, EvidenceError> {
    let size = head.size;
    let from = first_not_before(reader, size, span.from)?;
    let to = first_not_before(reader, size, span.to)?.max(from);
    let (mut first, mut end) = (from.saturating_sub(1), (to + 1).min(size));
    let mut strayed = Vec::new();
    let tree = reader.tree(size, |index, at| {
        if span.has(at) && !(first..end).contains(&index) {
            strayed.push(index);
        }
    })?;
    if tree.head() != head {
        return Err(EvidenceError::NotAsSealed { size });
    }
    let (lowest, highest) = (first.saturating_sub(NEAR), end.saturating_add(NEAR));
    for index in strayed.iter().filter(|index| (lowest..highest).contains(*index)) {
        (first, end) = (first.min(*index), end.max(index + 1));
    }
    let mut late = reader.cycles_outside((span.from, span.to), (first, end, size))?;
    late.extend(strayed);
    if late.len() > APART_MAX {
        first = late.iter().copied().min().unwrap_or(first).min(first);
        end = late.iter().copied().max().map_or(end, |index| end.max(index + 1));
    }
    while first > 0 && reader.recorded(first)?.is_some_and(|at| span.from <= at) {
        first -= 1;
    }
    while end < size && reader.recorded(end - 1)?.is_none_or(|at| at < span.to) {
        end += 1;
    }
    late.retain(|index| !(first..end).contains(index));
    let mut companions = Companions::new(span, first, end, late);
    others(reader, size, &mut companions, progress)?;
    Ok((tree, (first, end), companions.finish()))
}

/// The first record made at an instant or later, by halving: where clocks stepped, one of several.
pub(in crate::app) fn first_not_before(
    reader: &Reader,
    size: u64,
    instant: Timestamp,
) -> Result<u64, LedgerError> {
    let (mut low, mut high) = (0, size);
    while low < high {
        let middle = low + (high - low) / 2;
        if reader.recorded(middle)?.is_none_or(|at| at < instant) {
            low = middle + 1;
        } else {
            high = middle;
        }
    }
    Ok(low)
}

/// Hands every readable record that is no cycle to the search; one that is damaged tells nothing.
fn others(
    reader: &Reader,
    size: u64,
    companions: &mut Companions,
    progress: &Progress<'_>,
) -> Result<(), LedgerError> {
    let mut from = 0;
    loop {
        let read = reader.records_but_cycles(from, |index, _, record| {
            // Where it is to end, the first line refuses to be written.
            if index >= size || progress.is_over() {
                return ControlFlow::Break(());
            }
            companions.take(index, &record);
            ControlFlow::Continue(())
        });
        match read {
            Err(LedgerError::Damaged(Part::Record { index }) | LedgerError::Record { index, .. }) => {
                from = index + 1;
            }
            read => return read,
        }
    }
}

struct Lines<'w, 'p> {
    reader: &'w Reader,
    asked: &'w Asked,
    out: &'w mut dyn Write,
    progress: &'w mut Progress<'p>,
    counted: Trailer,
    damaged: Vec<u64>,
}

impl Lines<'_, '_> {
    fn stretch(&mut self, (first, end): (u64, u64)) -> Result<(), EvidenceError> {
        let reader = self.reader;
        let mut written = Ok(());
        reader.stored_records(first, end, |index, leaf, bytes| {
            self.counted.records += 1;
            written = self.line(index, leaf, bytes, None);
            if written.is_ok() { ControlFlow::Continue(()) } else { ControlFlow::Break(()) }
        })?;
        written
    }

    fn apart(&mut self, tree: &LedgerTree<'_>, index: u64) -> Result<(), EvidenceError> {
        let proof = inclusion_proof(tree, index, tree.head().size)?;
        let reader = self.reader;
        let mut written = Ok(());
        reader.stored_records(index, index + 1, |index, leaf, bytes| {
            self.counted.apart += 1;
            let proof = proof.iter().copied().map(Hex).collect();
            written = self.line(index, leaf, bytes, Some(proof));
            ControlFlow::Break(())
        })?;
        written
    }

    fn line(
        &mut self,
        index: u64,
        leaf: Hash,
        bytes: &[u8],
        proof: Option<Vec<Hex>>,
    ) -> Result<(), EvidenceError> {
        self.progress.step()?;
        if crate::core::merkle::leaf_hash(bytes) != leaf {
            self.damaged.push(index);
        }
        let trace = match Record::from_bytes(bytes) {
            Ok(record) if self.wants_trace(&record) => self.reader.trace(index).or_else(lost)?,
            Ok(_) | Err(_) => None,
        };
        self.counted.traces += u64::from(trace.is_some());
        let entry = Entry { index, leaf: Hex(leaf), record: String::from_utf8_lossy(bytes), proof, trace };
        serde_json::to_writer(&mut *self.out, &entry).map_err(io::Error::from)?;
        self.out.write_all(b"\n")?;
        Ok(())
    }

    fn wants_trace(&self, record: &Record) -> bool {
        let Body::Cycle(cycle) = &record.body else { return false };
        match self.asked.traces {
            Traces::All => true,
            Traces::OfExceptions => cycle.verdict != Verdict::Pass,
        }
    }
}

/// Readings that cannot be read any more are left out; their record is there all the same.
fn lost<T>(error: LedgerError) -> Result<Option<T>, LedgerError> {
    if let LedgerError::Damaged(Part::Trace { .. }) = error { Ok(None) } else { Err(error) }
}

#[cfg(test)]
mod tests;
