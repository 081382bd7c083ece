//! What people wrote down that they did about the alerts of a rack, and whether that covers it.

use std::collections::BTreeSet;

use crate::app::alerts::racks::Reach;
use crate::core::alert::AlertNumber;
use crate::core::alert::cover::{Cover, Covered, Known};
use crate::core::alert::doubts::Doubts;
use crate::core::record::{Body, Cycle, Record};
use crate::ledger::{LedgerError, Order, Reader, Subject};
use crate::web::cycle::Acted;

/// How often racks of an alert are looked through to tell the number of one (own choice: a tenth of a second).
const LOOKS_MAX: usize = 4;

/// The actions about some alerts, in order of the record; what is damaged is told of on the page of its alert.
pub(super) fn actions(
    ledger: &Reader,
    doubts: &Doubts,
    alerts: &BTreeSet<AlertNumber>,
    (index, cycle): (u64, &Cycle),
) -> Result<Vec<Acted>, LedgerError> {
    let mut all = Vec::new();
    for alert in alerts {
        let (mut cover, mut own) = (Cover::default(), Vec::new());
        for (record, found) in ledger.records_about(Subject::Alert(alert.0))? {
            let Ok((_, Record { recorded, body, .. })) = found else { continue };
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
        let covered = covered(ledger, doubts, *alert, &cover, (index, cycle))?;
        all.extend(own.into_iter().map(|(record, at, action)| {
            let covers = match &covered {
                Covered::By(records) => Some(records.contains(&record)),
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
    alert: AlertNumber,
    cover: &Cover,
    (index, cycle): (u64, &Cycle),
) -> Result<Covered, LedgerError> {
    let Some(place) = cover.place(index, cycle) else { return Ok(Covered::Unknown) };
    let covered = cover.of((place, index), Known::default());
    if covered != Covered::Unknown {
        return Ok(covered);
    }
    let Some(reach) = Reach::read(ledger, alert, |_, _| {})? else { return Ok(covered) };
    let (mut racks, mut after) = (Vec::new(), None);
    for _ in 0..LOOKS_MAX {
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
