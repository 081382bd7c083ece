//! The story of alerts as the ledger tells it, without the desk: what `alerts list`,
//! `alerts show` and the page of a closed alert stand on.

use std::collections::BTreeMap;
use std::ops::ControlFlow;

use crate::core::alert::AlertNumber;
pub(in crate::app) use crate::core::alert::story::Story;
use crate::core::alert::story::note;
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

/// Records that cannot be read, each with its index.
pub(in crate::app) type Damaged = Vec<(u64, LedgerError)>;

/// Every alert on record, by number, past records that are damaged, which are named.
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

/// What the records of one alert come to; `None` where it was never raised.
pub(in crate::app) fn told(records: &[(u64, Record)]) -> Option<Story> {
    let mut stories = BTreeMap::new();
    records.iter().for_each(|(_, record)| note(&mut stories, record));
    stories.into_values().next()
}
