//! What is read of the ledger to tell which alerts counted the racks of a machine, see [`core::alert::past`].
//!
//! [`core::alert::past`]: crate::core::alert::past

use std::collections::btree_map::Entry;
use std::collections::{BTreeMap, BTreeSet};
use std::ops::{ControlFlow, RangeInclusive};

use crate::config::recorded::Recorded;
use crate::core::alert::affected::OF_PROBES;
use crate::core::alert::past::{Back, Counted, Past};
use crate::core::alert::{AlertNumber, Condition};
use crate::core::record::{AlertRaised, Body, Cycle, Record};
use crate::ledger::{CycleFilter, LedgerError, Order, Reader, Subject};

/// Alerts that are looked through on either side of a stretch (own choice: years of a machine that alerts daily, and
/// some hundredths of a second). One that stayed open behind more of them is not found.
const RAISED_MAX: usize = 1_000;
/// Gaps and racks that are looked through for what shows that a probe was back (own choice: an alert that names
/// several probes is seldom open for so long). Behind more of them the probe is still told as at fault.
const BACK_MAX: usize = 200;
/// Racks that are looked through for those of one row with a rack: a row is of 100 at most, and racks that neither add
/// to it nor break it may lie between (own choice). Of a longer one the rest is not found.
pub(in crate::app) const ROW_MAX: usize = 200;

/// A ledger and what raised its alerts: each of these records is read once, however many stories stand on it.
pub(in crate::app) struct Raised<'l> {
    pub(in crate::app) ledger: &'l Reader,
    /// By index; `None` is one that cannot be read.
    known: BTreeMap<u64, Option<AlertRaised>>,
}

impl<'l> Raised<'l> {
    pub(in crate::app) fn of(ledger: &'l Reader) -> Self {
        Self { ledger, known: BTreeMap::new() }
    }

    fn read(&mut self, index: u64) -> Result<Option<&AlertRaised>, LedgerError> {
        let own = match self.known.entry(index) {
            Entry::Occupied(known) => known.into_mut(),
            Entry::Vacant(unknown) => unknown.insert(match self.ledger.record(index)? {
                Ok((_, Record { body: Body::AlertRaised(raised), .. })) => Some(*raised),
                Ok(_) | Err(_) => None,
            }),
        };
        Ok(own.as_ref())
    }

    /// The alerts of these conditions that were raised within a stretch, and the newest of each from before it.
    fn within(
        &mut self,
        machine: &str,
        stretch: &RangeInclusive<u64>,
        conditions: &[Condition],
    ) -> Result<BTreeSet<AlertNumber>, LedgerError> {
        let mut alerts = BTreeSet::new();
        let mut missing: BTreeSet<Condition> = conditions.iter().copied().collect();
        if missing.is_empty() {
            return Ok(alerts);
        }
        let (first, kind) = (*stretch.start(), "alert-raised");
        for own in self.ledger.newest_before(first, kind, Some(machine), RAISED_MAX)? {
            if let Some(found) = self.read(own)?
                && missing.remove(&found.condition)
            {
                alerts.insert(found.alert);
            }
            if missing.is_empty() {
                break;
            }
        }
        // The first record of all raises no alert.
        for own in self.ledger.oldest_after(first.saturating_sub(1), kind, machine, RAISED_MAX)? {
            let Some(found) = self.read(own)? else { continue };
            if found.cause.is_some_and(|cause| cause > *stretch.end()) {
                break;
            }
            if conditions.contains(&found.condition) {
                alerts.insert(found.alert);
            }
        }
        Ok(alerts)
    }
}

/// The racks of one machine over a stretch of the record, and the alerts that were open meanwhile.
pub(in crate::app) struct PastOf<'l> {
    ledger: &'l Reader,
    machine: &'l str,
    past: Past,
    /// The probe of its final rinse, as the stretch began.
    rinse_probe: Option<String>,
}

impl<'l> PastOf<'l> {
    /// Reads the alerts of these conditions that were open at a record of the stretch; `own` is among them in any case.
    /// What explains a rack is read where the conditions hold one of [`OF_PROBES`].
    ///
    /// # Errors
    /// The ledger's, but for damage of single records: what those said is not known.
    pub(in crate::app) fn read<'r: 'l>(
        raised: &mut Raised<'r>,
        machine: &'l str,
        stretch: &RangeInclusive<u64>,
        conditions: &[Condition],
        own: Option<AlertNumber>,
    ) -> Result<Self, LedgerError> {
        let (first, last, ledger) = (*stretch.start(), *stretch.end(), raised.ledger);
        let mut alerts = raised.within(machine, stretch, conditions)?;
        alerts.extend(own);
        let (mut past, mut rinse_probe) = (Past::default(), None);
        if conditions.iter().any(|condition| OF_PROBES.contains(condition)) {
            let gaps = ledger.newest_before(last.saturating_add(1), "gap", Some(machine), BACK_MAX)?;
            note(ledger, &mut past, gaps.into_iter().rev())?;
            rinse_probe = probe(ledger, machine, first)?;
        }
        // Numbers rise in the order in which they were raised.
        for number in alerts {
            for (index, found) in ledger.records_about(Subject::Alert(number.0))? {
                if let Ok((_, record)) = found {
                    past.note(index, &record);
                }
            }
        }
        Ok(Self { ledger, machine, past, rinse_probe })
    }

    /// Takes a rack, see [`Past::rack`].
    ///
    /// # Errors
    /// The ledger's, but for damage of single records.
    pub(in crate::app) fn rack(&mut self, index: u64, cycle: &Cycle) -> Result<Vec<Counted>, LedgerError> {
        let was_back = |back| was_back(self.ledger, self.machine, index, back);
        let explained =
            self.past.explained(self.machine, index, cycle, self.rinse_probe.as_deref(), was_back)?;
        Ok(self.past.rack(self.machine, index, cycle, explained))
    }
}

fn note(ledger: &Reader, past: &mut Past, records: impl Iterator<Item = u64>) -> Result<(), LedgerError> {
    for index in records {
        if let Ok((_, record)) = ledger.record(index)? {
            past.note(index, &record);
        }
    }
    Ok(())
}

/// The probe of the final rinse of a machine by the configuration in force at a record; `None` where that has none, or
/// cannot be read.
fn probe(ledger: &Reader, machine: &str, index: u64) -> Result<Option<String>, LedgerError> {
    let newest = ledger.newest_before(index, "configuration-change", None, 1)?;
    let Some(index) = newest.first() else { return Ok(None) };
    let Ok((_, Record { body: Body::ConfigurationChange(change), .. })) = ledger.record(*index)? else {
        return Ok(None);
    };
    let mut settings = Recorded::read(&change.toml).map(|recorded| recorded.settings);
    let own = settings.as_mut().and_then(|settings| settings.machines.remove(machine));
    Ok(own.and_then(|machine| machine.rinse_probe))
}

/// Whether a rack before the one with this index shows that a probe was back.
fn was_back(ledger: &Reader, machine: &str, index: u64, back: Back) -> Result<bool, LedgerError> {
    let filter = CycleFilter {
        machine: Some(machine.to_owned()),
        after_index: Some(index),
        limit: Some(BACK_MAX),
        ..CycleFilter::default()
    };
    let mut shown = false;
    ledger.cycles_found(Order::NewestFirst, &filter, |own, found| {
        if let Ok((_, Record { body: Body::Cycle(cycle), .. })) = found {
            shown = back.is_shown_by(own, &cycle);
        }
        if shown || own <= back.after { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
    })?;
    Ok(shown)
}
