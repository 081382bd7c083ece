//! The story of alerts as the ledger tells it, without the desk: what `alerts list`,
//! `alerts show` and the page of a closed alert stand on.

use std::collections::BTreeMap;
use std::ops::ControlFlow;

use crate::core::alert::AlertNumber;
pub(in crate::app) use crate::core::alert::story::Story;
use crate::core::alert::story::{note, number_of};
use crate::core::record::Record;
use crate::ledger::{LedgerError, Reader};

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

/// Every alert on record, by number.
///
/// # Errors
/// The ledger's.
pub(in crate::app) fn all(reader: &Reader) -> Result<BTreeMap<AlertNumber, Story>, LedgerError> {
    let mut stories = BTreeMap::new();
    reader.records_of(&KINDS, 0, |_, _, record| {
        note(&mut stories, &record);
        ControlFlow::Continue(())
    })?;
    Ok(stories)
}

/// The records of one alert in order, each with its index.
///
/// # Errors
/// The ledger's.
pub(in crate::app) fn records(
    reader: &Reader,
    number: AlertNumber,
) -> Result<Vec<(u64, Record)>, LedgerError> {
    let mut own = Vec::new();
    reader.records_of(&KINDS, 0, |index, _, record| {
        if number_of(&record.body) == Some(number) {
            own.push((index, record));
        }
        ControlFlow::Continue(())
    })?;
    Ok(own)
}

/// What the records of one alert come to; `None` where it was never raised.
pub(in crate::app) fn told(records: &[(u64, Record)]) -> Option<Story> {
    let mut stories = BTreeMap::new();
    records.iter().for_each(|(_, record)| note(&mut stories, record));
    stories.into_values().next()
}
