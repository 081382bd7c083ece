//! The alerts that a rack leads to.
//!
//! Of most racks an alert says nothing of its own, and there are four ways to it:
//!
//! | way | finds | bound, and what happens there |
//! |---|---|---|
//! | what speaks of the rack | alerts that it set off, changed, or opened again | none |
//! | the desk's past | the alert of each condition that can tell of it, where it was open | that of [`PastOf`] |
//! | what was found wrong | the alerts of a sanitizer or a thermometer that put a rack in doubt which passed, or hold another with it | that of [`Doubts`] |
//! | on from the rack | the alert of the row that it is one of, narrow or without proof | [`ROW_MAX`] racks of its machine: a row that takes longer is not found |

use std::collections::BTreeSet;
use std::ops::ControlFlow;

use crate::app::alerts::past::{PastOf, ROW_MAX, Raised};
use crate::app::house::did::{did, set_off};
use crate::core::alert::affected::{InRow, OF_PROBES, in_row, measured};
use crate::core::alert::did::{Deeds, Did, note};
use crate::core::alert::doubts::Doubts;
use crate::core::alert::{AlertNumber, Condition};
use crate::core::record::{Body, Cycle, Record};
use crate::ledger::{self, CycleFilter, LedgerError, Order};

/// The alerts of a rack, by number.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub(in crate::app) struct Leads {
    /// Those that it set off, or that count it.
    pub(in crate::app) alerts: BTreeSet<AlertNumber>,
    /// Those of them that put it in doubt after it had passed.
    pub(in crate::app) doubts: BTreeSet<AlertNumber>,
    /// What it did to those, and to others.
    pub(in crate::app) did: Deeds,
}

/// The alerts that a rack set off, or that count it. An alert that names it as the last good one before, or as the one
/// that recovered, is none of them.
///
/// # Errors
/// The ledger's, but for damage of single records: what those said is not known.
pub(in crate::app) fn leads(
    ledger: &ledger::Reader,
    index: u64,
    record: &Record,
    known: &Doubts,
) -> Result<Leads, LedgerError> {
    let (Body::Cycle(cycle), Some(machine)) = (&record.body, &record.machine) else {
        return Ok(Leads::default());
    };
    let mut alerts = set_off(ledger, index)?;
    let doubts: BTreeSet<AlertNumber> = known.by(machine, index, cycle).into_iter().collect();
    alerts.extend(&doubts);
    let holding = known.beside(machine, index, cycle);
    alerts.extend(&holding);
    let probes = || [None].into_iter().chain(OF_PROBES.map(Some));
    let tells = |condition: &Condition| probes().any(|probe| measured(*condition, cycle, probe).is_some());
    let conditions: Vec<Condition> = Condition::ALL.into_iter().filter(tells).collect();
    if !conditions.is_empty() {
        let row = row(ledger, index, machine, cycle)?;
        let last = row.last().map_or(index, |(last, _)| *last);
        let mut past = PastOf::read(&mut Raised::of(ledger), machine, &(index..=last), &conditions, None)?;
        for (next, cycle) in row {
            let counted = past.rack(next, &cycle)?;
            let counting =
                counted.iter().filter(|counted| counted.racks.iter().any(|rack| rack.index == index));
            alerts.extend(counting.map(|counted| counted.alert));
        }
    }
    let mut did = did(ledger, index)?;
    alerts.iter().for_each(|alert| note(&mut did, *alert, Did::Joined));
    Ok(Leads { alerts, doubts, did })
}

/// A rack, and those after it that may be of one row with it. What is damaged may have broken the row.
fn row(
    ledger: &ledger::Reader,
    index: u64,
    machine: &str,
    cycle: &Cycle,
) -> Result<Vec<(u64, Cycle)>, LedgerError> {
    let mut row = vec![(index, cycle.clone())];
    let adds = |condition: &Condition| in_row(*condition, cycle, None) == Some(InRow::Adds);
    let Some(condition) = Condition::ALL.into_iter().find(adds) else { return Ok(row) };
    let filter = CycleFilter {
        machine: Some(machine.to_owned()),
        after_index: Some(index),
        limit: Some(ROW_MAX),
        ..CycleFilter::default()
    };
    ledger.cycles_found(Order::OldestFirst, &filter, |next, found| {
        let Ok((_, Record { body: Body::Cycle(cycle), .. })) = found else { return ControlFlow::Break(()) };
        match in_row(condition, &cycle, None) {
            Some(InRow::Adds) => row.push((next, *cycle)),
            Some(InRow::Neither) => {}
            Some(InRow::Breaks) | None => return ControlFlow::Break(()),
        }
        ControlFlow::Continue(())
    })?;
    Ok(row)
}
