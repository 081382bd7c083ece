//! The sanitizer reading that a rack was judged by, found on record, and what was said of it after that.

use std::ops::ControlFlow;

use crate::core::logbook::counting;
use crate::core::record::{Amendment, AmendmentChange, Body, Check, CheckKind, Cycle, Record};
use crate::ledger::{LedgerError, Order, Reader, RecordFilter};
use crate::web::cycle::Strip;

/// How many checks before a rack are looked through (own choice: days of a busy kitchen; a reading that holds longer
/// is not named).
const CHECKS_MAX: usize = 100;

/// The reading on record before the rack that counted then and is the one that the rack names; `None` where it
/// names none, or where no such reading is found.
pub(super) fn strip(
    ledger: &Reader,
    index: u64,
    machine: Option<&str>,
    cycle: &Cycle,
) -> Result<Option<Strip>, LedgerError> {
    let Some(judged_by) = cycle.concentration_mg_per_l else { return Ok(None) };
    let filter = RecordFilter {
        kinds: vec!["check".to_owned()],
        check: Some(CheckKind::Sanitizer),
        machine: machine.map(str::to_owned),
        to: Some(cycle.received),
        limit: Some(CHECKS_MAX),
        ..RecordFilter::default()
    };
    let mut readings = Vec::new();
    ledger.events(Order::NewestFirst, &filter, |found, record| {
        // One that cannot be read is told where the checks are listed.
        if let Ok((_, Record { body: Body::Check(check), .. })) = record
            && found < index
        {
            readings.push((found, check));
        }
        ControlFlow::Continue(())
    })?;
    for (record, check) in readings {
        let said: Vec<(u64, Amendment)> = ledger
            .amendments(record)?
            .into_iter()
            .filter_map(|(at, amendment)| Some((at, amendment?)))
            .collect();
        let before = said.iter().filter(|(at, _)| *at < index).map(|(at, one)| (*at, &one.change));
        let Some((Check::Sanitizer { mg_per_l, .. }, _)) = counting(&check, before) else { continue };
        if mg_per_l.total_cmp(&judged_by).is_eq() {
            let is_later =
                |(at, one): &(u64, Amendment)| *at > index && one.change != AmendmentChange::Comment;
            let later = said.into_iter().filter(is_later).collect();
            return Ok(Some(Strip { record, later }));
        }
    }
    Ok(None)
}
