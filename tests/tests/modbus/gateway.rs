//! The whole program on a line of simulated units: from registers to judged cycles in the ledger.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::io::{BufRead, BufReader};
use std::ops::ControlFlow;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use rinseward::core::cycle::verdict::Verdict;
use rinseward::core::reading::{Fault, Value};
use rinseward::core::record::Body;
use rinseward::core::time::Timestamp;
use rinseward::ledger::Reader;
use rinseward_simulator::catalog;
use rinseward_simulator::day::Meal;
use rinseward_simulator::node::modbus::{Layout, Line, Player, Unit, UnitFault, Units};
use rinseward_simulator::scenario::{MachinePlan, Scenario};
use rinseward_simulator::truth::{CycleTruth, TruthEntry};
use rinseward_simulator::world::World;
use rustix::process::{Pid, Signal, kill_process};
use tempfile::TempDir;

/// Longest wait for anything (own choice: far above what a loaded computer needs).
const WAIT_MAX: Duration = Duration::from_secs(240);
/// Two door machines in the rush, without faults, and their data plates.
fn kitchen() -> (World, String) {
    let mut plan = Scenario::Demo.plan();
    plan.machines = ["dm1", "dm2"]
        .into_iter()
        .map(|name| MachinePlan {
            spec: catalog::dual_temperature(name),
            meals: vec![Meal::hours(0.0, 1.0).every(70.0, 60.0).uncleaned()],
            faults: Vec::new(),
            warm: true,
        })
        .collect();
    let world = World::starting_at(&plan, 3, 1_800_000_000_000_000);
    let mut text = String::new();
    for facts in world.facts() {
        let name = &facts.name;
        let (wash, pause, rinse) = (facts.wash_s, facts.pause_s, facts.rinse_s);
        write!(
            text,
            "[[machine]]\nname = \"{name}\"\nkind = \"stationary-rack-dual-temperature\"\nwash-time = \"{wash}s\"\n\
             pause-time = \"{pause}s\"\nrinse-time = \"{rinse}s\"\nrinse-min = \"{} °C\"\nwash-min = \"{} °C\"\n\
             dwell-min = \"{}s\"\nprobes = [\"wash\", \"rinse\"]\n\
             [[probe]]\nname = \"{name}/rinse\"\ntau = \"{}s\"\n\n",
            facts.rinse_min_c,
            facts.wash_min_c,
            facts.dwell_min_s,
            facts.rinse_tau_s,
        )
        .expect("a String takes it");
    }
    (world, text)
}

fn unit(address: u8, keys: &str, registers: &[(&str, u16, &str)]) -> String {
    let mut text =
        format!("[[source.unit]]\naddress = {address}\npoll = \"250ms\"\ntime-out = \"100ms\"\n{keys}");
    for (probe, register, preset) in registers {
        write!(
            text,
            "[[source.unit.register]]\nprobe = \"{probe}\"\nfunction = 4\naddress = {register}\npreset = \"{preset}\"\n"
        )
        .expect("a String takes it");
    }
    text
}

/// A running gateway; asked to end when dropped.
pub(crate) struct Gateway(Child);

impl Gateway {
    /// Starts it; its log is kept as it comes.
    pub(crate) fn start(configuration: &Path) -> (Self, Arc<Mutex<String>>) {
        let mut child = Command::new(env!("CARGO_BIN_EXE_rinseward"))
            .args(["run", "--config"])
            .arg(configuration)
            .env_remove("RUST_LOG")
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the program starts");
        let log = Arc::new(Mutex::new(String::new()));
        let (told, pipe) = (Arc::clone(&log), BufReader::new(child.stderr.take().expect("a pipe")));
        std::thread::spawn(move || {
            for line in pipe.lines().map_while(Result::ok) {
                let mut log = told.lock().expect("nobody panics while holding it");
                log.push_str(&line);
                log.push('\n');
            }
        });
        (Self(child), log)
    }

    pub(crate) fn end(mut self) {
        let _ended = kill_process(Pid::from_child(&self.0), Signal::TERM);
        assert!(self.0.wait().expect("it is ours").success(), "it ends in order");
    }
}

impl Drop for Gateway {
    fn drop(&mut self) {
        // Has no effect on one that has ended.
        drop(self.0.kill());
        drop(self.0.wait());
    }
}

pub(crate) fn wait(what: &str, mut done: impl FnMut() -> bool) {
    let limit = Instant::now() + WAIT_MAX;
    while !done() {
        assert!(Instant::now() < limit, "waited too long for {what}");
        std::thread::sleep(Duration::from_millis(50));
    }
}

/// Cycles by machine: verdict and settled minimum.
fn cycles(ledger: &Path) -> BTreeMap<String, Vec<(Verdict, Option<f64>)>> {
    let mut cycles = BTreeMap::new();
    let Ok(reader) = Reader::open(ledger) else { return cycles };
    reader
        .records(0, |_, _, record| {
            if let (Body::Cycle(cycle), Some(machine)) = (&record.body, &record.machine) {
                let of: &mut Vec<_> = cycles.entry(machine.clone()).or_default();
                of.push((cycle.verdict, cycle.rinse_min_c));
            }
            ControlFlow::Continue(())
        })
        .expect("the ledger reads");
    cycles
}

