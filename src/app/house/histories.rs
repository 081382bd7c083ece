//! The history, page by page, and how the record is sealed.

pub(super) mod doubted;
mod in_force;
mod missed;
mod of_alert;
mod spans;
mod sums;

use std::ops::ControlFlow;
use std::path::Path;
use std::sync::Arc;

use jiff::civil::Date;
use jiff::tz::TimeZone;

use super::House;
use super::machines::day_rack;
use crate::app::Failure;
use crate::app::alerts::entered::eased_by;
use crate::app::alerts::past::Raised;
use crate::app::alerts::story;
use crate::app::amended::Amended;
use crate::app::export::seal;
use crate::app::history::Kept;
use crate::app::sites::Sites;
use crate::core::alert::doubts::Doubts;
use crate::core::alert::entered::made;
use crate::core::alert::{AlertNumber, Settings};
use crate::core::late::late_by;
use crate::core::logbook::{Missed, counting};
use crate::core::merkle::Hash;
use crate::core::monitored;
use crate::core::reader::Reader;
use crate::core::record::{Amendment, Body, Change, OfAlert, Record};
use crate::core::time::Timestamp;
use crate::core::wall_clock::local_date;
use crate::ledger::{self, CycleFilter, Found, LedgerError, Order, RecordFilter, Subject};
use crate::web::cycle::Sealing;
use crate::web::frame::Refusal;
use crate::web::history::moment::Force;
use crate::web::history::record::{Counts, Eased, One, Stands};
use crate::web::history::{
    Found as FoundView, HITS_MAX, Histories, HistoryLine, HistoryPart, Hits, Integrity, LINES_MAX, Later,
    Listed, Newest, Page, Question, View,
};

/// What a question is asked of.
#[derive(Clone, Copy)]
pub(super) struct Around<'l> {
    pub(super) ledger: &'l ledger::Reader,
    /// Where the ledger lies, for messages.
    pub(super) path: &'l Path,
    /// Hours of the site.
    pub(super) settings: &'l Settings,
    pub(super) now: Timestamp,
    /// What put racks in doubt which had passed.
    pub(super) doubts: &'l Doubts,
    pub(super) kept: &'l Kept,
    /// What was withdrawn and corrected.
    pub(super) amended: &'l Amended,
}

/// The lines of a page, and whether more follow on it.
struct Gathered {
    lines: Vec<(u64, HistoryLine)>,
    more: bool,
    /// Records that are no lines, see [`Listed::folded`].
    folded: u64,
    /// The rack that was looked at last, where not each is a line.
    looked: Option<u64>,
    /// Whether enough racks were looked at before the page was full.
    cut: bool,
}

impl Gathered {
    fn new() -> Self {
        Self { lines: Vec::new(), more: false, folded: 0, looked: None, cut: false }
    }

    /// Takes one line; ends where the page is full.
    fn take(&mut self, index: u64, line: HistoryLine) -> ControlFlow<()> {
        if self.lines.len() == LINES_MAX {
            self.more = true;
            return ControlFlow::Break(());
        }
        self.lines.push((index, line));
        ControlFlow::Continue(())
    }
}

/// What is looked for, in instants.
pub(super) struct Sought {
    pub(super) question: Question,
    pub(super) from: Option<Timestamp>,
    pub(super) to: Option<Timestamp>,
}

impl Sought {
    pub(super) fn new(question: Question, zone: &TimeZone) -> Self {
        let day = |date| monitored::day(zone, date).map(|(_, stretch)| stretch);
        let from = question.from.and_then(day).map(|stretch| stretch.from);
        let to = question.to.and_then(day).map(|stretch| stretch.to);
        Self { question, from, to }
    }

    fn order(&self) -> (Order, Option<u64>) {
        match self.question.page {
            Page::Newest => (Order::NewestFirst, None),
            Page::Older(record) => (Order::NewestFirst, Some(record)),
            Page::Newer(record) => (Order::OldestFirst, Some(record)),
        }
    }

    /// A page of racks; `None` where it is to go on from what is none.
    fn racks(&self, around: Around<'_>, damaged: &mut Vec<u64>) -> Result<Option<FoundView>, LedgerError> {
        let ledger = around.ledger;
        match self.question.alert {
            _ if self.question.in_doubt => return self.in_doubt(around),
            Some(alert) => return self.of_alert(around, AlertNumber(alert), damaged),
            None => {}
        }
        if !self.goes_on(&["cycle"], ledger)? {
            return Ok(None);
        }
        let (order, after_index) = self.order();
        let filter = CycleFilter {
            machine: self.question.machine.clone(),
            from: self.from,
            to: self.to,
            verdicts: self.question.verdict.into_iter().collect(),
            limit: Some(LINES_MAX + 1),
            after_index,
        };
        let (mut gathered, mut failure) = (Gathered::new(), None);
        ledger.cycles_found(order, &filter, |index, found| match rack_line(around, index, found) {
            Ok(line) => gathered.take(index, line),
            Err(error) => {
                failure = Some(error);
                ControlFlow::Break(())
            }
        })?;
        let hits = Hits::of(ledger.cycles_counted(&filter, HITS_MAX + 1)?);
        failure.map_or_else(|| Ok(Some(self.page(gathered, Some(hits)))), Err)
    }

