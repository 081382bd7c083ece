//! The site as it was configured when something went on record: by what was permitted then a check is judged.
//!
//! A configuration takes some kilobytes for as long as the service runs; a site has some dozens in ten years.

use std::ops::ControlFlow;

use crate::config::recorded::Recorded;
use crate::core::cycle::plate::Profile;
use crate::core::logbook::{Judgement, counting, judge_known};
use crate::core::record::{Amendment, Body, Check};
use crate::core::sanitizer::Rules;
use crate::ledger::{LedgerError, ReadOn, Reader};

/// The site as each configuration has it, as far as the record was read.
#[derive(Clone, Debug, Default)]
pub(super) struct Sites {
    /// In order of the records; `None` where one cannot be read because its record is damaged.
    by_record: Vec<(u64, Option<Recorded>)>,
    /// The first record that was not read.
    next: u64,
}

impl ReadOn for Sites {
    fn next(&self) -> u64 {
        self.next
    }

    fn read_on(&mut self, ledger: &Reader, size: u64) -> Result<(), LedgerError> {
        ledger.records_found(&["configuration-change"], self.next, |index, found| {
            if index >= size {
                return ControlFlow::Break(());
            }
            match found.map(|(_, record)| record.body) {
                Ok(Body::ConfigurationChange(change)) => {
                    // One that is no configuration of this program leaves the one before in force.
                    let read = Recorded::read(&change.toml).map(|read| (index, Some(read)));
                    self.by_record.extend(read);
                }
                Ok(_) => {}
                Err(_) => self.by_record.push((index, None)),
            }
            self.next = index + 1;
            ControlFlow::Continue(())
        })?;
        self.next = size.max(self.next);
        Ok(())
    }
}

impl Sites {
    /// A check as it counts after what was said of it, and whether it was good then; `None` where it counts no
    /// more. An amendment that cannot be read is passed over: whoever lists records tells of it.
    pub(super) fn counting<'a>(
        &self,
        (index, check): (u64, &'a Check),
        machine: Option<&str>,
        amendments: &'a [(u64, Option<Amendment>)],
    ) -> Option<(&'a Check, Option<bool>)> {
        let said = amendments.iter().filter_map(|(at, said)| Some((*at, &said.as_ref()?.change)));
        let (check, corrected_by) = counting(check, said)?;
        Some((check, self.good(check, machine, corrected_by.unwrap_or(index))))
    }

    /// Whether a check was good, by the machine as it was configured then; `None` where nothing is known
    /// of it, or nothing is to be judged.
    pub(super) fn good(&self, check: &Check, machine: Option<&str>, index: u64) -> Option<bool> {
        self.judged(check, machine, index).good
    }

    /// What a check came to, by the machine as it was configured then.
    pub(super) fn judged(&self, check: &Check, machine: Option<&str>, index: u64) -> Judgement {
        judge_known(check, self.machine(machine, index))
    }

    /// What was asked of the sanitizer of a machine when a record was made; `None` where nothing is known of it.
    pub(super) fn rules(&self, machine: Option<&str>, index: u64) -> Option<Rules> {
        self.machine(machine, index).map(|profile| profile.sanitizer.clone())
    }

    fn machine(&self, machine: Option<&str>, index: u64) -> Option<&Profile> {
        let later = self.by_record.partition_point(|(since, _)| *since < index);
        let site = later.checked_sub(1).and_then(|place| self.by_record[place].1.as_ref());
        machine.and_then(|name| site?.machine(name))
    }
}
