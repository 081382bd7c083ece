//! Racks that passed, and are in doubt since what they passed by was found wrong after them.
//!
//! A rack passes by what its probe shows, on a chemical machine by the concentration on file too. Where a later check
//! finds the sanitizer outside its range, or a comparison finds that the probe shows too much, nobody knows since
//! when: every rack since it was found right last is in doubt (ISO 9001:2015, 7.1.5.2, asks whether earlier results
//! are affected; from memory). Of a probe that shows 2 K too much those are whose minimum lay less than 2 K above its
//! limit: the others were hot enough all the same, unless it was off by more before it was compared. A probe that
//! shows too little puts none in doubt.
//!
//! What is remembered of the racks that stand by the probes is their number by steps of half a kelvin at either place, and
//! the first and the last of each, however long they are not compared.

use serde::{Deserialize, Serialize};

use super::condition::Condition;
use super::open::{RACKS_NAMED_MAX, Rack, Racks};
use super::raise::{Report, Told, Turn};
use super::state::Memory;
use crate::core::channel::Place;
use crate::core::record::{Change, Clearing, Cycle};
use crate::core::time::Timestamp;

/// Steps by which racks are counted, K (own choice: half the smallest tolerance of a thermometer; a power of two, so
/// that no margin is rounded into another step).
const STEP_K: f64 = 0.5;
/// Margins from here on are one step: a thermometer that is off by more puts every rack in doubt (own choice).
const LAST_STEP: u16 = 10;
/// What a difference of two values printed in tenths may be off by in binary, K.
const ROUNDING_K: f64 = 1e-9;

/// Racks that passed before what they passed by was found wrong.
#[derive(Clone, PartialEq, Debug, Default, Serialize, Deserialize)]
pub struct Earlier {
    /// The racks.
    pub racks: Racks,
    /// By which probe they passed; absent where it was the concentration on file.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub by_probe: Option<ByProbe>,
    /// Racks of the same time without a good verdict of their own, that are held with them.
    #[serde(skip_serializing_if = "is_none", default)]
    pub beside: Racks,
}

/// For `serde`: whether there are none.
const fn is_none(racks: &Racks) -> bool {
    racks.count == 0
}

/// The racks of a probe that shows too much.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct ByProbe {
    /// Its channel.
    pub probe: String,
    /// Where it sits.
    pub place: Place,
    /// Those whose minimum lay less than this above its limit, K; absent where all are in doubt.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub within_k: Option<f64>,
}

impl Earlier {
    /// Whether it says anything: a probe without such a rack puts those after it in doubt.
    #[must_use]
    pub const fn matters(&self) -> bool {
        self.racks.count > 0 || self.beside.count > 0 || self.by_probe.is_some()
    }

    /// Whether a rack that passed is one of them.
    #[must_use]
    pub fn holds(&self, index: u64, cycle: &Cycle) -> bool {
        let (Some(first), Some(last)) = (self.racks.first(), self.racks.last()) else { return false };
        let by_it = self.by_probe.as_ref().is_none_or(|own| own.doubts(cycle));
        has_passed(cycle) && by_it && (first.index..=last.index).contains(&index)
    }
}

impl ByProbe {
    /// Whether a rack passes by no more than what this probe shows too much.
    #[must_use]
    pub fn doubts(&self, cycle: &Cycle) -> bool {
        margin_k(cycle, self.place).is_some_and(|margin| self.within_k.is_none_or(|within| margin < within))
    }
}

fn has_passed(cycle: &Cycle) -> bool {
    cycle.verdict.is_good() && !cycle.is_worked_on()
}

/// How far above its limit a rack that passed lay at a place, K.
fn margin_k(cycle: &Cycle, place: Place) -> Option<f64> {
    if !has_passed(cycle) {
        return None;
    }
    let margin = match place {
        Place::FinalRinse => cycle.rinse_min_c? - cycle.limit_c,
        Place::WashTank => cycle.wash_min_c? - cycle.wash_limit_c,
        Place::Ware | Place::Other => return None,
    };
    (margin >= 0.0).then_some(margin)
}

/// The margin below which a probe that shows so much too much puts a rack in doubt, K; `None` where it puts all.
fn within_k(too_much_k: f64) -> Option<f64> {
    let within = ((too_much_k - ROUNDING_K) / STEP_K).ceil() * STEP_K;
    (within <= f64::from(LAST_STEP) * STEP_K).then_some(within)
}

/// What a test of the sanitizer found right.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub(super) struct FoundRight {
    /// Index of its record.
    by: u64,
    /// When it was made.
    at: Timestamp,
    /// The racks between the one before and it.
    #[serde(flatten)]
    standing: Standing,
}