    /// A page of records of these kinds; `None` where it is to go on from one of another kind.
    fn records(&self, kinds: &[&str], around: Around<'_>) -> Result<Option<FoundView>, LedgerError> {
        let ledger = around.ledger;
        if !self.goes_on(kinds, ledger)? {
            return Ok(None);
        }
        let (order, after_index) = self.order();
        // Whoever asks for their kind sees each.
        let folds = self.question.view == View::Records && self.question.kind.is_none();
        let filter = RecordFilter {
            kinds: kinds.iter().map(|kind| (*kind).to_owned()).collect(),
            machine: self.question.machine.clone(),
            of_site: false,
            check: None,
            from: self.from,
            to: self.to,
            limit: (!folds).then_some(LINES_MAX + 1),
            after_index,
        };
        let judged = matches!(self.question.view, View::Checks | View::Records);
        let sites = judged.then(|| around.kept.sites.fresh(ledger)).transpose()?;
        let (mut gathered, mut failure) = (Gathered::new(), None);
        ledger.events(order, &filter, |index, found| {
            if folds && is_told_elsewhere(&found) {
                // What lies beyond a full page is of the next one.
                gathered.folded += u64::from(gathered.lines.len() < LINES_MAX);
                return ControlFlow::Continue(());
            }
            match record_line(ledger, index, found, sites.as_deref()) {
                Ok(line) => gathered.take(index, line),
                Err(error) => {
                    failure = Some(error);
                    ControlFlow::Break(())
                }
            }
        })?;
        let hits = Hits::of(ledger.events_counted(&filter, HITS_MAX + 1)?);
        failure.map_or_else(|| Ok(Some(self.page(gathered, Some(hits)))), Err)
    }

    /// Whether the page goes on from a record of these kinds; where it does not, it would be another page that
    /// is shown. One that is damaged may have been of any kind.
    fn goes_on(&self, kinds: &[&str], ledger: &ledger::Reader) -> Result<bool, LedgerError> {
        let (Page::Older(index) | Page::Newer(index)) = self.question.page else { return Ok(true) };
        if index >= ledger.size()? {
            return Ok(false);
        }
        Ok(ledger.record(index)?.map_or(true, |(_, record)| kinds.contains(&record.body.kind())))
    }

    /// The page and its neighbours.
    fn page(&self, gathered: Gathered, hits: Option<Hits>) -> FoundView {
        let Gathered { mut lines, more, folded, looked, cut } = gathered;
        let (more, looked) = (more || cut, looked.filter(|_| cut));
        let back = matches!(self.question.page, Page::Newer(_));
        if back {
            lines.reverse();
        }
        // A damaged record has no place that a page could go on from.
        let whole = |(index, line): &(u64, HistoryLine)| match line {
            HistoryLine::Damaged(_) => None,
            HistoryLine::Rack { .. } | HistoryLine::Record { .. } => Some(*index),
        };
        let (first, last) = (lines.iter().find_map(whole), lines.iter().rev().find_map(whole));
        // Where a page was cut it goes on from what was looked at last.
        let (newest, oldest) = if back { (looked, None) } else { (None, looked) };
        let (first, last) = (newest.or(first).or(looked), oldest.or(last).or(looked));
        FoundView::Lines(Listed {
            newer: first.filter(|_| more && back || matches!(self.question.page, Page::Older(_))),
            older: last.filter(|_| more || back),
            lines: lines.into_iter().map(|(_, line)| line).collect(),
            folded,
            cut,
            hits,
        })
    }
}

fn rack_line(around: Around<'_>, index: u64, found: Found) -> Result<HistoryLine, LedgerError> {
    let Ok((_, record)) = found else { return Ok(HistoryLine::Damaged(index)) };
    let late = late_by(&record).is_some();
    let Record { machine, body: Body::Cycle(cycle), .. } = record else {
        return Ok(HistoryLine::Damaged(index));
    };
    let machine = machine.unwrap_or_default();
    let rack = day_rack(around.ledger, around.doubts, (&machine, index), &cycle)?;
    let amended = !around.ledger.amendments(index)?.is_empty();
    Ok(HistoryLine::Rack { rack, machine, late, amended })
}

/// Whether a record only moves the end of work on a machine, of which other records tell.
fn is_told_elsewhere(found: &Found) -> bool {
    matches!(found, Ok((_, Record { body: Body::Maintenance(work), .. })) if work.only_moves_its_end())
}

