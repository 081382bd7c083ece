//! `scan` as a person types it: on a line of simulated units, at a node that prints lines, and where
//! there is nothing or somebody else.

use std::io::Write as _;
use std::path::Path;
use std::process::{Command, Output};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use rinseward::core::reading::Value;
use rinseward_simulator::node::modbus::{Layout, Line, Unit, UnitFault, Units};
use serde_json::Value as Json;
use serialport::{SerialPort as _, TTYPort};
use tempfile::TempDir;

use super::gateway::{Gateway, readings, wait};
use super::peers::Served;

fn scan(arguments: &[&str]) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_rinseward"));
    command.arg("scan").args(arguments).env_remove("RUST_LOG").output().expect("the program starts")
}

fn out(output: &Output) -> String {
    String::from_utf8(output.stdout.clone()).expect("text")
}

fn err(output: &Output) -> String {
    String::from_utf8(output.stderr.clone()).expect("text")
}

fn check_config(file: &Path) -> String {
    let output = Command::new(env!("CARGO_BIN_EXE_rinseward")).arg("check-config").arg(file).output();
    let output = output.expect("the program starts");
    assert!(output.status.success(), "{}", err(&output));
    out(&output) + &err(&output)
}

/// A whole one, one in floats, one that refuses all, one that nobody can read, and a dead one.
fn bus() -> Units {
    let units = Units::default();
    for (address, fault) in [
        (1, None),
        (2, None),
        (4, Some(UnitFault::Exception(1))),
        (5, Some(UnitFault::Garbled)),
        (6, Some(UnitFault::Dead)),
    ] {
        units.insert(address, Unit::new(Layout::Tenths));
        units.set_fault(address, fault);
    }
    // 655 and 822 tenths; 60.25 °C is 42710000 (IEEE 754), the low word first.
    for (address, register, word) in [(1, 0, 655), (1, 1, 822), (1, 16, 1), (2, 0, 0x0000), (2, 1, 0x4271)] {
        units.put(address, register, word);
    }
    units
}

#[test]
fn what_is_proposed_for_a_line_is_read_by_the_gateway() {
    let directory = TempDir::new().expect("a directory");
    let cable = directory.path().join("converter");
    let units = bus();
    let line = Line::open(units, Some(&cable), Some(115_200)).expect("a pseudo-terminal");
    let port = cable.to_str().expect("a path of ours");
    let common = ["--port", port, "--modbus", "--baud", "115200", "--parity", "none", "--units", "1-7"];
    // A unit that a busy computer keeps from answering within 150 ms is not found: the line is scanned again.
    let mut scanned = (0..3).map(|_| {
        let output = scan(&[&common[..], &["--registers", "0-39", "--json"]].concat());
        assert!(output.status.success(), "{}", err(&output));
        serde_json::from_slice::<Json>(&output.stdout).expect("one JSON object")
    });
    let found = |answer: &Json| answer["answers"].as_array().is_some_and(|all| all.len() >= 8);
    let answer = scanned.find(found).expect("both functions of four units");
    let answers = answer["answers"].as_array().expect("a list");
    let said: Vec<(u64, u64, &str)> = answers
        .iter()
        .map(|one| {
            let number = |key: &str| one[key].as_u64().expect("a number");
            (number("unit"), number("function"), one["says"].as_str().expect("words"))
        })
        .collect();
    let (refuses, garbled) =
        ("is there, exception 1: it has no such function", "something answers that cannot be read");
    assert_eq!(
        said,
        [
            (1, 4, "answers"),
            (1, 3, "answers"),
            (2, 4, "answers"),
            (2, 3, "answers"),
            (4, 4, refuses),
            (4, 3, refuses),
            (5, 4, garbled),
            (5, 3, garbled),
        ]
    );
    // The simulated units have registers 0 to 31 and refuse blocks beyond.
    assert_eq!(answers[0]["registers"].as_array().map(Vec::len), Some(32));

    let proposal = answer["proposal"].as_str().expect("a proposal");
    let ledger = directory.path().join("ledger.sqlite");
    let file = directory.path().join("gateway.toml");
    let text = format!("{proposal}\n[ledger]\npath = \"{}\"\ncommit-interval = \"50ms\"\n", ledger.display());
    std::fs::write(&file, text).expect("a temporary file");
    assert!(check_config(&file).contains("1 machine, 3 probes, 1 source"), "{proposal}");
    let (gateway, _log) = Gateway::start(&file);
    for (channel, celsius) in [("dm1/u1-f4-r0", 65.5), ("dm1/u1-f4-r1", 82.2), ("dm1/u2-f4-r0", 60.25)] {
        wait(channel, || {
            readings(&ledger, channel).last().map(|(_, value)| *value) == Some(Value::Number(celsius))
        });
    }

    // The line is the gateway's now.
    let output = scan(&common);
    assert_eq!(output.status.code(), Some(74), "{}", err(&output));
    let held = [
        "error[source-open]",
        "another program uses it",
        "«rinseward» has it open",
        "systemctl stop rinseward",
    ];
    for part in held {
        assert!(err(&output).contains(part), "{}", err(&output));
    }
    gateway.end();

    let output = scan(&[&common[..], &["--function", "3"]].concat());
    let shown = out(&output);
    let first = shown.lines().next().expect("a line");
    assert!(first.starts_with("CAUTION: Nothing else may be master"), "{shown}");
    for part in ["unit 1, function 3: answers", ">82.20", ">60.25", "exception 1", "function = 3", "DECIDE"] {
        assert!(shown.contains(part), "it should show «{part}»:\n{shown}");
    }
    assert!(!shown.contains("function 4"), "{shown}");
    drop(line);
}

