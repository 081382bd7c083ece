//! A walk over a whole ledger, for an audit: every record, and what is kept beside it.
//!
//! The file may be a copy from another machine, on media that take no writes, cut short or
//! damaged: nothing is written to it or beside it, no format is brought to another, and a page
//! that makes no sense costs only what lies on it. Connections see one state of the file, so
//! that a walk beside a running writer is sound; the writer's log grows meanwhile.
//!
//! Several threads read, hash and look (`rows`), each a part of the index at a time; the one
//! that called puts what they saw together in order. Signatures are checked by as many.

mod days;
mod lookup;
mod open;
mod rows;
mod tables;

use std::num::NonZero;
use std::path::Path;
use std::thread;

use crate::core::audit::{Audit, BesideFault, KeptSeal, Report, Sealed, Signature, signature};
use crate::core::keys::KeyChain;
use crate::core::note::VerifyingKey;

use super::error::LedgerError;
use days::Days;
use lookup::Sums;
use open::Source;

/// Most threads that read at once (own choice: the device is the limit past that).
const THREADS_MAX: usize = 4;

/// How much is looked at.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Extent {
    /// Everything.
    Whole,
    /// Records, checkpoints and the table of cycles; neither traces nor readings nor indexes.
    Records,
}

/// An audit of a file.
#[derive(Clone, PartialEq, Debug)]
pub struct Audited {
    /// What it came to.
    pub report: Report,
    /// Format of the ledger.
    pub format: i64,
    /// How many days of machines were counted anew; absent where the history shows no kept numbers
    /// and counts all itself.
    pub days: Option<u64>,
}

/// What the records are compared with on the way.
#[derive(Clone, Copy)]
struct Beside<'t> {
    tables: &'t tables::Tables,
    /// Where everything is looked at.
    sums: Option<&'t Sums>,
    /// Where the history shows numbers by day.
    days: Option<&'t Days>,
}

/// Audits the ledger at `path` with the keys that the auditor got, and checkpoints that were
/// kept elsewhere.
///
/// # Errors
/// [`LedgerError`] where the file cannot be opened at all, is no ledger, or the device fails;
/// damage within it is a finding of the report.
pub fn audit(
    path: &Path,
    given: &[VerifyingKey],
    kept: Vec<KeptSeal>,
    extent: Extent,
) -> Result<Audited, LedgerError> {
    audit_told(path, given, kept, extent, &mut |_| {})
}

/// As [`audit`]; `far` is told of how many records have been looked at.
///
/// # Errors
/// As for [`audit`].
pub fn audit_told(
    path: &Path,
    given: &[VerifyingKey],
    kept: Vec<KeptSeal>,
    extent: Extent,
    far: &mut dyn FnMut(u64),
) -> Result<Audited, LedgerError> {
    let source = Source::of(path)?;
    let (connection, format) = source.open()?;
    let mut tables = tables::read(&connection, path, format)?;
    let mut audit = Audit::new(std::mem::take(&mut tables.seals), tables.newest_seal, kept);
    for fault in tables.faults.drain(..) {
        audit.found(fault);
    }
    let sums = match extent {
        Extent::Whole => Some(Sums::default()),
        Extent::Records => None,
    };
    let days = match Days::read(&connection, format) {
        Ok(days) => days,
        Err(error) => {
            let (what, cause) = ("the table of numbers by day", error.to_string());
            audit.found(BesideFault::TableUnreadable { what, from: 0, cause });
            None
        }
    };
    let beside = Beside { tables: &tables, sums: sums.as_ref(), days: days.as_ref() };
    rows::walk(&source, beside, threads(), &mut audit, far)?;
    let days = days.map(|days| days.compare(&tables.machines, &mut audit));
    tables::look_past_the_end(&connection, tables.end, &mut audit);
    if let Some(sums) = sums {
        sums.compare(&connection, format, tables.end, &mut audit);
        tables::check_readings(&connection, &mut audit);
    }
    let chain = audit.chain();
    let signatures = signatures(audit.seals(), &chain, given);
    let report = audit.finish(tables.standing.as_ref(), &chain, given, &signatures);
    Ok(Audited { report, format, days })
}

fn threads() -> usize {
    thread::available_parallelism().map_or(1, NonZero::get).min(THREADS_MAX)
}

fn signatures(seals: &[Sealed], chain: &KeyChain, given: &[VerifyingKey]) -> Vec<Signature> {
    let part = seals.len().div_ceil(threads()).max(1);
    let of = |part: &[Sealed]| -> Vec<Signature> {
        part.iter().map(|sealed| signature(sealed, chain, given)).collect()
    };
    thread::scope(|scope| {
        let parts: Vec<_> = seals.chunks(part).map(|part| scope.spawn(move || of(part))).collect();
        parts
            .into_iter()
            .flat_map(|part| part.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic)))
            .collect()
    })
}
