//! What really happened: water, not probe values.
//!
//! A truth file holds one JSON object a line, in the order in which things ended. `kind` is
//! `cycle`, or one of the things that are **not** cycles: `fill`, `hose`, `drain`,
//! `aborted-wash` (the door was opened before any rinse), `check` (a strip was read).
//! Times are RFC 3339 UTC by the **node's** clock, since that is what a gateway can know;
//! `clock_error_s` is that clock less the true time.

use serde::{Deserialize, Serialize};

use crate::catalog::{MachineFacts, RinseFrom, Sanitizing};
use crate::fault::Fault;
use crate::machine::{Happening, Machine};
use crate::node::Node;
use crate::time::{STEP_S, micros, rfc3339};

/// One line of a truth file.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum TruthEntry {
    /// A cycle: at least part of a final rinse.
    Cycle(Box<CycleTruth>),
    /// The tank was filled through the rinse line.
    Fill(Span),
    /// A burst of hose water during cleaning.
    Hose(Span),
    /// The tank was drained.
    Drain(Span),
    /// The door was opened during the wash.
    AbortedWash(Span),
    /// A test strip was read.
    Check(CheckTruth),
}

/// A span of something that is not a cycle.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Span {
    /// Machine.
    pub machine: String,
    /// Start.
    pub started: String,
    /// End.
    pub ended: String,
}

/// A reading of a test strip.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct CheckTruth {
    /// Machine.
    pub machine: String,
    /// When.
    pub at: String,
    /// Reading, mg/L.
    pub mg_per_l: f64,
    /// pH, where it is measured.
    pub ph: Option<f64>,
}

/// What a verdict should be, given the truth.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Expected {
    /// The settled minimum is below the limit.
    Cold,
    /// The limit was held too short.
    Brief,
    /// The concentration is out of range.
    Weak,
    /// All is well.
    Pass,
}

/// One cycle as it was.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct CycleTruth {
    /// Machine.
    pub machine: String,
    /// Start of the wash; on a conveyor the moment the first rack entered it.
    pub started: String,
    /// Start of the final rinse.
    pub rinse_started: String,
    /// End of the final rinse.
    pub rinse_ended: String,
    /// Racks that went through in one final rinse.
    pub racks: u32,
    /// The door was opened during the final rinse.
    pub aborted: bool,
    /// Minimum of the water at the probe from `rinse_started` plus the settling time until
    /// `rinse_ended`, °C. Settling time: max(3 s, 3 tau of the probe), never more than half of the
    /// data plate's rinse time. `None` when the rinse ended before that.
    pub rinse_min_c: Option<f64>,
    /// The same from the moment the line was purged (three changes of its water), °C.
    pub rinse_purged_min_c: Option<f64>,
    /// Highest temperature of the water at the probe during the rinse, °C.
    pub rinse_max_c: f64,
    /// Largest change of the water at the probe from the start of the rinse on, K: how visible it was.
    pub swing_c: f64,
    /// Minimum of the wash water, °C.
    pub wash_min_c: f64,
    /// Time of the rinse at or above the limit, s.
    pub dwell_s: f64,
    /// Limit, °C.
    pub limit_c: f64,
    /// `rinse_min_c` less the limit, K.
    pub margin_c: Option<f64>,
    /// What the verdict should be.
    pub expected: Expected,
    /// The strip reading on file, mg/L.
    pub sanitizer_mg_per_l: Option<f64>,
    /// Whether the delivered readings show this rinse.
    pub observable: bool,
    /// Why not.
    pub hidden_by: Vec<String>,
    /// Faults that held at some time between start and end.
    pub faults: Vec<String>,
    /// Time constant of the rinse probe, s.
    pub rinse_tau_s: f64,
    /// Node's clock less the true time, s.
    pub clock_error_s: f64,
}

/// A rinse that changes the water at the probe by less than this is faint: no trace can show it, K.
const FAINT_C: f64 = 0.5;
/// A gap in the rinse longer than this part of it hides it.
const GAP_HIDES: f64 = 0.4;
/// An aborted rinse shorter than this is too short to be told from a disturbance, s.
const SHORTEST_S: f64 = 3.0;

#[derive(Clone, Debug)]
struct Rinse {
    from_s: f64,
    first_c: f64,
    settled_s: f64,
    min_c: f64,
    purged_min_c: f64,
    max_c: f64,
    swing_c: f64,
    dwell_s: f64,
    gap_s: f64,
}

