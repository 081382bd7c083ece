//! Two probes that a person holds, and the machine that they belong to: to practise a commissioning.
//!
//! Nothing happens by itself: the tips lie in the air of the room until somebody takes them
//! elsewhere, and the machine, which is full and hot, runs a cycle when it is told to. Time is an argument.
//! Left out: what the wire of a probe takes along in heat, and that a pot or a hand cools down.

pub mod boiling;
mod order;
mod play;

pub use order::{HELP, NoOrder, Order, Spot};
pub use play::{BenchError, Format, play};

use crate::catalog;
use crate::day::Task;
use crate::dice::Dice;
use crate::fault::{Fault, FaultKind, Place};
use crate::machine::Machine;
use crate::node::{Emission, Record, RecordValue};
use crate::plant::{Plant, Supply};
use crate::probe::{Probe, ProbeSpec, Sample};
use crate::time::{STEP_S, micros};

/// Name of the machine.
const MACHINE: &str = "dm1";
/// Readings of each probe in a second.
const READINGS_PER_S: f64 = 4.0;
/// Integration steps from reading to reading: 0.25 s.
const STEPS_PER_READING: u64 = 5;
/// Readings from one repeat of the unchanged contact to the next: a second, so that whoever looks at
/// the port for a few seconds hears it.
const READINGS_PER_CONTACT: u64 = 4;
/// Parts of an integration step in which a tip is followed: the lag is exact to 0.2 % of a step then.
const PARTS: u32 = 10;
/// Temperature of the skin of a hand, °C (common practice, no source: 32 to 35).
const HAND_C: f64 = 34.0;
/// How much slower a tip is between dry fingers than in moving water (own choice).
const HAND_SLOWNESS: f64 = 4.0;
/// Time of the day at the start, s after midnight: of no weight but for the building's hot supply.
const CLOCK_S: f64 = 12.0 * 3_600.0;
/// Heat capacity of a loaded rack, J/K: eighteen plates of 0.6 kg at 0.8 kJ/(kg K) and the rack.
const RACK_J_PER_K: f64 = 10_000.0;
/// For how much longer than its cycle a failed booster stays so, s: longer than all timers may err.
const FAILED_LONGER_S: f64 = 3.0;

/// A probe and where its tip is.
#[derive(Clone, Debug)]
struct Held {
    probe: Probe,
    spot: Spot,
    plugged: bool,
}

impl Held {
    fn new(spec: ProbeSpec, place: Place, room_c: f64, dice: Dice) -> Self {
        Self { probe: Probe::new(spec, place, room_c, dice), spot: Spot::Air, plugged: true }
    }

    /// Follows what is around the tip for one integration step; in the machine that is `water_c`, or
    /// air of `hood_c` for the part that is not `wet`.
    fn step(&mut self, room_c: f64, (water_c, hood_c, wet): (f64, f64, f64)) {
        let tau_s = self.probe.tau_s(&[], 0.0);
        let (tau_s, water_c, air_c, wet) = match self.spot {
            Spot::Air => (tau_s, room_c, room_c, 0.0),
            Spot::Hand => (tau_s * HAND_SLOWNESS, HAND_C, room_c, 1.0),
            Spot::Ice => (tau_s, 0.0, room_c, 1.0),
            Spot::Pot { water_c } => (tau_s, water_c, room_c, 1.0),
            Spot::Boil { hpa } => (tau_s, boiling::boiling_c(hpa), room_c, 1.0),
            Spot::Line => (tau_s, water_c, hood_c, wet),
        };
        for _ in 0..PARTS {
            self.probe.step(STEP_S / f64::from(PARTS), tau_s, water_c, air_c, wet);
        }
    }

    fn read(&mut self, now_s: f64) -> Sample {
        if self.plugged { self.probe.read(1.0, now_s, READINGS_PER_S, &[]) } else { Sample::OpenCircuit }
    }
}

/// A bench with two probes and a door machine with hot-water sanitizing.
#[derive(Clone, Debug)]
pub struct Bench {
    machine: Machine,
    wash: Held,
    rinse: Held,
    swapped: bool,
    room_c: f64,
    steps: u64,
    readings: u64,
    running: Option<bool>,
    start_micros: i64,
}

impl Bench {
    /// A bench whose tips lie in the air of the room beside a hot machine at rest, at `start_micros` of Unix
    /// time. All chance flows from the seed.
    #[must_use]
    pub fn new(wash: ProbeSpec, rinse: ProbeSpec, seed: u64, start_micros: i64) -> Self {
        let spec = catalog::dual_temperature(MACHINE);
        let room_c = spec.plant.room_c;
        let plant = Plant::warm(spec.plant.clone(), Supply::new(spec.plant.supply, Dice::new(seed, 1)));
        Self {
            machine: Machine::new(&spec, plant, Vec::new(), Vec::new(), true, Dice::new(seed, 2)),
            wash: Held::new(wash, Place::Wash, room_c, Dice::new(seed, 3)),
            rinse: Held::new(rinse, Place::Rinse, room_c, Dice::new(seed, 4)),
            swapped: false,
            room_c,
            steps: 0,
            readings: 0,
            running: None,
            start_micros,
        }
    }

    /// The machine, to look inside.
    #[must_use]
    pub fn machine(&self) -> &Machine {
        &self.machine
    }

    /// Time up to which it has come, s from the start.
    #[must_use]
    pub fn now_s(&self) -> f64 {
        self.steps as f64 * STEP_S
    }

