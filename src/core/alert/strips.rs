//! Tests of the sanitizer, and what they found outside its range.
//!
//! A test that finds it so raises the alert at once, before the next rack does: what passed since the last good test
//! is in doubt by then. The latest test that counts decides, also where an amendment makes an earlier one the latest.

use super::affected::Measured;
use super::condition::Condition;
use super::notice::Occasion;
use super::open::{Alert, Amended, Quantity};
use super::raise::{Report, Told, Turn, worse};
use super::state::{Memory, STANDS_BY_MAX, Tested};
use crate::core::channel::Place;
use crate::core::record::{Amendment, AmendmentChange, Change, Check};
use crate::core::sanitizer::bound::Bound;
use crate::core::sanitizer::{Refusal, requirement};

/// Most tests of a machine that are remembered, for amendments (own choice: two weeks of three shifts, and some).
const TESTED_MAX: usize = 64;

impl Tested {
    /// The same test as it was amended, which keeps what it showed as it was entered first.
    fn amended(self, now: Self) -> Self {
        let first_ph = match self.first_mg_per_l {
            Some(_) => self.first_ph,
            None => self.ph.filter(|_| self.ph_max.is_some()),
        };
        Self { first_mg_per_l: self.first_mg_per_l.or(Some(self.mg_per_l)), first_ph, ..now }
    }

    /// What it showed as it was entered first, of the two that which lay outside.
    fn entered(self) -> Quantity {
        self.first_ph.map_or(Quantity::MgPerL(self.first_mg_per_l.unwrap_or(self.mg_per_l)), Quantity::Ph)
    }

    /// What it shows, beside what it showed as it was entered first.
    fn counts(self) -> Quantity {
        let ph = self.ph.filter(|_| self.ph_max.is_some() || self.good && self.first_ph.is_some());
        ph.map_or(Quantity::MgPerL(self.mg_per_l), Quantity::Ph)
    }

    /// What it showed against the limit beyond which it lies.
    fn measured(self) -> Measured {
        let strength = self.limit_mg_per_l.map(|limit| Bound::beside(self.mg_per_l, limit));
        let bound = strength.or(self.ph_max.map(Bound::PhAtMost));
        Measured::solution(Some(self.mg_per_l), self.ph, bound)
    }
}

impl Memory {
    /// The latest test that counts.
    pub(super) fn latest_test(&self) -> Option<Tested> {
        let all = self.tested.iter().filter(|one| !one.withdrawn);
        all.max_by_key(|one| (one.at, one.index)).copied()
    }

    /// A test counts as it was amended: whether the alert stands by none any more.
    fn lost_weak(&mut self, now: Tested, amended: &Amended) -> bool {
        let Self { weak_by, weak_amended, .. } = self;
        let known = weak_amended.iter().position(|(index, _)| *index == now.index);
        if let Some(known) = known {
            weak_amended.remove(known);
        }
        let counts_against = !now.good && !now.withdrawn;
        if !counts_against
            && (known.is_some() || weak_by.has(now.index))
            && weak_amended.len() < STANDS_BY_MAX
        {
            weak_amended.push((now.index, amended.clone()));
        }
        !counts_against && weak_by.lost_last(now.index)
    }

    /// What is said of an alert that stands by no entry any more: the last of those that were withdrawn, since its racks
    /// have no proof whatever became of the rest, else the last that was corrected.
    fn weak_was(&self) -> Option<&Amended> {
        let all = || self.weak_amended.iter().rev().map(|(_, amended)| amended);
        let withdrawn = all().find(|amended| amended.counts.is_none());
        withdrawn.or(all().next()).filter(|_| self.weak_by.is_empty())
    }

    /// What the entries show by which the alert stands, as they count: the latest with its limit, and the worst.
    fn weak_values(&self) -> Option<(Measured, Quantity)> {
        let own = || self.tested.iter().filter(|one| !one.withdrawn && self.weak_by.has(one.index));
        let latest = own().max_by_key(|one| (one.at, one.index))?;
        let measured = latest.measured();
        let worst = own().fold(measured.value, |worst, one| {
            worse(Condition::Weak, one.measured().value, Measured { value: worst, ..measured })
        });
        Some((measured, worst?))
    }
}

