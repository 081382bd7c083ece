//! The newest checks of one kind at a machine that count, as they stood at a moment.

use std::ops::ControlFlow;

use crate::core::logbook::counting;
use crate::core::record::{AmendmentChange, Body, Check, CheckKind};
use crate::core::time::Timestamp;
use crate::ledger::{LedgerError, Order, Reader, RecordFilter, Subject};

/// Calls `each` with the record of every check that was on record by `at` and with what it counted as by then, the newest
/// first, until it breaks; at most so many are looked at. One that is damaged is told by the history.
///
/// # Errors
/// The ledger's.
pub(super) fn newest(
    ledger: &Reader,
    (machine, kind, at): (&str, CheckKind, Timestamp),
    most: usize,
    mut each: impl FnMut(u64, &Check) -> ControlFlow<()>,
) -> Result<(), LedgerError> {
    let filter = RecordFilter {
        kinds: vec!["check".to_owned()],
        machine: Some(machine.to_owned()),
        check: Some(kind),
        // What was made later was not on record.
        to: Some(at.just_after()),
        limit: Some(most),
        ..RecordFilter::default()
    };
    let mut failure = None;
    ledger.events(Order::NewestFirst, &filter, |index, found| {
        let Ok((_, record)) = found else { return ControlFlow::Continue(()) };
        let Body::Check(check) = record.body else { return ControlFlow::Continue(()) };
        if at < record.recorded {
            return ControlFlow::Continue(());
        }
        match changes(ledger, index, at) {
            Ok(said) => match counting(&check, said.iter().map(|(index, change)| (*index, change))) {
                Some((check, _)) => each(index, check),
                None => ControlFlow::Continue(()),
            },
            Err(error) => {
                failure = Some(error);
                ControlFlow::Break(())
            }
        }
    })?;
    failure.map_or(Ok(()), Err)
}

/// What was said of a record by `at`.
fn changes(ledger: &Reader, of: u64, at: Timestamp) -> Result<Vec<(u64, AmendmentChange)>, LedgerError> {
    let about = ledger.records_about(Subject::Record(of))?;
    let said = about.into_iter().filter_map(|(index, found)| {
        let (_, record) = found.ok()?;
        let Body::Amendment(amendment) = record.body else { return None };
        (record.recorded <= at).then_some((index, amendment.change))
    });
    Ok(said.collect())
}
