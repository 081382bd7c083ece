//! What the desk keeps: the form that is stored, with its version.
//!
//! JSON with `v`; a state of another version is refused, never guessed at.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::condition::Condition;
use super::contact::Route;
use super::earlier::{ByProbe, FoundRight, Margins, Standing};
use super::open::{Alert, AlertNumber, Amended, Rack, Racks};
use crate::core::drift::Drift;
use crate::core::record::{CheckKind, Worked};
use crate::core::time::Timestamp;

/// Version of the stored form.
pub(super) const VERSION: u32 = 1;

/// Most people and works that the end of work on a machine names (own choice: a shift at one machine).
const WORKED_MAX: usize = 8;

/// Key of the site in [`State::open`]; no machine has an empty name.
pub(super) const SITE: &str = "";

/// Everything that is remembered.
#[derive(Clone, PartialEq, Debug, Default, Serialize, Deserialize)]
pub(super) struct State {
    /// Version of this form.
    pub(super) v: u32,
    /// First instant it was driven at: nothing that was due before is missed.
    pub(super) born: Option<Timestamp>,
    /// Index of the first record that was not handled.
    pub(super) next_record: u64,
    /// Number of the latest alert.
    pub(super) last_number: u64,
    /// How many tests were sent.
    pub(super) tests: u64,
    /// Open alerts by machine ([`SITE`] for the site) and condition.
    pub(super) open: BTreeMap<String, BTreeMap<Condition, Open>>,
    /// What is remembered of each machine.
    pub(super) machines: BTreeMap<String, Memory>,
    /// Since when the clock is not synchronised.
    pub(super) clock_bad_since: Option<Timestamp>,
    /// Routes by which a message was given up, with the instant.
    pub(super) failing: Vec<(Route, Timestamp)>,
    /// Maintenance windows; none has ended.
    pub(super) windows: Vec<Window>,
    /// When somebody said last by hand that the work on a machine is over: a dialog that began before marks it no more.
    #[serde(skip_serializing_if = "BTreeMap::is_empty", default)]
    pub(super) called_off: BTreeMap<String, Timestamp>,
    /// The latest due time of each kind of check whose grace is over.
    pub(super) dues: BTreeMap<CheckKind, Due>,
    /// The latest looks at the supplies by machine ([`SITE`] for the site), in the order of their records.
    #[serde(default)]
    pub(super) looks: BTreeMap<String, Vec<Look>>,
    /// When the timetable must be looked at again.
    pub(super) timetable_at: Option<Timestamp>,
}

/// An open alert and where its telling stands.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub(super) struct Open {
    /// The alert.
    pub(super) alert: Alert,
    /// Good cycles in a row.
    pub(super) recovering: u32,
    /// Who has been told what.
    pub(super) telling: Telling,
}

/// Where the telling of one alert stands.
#[derive(Clone, PartialEq, Debug, Default, Serialize, Deserialize)]
pub(super) struct Telling {
    /// How many messages went out; the running number in their keys.
    pub(super) messages: u64,
    /// Contacts that were told.
    pub(super) told: Vec<String>,
    /// The latest step that was told in this round; 0 before the first.
    pub(super) step: u8,
    /// How often the steps have been gone through.
    pub(super) round: u8,
    /// Whether a last resort was told in this round.
    pub(super) last_resort: bool,
    /// When to go on if nobody acknowledges.
    pub(super) next_step: Option<Timestamp>,
    /// When the latest message went out.
    pub(super) last_told: Option<Timestamp>,
    /// Affected racks that it told of.
    pub(super) told_racks: u64,
    /// When a recovery was told last.
    pub(super) cleared_told: Option<Timestamp>,
    /// Whether a recovery is to be told once it has lasted.
    pub(super) cleared_pending: bool,
    /// When a return was told last.
    pub(super) returned_told: Option<Timestamp>,
    /// Whether a recovery has lasted.
    pub(super) settled: bool,
    /// When to ask for the corrective action.
    pub(super) reminder: Option<Timestamp>,
    /// How often that was asked.
    pub(super) reminders: u8,
    /// Whether a maintenance window holds messages of it.
    pub(super) held: bool,
    /// Whether it is on record that nobody could be told.
    pub(super) nobody: bool,
}

impl Telling {
    /// Begins the steps anew; what was told before stays known.
    pub(super) fn start_over(&mut self) {
        self.step = 0;
        self.round = 0;
        self.last_resort = false;
        self.nobody = false;
        self.next_step = None;
    }
}

