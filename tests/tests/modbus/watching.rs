//! What `watch` shows of units on a line: which of them does not answer, and which refuses what.

use std::fmt::Write as _;
use std::process::Command;

use rinseward_simulator::node::modbus::{Layout, Line, Unit, UnitFault, Units};
use tempfile::TempDir;

use super::gateway::{Gateway, wait};
use crate::live::terminal::Terminal;

/// A machine whose rinse is read by unit 7 and whose wash by unit 8, on a line.
struct Kitchen {
    directory: TempDir,
    units: Units,
    _line: Line,
}

impl Kitchen {
    fn new() -> Self {
        let directory = TempDir::new().expect("a directory");
        let units = Units::default();
        for address in [7, 8] {
            units.insert(address, Unit::new(Layout::Tenths));
            units.put(address, 0, 225);
        }
        let cable = directory.path().join("converter");
        let line = Line::open(units.clone(), Some(&cable), Some(19_200)).expect("a pseudo-terminal");
        let mut text = format!(
            "[ledger]\npath = \"{}\"\ncommit-interval = \"50ms\"\n\n\
             [[machine]]\nname = \"dm1\"\nkind = \"stationary-rack-dual-temperature\"\n\
             wash-time = \"45s\"\nrinse-time = \"10s\"\nprobes = [\"wash\", \"rinse\"]\n\n\
             [[source]]\nname = \"bus\"\nkind = \"modbus-rtu\"\ndevice = \"{}\"\n",
            directory.path().join("ledger.sqlite").display(),
            cable.display(),
        );
        for (address, probe) in [(7, "rinse"), (8, "wash")] {
            write!(
                text,
                "[[source.unit]]\naddress = {address}\npoll = \"250ms\"\ntime-out = \"100ms\"\n\
                 [[source.unit.register]]\nprobe = \"dm1/{probe}\"\nfunction = 4\naddress = 0\npreset = \"tenths\"\n"
            )
            .expect("a String takes it");
        }
        std::fs::write(directory.path().join("gateway.toml"), text).expect("a temporary file");
        Self { directory, units, _line: line }
    }

    fn watching(&self, arguments: &[&str]) -> Terminal {
        let mut command = Command::new(env!("CARGO_BIN_EXE_rinseward"));
        command.arg("watch").args(arguments).arg("--config").arg(self.directory.path().join("gateway.toml"));
        Terminal::start(command.env_remove("RUST_LOG"), 100, 40)
    }
}

// Codes of exceptions are those of the Modbus application protocol V1.1b3, §7.
#[test]
fn a_unit_that_does_not_answer_is_named_at_its_probes() {
    let kitchen = Kitchen::new();
    kitchen.units.set_fault(7, Some(UnitFault::Dead));
    kitchen.units.set_fault(8, Some(UnitFault::Exception(2)));
    let mut terminal = kitchen.watching(&[]);
    terminal.row("dm1/rinse", |row| row.contains("unit 7 does not answer, never so far"));
    terminal.row("dm1/wash", |row| row.contains("unit 8, register 0: exception 2, function 4"));
    terminal.until("unit 8 of «bus» refuses register 0 by function 4: exception 2, it has no such register");
    kitchen.units.set_fault(7, None);
    kitchen.units.set_fault(8, None);
    terminal.row("dm1/rinse", |row| row.contains("22.5 °C"));
    terminal.row("dm1/wash", |row| row.contains("22.5 °C"));
    kitchen.units.set_fault(7, Some(UnitFault::Dead));
    terminal.row("dm1/rinse", |row| row.contains("unit 7 does not answer, last") && row.contains(" ago"));
    terminal.press("q");
    assert!(terminal.ended().success());
}

// Own promise: a unit that is merely slow is told as that, and nothing of it falls on a sound one of its line.
#[test]
fn a_unit_that_answers_too_late_is_no_silent_one() {
    let kitchen = Kitchen::new();
    kitchen.units.set_fault(7, Some(UnitFault::Slow(std::time::Duration::from_millis(160))));
    let (gateway, log) = Gateway::start(&kitchen.directory.path().join("gateway.toml"));
    let logged = || log.lock().expect("nobody panics").clone();
    wait("a late unit in the log", || logged().contains("modbus-late"));
    let mut terminal = kitchen.watching(&[]);
    terminal.row("dm1/rinse", |row| row.contains("unit 7 answers after its time-out, never so far"));
    terminal.until("after its time-out: raise time-out of this unit");
    terminal.row("dm1/wash", |row| row.contains("22.5 °C"));
    let asked = kitchen.units.asked(7);
    wait("some rounds more", || kitchen.units.asked(7) > asked + 4);
    // A busy machine may make any answer late; none of another's may be taken for one that cannot be read.
    assert!(!logged().contains("modbus-garbled"), "{}", logged());
    terminal.row("dm1/wash", |row| row.contains("22.5 °C"));
    kitchen.units.set_fault(7, Some(UnitFault::Dead));
    terminal.row("dm1/rinse", |row| row.contains("unit 7 does not answer, never so far"));
    kitchen.units.set_fault(7, None);
    terminal.row("dm1/rinse", |row| row.contains("22.5 °C"));
    terminal.press("q");
    assert!(terminal.ended().success());
    gateway.end();
}

// Own promise: whoever begins to look on while the service runs is told the same, in their language.
#[test]
fn through_the_service_it_is_told_from_the_first_picture_on() {
    let kitchen = Kitchen::new();
    kitchen.units.set_fault(7, Some(UnitFault::Dead));
    let (gateway, log) = Gateway::start(&kitchen.directory.path().join("gateway.toml"));
    wait("a silent unit in the log", || log.lock().expect("nobody panics").contains("modbus-silent"));
    let mut terminal = kitchen.watching(&["--language", "es"]);
    terminal.until("a través del servicio en marcha");
    terminal.row("dm1/rinse", |row| row.contains("la unidad 7 no responde, nunca hasta ahora"));
    terminal.until("mire su alimentación");
    terminal.row("dm1/wash", |row| row.contains("22.5 °C"));
    terminal.press("q");
    assert!(terminal.ended().success());
    gateway.end();
}
