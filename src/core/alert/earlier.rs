//! Racks that passed, and are in doubt since what they passed by was found wrong after them.
//!
//! A rack passes by what its probe shows, on a chemical machine by the concentration on file too. Where a later check
//! finds the sanitizer outside its range, or a comparison finds that the probe shows too much, nobody knows since
//! when: every rack since it was found right last is in doubt (ISO 9001:2015, 7.1.5.2, asks whether earlier results
//! are affected; from memory). Of a probe that shows 2 K too much those are whose minimum lay less than 2 K above its
//! limit: the others were hot enough all the same, unless it was off by more before it was compared. A probe that
//! shows too little puts none in doubt.
//!
//! What is remembered of the racks that stand by the probes is their number by steps of [`STEP_K`] at either place, and
//! the first and the last of each, however long they are not compared.

use serde::{Deserialize, Serialize};

use super::condition::Condition;
use super::open::{RACKS_NAMED_MAX, Rack, Racks};
use super::raise::{Report, Turn};
use crate::core::channel::Place;
use crate::core::record::{Clearing, Cycle};
use crate::core::time::Timestamp;

/// Steps by which racks are counted, K (own choice: half the smallest tolerance of a thermometer; a power of two, so
/// that no margin is rounded into another step).
const STEP_K: f64 = 0.5;
/// Margins from here on are one step: a thermometer that is off by more puts every rack in doubt (own choice).
const LAST_STEP: u16 = 10;
/// What a difference of two values printed in tenths may be off by in binary, K.
const ROUNDING_K: f64 = 1e-9;

/// Racks that passed before what they passed by was found wrong.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Earlier {
    /// The racks.
    pub racks: Racks,
    /// By which probe they passed; absent where it was the concentration on file.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub by_probe: Option<ByProbe>,
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
        self.racks.count > 0 || self.by_probe.is_some()
    }

    /// Whether a rack that passed is one of them.
    #[must_use]
    pub fn holds(&self, index: u64, cycle: &Cycle) -> bool {
        let (Some(first), Some(last)) = (self.racks.first(), self.racks.last()) else { return false };
        let passed = cycle.verdict.is_good() && !cycle.is_worked_on();
        let by_it = self.by_probe.as_ref().is_none_or(|own| own.doubts(cycle));
        passed && by_it && (first.index..=last.index).contains(&index)
    }
}

impl ByProbe {
    /// Whether a rack passes by no more than what this probe shows too much.
    #[must_use]
    pub fn doubts(&self, cycle: &Cycle) -> bool {
        margin_k(cycle, self.place).is_some_and(|margin| self.within_k.is_none_or(|within| margin < within))
    }
}

