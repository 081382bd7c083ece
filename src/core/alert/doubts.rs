//! Which racks that passed are in doubt, and by which alerts, as their records tell it.
//!
//! One reckoning for a rack by itself and for lists of them: the records of alerts are taken once, in their order, and
//! each rack is asked for without any other record. It knows every alert of a sanitizer or a thermometer that was ever
//! raised, so that a rack is found in doubt however much later something was found wrong.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::RangeInclusive;

use super::condition::Condition;
use super::earlier::Earlier;
use super::open::{AlertNumber, Quantity};
use super::past::Past;
use crate::core::record::{AlertChanged, Body, Change, Clearing, Cycle, OfAlert, Record};

/// Findings that are kept of one machine (own choice: one a day for eleven years). Of more the older half is
/// forgotten: the racks of before are told as they were judged.
const TOLD_MAX: usize = 4_000;

/// What put racks in doubt which had passed, by machine.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Doubts {
    machines: BTreeMap<String, OfMachine>,
    /// The alerts that can put racks in doubt and are not closed.
    open: BTreeMap<AlertNumber, Open>,
    next: u64,
}

#[derive(Clone, PartialEq, Debug)]
struct Open {
    machine: String,
    of_thermometer: bool,
}

/// What found wrong what a rack had passed by.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
pub struct FoundBy {
    /// The record that did: an entry, or an amendment of one; `None` where it is not on record.
    pub cause: Option<u64>,
    /// What that measured, where it is on record.
    pub measured: Option<Quantity>,
    /// The limit that was crossed, where it is on record.
    pub limit: Option<Quantity>,
}

impl FoundBy {
    const fn of(told: OfAlert<'_>) -> Self {
        let (measured, limit) = match told {
            OfAlert::Raised(raised) => (raised.measured, raised.limit),
            OfAlert::Changed(changed) => (changed.measured, changed.limit),
            OfAlert::Acknowledged(_)
            | OfAlert::Cleared(_)
            | OfAlert::Closed(_)
            | OfAlert::Action(_)
            | OfAlert::Notification(_) => (None, None),
        };
        Self { cause: told.cause(), measured, limit }
    }
}

/// The same of one machine.
#[derive(Clone, PartialEq, Debug, Default)]
struct OfMachine {
    /// Racks of before something was found wrong, and by which entry.
    told: Vec<(AlertNumber, Earlier, FoundBy)>,
    /// The open alerts whose entry is right as it was corrected: what they told speaks against no rack, as long as that
    /// counts.
    right: Vec<AlertNumber>,
    /// When a probe was known to show too much, which puts those in doubt that are washed meanwhile.
    past: Past,
}

impl OfMachine {
    fn told(&mut self, alert: AlertNumber, earlier: &Earlier, by: FoundBy) {
        if self.told.len() == TOLD_MAX {
            self.told.drain(..TOLD_MAX / 2);
        }
        self.told.push((alert, earlier.clone(), by));
    }

    /// What an alert told speaks against no rack any more.
    fn take_back(&mut self, alert: AlertNumber) {
        self.told.retain(|(known, ..)| *known != alert);
    }

    /// Right as corrected, what was tested speaks against no rack; withdrawn or wrong once more, it does again.
    fn changed(&mut self, changed: &AlertChanged) {
        let counts = changed.amended.as_ref().map(|amended| amended.counts.is_some());
        match (changed.change, counts) {
            (Change::Returned, None) => self.settle(changed.alert),
            (Change::Returned, Some(_)) | (_, Some(false)) => {
                self.right.retain(|known| *known != changed.alert);
            }
            (_, Some(true)) if !self.right.contains(&changed.alert) => self.right.push(changed.alert),
            (_, Some(true) | None) => {}
        }
    }

    /// Nothing will be said of that any more, or the alert goes on by something else.
    fn settle(&mut self, alert: AlertNumber) {
        if self.right.contains(&alert) {
            self.take_back(alert);
            self.right.retain(|known| *known != alert);
        }
    }

    /// What speaks against racks.
    fn speaking(&self) -> impl Iterator<Item = &(AlertNumber, Earlier, FoundBy)> {
        self.told.iter().filter(|(number, ..)| !self.right.contains(number))
    }

    /// The alerts that told of such racks.
    fn telling(&self, holds: impl Fn(&Earlier) -> bool) -> impl Iterator<Item = AlertNumber> {
        self.speaking().filter(move |(_, earlier, _)| holds(earlier)).map(|(number, ..)| *number)
    }
}

/// Whether alerts of this condition put racks in doubt which had passed.
#[must_use]
pub const fn can_doubt(condition: Condition) -> bool {
    condition.found_by().is_some()
}

/// Whether a record stands in one of some stretches of [`Doubts::stretches`].
#[must_use]
pub fn is_within(stretches: &[RangeInclusive<u64>], index: u64) -> bool {
    let ended = stretches.partition_point(|stretch| *stretch.end() < index);
    stretches.get(ended).is_some_and(|stretch| stretch.contains(&index))
}

impl Doubts {
    /// Index of the next record that was not taken.
    #[must_use]
    pub const fn next(&self) -> u64 {
        self.next
    }

