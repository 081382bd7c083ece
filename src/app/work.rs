//! When somebody works or worked on each machine, as the record tells: racks of these times are marked.
//!
//! The desk decides what is on record of it, and the core is told what follows: after each change, and
//! at the start of the service, so that a kill between the two changes nothing for what is judged later.

pub(super) mod then;

use std::collections::BTreeMap;
use std::ops::ControlFlow;

use crate::config::resolve::Configuration;
use crate::core::id::MachineId;
use crate::core::machine::Work;
use crate::core::record::{Body, Record};
use crate::core::technician::work::then::Turn;
use crate::ledger::{LedgerError, Reader};

/// Most times that the core remembers of a machine; the oldest is forgotten. A node may send what it kept for days, and
/// hardly anybody works on a machine that often meanwhile.
const KEPT: usize = 64;

/// The times in which somebody works on each machine of the configuration, oldest first. A damaged record is
/// left out: `verify` names it.
///
/// # Errors
/// The ledger's.
pub(super) fn on_record(
    configuration: &Configuration,
    reader: &Reader,
) -> Result<Vec<(MachineId, Vec<Work>)>, LedgerError> {
    let told = Told::read(reader)?;
    let machines = (0_u16..).map(MachineId).zip(&configuration.machines);
    let newest = |mut work: Vec<Work>| work.split_off(work.len().saturating_sub(KEPT));
    Ok(machines.map(|(id, machine)| (id, newest(told.of(&machine.name)))).collect())
}

/// All the times in which somebody worked on a machine of this name, oldest first, for readings of the past.
///
/// # Errors
/// The ledger's.
pub(super) fn of_past(machine: &str, reader: &Reader) -> Result<Vec<Work>, LedgerError> {
    Ok(Told::read(reader)?.of(machine))
}

/// What the records tell, by machine; `None` is the whole site.
#[derive(Debug, Default)]
struct Told {
    times: BTreeMap<Option<String>, Vec<(Work, bool)>>,
}

impl Told {
    fn read(reader: &Reader) -> Result<Self, LedgerError> {
        let mut told = Self::default();
        reader.records_found(&["maintenance"], 0, |_, found| {
            if let Ok((_, record)) = found {
                told.take(&record);
            }
            ControlFlow::Continue(())
        })?;
        Ok(told)
    }

    fn take(&mut self, record: &Record) {
        let Body::Maintenance(said) = &record.body else { return };
        let times = self.times.entry(record.machine.clone()).or_default();
        let open = times.last_mut().filter(|(_, ended)| !ended);
        let until = open.as_ref().map(|(work, _)| work.until);
        match (Turn::of(until, record.recorded, said.ended), open) {
            (Turn::Moves, Some((work, ended))) => (work.until, *ended) = (said.until, said.ended),
            (Turn::RanOut, Some((_, ended))) => *ended = true,
            (Turn::Begins, _) => times.push((Work { from: record.recorded, until: said.until }, false)),
            (Turn::Moves | Turn::RanOut | Turn::Nothing, _) => {}
        }
    }

    fn of(&self, machine: &str) -> Vec<Work> {
        let keys = [Some(machine.to_owned()), None];
        let mut work: Vec<Work> =
            keys.iter().filter_map(|key| self.times.get(key)).flatten().map(|(work, _)| *work).collect();
        work.sort_by_key(|work| work.from);
        work
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::record::Maintenance;
    use crate::core::time::Timestamp;

    fn at(seconds: f64) -> Timestamp {
        Timestamp::from_seconds(seconds).expect("a small number of seconds")
    }

    fn said(machine: Option<&str>, recorded: f64, until: f64, ended: bool) -> Record {
        let body = Maintenance {
            until: at(until),
            by: None,
            why: None,
            ended,
            begun: None,
            dialog: None,
            worked: vec![],
        };
        Record::new(at(recorded), machine.map(str::to_owned), Body::Maintenance(body))
    }

    // Each row: what is on record, and the times in which dm1 is worked on, s.
    #[test]
    fn the_record_tells_when_a_machine_is_worked_on() {
        let dm1 = Some("dm1");
        for (name, records, expected) in [
            ("nobody does", vec![], vec![]),
            ("under way", vec![said(dm1, 10.0, 70.0, false)], vec![(10.0, 70.0)]),
            ("another machine", vec![said(Some("dm2"), 10.0, 70.0, false)], vec![]),
            ("the whole site", vec![said(None, 10.0, 70.0, false)], vec![(10.0, 70.0)]),
            (
                "ended early",
                vec![said(dm1, 10.0, 70.0, false), said(dm1, 30.0, 30.0, true)],
                vec![(10.0, 30.0)],
            ),
            (
                "prolonged",
                vec![said(dm1, 10.0, 70.0, false), said(dm1, 60.0, 90.0, false)],
                vec![(10.0, 90.0)],
            ),
            (
                "ended by itself, and again",
                vec![
                    said(dm1, 10.0, 70.0, false),
                    said(dm1, 71.0, 71.0, true),
                    said(dm1, 100.0, 120.0, false),
                ],
                vec![(10.0, 70.0), (100.0, 120.0)],
            ),
        ] {
            let mut told = Told::default();
            for record in &records {
                told.take(record);
            }
            let found: Vec<_> =
                told.of("dm1").iter().map(|work| (work.from.seconds(), work.until.seconds())).collect();
            assert_eq!(found, expected, "{name}");
        }
    }
}
