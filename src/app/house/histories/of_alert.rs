//! The racks of one alert, page by page: those that it counted, and those that it put in doubt. And its records.
//!
//! Its racks are found as the alert's story finds them: the racks of its machine while it was open, and as many before it as
//! can be of its row. Of these so many are looked through at a time, with those of a row at either end; a page that
//! ends before it is full goes on from where it ended.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::{ControlFlow, RangeInclusive};

use super::{Around, Gathered, Sought, rack_line, record_line};
use crate::app::alerts::past::{PastOf, ROW_MAX, Raised};
use crate::app::alerts::story;
use crate::core::alert::affected::OF_PROBES;
use crate::core::alert::story::{Story, note};
use crate::core::alert::{Alert, AlertNumber, Condition, Earlier};
use crate::core::late::stands_at;
use crate::core::record::{Body, OfAlert, Record};
use crate::core::time::Timestamp;
use crate::ledger::{CycleFilter, Found, LedgerError, Order, Reader, Subject};
use crate::web::history::{Found as FoundView, Hits, Page};

/// Racks that are looked through for one page (own choice: two or three hundredths of a second).
const LOOKED_MAX: usize = 1_500;

/// What is on record of an alert, as far as it says where its racks are.
struct Reach {
    alert: Alert,
    machine: String,
    from: Timestamp,
    to: Option<Timestamp>,
}

impl Reach {
    /// `None` where there is no such alert of a machine.
    fn read(ledger: &Reader, number: AlertNumber) -> Result<Option<Self>, LedgerError> {
        let (mut stories, mut earlier) = (BTreeMap::new(), Vec::new());
        for (_, found) in ledger.records_about(Subject::Alert(number.0))? {
            let Ok((_, record)) = found else { continue };
            note(&mut stories, &record);
            let racks = record.body.of_alert().and_then(OfAlert::earlier).map(Earlier::all);
            earlier.extend(racks.into_iter().flat_map(|racks| racks.named).map(|rack| rack.at));
        }
        let Some(Story { alert, closed, .. }) = stories.remove(&number) else { return Ok(None) };
        let Some(machine) = alert.machine.clone() else { return Ok(None) };
        let row = story::row_began(ledger, &machine, &alert)?.map(|(_, at)| at);
        let ended = earlier.into_iter().chain([alert.since]).map(|at| at.minus(story::RINSE_MAX));
        let from = ended.chain(row).min().unwrap_or(alert.since);
        let to = alert.cleared.or(closed);
        Ok(Some(Self { alert, machine, from, to }))
    }

    fn filter(&self, limit: usize, after_index: Option<u64>) -> CycleFilter {
        CycleFilter {
            machine: Some(self.machine.clone()),
            from: Some(self.from),
            to: self.to,
            limit: Some(limit),
            after_index,
            ..CycleFilter::default()
        }
    }
}

fn racks(ledger: &Reader, order: Order, filter: &CycleFilter) -> Result<Vec<(u64, Found)>, LedgerError> {
    let mut racks = Vec::new();
    ledger.cycles_found(order, filter, |index, found| {
        racks.push((index, found));
        ControlFlow::Continue(())
    })?;
    Ok(racks)
}

impl Sought {
    /// A page of the racks of an alert; `None` where it is to go on from what is none.
    pub(super) fn of_alert(
        &self,
        around: Around<'_>,
        number: AlertNumber,
    ) -> Result<Option<FoundView>, LedgerError> {
        let ledger = around.ledger;
        if !self.goes_on(&["cycle"], ledger)? {
            return Ok(None);
        }
        let mut gathered = Gathered::new();
        let own = |reach: &Reach| self.question.machine.as_ref().is_none_or(|name| *name == reach.machine);
        let Some(reach) = Reach::read(ledger, number)?.filter(own) else {
            return Ok(Some(self.page(gathered, None)));
        };
        let (order, after) = self.order();
        let whole = reach.filter(LOOKED_MAX + 1, after);
        let filter = CycleFilter {
            from: whole.from.max(self.from),
            to: whole.to.into_iter().chain(self.to).min(),
            ..whole
        };
        let mut looked = racks(ledger, order, &filter)?;
        gathered.cut = looked.len() > LOOKED_MAX;
        looked.truncate(LOOKED_MAX);
        let counted = counted(ledger, &reach, order, &looked)?;
        for (index, found) in looked {
            let fits = found.as_ref().is_ok_and(|(_, record)| self.fits(record));
            let doubted = || around.holding(index, &found).contains(&number);
            if found.is_err() || fits && (counted.contains(&index) || doubted()) {
                let line = rack_line(around, index, found)?;
                if gathered.take(index, line).is_break() {
                    gathered.cut = false;
                    break;
                }
            }
            gathered.looked = Some(index);
        }
        Ok(Some(self.page(gathered, None)))
    }

