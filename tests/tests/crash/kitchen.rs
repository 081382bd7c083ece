//! A simulated kitchen: what its nodes send, where its gateway writes, what it must hold in the end.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use rinseward_simulator::day::Meal;
use rinseward_simulator::node::{Emission, RecordValue};
use rinseward_simulator::scenario::{Plan, Scenario};
use rinseward_simulator::time::MIDNIGHT_MICROS;
use rinseward_simulator::world::World;
use serde_json::Value as Json;
use tempfile::TempDir;

/// Emissions of a node in one message: a second of readings, as the shipped broker settings advise.
const EMISSIONS: usize = 4;

/// One message of a node.
#[derive(Clone, Debug)]
pub(crate) struct Pack {
    /// Where it is published.
    pub(crate) topic: String,
    /// SenML.
    pub(crate) payload: String,
    /// When it leaves, µs since the stream began.
    pub(crate) after_micros: i64,
}

/// What the nodes send, and what it holds.
pub(crate) struct Stream {
    /// Messages in the order in which they are sent.
    pub(crate) packs: Vec<Pack>,
    /// When it begins, µs of Unix time.
    pub(crate) start_micros: i64,
    /// Numbers by channel and time, µs.
    pub(crate) readings: BTreeMap<String, BTreeMap<i64, f64>>,
}

impl Stream {
    /// The first hours of the demo's kitchen, racks without a pause: its hot-water machine,
    /// whose booster trips at times, and with `machines` = 2 its chlorine machine, too.
    pub(crate) fn of(machines: usize, hours: f64, seed: u64) -> Self {
        Self::of_plan(&plan(machines, hours), seed)
    }

    /// What the nodes of this plan send.
    pub(crate) fn of_plan(plan: &Plan, seed: u64) -> Self {
        let machines = plan.machines.len();
        let world = World::of(plan, seed, MIDNIGHT_MICROS);
        let start = world.start_micros();
        let mut stream = Self { packs: Vec::new(), start_micros: start, readings: BTreeMap::new() };
        let mut gathered: Vec<Vec<Emission>> = vec![Vec::new(); machines];
        for emission in world {
            stream.note(&emission);
            let own = &mut gathered[emission.machine];
            own.push(emission);
            if own.len() == EMISSIONS {
                let pack = pack(&std::mem::take(own), start);
                stream.packs.push(pack);
            }
        }
        let rest = gathered.iter().filter(|own| !own.is_empty());
        stream.packs.extend(rest.map(|own| pack(own, start)));
        stream
    }

    /// Readings in all.
    pub(crate) fn count(&self) -> usize {
        self.readings.values().map(BTreeMap::len).sum()
    }

    fn note(&mut self, emission: &Emission) {
        for record in &emission.records {
            let RecordValue::Number(number) = record.value else { panic!("the demo has numbers only") };
            // As the node prints it: four decimals.
            let number = (number * 1e4).round() / 1e4;
            let channel = format!("{}{}", emission.base_name, record.name);
            let before = self.readings.entry(channel).or_default().insert(emission.time_micros, number);
            assert!(before.is_none(), "a node measures once at a time");
        }
    }
}

pub(crate) fn plan(machines: usize, hours: f64) -> Plan {
    let mut plan = Scenario::Demo.plan();
    plan.machines.truncate(machines);
    plan.hours = hours;
    for machine in &mut plan.machines {
        machine.meals = vec![Meal::hours(0.0, hours).every(70.0, 60.0).uncleaned()];
    }
    plan
}

/// Emissions as one array: a record with base values of its own replaces those before (RFC 8428 §4.1).
fn pack(emissions: &[Emission], start: i64) -> Pack {
    let mut payload = String::from("[");
    for emission in emissions {
        let line = emission.line();
        payload.push_str(&line[1..line.len() - 1]);
        payload.push(',');
    }
    payload.pop();
    payload.push(']');
    let last = emissions.last().expect("never empty");
    Pack {
        topic: format!("probes/{}", last.base_name.trim_end_matches('/')),
        payload,
        after_micros: last.at_micros - start,
    }
}

