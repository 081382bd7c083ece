//! Which racks of the span a corrective action covers, alert by alert.

use std::collections::BTreeMap;

use super::CoveredAccount;
use super::build::Question;
use crate::core::alert::AlertNumber;
use crate::core::alert::cover::{Cover, Covered, Known};
use crate::core::record::{Cycle, OfAlert, Record};

/// What is known of it of every alert that is asked for.
#[derive(Debug, Default)]
pub(super) struct Covers(BTreeMap<AlertNumber, OfOne>);

#[derive(Debug, Default)]
struct OfOne {
    cover: Cover,
    /// From this record on every rack that it counted lies in the span.
    whole: Option<u64>,
    /// The racks of the span that it counts, by their place; of one without an action none.
    racks: Vec<(u64, u64)>,
    /// Their places.
    places: BTreeMap<u64, u64>,
}

impl Covers {
    /// Takes a record that is no cycle, in order of the ledger.
    pub(super) fn note(&mut self, index: u64, record: &Record, question: &Question) {
        let Some((told, number)) = record.body.of_alert().and_then(|told| Some((told, told.alert()?))) else {
            return;
        };
        let own = self.0.entry(number).or_default();
        own.cover.note(index, told);
        let begins = matches!(told, OfAlert::Raised(raised) if raised.since >= question.from);
        if own.whole.is_none() && record.recorded >= question.from {
            own.whole = Some(if begins { 0 } else { told.cause().unwrap_or(index) });
        }
    }

    /// Takes a rack of the span that an alert counts, once every other record was taken.
    pub(super) fn count(&mut self, alert: AlertNumber, index: u64, cycle: &Cycle) {
        let Some(own) = self.0.get_mut(&alert).filter(|own| own.cover.has_action()) else { return };
        if let Some(place) = own.cover.place(index, cycle)
            && own.places.insert(index, place).is_none()
        {
            own.racks.push((place, index));
        }
    }

    /// Every rack was taken.
    pub(super) fn sort(&mut self) {
        self.0.values_mut().for_each(|own| own.racks.sort_unstable());
    }

    /// Which of some alerts have an action that covers a rack, and which have none, as far as that is known.
    pub(super) fn of(&self, index: u64, alerts: &[u64]) -> Vec<CoveredAccount> {
        let one = |alert: &u64| {
            let own = self.0.get(&AlertNumber(*alert))?;
            let place = own.places.get(&index)?;
            let known = Known { racks: &own.racks, whole: own.whole };
            match own.cover.of((*place, index), known) {
                Covered::By(actions) => Some(CoveredAccount { alert: *alert, actions }),
                Covered::NotYet => Some(CoveredAccount { alert: *alert, actions: Vec::new() }),
                Covered::Unknown => None,
            }
        };
        alerts.iter().filter_map(one).collect()
    }
}
