//! The alerts that count a rack.
//!
//! The desk takes records in their order, so that is the order here as well, and not that of the clocks: an alert
//! counts a rack that it can tell of where it was open when the desk came to it. An alert that a record caused
//! stands where that record does. Of most racks an alert says nothing of its own, and there are three ways to it:
//!
//! | way | finds | bound, and what happens there |
//! |---|---|---|
//! | what speaks of the rack | alerts that it set off, or opened again | none |
//! | back from the rack | the newest alert of each condition that can tell of it, where it was open | [`RAISED_MAX`] alerts of its machine: one that stayed open for longer is not found |
//! | on from the rack | the alert of a row that it began, narrow or without proof | [`ROW_MAX`] racks of its machine: a row that takes longer is not found |
//!
//! One alert of a condition is open at a machine at a time: all that were raised before the newest had closed.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::ControlFlow;
use std::time::Duration;

use crate::core::alert::affected::{InRow, in_row, measured};
use crate::core::alert::{AlertNumber, Condition, Quantity};
use crate::core::record::{Body, Change, Cycle, OfAlert, Record};
use crate::ledger::{self, CycleFilter, LedgerError, Order, RecordFilter, Subject};

/// Alerts of its machine that are looked through back from a rack (own choice: years of a machine that alerts
/// daily, and some hundredths of a second).
const RAISED_MAX: usize = 1_000;
/// Racks of its machine that are looked through on from a rack: a row is of 100 at most, and racks that neither
/// add to it nor break it may lie between (own choice).
const ROW_MAX: usize = 200;
/// How long after a rack an alert goes on record that was caused before it (own choice: the desk follows the record
/// within seconds, and after a restart once it is there).
const DESK_LAG: Duration = Duration::from_secs(600);

/// Numbers of the alerts that count a rack. An alert that names it as the last good one before, or as the one that
/// recovered, is none of them.
///
/// # Errors
/// The ledger's, but for damage of single records: what those said is not known.
pub(in crate::app::house) fn alerts(
    ledger: &ledger::Reader,
    index: u64,
    record: &Record,
) -> Result<Vec<u64>, LedgerError> {
    let Body::Cycle(cycle) = &record.body else { return Ok(Vec::new()) };
    let mut alerts = set_off(ledger, index)?;
    for (condition, number) in newest_before(ledger, index, record, cycle)? {
        if is_open(ledger, number, index)? {
            alerts.insert(number, condition);
        }
    }
    for condition in [Condition::Narrow, Condition::Unproven] {
        let begins = in_row(condition, cycle) == Some(InRow::Adds);
        if begins && !alerts.values().any(|known| *known == condition) {
            let number = row_of(ledger, index, record.machine.as_deref(), condition)?;
            alerts.extend(number.map(|number| (number, condition)));
        }
    }
    Ok(alerts.into_keys().map(|number| number.0).collect())
}

/// The alerts that a rack raised, changed or opened again.
fn set_off(ledger: &ledger::Reader, index: u64) -> Result<BTreeMap<AlertNumber, Condition>, LedgerError> {
    let mut alerts = BTreeMap::new();
    for about in ledger.about(Subject::Record(index))? {
        let Ok((_, record)) = ledger.record(about)? else { continue };
        let Some(told) = record.body.of_alert() else { continue };
        let [cause, _] = told.causes();
        if cause != Some(index) || matches!(told, OfAlert::Cleared(_)) {
            continue;
        }
        if let Some(number) = told.alert()
            && let Some(condition) = condition_of(ledger, number, told)?
        {
            alerts.insert(number, condition);
        }
    }
    Ok(alerts)
}

/// What an alert is about; `None` where the record that raised it cannot be read.
fn condition_of(
    ledger: &ledger::Reader,
    number: AlertNumber,
    told: OfAlert<'_>,
) -> Result<Option<Condition>, LedgerError> {
    if let OfAlert::Raised(raised) = told {
        return Ok(Some(raised.condition));
    }
    for about in ledger.about(Subject::Alert(number.0))? {
        if let Ok((_, Record { body: Body::AlertRaised(raised), .. })) = ledger.record(about)? {
            return Ok(Some(raised.condition));
        }
    }
    Ok(None)
}