#[test]
fn a_line_where_nobody_answers_says_what_to_look_at() {
    let directory = TempDir::new().expect("a directory");
    let cable = directory.path().join("converter");
    let _line = Line::open(Units::default(), Some(&cable), None).expect("a pseudo-terminal");
    let port = cable.to_str().expect("a path of ours");
    let output = scan(&["--port", port, "--modbus", "--units", "1-2"]);
    assert_eq!(output.status.code(), Some(1), "{}", err(&output));
    for part in ["error[scan-none]", "A and B", "--parity none", "--units 33-247", "120 Ω", "supplied"] {
        assert!(err(&output).contains(part), "{part}:\n{}", err(&output));
    }
    // The answer is there all the same.
    let output = scan(&["--port", port, "--modbus", "--units", "1", "--json"]);
    let answer: Json = serde_json::from_slice(&output.stdout).expect("one JSON object");
    assert_eq!((output.status.code(), &answer["proposal"]), (Some(1), &Json::Null));
    let output = scan(&["--port", "/nowhere/port", "--modbus"]);
    assert_eq!(output.status.code(), Some(74), "{}", err(&output));
    let output = scan(&["--port", port, "--modbus", "--units", "0-3"]);
    assert_eq!(output.status.code(), Some(64), "{}", err(&output));
}

#[test]
fn what_is_proposed_for_a_node_that_prints_lines_loads() {
    let directory = TempDir::new().expect("a directory");
    let (mut node, port) = TTYPort::pair().expect("a pseudo-terminal");
    let device = port.name().expect("a name");
    // Ours would count as the one that has it.
    drop(port);
    let stop = Arc::new(AtomicBool::new(false));
    let asked = Arc::clone(&stop);
    let printing = std::thread::spawn(move || {
        let line = "[{\"n\":\"dm1/rinse\",\"u\":\"Cel\",\"v\":82.4},{\"n\":\"dm1/wash\",\"vs\":\"open-circuit\"}]\r\n";
        while !asked.load(Ordering::Relaxed) {
            // Fails while nobody has the port open.
            let _lost = node.write_all(line.as_bytes());
            std::thread::sleep(Duration::from_millis(50));
        }
    });
    let output = scan(&["--port", &device, "--seconds", "2", "--json"]);
    assert!(output.status.success(), "{}{}", out(&output), err(&output));
    let answer: Json = serde_json::from_slice(&output.stdout).expect("one JSON object");
    assert_eq!((&answer["baud"], &answer["tried"]), (&Json::from(115_200), &serde_json::json!([115_200])));
    assert_eq!(answer["channels"][0]["name"], "dm1/rinse");
    assert_eq!(answer["channels"][0]["last"], 82.4);
    assert_eq!(answer["channels"][1]["last"], "open-circuit");
    let file = directory.path().join("gateway.toml");
    std::fs::write(&file, answer["proposal"].as_str().expect("a proposal")).expect("a temporary file");
    assert!(check_config(&file).contains("1 machine, 2 probes, 1 source"));
    stop.store(true, Ordering::Relaxed);
    printing.join().expect("the node ends in order");
}

