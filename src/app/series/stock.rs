//! The ledger as the series sees it.

use std::fmt;
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

use tokio::sync::oneshot;

use crate::core::on_file::OnFile;
use crate::core::record::Record;
use crate::core::time::Timestamp;
use crate::ledger::{self, Append, AppendDone, Bookmark, LedgerError, Part, Reader, SetAside};
use crate::series::reading::{Reading, Stretch};
use crate::series::sieve::Aside;
use crate::series::stock::{self, Stock};
use crate::series::track::{Heads, Place, Run, Span};

/// Under this name the series has its bookmark and what it sets aside.
pub(super) const CONSUMER: &str = "series";
/// Rows looked at when a span is through; of more the oldest.
const SETTLED_MAX: usize = 10_000;
/// How the kinds of records about alerts begin.
const ALERTS: &str = "alert-";

/// The way to the ledger's writer.
pub type Keeper = Box<dyn Fn(Append, AppendDone) + Send + Sync>;

/// A ledger with a way to its writer.
pub struct LedgerStock {
    path: PathBuf,
    keeper: Keeper,
    /// Names of the channels that are configured.
    channels: Vec<String>,
    /// The calibrations on record, as far as they were read.
    file: Mutex<Arc<OnFile>>,
    /// Readers at rest: one for the part under way, one for what is read ahead.
    readers: Mutex<Vec<Reader>>,
}

impl fmt::Debug for LedgerStock {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("LedgerStock").field("path", &self.path).finish_non_exhaustive()
    }
}

impl LedgerStock {
    /// The ledger at `path`, to which `keeper` appends; `channels` are those that are configured.
    #[must_use]
    pub fn new(path: &Path, keeper: Keeper, channels: Vec<String>) -> Self {
        Self {
            path: path.to_owned(),
            keeper,
            channels,
            file: Mutex::default(),
            readers: Mutex::new(Vec::new()),
        }
    }

    fn read<Answer>(
        &self,
        ask: impl FnOnce(&Reader) -> Result<Answer, LedgerError>,
    ) -> Result<Answer, LedgerError> {
        let resting = self.resting().pop();
        let reader = match resting {
            Some(reader) => reader,
            None => Reader::open(&self.path)?,
        };
        let answer = ask(&reader)?;
        self.resting().push(reader);
        Ok(answer)
    }

