//! What put a rack in doubt which had passed: the alert, the entry that found it wrong, and what was said of that since.

use std::collections::BTreeSet;

use crate::core::alert::{AlertNumber, Condition};
use crate::core::cycle::figures::Overtaken;
use crate::core::record::{AmendmentChange, Body, Clearing, Cycle, OfAlert, Record};
use crate::ledger::{LedgerError, Reader, Subject};
use crate::web::cycle::InDoubt;

/// What is on record of each alert that puts a rack in doubt.
///
/// # Errors
/// The ledger's, but for damage of single records: what those said is not known.
pub(super) fn in_doubt(
    ledger: &Reader,
    index: u64,
    cycle: &Cycle,
    alerts: &BTreeSet<AlertNumber>,
    overtaken: Option<Overtaken>,
) -> Result<Vec<InDoubt>, LedgerError> {
    let doubted = alerts.iter().map(|alert| by_alert(ledger, index, cycle, *alert));
    let mut doubted = doubted.collect::<Result<Vec<InDoubt>, LedgerError>>()?;
    if let Some(by_strip) = doubted.iter_mut().find(|doubt| doubt.condition == Some(Condition::Weak)) {
        by_strip.overtaken = overtaken;
    }
    Ok(doubted)
}

fn by_alert(ledger: &Reader, index: u64, cycle: &Cycle, alert: AlertNumber) -> Result<InDoubt, LedgerError> {
    let (mut condition, mut names_it, mut before_it) = (None, None, None);
    for (at, found) in ledger.records_about(Subject::Alert(alert.0))? {
        let Ok((_, record)) = found else { continue };
        let Some(told) = record.body.of_alert() else { continue };
        match told {
            OfAlert::Raised(raised) => condition = Some(raised.condition),
            OfAlert::Cleared(cleared) if cleared.clearing == Clearing::Withdrawn => {
                (names_it, before_it) = (None, None);
            }
            OfAlert::Changed(_)
            | OfAlert::Acknowledged(_)
            | OfAlert::Cleared(_)
            | OfAlert::Closed(_)
            | OfAlert::Action(_)
            | OfAlert::Notification(_) => {}
        }
        let Some(earlier) = told.earlier() else { continue };
        if earlier.holds(index, cycle) {
            names_it = names_it.or(told.cause());
        } else if at < index && earlier.by_probe.as_ref().is_some_and(|own| own.doubts(cycle)) {
            before_it = told.cause();
        }
    }
    let entry = match names_it.or(before_it) {
        Some(cause) => entry(ledger, cause)?,
        None => None,
    };
    let said = match entry {
        Some(entry) => ledger.amendments(entry)?,
        None => Vec::new(),
    };
    let later = said.into_iter().filter_map(|(at, one)| Some((at, one?)));
    let later = later.filter(|(_, one)| one.change != AmendmentChange::Comment).collect();
    Ok(InDoubt { alert: alert.0, condition, entry, overtaken: None, later })
}

/// The entry behind a record: itself, or what it amends.
fn entry(ledger: &Reader, cause: u64) -> Result<Option<u64>, LedgerError> {
    Ok(match ledger.record(cause)? {
        Ok((_, Record { body: Body::Check(_), .. })) => Some(cause),
        Ok((_, Record { body: Body::Amendment(said), .. })) => Some(said.of),
        Ok(_) | Err(_) => None,
    })
}
