//! Checks that were entered while an alert was open: no record of it names those that failed, and yet they are its own.

use std::collections::BTreeSet;
use std::ops::ControlFlow;
use std::time::Duration;

use crate::core::alert::Alert;
use crate::core::cycle::plate::Profile;
use crate::core::logbook::judge_known;
use crate::core::record::{Body, Record};
use crate::core::time::Timestamp;
use crate::ledger::{LedgerError, Order, Reader, RecordFilter};

/// Most checks that are looked at for one alert (own choice: a month of every shift). Those beyond are not listed.
const LOOKED_AT_MAX: usize = 100;

/// How long after it was made an entry is still looked for (own choice: the next shift writes down what the last did).
const LATE_MAX: Duration = Duration::from_secs(86_400);

/// The story of an alert with the entries that failed while it was open, in order; those that a record of it names are
/// told by that one.
pub(in crate::app) fn with_tests(
    ledger: &Reader,
    machines: &[Profile],
    (alert, closed): (&Alert, Option<Timestamp>),
    mut trail: Vec<(u64, Record)>,
) -> Result<Vec<(u64, Record)>, LedgerError> {
    let (Some(kind), Some((first, _))) = (alert.condition.found_by(), trail.first()) else {
        return Ok(trail);
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
    let profile = machines.iter().find(|one| Some(&one.name) == alert.machine.as_ref());
    ledger.events(Order::OldestFirst, &filter, |index, found| {
        if let Ok((_, record)) = found
            && let Body::Check(check) = &record.body
            && (first..last).contains(&index)
            && !named.contains(&index)
            && judge_known(check, profile).good == Some(false)
        {
            trail.push((index, record));
        }
        ControlFlow::Continue(())
    })?;
    trail.sort_by_key(|(index, _)| *index);
    Ok(trail)
}
