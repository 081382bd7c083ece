//! The alerts that found checks missing, for a digest and for the pages.

use std::collections::BTreeSet;
use std::ops::ControlFlow;
use std::time::Duration;

use crate::core::alert::{AlertNumber, Condition};
use crate::core::record::{Body, Record};
use crate::core::time::Timestamp;
use crate::ledger::{Found, LedgerError, Order, Reader, RecordFilter, Subject};
use crate::report::account::missed::Missed;

/// How long after it was due a check may be found missing (own choice: as far as the plan of checks looks back).
const FOUND_AFTER_MAX: Duration = Duration::from_secs(2 * 86_400);

/// Every alert that may have found missing what was due in a span, with its records; what is damaged of them goes to
/// `damaged`.
///
/// # Errors
/// The ledger's, but for damage of single records.
pub(in crate::app) fn missed(
    ledger: &Reader,
    machine: Option<&str>,
    (from, to): (Option<Timestamp>, Timestamp),
    damaged: &mut Vec<u64>,
) -> Result<Missed, LedgerError> {
    let mut missed = Missed::default();
    for alert in alerts(ledger, machine, (from, to), damaged)? {
        for (index, found) in ledger.records_about(Subject::Alert(alert.0))? {
            match found {
                Ok((_, record)) => missed.take(index, &record),
                Err(_) => damaged.push(index),
            }
        }
    }
    Ok(missed)
}

fn alerts(
    ledger: &Reader,
    machine: Option<&str>,
    (from, to): (Option<Timestamp>, Timestamp),
    damaged: &mut Vec<u64>,
) -> Result<BTreeSet<AlertNumber>, LedgerError> {
    let mut alerts = BTreeSet::new();
    let filter = RecordFilter {
        kinds: vec!["alert-raised".to_owned()],
        machine: machine.map(str::to_owned),
        from,
        to: Some(to.plus(FOUND_AFTER_MAX)),
        ..RecordFilter::default()
    };
    let mut take = |index, found: Found| match found {
        Ok((_, Record { body: Body::AlertRaised(raised), .. })) => {
            let may_tell = raised.condition == Condition::CheckOverdue && raised.since < to;
            alerts.extend(may_tell.then_some(raised.alert));
        }
        Ok(_) => {}
        Err(_) => damaged.push(index),
    };
    ledger.events(Order::OldestFirst, &filter, |index, found| {
        take(index, found);
        ControlFlow::Continue(())
    })?;
    // One that stood open by then may have found more missing since.
    if let Some(from) = from {
        for index in ledger.open_at(from, machine)? {
            take(index, ledger.record(index)?);
        }
    }
    Ok(alerts)
}
