//! Which racks of the span a corrective action covers, alert by alert.

use std::collections::BTreeMap;

use super::CoveredAccount;
use crate::core::alert::AlertNumber;
use crate::core::alert::cover::{Cover, Covered, Known};
use crate::core::record::{Cycle, Record};

/// What is known of it of every alert that is asked for.
#[derive(Debug, Default)]
pub(super) struct Covers(BTreeMap<AlertNumber, OfOne>);

#[derive(Debug, Default)]
struct OfOne {
    cover: Cover,
    /// Whether every rack that it counted is known.
    is_whole: bool,
    /// The racks of the span that it counts, by their place; of one without an action none.
    racks: Vec<(u64, u64)>,
    /// Their places.
    places: BTreeMap<u64, u64>,
}

impl Covers {
    /// Takes a record that is no cycle, in order of the ledger.
    pub(super) fn note(&mut self, index: u64, record: &Record) {
        if let Some((told, number)) = record.body.of_alert().and_then(|told| Some((told, told.alert()?))) {
            self.0.entry(number).or_default().cover.note(index, told);
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

    /// Every rack was taken; so many each alert counts. Of one that counts others too, of before the span or such as
    /// cannot be read, the records alone say what its actions cover.
    pub(super) fn sort(&mut self, counted: impl Fn(AlertNumber) -> Option<u64>) {
        for (number, own) in &mut self.0 {
            own.racks.sort_unstable();
            own.is_whole = counted(*number) == Some(own.racks.len() as u64);
        }
    }

    /// Which of some alerts have an action that covers a rack, and which have none, as far as that is known.
    pub(super) fn of(&self, index: u64, alerts: &[u64]) -> Vec<CoveredAccount> {
        let one = |alert: &u64| {
            let own = self.0.get(&AlertNumber(*alert))?;
            let place = own.places.get(&index)?;
            let known = Known { racks: &own.racks, whole: own.is_whole };
            match own.cover.of((*place, index), known) {
                Covered::By(actions) => Some(CoveredAccount { alert: *alert, actions }),
                Covered::NotYet => Some(CoveredAccount { alert: *alert, actions: Vec::new() }),
                Covered::Unknown => None,
            }
        };
        alerts.iter().filter_map(one).collect()
    }
}