/// Racks that stand by what is on file of the sanitizer.
#[derive(Clone, PartialEq, Eq, Debug, Default, Serialize, Deserialize)]
pub(super) struct Standing {
    /// Those that passed.
    #[serde(rename = "by_concentration", alias = "racks", default)]
    racks: Racks,
    /// Those that had no good verdict of their own, and are held with them.
    #[serde(default)]
    pub(super) beside: Racks,
}

impl Standing {
    /// Takes out those that ended until then.
    fn take_until(&mut self, at: Timestamp) -> Self {
        let after = Self { racks: self.racks.after(at), beside: self.beside.after(at) };
        let all = std::mem::replace(self, after);
        Self { racks: all.racks.until(at), beside: all.beside.until(at) }
    }

    /// Puts others before these.
    fn put_before(&mut self, earlier: Self) {
        let since = std::mem::replace(self, earlier);
        self.racks.add(&since.racks);
        self.beside.add(&since.beside);
    }
}

/// Racks whose margins lie in the same steps.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
struct Step {
    /// Step of the final rinse; absent where its probe was found right since, or none sits there.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    rinse: Option<u16>,
    /// The same of the wash.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    wash: Option<u16>,
    count: u64,
    first: Rack,
    last: Rack,
}

impl Step {
    const fn at(self, place: Place) -> Option<u16> {
        match place {
            Place::FinalRinse => self.rinse,
            Place::WashTank => self.wash,
            Place::Ware | Place::Other => None,
        }
    }

    /// The same racks, in no doubt by the probe at this place.
    const fn without(self, place: Place) -> Self {
        match place {
            Place::FinalRinse => Self { rinse: None, ..self },
            Place::WashTank => Self { wash: None, ..self },
            Place::Ware | Place::Other => self,
        }
    }

    fn is_within(self, place: Place, within_k: Option<f64>) -> bool {
        self.at(place).is_some_and(|step| within_k.is_none_or(|within| f64::from(step) * STEP_K < within))
    }
}

/// Racks that passed by the probes of a machine since those were found right last, by how far above the limits.
#[derive(Clone, PartialEq, Eq, Debug, Default, Serialize, Deserialize)]
pub(super) struct Margins {
    /// Those that no alert counts.
    waiting: Vec<Step>,
    /// Those that the open alert counts.
    counted: Vec<Step>,
    /// Of each place those that the latest comparison found right, with the index of its record.
    #[serde(default)]
    right: Vec<(Place, u64, Vec<Step>)>,
}

impl Margins {
    /// Takes what is known of some racks into those of the same steps.
    fn merge(all: &mut Vec<Step>, more: Step) {
        match all.iter_mut().find(|known| (known.rinse, known.wash) == (more.rinse, more.wash)) {
            Some(known) => {
                known.count += more.count;
                known.first = if more.first.index < known.first.index { more.first } else { known.first };
                known.last = if more.last.index > known.last.index { more.last } else { known.last };
            }
            None => all.push(more),
        }
    }

    fn push(&mut self, cycle: &Cycle, rack: Rack, is_counted: bool) {
        #[expect(clippy::cast_possible_truncation, reason = "not negative, and cut off at the last step")]
        let step = |margin_k: f64| (margin_k / STEP_K).floor().min(f64::from(LAST_STEP)) as u16;
        let at = |place| margin_k(cycle, place).map(step);
        let (rinse, wash) = (at(Place::FinalRinse), at(Place::WashTank));
        let all = if is_counted { &mut self.counted } else { &mut self.waiting };
        Self::merge(all, Step { rinse, wash, count: 1, first: rack, last: rack });
    }

    /// Counts those within a margin at a place. Named are some of them.
    fn count(&mut self, place: Place, within_k: Option<f64>) -> Racks {
        let (found, waiting): (Vec<Step>, Vec<Step>) =
            self.waiting.iter().partition(|step| step.is_within(place, within_k));
        self.waiting = waiting;
        let mut named: Vec<Rack> = found.iter().flat_map(|step| [step.first, step.last]).collect();
        named.sort_unstable_by_key(|rack| rack.index);
        named.dedup();
        let mut racks = Racks::default();
        named.into_iter().for_each(|rack| racks.push(rack));
        let count = found.iter().map(|step| step.count).sum();
        found.into_iter().for_each(|step| Self::merge(&mut self.counted, step));
        Racks { count, ..racks }
    }

