//! What a record did to alerts: the one answer for the page of an entry or a rack and for `history --record`.

use std::collections::BTreeSet;

use super::failed::open_then;
use crate::app::sites::Sites;
use crate::core::alert::AlertNumber;
use crate::core::alert::did::{Deeds, Did, note};
use crate::core::record::{Amendment, AmendmentChange, Body, Check, Record};
use crate::ledger::{LedgerError, Reader, Subject};

/// What is told of a record that is no rack, of an entry with all that was said of it later: of one that failed while its
/// alert was open also that it belongs to it, which no record says.
///
/// # Errors
/// The ledger's, but for damage of single records.
pub(in crate::app) fn of_record(
    ledger: &Reader,
    sites: &Sites,
    index: u64,
    record: &Record,
) -> Result<Deeds, LedgerError> {
    let Body::Check(check) = &record.body else {
        let later = if let Body::Note(_) = record.body { ledger.amendments(index)? } else { Vec::new() };
        return with_later(ledger, index, later.iter().map(|(at, _)| *at));
    };
    let amendments = ledger.amendments(index)?;
    let mut deeds = with_later(ledger, index, amendments.iter().map(|(at, _)| *at))?;
    let Some(machine) = record.machine.as_deref() else { return Ok(deeds) };
    if has_failed(sites, machine, (index, check), &amendments) && set_off(ledger, index)?.is_empty() {
        let open = open_then(ledger, machine, check.kind(), (index, record.recorded))?;
        open.into_iter().for_each(|alert| note(&mut deeds, AlertNumber(alert), Did::Joined));
    }
    Ok(deeds)
}

/// What a record did to alerts, and what was done by the records of what was said of it later.
pub(super) fn with_later(
    ledger: &Reader,
    index: u64,
    later: impl Iterator<Item = u64>,
) -> Result<Deeds, LedgerError> {
    let mut deeds = did(ledger, index)?;
    for at in later {
        did(ledger, at)?.into_iter().for_each(|(alert, did)| note(&mut deeds, alert, did));
    }
    Ok(deeds)
}

/// The alerts that a record raised, made larger or opened again: a rack, or what somebody entered.
///
/// # Errors
/// The ledger's, but for damage of single records.
pub(super) fn set_off(ledger: &Reader, index: u64) -> Result<BTreeSet<AlertNumber>, LedgerError> {
    let did = did(ledger, index)?.into_iter();
    Ok(did.filter(|(_, did)| did.sets_off()).map(|(alert, _)| alert).collect())
}

/// What a record did to alerts, those that it ended among them.
///
/// # Errors
/// The ledger's, but for damage of single records.
pub(super) fn did(ledger: &Reader, index: u64) -> Result<Deeds, LedgerError> {
    let mut deeds = Deeds::new();
    for (_, found) in ledger.records_about(Subject::Record(index))? {
        let Ok((_, record)) = found else { continue };
        if let Some((alert, did)) = record.body.of_alert().and_then(|told| Did::of(index, told)) {
            note(&mut deeds, alert, did);
        }
    }
    Ok(deeds)
}

/// Whether a check failed as it was entered, or as it counted by one of its corrections: by the machine as it was configured
/// then.
fn has_failed(
    sites: &Sites,
    machine: &str,
    (index, check): (u64, &Check),
    amendments: &[(u64, Option<Amendment>)],
) -> bool {
    let corrected = amendments.iter().filter_map(|(at, said)| match &said.as_ref()?.change {
        AmendmentChange::Corrected(check) => Some((*at, check)),
        AmendmentChange::Comment | AmendmentChange::Withdrawn => None,
    });
    let all = [(index, check)].into_iter().chain(corrected);
    all.into_iter().any(|(at, check)| sites.good(check, Some(machine), at) == Some(false))
}
