//! The story of alerts as the ledger tells it, without the desk: what `alerts list`,
//! `alerts show` and the page of a closed alert stand on.

use std::collections::BTreeMap;
use std::ops::ControlFlow;
use std::time::Duration;

use crate::core::alert::AlertNumber;
use crate::core::alert::affected::has_racks;
pub(in crate::app) use crate::core::alert::story::Story;
use crate::core::alert::story::note;
use crate::core::record::{Body, Record};
use crate::ledger::{CycleFilter, LedgerError, Order, Reader};

/// Kinds of records that tell of alerts.
const KINDS: [&str; 7] = [
    "alert-raised",
    "alert-changed",
    "alert-acknowledged",
    "alert-cleared",
    "alert-closed",
    "corrective-action",
    "notification",
];

/// Records that cannot be read, each with its index.
pub(in crate::app) type Damaged = Vec<(u64, LedgerError)>;

/// A final rinse starts no longer than this before its end (own choice: a conveyor that is fed without a pause).
const RINSE_MAX: Duration = Duration::from_secs(4 * 3_600);

/// Every alert on record, by number, past records that are damaged, which are named. Their figures and racks
/// are as their own records tell them until [`fill`] has read the cycles.
///
/// # Errors
/// The ledger's, but for damage of single records.
pub(in crate::app) fn all(reader: &Reader) -> Result<(BTreeMap<AlertNumber, Story>, Damaged), LedgerError> {
    let (mut stories, mut damaged) = (BTreeMap::new(), Vec::new());
    reader.records_found(&KINDS, 0, |index, found| {
        match found {
            Ok((_, record)) => note(&mut stories, &record),
            Err(error) => damaged.push((index, error)),
        }
        ControlFlow::Continue(())
    })?;
    Ok((stories, damaged))
}

/// The records of one alert in order, past those that are damaged: which alert they were of nobody
/// can say.
///
/// # Errors
/// The ledger's, but for damage of single records.
pub(in crate::app) fn records(
    reader: &Reader,
    number: AlertNumber,
) -> Result<(Vec<(u64, Record)>, Damaged), LedgerError> {
    let (mut own, mut damaged) = (Vec::new(), Vec::new());
    reader.records_found(&KINDS, 0, |index, found| {
        match found {
            Ok((_, record)) if record.body.alert() == Some(number) => own.push((index, record)),
            Ok(_) => {}
            Err(error) => damaged.push((index, error)),
        }
        ControlFlow::Continue(())
    })?;
    Ok((own, damaged))
}

/// What the records of one alert and the cycles it is about come to; `None` where it was never raised.
///
/// # Errors
/// The ledger's, but for damage of single records.
pub(in crate::app) fn told(reader: &Reader, records: &[(u64, Record)]) -> Result<Option<Story>, LedgerError> {
    let mut stories = BTreeMap::new();
    records.iter().for_each(|(_, record)| note(&mut stories, record));
    let mut story = stories.into_values().next();
    if let Some(story) = &mut story {
        fill(reader, story)?;
    }
    Ok(story)
}

/// Reads the last good cycle before an alert and the cycles it is about, past those that are damaged.
///
/// # Errors
/// The ledger's, but for damage of single records.
pub(in crate::app) fn fill(reader: &Reader, story: &mut Story) -> Result<(), LedgerError> {
    if let Some(index) = story.last_good
        && let Ok((_, Record { body: Body::Cycle(cycle), .. })) = reader.record(index)?
    {
        story.last_good(index, &cycle);
    }
    let alert = &story.alert;
    let Some(machine) = alert.machine.clone().filter(|_| has_racks(alert.condition)) else { return Ok(()) };
    let filter = CycleFilter {
        machine: Some(machine),
        from: Some(alert.since.minus(RINSE_MAX)),
        to: alert.cleared.or(story.closed),
        ..CycleFilter::default()
    };
    reader.cycles_found(Order::OldestFirst, &filter, |index, found| {
        if let Ok((_, Record { body: Body::Cycle(cycle), .. })) = found {
            story.rack(index, &cycle);
        }
        ControlFlow::Continue(())
    })
}
