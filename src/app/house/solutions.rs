//! The sanitizing solution of each machine: strength and pH, as a probe line or a person told them last.

use std::ops::ControlFlow;
use std::sync::Arc;

use super::{House, checked};
use crate::app::live::Newest;
use crate::core::channel::Solution;
use crate::core::cycle::plate::Profile;
use crate::core::reading::Value;
use crate::core::record::{Check, CheckKind};
use crate::core::sanitizer::{Refusal as Unfit, requirement};
use crate::core::time::Timestamp;
use crate::ledger::{LedgerError, Reader};
use crate::web::frame::Refusal;
use crate::web::probes::solution::{SolutionSeen, Tested};

/// Most tests of a machine that are looked at for the newest that counts (own choice: a line that puts one on record
/// every 15 min for a day). At the limit none is named.
const LOOKED_AT_MAX: usize = 100;

/// The newest test of the sanitizer that counts, and the newest that has a pH.
#[derive(Clone, PartialEq, Debug, Default)]
pub(super) struct OnFile {
    pub(super) strength: Option<Tested>,
    pub(super) ph: Option<Tested>,
}

impl OnFile {
    /// What tells of this.
    pub(super) fn of(&self, solution: Solution) -> Option<&Tested> {
        match solution {
            Solution::Strength => self.strength.as_ref(),
            Solution::Ph => self.ph.as_ref(),
        }
    }

