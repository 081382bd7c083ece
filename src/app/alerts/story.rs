//! The story of alerts as the ledger tells it, without the desk: what `alerts list`,
//! `alerts show` and the page of a closed alert stand on.

use std::collections::BTreeMap;
use std::ops::ControlFlow;
use std::time::Duration;

use super::past::{PastOf, ROW_MAX, Raised};
use crate::core::alert::affected::{InRow, OF_PROBES, has_racks, in_row};
pub(in crate::app) use crate::core::alert::story::Story;
use crate::core::alert::story::note;
use crate::core::alert::{Alert, AlertNumber, Condition};
use crate::core::record::{Body, Record};
use crate::core::time::Timestamp;
use crate::ledger::{CycleFilter, LedgerError, Order, Reader, Subject};

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
pub(in crate::app) const RINSE_MAX: Duration = Duration::from_secs(4 * 3_600);

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

/// The alerts of a machine that are open, as [`all`] tells them; of the records those are read that speak of them. Which
/// alerts are open the tables of the ledger say, so that one whose records are damaged is found and these are named; the
/// record that closed an alert is not read.
///
/// # Errors
/// The ledger's, but for damage of single records.
pub(in crate::app) fn open_of(
    reader: &Reader,
    machine: &str,
) -> Result<(BTreeMap<AlertNumber, Story>, Damaged), LedgerError> {
    let (mut stories, mut damaged) = (BTreeMap::new(), Vec::new());
    for raised in reader.open_at(Timestamp::MAX, Some(machine))? {
        let number = match reader.record(raised)? {
            Ok((_, record)) => record.body.alert(),
            Err(error) => {
                damaged.push((raised, error));
                None
            }
        };
        let Some(number) = number else { continue };
        for (index, found) in reader.records_about(Subject::Alert(number.0))? {
            match found {
                Ok((_, record)) => note(&mut stories, &record),
                Err(error) => damaged.push((index, error)),
            }
        }
    }
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
    told_among(&mut Raised::of(reader), records)
}

/// [`told`] of one alert of several.
///
/// # Errors
/// As there.
pub(in crate::app) fn told_among(
    raised: &mut Raised<'_>,
    records: &[(u64, Record)],
) -> Result<Option<Story>, LedgerError> {
    let mut stories = BTreeMap::new();
    records.iter().for_each(|(_, record)| note(&mut stories, record));
    let mut story = stories.into_values().next();
    if let Some(story) = &mut story {
        fill(raised, story)?;
    }
    Ok(story)
}

/// What the records of this alert that can be read come to, with the cycles it is about; `None` where it was never
/// raised.
///
/// # Errors
/// The ledger's, but for damage of single records.
pub(in crate::app) fn told_of(raised: &mut Raised<'_>, number: u64) -> Result<Option<Story>, LedgerError> {
    let own = raised.ledger.records_about(Subject::Alert(number))?;
    let own: Vec<(u64, Record)> =
        own.into_iter().filter_map(|(index, found)| Some((index, found.ok()?.1))).collect();
    told_among(raised, &own)
}

/// Reads the last good cycle before an alert and the cycles it is about, past those that are damaged.
///
/// # Errors
/// The ledger's, but for damage of single records.
pub(in crate::app) fn fill(raised: &mut Raised<'_>, story: &mut Story) -> Result<(), LedgerError> {
    let reader = raised.ledger;
    if let Some(index) = story.last_good
        && let Ok((_, Record { body: Body::Cycle(cycle), .. })) = reader.record(index)?
    {
        story.last_good(index, &cycle);
    }
    let (number, condition) = (story.alert.number, story.alert.condition);
    let Some(machine) = story.alert.machine.clone().filter(|_| has_racks(condition)) else { return Ok(()) };
    let own = reader.about(Subject::Alert(number.0))?;
    let (Some(oldest), Some(latest)) = (own.first(), own.last()) else { return Ok(()) };
    let row = row_began(reader, &machine, &story.alert)?;
    let first = row.map_or(*oldest, |(first, _)| first.min(*oldest));
    let last = if story.closed.is_some() { *latest } else { reader.size()? };
    let explained = matches!(condition, Condition::Unproven | Condition::ProbeFault | Condition::ProbeSilent);
    let others = OF_PROBES.iter().copied().filter(|_| explained).collect::<Vec<_>>();
    let mut past = PastOf::read(raised, &machine, &(first..=last), &others, Some(number))?;
    let began = story.alert.since.minus(RINSE_MAX);
    let filter = CycleFilter {
        machine: Some(machine.clone()),
        from: Some(row.map_or(began, |(_, row)| row.min(began))),
        to: story.alert.cleared.or(story.closed),
        ..CycleFilter::default()
    };
    let mut failure = None;
    reader.cycles_found(Order::OldestFirst, &filter, |index, found| {
        let Ok((_, Record { body: Body::Cycle(cycle), .. })) = found else {
            return ControlFlow::Continue(());
        };
        match past.rack(index, &cycle) {
            Ok(counted) => {
                counted.iter().filter(|counted| counted.alert == number).for_each(|own| story.racks(own))
            }
            Err(error) => failure = Some(error),
        }
        if failure.is_some() { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
    })?;
    failure.map_or(Ok(()), Err)
}

/// The first rack of the row that raised an alert, and when its rinse began; `None` where its condition counts none.
/// What is damaged may have broken the row.
///
/// # Errors
/// The ledger's.
pub(in crate::app) fn row_began(
    reader: &Reader,
    machine: &str,
    alert: &Alert,
) -> Result<Option<(u64, Timestamp)>, LedgerError> {
    let filter = CycleFilter {
        machine: Some(machine.to_owned()),
        to: Some(alert.since),
        limit: Some(ROW_MAX),
        ..CycleFilter::default()
    };
    let mut first = None;
    reader.cycles_found(Order::NewestFirst, &filter, |index, found| {
        let Ok((_, Record { body: Body::Cycle(cycle), .. })) = found else { return ControlFlow::Break(()) };
        match in_row(alert.condition, &cycle, None) {
            Some(InRow::Adds) => first = Some((index, cycle.rinse_started)),
            Some(InRow::Neither) => {}
            Some(InRow::Breaks) | None => return ControlFlow::Break(()),
        }
        ControlFlow::Continue(())
    })?;
    Ok(first)
}
