//! Reads a span out of the ledger, past what is damaged, and makes its account.

use std::io;
use std::ops::ControlFlow;
use std::path::Path;

use jiff::tz::TimeZone;

use super::Progress;
use crate::app::{Failure, ledger};
use crate::config::recorded::Recorded;
use crate::core::checkpoint::Checkpoint;
use crate::core::note::{Note, VerifyingKey};
use crate::core::record::{Body, Record};
use crate::core::time::Timestamp;
use crate::ledger::{CycleFilter, LedgerError, Part, Reader};
use crate::report::account::build::{Builder, Question};
use crate::report::account::{Account, RecordRange, Seal};

/// Every kind of record but cycles.
const OTHERS: [&str; 22] = [
    "gap",
    "check",
    "service-start",
    "service-stop",
    "clock-step",
    "configuration-change",
    "machine-failure",
    "alert-raised",
    "alert-changed",
    "alert-acknowledged",
    "alert-cleared",
    "alert-closed",
    "corrective-action",
    "notification",
    "maintenance",
    "note",
    "amendment",
    "signing-key",
    "lawful-hold",
    "pruned",
    "import",
    "restored",
];

/// What is known of a site by its ledger alone.
#[derive(Clone, Debug)]
pub(in crate::app) struct Site {
    pub(in crate::app) name: String,
    pub(in crate::app) zone_name: String,
    pub(in crate::app) zone: TimeZone,
}

impl Site {
    /// By the newest configuration on record; without one a site without a name, in the zone of this computer.
    ///
    /// # Errors
    /// The ledger's.
    pub(in crate::app) fn of(reader: &Reader) -> Result<Self, LedgerError> {
        let newest = reader.newest_of("configuration-change")?;
        let read = newest.and_then(|(_, record)| {
            if let Body::ConfigurationChange(change) = record.body {
                Recorded::read(&change.toml)
            } else {
                None
            }
        });
        Ok(read.map_or_else(Self::unnamed, |read| Self {
            name: read.site,
            zone_name: read.zone,
            zone: read.settings.zone,
        }))
    }

    fn unnamed() -> Self {
        let zone = TimeZone::try_system().unwrap_or(TimeZone::UTC);
        let zone_name = zone.iana_name().unwrap_or("UTC").to_owned();
        Self { name: "site".to_owned(), zone_name, zone }
    }
}

/// Takes index, bytes and parsed form of one record on its way out.
pub(in crate::app) type Each<'e> = &'e mut dyn FnMut(u64, &[u8], &Record) -> io::Result<()>;

/// Makes the account of a span. `cycle` is handed each cycle of the span on the way, in order of time.
///
/// # Errors
/// The ledger's, but for damage of single records, which the account names; those of `cycle`.
pub(in crate::app) fn account(
    reader: &Reader,
    path: &Path,
    question: Question,
    cycle: Each<'_>,
    progress: &mut Progress<'_>,
) -> Result<Account, Failure> {
    let failed = |error: LedgerError| Failure::from(ledger::diagnose(&error, path));
    let size = reader.size().map_err(failed)?;
    let alive = reader.last_recorded().map_err(failed)?;
    let (first, inside) = (question.cycles_from(), question.clone());
    let mut builder = Builder::new(question);
    let mut damaged = Vec::new();
    let mut trace = |index| {
        // What cannot be read of a trace is left out; the record names its hash.
        reader.trace(index).unwrap_or_default()
    };
    others(reader, size, &mut damaged, &mut |index, _, record| {
        progress.step();
        builder.take(index, record, &mut trace);
        Ok(())
    })
    .map_err(|stopped| stopped.told(path))?;
    cycles(reader, &inside, first, size, &mut damaged, &mut |index, bytes, record| {
        progress.step();
        builder.take(index, record, &mut trace);
        if lies_inside(&inside, record) { cycle(index, bytes, record) } else { Ok(()) }
    })
    .map_err(|stopped| stopped.told(path))?;
    for index in damaged {
        builder.damaged(index);
    }
    let seal = seal(reader).map_err(failed)?;
    Ok(builder.finish(RecordRange { from: 0, to: size }, alive, seal))
}