/// What is remembered of a machine.
#[derive(Clone, PartialEq, Debug, Default, Serialize, Deserialize)]
pub(super) struct Memory {
    /// End of the latest rinse.
    pub(super) last_rinse: Option<Timestamp>,
    /// End of the first rinse since the machine was drained and cleaned.
    pub(super) dirty_since: Option<Timestamp>,
    /// The latest cycle that passed.
    pub(super) last_good: Option<Rack>,
    /// Cycles since the machine was idle, this one included.
    pub(super) since_idle: u32,
    /// Bad cycles in a row, by condition.
    pub(super) in_a_row: BTreeMap<Condition, u32>,
    /// Narrow passes in a row.
    pub(super) narrow: Racks,
    /// Unproven cycles in a row that no probe explains.
    pub(super) unproven: Racks,
    /// The charts of its settled minima.
    pub(super) drift: Drift,
    /// When each check was made last.
    pub(super) checked: BTreeMap<CheckKind, Timestamp>,
    /// Checks that are missing, each with the instant from which one would count.
    pub(super) missing: BTreeMap<CheckKind, Timestamp>,
    /// When each of them was due first, and has been missing since.
    #[serde(default)]
    pub(super) overdue: BTreeMap<CheckKind, Timestamp>,
    /// The latest checks, the newest record last: what is left where one is withdrawn.
    #[serde(default)]
    pub(super) entered: Vec<EnteredCheck>,
    /// The latest comparisons of thermometers, in the order of their records.
    #[serde(default)]
    pub(super) compared: Vec<Compared>,
    /// The latest tests of the sanitizer, likewise.
    #[serde(default)]
    pub(super) tested: Vec<Tested>,
    /// Racks since the sanitizer was found right last.
    #[serde(flatten)]
    pub(super) standing: Standing,
    /// Those of them without a good verdict that the open alert of a weak sanitizer counts.
    #[serde(default)]
    pub(super) beside_counted: Racks,
    /// Those before, which the latest test found right, to be in doubt again where it is withdrawn.
    #[serde(default)]
    pub(super) found_right: Option<FoundRight>,
    /// Records of the tests by which the open alert of a weak sanitizer stands.
    #[serde(default)]
    pub(super) weak_by: StandsBy,
    /// Those that it stood by until they were withdrawn or corrected, with their records and what was said of each last.
    #[serde(skip_serializing_if = "Vec::is_empty", default, alias = "weak_withdrawn")]
    pub(super) weak_amended: Vec<(u64, Amended)>,
    /// The same of thermometers that are off.
    #[serde(default)]
    pub(super) off_by: StandsBy,
    /// Racks that passed since its probes were found right last.
    #[serde(default)]
    pub(super) margins: Margins,
    /// Which racks each probe that shows too much puts in doubt, while it does.
    #[serde(default)]
    pub(super) too_much: BTreeMap<String, ByProbe>,
    /// Start of the latest opening whose tank was asked for.
    pub(super) opened: Option<Timestamp>,
    /// The tank that is asked for.
    pub(super) tank: Option<TankWait>,
}

/// A check on record, as far as an amendment of it matters.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub(super) struct EnteredCheck {
    /// Index of its record.
    pub(super) index: u64,
    /// Its kind.
    pub(super) kind: CheckKind,
    /// When it was made.
    pub(super) at: Timestamp,
    /// Whether it was withdrawn; a later amendment may still correct it.
    #[serde(default)]
    pub(super) withdrawn: bool,
    /// What [`Memory::dirty_since`] was before it.
    pub(super) dirty_before: Option<Timestamp>,
}

/// A thermometer that was compared with another one, or calibrated.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub(super) struct Compared {
    /// Index of its record.
    pub(super) index: u64,
    /// Which thermometer.
    pub(super) what: String,
    /// When.
    pub(super) at: Timestamp,
    /// Whether it agreed within its tolerance.
    pub(super) good: bool,
    /// How much more than the reference it showed, K.
    #[serde(default)]
    pub(super) too_much_k: f64,
    /// Whether it counts no more; a later amendment may still correct it.
    pub(super) withdrawn: bool,
}

/// A test of the sanitizer.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize)]
pub(super) struct Tested {
    /// Index of its record.
    pub(super) index: u64,
    /// When.
    pub(super) at: Timestamp,
    /// What it showed, mg/L.
    pub(super) mg_per_l: f64,
    /// The limit beyond which it lies, mg/L; absent where it does not, or where it is the pH that lies outside.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub(super) limit_mg_per_l: Option<f64>,
    /// The pH that it showed; earlier versions kept none.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub(super) ph: Option<f64>,
    /// The highest pH that is permitted, where it is the pH that lies outside.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub(super) ph_max: Option<f64>,
    /// Whether it can sanitize.
    pub(super) good: bool,
    /// Whether it counts no more; a later amendment may still correct it.
    pub(super) withdrawn: bool,
    /// What it showed as it was entered first, mg/L, once it was amended.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub(super) first_mg_per_l: Option<f64>,
    /// The pH that it showed then, where that lay outside.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub(super) first_ph: Option<f64>,
}

/// A look at the supplies.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub(super) struct Look {
    /// Index of its record.
    pub(super) index: u64,
    /// When it was made.
    pub(super) at: Timestamp,
    /// Who found something short, and what they wrote of it; `None` where everything was there.
    pub(super) short: Option<String>,
    /// Whether it counts no more; a later amendment may still correct it.
    pub(super) withdrawn: bool,
}

