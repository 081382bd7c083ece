//! The proof of the wiring, by a person at a terminal and unattended, on a device that keeps talking.

use std::io::{BufRead, BufReader, Read};
use std::ops::ControlFlow;
use std::process::Stdio;
use std::sync::{Arc, Mutex};
use std::thread::{self, JoinHandle};
use std::time::Duration;

use rinseward::core::record::{Body, WiringProofDone};
use rinseward::ledger::Reader;
use serde_json::Value;

use super::kitchen::Kitchen;
use super::port::Port;
use super::terminal::Terminal;

/// What the thermocouple gives in volts, and the other probe in °C.
type Shown = (f64, f64);

/// Type K against terminals of 25 °C: emf(22) − emf(25) and emf(32) − emf(25), from 0.879, 1.000 and
/// 1.285 mV (NIST ITS-90 table, type K).
const COOL_V: f64 = -0.000_121;
const WARM_V: f64 = 0.000_285;
/// A probe of a kitchen at rest, and one in a hand, °C.
const COOL_C: f64 = 22.0;
const WARM_C: f64 = 32.0;

/// A node that prints both probes twenty times a second until it is dropped.
struct Device {
    shown: Arc<Mutex<Option<Shown>>>,
    printing: Option<JoinHandle<()>>,
}

impl Device {
    fn of(mut port: Port, shown: Shown) -> Self {
        let shown = Arc::new(Mutex::new(Some(shown)));
        let seen = Arc::clone(&shown);
        let printing = thread::spawn(move || {
            loop {
                let now = *seen.lock().expect("no holder panics");
                let Some((volts, celsius)) = now else { return };
                port.print(&format!("dm1/terminals 25\ndm1/wash {volts}\ndm1/rinse {celsius}\n"));
                thread::sleep(Duration::from_millis(50));
            }
        });
        Self { shown, printing: Some(printing) }
    }

    fn show(&self, shown: Shown) {
        *self.shown.lock().expect("no holder panics") = Some(shown);
    }
}

impl Drop for Device {
    fn drop(&mut self) {
        if let Ok(mut shown) = self.shown.lock() {
            *shown = None;
        }
        drop(self.printing.take().map(JoinHandle::join));
    }
}

/// The newest proof on record.
fn recorded(kitchen: &Kitchen) -> WiringProofDone {
    let mut proof = None;
    let reader = Reader::open(&kitchen.path("ledger.sqlite")).expect("a ledger");
    let read = reader.records(0, |_, _, record| {
        if let Body::WiringProof(done) = record.body {
            proof = Some(*done);
        }
        ControlFlow::Continue(())
    });
    read.expect("whole records");
    proof.expect("a proof is on record")
}

#[test]
fn a_person_is_led_from_probe_to_probe() {
    let (kitchen, port) = Kitchen::on_a_port();
    let service = kitchen.service(&["source is up"]);
    let device = Device::of(port, (COOL_V, COOL_C));
    let mut terminal = Terminal::start(&mut kitchen.program(&["prove", "dm1", "--by", "AB"]), 80, 40);
    terminal.until("Never reach into a running machine");
    terminal.until("isolate, lock out, and verify");
    terminal.until("1 of 2: dm1/rinse, in the final-rinse line.");
    terminal.until("Press Enter");
    terminal.press("\r");
    terminal.until("NOW warm the tip of dm1/rinse: hold it in a dry hand");
    device.show((COOL_V, WARM_C));
    terminal.until("✓ dm1/rinse answers: dm1/rinse rose from 22.0 to 32.0 °C, and no other did.");
    terminal.until("2 of 2: dm1/wash, in the wash tank.");
    terminal.press("\r");
    terminal.until("NOW warm the tip of dm1/wash");
    device.show((WARM_V, WARM_C));
    terminal.until("✓ dm1/wash answers");
    terminal.until("The wiring of dm1 is proved and on record");
    assert!(terminal.ended().success());
    drop(device);
    service.stop();
    let proof = recorded(&kitchen);
    assert!(proof.good && proof.by.starts_with("AB (user "), "{proof:?}");
    let probes: Vec<&str> = proof.probes.iter().map(|probe| probe.probe.as_str()).collect();
    assert_eq!(probes, ["dm1/rinse", "dm1/wash"]);
}

