//! The history, page by page, and how the record is sealed.

mod spans;

use std::ops::ControlFlow;
use std::path::Path;
use std::sync::Arc;

use jiff::civil::Time;
use jiff::tz::TimeZone;

use super::House;
use crate::app::Failure;
use crate::app::export::seal;
use crate::app::history::events::Sites;
use crate::app::history::one::on_record;
use crate::config::recorded::{Recorded, RecordedProbe};
use crate::core::alert::Settings;
use crate::core::alert::hours::instant;
use crate::core::late::late_by;
use crate::core::merkle::Hash;
use crate::core::monitored;
use crate::core::reader::Reader;
use crate::core::record::{Body, Record};
use crate::core::time::Timestamp;
use crate::ledger::{self, CycleFilter, Found, LedgerError, Order, RecordFilter, Subject};
use crate::web::cycle::Sealing;
use crate::web::frame::Refusal;
use crate::web::history::moment::{AsConfigured, Force, ProbeInForce};
use crate::web::history::record::{One, Stands};
use crate::web::history::{
    Found as FoundView, Histories, HistoryLine, HistoryPart, Integrity, LINES_MAX, Page, Question, View,
};
use crate::web::machine::DayRack;

/// Kinds of records of each view; of those that are looked at otherwise none.
fn kinds(view: View) -> Vec<String> {
    let kinds: &[&str] = match view {
        View::Racks | View::Summary | View::Days | View::Gaps | View::Drift => &[],
        View::Checks => &["check"],
        View::Alerts => &["alert-raised"],
        View::Records => &Body::EVENTS,
    };
    kinds.iter().map(|kind| (*kind).to_owned()).collect()
}

/// The lines of a page, and whether more follow on it.
struct Gathered {
    lines: Vec<(u64, HistoryLine)>,
    more: bool,
}

impl Gathered {
    fn new() -> Self {
        Self { lines: Vec::new(), more: false }
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

    fn racks(&self, ledger: &ledger::Reader) -> Result<Gathered, LedgerError> {
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
        ledger.cycles_found(order, &filter, |index, found| match rack_line(ledger, index, found) {
            Ok(line) => gathered.take(index, line),
            Err(error) => {
                failure = Some(error);
                ControlFlow::Break(())
            }
        })?;
        failure.map_or(Ok(gathered), Err)
    }

    fn records(&self, ledger: &ledger::Reader) -> Result<Gathered, LedgerError> {
        let (order, after_index) = self.order();
        let filter = RecordFilter {
            kinds: self
                .question
                .kind
                .filter(|_| self.question.view == View::Records)
                .map_or_else(|| kinds(self.question.view), |kind| vec![kind.to_owned()]),
            machine: self.question.machine.clone(),
            check: None,
            from: self.from,
            to: self.to,
            limit: Some(LINES_MAX + 1),
            after_index,
        };
        let judged = matches!(self.question.view, View::Checks | View::Records);
        let sites = judged.then(|| Sites::read(ledger)).transpose()?;
        let (mut gathered, mut failure) = (Gathered::new(), None);
        ledger.events(order, &filter, |index, found| {
            match record_line(ledger, index, found, sites.as_ref()) {
                Ok(line) => gathered.take(index, line),
                Err(error) => {
                    failure = Some(error);
                    ControlFlow::Break(())
                }
            }
        })?;
        failure.map_or(Ok(gathered), Err)
    }

    /// The page and its neighbours.
    fn page(&self, gathered: Gathered, part: &mut HistoryPart) {
        let Gathered { mut lines, more } = gathered;
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
        part.newer = first.filter(|_| more && back || matches!(self.question.page, Page::Older(_)));
        part.older = last.filter(|_| more || back);
        part.found = FoundView::Lines(lines.into_iter().map(|(_, line)| line).collect());
    }
}

fn rack_line(ledger: &ledger::Reader, index: u64, found: Found) -> Result<HistoryLine, LedgerError> {
    let Ok((_, record)) = found else { return Ok(HistoryLine::Damaged(index)) };
    let late = late_by(&record).is_some();
    let Record { machine, body: Body::Cycle(cycle), .. } = record else {
        return Ok(HistoryLine::Damaged(index));
    };
    let rack = DayRack {
        record: index,
        at: cycle.rinse_started,
        verdict: cycle.verdict,
        settled_c: cycle.rinse_min_c,
        limit_c: cycle.limit_c,
        wash_c: cycle.wash_min_c,
    };
    let amended = !ledger.amendments(index)?.is_empty();
    Ok(HistoryLine::Rack { rack, machine: machine.unwrap_or_default(), late, amended })
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
    let good = match (&record.body, sites) {
        (Body::Check(check), Some(sites)) => {
            let counting = sites.counting((index, check), record.machine.as_deref(), &amendments);
            counting.and_then(|(_, good)| good)
        }
        (_, _) => None,
    };
    let closed =
        if let Body::AlertRaised(raised) = &record.body { closed(ledger, raised.alert.0)? } else { None };
    Ok(HistoryLine::Record { index, record: Box::new(record), good, amendments, closed })
}

/// When an alert closed; `None` while it is open, or where that record is damaged.
fn closed(ledger: &ledger::Reader, alert: u64) -> Result<Option<Timestamp>, LedgerError> {
    for about in ledger.about(Subject::Alert(alert))? {
        if let Ok((_, Record { recorded, body: Body::AlertClosed(_), .. })) = ledger.record(about)? {
            return Ok(Some(recorded));
        }
    }
    Ok(None)
}

fn integrity(ledger: &ledger::Reader) -> Result<Integrity, LedgerError> {
    Ok(Integrity {
        records: ledger.size()?,
        checkpoint: ledger.newest_checkpoint()?.map(|stored| (stored.size, stored.at)),
        key: seal::newest(ledger)?.map(|seal| seal.key),
    })
}

/// A page of what is on record.
///
/// # Errors
/// The ledger's; as a diagnostic where the page shares its answer with a command.
pub(super) fn gathered(
    sought: &Sought,
    (ledger, path): (&ledger::Reader, &Path),
    settings: &Settings,
    now: Timestamp,
) -> Result<Result<HistoryPart, Failure>, LedgerError> {
    let mut part = HistoryPart {
        machines: ledger.machines()?,
        found: FoundView::Lines(Vec::new()),
        newer: None,
        older: None,
        damaged: Vec::new(),
        days_before: None,
        integrity: integrity(ledger)?,
    };
    match sought.question.view {
        View::Racks => sought.page(sought.racks(ledger)?, &mut part),
        View::Checks | View::Alerts | View::Records => sought.page(sought.records(ledger)?, &mut part),
        View::Days | View::Summary | View::Gaps | View::Drift => {
            let filled = spans::fill(sought, (ledger, path), settings, now, &mut part);
            return Ok(filled.map(|()| part));
        }
    }
    Ok(Ok(part))
}

impl Histories for House {
    async fn history(&self, question: Question, reader: &Reader) -> Result<HistoryPart, Refusal> {
        let sought = Sought::new(question, &reader.zone);
        let (path, now) = (Arc::clone(&self.path), self.clock.now());
        let loaded = Arc::clone(&self.loaded);
        let asked = move |ledger: &ledger::Reader| {
            gathered(&sought, (ledger, &path), &loaded.configuration.alerts, now)
        };
        self.readers.ask(asked).await?.map_err(|failure| not_told(&failure))
    }

