//! Thermometers that were compared with another one, and whether they may be relied on.
//!
//! One is off where the latest comparison of it that counts says so. A good comparison after
//! it, a calibration of that probe, or an amendment that withdraws or corrects the comparison
//! takes that back; withdrawing the good one brings it back. A probe that shows too much puts the racks in doubt that
//! passed by it, see [`super::earlier`]; a comparison that is off by more adds to them, one by less takes none back.

use super::condition::Condition;
use super::raise::{Report, Turn};
use super::state::Compared;
use crate::core::logbook::judge_known;
use crate::core::record::{Amendment, AmendmentChange, CalibrationDone, Change, Check};

/// Most comparisons of a machine's thermometers that are remembered, for amendments (own choice: each
/// probe and gauge of a machine some times over). At the limit the oldest goes that a newer one of the
/// same thermometer has replaced and no alert stands by, else the oldest.
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
            Compared {
                index,
                what: done.probe.clone(),
                at: done.at,
                good: true,
                too_much_k: 0.0,
                withdrawn: false,
            },
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
        let holds = corrected.as_ref().is_some_and(|now| !now.good && now.what == before.what);
        self.probe_not_right(machine, amendment.of);
        let never = !holds && self.state.memory(machine).off_by.lost_last(amendment.of);
        self.weigh(machine, &before.what, never);
        if let Some(corrected) = corrected.filter(|corrected| corrected.what != before.what) {
            self.weigh(machine, &corrected.what, false);
        }
    }

    fn known(&mut self, machine: &str, compared: Compared) {
        let memory = self.state.memory(machine);
        if memory.compared.len() >= COMPARED_MAX {
            let replaced = |(place, one): &(usize, &Compared)| {
                let later = || memory.compared.iter().skip(place + 1).any(|later| later.what == one.what);
                !memory.off_by.has(one.index) && later()
            };
            let oldest = memory.compared.iter().enumerate().find(replaced).map_or(0, |(place, _)| place);
            memory.compared.remove(oldest);
        }
        let what = compared.what.clone();
        memory.compared.push(compared);
        self.weigh(machine, &what, false);
    }

    /// Raises or takes back what the comparisons of this thermometer come to; `never` where an amendment took away the
    /// last one by which the alert stands.
    fn weigh(&mut self, machine: &str, what: &str, never: bool) {
        let own = self.state.memory(machine).compared.iter().filter(|one| one.what == what && !one.withdrawn);
        match own.max_by_key(|one| (one.at, one.index)).cloned() {
            Some(latest) if !latest.good => self.is_off(machine, &latest),
            Some(latest) => {
                self.is_right(machine, what, never);
                self.probe_right(machine, what, latest.at, latest.index);
            }
            None => self.is_right(machine, what, never),
        }
    }

    fn is_off(&mut self, machine: &str, latest: &Compared) {
        let Compared { index, what, at: since, too_much_k, .. } = latest;
        self.state.memory(machine).off_by.add(*index);
        let known = self.names(machine, Condition::ThermometerOff, what);
        let earlier = self.probe_shows_too_much(machine, what, *too_much_k);
        if known && earlier.is_none() {
            return;
        }
        let unproven = earlier.as_ref().is_some_and(|earlier| earlier.racks.count > 0);
        let about = Some(what.to_owned());
        let place = earlier.as_ref().and_then(|earlier| Some(earlier.by_probe.as_ref()?.place));
        let report = Report::new(Condition::ThermometerOff, machine, *since);
        self.report(Report { about, place, earlier, unproven, ..report });
    }

    /// Nothing says any more that it is off. Where an amendment alone says so, it never was.
    fn is_right(&mut self, machine: &str, what: &str, never: bool) {
        self.state.memory(machine).too_much.remove(what);
        let open = self.state.open(machine, Condition::ThermometerOff);
        if never && open.is_some_and(|open| open.alert.about == [what]) {
            self.dismiss(machine, Condition::ThermometerOff);
            return;
        }
        let others = open.is_some_and(|open| open.alert.lasts_about(what) && open.alert.about.len() > 1);
        self.resolve(machine, Condition::ThermometerOff, what);
        if others {
            // Which racks are in doubt from here on is told by the record.
            self.changed(machine, Condition::ThermometerOff, Change::Eased);
        }
    }
}

/// What a check says of a thermometer.
fn comparison(index: u64, check: &Check) -> Option<Compared> {
    let Check::Thermometer { at, what, shown_c, reference_c, .. } = check else { return None };
    let good = judge_known(check, None).good.unwrap_or(true);
    let too_much_k = shown_c - reference_c;
    Some(Compared { index, what: what.clone(), at: *at, good, too_much_k, withdrawn: false })
}
