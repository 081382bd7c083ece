//! The proof of the wiring, by a person at a terminal and unattended, on a device that keeps talking.

use std::io::{BufRead, BufReader, Read};
use std::process::Stdio;
use std::sync::{Arc, Mutex};
use std::thread::{self, JoinHandle};
use std::time::Duration;

use rinseward::core::record::{Body, WiringProofDone};
use rinseward::core::wiring::Evidence;
use serde_json::Value;

use super::kitchen::Kitchen;
use super::port::Port;
use super::terminal::Terminal;
use crate::ledger::fixture::records;

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
    records(&kitchen.path("ledger.sqlite"))
        .into_iter()
        .rev()
        .find_map(|record| if let Body::WiringProof(done) = record.body { Some(*done) } else { None })
        .expect("a proof is on record")
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
    terminal.until("The wiring of dm1 is proved: dm1/rinse, dm1/wash [record ");
    assert!(terminal.ended().success());
    drop(device);
    service.stop();
    let proof = recorded(&kitchen);
    assert!(proof.good && proof.by.starts_with("AB (user "), "{proof:?}");
    let probes: Vec<&str> = proof.probes.iter().map(|probe| probe.probe.as_str()).collect();
    assert_eq!(probes, ["dm1/rinse", "dm1/wash"]);
}

/// The command that proves these probes with nobody at the terminal.
fn unattended<'a>(order: &'a str, seconds: &'a str) -> [&'a str; 10] {
    ["prove", "dm1", "--by", "AB", "--order", order, "--seconds-each", seconds, "--yes", "--json"]
}

/// Proves the wash probe alone; it shows the first at rest and the second while it is warmed.
fn proved(rest: Shown, warmed: Shown) -> (Option<i32>, Value, String, WiringProofDone) {
    let (kitchen, port) = Kitchen::on_a_port();
    kitchen.service(&["source is up"]).stop();
    let device = Device::of(port, rest);
    let (code, answer, said) = proving(&kitchen, &device, &unattended("wash", "15"), warmed);
    (code, answer, said, recorded(&kitchen))
}

