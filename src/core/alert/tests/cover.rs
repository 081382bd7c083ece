//! Which racks a corrective action covers: those that its writer was shown, and no other.

use super::earlier::{enter, strip};
use super::fixture::{Play, Rack, at, settings};
use crate::core::alert::cover::{Cover, Covered, Known};
use crate::core::alert::{Condition, Event};
use crate::core::record::{Body, Cycle};

/// A desk whose records go on record between those of the racks.
struct Kitchen {
    play: Play,
    machine: &'static str,
    condition: Condition,
    cover: Cover,
    /// Every rack, and the number that the alert gave it.
    racks: Vec<(u64, Cycle, Option<u64>)>,
}

impl Kitchen {
    fn new(machine: &'static str, condition: Condition) -> Self {
        Self { play: Play::new(settings()), machine, condition, cover: Cover::default(), racks: Vec::new() }
    }

    fn count(&self) -> u64 {
        self.play.open(self.condition).map_or(0, |alert| alert.racks.count)
    }

    /// Gives the index of the action that was written, where one was.
    fn put_down(&mut self) -> Option<u64> {
        let mut action = None;
        for (index, record) in self.play.put_down() {
            if let Some(told) = record.body.of_alert() {
                self.cover.note(index, told);
            }
            action = if let Body::CorrectiveAction(_) = record.body { Some(index) } else { action };
        }
        action
    }

    fn until(&mut self, minute: f64) {
        self.play.until(minute);
        self.put_down();
    }

    fn rack(&mut self, minute: f64, rack: Rack) {
        self.until(minute);
        let (index, cycle, before) = (self.play.next, rack.cycle(at(minute)), self.count());
        self.play.record(self.machine, Body::Cycle(Box::new(cycle.clone())));
        let number = (self.count() > before).then(|| self.count());
        self.racks.push((index, cycle, number));
        self.put_down();
    }

    /// A strip: where it puts racks in doubt, all without a number get theirs.
    fn strip(&mut self, minute: f64, mg_per_l: f64) {
        self.until(minute);
        let before = self.count();
        enter(&mut self.play, minute, self.machine, strip(minute, mg_per_l));
        let found = self.count().saturating_sub(before);
        let mut next = before;
        let first = self.racks.len() - usize::try_from(found).expect("few");
        for (_, _, number) in self.racks.iter_mut().skip(first) {
            next += 1;
            *number = Some(next);
        }
        self.put_down();
    }

    /// Writes an action for so many racks; gives the index of its record.
    fn act(&mut self, covers: u64, done: &str) -> u64 {
        let alert = self.play.open(self.condition).expect("it is open").number;
        let act = Event::Act { alert, by: "Ana", racks: "rewashed", done, covers: Some(covers) };
        self.play.handle(act).expect("an open alert takes an action");
        self.put_down().expect("it is on record")
    }

    /// The racks that the alert counts, by their place.
    fn known(&self) -> Vec<(u64, u64)> {
        let own = self.racks.iter().filter(|(_, _, number)| number.is_some());
        let mut known: Vec<(u64, u64)> = own
            .map(|(index, cycle, _)| (self.cover.place(*index, cycle).expect("a place"), *index))
            .collect();
        known.sort_unstable();
        known
    }

    /// What is said of each rack that the alert counts, with its number.
    fn said(&self, known: Known<'_>) -> Vec<(u64, Covered)> {
        let own = self.racks.iter().filter_map(|(index, cycle, number)| Some((*index, cycle, (*number)?)));
        let said = |(index, cycle, number): (u64, &Cycle, u64)| {
            let place = self.cover.place(index, cycle).expect("a place");
            (number, self.cover.of((place, index), known))
        };
        own.map(said).collect()
    }
}