/// How far above its limit a rack that passed lay at a place, K.
fn margin_k(cycle: &Cycle, place: Place) -> Option<f64> {
    if !cycle.verdict.is_good() || cycle.is_worked_on() {
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
    const fn at_mut(&mut self, place: Place) -> Option<&mut Option<u16>> {
        match place {
            Place::FinalRinse => Some(&mut self.rinse),
            Place::WashTank => Some(&mut self.wash),
            Place::Ware | Place::Other => None,
        }
    }

    fn is_within(mut self, place: Place, within_k: Option<f64>) -> bool {
        let step = self.at_mut(place).and_then(|step| *step);
        step.is_some_and(|step| within_k.is_none_or(|within| f64::from(step) * STEP_K < within))
    }
}

/// Racks that passed by the probes of a machine since those were found right last, by how far above the limits.
#[derive(Clone, PartialEq, Eq, Debug, Default, Serialize, Deserialize)]
pub(super) struct Margins {
    /// Those that no alert counts.
    waiting: Vec<Step>,
    /// Those that the open alert counts.
    counted: Vec<Step>,
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

    /// The probe at a place was found right then: by it, what passed before stands. Of racks that reach over that
    /// moment all are kept.
    fn right_at(&mut self, place: Place, at: Timestamp) {
        for all in [&mut self.waiting, &mut self.counted] {
            for mut step in std::mem::take(all) {
                if step.last.at <= at
                    && let Some(own) = step.at_mut(place)
                {
                    *own = None;
                }
                if step.rinse.is_some() || step.wash.is_some() {
                    Self::merge(all, step);
                }
            }
        }
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
}

impl Turn<'_> {
    /// A rack passed: it stands by what was found right last. One that passes by what a probe is known to show too
    /// much is told of.
    pub(super) fn passed(&mut self, machine: &str, cycle: &Cycle, rack: Rack) {
        let Some(own) = self.settings.machines.get(machine) else { return };
        let memory = self.state.machines.entry(machine.to_owned()).or_default();
        if own.sanitizer.is_some() {
            memory.by_concentration.push(rack);
        }
        let mut off = memory.too_much.values().filter(|off| off.doubts(cycle));
        let doubted = off.next().map(|off| (off.place, off.probe.clone()));
        memory.margins.push(cycle, rack, doubted.is_some());
        let Some((place, probe)) = doubted else { return };
        self.report(Report {
            place: Some(place),
            racks: Racks::of(rack),
            about: Some(probe),
            unproven: true,
            ..Report::new(Condition::ThermometerOff, machine, cycle.rinse_ended)
        });
    }

    /// The probe was found right then.
    pub(super) fn probe_right(&mut self, machine: &str, probe: &str, at: Timestamp) {
        let place = self.settings.machines.get(machine).and_then(|own| own.place_of(probe));
        if let Some(place) = place {
            self.state.memory(machine).margins.right_at(place, at);
        }
    }

    /// The probe was found to show so much too much, K: the racks that passed by it and are not told of yet.
    pub(super) fn probe_shows_too_much(
        &mut self,
        machine: &str,
        probe: &str,
        too_much_k: f64,
    ) -> Option<Earlier> {
        let place = self.settings.machines.get(machine)?.place_of(probe)?;
        if too_much_k <= 0.0 {
            return None;
        }
        let is_first = self.state.open(machine, Condition::ThermometerOff).is_none();
        let memory = self.state.memory(machine);
        let within_k = within_k(too_much_k);
        let wider = match memory.too_much.get(probe).map(|known| known.within_k) {
            Some(Some(known)) => within_k.is_none_or(|within| within > known),
            Some(None) => false,
            None => true,
        };
        if !wider {
            return None;
        }
        if is_first {
            // Those of an alert that is closed are accounted for, and stand by the other probe as before.
            memory.margins.release();
        }
        let racks = memory.margins.count(place, within_k);
        let by_probe = ByProbe { probe: probe.to_owned(), place, within_k };
        memory.too_much.insert(probe.to_owned(), by_probe.clone());
        Some(Earlier { racks, by_probe: Some(by_probe) })
    }

    /// The sanitizer was found right then.
    pub(super) fn sanitizer_right(&mut self, machine: &str, at: Timestamp) {
        let memory = self.state.memory(machine);
        memory.by_concentration = memory.by_concentration.after(at);
    }

    /// The sanitizer was found outside its range: the racks that passed by what was on file.
    pub(super) fn sanitizer_wrong(&mut self, machine: &str) -> Earlier {
        let racks = std::mem::take(&mut self.state.memory(machine).by_concentration);
        Earlier { racks, by_probe: None }
    }

    /// What raised an alert was withdrawn or corrected, and nothing like it is left: the racks that it put in doubt
    /// are in none, and nobody need account for them. Where a rack has a bad verdict of its own, or somebody has
    /// written what was done already, the alert ends as any other.
    pub(super) fn dismiss(&mut self, machine: &str, condition: Condition) {
        let Some(open) = self.state.open_mut(machine, condition) else { return };
        let alert = &mut open.alert;
        // Those of a thermometer are in doubt by nothing else.
        let bad = condition != Condition::ThermometerOff && alert.racks.count != alert.earlier;
        if bad || alert.before_return > 0 || alert.action.is_some() {
            self.clear(machine, condition, Clearing::Recovered);
            return;
        }
        let racks = std::mem::take(&mut alert.racks);
        (alert.earlier, alert.needs_action) = (0, false);
        let lasted = alert.cleared.is_none();
        if !lasted {
            // It goes through its end once more, as one without racks.
            alert.cleared = None;
        }
        let settled = open.telling.settled;
        self.clear(machine, condition, Clearing::Withdrawn);
        let memory = self.state.memory(machine);
        if condition == Condition::ThermometerOff {
            memory.margins.release();
        } else {
            let mut before = racks;
            before.add(&memory.by_concentration);
            memory.by_concentration = before;
        }
        if settled {
            self.close(machine, condition);
        }
    }
}