/// What a proof answers, its exit code, and what it says; the device shows this once a tip is to be warmed.
fn proving(
    kitchen: &Kitchen,
    device: &Device,
    arguments: &[&str],
    warmed: Shown,
) -> (Option<i32>, Value, String) {
    let mut program = kitchen.program(arguments);
    let child = program.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn();
    let mut child = child.expect("the program starts");
    let mut said = String::new();
    let mut err = BufReader::new(child.stderr.take().expect("it is piped"));
    while !said.contains("NOW warm the tip of") && err.read_line(&mut said).expect("UTF-8") > 0 {}
    device.show(warmed);
    err.read_to_string(&mut said).expect("UTF-8");
    let output = child.wait_with_output().expect("our own child");
    let answer = serde_json::from_slice(&output.stdout).unwrap_or_else(|error| panic!("{error}: {said}"));
    (output.status.code(), answer, said)
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

// Own rule: a proof of one probe says which are proved and which are not, and a later one of another leaves it as
// it is; what is not good afterwards is that probe alone.
#[test]
fn a_proof_of_one_probe_speaks_of_that_one() {
    let (kitchen, port) = Kitchen::on_a_port();
    kitchen.service(&["source is up"]).stop();
    let device = Device::of(port, (COOL_V, COOL_C));
    let names = |answer: &Value, key: &str| -> Vec<String> {
        let names = answer["on_file"][key].as_array().expect("a list").iter();
        names.map(|name| name.as_str().or(name[0].as_str()).expect("a name").to_owned()).collect()
    };
    let (code, answer, _) = proving(&kitchen, &device, &unattended("wash", "15"), (WARM_V, COOL_C));
    assert_eq!(code, Some(0), "{answer}");
    assert_eq!(names(&answer, "proved"), ["dm1/wash"]);
    assert_eq!(names(&answer, "not_proved"), ["dm1/rinse"]);

    device.show((COOL_V, COOL_C));
    let (code, answer, said) = proving(&kitchen, &device, &unattended("rinse", "15"), (COOL_V, COOL_C));
    assert_eq!(code, Some(1), "{answer}");
    assert!(said.contains("where: dm1/rinse (dead)"), "{said}");
    assert_eq!(names(&answer, "before"), ["dm1/wash"], "a proof that is good stays so");
    assert_eq!(names(&answer, "not_good"), ["dm1/rinse"]);
    let output = kitchen.program(&["history", "--show", "records", "--kind", "wiring-proof"]).output();
    let output = output.expect("the program starts");
    let said = String::from_utf8(output.stdout).expect("UTF-8");
    assert!(said.contains("the wiring was proved: dm1/rinse dead (AB"), "{said}");
    assert!(said.contains("the wiring was proved: dm1/wash answers (AB"), "{said}");
}

// Own rule: a tip that cools has no exchanged leads. From a hand at 33 °C it cools to a room of 22 °C by Newton's law;
// with a time constant of 20 s by 0.5 °C a second at first.
#[test]
fn a_tip_that_still_cools_is_waited_for() {
    let (kitchen, port) = Kitchen::on_a_port();
    kitchen.service(&["source is up"]).stop();
    let device = Device::of(port, (COOL_V, COOL_C));
    let stop = Arc::new(Mutex::new(false));
    let (shown, stopped) = (Arc::clone(&device.shown), Arc::clone(&stop));
    let cooling = thread::spawn(move || {
        let begun = std::time::Instant::now();
        while !*stopped.lock().expect("no holder panics") {
            let celsius = 22.0 + 11.0 * (-begun.elapsed().as_secs_f64() / 20.0).exp();
            if let Some(shown) = shown.lock().expect("no holder panics").as_mut() {
                shown.1 = celsius;
            }
            thread::sleep(Duration::from_millis(20));
        }
    });
    let arguments = ["prove", "dm1", "--by", "AB", "--order", "rinse", "--seconds-each", "12", "--yes"];
    let arguments = [&arguments[..], &["--language", "es"]].concat();
    let mut terminal = Terminal::start(&mut kitchen.program(&arguments), 80, 60);
    terminal.until("dm1/rinse aún baja");
    terminal.until("✗ dm1/rinse no estaba en reposo");
    terminal.until("error[wiring-not-good]");
    assert_eq!(terminal.ended().code(), Some(1), "{}", terminal.seen());
    let seen = terminal.seen();
    assert!(!seen.contains("AHORA caliente") && !seen.contains("invertidos"), "{seen}");
    *stop.lock().expect("no holder panics") = true;
    cooling.join().expect("no panic");
    let proof = recorded(&kitchen);
    assert_eq!(proof.probes[0].finding, "not-at-rest", "{proof:?}");
    let seen = &proof.probes[0].seen;
    assert!(matches!(seen, Evidence::Moved { c_per_min } if *c_per_min < 0.0), "in numbers: {proof:?}");
}

// Codes are those of sysexits.h (4.3BSD).
#[test]
fn what_makes_no_sense_is_refused_before_anything_is_warmed() {
    let (kitchen, _port) = Kitchen::on_a_port();
    for (arguments, word) in [
        (&["dm9", "--yes"][..], "no temperature probe of a machine «dm9»"),
        (&["dm1", "--yes", "--order", "wash,ware"], "its probes are rinse, wash"),
        (&["dm1"], "add --yes"),
        (&["dm1", "--yes", "--water", "90C"], "warmer scalds"),
        (&["dm1", "--yes", "--water", "10C"], "colder shows nothing"),
        (
            &["dm1", "--yes", "--water", "300F", "--scale", "f"],
            "water of 300.00 °F is not for a proof by hand",
        ),
    ] {
        let output =
            kitchen.program(&[&["prove", "--by", "AB"], arguments].concat()).stdin(Stdio::null()).output();
        let output = output.expect("the program starts");
        let said = String::from_utf8([output.stdout, output.stderr].concat()).expect("UTF-8");
        assert_eq!(output.status.code(), Some(64), "{arguments:?}: {said}");
        assert!(said.contains(word), "{arguments:?}: {said}");
    }
}