    /// The probe at a place was found right then by this record: by it, what passed before stands. Of racks that reach
    /// over that moment all are kept.
    fn right_at(&mut self, place: Place, at: Timestamp, by: u64) {
        let before: Vec<Step> = self
            .waiting
            .iter()
            .copied()
            .filter(|step| step.last.at <= at && step.at(place).is_some())
            .collect();
        if before.is_empty() && self.right.iter().any(|(own, known, _)| (*own, *known) == (place, by)) {
            return;
        }
        self.right.retain(|(own, ..)| *own != place);
        self.right.push((place, by, before));
        for all in [&mut self.waiting, &mut self.counted] {
            for step in std::mem::take(all) {
                let step = if step.last.at <= at { step.without(place) } else { step };
                if step.rinse.is_some() || step.wash.is_some() {
                    Self::merge(all, step);
                }
            }
        }
    }

    /// What this record found right is in doubt again: it was withdrawn, or found something else.
    fn not_right(&mut self, by: u64) {
        let Some(place) = self.right.iter().position(|(_, known, _)| *known == by) else { return };
        let (place, _, steps) = self.right.remove(place);
        for mut step in steps {
            let rest = step.without(place);
            let same = |known: &&mut Step| (known.rinse, known.wash) == (rest.rinse, rest.wash);
            match self.waiting.iter_mut().find(same).filter(|known| known.count >= rest.count) {
                Some(known) => known.count -= rest.count,
                // By the other probe they stand meanwhile, or are counted.
                None if place == Place::FinalRinse => step.wash = None,
                None => step.rinse = None,
            }
            Self::merge(&mut self.waiting, step);
        }
        self.waiting.retain(|step| step.count > 0);
    }

    /// No alert counts any of them.
    fn release(&mut self) {
        std::mem::take(&mut self.counted).into_iter().for_each(|step| Self::merge(&mut self.waiting, step));
    }
}

impl Racks {
    /// Those that ended after this. Where not all of them are named, all are kept.
    fn after(&self, at: Timestamp) -> Self {
        let named: Vec<Rack> = self.named.iter().copied().filter(|rack| rack.at > at).collect();
        let unnamed = self.count > self.named.len() as u64;
        if unnamed && named.len() >= RACKS_NAMED_MAX / 2 {
            return self.clone();
        }
        Self { count: named.len() as u64, named }
    }

    /// The others.
    fn until(&self, at: Timestamp) -> Self {
        let after = self.after(at).count;
        let named = self.named.iter().copied().filter(|rack| rack.at <= at).collect();
        Self { count: self.count - after, named }
    }
}

/// Whether a rack ended before the latest test that counts, which found the sanitizer wrong.
fn predates(memory: &Memory, at: Timestamp) -> bool {
    memory.latest_test().is_some_and(|latest| !latest.good && at <= latest.at)
}