#[test]
fn a_silent_port_says_what_to_look_at() {
    let (_node, port) = TTYPort::pair().expect("a pseudo-terminal");
    let device = port.name().expect("a name");
    drop(port);
    let output = scan(&["--port", &device, "--seconds", "1", "--baud", "9600"]);
    assert_eq!(output.status.code(), Some(1), "{}", err(&output));
    assert!(out(&output).starts_with("CAUTION: The port is only listened to."), "{}", out(&output));
    for part in ["error[scan-none]", "--baud", "--modbus"] {
        assert!(err(&output).contains(part), "{}", err(&output));
    }
}

// Units of other hands, see `peers/units.py`: unit 1 holds 700 + n and 1700 + n, unit 2 the number 82.2 as
// IEEE 754; for a unit that is not there it says that it failed.
#[test]
fn units_of_another_hand_behind_tcp_are_read_by_the_gateway() {
    let served = Served::start("tcp");
    let address = format!("127.0.0.1:{}", served.port);
    let output = scan(&["--tcp", &address, "--units", "1-3", "--function", "3", "--json"]);
    assert!(output.status.success(), "{}", err(&output));
    let answer: Json = serde_json::from_slice(&output.stdout).expect("one JSON object");
    let said = answer["answers"].as_array().expect("a list").iter();
    let said =
        said.map(|one| (one["unit"].as_u64().expect("a number"), one["says"].as_str().expect("words")));
    let (answers, fails) = ("answers", "is there, exception 4: it failed while reading");
    assert_eq!(said.collect::<Vec<_>>(), [(1, answers), (2, answers), (3, fails)]);

    let directory = TempDir::new().expect("a directory");
    let (ledger, file) = (directory.path().join("ledger.sqlite"), directory.path().join("gateway.toml"));
    let proposal = answer["proposal"].as_str().expect("a proposal");
    for part in ["kind = \"modbus-tcp\"", "host = \"127.0.0.1\"", &format!("port = {}", served.port)] {
        assert!(proposal.contains(part), "{part}:\n{proposal}");
    }
    let text = format!("{proposal}\n[ledger]\npath = \"{}\"\ncommit-interval = \"50ms\"\n", ledger.display());
    std::fs::write(&file, text).expect("a temporary file");
    let accepted = check_config(&file);
    assert!(accepted.contains("1 source") && !accepted.contains("falls silent"), "{accepted}");
    let (gateway, _log) = Gateway::start(&file);
    for (channel, celsius) in [("dm1/u1-f3-r0", 70.0), ("dm1/u2-f3-r0", f64::from(82.2_f32))] {
        wait(channel, || {
            readings(&ledger, channel).last().map(|(_, value)| *value) == Some(Value::Number(celsius))
        });
    }
    gateway.end();

    let port = served.port.clone();
    drop(served);
    let output = scan(&["--tcp", &format!("127.0.0.1:{port}")]);
    assert_eq!(output.status.code(), Some(74), "{}", err(&output));
    for part in ["error[source-open]", &format!("127.0.0.1:{port}"), "on this network", "another port (502"] {
        assert!(err(&output).contains(part), "{part}:\n{}", err(&output));
    }
    assert!(!err(&output).contains("rinseward ports"), "{}", err(&output));
}

// Own promise: a slow unit is found, told as slow and proposed with the time that it needs; the others are found
// as ever.
#[test]
fn a_unit_that_answers_late_is_proposed_with_a_longer_time_out() {
    let directory = TempDir::new().expect("a directory");
    let cable = directory.path().join("converter");
    let units = Units::default();
    for address in [1, 2, 3] {
        units.insert(address, Unit::new(Layout::Tenths));
        units.put(address, 0, 655);
    }
    units.set_fault(2, Some(UnitFault::Slow(Duration::from_millis(220))));
    let line = Line::open(units, Some(&cable), Some(115_200)).expect("a pseudo-terminal");
    let port = cable.to_str().expect("a path of ours");
    let common = ["--port", port, "--modbus", "--baud", "115200", "--parity", "none", "--units", "1-4"];
    let output = scan(&[&common[..], &["--function", "4", "--registers", "0-3", "--json"]].concat());
    assert!(output.status.success(), "{}", err(&output));
    let answer: Json = serde_json::from_slice(&output.stdout).expect("one JSON object");
    let found: Vec<u64> =
        answer["answers"].as_array().expect("a list").iter().filter_map(|one| one["unit"].as_u64()).collect();
    assert_eq!(found, [1, 2, 3], "{answer}");
    assert_eq!(answer["late"], serde_json::json!([{ "unit": 2, "time_out": "1200ms" }]));
    let proposal = answer["proposal"].as_str().expect("a proposal");
    let part = proposal.split("address = 2\n").nth(1).expect("its own part");
    assert!(part.starts_with("time-out = \"1200ms\""), "{proposal}");
    assert_eq!(proposal.matches("time-out").count(), 1, "{proposal}");
    let file = directory.path().join("proposed.toml");
    std::fs::write(&file, proposal).expect("a temporary file");
    check_config(&file);
    let output = scan(&[&common[..], &["--function", "4", "--registers", "0-3"]].concat());
    assert!(out(&output).contains("unit 2 answers LATE"), "{}", out(&output));
    drop(line);
}