/// A record that is no rack, with what was said of it later.
fn record_line(
    ledger: &ledger::Reader,
    index: u64,
    found: Found,
    sites: Option<&Sites>,
) -> Result<HistoryLine, LedgerError> {
    let Ok((_, record)) = found else { return Ok(HistoryLine::Damaged(index)) };
    let amendments = ledger.amendments(index)?;
    let (missed, good) = judged(index, &record, sites, &amendments);
    let amendments = amendments.into_iter().map(|(index, said)| Later { index, said }).collect();
    let (closed, counted) = if let Body::AlertRaised(raised) = &record.body {
        over(ledger, raised.alert.0)?
    } else {
        (None, None)
    };
    Ok(HistoryLine::Record { index, record: Box::new(record), missed, good, amendments, closed, counted })
}

/// The limits that a check missed, and whether it is good as it counts by now; nothing of any other record.
fn judged(
    index: u64,
    record: &Record,
    sites: Option<&Sites>,
    amendments: &[(u64, Option<Amendment>)],
) -> (Missed, Option<bool>) {
    let (Body::Check(check), Some(sites)) = (&record.body, sites) else { return Default::default() };
    let machine = record.machine.as_deref();
    let good = sites.counting((index, check), machine, amendments).and_then(|(_, good)| good);
    (Missed::of(&sites.judged(check, machine, index)), good)
}

/// When an alert closed, and how many racks it counted in the end or counts so far; `None` where the records that say so are
/// damaged.
fn over(ledger: &ledger::Reader, alert: u64) -> Result<(Option<Timestamp>, Option<u64>), LedgerError> {
    let mut counted = None;
    for about in ledger.about(Subject::Alert(alert))? {
        let Ok((_, record)) = ledger.record(about)? else { continue };
        match record.body.of_alert() {
            Some(OfAlert::Closed(closed)) => return Ok((Some(record.recorded), Some(closed.racks))),
            Some(OfAlert::Cleared(cleared)) => counted = Some(cleared.racks),
            Some(OfAlert::Changed(changed)) if changed.change == Change::Returned => counted = None,
            Some(_) | None => {}
        }
    }
    if counted.is_none() {
        let told = story::told_of(&mut Raised::of(ledger), alert)?;
        counted = told.map(|told| told.alert.racks.count);
    }
    Ok((None, counted))
}

fn integrity(ledger: &ledger::Reader) -> Result<Integrity, LedgerError> {
    Ok(Integrity {
        records: ledger.size()?,
        checkpoint: ledger.newest_checkpoint()?.map(|stored| Newest { records: stored.size, at: stored.at }),
        key: seal::newest(ledger)?.map(|seal| seal.key),
    })
}

/// The day of the first record or of the first rack, whichever is earlier: racks can be imported.
fn begins(ledger: &ledger::Reader, zone: &TimeZone) -> Result<Option<Date>, LedgerError> {
    let record = if ledger.size()? > 0 { ledger.recorded(0)? } else { None };
    let record = record.and_then(|at| local_date(zone, at));
    let rack = ledger.days_span(zone)?.map(|(first, _)| first);
    Ok(record.into_iter().chain(rack).min())
}

/// Why a page cannot be gathered.
#[derive(Debug)]
pub(super) enum NotGathered {
    /// The ledger cannot be read.
    Ledger(LedgerError),
    /// What the command `history` would say of it.
    Told(Failure),
}

impl From<LedgerError> for NotGathered {
    fn from(error: LedgerError) -> Self {
        Self::Ledger(error)
    }
}

impl From<Failure> for NotGathered {
    fn from(failure: Failure) -> Self {
        Self::Told(failure)
    }
}

/// A page of what is on record; `None` where the record that it is to go on from stands in no such list.
///
/// # Errors
/// See [`NotGathered`].
pub(super) fn gathered(sought: &Sought, around: Around<'_>) -> Result<Option<HistoryPart>, NotGathered> {
    let ledger = around.ledger;
    let mut damaged = Vec::new();
    let found = match sought.question.view {
        View::Racks => sought.racks(around, &mut damaged)?,
        View::Checks => sought.records(&["check"], around)?,
        View::Alerts => sought.records(&["alert-raised"], around)?,
        View::Records => match (sought.question.alert, sought.question.kind) {
            (Some(alert), _) => sought.said_of(AlertNumber(alert), around)?,
            (None, Some(kind)) => sought.records(&[kind], around)?,
            (None, None) => sought.records(&Body::EVENTS, around)?,
        },
        View::Missed => Some(missed::page(sought, around, &mut damaged)?),
        View::Days => Some(spans::days(sought, around, &mut damaged)?),
        View::Gaps => spans::gaps(sought, around, &mut damaged)?,
        View::Drift => Some(spans::drift(sought, around, &mut damaged)?),
        View::Summary => Some(FoundView::Summary(sums::summed(sought, around, &mut damaged)?.map(Box::new))),
    };
    let integrity = integrity(ledger)?;
    let begins = begins(ledger, &around.settings.zone)?;
    Ok(found.map(|found| HistoryPart { found, damaged, integrity, begins }))
}

