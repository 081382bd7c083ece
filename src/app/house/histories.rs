//! The history, page by page, and how the record is sealed.

use std::ops::ControlFlow;

use jiff::ToSpan;
use jiff::tz::TimeZone;

use super::House;
use crate::app::export::seal;
use crate::core::alert::hours::local_date;
use crate::core::late::{late_by, stands_at};
use crate::core::monitored;
use crate::core::reader::Reader;
use crate::core::record::{Body, Record};
use crate::core::time::Timestamp;
use crate::ledger::{self, CycleFilter, Found, LedgerError, Order, RecordFilter};
use crate::report::said;
use crate::web::frame::Refusal;
use crate::web::history::{
    DAYS_MAX, Histories, HistoryLine, HistoryPart, Integrity, LINES_MAX, Page, Question, View,
};
use crate::web::machine::DayRack;

/// Kinds of records of each view; of those that are looked at otherwise none.
fn kinds(view: View) -> Vec<String> {
    let kinds: &[&str] = match view {
        View::Racks | View::Days => &[],
        View::Checks => &["check"],
        View::Alerts => &["alert-raised"],
        View::Gaps => &["gap"],
        View::Records => &Body::EVENTS,
    };
    kinds.iter().map(|kind| (*kind).to_owned()).collect()
}

/// The lines of a page, and whether more follow on it.
pub(super) struct Gathered {
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
    question: Question,
    from: Option<Timestamp>,
    to: Option<Timestamp>,
}

impl Sought {
    pub(super) fn new(question: Question, zone: &TimeZone) -> Self {
        let day = |date| monitored::day(zone, date).map(|(_, stretch)| stretch);
        let from = question.from.and_then(day).map(|stretch| stretch.from);
        let to = question.to.and_then(day).map(|stretch| stretch.to);
        Self { question, from, to }
    }

    /// What is looked for.
    #[cfg(test)]
    pub(super) const fn question(&self) -> &Question {
        &self.question
    }

    fn order(&self) -> (Order, Option<u64>) {
        match self.question.page {
            Page::Newest => (Order::NewestFirst, None),
            Page::Older(record) => (Order::NewestFirst, Some(record)),
            Page::Newer(record) => (Order::OldestFirst, Some(record)),
        }
    }

    pub(super) fn racks(&self, ledger: &ledger::Reader) -> Result<Gathered, LedgerError> {
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

    pub(super) fn records(&self, ledger: &ledger::Reader) -> Result<Gathered, LedgerError> {
        let (order, after_index) = self.order();
        let filter = RecordFilter {
            kinds: kinds(self.question.view),
            machine: self.question.machine.clone(),
            check: None,
            from: self.from,
            to: self.to,
            limit: Some(LINES_MAX + 1),
            after_index,
        };
        let (mut gathered, mut failure) = (Gathered::new(), None);
        ledger.events(order, &filter, |index, found| match record_line(ledger, index, found) {
            Ok(line) => gathered.take(index, line),
            Err(error) => {
                failure = Some(error);
                ControlFlow::Break(())
            }
        })?;
        failure.map_or(Ok(gathered), Err)
    }

    /// The page and its neighbours.
    pub(super) fn page(&self, gathered: Gathered, part: &mut HistoryPart) {
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
        part.lines = lines.into_iter().map(|(_, line)| line).collect();
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
        verdict: cycle.believed(),
        settled_c: cycle.rinse_min_c,
        limit_c: cycle.limit_c,
        wash_c: cycle.wash_min_c,
    };
    let amended = !ledger.amendments(index)?.is_empty();
    Ok(HistoryLine::Rack { rack, machine: machine.unwrap_or_default(), late, amended })
}

fn record_line(ledger: &ledger::Reader, index: u64, found: Found) -> Result<HistoryLine, LedgerError> {
    let Ok((_, record)) = found else { return Ok(HistoryLine::Damaged(index)) };
    let amendments = ledger.amendments(index)?;
    let amended = amendments.iter().map(|(index, amendment)| said::amended(*index, amendment.as_ref()));
    Ok(HistoryLine::Record {
        record: index,
        kind: record.body.kind(),
        at: stands_at(&record),
        said: said::said(&record.body),
        alert: record.body.alert().map(|alert| alert.0),
        machine: record.machine,
        amended: amended.collect(),
    })
}

fn integrity(ledger: &ledger::Reader) -> Result<Integrity, LedgerError> {
    Ok(Integrity {
        records: ledger.size()?,
        checkpoint: ledger.newest_checkpoint()?.map(|stored| (stored.size, stored.at)),
        key: seal::newest(ledger)?.map(|seal| seal.key),
    })
}

impl Histories for House {
    async fn history(&self, question: Question, reader: &Reader) -> Result<HistoryPart, Refusal> {
        let zone = reader.zone.clone();
        let today = local_date(&zone, self.clock.now()).ok_or(Refusal::NotNow)?;
        let sought = Sought::new(question, &zone);
        let asked = move |ledger: &ledger::Reader| {
            let mut part = HistoryPart {
                machines: ledger.machines()?,
                integrity: integrity(ledger)?,
                ..HistoryPart::default()
            };
            match sought.question.view {
                View::Racks => sought.page(sought.racks(ledger)?, &mut part),
                View::Checks | View::Alerts | View::Gaps | View::Records => {
                    sought.page(sought.records(ledger)?, &mut part);
                }
                View::Days => {
                    let last = sought.question.to.map_or(today, |to| to.min(today));
                    let most = last.checked_sub((DAYS_MAX - 1).days()).unwrap_or(last);
                    let first = sought.question.from.map_or(most, |from| from.max(most));
                    part.days = ledger.days(&zone, sought.question.machine.as_deref(), first, last)?;
                    part.days.reverse();
                }
            }
            Ok(part)
        };
        self.readers.ask(asked).await
    }
}
