//! Racks without a good verdict of their own, that are held with those that passed since the sanitizer was right.
//!
//! Where a test finds the sanitizer outside its range, every rack since it was found right last is to be held. One
//! that passed is in doubt, see [`super::earlier`]; one that was judged weak is a rack of the alert by itself. Those
//! that were unproven, cold or brief have an alert of their own, or none yet: they are counted beside the others, so
//! that the alert names every rack that is to be held.

use super::condition::Condition;
use super::earlier::Earlier;
use super::open::{Rack, Racks};
use super::raise::{Report, Turn};
use crate::core::cycle::verdict::Verdict;
use crate::core::record::Cycle;

/// Whether a rack can be one of them.
fn is_beside(cycle: &Cycle) -> bool {
    match cycle.verdict {
        Verdict::Cold | Verdict::Brief | Verdict::Unproven => !cycle.is_worked_on(),
        Verdict::Weak | Verdict::Narrow | Verdict::Pass => false,
    }
}

impl Earlier {
    /// The racks, and those beside them, in order of the record.
    #[must_use]
    pub fn all(&self) -> Racks {
        let mut named: Vec<Rack> = self.racks.named.iter().chain(&self.beside.named).copied().collect();
        named.sort_unstable_by_key(|rack| rack.index);
        let mut all = Racks::default();
        named.into_iter().for_each(|rack| all.push(rack));
        Racks { count: self.racks.count + self.beside.count, ..all }
    }

    /// Whether a rack is one of those beside.
    #[must_use]
    pub fn holds_beside(&self, index: u64, cycle: &Cycle) -> bool {
        let (Some(first), Some(last)) = (self.beside.first(), self.beside.last()) else { return false };
        is_beside(cycle) && (first.index..=last.index).contains(&index)
    }
}

impl Racks {
    /// All but some of them.
    pub(super) fn without(&self, others: &Self) -> Self {
        let is_other = |rack: &&Rack| others.named.iter().any(|other| other.index == rack.index);
        let named = self.named.iter().filter(|rack| !is_other(rack)).copied().collect();
        Self { count: self.count.saturating_sub(others.count), named }
    }
}

impl Turn<'_> {
    /// A rack has no good verdict: a test that finds the sanitizer wrong holds it with the others, the next one as well
    /// as one that was made.
    pub(super) fn not_passed(&mut self, machine: &str, cycle: &Cycle, rack: Rack) {
        let own = self.settings.machines.get(machine);
        if !is_beside(cycle) || own.is_none_or(|own| own.sanitizer.is_none()) {
            return;
        }
        let lasts =
            self.state.open(machine, Condition::Weak).is_some_and(|open| open.alert.cleared.is_none());
        let memory = self.state.memory(machine);
        if !lasts || memory.latest_test().is_none_or(|latest| latest.good) {
            memory.standing.beside.push(rack);
            return;
        }
        memory.beside_counted.push(rack);
        let earlier = Earlier { beside: Racks::of(rack), ..Earlier::default() };
        let report = Report::new(Condition::Weak, machine, rack.at);
        self.report(Report { earlier: Some(earlier), ..report });
    }
}
