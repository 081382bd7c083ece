//! The alerts as they stood when the desk had taken a record, by what is on record of them, and the racks that they
//! counted.
//!
//! The desk takes records in their order, so that is the order here as well, and not that of any clock: what a record
//! caused stands where that record does, however much later it was put down. What time or a person caused stands
//! where it went on record, or before what a record caused that stands behind it in the story of its alert.
//!
//! One alert of a condition is open at a machine at a time: all that were raised before the newest had closed.
//! Records are given first, in their order, then racks, those of each machine in order of time.

use std::collections::BTreeMap;

use super::affected::{InRow, Measured, OF_PROBES, condition_of, in_row, is_unexplained, measured};
use super::condition::Condition;
use super::open::{AlertNumber, Quantity, Rack};
use crate::core::cycle::verdict::Verdict;
use crate::core::record::{Body, Change, Cycle, Gap, OfAlert, Record};
use crate::core::time::Timestamp;

/// What became of alerts and of the rows that they count.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Past {
    /// By machine and condition, in the order in which they were raised.
    raised: BTreeMap<String, BTreeMap<Condition, Vec<AlertNumber>>>,
    stories: BTreeMap<AlertNumber, Story>,
    /// By probe, each with the index of its record.
    gaps: BTreeMap<String, Vec<(u64, Gap)>>,
    /// By machine and condition, racks of a row that no alert counts yet.
    rows: BTreeMap<String, BTreeMap<Condition, Vec<Rack>>>,
}

#[derive(Clone, PartialEq, Debug)]
struct Story {
    since: Timestamp,
    moments: Vec<Moment>,
}

/// What one record says of an alert.
#[derive(Clone, PartialEq, Debug)]
struct Moment {
    /// Where it stands: at the record that caused it, else at its own place.
    place: u64,
    /// Whether it was open then and had not recovered; absent where that stays as it was.
    open: Option<bool>,
    /// What it was about; absent where the record does not say.
    about: Option<Vec<String>>,
}

/// Racks that an alert counts once the desk has taken the last of them.
#[derive(Clone, PartialEq, Debug)]
pub struct Counted {
    /// Which alert.
    pub alert: AlertNumber,
    /// The racks: more than one where a row had to be long enough.
    pub racks: Vec<Rack>,
    /// What was measured of the last one.
    pub measured: Measured,
}

/// Where a rack with proof would show that a probe was back of which an alert does not say so.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Back {
    /// It is on record after this index,
    pub after: u64,
    /// and ended after this instant.
    pub since: Timestamp,
}

impl Back {
    /// Whether this rack shows it.
    #[must_use]
    pub fn is_shown_by(self, index: u64, cycle: &Cycle) -> bool {
        index > self.after && cycle.verdict != Verdict::Unproven && cycle.rinse_ended > self.since
    }
}

impl Past {
    /// Takes one record; those that tell of no alert and no gap are passed over.
    pub fn note(&mut self, index: u64, record: &Record) {
        if let Body::Gap(gap) = &record.body {
            self.gaps.entry(gap.probe.clone()).or_default().push((index, gap.clone()));
        }
        let Some(told) = record.body.of_alert() else { return };
        let place = told.causes()[0].unwrap_or(index);
        let (open, about) = match told {
            OfAlert::Raised(raised) => {
                let machine = record.machine.clone().unwrap_or_default();
                let known = self.raised.entry(machine).or_default().entry(raised.condition).or_default();
                known.push(raised.alert);
                self.stories.insert(raised.alert, Story { since: raised.since, moments: Vec::new() });
                (Some(true), Some(raised.about.clone()))
            }
            OfAlert::Changed(changed) => {
                ((changed.change == Change::Returned).then_some(true), Some(changed.about.clone()))
            }
            OfAlert::Cleared(_) | OfAlert::Closed(_) => (Some(false), None),
            OfAlert::Acknowledged(_) | OfAlert::Action(_) | OfAlert::Notification(_) => return,
        };
        if let Some(story) = told.alert().and_then(|number| self.stories.get_mut(&number)) {
            story.moments.push(Moment { place, open, about });
        }
    }

