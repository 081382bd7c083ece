//! Reads what a turn asks for and makes it into lines.

use super::batch::Batch;
use super::plan::{Behind, Reached, Turn};
use super::point::Point;
use super::reading::{self, ReadingPoints, Stretch, Thinning};
use super::record;
use super::sieve::Aside;
use super::stock::Stock;
use super::track::{Heads, Place, Run, Span};
use crate::core::record::Record;
use crate::core::time::Timestamp;

/// Readings asked of the ledger for one part. It may give more where one of its blocks holds more.
pub const PART_READINGS: usize = 5_000;
/// Records of one part.
pub const PART_RECORDS: usize = 500;
/// Alerts of one part.
pub const PART_ALERTS: usize = 200;
/// Time that is asked for of one channel at once when a span is sent again.
const WINDOW: std::time::Duration = std::time::Duration::from_secs(3_600);
/// Windows looked at for one part.
const WINDOWS_MAX: usize = 64;

/// One part as lines.
#[derive(Clone, PartialEq, Debug)]
pub struct Load {
    /// Its lines, what comes first at the top.
    pub batch: Batch,
    /// How far it reaches.
    pub reached: Reached,
    /// What has no line.
    pub unwritable: Vec<Aside>,
}

/// The ledger, and how its rows become points.
#[derive(Debug)]
pub struct Loader<Stocked> {
    stock: Stocked,
    readings: ReadingPoints,
    site: String,
}

/// Lines being gathered.
#[derive(Default)]
struct Making {
    batch: Batch,
    unwritable: Vec<Aside>,
}

impl<Stocked: Stock> Loader<Stocked> {
    /// Reads this ledger.
    #[must_use]
    pub const fn new(stock: Stocked, readings: ReadingPoints, site: String) -> Self {
        Self { stock, readings, site }
    }

    /// The ledger.
    #[must_use]
    pub const fn stock(&self) -> &Stocked {
        &self.stock
    }

    /// Name of the site, a tag of every point.
    #[must_use]
    pub fn site(&self) -> &str {
        &self.site
    }

    /// Reads a part. `thinning` is that of the track for this turn, `beside` a point of the gateway itself.
    ///
    /// # Errors
    /// Those of the ledger.
    pub fn load(
        &self,
        turn: &Turn,
        thinning: Thinning,
        beside: Option<&Point>,
    ) -> Result<Load, Stocked::Failure> {
        let mut making = Making::default();
        if let Some(point) = beside {
            making.push(point, "gateway");
        }
        let reached = match turn {
            Turn::Fresh { alerts, records, readings, heads } => {
                self.fresh(*alerts, *records, *readings, *heads, thinning, &mut making)?
            }
            Turn::Behind(Behind::Records(run)) => Reached::Records(self.records(*run, None, &mut making)?),
            Turn::Behind(Behind::Span(span)) => {
                let mut span = span.clone();
                self.span(&mut span, &mut making)?;
                Reached::Span(span)
            }
            Turn::Behind(Behind::Readings(from)) => {
                let part = self.stock.readings(*from, PART_READINGS)?;
                making.damaged(&part.damaged);
                let last = newest(&part.readings);
                let thinning = self.write(&part.readings, thinning, &mut making)?;
                Reached::Readings { next: part.next, last, thinning }
            }
        };
        let Making { batch, unwritable } = making;
        Ok(Load { batch, reached, unwritable })
    }

    fn fresh(
        &self,
        alerts: Option<Run>,
        records: Run,
        readings: Place,
        heads: Heads,
        thinning: Thinning,
        making: &mut Making,
    ) -> Result<Reached, Stocked::Failure> {
        let mut alerts_down_to = 0;
        if let Some(run) = alerts {
            let newest_first = self.stock.alerts(run, PART_ALERTS)?;
            let is_part = newest_first.len() >= PART_ALERTS;
            alerts_down_to = newest_first.last().filter(|_| is_part).map_or(run.from, |(index, _)| *index);
            newest_first.iter().for_each(|(index, record)| making.record(&self.site, *index, record));
        }
        let mut records_to = records.from;
        if records.from < records.to {
            let new = self.stock.records(records, PART_RECORDS)?;
            records_to = new.last().map_or(records.to, |(index, _)| index + 1);
            new.iter().for_each(|(index, record)| making.record(&self.site, *index, record));
        }
        let (mut next, mut last, mut thinning) = (readings, None, thinning);
        if readings.input < heads.inputs {
            let part = self.stock.readings(readings, PART_READINGS)?;
            making.damaged(&part.damaged);
            last = newest(&part.readings);
            thinning = self.write(&part.readings, thinning, making)?;
            // Nothing is left up to where the ledger was: what follows was not there yet.
            next = if part.next == readings { Place { input: heads.inputs, block: 0 } } else { part.next };
        }
        Ok(Reached::Fresh { alerts_down_to, records: records_to, readings: next, last, thinning })
    }