/// Waiting for a tank to be up to temperature.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub(super) struct TankWait {
    /// Opening.
    pub(super) from: Timestamp,
    /// End of the opening hours.
    pub(super) to: Timestamp,
    /// When to ask again.
    pub(super) ask: Timestamp,
}

/// Somebody works on a machine.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub(super) struct Window {
    /// Which machine; `None` for the site.
    pub(super) machine: Option<String>,
    /// Until when.
    pub(super) until: Timestamp,
    /// Whether a dialog at a probe keeps it open, and nobody asked for its end by hand.
    #[serde(default)]
    pub(super) by_dialog: bool,
    /// Until when somebody asked for it by hand, where a dialog keeps it open for longer.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub(super) by_hand: Option<Timestamp>,
    /// When it began; absent where an earlier version kept it.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub(super) begun: Option<Timestamp>,
    /// Who works there, and at what.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub(super) worked: Vec<Worked>,
}

impl Window {
    /// One that begins now, by nobody yet.
    pub(super) const fn new(machine: Option<String>, until: Timestamp, now: Timestamp) -> Self {
        Self { machine, until, by_dialog: false, by_hand: None, begun: Some(now), worked: Vec::new() }
    }

    /// Notes that somebody works there, each with each work once; of more than [`WORKED_MAX`] the first are kept.
    pub(super) fn note(&mut self, by: &str, why: Option<&str>) {
        let worked = Worked { by: by.to_owned(), why: why.map(str::to_owned) };
        if self.worked.len() < WORKED_MAX && !self.worked.contains(&worked) {
            self.worked.push(worked);
        }
    }
}

/// Most entries that an alert stands by (own choice: more than anybody enters while one is open).
pub(super) const STANDS_BY_MAX: usize = 64;

/// The entries that an alert stands by, by their records: where an amendment takes away the last one, it never was.
#[derive(Clone, PartialEq, Eq, Debug, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct StandsBy(Vec<u64>);

impl StandsBy {
    pub(super) fn has(&self, index: u64) -> bool {
        self.0.contains(&index)
    }

    pub(super) fn add(&mut self, index: u64) {
        if !self.has(index) && self.0.len() < STANDS_BY_MAX {
            self.0.push(index);
        }
    }

    /// Takes one out; whether it was the last.
    pub(super) fn lost_last(&mut self, index: u64) -> bool {
        let had = self.has(index);
        self.0.retain(|known| *known != index);
        had && self.0.is_empty()
    }

    pub(super) fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    pub(super) fn clear(&mut self) {
        self.0.clear();
    }
}

/// A check that is due at every machine that is used.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub(super) struct Due {
    /// When it was due.
    pub(super) at: Timestamp,
    /// A check made from here on counts.
    pub(super) counts_from: Timestamp,
}

impl State {
    pub(super) fn open(&self, machine: &str, condition: Condition) -> Option<&Open> {
        self.open.get(machine)?.get(&condition)
    }

    pub(super) fn open_mut(&mut self, machine: &str, condition: Condition) -> Option<&mut Open> {
        self.open.get_mut(machine)?.get_mut(&condition)
    }

    /// Every open alert.
    pub(super) fn all(&self) -> impl Iterator<Item = &Open> {
        self.open.values().flat_map(BTreeMap::values)
    }

    /// The subjects of all open alerts for which `wanted` holds, in order of their numbers.
    pub(super) fn subjects(&self, wanted: impl Fn(&Open) -> bool) -> Vec<(String, Condition)> {
        let mut found: Vec<(AlertNumber, String, Condition)> = Vec::new();
        for (machine, conditions) in &self.open {
            for (condition, open) in conditions.iter().filter(|(_, open)| wanted(open)) {
                found.push((open.alert.number, machine.clone(), *condition));
            }
        }
        found.sort_unstable_by_key(|(number, _, _)| *number);
        found.into_iter().map(|(_, machine, condition)| (machine, condition)).collect()
    }

    /// The subject of the alert with this number.
    pub(super) fn subject_of(&self, number: AlertNumber) -> Option<(String, Condition)> {
        let open = self.all().find(|open| open.alert.number == number)?;
        Some((open.alert.machine.clone().unwrap_or_default(), open.alert.condition))
    }

    /// Takes a closed alert out.
    pub(super) fn remove(&mut self, machine: &str, condition: Condition) {
        if let Some(conditions) = self.open.get_mut(machine) {
            conditions.remove(&condition);
            if conditions.is_empty() {
                self.open.remove(machine);
            }
        }
    }

    pub(super) fn memory(&mut self, machine: &str) -> &mut Memory {
        self.machines.entry(machine.to_owned()).or_default()
    }

    /// Whether messages about this machine are held.
    pub(super) fn holds(&self, machine: &str) -> bool {
        self.windows.iter().any(|window| window.machine.as_deref().is_none_or(|name| name == machine))
    }
}