// Own promise: no word of the system's («Not a typewriter») where somebody named a file.
#[test]
fn what_is_no_serial_port_is_told_as_that() {
    let file = tempfile::NamedTempFile::new().expect("a temporary file");
    for way in [&["--seconds", "1"][..], &["--modbus"]] {
        for port in [&file.path().display().to_string(), "/dev/null"] {
            let output = scan(&[&["--port", port], way].concat());
            assert_eq!(output.status.code(), Some(74), "{}", err(&output));
            let told = err(&output);
            assert!(told.contains("it is no serial port") && told.contains("rinseward ports"), "{told}");
            assert!(!told.contains("typewriter"), "{told}");
        }
    }
}

// A pseudo-terminal carries every rate alike, but keeps the one that was set: the node prints lines where it
// is its own, and what another rate makes of them otherwise.
#[test]
fn the_rates_are_tried_until_one_is_legible() {
    let (mut node, port) = TTYPort::pair().expect("a pseudo-terminal");
    let device = port.name().expect("a name");
    drop(port);
    let stop = Arc::new(AtomicBool::new(false));
    let asked = Arc::clone(&stop);
    let printing = std::thread::spawn(move || {
        while !asked.load(Ordering::Relaxed) {
            let own = node.baud_rate().is_ok_and(|baud| baud == 19_200);
            let bytes: &[u8] = if own { b"dm1/rinse 82.4\r\n" } else { b"\xf8\x80\x00\xe0\n" };
            // Fails while nobody has the port open.
            let _lost = node.write_all(bytes);
            std::thread::sleep(Duration::from_millis(50));
        }
    });
    let output = scan(&["--port", &device, "--seconds", "1", "--json"]);
    stop.store(true, Ordering::Relaxed);
    printing.join().expect("the node ends in order");
    assert!(output.status.success(), "{}{}", out(&output), err(&output));
    let answer: Json = serde_json::from_slice(&output.stdout).expect("one JSON object");
    assert_eq!(answer["baud"], 19_200);
    assert_eq!(answer["tried"], serde_json::json!([115_200, 57_600, 19_200]));
    assert_eq!(answer["channels"][0]["last"], 82.4);
    assert!(answer["proposal"].as_str().is_some_and(|text| text.contains("baud = 19200")), "{answer}");
}

// A program that has the port open without a lock hinders nobody from opening it, and takes its bytes.
#[test]
fn a_port_that_is_open_elsewhere_without_a_lock_is_told() {
    let (_node, port) = TTYPort::pair().expect("a pseudo-terminal");
    let device = port.name().expect("a name");
    drop(port);
    let held = std::fs::OpenOptions::new().read(true).open(&device).expect("it opens");
    let mut stranger = Command::new("sleep").arg("600").stdin(held).spawn().expect("it starts");
    let output = scan(&["--port", &device, "--seconds", "1", "--baud", "9600"]);
    let listed = Command::new(env!("CARGO_BIN_EXE_rinseward")).args(["ports", "--also", &device]).output();
    stranger.kill().expect("our own child");
    let (pid, _) = (stranger.id(), stranger.wait().expect("our own child"));
    for part in [
        format!("warning[source-open]: {device} is open elsewhere too"),
        format!("«sleep» has it open, process {pid}"),
        "what is shown may be garbled".to_owned(),
    ] {
        assert!(err(&output).contains(&part), "{part}:\n{}", err(&output));
    }
    let listed = out(&listed.expect("the program starts"));
    for part in [format!("open in   sleep, process {pid}"), format!("end «sleep» (process {pid})")] {
        assert!(listed.contains(&part), "{part}:\n{listed}");
    }
}