    async fn in_force(&self, at: Timestamp) -> Result<Force, Refusal> {
        self.readers.ask(move |ledger| in_force(ledger, at)).await
    }

    async fn record(&self, index: u64) -> Result<Stands, Refusal> {
        self.readers.ask(move |ledger| one(ledger, index)).await?.ok_or(Refusal::Unknown)
    }
}

/// What a command could not do: told to the log, since it is about the ledger and not about the question.
fn not_told(failure: &Failure) -> Refusal {
    tracing::warn!(%failure, "a page of the history cannot be made");
    Refusal::NotNow
}

fn in_force(ledger: &ledger::Reader, at: Timestamp) -> Result<Force, LedgerError> {
    let force = ledger.in_force(at)?;
    let mut probes = configured(&force);
    for (_, channel, in_force) in on_record(&force) {
        let known = probes.iter().position(|probe| probe.channel == channel);
        let place = known.unwrap_or_else(|| {
            probes.push(ProbeInForce { channel, configured: None, calibration: None, response: None });
            probes.len() - 1
        });
        let probe = &mut probes[place];
        probe.calibration = in_force.calibration.map(|filed| (filed.index, filed.since, filed.done.clone()));
        probe.response = in_force.response.map(|filed| (filed.index, filed.since, filed.done.clone()));
    }
    let limits = force.limits.into_iter().map(|then| (then.machine, then.index, Box::new(then.cycle)));
    Ok(Force {
        at,
        service: force.service,
        key: force.key,
        limits: limits.collect(),
        probes,
        configuration: force.configuration,
    })
}

/// The probes as they were configured, with the uncertainty of all that was in force.
fn configured(force: &ledger::InForce) -> Vec<ProbeInForce> {
    let Some((record, Record { recorded: since, body: Body::ConfigurationChange(change), .. })) =
        &force.configuration
    else {
        return Vec::new();
    };
    let Some(read) = Recorded::read(&change.toml) else { return Vec::new() };
    let probe = |known: &RecordedProbe| {
        let on = known.calibrated_on.and_then(|on| instant(&read.settings.zone, on, Time::midnight()));
        let probe = force.file.in_force(&known.channel, on, force.at).laid_over(&known.probe);
        let configured = AsConfigured {
            record: *record,
            since: *since,
            place: known.place,
            calibrated_on: known.calibrated_on.map(|day| day.to_string()),
            uncertainty_c: probe.budget.combined(known.near).expanded,
        };
        ProbeInForce {
            channel: known.channel.clone(),
            configured: Some(configured),
            calibration: None,
            response: None,
        }
    };
    read.probes.iter().map(probe).collect()
}

/// One record with all that concerns it; `None` where there is none.
fn one(ledger: &ledger::Reader, index: u64) -> Result<Option<Stands>, LedgerError> {
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
    let bytes = String::from_utf8_lossy(&bytes).into_owned();
    Ok(Some(Stands::Whole(Box::new(One { record, bytes, about, sealing }))))
}
