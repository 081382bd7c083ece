//! The sanitizer reading that a rack was judged by, found on record, and what was said of it after that.

use std::ops::ControlFlow;

use crate::core::logbook::counting;
use crate::core::record::{Amendment, AmendmentChange, Body, Check, CheckKind, Cycle, Record};
use crate::core::time::Timestamp;
use crate::ledger::{LedgerError, Order, Reader, RecordFilter};
use crate::web::cycle::Strip;

/// How many checks before a rack are looked through (own choice: days of a busy kitchen; a reading that holds longer
/// is not named).
const CHECKS_MAX: usize = 100;

/// The reading that was in force for a rack: of those on record before it, as they counted then, the newest that was
/// made by the end of its rinse, as the judge takes it. `None` where the rack names no concentration, or another one
/// than that reading has: better none than a wrong one.
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
    let mut newest: Option<(Timestamp, f64, Strip)> = None;
    for (record, check) in readings {
        let said: Vec<(u64, Amendment)> = ledger
            .amendments(record)?
            .into_iter()
            .filter_map(|(at, amendment)| Some((at, amendment?)))
            .collect();
        let before = said.iter().filter(|(at, _)| *at < index).map(|(at, one)| (*at, &one.change));
        let Some((&Check::Sanitizer { at, mg_per_l, .. }, _)) = counting(&check, before) else { continue };
        let is_newer = newest.as_ref().is_none_or(|(known, _, one)| (*known, one.record) < (at, record));
        if at <= cycle.rinse_ended && is_newer {
            let is_later =
                |(at, one): &(u64, Amendment)| *at > index && one.change != AmendmentChange::Comment;
            let later = said.into_iter().filter(is_later).collect();
            newest = Some((at, mg_per_l, Strip { record, later }));
        }
    }
    Ok(newest.filter(|(_, mg_per_l, _)| mg_per_l.total_cmp(&judged_by).is_eq()).map(|(_, _, strip)| strip))
}
