//! What is missing of the whole time on record: gaps of probes, and the service being down.
//!
//! It is read from all records that tell of it, in their order, since a gap can last for
//! years: time grows with their number, 5 to 8 µs of processor time each with a configuration of
//! 10 kB to every 50 gaps (`cargo bench --bench history`), not with that of the cycles. What
//! is damaged after it was read is told by `verify` and by the history of records.

use std::collections::BTreeSet;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::error::LedgerError;
use super::known::{Known, ReadOn};
use super::reader::Reader;
use crate::core::alert::hours::Stretch;
use crate::core::monitored::{Blank, Blanks};
use crate::core::record::{Body, Record};
use crate::core::time::Timestamp;

/// What was missing, as far as the record was read.
#[derive(Clone, Debug, Default)]
pub struct Missing {
    blanks: Blanks,
    /// Records that may tell of more and are damaged.
    damaged: Vec<u64>,
    /// The first record that was not read.
    next: u64,
}

impl ReadOn for Missing {
    fn next(&self) -> u64 {
        self.next
    }

    fn read_on(&mut self, ledger: &Reader, size: u64) -> Result<(), LedgerError> {
        let [gap, start, stop] = Blanks::KINDS;
        for index in ledger.indices_of(&[gap, start, stop, "configuration-change"], self.next)? {
            if index >= size {
                break;
            }
            match ledger.record(index)? {
                Err(_) => self.damaged.push(index),
                Ok((_, record)) => self.take(index, &record),
            }
            self.next = index + 1;
        }
        self.next = size.max(self.next);
        Ok(())
    }
}

impl Missing {
    fn take(&mut self, index: u64, record: &Record) {
        let Body::ConfigurationChange(change) = &record.body else {
            self.blanks.note(index, record);
            return;
        };
        // While no gap is open a configuration says nothing of them and is not taken apart: it is by far the largest
        // kind of record.
        if self.blanks.is_open()
            && let Some(probes) = probes_of(&change.toml)
        {
            self.blanks.configured(record.recorded, |probe| probes.contains(probe));
        }
    }
}

impl Reader {
    /// What was missing in a span up to `now`, in order of its start, and the indices of all
    /// records that may tell of more and are damaged. A gap of a probe that a later
    /// configuration has no longer ends with that configuration.
    ///
    /// # Errors
    /// [`LedgerError`] where the database fails.
    pub fn blanks(
        &self,
        known: &Known<Missing>,
        span: Stretch,
        now: Timestamp,
    ) -> Result<(Vec<Blank>, Vec<u64>), LedgerError> {
        let _one_state = self.one_state()?;
        let state = self.state()?;
        let missing = known.fresh(self)?;
        let last = state.last_recorded.map(Timestamp::from_micros);
        let last = last.map(|last| (state.tree.size().saturating_sub(1), last));
        Ok((missing.blanks.touching(span, last, now), missing.damaged.clone()))
    }

    /// When the first record that can be read was made: before, nobody watched. `None` where
    /// there is none.
    ///
    /// # Errors
    /// [`LedgerError`] where the database fails.
    pub fn begun(&self) -> Result<Option<Timestamp>, LedgerError> {
        for index in 0..self.size()? {
            if let Ok((_, record)) = self.record(index)? {
                return Ok(Some(record.recorded));
            }
        }
        Ok(None)
    }
}

/// The channels of the probes of a configuration; `None` where it cannot be read or has none.
fn probes_of(toml: &str) -> Option<BTreeSet<String>> {
    let table = DeTable::parse(toml).ok()?;
    let mut probes = BTreeSet::new();
    for probe in list(table.get_ref(), "probe") {
        probes.extend(name(probe).map(str::to_owned));
    }
    for machine in list(table.get_ref(), "machine") {
        let DeValue::Table(keys) = machine else { continue };
        for short in list(keys, "probes").filter_map(DeValue::as_str) {
            probes.extend(name(machine).map(|machine| format!("{machine}/{short}")));
        }
    }
    Some(probes).filter(|probes| !probes.is_empty())
}

/// The values of a list.
fn list<'a>(table: &'a DeTable<'_>, key: &str) -> impl Iterator<Item = &'a DeValue<'a>> {
    let values = table.get(key).and_then(|value| value.get_ref().as_array());
    values.into_iter().flat_map(|values| values.iter().map(Spanned::get_ref))
}

fn name<'a>(value: &'a DeValue<'_>) -> Option<&'a str> {
    let DeValue::Table(keys) = value else { return None };
    keys.get("name")?.get_ref().as_str()
}

#[cfg(test)]
mod tests {
    use super::*;

    // The two ways in which `config/reference.toml` names probes.
    #[test]
    fn probes_are_known_by_both_their_forms() {
        let toml = "[[machine]]\nname = \"dm1\"\nprobes = [\"rinse\"]\n[[probe]]\nname = \"dm2/wash\"\n";
        let probes = probes_of(toml).expect("probes");
        assert_eq!(probes.into_iter().collect::<Vec<_>>(), ["dm1/rinse", "dm2/wash"]);
        assert_eq!(probes_of("not = [toml"), None);
        assert_eq!(probes_of("x = 1"), None);
    }
}
