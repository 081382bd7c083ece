//! The racks of one alert: those that it counted, and those that it put in doubt.
//!
//! They are found as the alert's story finds them: the racks of its machine while it was open, and as many before it as can
//! be of its row. Of these so many are looked through at a time, with those of a row at either end.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::{ControlFlow, RangeInclusive};

use super::past::{PastOf, ROW_MAX, Raised};
use super::story;
use crate::core::alert::affected::OF_PROBES;
use crate::core::alert::doubts::Doubts;
use crate::core::alert::story::{Story, note};
use crate::core::alert::{Alert, AlertNumber, Condition, Earlier};
use crate::core::record::{Body, OfAlert, Record};
use crate::core::time::Timestamp;
use crate::ledger::{CycleFilter, Found, LedgerError, Order, Reader, Subject};

/// Racks that are looked through at a time (own choice: two or three hundredths of a second).
const LOOKED_MAX: usize = 1_500;

/// What is on record of an alert, as far as it says where its racks are.
pub(in crate::app) struct Reach {
    alert: Alert,
    pub(in crate::app) machine: String,
    from: Timestamp,
    to: Option<Timestamp>,
}

impl Reach {
    /// `None` where there is no such alert of a machine; what cannot be read of what is on record of it is handed over.
    ///
    /// # Errors
    /// The ledger's.
    pub(in crate::app) fn read(
        ledger: &Reader,
        number: AlertNumber,
        mut damaged: impl FnMut(u64, LedgerError),
    ) -> Result<Option<Self>, LedgerError> {
        let mut records = Vec::new();
        for (index, found) in ledger.records_about(Subject::Alert(number.0))? {
            match found {
                Ok((_, record)) => records.push(record),
                Err(error) => damaged(index, error),
            }
        }
        Self::of(ledger, number, &records)
    }

    /// The same, where the records of the alert were read already.
    ///
    /// # Errors
    /// The ledger's.
    pub(in crate::app) fn of(
        ledger: &Reader,
        number: AlertNumber,
        records: &[Record],
    ) -> Result<Option<Self>, LedgerError> {
        let (mut stories, mut earlier) = (BTreeMap::new(), Vec::new());
        for record in records {
            note(&mut stories, record);
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

    /// The next racks where its own can be, within a span.
    ///
    /// # Errors
    /// The ledger's.
    pub(in crate::app) fn look(
        &self,
        ledger: &Reader,
        doubts: &Doubts,
        (order, after): (Order, Option<u64>),
        (from, to): (Option<Timestamp>, Option<Timestamp>),
    ) -> Result<Looked, LedgerError> {
        let whole = self.filter(LOOKED_MAX + 1, after);
        let filter =
            CycleFilter { from: whole.from.max(from), to: whole.to.into_iter().chain(to).min(), ..whole };
        let mut racks = racks(ledger, order, &filter)?;
        let more = racks.len() > LOOKED_MAX;
        racks.truncate(LOOKED_MAX);
        let counted = counted(ledger, self, order, &racks)?;
        let is_own = |(index, found): (u64, Found)| {
            let own = counted.contains(&index) || self.is_held(index, &found, doubts);
            (index, found, own)
        };
        Ok(Looked { racks: racks.into_iter().map(is_own).collect(), more })
    }

    /// Whether it puts the rack in doubt, or holds it with those that are.
    fn is_held(&self, index: u64, found: &Found, doubts: &Doubts) -> bool {
        let Ok((_, Record { machine: Some(machine), body: Body::Cycle(cycle), .. })) = found else {
            return false;
        };
        let number = &self.alert.number;
        doubts.by(machine, index, cycle).contains(number)
            || doubts.beside(machine, index, cycle).contains(number)
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

/// Racks that were looked through.
pub(in crate::app) struct Looked {
    /// Each with its record, and whether it is one of the alert; whether a damaged one is nobody can say.
    pub(in crate::app) racks: Vec<(u64, Found, bool)>,
    /// Whether others follow.
    pub(in crate::app) more: bool,
}

fn racks(ledger: &Reader, order: Order, filter: &CycleFilter) -> Result<Vec<(u64, Found)>, LedgerError> {
    let mut racks = Vec::new();
    ledger.cycles_found(order, filter, |index, found| {
        racks.push((index, found));
        ControlFlow::Continue(())
    })?;
    Ok(racks)
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