/// Watches one machine and writes its truth.
#[derive(Clone, Debug)]
pub struct Recorder {
    start_micros: i64,
    wash_from_s: f64,
    wash_min_c: f64,
    other_from_s: f64,
    rinse: Option<Rinse>,
    check_mg_per_l: Option<f64>,
    error_s: f64,
    stepped_s: f64,
}

impl Recorder {
    /// A recorder of a run that starts at `start_micros`.
    #[must_use]
    pub fn new(start_micros: i64) -> Self {
        Self {
            start_micros,
            wash_from_s: 0.0,
            wash_min_c: f64::INFINITY,
            other_from_s: 0.0,
            rinse: None,
            check_mg_per_l: None,
            error_s: 0.0,
            stepped_s: f64::NEG_INFINITY,
        }
    }

    fn instant(&self, at_s: f64) -> String {
        rfc3339(self.start_micros + micros(at_s + self.error_s))
    }

    /// Watches the step that ended at `now_s`; returns what was completed by it.
    pub fn step(
        &mut self,
        now_s: f64,
        machine: &Machine,
        node: &Node,
        happening: Option<Happening>,
    ) -> Option<TruthEntry> {
        let error_s = Node::clock_error_s(machine.faults(), now_s);
        let span_s = now_s - STEP_S;
        let entry = happening.and_then(|happening| self.happened(span_s, machine, node, happening));
        if (error_s - self.error_s).abs() > 1e-9 {
            (self.error_s, self.stepped_s) = (error_s, now_s);
        }
        let tank_c = machine.plant().tank().water_c();
        match (&mut self.rinse, machine.stage()) {
            (Some(rinse), _) => rinse.watch(now_s, machine, node),
            (None, crate::machine::Stage::Wash { .. }) => self.wash_min_c = self.wash_min_c.min(tank_c),
            (None, _) => {}
        }
        entry
    }

    /// Handles what began or ended at `at_s`, the start of the step just taken.
    fn happened(
        &mut self,
        at_s: f64,
        machine: &Machine,
        node: &Node,
        happening: Happening,
    ) -> Option<TruthEntry> {
        match happening {
            Happening::WashStarted => {
                (self.wash_from_s, self.wash_min_c) = (at_s, f64::INFINITY);
                None
            }
            Happening::RinseStarted => {
                self.rinse = Some(Rinse::start(at_s, machine, node));
                None
            }
            Happening::RinseEnded { aborted, racks } => {
                let rinse = self.rinse.take()?;
                Some(TruthEntry::Cycle(Box::new(self.cycle(at_s, &rinse, machine, node, aborted, racks))))
            }
            Happening::FillStarted | Happening::DrainStarted | Happening::HoseStarted => {
                self.other_from_s = at_s;
                None
            }
            Happening::FillEnded => Some(TruthEntry::Fill(self.span(self.other_from_s, at_s, machine))),
            Happening::DrainEnded => Some(TruthEntry::Drain(self.span(self.other_from_s, at_s, machine))),
            Happening::HoseEnded => Some(TruthEntry::Hose(self.span(self.other_from_s, at_s, machine))),
            Happening::WashAborted => {
                Some(TruthEntry::AbortedWash(self.span(self.wash_from_s, at_s, machine)))
            }
            Happening::Checked { mg_per_l, ph } => {
                self.check_mg_per_l = Some(mg_per_l);
                let machine = machine.facts().name.clone();
                Some(TruthEntry::Check(CheckTruth { machine, at: self.instant(at_s), mg_per_l, ph }))
            }
        }
    }

    fn span(&self, from_s: f64, until_s: f64, machine: &Machine) -> Span {
        let machine = machine.facts().name.clone();
        Span { machine, started: self.instant(from_s), ended: self.instant(until_s) }
    }