/// Racks that passed, a weak strip, weak racks, one action amid them and one at the end; then the same once more.
fn of_strips() -> (Kitchen, [u64; 2]) {
    let mut kitchen = Kitchen::new("chem", Condition::Weak);
    kitchen.strip(0.0, 100.0);
    (1..6).for_each(|minute| kitchen.rack(f64::from(minute), Rack::Good));
    kitchen.strip(6.0, 10.0);
    (7..12).for_each(|minute| kitchen.rack(f64::from(minute), Rack::Weak));
    // One more comes while the first action is written.
    let first = kitchen.act(9, "reset");
    (12..17).for_each(|minute| kitchen.rack(f64::from(minute), Rack::Weak));
    let second = kitchen.act(15, "mended");
    kitchen.strip(18.0, 100.0);
    (19..22).for_each(|minute| kitchen.rack(f64::from(minute), Rack::Good));
    kitchen.strip(23.0, 10.0);
    (24..26).for_each(|minute| kitchen.rack(f64::from(minute), Rack::Weak));
    (kitchen, [first, second])
}

// Own promise: an action covers so many racks as its writer was shown, counted from the first as the desk counts them:
// those that had passed before those after the strip, and none that the alert counts since it came back.
#[test]
fn an_action_covers_the_racks_that_were_shown() {
    let (kitchen, [first, second]) = of_strips();
    let known = kitchen.known();
    let said = kitchen.said(Known { racks: &known, whole: true });
    assert_eq!(said.len(), 20);
    for (number, covered) in said {
        let expected = match number {
            1..=9 => Covered::By(vec![first, second]),
            10..=15 => Covered::By(vec![second]),
            _ => Covered::NotYet,
        };
        assert_eq!(covered, expected, "rack {number}");
    }
}

// Own promise: where not every rack is known nothing is said that is not so, and what the records tell is said.
#[test]
fn nothing_is_covered_that_may_not_be() {
    let (kitchen, [first, second]) = of_strips();
    let all = kitchen.known();
    for kept in 0..all.len() {
        let racks: Vec<(u64, u64)> = all.iter().copied().skip(kept).collect();
        let mut told = 0;
        for (number, covered) in kitchen.said(Known { racks: &racks, whole: false }) {
            told += u64::from(covered != Covered::Unknown);
            let is_so = match &covered {
                Covered::By(own) => match number {
                    1..=9 => *own == [first, second],
                    10..=15 => *own == [second],
                    _ => false,
                },
                Covered::NotYet => number > 15,
                Covered::Unknown => true,
            };
            assert!(is_so, "{kept}: rack {number}: {covered:?}");
        }
        // The five that had passed, and the five since it came back.
        assert!(told >= 10, "{kept}: {told}");
    }
}

// Own promise: of racks in a row, where the alert has no mark behind them, those that are known are counted.
#[test]
fn cold_racks_are_counted_without_a_mark_behind_them() {
    let mut kitchen = Kitchen::new("hot", Condition::Cold);
    kitchen.rack(0.0, Rack::Good);
    kitchen.rack(1.0, Rack::Cold);
    kitchen.rack(2.0, Rack::Cold);
    let action = kitchen.act(2, "reset");
    kitchen.rack(3.0, Rack::Cold);
    let known = kitchen.known();
    let said = |whole| kitchen.said(Known { racks: &known, whole });
    let covered = Covered::By(vec![action]);
    assert_eq!(said(true), [(1, covered.clone()), (2, covered), (3, Covered::NotYet)]);
    let [(_, one), (_, two), (_, three)] = said(false).try_into().expect("three");
    assert_ne!(one, Covered::NotYet);
    assert_ne!(two, Covered::NotYet);
    assert_eq!(three, Covered::NotYet);
}

// Regression: a rack had its first action and what was added about the same racks, but not the later ones that are about
// it too. Own promise: it has every action that covers it.
#[test]
fn a_rack_has_every_action_that_covers_it() {
    let mut kitchen = Kitchen::new("hot", Condition::Cold);
    kitchen.rack(1.0, Rack::Cold);
    let actions = ["reset", "reset, and a plumber called"].map(|done| kitchen.act(1, done));
    kitchen.rack(2.0, Rack::Cold);
    let later = kitchen.act(2, "mended");
    let known = kitchen.known();
    let said = kitchen.said(Known { racks: &known, whole: true });
    let all = [actions.as_slice(), &[later]].concat();
    assert_eq!(said, [(1, Covered::By(all)), (2, Covered::By(vec![later]))]);
}