/// A gateway's configuration and its ledger, in a directory of their own.
pub(crate) struct Site {
    directory: TempDir,
}

impl Site {
    /// With so many machines and these `[[source]]` entries.
    pub(crate) fn new(machines: usize, source: &str) -> Self {
        let site = Self { directory: TempDir::new().expect("a temporary directory") };
        let mut text = String::from("[ledger]\npath = \"ledger.sqlite\"\ncommit-interval = \"20ms\"\n");
        // A short window, so that the last cycle is not waited for.
        let all = [
            ("dm1", "stationary-rack-dual-temperature", "probes = [\"wash\", \"rinse\"]"),
            (
                "dm2",
                "stationary-rack-single-temperature",
                "sanitizing = \"chlorine\"\nprobes = [\"wash\", \"rinse\", \"sanitizer\", \"ph\"]",
            ),
        ];
        for (name, kind, more) in &all[..machines] {
            write!(
                text,
                "\n[[machine]]\nname = \"{name}\"\nkind = \"{kind}\"\nwash-time = \"44s\"\n\
                 rinse-time = \"12s\"\ndisorder-window = \"1s\"\n{more}\n"
            )
            .expect("text");
        }
        text.push_str(source);
        fs::write(site.configuration(), text).expect("a temporary file");
        site
    }

    /// Whose readings come from a broker at this port.
    pub(crate) fn with_broker(machines: usize, port: u16) -> Self {
        Self::new(
            machines,
            &format!(
                "\n[[source]]\nname = \"broker\"\nkind = \"mqtt\"\nhost = \"127.0.0.1\"\nport = {port}\n\
             [[source.subscription]]\nfilter = \"probes/#\"\n"
            ),
        )
    }

    /// The configuration file.
    pub(crate) fn configuration(&self) -> PathBuf {
        self.directory.path().join("gateway.toml")
    }

    /// The ledger file.
    pub(crate) fn ledger(&self) -> PathBuf {
        self.directory.path().join("ledger.sqlite")
    }

    /// A file of the test's own beside them.
    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.directory.path().join(name)
    }

    /// The cycles that one unbroken pass over the stream gives.
    pub(crate) fn expected_cycles(&self, stream: &Stream) -> Vec<Json> {
        let trace = self.path("stream.senml");
        let lines: Vec<&str> = stream.packs.iter().map(|pack| pack.payload.as_str()).collect();
        fs::write(&trace, lines.join("\n")).expect("a temporary file");
        let configuration = self.configuration();
        cycles(&["replay", "--config", text(&configuration), "--json", text(&trace)])
    }

    /// The cycles on record.
    pub(crate) fn recorded_cycles(&self) -> Vec<Json> {
        cycles(&["history", "--ledger", text(&self.ledger()), "--json"])
    }
}

/// Temporary paths are text.
pub(crate) fn text(path: &Path) -> &str {
    path.to_str().expect("temporary paths are text")
}

/// The program with these arguments.
pub(crate) fn rinseward(arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_rinseward"));
    command.args(arguments).env_remove("RUST_LOG").env_remove("FAILPOINTS").env("TZ", "UTC");
    command.stdin(Stdio::null());
    command
}

/// Cycles that a command prints as JSON, in order of machine and time, without what depends on
/// when they came: the times of arrival and of recording, and the place in the ledger.
fn cycles(arguments: &[&str]) -> Vec<Json> {
    let output = rinseward(arguments).output().expect("the program starts");
    let errors = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{arguments:?}: {errors}");
    let printed = String::from_utf8(output.stdout).expect("JSON is UTF-8");
    let mut cycles: Vec<Json> = printed
        .lines()
        .map(|line| {
            let mut cycle: Json = serde_json::from_str(line).expect("an object a line");
            let fields = cycle.as_object_mut().expect("an object");
            for arrival in ["received", "ledger_index", "recorded", "late"] {
                fields.remove(arrival).expect("promised keys");
            }
            cycle
        })
        .collect();
    cycles.sort_by_key(|cycle| (cycle["machine"].to_string(), cycle["rinse_started"].to_string()));
    cycles
}