    /// Whoever panicked took its reader away with it; those that rest are whole.
    fn resting(&self) -> std::sync::MutexGuard<'_, Vec<Reader>> {
        self.readers.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Stock for LedgerStock {
    type Failure = LedgerError;

    fn bookmark(&self) -> Result<Option<Vec<u8>>, LedgerError> {
        self.read(|reader| reader.bookmark(CONSUMER))
    }

    fn heads(&self) -> Result<Heads, LedgerError> {
        self.read(heads)
    }

    fn readings(&self, from: Place, readings_max: usize) -> Result<stock::Part, LedgerError> {
        let place = ledger::Place { input: from.input, block: from.block };
        let part = self.read(|reader| reader.feed(place, readings_max))?;
        let stretch = |(channel, readings): (String, Vec<ledger::Reading>)| Stretch {
            channel,
            readings: readings.into_iter().map(delivered).collect(),
        };
        Ok(stock::Part {
            next: Place { input: part.next.input, block: part.next.block },
            readings: part.readings.into_iter().map(stretch).collect(),
            damaged: part.damaged.iter().map(ToString::to_string).collect(),
        })
    }

    fn on_file(&self) -> Result<Arc<OnFile>, LedgerError> {
        let mut file = self.file.lock().unwrap_or_else(PoisonError::into_inner);
        // Whoever still writes by the older one keeps it.
        for index in self.read(|reader| reader.read_on_file(Arc::make_mut(&mut file)))? {
            tracing::error!(index, "a calibration that cannot be read is left out of the series");
        }
        Ok(Arc::clone(&file))
    }

    fn records(&self, run: Run, records_max: usize) -> Result<Vec<(u64, Record)>, LedgerError> {
        self.read(|reader| {
            let (mut records, mut next) = (Vec::new(), run.from);
            while next < run.to && records.len() < records_max {
                let read = reader.records(next, |index, _, record| {
                    if index < run.to && records.len() < records_max {
                        records.push((index, record));
                        ControlFlow::Continue(())
                    } else {
                        ControlFlow::Break(())
                    }
                });
                match read {
                    Ok(()) => break,
                    // One record that is damaged keeps none of the others back.
                    Err(LedgerError::Damaged(Part::Record { index }) | LedgerError::Record { index, .. }) => {
                        tracing::error!(index, "a record that cannot be read is left out of the series");
                        next = index + 1;
                    }
                    Err(error) => return Err(error),
                }
            }
            Ok(records)
        })
    }

    fn alerts(&self, run: Run, records_max: usize) -> Result<Vec<(u64, Record)>, LedgerError> {
        match self.read(|reader| reader.newest_of_kind(ALERTS, run.from, run.to, records_max)) {
            // They come with the other records of the run.
            Err(LedgerError::Damaged(_) | LedgerError::Record { .. }) => Ok(Vec::new()),
            read => read,
        }
    }

    fn channels(&self) -> &[String] {
        &self.channels
    }

    fn window(&self, channel: &str, from: Timestamp, to: Timestamp) -> Result<Vec<Reading>, LedgerError> {
        let readings = self.read(|reader| readings_around_damage(reader, channel, from, to))?;
        Ok(readings.into_iter().map(delivered).collect())
    }

    fn next_reading(&self, from: Timestamp) -> Result<Option<Timestamp>, LedgerError> {
        self.read(|reader| reader.next_reading(from))
    }

    fn settled(&self, span: &Span) -> Result<Vec<i64>, LedgerError> {
        let rows = self.read(|reader| reader.set_aside(CONSUMER, SETTLED_MAX))?;
        let is_settled = |row: &SetAside| row.at < span.asked && lies_within(&row.bytes, span);
        Ok(rows.iter().filter(|(_, row)| is_settled(row)).map(|(id, _)| *id).collect())
    }

    async fn keep(
        &self,
        bookmark: Vec<u8>,
        aside: Vec<Aside>,
        settled: Vec<i64>,
        now: Timestamp,
    ) -> Result<(), LedgerError> {
        let append = Append {
            bookmarks: vec![Bookmark { name: CONSUMER.to_owned(), state: bookmark }],
            set_aside: aside.into_iter().map(|aside| put_aside(aside, now)).collect(),
            taken_back: settled,
            ..Append::default()
        };
        let (done, kept) = oneshot::channel();
        // A task that is gone needs no answer.
        (self.keeper)(append, Box::new(move |result| drop(done.send(result))));
        match kept.await {
            Ok(Ok(_)) => Ok(()),
            Ok(Err(refused)) => Err(refused.error),
            Err(_) => Err(LedgerError::WriterEnded { source: None }),
        }
    }
}

/// The readings of a span, without those of a part that is damaged.
fn readings_around_damage(
    reader: &Reader,
    channel: &str,
    from: Timestamp,
    to: Timestamp,
) -> Result<Vec<ledger::Reading>, LedgerError> {
    match reader.readings(channel, from, to) {
        Err(LedgerError::Damaged(Part::Block { first, last, .. })) => {
            tracing::error!(channel, %first, %last, "readings that cannot be read are left out of the series");
            let mut around = Vec::new();
            if from < first {
                around.extend(readings_around_damage(reader, channel, from, first)?);
            }
            let after = last.just_after();
            if after < to && after > from {
                around.extend(readings_around_damage(reader, channel, after, to)?);
            }
            Ok(around)
        }
        read => read,
    }
}

/// Whether every line is a point of this span; its time is the last word.
fn lies_within(lines: &[u8], span: &Span) -> bool {
    let Ok(text) = std::str::from_utf8(lines) else { return false };
    let at = |line: &str| line.rsplit_once(' ')?.1.parse::<i64>().ok();
    let is_in = |ns: i64| {
        let at = Timestamp::from_micros(ns.div_euclid(1_000));
        span.from <= at && at < span.to
    };
    !text.is_empty() && text.lines().all(|line| at(line).is_some_and(is_in))
}

/// How far a ledger is.
///
/// # Errors
/// Where it cannot be read.
pub(super) fn heads(reader: &Reader) -> Result<Heads, LedgerError> {
    Ok(Heads { inputs: reader.newest_input()?, records: reader.size()? })
}

fn delivered(reading: ledger::Reading) -> Reading {
    Reading { at: reading.at, value: reading.value }
}

fn put_aside(aside: Aside, at: Timestamp) -> SetAside {
    let reason = match aside.points {
        0 | 1 => aside.reason,
        points => format!("{} ({points} points)", aside.reason),
    };
    SetAside { consumer: CONSUMER.to_owned(), at, reason, bytes: aside.lines }
}
