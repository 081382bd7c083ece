//! What people wrote down that they did about the alerts of a rack, and whether that covers it.

use std::collections::BTreeSet;

use crate::app::alerts::racks::Reach;
use crate::core::alert::AlertNumber;
use crate::core::alert::cover::{Cover, Covered, Known};
use crate::core::alert::doubts::Doubts;
use crate::core::record::{Body, Cycle, Record};
use crate::ledger::{LedgerError, Order, Reader, Subject};
use crate::web::cycle::Acted;

/// How often racks of alerts are looked through to tell the number of one (own choice: a few hundredths of a second).
const LOOKS_MAX: usize = 1;

/// The actions about some alerts, in order of the record; what is damaged is told of on the page of its alert.
pub(super) fn actions(
    ledger: &Reader,
    doubts: &Doubts,
    alerts: &BTreeSet<AlertNumber>,
    (index, cycle): (u64, &Cycle),
) -> Result<Vec<Acted>, LedgerError> {
    let (mut all, mut looks) = (Vec::new(), LOOKS_MAX);
    for alert in alerts {
        let (mut cover, mut own, mut whole) = (Cover::default(), Vec::new(), true);
        for (record, found) in ledger.records_about(Subject::Alert(alert.0))? {
            let Ok((_, Record { recorded, body, .. })) = found else {
                // It may have said how many racks there were.
                whole = false;
                continue;
            };
            if let Some(told) = body.of_alert() {
                cover.note(record, told);
            }
            if let Body::CorrectiveAction(action) = body {
                own.push((record, recorded, action));
            }
        }
        if own.is_empty() {
            continue;
        }
        let covered = if whole {
            covered(ledger, doubts, (*alert, &cover), (index, cycle), &mut looks)?
        } else {
            Covered::Unknown
        };
        let first = match &covered {
            Covered::By(records) => own.iter().find(|(record, ..)| records.contains(record)),
            Covered::NotYet | Covered::Unknown => None,
        };
        let first = first.map(|(record, _, action)| (*record, action.covers));
        all.extend(own.into_iter().map(|(record, at, action)| {
            // One that was written later for more racks covers those of the first too.
            let more = || first.is_some_and(|(first, covers)| record > first && action.covers > covers);
            let covers = match &covered {
                Covered::By(records) => Some(records.contains(&record) || more()),
                Covered::NotYet => Some(false),
                Covered::Unknown => None,
            };
            Acted { at, action, covers }
        }));
    }
    Ok(all)
}

/// By what the records of the alert say, and where that does not tell by its racks.
fn covered(
    ledger: &Reader,
    doubts: &Doubts,
    (alert, cover): (AlertNumber, &Cover),
    (index, cycle): (u64, &Cycle),
    looks: &mut usize,
) -> Result<Covered, LedgerError> {
    let Some(place) = cover.place(index, cycle) else { return Ok(Covered::Unknown) };
    let covered = cover.of((place, index), Known::default());
    if covered != Covered::Unknown || *looks == 0 {
        return Ok(covered);
    }
    let Some(reach) = Reach::read(ledger, alert, |_, _| {})? else { return Ok(covered) };
    let (mut racks, mut after) = (Vec::new(), None);
    while *looks > 0 {
        *looks -= 1;
        let looked = reach.look(ledger, doubts, (Order::OldestFirst, after), (None, None))?;
        after = looked.racks.last().map(|(index, ..)| *index);
        for (index, found, is_own) in looked.racks {
            // One that cannot be read may be one of them.
            let Ok((_, Record { body: Body::Cycle(cycle), .. })) = found else { return Ok(covered) };
            if is_own && let Some(place) = cover.place(index, &cycle) {
                racks.push((place, index));
            }
        }
        if !looked.more {
            racks.sort_unstable();
            return Ok(cover.of((place, index), Known { racks: &racks, whole: Some(0) }));
        }
    }
    Ok(covered)
}