    /// Every record before this one was taken, or tells of no such alert.
    pub fn read_until(&mut self, next: u64) {
        self.next = self.next.max(next);
    }

    /// The alerts that can put racks in doubt and are not closed.
    pub fn open(&self) -> impl Iterator<Item = AlertNumber> {
        self.open.keys().copied()
    }

    /// Takes one record, in order of the index; one that was taken, and those that tell of no such alert, are passed
    /// over.
    pub fn take(&mut self, index: u64, record: &Record) {
        if index < self.next {
            return;
        }
        self.next = index + 1;
        if let (Body::AlertRaised(raised), Some(machine)) = (&record.body, &record.machine)
            && can_doubt(raised.condition)
        {
            let of_thermometer = raised.condition == Condition::ThermometerOff;
            self.open.insert(raised.alert, Open { machine: machine.clone(), of_thermometer });
        }
        let Some(told) = record.body.of_alert() else { return };
        let Some((alert, open)) = told.alert().and_then(|alert| Some((alert, self.open.get(&alert)?))) else {
            return;
        };
        let own = self.machines.entry(open.machine.clone()).or_default();
        if open.of_thermometer {
            own.past.note(index, record);
        }
        if let OfAlert::Changed(changed) = told {
            own.changed(changed);
        }
        if let Some(earlier) = told.earlier() {
            own.told(alert, earlier, FoundBy::of(told));
        }
        match told {
            OfAlert::Cleared(cleared) if cleared.clearing == Clearing::Withdrawn => {
                own.take_back(alert);
            }
            OfAlert::Closed(_) => {
                own.settle(alert);
                self.open.remove(&alert);
            }
            OfAlert::Raised(_)
            | OfAlert::Changed(_)
            | OfAlert::Acknowledged(_)
            | OfAlert::Cleared(_)
            | OfAlert::Action(_)
            | OfAlert::Notification(_) => {}
        }
    }

    /// The alerts that put a rack of a machine in doubt which passed, in order; none of one that did not.
    #[must_use]
    pub fn by(&self, machine: &str, index: u64, cycle: &Cycle) -> Vec<AlertNumber> {
        let Some(own) = self.machines.get(machine).filter(|_| cycle.verdict.is_good()) else {
            return Vec::new();
        };
        let meanwhile = own.past.doubted(machine, index, cycle).map(|counted| counted.alert);
        own.telling(|earlier| earlier.holds(index, cycle))
            .chain(meanwhile)
            .collect::<BTreeSet<_>>()
            .into_iter()
            .collect()
    }

    /// The test of the sanitizer that found wrong what a rack of a machine passed by, the first that speaks against it;
    /// none of one that did not pass, or that a thermometer speaks against.
    #[must_use]
    pub fn found_by(&self, machine: &str, index: u64, cycle: &Cycle) -> Option<FoundBy> {
        let own = self.machines.get(machine).filter(|_| cycle.verdict.is_good())?;
        let by_strip = |earlier: &Earlier| earlier.by_probe.is_none() && earlier.holds(index, cycle);
        own.speaking().find(|(_, earlier, _)| by_strip(earlier)).map(|(.., by)| *by)
    }

    /// The alerts that hold a rack of a machine which did not pass with those that did, in order.
    #[must_use]
    pub fn beside(&self, machine: &str, index: u64, cycle: &Cycle) -> Vec<AlertNumber> {
        let own = self.machines.get(machine).into_iter();
        let holding = own.flat_map(|own| own.telling(|earlier| earlier.holds_beside(index, cycle)));
        holding.collect::<BTreeSet<_>>().into_iter().collect()
    }

    /// The machines of which something was found wrong.
    pub fn machines(&self) -> impl Iterator<Item = &str> {
        self.machines.keys().map(String::as_str)
    }

    /// Where racks in doubt stand on record: no other rack is in doubt, and not all of these are. Of one machine and by
    /// one alert, or of all; the oldest first, apart from one another.
    #[must_use]
    pub fn stretches(&self, machine: Option<&str>, alert: Option<AlertNumber>) -> Vec<RangeInclusive<u64>> {
        let own = self.machines.iter().filter(|(name, _)| machine.is_none_or(|machine| machine == *name));
        let mut found: Vec<(u64, u64)> = Vec::new();
        for (_, own) in own {
            let wanted = |number: AlertNumber| alert.is_none_or(|alert| alert == number);
            let racks = |(number, earlier, _): &(AlertNumber, Earlier, FoundBy)| {
                let (first, last) = (earlier.racks.first()?, earlier.racks.last()?);
                wanted(*number).then_some((first.index, last.index))
            };
            found.extend(own.speaking().filter_map(racks));
            let meanwhile = own.past.doubting().filter(|(number, _)| wanted(*number));
            found.extend(meanwhile.map(|(_, stretch)| stretch));
        }
        found.sort_unstable();
        let mut stretches: Vec<RangeInclusive<u64>> = Vec::new();
        for (first, last) in found {
            match stretches.last_mut() {
                Some(known) if first <= known.end().saturating_add(1) => {
                    *known = *known.start()..=last.max(*known.end());
                }
                Some(_) | None => stretches.push(first..=last),
            }
        }
        stretches
    }
}