    /// Takes a rack; gives what counts it, and what of its row it makes long enough. `explained` is that of
    /// [`Past::explained`].
    pub fn rack(
        &mut self,
        machine: &str,
        index: u64,
        cycle: &Cycle,
        explained: Option<Condition>,
    ) -> Vec<Counted> {
        if cycle.verdict == Verdict::Pass && cycle.findings.is_empty() {
            self.rows.remove(machine);
            return Vec::new();
        }
        let mut counted = Vec::new();
        for condition in Condition::ALL {
            let row = in_row(condition, cycle, explained);
            let waiting = self.rows.get_mut(machine).and_then(|rows| rows.remove(&condition));
            let mut racks = waiting.filter(|_| row != Some(InRow::Breaks)).unwrap_or_default();
            let found = measured(condition, cycle, explained);
            let newest = found.and_then(|_| self.newest(machine, condition, index));
            let open = found.zip(newest.filter(|(_, told)| told.is_open()).map(|(alert, _)| alert));
            if found.is_some() {
                racks.push(Rack { index, at: cycle.rinse_ended });
            }
            if let Some((mut measured, alert)) = open {
                if condition == Condition::Unproven {
                    measured.value = Some(Quantity::Count(racks.len() as u64));
                }
                counted.push(Counted { alert, racks, measured });
            } else if row.is_some() && !racks.is_empty() {
                self.rows.entry(machine.to_owned()).or_default().insert(condition, racks);
            }
        }
        counted
    }

    /// What explains a rack that nothing of its own explains: the first of [`OF_PROBES`] of which an alert was open,
    /// had not recovered and named `probe`, that of its final rinse. `was_back` says whether a rack of the machine
    /// before this one shows that the probe was back.
    ///
    /// # Errors
    /// That of `was_back`.
    pub fn explained<E>(
        &self,
        machine: &str,
        index: u64,
        cycle: &Cycle,
        probe: Option<&str>,
        mut was_back: impl FnMut(Back) -> Result<bool, E>,
    ) -> Result<Option<Condition>, E> {
        let Some(probe) = probe.filter(|_| is_unexplained(cycle)) else { return Ok(None) };
        for condition in OF_PROBES {
            let newest = self.newest(machine, condition, index).filter(|(_, told)| told.is_open());
            let Some((since, (after, about))) =
                newest.and_then(|(_, told)| Some((told.since, told.about()?)))
            else {
                continue;
            };
            let named = about.iter().any(|named| named == probe);
            // Of several, one goes without a record of the alert.
            let mut gone = || -> Result<bool, E> {
                Ok(about.len() > 1
                    && (self.gap_ended(probe, condition, after, index) || was_back(Back { after, since })?))
            };
            if named && !gone()? {
                return Ok(Some(condition));
            }
        }
        Ok(None)
    }

    /// Whether a record between the two says that a probe was back, or that another matter is wrong with it.
    fn gap_ended(&self, probe: &str, condition: Condition, after: u64, before: u64) -> bool {
        let gaps = self.gaps.get(probe).map(Vec::as_slice).unwrap_or_default();
        let between = gaps.iter().filter(|(own, _)| (after + 1..before).contains(own));
        between.into_iter().any(|(_, gap)| gap.to.is_some() || condition_of(gap.fault) != condition)
    }

    /// The newest alert of a condition that was raised when the desk had taken a record: its number, and what was
    /// told of it by then.
    fn newest(&self, machine: &str, condition: Condition, index: u64) -> Option<(AlertNumber, Told<'_>)> {
        let numbers = self.raised.get(machine)?.get(&condition)?;
        numbers.iter().rev().find_map(|number| Some((*number, self.stories.get(number)?.told(index)?)))
    }
}

/// What was told of an alert up to some record.
#[derive(Clone, Copy)]
struct Told<'p> {
    since: Timestamp,
    moments: &'p [Moment],
}

impl Story {
    /// What was told when the desk had taken a record; `None` where it was raised later.
    fn told(&self, index: u64) -> Option<Told<'_>> {
        let last = self.moments.iter().rposition(|moment| moment.place <= index)?;
        Some(Told { since: self.since, moments: self.moments.get(..=last)? })
    }
}

impl<'p> Told<'p> {
    /// Whether it was open and had not recovered.
    fn is_open(self) -> bool {
        self.moments.iter().rev().find_map(|moment| moment.open).unwrap_or(false)
    }

    /// What it was about, and where that was said.
    fn about(self) -> Option<(u64, &'p [String])> {
        self.moments.iter().rev().find_map(|moment| Some((moment.place, moment.about.as_deref()?)))
    }
}
