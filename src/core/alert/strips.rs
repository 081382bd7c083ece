//! Tests of the sanitizer, and what they found outside its range.
//!
//! A test that finds it so raises the alert at once, before the next rack does: what passed since the last good test
//! is in doubt by then. The latest test that counts decides, also where an amendment makes an earlier one the latest.

use super::condition::Condition;
use super::open::{Amended, Quantity};
use super::raise::{Report, Told, Turn};
use super::state::{Memory, STANDS_BY_MAX, Tested};
use crate::core::channel::Place;
use crate::core::record::{Amendment, AmendmentChange, Change, Check};
use crate::core::sanitizer::{Refusal, requirement};

/// Most tests of a machine that are remembered, for amendments (own choice: two weeks of three shifts, and some).
const TESTED_MAX: usize = 64;

impl Memory {
    /// The latest test that counts.
    pub(super) fn latest_test(&self) -> Option<Tested> {
        let all = self.tested.iter().filter(|one| !one.withdrawn);
        all.max_by_key(|one| (one.at, one.index)).copied()
    }

    /// A test counts as it was amended: whether the alert stands by none any more.
    fn lost_weak(&mut self, now: Tested, amended: &Amended) -> bool {
        let Self { weak_by, weak_withdrawn, .. } = self;
        if now.withdrawn && weak_by.has(now.index) && weak_withdrawn.len() < STANDS_BY_MAX {
            weak_withdrawn.push((now.index, amended.clone()));
        } else if now.good && !now.withdrawn {
            weak_withdrawn.retain(|(index, _)| *index != now.index);
        }
        (now.good || now.withdrawn) && weak_by.lost_last(now.index)
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
            self.found_weak(machine, tested);
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
        let was = known.mg_per_l;
        *known = corrected.unwrap_or(Tested { withdrawn: true, ..*known });
        let now = *known;
        self.sanitizer_not_right(machine, amendment.of);
        let amended = Amended {
            by: amendment.by.clone(),
            at: self.now,
            was: Quantity::MgPerL(was),
            counts: (!now.withdrawn).then_some(Quantity::MgPerL(now.mg_per_l)),
        };
        let never = self.state.memory(machine).lost_weak(now, &amended);
        let latest = self.latest_test(machine);
        if let Some(wrong) = latest.filter(|latest| !latest.good) {
            self.found_weak(machine, wrong);
            return;
        }
        if never {
            self.entered_wrongly(machine, amended);
            self.dismiss(machine, Condition::Weak);
        } else {
            self.recover(machine, Condition::Weak, true, 1);
        }
        if let Some(right) = latest {
            self.sanitizer_right(machine, right.at, right.index);
        }
    }

    /// The last entry by which the alert stood was entered wrongly: what it tells of is told as it counts. Where another
    /// one was withdrawn, that: its racks have no proof, whatever became of the rest.
    fn entered_wrongly(&mut self, machine: &str, amended: Amended) {
        let withdrawn =
            self.state.memory(machine).weak_withdrawn.last().map(|(_, withdrawn)| withdrawn.clone());
        let amended = withdrawn.unwrap_or(amended);
        if let Some(open) = self.state.open_mut(machine, Condition::Weak) {
            open.alert.amended = Some(amended.clone());
        }
        let told = Told { amended: Some(amended), ..Told::default() };
        self.changed_by(machine, Condition::Weak, Change::Eased, told);
    }

    fn found_weak(&mut self, machine: &str, tested: Tested) {
        let is_latest = self.latest_test(machine).is_some_and(|latest| latest.index == tested.index);
        let earlier = Some(self.sanitizer_wrong(machine, tested.at, is_latest));
        self.state.memory(machine).weak_by.add(tested.index);
        self.report(Report {
            place: Some(Place::FinalRinse),
            measured: Some(Quantity::MgPerL(tested.mg_per_l)),
            earlier,
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
        let good = match requirement(*sanitizing, *mg_per_l, *ph, rules) {
            Ok(_) => true,
            Err(Refusal::NotChemical) => return None,
            Err(Refusal::TooWeak | Refusal::TooStrong | Refusal::PhTooHigh | Refusal::NotAMeasurement) => {
                false
            }
        };
        Some(Tested { index, at: *at, mg_per_l: *mg_per_l, good, withdrawn: false })
    }
}