impl Turn<'_> {
    /// Somebody tested the sanitizer; checks of other kinds say nothing of it.
    pub(super) fn tested(&mut self, machine: &str, index: u64, check: &Check) {
        let Some(tested) = self.test_of(machine, index, check) else { return };
        let Memory { tested: all, weak_by, .. } = self.state.memory(machine);
        all.push(tested);
        if all.len() > TESTED_MAX {
            // Never the one that was just made.
            let oldest = all.iter().take(TESTED_MAX).position(|one| !weak_by.has(one.index)).unwrap_or(0);
            all.remove(oldest);
        }
        if !tested.good {
            self.found_weak(machine, tested, None);
        }
        if let Some(right) = self.latest_test(machine).filter(|latest| latest.good) {
            self.sanitizer_right(machine, right.at, right.index);
            self.recover(machine, Condition::Weak, true, 1);
        }
    }

    /// Somebody withdrew or corrected a test.
    pub(super) fn tested_otherwise(&mut self, machine: &str, amendment: &Amendment) {
        let corrected = match &amendment.change {
            AmendmentChange::Comment => return,
            AmendmentChange::Withdrawn => None,
            AmendmentChange::Corrected(check) => self.test_of(machine, amendment.of, check),
        };
        let all = &mut self.state.memory(machine).tested;
        let Some(known) = all.iter_mut().find(|known| known.index == amendment.of) else { return };
        *known = known.amended(corrected.unwrap_or(Tested { withdrawn: true, ..*known }));
        let now = *known;
        self.sanitizer_not_right(machine, amendment.of);
        let amended = Amended {
            by: amendment.by.clone(),
            at: self.now,
            of: Some(now.index),
            was: now.entered(),
            counts: (!now.withdrawn).then(|| now.counts()),
        };
        let memory = self.state.memory(machine);
        let had = memory.weak_by.has(now.index);
        let never = memory.lost_weak(now, &amended);
        let (on_record, records) = (self.weak_told(machine), self.effects.records.len());
        let latest = self.latest_test(machine);
        let wrong = latest.filter(|latest| !latest.good);
        if !now.good && !now.withdrawn && !had && wrong != Some(now) {
            self.found_weak(machine, now, Some(&amended));
        }
        if let Some(wrong) = wrong {
            self.found_weak(machine, wrong, Some(&amended).filter(|_| wrong == now));
        } else if never {
            self.entered_wrongly(machine);
            self.dismiss(machine, Condition::Weak);
        } else {
            self.entered_wrongly_anew(machine);
            self.recover(machine, Condition::Weak, true, 1);
        }
        if had || self.state.memory(machine).weak_by.has(now.index) {
            let is_told = self.effects.records.len() > records;
            self.measured_anew(machine, on_record.filter(|_| !is_told));
        }
        if let Some(right) = latest.filter(|latest| latest.good) {
            self.sanitizer_right(machine, right.at, right.index);
        }
    }

    /// The last entry by which the alert stood was entered wrongly: what it tells of is told as it counts. Whether that
    /// is something else than before.
    fn entered_wrongly(&mut self, machine: &str) -> bool {
        let amended = self.state.memory(machine).weak_was().cloned();
        let open = self.state.open_mut(machine, Condition::Weak);
        let Some(open) = open.filter(|open| amended.is_some() && open.alert.amended != amended) else {
            return false;
        };
        open.alert.amended.clone_from(&amended);
        let told = Told { amended, ..Told::default() };
        self.changed_by(machine, Condition::Weak, Change::Eased, told);
        true
    }

    /// An entry that was found wrong before was amended once more: who was told what it shows is told what counts.
    fn entered_wrongly_anew(&mut self, machine: &str) {
        let open = self.state.open(machine, Condition::Weak);
        let is_told = open.is_some_and(|open| open.alert.cleared.is_some() && !open.telling.cleared_pending);
        if self.entered_wrongly(machine) && is_told {
            self.tell_told(machine, Condition::Weak, Occasion::Cleared);
        }
    }

    /// What the alert says was measured: the latest with its limit, and the worst.
    fn weak_told(&self, machine: &str) -> Option<(Measured, Option<Quantity>)> {
        let Alert { measured: value, limit, worst, .. } = self.state.open(machine, Condition::Weak)?.alert;
        Some((Measured { value, limit }, worst))
    }

    /// What the alert says it measured is what the entries show that count: not what was misread. `on_record` is what its
    /// records tell, where that is not what it says.
    fn measured_anew(&mut self, machine: &str, on_record: Option<(Measured, Option<Quantity>)>) {
        let Some((latest, worst)) = self.state.memory(machine).weak_values() else { return };
        if on_record.or_else(|| self.weak_told(machine)) == Some((latest, Some(worst))) {
            return;
        }
        let Some(open) = self.state.open_mut(machine, Condition::Weak) else { return };
        (open.alert.measured, open.alert.limit, open.alert.worst) = (latest.value, latest.limit, Some(worst));
        let told = Told { worst: Some(worst), ..Told::default() };
        self.changed_by(machine, Condition::Weak, Change::Eased, told);
    }

    /// A test found the sanitizer wrong: as it was entered, or as it was amended.
    fn found_weak(&mut self, machine: &str, tested: Tested, amended: Option<&Amended>) {
        let is_latest = self.latest_test(machine).is_some_and(|latest| latest.index == tested.index);
        let earlier = Some(self.sanitizer_wrong(machine, tested.at, is_latest));
        self.state.memory(machine).weak_by.add(tested.index);
        let Measured { value: measured, limit } = tested.measured();
        self.report(Report {
            place: Some(Place::FinalRinse),
            measured,
            limit,
            earlier,
            amended: amended.cloned(),
            ..Report::new(Condition::Weak, machine, tested.at)
        });
    }

    fn latest_test(&self, machine: &str) -> Option<Tested> {
        self.state.machines.get(machine)?.latest_test()
    }

    /// What a test says of the sanitizer, as the verdict of a rack will say it; `None` where it says nothing.
    fn test_of(&self, machine: &str, index: u64, check: &Check) -> Option<Tested> {
        let Check::Sanitizer { at, mg_per_l, ph, .. } = check else { return None };
        let (sanitizing, rules) = self.settings.machines.get(machine)?.sanitizer.as_ref()?;
        let refused = match requirement(*sanitizing, *mg_per_l, *ph, rules) {
            Ok(_) => None,
            Err(Refusal::NotChemical) => return None,
            Err(
                refusal @ (Refusal::TooWeak
                | Refusal::TooStrong
                | Refusal::PhTooHigh
                | Refusal::NotAMeasurement),
            ) => Some(refusal),
        };
        let bound = refused.and_then(|refusal| rules.crossed(*sanitizing, refusal));
        Some(Tested {
            index,
            at: *at,
            mg_per_l: *mg_per_l,
            limit_mg_per_l: bound.and_then(Bound::mg_per_l),
            ph: *ph,
            ph_max: bound.and_then(Bound::ph),
            good: refused.is_none(),
            withdrawn: false,
            first_mg_per_l: None,
            first_ph: None,
        })
    }
}
