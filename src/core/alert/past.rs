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
use super::earlier::ByProbe;
use super::open::{AlertNumber, Quantity, Rack};
use crate::core::cycle::verdict::Verdict;
use crate::core::record::{Body, Change, Clearing, Cycle, Gap, OfAlert, Record};
use crate::core::time::Timestamp;

/// Gaps that are kept of one probe (own choice: one in 11 h over 5 years, 64 kB). Of more the older half is forgotten:
/// a probe that was back then is told as still at fault.
const GAPS_MAX: usize = 4_000;
/// What is kept of one alert (own choice, likewise). Of more the older half, but for how it was raised, is forgotten:
/// over that stretch it is told as it was raised.
const MOMENTS_MAX: usize = 4_000;

/// What became of alerts and of the rows that they count.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Past {
    /// By machine and condition, in the order in which they were raised.
    raised: BTreeMap<String, BTreeMap<Condition, Vec<AlertNumber>>>,
    stories: BTreeMap<AlertNumber, Story>,
    /// By probe, at most [`GAPS_MAX`] each.
    gaps: BTreeMap<String, Vec<GapOf>>,
    /// By machine and condition, racks of a row that no alert counts yet.
    rows: BTreeMap<String, BTreeMap<Condition, Vec<Rack>>>,
}

/// What a gap says of the alerts that name its probe.
#[derive(Clone, Copy, PartialEq, Debug)]
struct GapOf {
    /// Of its record.
    index: u64,
    /// Whether it had ended.
    ended: bool,
    /// What was wrong.
    condition: Condition,
}