/// The newest checkpoint that holds under the key on record; `None` where there is none such.
fn seal(reader: &Reader) -> Result<Option<Seal>, LedgerError> {
    let newest = (reader.newest_of("signing-key")?, reader.newest_checkpoint()?);
    let (Some((_, Record { body: Body::SigningKey(change), .. })), Some(stored)) = newest else {
        return Ok(None);
    };
    let key = change.key;
    let verified = || {
        let note = Note::parse(&stored.note).ok()?;
        Checkpoint::verified(&note, &key.parse::<VerifyingKey>().ok()?).ok()
    };
    Ok(verified().map(|checkpoint| Seal {
        checkpoint: stored.note.clone(),
        key: key.clone(),
        size: checkpoint.head.size,
        root: checkpoint.head.root.to_string(),
    }))
}

/// Whether this cycle lies in the span.
pub(super) fn lies_inside(question: &Question, record: &Record) -> bool {
    matches!(&record.body, Body::Cycle(cycle) if question.holds(cycle.rinse_started))
}

/// Why reading ended before its end.
#[derive(Debug)]
pub(super) enum Stopped {
    Ledger(LedgerError),
    Output(io::Error),
}

impl Stopped {
    pub(super) fn told(self, path: &Path) -> Failure {
        match self {
            Self::Ledger(error) => ledger::diagnose(&error, path).into(),
            Self::Output(error) => Failure::output(error),
        }
    }
}

/// Every record below `size` that is no cycle, in order of the index, past those that are damaged.
pub(super) fn others(
    reader: &Reader,
    size: u64,
    damaged: &mut Vec<u64>,
    each: Each<'_>,
) -> Result<(), Stopped> {
    let mut from = 0;
    loop {
        let mut written = Ok(());
        let read = reader.records_of(&OTHERS, from, |index, bytes, record| {
            if index >= size {
                return ControlFlow::Break(());
            }
            written = each(index, bytes, &record);
            if written.is_ok() { ControlFlow::Continue(()) } else { ControlFlow::Break(()) }
        });
        written.map_err(Stopped::Output)?;
        match read.map_err(unreadable) {
            Ok(()) => return Ok(()),
            Err(Ok(index)) if index >= from => {
                damaged.push(index);
                from = index + 1;
            }
            Err(Ok(index)) => return Err(Stopped::Ledger(LedgerError::Damaged(Part::Record { index }))),
            Err(Err(error)) => return Err(Stopped::Ledger(error)),
        }
    }
}

/// The cycles below `size` whose rinse began from `from` on and before the end of the span, those
/// of each machine in order of time, past those that are damaged.
pub(super) fn cycles(
    reader: &Reader,
    question: &Question,
    from: Timestamp,
    size: u64,
    damaged: &mut Vec<u64>,
    each: Each<'_>,
) -> Result<(), Stopped> {
    let machines: Vec<Option<String>> =
        if question.only.is_empty() { vec![None] } else { question.only.iter().cloned().map(Some).collect() };
    for machine in machines {
        let (from, to) = (Some(from), Some(question.to));
        let mut filter = CycleFilter { machine, from, to, ..CycleFilter::default() };
        loop {
            let mut written = Ok(());
            let read = reader.cycles(&filter, |index, bytes, record| {
                if index < size {
                    written = each(index, bytes, &record);
                }
                if written.is_ok() { ControlFlow::Continue(()) } else { ControlFlow::Break(()) }
            });
            written.map_err(Stopped::Output)?;
            match read.map_err(unreadable) {
                Ok(()) => break,
                Err(Ok(index)) if filter.after_index != Some(index) => {
                    damaged.push(index);
                    filter.after_index = Some(index);
                }
                Err(Ok(index)) => return Err(Stopped::Ledger(LedgerError::Damaged(Part::Record { index }))),
                Err(Err(error)) => return Err(Stopped::Ledger(error)),
            }
        }
    }
    Ok(())
}

/// The index of the one record that cannot be read, or the error where it is another matter.
fn unreadable(error: LedgerError) -> Result<u64, LedgerError> {
    if let LedgerError::Damaged(Part::Record { index }) | LedgerError::Record { index, .. } = error {
        Ok(index)
    } else {
        Err(error)
    }
}