pub(crate) fn readings(ledger: &Path, channel: &str) -> Vec<(Timestamp, Value)> {
    let Ok(reader) = Reader::open(ledger) else { return Vec::new() };
    let all = reader.readings(channel, Timestamp::MIN, Timestamp::MAX).expect("the ledger reads");
    all.iter().map(|reading| (reading.at, reading.value)).collect()
}

/// Registers of two machines and of a dead unit beside them become judged cycles; then the cable is
/// pulled out and pushed back in.
#[test]
fn two_machines_on_a_line_are_judged_beside_a_dead_unit() {
    let directory = TempDir::new().expect("a directory");
    let (world, machines) = kitchen();
    let units = Units::of(&world);
    units.insert(9, Unit::new(Layout::Tenths));
    units.set_fault(9, Some(UnitFault::Dead));
    let (cable, ledger) = (directory.path().join("converter"), directory.path().join("ledger.sqlite"));
    let line = Line::open(units.clone(), Some(&cable), Some(19_200)).expect("a pseudo-terminal");
    let text = format!(
        "[ledger]\npath = \"{}\"\ncommit-interval = \"50ms\"\n\n{machines}\
         [[probe]]\nname = \"dm1/spare\"\nplace = \"other\"\n\n\
         [[source]]\nname = \"bus\"\nkind = \"modbus-rtu\"\ndevice = \"{}\"\nreopen-after-max = \"200ms\"\n{}{}{}",
        ledger.display(),
        cable.display(),
        unit(1, "", &[("dm1/wash", 0, "tenths"), ("dm1/rinse", 1, "tenths")]),
        unit(2, "", &[("dm2/wash", 0, "float-swapped"), ("dm2/rinse", 2, "float-swapped")]),
        unit(9, "", &[("dm1/spare", 0, "tenths")]),
    );
    let configuration = directory.path().join("gateway.toml");
    std::fs::write(&configuration, text).expect("a temporary file");
    let truths: Arc<Mutex<Vec<CycleTruth>>> = Arc::default();
    let told = Arc::clone(&truths);
    let player = Player::start(world, units.clone(), 1.0, move |entry| {
        if let TruthEntry::Cycle(cycle) = entry {
            told.lock().expect("nobody panics while holding it").push(*cycle);
        }
    });
    let _player = player.expect("a thread");
    // A line that jumps from 0 °C to its temperature would look like a rinse.
    wait("water in the registers", || {
        [(1, 0), (1, 1), (2, 1), (2, 3)].iter().all(|(unit, register)| units.word(*unit, *register) > Some(0))
    });
    let (gateway, log) = Gateway::start(&configuration);
    wait("a judged cycle of each machine", || cycles(&ledger).len() == 2);
    for (machine, judged) in cycles(&ledger) {
        let (verdict, minimum_c) = judged[0];
        assert!(matches!(verdict, Verdict::Pass | Verdict::Narrow), "{machine}: {verdict:?}");
        let truths = truths.lock().expect("nobody panics while holding it");
        let truth = truths.iter().find(|truth| truth.machine == machine).expect("it really rinsed");
        let (minimum_c, true_c) = (minimum_c.expect("judged"), truth.rinse_min_c.expect("rinsed"));
        // How exact a minimum is, others test; this shows that it is that register's.
        assert!((minimum_c - true_c).abs() < 3.0, "{machine}: {minimum_c} °C, truly {true_c} °C");
    }
    let spare = readings(&ledger, "dm1/spare");
    assert!(!spare.is_empty() && spare.iter().all(|(_, value)| *value == Value::Fault(Fault::Silent)));
    for channel in ["dm1/rinse", "dm2/rinse"] {
        let times: Vec<Timestamp> = readings(&ledger, channel).iter().map(|(at, _)| *at).collect();
        let mut steps: Vec<f64> = times.windows(2).map(|pair| pair[1].seconds_since(pair[0])).collect();
        steps.sort_by(f64::total_cmp);
        let median = steps[steps.len() / 2];
        assert!((0.2..0.3).contains(&median), "every 250 ms as configured: {channel} {median} s");
    }

    drop(line);
    // A fault alone may be that of a unit that was slow on a busy computer.
    let tells = |word: &str| log.lock().expect("nobody panics while holding it").contains(word);
    wait("the loss of the line", || tells("source-lost"));
    wait("faults in place of values", || {
        readings(&ledger, "dm2/rinse").last().is_some_and(|(_, value)| *value == Value::Fault(Fault::Silent))
    });
    let before = readings(&ledger, "dm2/rinse").len();
    units.set_fault(9, None);
    let line = Line::open(units, Some(&cable), Some(19_200)).expect("a pseudo-terminal");
    wait("values again", || {
        let all = readings(&ledger, "dm2/rinse");
        all.len() > before && matches!(all.last(), Some((_, Value::Number(_))))
    });
    wait("the unit that was dead", || {
        readings(&ledger, "dm1/spare").iter().any(|(_, value)| matches!(value, Value::Number(_)))
    });
    gateway.end();
    drop(line);
    let log = log.lock().expect("nobody panics while holding it");
    for told in ["modbus-silent", "unit=9", "source-lost", "a unit answers"] {
        assert!(log.contains(told), "the log should tell «{told}»:\n{log}");
    }
}