#[derive(Clone, PartialEq, Debug)]
struct Story {
    since: Timestamp,
    /// Whether it matters what it was about.
    of_probes: bool,
    moments: Vec<Moment>,
    /// Probes that show too much, each with the place of the record that says so.
    doubted: Vec<(u64, ByProbe)>,
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
            self.gap(index, gap);
        }
        let Some(told) = record.body.of_alert() else { return };
        let place = told.cause().unwrap_or(index);
        let (open, about) = match told {
            OfAlert::Raised(raised) => {
                let machine = record.machine.clone().unwrap_or_default();
                let known = self.raised.entry(machine).or_default().entry(raised.condition).or_default();
                known.push(raised.alert);
                let of_probes =
                    OF_PROBES.contains(&raised.condition) || raised.condition == Condition::ThermometerOff;
                let story =
                    Story { since: raised.since, of_probes, moments: Vec::new(), doubted: Vec::new() };
                self.stories.insert(raised.alert, story);
                (Some(true), Some(&raised.about))
            }
            OfAlert::Changed(changed) => {
                ((changed.change == Change::Returned).then_some(true), Some(&changed.about))
            }
            OfAlert::Cleared(cleared) => {
                if cleared.clearing == Clearing::Withdrawn
                    && let Some(story) = self.stories.get_mut(&cleared.alert)
                {
                    story.doubted.clear();
                }
                (Some(false), None)
            }
            OfAlert::Closed(_) => (Some(false), None),
            OfAlert::Acknowledged(_) | OfAlert::Action(_) | OfAlert::Notification(_) => return,
        };
        if let Some(story) = told.alert().and_then(|number| self.stories.get_mut(&number)) {
            story.note(place, open, about);
            story.doubted.extend(told.earlier().and_then(|own| Some((place, own.by_probe.clone()?))));
        }
    }

    fn gap(&mut self, index: u64, gap: &Gap) {
        let own = GapOf { index, ended: gap.to.is_some(), condition: condition_of(gap.fault) };
        let Some(gaps) = self.gaps.get_mut(&gap.probe) else {
            self.gaps.insert(gap.probe.clone(), vec![own]);
            return;
        };
        if gaps.len() == GAPS_MAX {
            gaps.drain(..GAPS_MAX / 2);
        }
        gaps.push(own);
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
        let mut counted = Vec::new();
        counted.extend(self.doubted(machine, index, cycle));
        if cycle.verdict == Verdict::Pass && cycle.findings.is_empty() {
            self.rows.remove(machine);
            return counted;
        }
        for condition in Condition::ALL {
            let row = in_row(condition, cycle, explained);
            let waiting = self.rows.get_mut(machine).and_then(|rows| rows.remove(&condition));
            let mut racks = waiting.filter(|_| row != Some(InRow::Breaks)).unwrap_or_default();
            let found = measured(condition, cycle, explained);
            let newest = found.and_then(|_| self.newest(machine, condition, index));
            let open = found.zip(newest.filter(|(_, told)| told.is_open()).map(|(alert, _)| alert));
            if found.is_some() {
                racks.push(Rack::of(index, cycle));
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

    /// Where on record each alert of a thermometer can count racks for passing by what a probe was known to show too
    /// much: behind the first record that says so, up to that by which it was over last.
    pub(super) fn doubting(&self) -> impl Iterator<Item = (AlertNumber, (u64, u64))> {
        self.stories.iter().filter_map(|(number, story)| {
            let first = story.doubted.iter().map(|(place, _)| *place).min()?;
            let over = story.moments.iter().rev().find(|moment| moment.open.is_some());
            let last = over.filter(|moment| moment.open == Some(false)).map_or(u64::MAX, |own| own.place);
            (first < last).then_some((*number, (first.saturating_add(1), last)))
        })
    }

    /// The alert that counts a rack for passing by what a probe was known to show too much.
    pub(super) fn doubted(&self, machine: &str, index: u64, cycle: &Cycle) -> Option<Counted> {
        let (alert, told) = self.newest(machine, Condition::ThermometerOff, index)?;
        let doubted = &self.stories.get(&alert)?.doubted;
        let (_, about) = told.about()?;
        let is_in_doubt = about.iter().any(|probe| {
            let since = told.off_since(probe);
            let own = |(place, own): &&(u64, ByProbe)| {
                *place < index && since.is_none_or(|since| *place > since) && own.probe == *probe
            };
            doubted.iter().rev().find(own).is_some_and(|(_, own)| own.doubts(cycle))
        });
        let racks = vec![Rack::of(index, cycle)];
        (told.is_open() && is_in_doubt).then(|| Counted { alert, racks, measured: Measured::default() })
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
        let mut between = gaps.iter().filter(|gap| (after + 1..before).contains(&gap.index));
        between.any(|gap| gap.ended || gap.condition != condition)
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
    /// Keeps what a record says, where it says anything that matters here: an alert that counts racks is told of with
    /// each of them.
    fn note(&mut self, place: u64, open: Option<bool>, about: Option<&Vec<String>>) {
        let about = about.filter(|_| self.of_probes).cloned();
        if open.is_none() && about.is_none() {
            return;
        }
        if self.moments.len() == MOMENTS_MAX {
            self.moments.drain(1..MOMENTS_MAX / 2);
        }
        self.moments.push(Moment { place, open, about });
    }

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

    /// Where it was said last that a probe was well; `None` where it never was.
    fn off_since(self, probe: &str) -> Option<u64> {
        let names = |about: &Vec<String>| about.iter().any(|own| own == probe);
        let well = |moment: &&Moment| {
            moment.open == Some(false) || moment.about.as_ref().is_some_and(|about| !names(about))
        };
        self.moments.iter().rev().find(well).map(|moment| moment.place)
    }

    /// What it was about, and where that was said.
    fn about(self) -> Option<(u64, &'p [String])> {
        self.moments.iter().rev().find_map(|moment| Some((moment.place, moment.about.as_deref()?)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::reading::Fault;

    // Own promise: a probe that comes and goes for years takes bounded room, and its newest gaps count.
    #[test]
    fn gaps_of_one_probe_are_bounded() {
        let mut past = Past::default();
        for index in 0..200_000 {
            let (from, to) = (Timestamp::from_micros(0), Some(Timestamp::from_micros(1)));
            past.gap(
                index,
                &Gap { probe: "dm1/rinse".to_owned(), fault: Fault::Silent, from, to, filled: false },
            );
        }
        assert!(past.gaps["dm1/rinse"].len() <= GAPS_MAX);
        let back = |after, before| past.gap_ended("dm1/rinse", Condition::ProbeSilent, after, before);
        assert_eq!((back(199_998, 200_000), back(199_999, 200_000)), (true, false));
    }

    // Own promise: an alert that is told of with each rack keeps only what opened and ended it; one of probes keeps
    // how it was raised, and the newest.
    #[test]
    fn what_is_kept_of_an_alert_is_bounded() {
        let about = |number: u64| vec!["dm1/rinse".to_owned(), format!("dm1/{number}")];
        let story = |of_probes| {
            let since = Timestamp::from_micros(0);
            let mut story = Story { since, of_probes, moments: Vec::new(), doubted: Vec::new() };
            story.note(0, Some(true), Some(&about(0)));
            (1..200_000).for_each(|place| story.note(place, None, Some(&about(place))));
            story
        };
        assert_eq!(story(false).moments.len(), 1);
        let of_probes = story(true);
        assert!(of_probes.moments.len() <= MOMENTS_MAX);
        let told =
            |place| of_probes.told(place).and_then(Told::about).map(|(place, about)| (place, about.to_vec()));
        assert_eq!(told(199_999), Some((199_999, about(199_999))));
        assert_eq!(told(10), Some((0, about(0))));
        assert!(of_probes.told(10).is_some_and(Told::is_open));
    }
}