    /// Those of a machine that were on record by `at`, with all that was said of them by then. One that is damaged is
    /// told by the history.
    ///
    /// # Errors
    /// The ledger's.
    pub(super) fn newest(ledger: &Reader, machine: &str, at: Timestamp) -> Result<Self, LedgerError> {
        let (mut newest, line) = (Self::default(), format!("{machine}/"));
        checked::newest(ledger, (machine, CheckKind::Sanitizer, at), LOOKED_AT_MAX, |record, check| {
            let Check::Sanitizer { at, mg_per_l, ph, by, .. } = check else {
                return ControlFlow::Continue(());
            };
            // What a line measured stands on record by the name of its channel.
            let (by, channel) =
                if by.starts_with(&line) { (None, Some(by.clone())) } else { (Some(by.clone()), None) };
            let test = |value| Tested {
                value,
                at: *at,
                by: by.clone(),
                channel: channel.clone(),
                record: Some(record),
            };
            newest.strength.get_or_insert_with(|| test(*mg_per_l));
            if let (Some(ph), None) = (ph, &newest.ph) {
                newest.ph = Some(test(*ph));
            }
            if newest.ph.is_some() { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
        })?;
        Ok(newest)
    }
}

/// What a line delivered, where it is a number.
const fn measured(newest: &Newest) -> Option<Tested> {
    match newest.value {
        Value::Number(value) => Some(Tested { value, at: newest.at, by: None, channel: None, record: None }),
        Value::Flag(_) | Value::Fault(_) => None,
    }
}

/// Of what a line delivered since the start and what is on record the newer. What a line delivers often goes on record
/// now and then, so that of its own values that on record is never the newer one.
fn newer(line: Option<Tested>, filed: Option<&Tested>) -> Option<Tested> {
    match (line, filed) {
        (Some(line), Some(filed)) if filed.by.is_some() && line.at < filed.at => Some(filed.clone()),
        (Some(line), _) => Some(line),
        (None, filed) => filed.cloned(),
    }
}

/// What is on file of the strength, with the time at which a line last measured that very value.
pub(super) fn renewed(filed: Option<&Tested>, line: Option<&Newest>) -> Option<Tested> {
    let filed = filed?.clone();
    let again = line.and_then(measured).filter(|line| {
        filed.by.is_none() && line.value.total_cmp(&filed.value).is_eq() && filed.at < line.at
    });
    Some(Tested { at: again.map_or(filed.at, |line| line.at), ..filed })
}

/// Whether a value is outside what sanitizes. A pH is looked at beside the strength that it belongs to.
fn is_off(machine: &Profile, solution: Solution, value: f64, strength: Option<&Tested>) -> bool {
    let fit = |mg_per_l, ph| requirement(machine.sanitizing, mg_per_l, ph, &machine.sanitizer);
    match (solution, strength) {
        // A pH that is too high is told by the channel of the pH.
        (Solution::Strength, _) => fit(value, None).is_err(),
        (Solution::Ph, Some(strength)) => fit(strength.value, Some(value)) == Err(Unfit::PhTooHigh),
        (Solution::Ph, None) => false,
    }
}

impl House {
    /// Every channel of a sanitizing solution, in the order of the configuration.
    pub(super) async fn solutions_seen(&self) -> Result<Arc<[SolutionSeen]>, Refusal> {
        let channels = || self.loaded.configuration.channels.iter();
        if channels().all(|channel| channel.role.solution().is_none()) {
            return Ok(Arc::default());
        }
        let loaded = Arc::clone(&self.loaded);
        let filed = self.readers.ask(move |ledger| {
            let chemical =
                loaded.configuration.machines.iter().filter(|machine| machine.sanitizing.is_chemical());
            let filed = chemical.map(|machine| {
                Ok((machine.name.clone(), OnFile::newest(ledger, &machine.name, Timestamp::MAX)?))
            });
            filed.collect::<Result<std::collections::BTreeMap<_, _>, LedgerError>>()
        });
        let filed = filed.await?;
        let (newest, now, down) = (self.tap.newest(), self.clock.now(), self.down());
        let sources = &self.loaded.configuration.sources;
        let seen = channels().filter_map(|channel| {
            let solution = channel.role.solution()?;
            let machine = self.loaded.configuration.machines.get(usize::from(channel.machine.0))?;
            let own = filed.get(&machine.name).cloned().unwrap_or_default();
            let line = newest.get(&channel.id);
            let delivered = line.and_then(measured);
            let delivered = delivered.map(|test| Tested { channel: Some(channel.name.to_string()), ..test });
            let tested = newer(delivered, own.of(solution));
            let could =
                sources.iter().filter(|source| source.directory.find(channel.name.as_str()).is_some());
            let down =
                could.filter_map(|source| Some((source.name.clone(), down.get(&source.name)?.clone())));
            Some(SolutionSeen {
                number: channel.id.0,
                machine: machine.name.clone(),
                probe: channel.name.probe().to_owned(),
                solution,
                silent: tested.as_ref().is_none_or(|tested| now.since(tested.at) > machine.check_valid_for),
                off: tested
                    .as_ref()
                    .is_some_and(|tested| is_off(machine, solution, tested.value, own.strength.as_ref())),
                asked: match solution {
                    Solution::Strength => tested
                        .as_ref()
                        .and_then(|tested| machine.sanitizer.asked(machine.sanitizing, tested.value)),
                    Solution::Ph => machine.sanitizer.asked_of_ph(machine.sanitizing),
                },
                age: tested.as_ref().map(|tested| now.since(tested.at)),
                arrived: line.map(|newest| newest.arrived),
                tested,
                holds: machine.check_valid_for,
                down: down.collect(),
            })
        });
        Ok(seen.collect())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::app::fixture::{CHEMICAL, at, ledger, opening, plain};
    use crate::core::readout::Shown;
    use crate::core::record::{Amendment, AmendmentChange, Body};

    fn check(minute: u64, mg_per_l: f64, ph: Option<f64>, by: &str) -> Check {
        Check::Sanitizer { at: at(minute), mg_per_l, ph, solution_c: None, method: None, by: by.to_owned() }
    }

    // Own promise: the newest test that counts, who made it, and the newest that has a pH, as it stood at the moment.
    #[test]
    fn the_newest_test_that_counts_is_found() {
        let directory = tempfile::tempdir().expect("room for a directory");
        let path = directory.path().join("ledger.sqlite");
        let dm1 = |minute, body| plain(minute, Some("dm1"), body);
        let (reason, by) = ("misread".to_owned(), "Ana".to_owned());
        let withdrawn = Amendment { of: 3, reason, by, change: AmendmentChange::Withdrawn };
        let mut records = opening(CHEMICAL);
        records.extend([
            dm1(10, Body::Check(check(10, 100.0, Some(7.5), "dm1/sanitizer"))), // record 2
            dm1(20, Body::Check(check(20, 10.0, None, "Ana"))),                 // record 3
            dm1(30, Body::Amendment(Box::new(withdrawn))),
            dm1(40, Body::Check(check(40, 50.0, None, "Tom"))), // record 5
        ]);
        ledger(&path, records).close().expect("it closes");
        let reader = Reader::open(&path).expect("a ledger");
        for (minute, strength, ph) in [
            (5, None, None),
            (15, Some((2, None)), Some(2)),
            (25, Some((3, Some("Ana"))), Some(2)),
            (35, Some((2, None)), Some(2)),
            (45, Some((5, Some("Tom"))), Some(2)),
        ] {
            let found = OnFile::newest(&reader, "dm1", at(minute)).expect("readable");
            let told =
                found.strength.as_ref().map(|test| (test.record.unwrap_or_default(), test.by.as_deref()));
            assert_eq!(told, strength, "at {minute}");
            assert_eq!(found.ph.and_then(|test| test.record), ph, "at {minute}");
            let other = OnFile::newest(&reader, "dm2", at(minute)).expect("readable");
            assert_eq!(other, OnFile::default());
        }
    }

    // Own promise: what a line delivers is newer than what is on record of it; what a person entered after it is not
    // lost behind it, and nothing is made newer than it is.
    #[test]
    fn the_newer_of_line_and_person_is_told() {
        let test = |minute, value, by: Option<&str>, record| Tested {
            value,
            at: at(minute),
            by: by.map(str::to_owned),
            channel: by.is_none().then(|| "dm1/sanitizer".to_owned()),
            record,
        };
        let line = |minute, value| Newest {
            at: at(minute),
            arrived: at(minute),
            value: Value::Number(value),
            shown: Shown::default(),
        };
        let (by_line, by_ana) = (test(10, 100.0, None, Some(2)), test(10, 100.0, Some("Ana"), Some(2)));
        for (delivered, filed, shown, on_file) in [
            (None, None, None, None),
            (Some(line(20, 100.0)), None, Some((20, None)), None),
            (None, Some(&by_line), Some((10, Some(2))), Some(10)),
            (Some(line(20, 100.0)), Some(&by_line), Some((20, None)), Some(20)),
            (Some(line(20, 90.0)), Some(&by_line), Some((20, None)), Some(10)),
            (Some(line(20, 100.0)), Some(&by_ana), Some((20, None)), Some(10)),
            (Some(line(5, 100.0)), Some(&by_ana), Some((10, Some(2))), Some(10)),
        ] {
            let newer = newer(delivered.as_ref().and_then(measured), filed);
            let newer = newer.map(|test| (test.at, test.record));
            assert_eq!(newer, shown.map(|(minute, record)| (at(minute), record)), "{delivered:?} {filed:?}");
            let renewed = renewed(filed, delivered.as_ref()).map(|test| test.at);
            assert_eq!(renewed, on_file.map(at), "{delivered:?} {filed:?}");
        }
    }
}
