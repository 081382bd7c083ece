//! Reads a span out of the ledger, past what is damaged, and makes its account.

use std::io;
use std::ops::ControlFlow;
use std::path::Path;

use jiff::tz::TimeZone;

use super::Progress;
use crate::app::alerts::doubts;
use crate::app::{Failure, ledger};
use crate::config::recorded::Recorded;
use crate::core::alert::doubts::Doubts;
use crate::core::on_file::OnFile;
use crate::core::record::{Body, Record};
use crate::core::time::Timestamp;
use crate::ledger::{CycleFilter, LedgerError, Part, Reader};
use crate::report::account::build::{Builder, Question};
use crate::report::account::{Account, RecordRange, Seal};

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
        Ok(recorded(reader)?.map_or_else(Self::unnamed, |read| Self {
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

/// The configuration on record that is in force; `None` where there is none, or none that can be read.
///
/// # Errors
/// The ledger's, and that this very record is damaged.
pub(in crate::app) fn recorded(reader: &Reader) -> Result<Option<Recorded>, LedgerError> {
    let newest = reader.newest_of("configuration-change")?;
    Ok(newest.and_then(|(_, record)| {
        if let Body::ConfigurationChange(change) = record.body { Recorded::read(&change.toml) } else { None }
    }))
}

/// Takes index, bytes and parsed form of one record on its way out.
pub(in crate::app) type Each<'e> = &'e mut dyn FnMut(u64, &[u8], &Record) -> io::Result<()>;

/// How far an account reaches, and what seals it.
#[derive(Debug)]
pub(in crate::app) struct Reach {
    /// Number of records.
    size: u64,
    /// When something was stored last.
    alive: Option<Timestamp>,
    /// When the last of them was recorded, where others follow.
    ends: Option<Timestamp>,
    seal: Option<Seal>,
}

impl Reach {
    /// Over all that is on record.
    ///
    /// # Errors
    /// The ledger's.
    pub(in crate::app) fn all(reader: &Reader, seal: Option<Seal>) -> Result<Self, LedgerError> {
        Ok(Self { size: reader.size()?, alive: reader.last_recorded()?, ends: None, seal })
    }

    /// What puts racks in doubt, as far as it reaches.
    ///
    /// # Errors
    /// The ledger's.
    pub(in crate::app) fn doubts(&self, reader: &Reader) -> Result<Doubts, LedgerError> {
        doubts::read(reader, self.size)
    }

    /// Over what the seal counts and nothing beyond, so that each word of it can be proved. Where more is on record the
    /// account ends with the last that is sealed: what it knows nothing of it calls neither watched nor missing.
    ///
    /// # Errors
    /// The ledger's.
    pub(in crate::app) fn of(reader: &Reader, seal: Seal) -> Result<Self, LedgerError> {
        let all = Self::all(reader, None)?;
        if seal.size >= all.size {
            return Ok(Self { seal: Some(seal), ..all });
        }
        let mut ends = None;
        // Where that one is damaged, the one before it is the next best.
        for index in (0..seal.size).rev() {
            if let Ok((_, record)) = reader.record(index)? {
                ends = Some(record.recorded);
                break;
            }
        }
        Ok(Self { size: seal.size, alive: ends, ends, seal: Some(seal) })
    }
}

/// Makes the account of a span. `cycle` is handed each cycle of the span on the way, in order of time.
///
/// # Errors
/// The ledger's, but for damage of single records, which the account names; those of `cycle`.
pub(in crate::app) fn account(
    reader: &Reader,
    path: &Path,
    question: Question,
    reach: Reach,
    cycle: Each<'_>,
    progress: &mut Progress<'_>,
) -> Result<Account, Failure> {
    let Reach { size, alive, ends, seal } = reach;
    let question = Question { ends, ..question };
    let (first, inside) = (question.cycles_from(), question.clone());
    let mut builder = Builder::new(question);
    let mut file = OnFile::default();
    reader.read_on_file(&mut file).map_err(|error| Failure::from(ledger::diagnose(&error, path)))?;
    // What came behind what is sealed is none of the account.
    builder.missing(file.missed().iter().copied().filter(|missed| missed.index < size).collect());
    let mut damaged = Vec::new();
    let mut trace = |index| {
        // What cannot be read of a trace is left out; the record names its hash.
        reader.trace(index).unwrap_or_default()
    };
    others(reader, size, &mut damaged, &mut |index, _, record| {
        progress.step()?;
        builder.take(index, record, &mut trace);
        Ok(())
    })
    .map_err(|stopped| stopped.told(path))?;
    cycles(reader, &inside, first, size, &mut damaged, &mut |index, bytes, record| {
        progress.step()?;
        builder.take(index, record, &mut trace);
        if lies_inside(&inside, record) { cycle(index, bytes, record) } else { Ok(()) }
    })
    .map_err(|stopped| stopped.told(path))?;
    for index in damaged {
        builder.damaged(index);
    }
    Ok(builder.finish(RecordRange { from: 0, to: size }, alive, seal))
}

/// Whether this cycle lies in the span.
pub(super) fn lies_inside(question: &Question, record: &Record) -> bool {
    matches!(&record.body, Body::Cycle(cycle) if question.holds(cycle.rinse_started))
}

/// Why reading ended before its end.
#[derive(Debug)]
pub(in crate::app) enum Stopped {
    Ledger(LedgerError),
    Output(io::Error),
}

impl Stopped {
    pub(in crate::app) fn told(self, path: &Path) -> Failure {
        match self {
            Self::Ledger(error) => ledger::diagnose(&error, path).into(),
            Self::Output(error) => Failure::output(error),
        }
    }
}

/// Every record below `size` that is no cycle, in order of the index, past those that are damaged.
pub(in crate::app) fn others(
    reader: &Reader,
    size: u64,
    damaged: &mut Vec<u64>,
    each: Each<'_>,
) -> Result<(), Stopped> {
    let mut from = 0;
    loop {
        let mut written = Ok(());
        let read = reader.records_of(&Body::EVENTS, from, |index, bytes, record| {
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
pub(in crate::app) fn cycles(
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
pub(in crate::app) fn unreadable(error: LedgerError) -> Result<u64, LedgerError> {
    if let LedgerError::Damaged(Part::Record { index }) | LedgerError::Record { index, .. } = error {
        Ok(index)
    } else {
        Err(error)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::app::fixture::{self, CONFIGURATION, at, opening, plain, rack};

    // Regression: a report beside a running service told of an outage since the last record that was sealed.
    #[test]
    fn an_account_of_what_is_sealed_ends_with_it() {
        let directory = tempfile::tempdir().expect("a directory");
        let path = directory.path().join("ledger.sqlite");
        let mut records = opening(CONFIGURATION);
        for minute in [2, 30] {
            let (machine, cycle) = rack(minute);
            records.push(plain(minute + 1, Some(machine), Body::Cycle(Box::new(cycle))));
        }
        fixture::ledger(&path, records).close().expect("it closes");
        let reader = Reader::open(&path).expect("a reader");
        let account = |size| {
            let question = Question {
                program: "test".to_owned(),
                made: at(31),
                site: "north kitchen".to_owned(),
                zone_name: "UTC".to_owned(),
                zone: TimeZone::UTC,
                from: at(0),
                to: at(40),
                only: Vec::new(),
                ends: None,
            };
            let (checkpoint, key, root) = (String::new(), String::new(), String::new());
            let reach = Reach::of(&reader, Seal { checkpoint, key, size, root }).expect("readable");
            let mut pass = |_: u64, _: &[u8], _: &Record| Ok(());
            super::account(&reader, &path, question, reach, &mut pass, &mut Progress::new(&mut Vec::new()))
                .expect("an account")
        };
        for (size, ends, racks, watched_s) in [(3, Some(at(3)), 1, 180.0), (4, None, 2, 1_860.0)] {
            let account = account(size);
            let own = &account.machines[0];
            assert_eq!((account.ends, own.counts.total()), (ends, racks), "{size}");
            assert_eq!((own.operating_s, own.monitored_s), (watched_s, watched_s), "{size}");
            assert_eq!(own.gaps, [], "{size}");
        }
    }
}
