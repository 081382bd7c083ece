//! What one record has to do with alerts, in the words of the pages.
//!
//! Of any record the alerts that it raised or that recovered by it; of a rack those that count it, by which it is in doubt,
//! and what was done about them.

use std::collections::BTreeSet;

use crate::app::house::did::of_record;
use crate::app::house::racks::{Actions, actions, leads};
use crate::app::sites::Sites;
use crate::core::alert::AlertNumber;
use crate::core::alert::did::{Deeds, Did};
use crate::core::alert::doubts::Doubts;
use crate::core::reader::{Language, Reader};
use crate::core::record::{Body, Record};
use crate::ledger::{LedgerError, Reader as Ledger};
use crate::report::sheet::{Cell, Column, Unit};
use crate::web::cycle::acted;

/// The columns of it.
pub(super) const COLUMNS: [Column; 5] = [
    Column::nowhere("alerts", Unit::Text),
    Column::nowhere("in_doubt_by", Unit::Text),
    Column::nowhere("recovered_alerts", Unit::Text),
    Column::nowhere("covered_by", Unit::Text),
    Column::nowhere("not_covered_by", Unit::Text),
];

/// What a record has to do with alerts.
#[derive(Debug, Default)]
pub(super) struct OfAlerts {
    /// What it did to them, or that they count it.
    did: Deeds,
    /// Those by which it is in doubt.
    doubts: BTreeSet<AlertNumber>,
    /// What people did about those of a rack.
    actions: Actions,
}

impl OfAlerts {
    /// `known` is what puts racks in doubt, where it is a rack.
    ///
    /// # Errors
    /// The ledger's, but for damage of single records.
    pub(super) fn read(
        ledger: &Ledger,
        sites: &Sites,
        (index, record): (u64, &Record),
        known: Option<&Doubts>,
    ) -> Result<Self, LedgerError> {
        let (Body::Cycle(cycle), Some(known)) = (&record.body, known) else {
            let did = of_record(ledger, sites, index, record)?;
            return Ok(Self { did, ..Self::default() });
        };
        let leads = leads(ledger, index, record, known)?;
        let actions = actions(ledger, known, &leads.alerts, (index, cycle))?;
        Ok(Self { did: leads.did, doubts: leads.doubts, actions })
    }

    pub(super) fn in_cells(&self) -> [Cell; 5] {
        let numbers = |of: &mut dyn Iterator<Item = u64>| {
            Cell::Text(of.map(|number| number.to_string()).collect::<Vec<_>>().join(" "))
        };
        let is = |ended: bool| {
            let own = self.did.iter().filter(move |(_, did)| (**did == Did::Ended) == ended);
            own.map(|(alert, _)| alert.0)
        };
        let covering = |covers: bool| {
            let own = self.actions.written.iter().filter(move |acted| acted.covers == Some(covers));
            own.map(|acted| acted.record)
        };
        [
            numbers(&mut is(false)),
            numbers(&mut self.doubts.iter().map(|alert| alert.0)),
            numbers(&mut is(true)),
            numbers(&mut covering(true)),
            numbers(&mut covering(false)),
        ]
    }

    /// A line each.
    pub(super) fn in_words(&self, reader: &Reader) -> Vec<String> {
        let mut lines = Vec::new();
        for (alert, did) in &self.did {
            lines.push(format!("  alert     {}", did.told(alert.0, Language::English)));
        }
        for alert in &self.doubts {
            lines.push(format!("  in doubt  by alert {alert}"));
        }
        for one in &self.actions.written {
            // What people wrote is nothing that a terminal obeys.
            let told = acted(one, reader).replace(char::is_control, " ");
            lines.push(format!("  action    {told} [record {}]", one.record));
        }
        let is_acted =
            |alert: &&AlertNumber| self.actions.written.iter().any(|one| one.action.alert == **alert);
        for alert in self.doubts.iter().filter(|alert| !is_acted(alert)) {
            lines.push(if self.actions.damaged.contains(alert) {
                format!("  action    not known about alert {alert}: a record of it cannot be read")
            } else {
                format!("  action    none yet about alert {alert}")
            });
        }
        lines
    }
}
