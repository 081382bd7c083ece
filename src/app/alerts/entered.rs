//! Checks that were entered while an alert was open: no record of it names those that failed, and yet they are its own.

use std::collections::BTreeSet;
use std::ops::ControlFlow;
use std::time::Duration;

use crate::app::sites::Sites;
use crate::core::alert::Alert;
use crate::core::alert::entered::EnteredChecks;
use crate::core::record::{Body, Change, OfAlert, Record};
use crate::core::time::Timestamp;
use crate::ledger::{LedgerError, Order, Reader, RecordFilter};

/// Most checks that are looked at for one alert (own choice: a month of every shift). Those beyond are not listed.
const LOOKED_AT_MAX: usize = 100;

/// How long after it was made an entry is still looked for (own choice: the next shift writes down what the last did).
const LATE_MAX: Duration = Duration::from_secs(86_400);

/// The story of an alert with the entries that failed while it was open, in order, and what these and those came to by
/// which it was eased, as its machine was configured then. Those that a record of it names are told by that one.
pub(in crate::app) fn with_tests(
    ledger: &Reader,
    sites: &Sites,
    (alert, closed): (&Alert, Option<Timestamp>),
    mut trail: Vec<(u64, Record)>,
) -> Result<(Vec<(u64, Record)>, EnteredChecks), LedgerError> {
    let mut entered = eased_by(ledger, sites, &trail)?;
    let (Some(kind), Some((first, _))) = (alert.condition.found_by(), trail.first()) else {
        return Ok((trail, entered));
    };
    let first = *first;
    let is_end = |record: &Record| matches!(record.body, Body::AlertClosed(_));
    let last = trail.iter().find(|(_, record)| is_end(record)).map_or(u64::MAX, |(index, _)| *index);
    let named: BTreeSet<u64> =
        trail.iter().filter_map(|(_, record)| record.body.of_alert()?.cause()).collect();
    let filter = RecordFilter {
        kinds: vec!["check".to_owned()],
        machine: alert.machine.clone(),
        check: Some(kind),
        from: Some(alert.since.min(alert.raised).minus(LATE_MAX)),
        to: closed.map(Timestamp::just_after),
        limit: Some(LOOKED_AT_MAX),
        ..RecordFilter::default()
    };
    ledger.events(Order::OldestFirst, &filter, |index, found| {
        if let Ok((_, record)) = found
            && let Body::Check(check) = &record.body
            && (first..last).contains(&index)
            && !named.contains(&index)
            && let judgement = sites.judged(check, alert.machine.as_deref(), index)
            && judgement.good == Some(false)
        {
            entered.take(index, check.clone(), judgement);
            trail.push((index, record));
        }
        ControlFlow::Continue(())
    })?;
    trail.sort_by_key(|(index, _)| *index);
    Ok((trail, entered))
}

/// The checks by which an alert was eased; one that cannot be read is told where the checks are listed.
///
/// # Errors
/// The ledger's, but for damage of single records.
pub(in crate::app) fn eased_by(
    ledger: &Reader,
    sites: &Sites,
    trail: &[(u64, Record)],
) -> Result<EnteredChecks, LedgerError> {
    let mut entered = EnteredChecks::default();
    let causes = trail.iter().filter_map(|(_, record)| match record.body.of_alert()? {
        OfAlert::Changed(changed) if changed.change == Change::Eased => changed.cause,
        OfAlert::Raised(_)
        | OfAlert::Changed(_)
        | OfAlert::Acknowledged(_)
        | OfAlert::Cleared(_)
        | OfAlert::Closed(_)
        | OfAlert::Action(_)
        | OfAlert::Notification(_) => None,
    });
    for cause in causes {
        if let Ok((_, Record { machine, body: Body::Check(check), .. })) = ledger.record(cause)? {
            let judgement = sites.judged(&check, machine.as_deref(), cause);
            entered.take(cause, check, judgement);
        }
    }
    Ok(entered)
}
