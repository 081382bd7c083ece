//! Thermometers that were compared with another one, and whether they may be relied on.
//!
//! One is off where the latest comparison of it that counts says so. A good comparison after
//! it, a calibration of that probe, or an amendment that withdraws or corrects the comparison
//! takes that back; withdrawing the good one brings it back.

use super::condition::Condition;
use super::raise::{Report, Turn};
use super::state::Compared;
use crate::core::logbook::judge_known;
use crate::core::record::{Amendment, AmendmentChange, CalibrationDone, Check};

/// Most comparisons of a machine's thermometers that are remembered, for amendments (own choice: each
/// probe and gauge of a machine some times over). At the limit the oldest goes that a newer one of the
/// same thermometer has replaced, else the oldest.
const COMPARED_MAX: usize = 64;

impl Turn<'_> {
    /// Somebody compared a thermometer; checks of other kinds say nothing of one.
    pub(super) fn compared(&mut self, machine: &str, index: u64, check: &Check) {
        if let Some(compared) = comparison(index, check) {
            self.known(machine, compared);
        }
    }

    /// Somebody calibrated a probe: what it shows is corrected from here on.
    pub(super) fn calibrated(&mut self, machine: &str, index: u64, done: &CalibrationDone) {
        self.known(
            machine,
            Compared { index, what: done.probe.clone(), at: done.at, good: true, withdrawn: false },
        );
    }

    /// Somebody withdrew or corrected a comparison.
    pub(super) fn compared_otherwise(&mut self, machine: &str, amendment: &Amendment) {
        let corrected = match &amendment.change {
            AmendmentChange::Comment => return,
            AmendmentChange::Withdrawn => None,
            AmendmentChange::Corrected(check) => comparison(amendment.of, check),
        };
        let memory = self.state.memory(machine);
        let Some(place) = memory.compared.iter().position(|one| one.index == amendment.of) else { return };
        let before = memory.compared[place].clone();
        memory.compared[place] = corrected.clone().unwrap_or(Compared { withdrawn: true, ..before.clone() });
        self.weigh(machine, &before.what);
        if let Some(corrected) = corrected.filter(|corrected| corrected.what != before.what) {
            self.weigh(machine, &corrected.what);
        }
    }

    fn known(&mut self, machine: &str, compared: Compared) {
        let memory = self.state.memory(machine);
        if memory.compared.len() >= COMPARED_MAX {
            let replaced = |(place, one): &(usize, &Compared)| {
                memory.compared.iter().skip(place + 1).any(|later| later.what == one.what)
            };
            let oldest = memory.compared.iter().enumerate().find(replaced).map_or(0, |(place, _)| place);
            memory.compared.remove(oldest);
        }
        let what = compared.what.clone();
        memory.compared.push(compared);
        self.weigh(machine, &what);
    }

    /// Raises or takes back what the comparisons of this thermometer come to.
    fn weigh(&mut self, machine: &str, what: &str) {
        let own = self.state.memory(machine).compared.iter().filter(|one| one.what == what && !one.withdrawn);
        match own.max_by_key(|one| (one.at, one.index)).map(|latest| (latest.good, latest.at)) {
            Some((false, since)) => {
                let open = self.state.open(machine, Condition::ThermometerOff);
                let known = open.is_some_and(|open| open.alert.lasts_about(what));
                if !known {
                    let about = Some(what.to_owned());
                    self.report(Report { about, ..Report::new(Condition::ThermometerOff, machine, since) });
                }
            }
            Some((true, _)) | None => self.resolve(machine, Condition::ThermometerOff, what),
        }
    }
}

/// What a check says of a thermometer.
fn comparison(index: u64, check: &Check) -> Option<Compared> {
    let Check::Thermometer { at, what, .. } = check else { return None };
    let good = judge_known(check, None).good.unwrap_or(true);
    Some(Compared { index, what: what.clone(), at: *at, good, withdrawn: false })
}