/// The newest alert that was raised before a rack of each condition that can tell of it.
fn newest_before(
    ledger: &ledger::Reader,
    index: u64,
    rack: &Record,
    cycle: &Cycle,
) -> Result<BTreeMap<Condition, AlertNumber>, LedgerError> {
    let telling = |condition: &Condition| measured(*condition, cycle).is_some();
    let mut missing: BTreeSet<Condition> = Condition::ALL.into_iter().filter(telling).collect();
    let mut newest = BTreeMap::new();
    if missing.is_empty() {
        return Ok(newest);
    }
    let filter = RecordFilter {
        kinds: vec!["alert-raised".to_owned()],
        machine: rack.machine.clone(),
        to: Some(rack.recorded.plus(DESK_LAG)),
        limit: Some(RAISED_MAX),
        ..RecordFilter::default()
    };
    ledger.events(Order::NewestFirst, &filter, |own, found| {
        if let Ok((_, Record { body: Body::AlertRaised(raised), .. })) = found
            && raised.cause.unwrap_or(own) < index
            && missing.remove(&raised.condition)
        {
            newest.insert(raised.condition, raised.alert);
        }
        if missing.is_empty() { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
    })?;
    Ok(newest)
}

/// Whether an alert was open, and had not recovered, when the desk came to the record with this index.
fn is_open(ledger: &ledger::Reader, number: AlertNumber, index: u64) -> Result<bool, LedgerError> {
    let mut open = false;
    for own in ledger.about(Subject::Alert(number.0))? {
        let Ok((_, record)) = ledger.record(own)? else { continue };
        let Some(told) = record.body.of_alert() else { continue };
        let [cause, _] = told.causes();
        if cause.unwrap_or(own) >= index {
            continue;
        }
        match told {
            OfAlert::Raised(_) => open = true,
            OfAlert::Changed(changed) => open |= changed.change == Change::Returned,
            OfAlert::Cleared(_) | OfAlert::Closed(_) => open = false,
            OfAlert::Acknowledged(_) | OfAlert::Action(_) | OfAlert::Notification(_) => {}
        }
    }
    Ok(open)
}

/// The alert that the row went into to which a rack was added: that of the first rack after it, in the same row,
/// that set one off. What is damaged may have broken the row.
fn row_of(
    ledger: &ledger::Reader,
    index: u64,
    machine: Option<&str>,
    condition: Condition,
) -> Result<Option<AlertNumber>, LedgerError> {
    let filter = CycleFilter {
        machine: machine.map(str::to_owned),
        after_index: Some(index),
        limit: Some(ROW_MAX),
        ..CycleFilter::default()
    };
    let mut row = Vec::new();
    ledger.cycles_found(Order::OldestFirst, &filter, |next, found| {
        let Ok((_, Record { body: Body::Cycle(cycle), .. })) = found else { return ControlFlow::Break(()) };
        match in_row(condition, &cycle) {
            Some(InRow::Adds) => row.push(next),
            Some(InRow::Neither) => {}
            Some(InRow::Breaks) | None => return ControlFlow::Break(()),
        }
        ControlFlow::Continue(())
    })?;
    // With the rack itself.
    for (long, last) in (2_u64..).zip(row) {
        for about in ledger.about(Subject::Record(last))? {
            let Ok((_, record)) = ledger.record(about)? else { continue };
            let Some(told) = record.body.of_alert() else { continue };
            let counted = match told {
                OfAlert::Raised(raised) => raised.measured,
                OfAlert::Changed(changed) if changed.change == Change::Returned => changed.measured,
                OfAlert::Changed(_)
                | OfAlert::Cleared(_)
                | OfAlert::Closed(_)
                | OfAlert::Acknowledged(_)
                | OfAlert::Action(_)
                | OfAlert::Notification(_) => continue,
            };
            let Some(number) = told.alert().filter(|_| told.causes()[0] == Some(last)) else { continue };
            if condition_of(ledger, number, told)? == Some(condition) {
                // A row without proof says how long it was: one before it was told as what hid its proof.
                let too_early = matches!(counted, Some(Quantity::Count(count)) if count < long);
                return Ok(Some(number).filter(|_| !too_early));
            }
        }
    }
    Ok(None)
}