impl Turn<'_> {
    /// A rack passed: it stands by what was found right last. One that passes by what a probe is known to show too
    /// much is told of.
    pub(super) fn passed(&mut self, machine: &str, cycle: &Cycle, rack: Rack) {
        let Some(own) = self.settings.machines.get(machine) else { return };
        let memory = self.state.machines.entry(machine.to_owned()).or_default();
        let late = own.sanitizer.is_some() && predates(memory, rack.at);
        if own.sanitizer.is_some() && !late {
            memory.standing.racks.push(rack);
        }
        let is_own = |off: &&ByProbe| own.place_of(&off.probe) == Some(off.place);
        let mut off = memory.too_much.values().filter(is_own).filter(|off| off.doubts(cycle));
        let doubted = off.next().map(|off| (off.place, off.probe.clone()));
        memory.margins.push(cycle, rack, doubted.is_some());
        if late {
            let earlier = Some(Earlier { racks: Racks::of(rack), ..Earlier::default() });
            self.report(Report { earlier, ..Report::new(Condition::Weak, machine, rack.at) });
        }
        let Some((place, probe)) = doubted else { return };
        self.report(Report {
            place: Some(place),
            racks: Racks::of(rack),
            about: Some(probe),
            unproven: true,
            ..Report::new(Condition::ThermometerOff, machine, cycle.rinse_ended)
        });
    }

    /// Whether a rack ended before the sanitizer was found wrong, and came on record after that: it shows nothing of
    /// what is right since.
    pub(super) fn predates_weak(&self, machine: &str, at: Timestamp) -> bool {
        self.state.machines.get(machine).is_some_and(|memory| predates(memory, at))
    }

    /// The probe was found right then, by this record.
    pub(super) fn probe_right(&mut self, machine: &str, probe: &str, at: Timestamp, by: u64) {
        let place = self.settings.machines.get(machine).and_then(|own| own.place_of(probe));
        if let Some(place) = place {
            self.state.memory(machine).margins.right_at(place, at, by);
        }
    }

    /// What this comparison found right, if it did, is in doubt again.
    pub(super) fn probe_not_right(&mut self, machine: &str, by: u64) {
        self.state.memory(machine).margins.not_right(by);
    }

    /// The probe was found to show so much too much, K: the racks that passed by it and are not told of yet.
    pub(super) fn probe_shows_too_much(
        &mut self,
        machine: &str,
        probe: &str,
        too_much_k: f64,
    ) -> Option<Earlier> {
        let place = self.settings.machines.get(machine)?.place_of(probe)?;
        let memory = self.state.memory(machine);
        // Zero puts none in doubt.
        let within_k = within_k(too_much_k.max(0.0));
        let known = memory.too_much.get(probe).map(|known| known.within_k);
        if known == Some(within_k) || (known.is_none() && too_much_k <= 0.0) {
            return None;
        }
        let racks = memory.margins.count(place, within_k);
        let by_probe = ByProbe { probe: probe.to_owned(), place, within_k };
        memory.too_much.insert(probe.to_owned(), by_probe.clone());
        let earlier = Earlier { racks, by_probe: Some(by_probe), ..Earlier::default() };
        let is_less = known
            .is_some_and(|known| within_k.is_some_and(|within| known.is_none_or(|known| within < known)));
        if is_less {
            // From here on fewer are in doubt; those that are counted stay so.
            let told = Told { earlier: Some(earlier), ..Told::default() };
            self.changed_by(machine, Condition::ThermometerOff, Change::Eased, told);
            return None;
        }
        Some(earlier)
    }

    /// The sanitizer was found right then, by this record.
    pub(super) fn sanitizer_right(&mut self, machine: &str, at: Timestamp, by: u64) {
        let memory = self.state.memory(machine);
        if memory.found_right.as_ref().is_some_and(|known| known.by == by) {
            return;
        }
        let standing = memory.standing.take_until(at);
        memory.found_right = Some(FoundRight { by, at, standing });
    }

    /// What this test found right, if it did, is in doubt again.
    pub(super) fn sanitizer_not_right(&mut self, machine: &str, by: u64) {
        let memory = self.state.memory(machine);
        if let Some(right) = memory.found_right.take_if(|known| known.by == by) {
            memory.standing.put_before(right.standing);
        }
    }

    /// The sanitizer was found outside its range then: the racks that passed by what was on file. Where a later test,
    /// entered before this one, found it right again, those between.
    pub(super) fn sanitizer_wrong(&mut self, machine: &str, at: Timestamp, is_latest: bool) -> Earlier {
        let memory = self.state.memory(machine);
        let standing = if is_latest {
            Some(&mut memory.standing)
        } else {
            memory.found_right.as_mut().filter(|right| right.at > at).map(|right| &mut right.standing)
        };
        let Standing { racks, beside } = standing.map(std::mem::take).unwrap_or_default();
        memory.beside_counted.add(&beside);
        Earlier { racks, by_probe: None, beside }
    }

    /// What raised an alert was withdrawn or corrected, and nothing like it is left: the racks that it put in doubt
    /// are in none, and nobody need account for them. Where a rack has a bad verdict of its own, or somebody has
    /// written what was done already, the alert ends as any other.
    pub(super) fn dismiss(&mut self, machine: &str, condition: Condition) {
        let Some(open) = self.state.open_mut(machine, condition) else { return };
        let alert = &mut open.alert;
        // Those of a thermometer are in doubt by nothing else.
        let bad = condition != Condition::ThermometerOff && alert.racks.count != alert.earlier + alert.beside;
        if bad || alert.before_return > 0 || alert.action.is_some() {
            self.clear(machine, condition, Clearing::Recovered);
            return;
        }
        let racks = std::mem::take(&mut alert.racks);
        (alert.earlier, alert.beside, alert.needs_action) = (0, 0, false);
        // Where it had recovered, it goes through its end once more, as one without racks.
        alert.cleared = None;
        let settled = open.telling.settled;
        self.clear(machine, condition, Clearing::Withdrawn);
        if condition == Condition::ThermometerOff {
            self.state.memory(machine).margins.release();
        } else {
            let memory = self.state.memory(machine);
            let beside = std::mem::take(&mut memory.beside_counted);
            memory.standing.put_before(Standing { racks: racks.without(&beside), beside });
        }
        if settled {
            self.close(machine, condition);
        }
    }

    /// An alert is closed: what it counted is accounted for, and stands by the other probe as before.
    pub(super) fn accounted_for(&mut self, machine: &str, condition: Condition) {
        let Some(memory) = self.state.machines.get_mut(machine) else { return };
        if condition == Condition::ThermometerOff {
            memory.margins.release();
            memory.off_by.clear();
        } else if condition == Condition::Weak {
            memory.weak_by.clear();
            memory.weak_amended.clear();
            memory.beside_counted = Racks::default();
        }
    }
}