    /// A page of the records that speak of an alert, in order of the record; `None` where it is to go on from none.
    pub(super) fn said_of(
        &self,
        number: AlertNumber,
        around: Around<'_>,
    ) -> Result<Option<FoundView>, LedgerError> {
        let ledger = around.ledger;
        let mut own = ledger.about(Subject::Alert(number.0))?;
        let hits =
            (self.from, self.to, &self.question.machine, self.question.kind) == (None, None, &None, None);
        let hits = hits.then(|| Hits::of(own.len() as u64));
        match self.question.page {
            Page::Newest => own.reverse(),
            Page::Older(record) | Page::Newer(record) if own.binary_search(&record).is_err() => {
                return Ok(None);
            }
            Page::Older(record) => {
                own.retain(|index| *index < record);
                own.reverse();
            }
            Page::Newer(record) => own.retain(|index| *index > record),
        }
        let sites = around.kept.sites.fresh(ledger)?;
        let mut gathered = Gathered::new();
        for index in own {
            let found = ledger.record(index)?;
            if found.as_ref().is_ok_and(|(_, record)| !self.is_asked_for(record)) {
                continue;
            }
            if gathered.take(index, record_line(ledger, index, found, Some(&sites))?).is_break() {
                break;
            }
        }
        Ok(Some(self.page(gathered, hits)))
    }

    /// Whether a record is of the kind, the machine and the span that are asked for.
    fn is_asked_for(&self, record: &Record) -> bool {
        let at = stands_at(record);
        self.question.kind.is_none_or(|kind| kind == record.body.kind())
            && (self.question.machine.is_none() || self.question.machine == record.machine)
            && self.from.is_none_or(|from| at >= from)
            && self.to.is_none_or(|to| at < to)
    }

    /// Whether a rack is of the verdict that is asked for.
    fn fits(&self, record: &Record) -> bool {
        let Body::Cycle(cycle) = &record.body else { return false };
        self.question.verdict.is_none_or(|verdict| verdict == cycle.verdict)
    }
}

/// Those of some racks that the alert counted.
fn counted(
    ledger: &Reader,
    reach: &Reach,
    order: Order,
    looked: &[(u64, Found)],
) -> Result<BTreeSet<u64>, LedgerError> {
    let mut counted = BTreeSet::new();
    let (Some((one, _)), Some((other, _))) = (looked.first(), looked.last()) else { return Ok(counted) };
    let (newest, oldest) = if order == Order::NewestFirst { (*one, *other) } else { (*other, *one) };
    let number = reach.alert.number;
    let (mut before, mut after) = (Vec::new(), Vec::new());
    if matches!(reach.alert.condition, Condition::Narrow | Condition::Unproven) {
        before = racks(ledger, Order::NewestFirst, &reach.filter(ROW_MAX, Some(oldest)))?;
        before.reverse();
        after = racks(ledger, Order::OldestFirst, &reach.filter(ROW_MAX, Some(newest)))?;
    }
    let mut all: Vec<&(u64, Found)> = looked.iter().collect();
    if order == Order::NewestFirst {
        all.reverse();
    }
    let all: Vec<&(u64, Found)> = before.iter().chain(all).chain(&after).collect();
    let indices = || all.iter().map(|(index, _)| *index);
    let stretch: RangeInclusive<u64> = indices().min().unwrap_or(0)..=indices().max().unwrap_or(0);
    let explained =
        matches!(reach.alert.condition, Condition::Unproven | Condition::ProbeFault | Condition::ProbeSilent);
    let others = if explained { OF_PROBES.as_slice() } else { &[] };
    let mut past = PastOf::read(&mut Raised::of(ledger), &reach.machine, &stretch, others, Some(number))?;
    for (index, found) in all {
        let Ok((_, Record { body: Body::Cycle(cycle), .. })) = found else { continue };
        for own in past.rack(*index, cycle)?.into_iter().filter(|own| own.alert == number) {
            counted.extend(own.racks.iter().map(|rack| rack.index));
        }
    }
    Ok(counted)
}
