//! What people wrote down that they did about the alerts of a rack, and whether that covers it.

use std::collections::BTreeSet;

use crate::app::alerts::racks::Reach;
use crate::core::alert::AlertNumber;
use crate::core::alert::cover::{Cover, Covered, Known};
use crate::core::alert::doubts::Doubts;
use crate::core::record::{Body, Cycle, Record};
use crate::ledger::{LedgerError, Order, Reader, Subject};
use crate::web::cycle::Acted;

/// What people did about the alerts of a rack, as far as it can be read.
#[derive(Debug, Default)]
pub(in crate::app) struct Actions {
    /// In order of the alerts, and of the record; what is damaged is told of on the page of its alert.
    pub(in crate::app) written: Vec<Acted>,
    /// The alerts of which a record cannot be read, which may be one more.
    pub(in crate::app) damaged: BTreeSet<AlertNumber>,
}

/// The actions about some alerts.
pub(in crate::app) fn actions(
    ledger: &Reader,
    doubts: &Doubts,
    alerts: &BTreeSet<AlertNumber>,
    (index, cycle): (u64, &Cycle),
) -> Result<Actions, LedgerError> {
    let (mut all, mut has_looked) = (Actions::default(), false);
    for alert in alerts {
        let (mut records, mut cover, mut is_whole) = (Vec::new(), Cover::default(), true);
        let mut written = Vec::new();
        for (record, found) in ledger.records_about(Subject::Alert(alert.0))? {
            let Ok((_, told)) = found else {
                // It may have said how many racks there were.
                is_whole = false;
                continue;
            };
            if let Some(told) = told.body.of_alert() {
                cover.note(record, told);
            }
            if let Body::CorrectiveAction(action) = &told.body {
                written.push((record, told.recorded, action.clone()));
            }
            records.push(told);
        }
        if !is_whole {
            all.damaged.insert(*alert);
        }
        if written.is_empty() {
            continue;
        }
        let own = OfAlert { number: *alert, records, cover };
        let covered = if is_whole {
            covered(ledger, doubts, &own, (index, cycle), &mut has_looked)?
        } else {
            Covered::Unknown
        };
        all.written.extend(written.into_iter().map(|(record, at, action)| {
            let covers = match &covered {
                Covered::By(records) => Some(records.contains(&record)),
                Covered::NotYet => Some(false),
                Covered::Unknown => None,
            };
            Acted { record, at, action, covers }
        }));
    }
    Ok(all)
}

/// What is on record of an alert.
struct OfAlert {
    number: AlertNumber,
    records: Vec<Record>,
    cover: Cover,
}

/// By what the records of the alert say, and where that does not tell by its racks. Those of one alert are looked through
/// for a page, once (own choice: a few hundredths of a second).
fn covered(
    ledger: &Reader,
    doubts: &Doubts,
    OfAlert { number, records, cover }: &OfAlert,
    (index, cycle): (u64, &Cycle),
    has_looked: &mut bool,
) -> Result<Covered, LedgerError> {
    let Some(place) = cover.place(index, cycle) else { return Ok(Covered::Unknown) };
    let covered = cover.of((place, index), Known::default());
    if covered != Covered::Unknown || *has_looked {
        return Ok(covered);
    }
    let Some(reach) = Reach::of(ledger, *number, records)? else { return Ok(covered) };
    *has_looked = true;
    let looked = reach.look(ledger, doubts, (Order::OldestFirst, None), (None, None))?;
    let mut racks = Vec::new();
    for (index, found, is_own) in looked.racks {
        // One that cannot be read may be one of them.
        let Ok((_, Record { body: Body::Cycle(cycle), .. })) = found else { return Ok(covered) };
        if is_own && let Some(place) = cover.place(index, &cycle) {
            racks.push((place, index));
        }
    }
    racks.sort_unstable();
    let known = Known { racks: &racks, whole: true };
    Ok(if looked.more { covered } else { cover.of((place, index), known) })
}