    fn cycle(
        &self,
        ended_s: f64,
        rinse: &Rinse,
        machine: &Machine,
        node: &Node,
        aborted: bool,
        racks: u32,
    ) -> CycleTruth {
        let facts = machine.facts();
        let length_s = ended_s - rinse.from_s;
        let rinse_min_c = finite(rinse.min_c);
        let stepped = self.stepped_s >= self.wash_from_s;
        let hidden_by = hidden_by(rinse, facts, length_s, stepped);
        let overlaps = |fault: &&Fault| fault.from_s < ended_s && fault.until_s > self.wash_from_s;
        CycleTruth {
            machine: facts.name.clone(),
            started: self.instant(self.wash_from_s),
            rinse_started: self.instant(rinse.from_s),
            rinse_ended: self.instant(ended_s),
            racks,
            aborted,
            rinse_min_c,
            rinse_purged_min_c: finite(rinse.purged_min_c),
            rinse_max_c: rinse.max_c,
            swing_c: rinse.swing_c,
            wash_min_c: self.wash_min_c,
            dwell_s: rinse.dwell_s,
            limit_c: facts.rinse_min_c,
            margin_c: rinse_min_c.map(|min_c| min_c - facts.rinse_min_c),
            expected: expected(facts, rinse_min_c, rinse.dwell_s, self.check_mg_per_l),
            sanitizer_mg_per_l: self.check_mg_per_l,
            observable: hidden_by.is_empty(),
            hidden_by,
            faults: machine
                .faults()
                .iter()
                .filter(overlaps)
                .map(|fault| fault.kind.as_str().to_owned())
                .collect(),
            rinse_tau_s: node.rinse_tau_s(machine.faults(), ended_s),
            clock_error_s: self.error_s,
        }
    }
}

impl Rinse {
    fn start(at_s: f64, machine: &Machine, node: &Node) -> Self {
        let facts = machine.facts();
        let tau_s = node.rinse_tau_s(machine.faults(), at_s);
        Self {
            from_s: at_s,
            first_c: machine.rinse_water_c(),
            settled_s: (3.0 * tau_s).max(3.0).min(facts.rinse_s / 2.0),
            min_c: f64::INFINITY,
            purged_min_c: f64::INFINITY,
            max_c: f64::NEG_INFINITY,
            swing_c: 0.0,
            dwell_s: 0.0,
            gap_s: 0.0,
        }
    }

    fn watch(&mut self, now_s: f64, machine: &Machine, node: &Node) {
        let water_c = machine.rinse_water_c();
        let since_s = now_s - self.from_s;
        let purge_s = match machine.facts().rinse_from {
            RinseFrom::FreshLine => machine.plant().purge_s(),
            RinseFrom::Sump => 0.0,
        };
        if since_s >= self.settled_s {
            self.min_c = self.min_c.min(water_c);
        }
        if since_s >= purge_s {
            self.purged_min_c = self.purged_min_c.min(water_c);
        }
        self.max_c = self.max_c.max(water_c);
        self.swing_c = self.swing_c.max((water_c - self.first_c).abs());
        if water_c >= machine.facts().rinse_min_c {
            self.dwell_s += STEP_S;
        }
        self.gap_s = self.gap_s.max(now_s - node.rinse_heard_s().max(self.from_s));
    }
}

fn finite(value: f64) -> Option<f64> {
    value.is_finite().then_some(value)
}

fn hidden_by(rinse: &Rinse, facts: &MachineFacts, length_s: f64, stepped: bool) -> Vec<String> {
    let mut reasons = Vec::new();
    if rinse.gap_s > GAP_HIDES * length_s.min(facts.rinse_s) {
        reasons.push("no-readings".to_owned());
    }
    if length_s < SHORTEST_S {
        reasons.push("too-short".to_owned());
    }
    if stepped {
        reasons.push("clock-step".to_owned());
    }
    // A sump shows its refill, whatever the rinse does.
    if facts.rinse_from == RinseFrom::FreshLine && rinse.swing_c < FAINT_C {
        reasons.push("faint".to_owned());
    }
    if facts.has_run_signal {
        reasons.retain(|reason| reason == "clock-step");
    }
    reasons
}

fn expected(facts: &MachineFacts, min_c: Option<f64>, dwell_s: f64, check_mg_per_l: Option<f64>) -> Expected {
    let weak = match (facts.sanitizing, &facts.sanitizer, check_mg_per_l) {
        (Sanitizing::HotWater, _, _) | (_, None, _) | (_, _, None) => false,
        (_, Some(sanitizer), Some(mg_per_l)) => {
            !(sanitizer.min_mg_per_l..=sanitizer.max_mg_per_l).contains(&mg_per_l)
        }
    };
    if min_c.is_some_and(|min_c| min_c < facts.rinse_min_c) {
        Expected::Cold
    } else if dwell_s < facts.dwell_min_s {
        Expected::Brief
    } else if weak {
        Expected::Weak
    } else {
        Expected::Pass
    }
}
