//! Which work on machines ran at a time of the past, read from the ledger.
//!
//! It takes time for the records since the work before it was over, not for the age of the ledger.

use std::collections::BTreeSet;
use std::ops::ControlFlow;

use crate::config::recorded::Recorded;
use crate::core::record::{Body, Maintenance};
use crate::core::technician::work::then::WorkThen;
use crate::core::time::Timestamp;
use crate::ledger::{InForce, LedgerError, Order, Reader, RecordFilter};

/// What ran, the oldest first, and records that are damaged and may tell of more.
#[derive(Clone, PartialEq, Debug, Default)]
pub(in crate::app) struct Found {
    pub(in crate::app) work: Vec<WorkThen>,
    pub(in crate::app) damaged: Vec<u64>,
}

/// All work that was in force at the moment of `force`, of the machines that are configured or had washed by then.
///
/// # Errors
/// The ledger's.
pub(in crate::app) fn in_force(ledger: &Reader, force: &InForce) -> Result<Found, LedgerError> {
    let mut machines: BTreeSet<String> = force.limits.iter().map(|then| then.machine.clone()).collect();
    if let Some((_, record)) = &force.configuration
        && let Body::ConfigurationChange(change) = &record.body
        && let Some(read) = Recorded::read(&change.toml)
    {
        machines.extend(read.machines.into_iter().map(|machine| machine.name));
    }
    let mut found = Found::default();
    for machine in machines.iter().map(|machine| Some(machine.as_str())).chain([None]) {
        found.add(ledger, machine, (force.at, force.at))?;
    }
    found.work.sort_by_key(|work| work.since);
    Ok(found)
}

/// All work on a machine, and on the whole site, that ran from one instant to another.
///
/// # Errors
/// The ledger's.
pub(in crate::app) fn ran(
    ledger: &Reader,
    machine: &str,
    span: (Timestamp, Timestamp),
) -> Result<Found, LedgerError> {
    let mut found = Found::default();
    found.add(ledger, Some(machine), span)?;
    found.add(ledger, None, span)?;
    found.work.sort_by_key(|work| work.since);
    Ok(found)
}

/// A record of work: its index, when it was recorded, and what it says.
type Said = (u64, Timestamp, Maintenance);

impl Found {
    fn add(
        &mut self,
        ledger: &Reader,
        machine: Option<&str>,
        (from, to): (Timestamp, Timestamp),
    ) -> Result<(), LedgerError> {
        let next = Timestamp::from_micros(to.micros().saturating_add(1));
        let before = RecordFilter { to: Some(next), ..filter(machine) };
        let mut said = self.read(ledger, Order::NewestFirst, &before, |(_, recorded, work)| {
            work.ended && *recorded < from
        })?;
        said.reverse();
        if WorkThen::all(machine, &said, to).last().is_some_and(|last| !last.is_over && from <= last.until) {
            let after = RecordFilter { from: Some(next), ..filter(machine) };
            said.extend(self.read(ledger, Order::OldestFirst, &after, |(_, _, work)| work.ended)?);
        }
        let all = WorkThen::all(machine, &said, to);
        self.work.extend(all.into_iter().filter(|work| work.ran(from, to)));
        Ok(())
    }

    /// The records that fit, to the first that is the last.
    fn read(
        &mut self,
        ledger: &Reader,
        order: Order,
        filter: &RecordFilter,
        is_last: impl Fn(&Said) -> bool,
    ) -> Result<Vec<Said>, LedgerError> {
        let mut all = Vec::new();
        ledger.events(order, filter, |index, found| {
            match found {
                Ok((_, record)) => {
                    if let Body::Maintenance(work) = record.body {
                        let one = (index, record.recorded, work);
                        let ends = is_last(&one);
                        all.push(one);
                        if ends {
                            return ControlFlow::Break(());
                        }
                    }
                }
                Err(_) => self.damaged.push(index),
            }
            ControlFlow::Continue(())
        })?;
        Ok(all)
    }
}