    /// Lets time pass up to `now_s` from the start; what the node says meanwhile is pushed to `out`.
    pub fn advance(&mut self, now_s: f64, out: &mut Vec<Emission>) {
        while (self.steps + 1) as f64 * STEP_S <= now_s {
            self.steps += 1;
            self.step(out);
        }
    }

    fn step(&mut self, out: &mut Vec<Emission>) {
        let now_s = self.now_s();
        let _known_by_its_stage = self.machine.step(now_s, CLOCK_S + now_s);
        let (tank, hood_c) = (self.machine.plant().tank(), self.machine.plant().hood_c());
        self.wash.step(self.room_c, (tank.water_c(), hood_c, tank.probe_wet()));
        self.rinse.step(self.room_c, (self.machine.rinse_water_c(), hood_c, 1.0));
        let running = self.machine.is_running();
        let changed = self.running != Some(running);
        let reading_due = self.steps.is_multiple_of(STEPS_PER_READING);
        if reading_due {
            let (wash, rinse) = (self.wash.read(now_s), self.rinse.read(now_s));
            let (wash, rinse) = if self.swapped { (rinse, wash) } else { (wash, rinse) };
            let records = [("wash", wash), ("rinse", rinse)];
            let records = records.into_iter().filter_map(|(name, sample)| Record::temperature(name, sample));
            out.push(self.emission(now_s, records.collect()));
            self.readings += 1;
        }
        if changed || (reading_due && self.readings.is_multiple_of(READINGS_PER_CONTACT)) {
            self.running = Some(running);
            let record = Record { name: "running", unit: None, value: RecordValue::Boolean(running) };
            out.push(self.emission(now_s, vec![record]));
        }
    }

    fn emission(&self, now_s: f64, records: Vec<Record>) -> Emission {
        let at_micros = self.start_micros + micros(now_s);
        let base_name = format!("{MACHINE}/");
        Emission { at_micros, machine: 0, base_name, time_micros: at_micros, records }
    }

    /// Does what is asked, and says in one line what was done.
    pub fn obey(&mut self, order: Order) -> String {
        match order {
            Order::Hold(place, spot) => {
                self.held(place).spot = spot;
                format!("{}: {}", name(place), told(place, spot))
            }
            Order::Rack { cold } => self.rack(cold),
            Order::Swap => {
                self.swapped = !self.swapped;
                if self.swapped {
                    format!("swap: {MACHINE}/wash shows the rinse probe, and {MACHINE}/rinse the wash probe")
                } else {
                    "swap: each name shows its own probe again".to_owned()
                }
            }
            Order::Unplug(place) => {
                self.held(place).plugged = false;
                format!("{}: its lead is out; what it goes to says open-circuit", name(place))
            }
            Order::Plug(place) => {
                self.held(place).plugged = true;
                format!("{}: its lead is in", name(place))
            }
            Order::Help => HELP.to_owned(),
            Order::Quit => "quit: the port closes".to_owned(),
        }
    }

    fn held(&mut self, place: Place) -> &mut Held {
        match place {
            Place::Wash => &mut self.wash,
            Place::Rinse => &mut self.rinse,
        }
    }

    fn rack(&mut self, cold: bool) -> String {
        if self.machine.is_busy() {
            return "the machine runs already; wait for its end".to_owned();
        }
        let facts = self.machine.facts();
        let (wash_s, pause_s, rinse_s) = (facts.wash_s, facts.pause_s, facts.rinse_s);
        if cold {
            let from_s = self.now_s();
            let until_s = from_s + wash_s + pause_s + rinse_s + FAILED_LONGER_S;
            self.machine.fail(Fault { kind: FaultKind::BoosterDead, from_s, until_s });
            self.machine.draw_off();
        }
        self.machine.begin(Task::Racks { count: 1, heat_j_per_k: RACK_J_PER_K });
        let plant = self.machine.plant();
        let (tank_c, booster_c) = (plant.tank().water_c(), plant.booster_c().unwrap_or(f64::NAN));
        let mut said = format!(
            "{}: wash {wash_s:.0} s, pause {pause_s:.0} s, final rinse {rinse_s:.0} s; tank {tank_c:.1} °C, \
             booster {booster_c:.1} °C",
            if cold { "cold rack" } else { "rack" }
        );
        for (place, held) in [(Place::Wash, &self.wash), (Place::Rinse, &self.rinse)] {
            if held.spot != Spot::Line {
                said.push_str(&format!("; the {} probe is not in the machine", name(place)));
            }
        }
        if cold {
            said.push_str("; give the booster 5 minutes before the next rack");
        }
        said
    }
}

const fn name(place: Place) -> &'static str {
    match place {
        Place::Wash => "wash",
        Place::Rinse => "rinse",
    }
}

fn told(place: Place, spot: Spot) -> String {
    match spot {
        Spot::Air => "in the air of the room".to_owned(),
        Spot::Hand => "in a dry hand".to_owned(),
        Spot::Ice => "in ice and water, 0.00 °C".to_owned(),
        Spot::Pot { water_c } => format!("in a pot of {water_c} °C"),
        Spot::Boil { hpa } => {
            format!("in boiling water, {:.2} °C at a pressure of {hpa} hPa", boiling::boiling_c(hpa))
        }
        Spot::Line => match place {
            Place::Wash => "in the wash tank".to_owned(),
            Place::Rinse => "in the rinse line".to_owned(),
        },
    }
}

#[cfg(test)]
mod tests;