impl Histories for House {
    async fn known_machines(&self) -> Result<Vec<String>, Refusal> {
        self.readers.ask(ledger::Reader::machines).await
    }

    async fn history(&self, question: Question, reader: &Reader) -> Result<Option<HistoryPart>, Refusal> {
        let sought = Sought::new(question, &reader.zone);
        let (path, now) = (Arc::clone(&self.path), self.clock.now());
        let (loaded, doubts) = (Arc::clone(&self.loaded), self.doubts.clone());
        let (kept, amended) = (self.kept.clone(), self.amended.clone());
        let asked = move |ledger: &ledger::Reader| {
            let settings = &loaded.configuration.alerts;
            let doubts = &*doubts.fresh(ledger)?;
            let (kept, amended) = (&kept, &*amended.fresh(ledger)?);
            let around = Around { ledger, path: &path, settings, now, doubts, kept, amended };
            match gathered(&sought, around) {
                Ok(part) => Ok(Ok(part)),
                Err(NotGathered::Told(failure)) => Ok(Err(failure)),
                Err(NotGathered::Ledger(error)) => Err(error),
            }
        };
        self.readers.ask(asked).await?.map_err(|failure| not_told(&failure))
    }

    async fn in_force(&self, at: Timestamp) -> Result<Force, Refusal> {
        self.readers.ask(move |ledger| in_force::in_force(ledger, at)).await
    }

    async fn record(&self, index: u64) -> Result<Stands, Refusal> {
        let kept = self.kept.clone();
        self.readers.ask(move |ledger| one(ledger, &kept, index)).await?.ok_or(Refusal::Unknown)
    }
}

/// What a command could not do: told to the log, since it is about the ledger and not about the question.
fn not_told(failure: &Failure) -> Refusal {
    tracing::warn!(%failure, "a page of the history cannot be made");
    Refusal::NotNow
}

/// One record with all that concerns it; `None` where there is none.
pub(super) fn one(ledger: &ledger::Reader, kept: &Kept, index: u64) -> Result<Option<Stands>, LedgerError> {
    if index >= ledger.size()? {
        return Ok(None);
    }
    let checkpoint = ledger.newest_checkpoint()?.map(|stored| (stored.size, stored.at));
    let leaf = ledger.leaf(index)?.map(|leaf| Hash(leaf).to_string());
    let sealing = Sealing { record: index, leaf, checkpoint };
    let Ok((bytes, record)) = ledger.record(index)? else { return Ok(Some(Stands::Damaged(sealing))) };
    let mut about = Vec::new();
    for other in ledger.about(Subject::Record(index))? {
        about.push((other, ledger.record(other)?.ok().map(|(_, record)| record)));
    }
    let (mut missed, mut good, mut counts, sites) =
        (Missed::default(), None, None, kept.sites.fresh(ledger)?);
    if let Body::Check(check) = &record.body {
        let amendments = ledger.amendments(index)?;
        (missed, good) = judged(index, &record, Some(&*sites), &amendments);
        let said = amendments.iter().filter_map(|(at, said)| Some((*at, &said.as_ref()?.change)));
        counts = counting(check, said).and_then(|(check, by)| {
            let by = by?;
            let judgement = sites.judged(check, record.machine.as_deref(), by);
            Some(Counts { by, check: check.clone(), missed: Missed::of(&judgement) })
        });
    }
    let eased = eased(ledger, &sites, &about)?;
    let bytes = String::from_utf8_lossy(&bytes).into_owned();
    Ok(Some(Stands::Whole(Box::new(One { record, missed, good, counts, eased, bytes, about, sealing }))))
}

/// Which checks were made, and what they came to, by the records of alerts that were eased by a check.
fn eased(
    ledger: &ledger::Reader,
    sites: &Sites,
    about: &[(u64, Option<Record>)],
) -> Result<Eased, LedgerError> {
    let mut eased = Eased::default();
    for (index, record) in about {
        let Some(record) = record else { continue };
        let Body::AlertChanged(changed) = &record.body else { continue };
        if changed.change != Change::Eased || changed.checks().is_none() {
            continue;
        }
        let (trail, _) = story::records(ledger, changed.alert)?;
        eased.made.extend(made(&trail).remove(index).map(|kinds| (*index, kinds)));
        eased.entered = eased_by(ledger, sites, &trail)?;
    }
    Ok(eased)
}