fn filter(machine: Option<&str>) -> RecordFilter {
    RecordFilter {
        kinds: vec!["maintenance".to_owned()],
        machine: machine.map(str::to_owned),
        of_site: machine.is_none(),
        ..RecordFilter::default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::app::fixture::{CONFIGURATION, at, ledger, opening, plain, rack};

    fn said(by: &str, until: u64) -> Maintenance {
        Maintenance {
            until: at(until),
            by: Some(by.to_owned()),
            why: None,
            ended: false,
            begun: None,
            dialog: None,
            worked: Vec::new(),
        }
    }

    fn over(begun: u64, until: u64) -> Maintenance {
        Maintenance { ended: true, begun: Some(at(begun)), ..said("Tom", until) }
    }

    // Own promise: work on the whole site is found behind any number of records of machines.
    #[test]
    fn work_on_the_site_is_found_among_all() {
        let directory = tempfile::tempdir().expect("a directory");
        let mut records = opening(CONFIGURATION);
        let first = records.len() as u64;
        records.push(plain(10, None, Body::Maintenance(said("Eli", 900))));
        let prolonged = |minute: u64| Maintenance { begun: Some(at(11)), ..said("Ana", minute + 4) };
        let many = (11..811).map(|minute| plain(minute, Some("dm1"), Body::Maintenance(prolonged(minute))));
        records.extend(many);
        let path = directory.path().join("ledger.sqlite");
        drop(ledger(&path, records));
        let reader = Reader::open(&path).expect("a ledger");
        let found = ran(&reader, "dm2", (at(820), at(821))).expect("an answer");
        let told: Vec<_> = found.work.iter().map(|work| (work.record, work.machine.as_deref())).collect();
        assert_eq!(told, [(first, None)]);
    }

    // Own promise: what ran at a time is found with its end, also where that came later; nothing else is, and work on
    // the whole site is work on each machine.
    #[test]
    fn work_of_a_time_is_found_with_its_end() {
        let directory = tempfile::tempdir().expect("a directory");
        let mut records = opening(CONFIGURATION);
        let (machine, cycle) = rack(1);
        records.push(plain(3, Some(machine), Body::Cycle(Box::new(cycle))));
        let first = records.len() as u64;
        for (minute, machine, work) in [
            (10, Some("dm1"), said("Ana", 70)),
            (20, Some("dm2"), said("Eva", 25)),
            (26, Some("dm2"), over(20, 26)),
            (30, Some("dm1"), over(10, 30)),
            (40, Some("dm1"), said("Tom", 43)),
            // As they were written before a record told since when there is work.
            (42, Some("dm1"), said("Tom", 60)),
            (45, None, said("Eli", 50)),
        ] {
            records.push(plain(minute, machine, Body::Maintenance(work)));
        }
        let path = directory.path().join("ledger.sqlite");
        drop(ledger(&path, records));
        let reader = Reader::open(&path).expect("a ledger");
        let told = |found: &Found| -> Vec<(u64, Timestamp, Timestamp, bool)> {
            found
                .work
                .iter()
                .map(|work| (work.record - first, work.since, work.until, work.is_over))
                .collect()
        };
        let ana = (0, at(10), at(30), true);
        let eva = (1, at(20), at(25), true);
        let tom = (4, at(40), at(60), false);
        let eli = (6, at(45), at(50), false);
        for (minute, expected) in [
            (9, vec![]),
            (10, vec![ana]),
            (22, vec![ana, eva]),
            (30, vec![ana]),
            (31, vec![]),
            (41, vec![tom]),
            (46, vec![tom, eli]),
            (60, vec![tom]),
            (61, vec![]),
        ] {
            let force = reader.in_force(at(minute)).expect("an answer");
            let found = in_force(&reader, &force).expect("an answer");
            assert_eq!((told(&found), found.damaged.len()), (expected, 0), "{minute}");
        }
        for (machine, from, to, expected) in [
            ("dm1", 8, 9, vec![]),
            ("dm1", 8, 10, vec![ana]),
            ("dm1", 29, 41, vec![ana, tom]),
            ("dm1", 41, 41, vec![tom]),
            ("dm2", 22, 46, vec![eva, eli]),
            ("dm2", 26, 44, vec![]),
        ] {
            let found = ran(&reader, machine, (at(from), at(to))).expect("an answer");
            assert_eq!(told(&found), expected, "{machine} {from} {to}");
        }
    }
}
