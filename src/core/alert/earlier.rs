//! Racks that passed, and are in doubt since what they passed by was found wrong after them.
//!
//! A rack passes by what its probe shows, on a chemical machine by the concentration on file too. Where a later check
//! finds the sanitizer outside its range, or a comparison finds that the probe shows too much, nobody knows since
//! when: every rack since it was found right last is in doubt (ISO 9001:2015, 7.1.5.2, asks whether earlier results
//! are affected; from memory). Of a probe that shows 2 K too much those are whose minimum lay less than 2 K above its
//! limit: the others were hot enough all the same, unless it was off by more before it was compared. A probe that
//! shows too little puts none in doubt.
//!
//! What is remembered of the racks that stand by a probe is their number by steps of [`STEP_K`], and the first and the
//! last of each step, however long it is not compared.

use std::collections::BTreeMap;

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

/// Racks of one step.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
struct Step {
    count: u64,
    first: Rack,
    last: Rack,
}

/// Racks that passed by a probe since it was found right last, by how far above the limit.
#[derive(Clone, PartialEq, Eq, Debug, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct Margins(BTreeMap<u16, Step>);

impl Margins {
    fn push(&mut self, margin_k: f64, rack: Rack) {
        // Not negative, and cut off at the last step.
        let step = (margin_k / STEP_K).floor().min(f64::from(LAST_STEP)) as u16;
        let known = self.0.entry(step).or_insert(Step { count: 0, first: rack, last: rack });
        (known.count, known.last) = (known.count + 1, rack);
    }

    /// Those from one margin up to another; `None` is no bound. Named are some of them.
    fn between(&self, from_k: Option<f64>, within_k: Option<f64>) -> Racks {
        let inside = |step: u16| {
            let margin = f64::from(step) * STEP_K;
            from_k.is_none_or(|from| margin >= from) && within_k.is_none_or(|within| margin < within)
        };
        let steps = || self.0.iter().filter(|(step, _)| inside(**step)).map(|(_, step)| step);
        let mut named: Vec<Rack> = steps().flat_map(|step| [step.first, step.last]).collect();
        named.sort_unstable_by_key(|rack| rack.index);
        named.dedup();
        let mut racks = Racks::default();
        named.into_iter().for_each(|rack| racks.push(rack));
        Racks { count: steps().map(|step| step.count).sum(), ..racks }
    }

    /// It was found right then: what passed before stands. Of a step that reaches over that moment all are kept.
    fn right_at(&mut self, at: Timestamp) {
        self.0.retain(|_, step| step.last.at > at);
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
        let mut doubted = None;
        let probes = [(Place::FinalRinse, &own.rinse_probe), (Place::WashTank, &own.wash_probe)];
        for (place, probe) in probes {
            let (Some(probe), Some(margin_k)) = (probe, margin_k(cycle, place)) else { continue };
            memory.by_probe.entry(probe.clone()).or_default().push(margin_k, rack);
            let off = memory.too_much.get(probe).is_some_and(|off| off.doubts(cycle));
            doubted = doubted.or(off.then(|| (place, probe.clone())));
        }
        let Some((place, probe)) = doubted else { return };
        if self.names(machine, Condition::ThermometerOff, &probe) {
            self.report(Report {
                place: Some(place),
                racks: Racks::of(rack),
                about: Some(probe),
                unproven: true,
                ..Report::new(Condition::ThermometerOff, machine, cycle.rinse_ended)
            });
        }
    }

    /// The probe was found right then.
    pub(super) fn probe_right(&mut self, machine: &str, probe: &str, at: Timestamp) {
        if let Some(margins) = self.state.memory(machine).by_probe.get_mut(probe) {
            margins.right_at(at);
        }
    }

    /// The probe was found to show so much too much, K: the racks that passed by it, where they are not told of yet.
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
        let memory = self.state.memory(machine);
        let within_k = within_k(too_much_k);
        let known = memory.too_much.get(probe).map(|known| known.within_k);
        let wider = match known {
            Some(Some(known)) => within_k.is_none_or(|within| within > known),
            Some(None) => false,
            None => true,
        };
        if !wider {
            return None;
        }
        let racks = memory.by_probe.get(probe).map(|own| own.between(known.flatten(), within_k));
        let by_probe = ByProbe { probe: probe.to_owned(), place, within_k };
        memory.too_much.insert(probe.to_owned(), by_probe.clone());
        Some(Earlier { racks: racks.unwrap_or_default(), by_probe: Some(by_probe) })
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
        if condition == Condition::Weak {
            let memory = self.state.memory(machine);
            let mut before = racks;
            before.add(&memory.by_concentration);
            memory.by_concentration = before;
        }
        if settled {
            self.close(machine, condition);
        }
    }
}
