//! Which racks of an alert its corrective actions cover.
//!
//! An action covers the racks that its writer was shown: so many, counted from the first, in the order in which the desk
//! counted them. Which number a rack has, no record says. But the records of the alert say how many it counted when
//! each of them was made, so that most racks lie between two of these marks, and the marks tell. Between two marks with
//! the end of what an action covers between them, the racks are counted one by one, as far as they are known.
//!
//! Where that does not tell, the answer is that it is not known: no rack is said to be covered that may not be.

use super::earlier::Earlier;
use crate::core::record::{Change, Clearing, Cycle, OfAlert};

/// Marks that are kept of one alert (own choice: one for each rack of half a year). Of more the older half is
/// forgotten: of racks of before it is not known what covers them.
const MARKS_MAX: usize = 4_000;

/// Whether a corrective action covers a rack.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Covered {
    /// The records of all that do, in order.
    By(Vec<u64>),
    /// None does.
    NotYet,
    /// Its number is not known so exactly.
    Unknown,
}

/// How many racks an alert counted when a record was taken.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
struct Mark {
    /// Where it stands: at the record that caused it, else at its own place.
    place: u64,
    count: u64,
    /// Whether there were no more; of some that raised an alert their records do not say.
    exact: bool,
    /// Whether it counted racks from there on.
    open: bool,
}

/// A corrective action.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
struct Act {
    index: u64,
    /// How many racks; absent where all of then were meant.
    covers: Option<u64>,
}

/// Racks of an alert that are known, each by [`Cover::place`] and its index, in that order.
#[derive(Clone, Copy, Debug, Default)]
pub struct Known<'r> {
    /// The racks.
    pub racks: &'r [(u64, u64)],
    /// Whether all that it counted are among them.
    pub whole: bool,
}

impl Known<'_> {
    /// How many of them were counted behind a place and before a rack.
    fn before(self, place: Option<u64>, rack: (u64, u64)) -> u64 {
        let first = self.racks.partition_point(|own| place.is_some_and(|place| own.0 <= place));
        let end = self.racks.partition_point(|own| *own < rack);
        end.saturating_sub(first) as u64
    }

    /// How many of them were counted behind a rack and up to a place.
    fn after(self, rack: (u64, u64), place: u64) -> u64 {
        let first = self.racks.partition_point(|own| *own <= rack);
        let end = self.racks.partition_point(|own| own.0 <= place);
        end.saturating_sub(first) as u64
    }
}

/// What the records of one alert say of it.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Cover {
    marks: Vec<Mark>,
    /// Racks that had passed, each time with the place of the record that says so.
    told: Vec<(u64, Earlier)>,
    actions: Vec<Act>,
    /// Of racks up to this place no mark is left.
    forgotten: Option<u64>,
}

impl Cover {
    /// Takes one record of the alert, in order of the ledger.
    pub fn note(&mut self, index: u64, told: OfAlert<'_>) {
        let place = told.cause().unwrap_or(index);
        let was_open = self.marks.last().is_some_and(|mark| mark.open);
        let exact = |count, open| Mark { place, count, exact: true, open };
        match told {
            OfAlert::Raised(raised) => {
                let earlier = raised.earlier.as_ref().map_or(0, |earlier| earlier.all().count);
                let count = earlier + u64::from(raised.pattern.is_some());
                let is_told = raised.earlier.is_some() || raised.pattern.is_some();
                self.mark(Mark { exact: is_told, ..exact(count, true) });
            }
            OfAlert::Changed(changed) => {
                self.mark(exact(changed.racks, was_open || changed.change == Change::Returned));
            }
            // With an action on record nothing is withdrawn.
            OfAlert::Cleared(cleared) if cleared.clearing == Clearing::Withdrawn => *self = Self::default(),
            OfAlert::Cleared(cleared) => self.mark(exact(cleared.racks, false)),
            OfAlert::Closed(closed) => self.mark(exact(closed.racks, false)),
            OfAlert::Action(action) => self.actions.push(Act { index, covers: action.covers }),
            OfAlert::Acknowledged(_) | OfAlert::Notification(_) => {}
        }
        self.told.extend(told.earlier().map(|earlier| (place, earlier.clone())));
    }

    fn mark(&mut self, mark: Mark) {
        // What time or a person caused was made before what a record caused that stands behind it in the story.
        for before in self.marks.iter_mut().rev().take_while(|before| before.place >= mark.place) {
            before.place = mark.place.saturating_sub(1);
        }
        let same = |last: &Mark| (last.count, last.exact, last.open) == (mark.count, mark.exact, mark.open);
        if self.marks.last().is_some_and(same) {
            return;
        }
        if self.marks.len() == MARKS_MAX {
            self.forgotten = self.marks.get(MARKS_MAX / 2).map(|first| first.place);
            self.marks.drain(..MARKS_MAX / 2);
        }
        self.marks.push(mark);
    }

    /// Whether there is any corrective action.
    #[must_use]
    pub const fn has_action(&self) -> bool {
        !self.actions.is_empty()
    }

    /// Where the alert counted a rack that it counts: at its record; where it was not open then, at the record by which
    /// it was; one that had passed at the record that says so. `None` where no record says that it counted any.
    #[must_use]
    pub fn place(&self, index: u64, cycle: &Cycle) -> Option<u64> {
        let holds = |earlier: &Earlier| earlier.holds(index, cycle) || earlier.holds_beside(index, cycle);
        if let Some((place, _)) = self.told.iter().find(|(_, earlier)| holds(earlier)) {
            return Some(*place);
        }
        let next = self.marks.partition_point(|mark| mark.place <= index);
        let is_open = next.checked_sub(1).and_then(|last| self.marks.get(last)).is_some_and(|mark| mark.open);
        let opens = self.marks.iter().skip(next).find(|mark| mark.open);
        if is_open { Some(index) } else { opens.map(|mark| mark.place) }
    }

    /// Whether a corrective action covers a rack that the alert counts, by [`Cover::place`] and its index. `known` helps
    /// where the marks alone do not tell.
    #[must_use]
    pub fn of(&self, rack: (u64, u64), known: Known<'_>) -> Covered {
        if self.forgotten.is_some_and(|place| rack.0 <= place) {
            return Covered::Unknown;
        }
        let (least, most) = self.number(rack, known);
        let mut own = Vec::new();
        for act in &self.actions {
            // What is counted behind it nobody was shown.
            if act.index <= rack.0 || act.covers.is_some_and(|covers| covers < least) {
                continue;
            }
            if act.covers.is_some_and(|covers| most.is_none_or(|most| most > covers)) {
                return Covered::Unknown;
            }
            own.push(act.index);
        }
        if own.is_empty() { Covered::NotYet } else { Covered::By(own) }
    }

    /// The least and the most that the number of a rack can be, counted from the first.
    fn number(&self, rack: (u64, u64), known: Known<'_>) -> (u64, Option<u64>) {
        let next = self.marks.partition_point(|mark| mark.place < rack.0);
        let (before, behind) = self.marks.split_at(next);
        let base = before.iter().rev().find(|mark| mark.exact);
        let (from, count) = (base.map(|mark| mark.place), base.map_or(0, |mark| mark.count));
        let least = count + known.before(from, rack);
        let least = before.iter().map(|mark| mark.count).fold(least, u64::max) + 1;
        let most = match behind.iter().find(|mark| mark.exact) {
            Some(mark) => Some(mark.count.saturating_sub(known.after(rack, mark.place)).max(least)),
            None => known.whole.then_some(least),
        };
        (least, most)
    }
}