/// Proves the wash probe alone; it shows the first at rest and the second while it is warmed.
fn proved(rest: Shown, warmed: Shown) -> (Option<i32>, Value, String, WiringProofDone) {
    let (kitchen, port) = Kitchen::on_a_port();
    kitchen.service(&["source is up"]).stop();
    let device = Device::of(port, rest);
    let arguments =
        ["prove", "dm1", "--by", "AB", "--order", "wash", "--seconds-each", "8", "--yes", "--json"];
    let mut program = kitchen.program(&arguments);
    let child = program.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn();
    let mut child = child.expect("the program starts");
    let mut said = String::new();
    let mut err = BufReader::new(child.stderr.take().expect("it is piped"));
    while !said.contains("NOW warm the tip of dm1/wash") {
        assert!(err.read_line(&mut said).expect("UTF-8") > 0, "{said}");
    }
    device.show(warmed);
    err.read_to_string(&mut said).expect("UTF-8");
    let output = child.wait_with_output().expect("our own child");
    let answer = serde_json::from_slice(&output.stdout).unwrap_or_else(|error| panic!("{error}: {said}"));
    (output.status.code(), answer, said, recorded(&kitchen))
}

// A reversed thermocouple falls as its tip is warmed (IEC 60584-1: emf(a,b) = −emf(b,a)). The exit
// code 1 says that what was asked about is not good.
#[test]
fn each_mistake_is_found_without_anybody_at_the_terminal() {
    let rows: [(&str, Shown, Shown, Option<&str>); 4] = [
        ("answers", (COOL_V, COOL_C), (WARM_V, COOL_C), None),
        ("swapped", (COOL_V, COOL_C), (COOL_V, WARM_C), Some("dm1/rinse")),
        ("reversed", (-COOL_V, COOL_C), (-WARM_V, COOL_C), None),
        ("dead", (COOL_V, COOL_C), (COOL_V, COOL_C), None),
    ];
    let runs = rows.map(|(finding, rest, warmed, instead)| {
        (finding, instead, thread::spawn(move || proved(rest, warmed)))
    });
    for (finding, instead, run) in runs {
        let (code, answer, said, proof) = run.join().expect("no panic");
        let good = finding == "answers";
        let found = &answer["probes"][0];
        assert_eq!(found["finding"], finding, "{answer}");
        assert_eq!((found["instead"].as_str(), &answer["good"]), (instead, &good.into()), "{answer}");
        assert_eq!(code, Some(i32::from(!good)), "{said}");
        assert_eq!(said.contains("wiring-not-good"), !good, "{said}");
        assert!(answer["record"].is_u64(), "{answer}");
        assert_eq!((proof.good, proof.probes[0].finding.as_str()), (good, finding), "{proof:?}");
    }
}

// Codes are those of sysexits.h (4.3BSD).
#[test]
fn what_makes_no_sense_is_refused_before_anything_is_warmed() {
    let (kitchen, _port) = Kitchen::on_a_port();
    for (arguments, word) in [
        (&["dm9", "--yes"][..], "no temperature probe of a machine «dm9»"),
        (&["dm1", "--yes", "--order", "wash,ware"], "its probes are rinse, wash"),
        (&["dm1"], "add --yes"),
    ] {
        let output =
            kitchen.program(&[&["prove", "--by", "AB"], arguments].concat()).stdin(Stdio::null()).output();
        let output = output.expect("the program starts");
        let said = String::from_utf8([output.stdout, output.stderr].concat()).expect("UTF-8");
        assert_eq!(output.status.code(), Some(64), "{arguments:?}: {said}");
        assert!(said.contains(word), "{arguments:?}: {said}");
    }
}