    /// Adds the newest records of a run, the newest first, those of `only` where it is given; says
    /// down to which index they reach.
    fn records(&self, run: Run, only: Option<&Span>, making: &mut Making) -> Result<u64, Stocked::Failure> {
        let down_to = run.from.max(run.to.saturating_sub(PART_RECORDS as u64));
        let records = self.stock.records(Run { from: down_to, to: run.to }, PART_RECORDS)?;
        let wanted = |record: &Record| {
            only.is_none_or(|span| {
                let at = record::point(&self.site, 0, record).nanos() / 1_000;
                let is_in = |at: Timestamp| span.from <= at && at < span.to;
                is_in(Timestamp::from_micros(at)) || is_in(record.recorded)
            })
        };
        for (index, record) in records.iter().rev().filter(|(_, record)| wanted(record)) {
            making.record(&self.site, *index, record);
        }
        Ok(down_to)
    }

    /// Adds the next part of a span: first its records, then hour by hour the readings of each channel.
    fn span(&self, span: &mut Span, making: &mut Making) -> Result<(), Stocked::Failure> {
        if span.records.from < span.records.to {
            span.records.to = self.records(span.records, Some(span), making)?;
            return Ok(());
        }
        let channels = self.stock.channels();
        for _ in 0..WINDOWS_MAX {
            if span.at >= span.to || making.batch.len() >= PART_READINGS {
                break;
            }
            if span.channel == 0 {
                // Years without a reading are passed over at once.
                let next = self.stock.next_reading(span.at)?;
                span.at = next.map_or(span.to, |next| next.max(span.at).min(span.to));
            }
            let end = span.at.plus(WINDOW).min(span.to);
            if let Some(channel) = channels.get(span.channel) {
                let readings = self.stock.window(channel, span.at, end)?;
                let stretch = Stretch { channel: channel.clone(), readings };
                self.write(&[stretch], Thinning::default(), making)?;
                span.channel += 1;
            } else {
                (span.at, span.channel) = (end, 0);
            }
        }
        Ok(())
    }

    /// Adds readings, with the temperatures of cold junctions that are not among them fetched beside.
    fn write(
        &self,
        part: &[Stretch],
        mut thinning: Thinning,
        making: &mut Making,
    ) -> Result<Thinning, Stocked::Failure> {
        let mut beside = Vec::new();
        for wanted in self.readings.junctions_wanted(part) {
            let end = wanted.to.just_after();
            let readings = self.stock.window(&wanted.channel, wanted.from, end)?;
            beside.push(Stretch { channel: wanted.channel, readings });
        }
        let file = self.stock.on_file()?;
        let aside = self.readings.write(part, &beside, &file, &mut thinning, &mut making.batch);
        aside.iter().for_each(|aside| making.set_aside(aside));
        Ok(thinning)
    }
}

impl Making {
    fn record(&mut self, site: &str, index: u64, record: &Record) {
        self.push(&record::point(site, index, record), record.body.kind());
    }

    fn push(&mut self, point: &Point, of: &str) {
        if let Err(reason) = self.batch.push(point) {
            let at = Timestamp::from_micros(point.nanos() / 1_000);
            let what = format!("{point:?}");
            self.set_aside(&reading::Aside { of: of.to_owned(), at, what, reason });
        }
    }

    fn damaged(&mut self, damaged: &[String]) {
        let rows = damaged.iter().map(|what| {
            let reason = "damaged in the ledger: it cannot be read, and is passed over".to_owned();
            Aside { reason, points: 0, lines: what.clone().into_bytes() }
        });
        self.unwritable.extend(rows);
    }

    /// What has no line is set aside in words.
    fn set_aside(&mut self, aside: &reading::Aside) {
        let reason = aside.reason.to_string();
        let words = format!("{} {} {}\n", aside.of, aside.at, aside.what).into_bytes();
        match self.unwritable.last_mut().filter(|row| row.reason == reason) {
            Some(row) => {
                row.points += 1;
                if row.lines.len() < super::sieve::ASIDE_BYTES_MAX {
                    row.lines.extend(words);
                }
            }
            None => self.unwritable.push(Aside { reason, points: 1, lines: words }),
        }
    }
}

/// Time of the newest reading.
fn newest(part: &[Stretch]) -> Option<Timestamp> {
    part.iter().flat_map(|stretch| &stretch.readings).map(|reading| reading.at).max()
}
