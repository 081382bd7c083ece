//! What `watch --json` tells, by each way.

use std::io::{BufRead, BufReader};
use std::process::{Child, ChildStdout, Command, Stdio};
use std::sync::mpsc::{Receiver, sync_channel};
use std::thread;
use std::time::{Duration, Instant};

use serde_json::Value;

use super::kitchen::Kitchen;
use super::port::Port;
use crate::mqtt::broker::Broker;

/// Longest wait for a process to do what is awaited.
const WAIT_MAX: Duration = Duration::from_secs(60);

/// What the device prints, and what is told of it: delivered, before and after calibration, fault.
/// 3.096 mV is type K at 100 °C against 25 °C (NIST ITS-90 table); −0.5 K is the offset above.
const TOLD: [Row; 6] = [
    ("dm1/rinse", "82.5", "82.5", Some(82.5), Some(82.0), None),
    ("dm1/wash", "0.003096", "0.003096", None, None, Some("no-cold-junction")),
    ("dm1/terminals", "25", "25.0", Some(25.0), Some(25.0), None),
    ("dm1/wash", "0.003096", "0.003096", Some(100.0), Some(100.0), None),
    ("dm1/running", "true", "true", None, None, None),
    ("dm1/rinse", "open-circuit", "\"open-circuit\"", None, None, Some("open-circuit")),
];

/// Channel, what is printed, delivered, °C before and after calibration, fault.
type Row = (&'static str, &'static str, &'static str, Option<f64>, Option<f64>, Option<&'static str>);

fn watch(kitchen: &Kitchen, arguments: &[&str]) -> Watching {
    let mut program = kitchen.program(&[&["watch", "--json"], arguments].concat());
    let child = program.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn();
    let mut child = child.expect("the program starts");
    let told = lines(child.stdout.take().expect("it is piped"));
    Watching { child, told }
}

/// The lines of a process as they come.
fn lines(out: ChildStdout) -> Receiver<String> {
    let (to, from) = sync_channel(1_024);
    thread::spawn(move || {
        for line in BufReader::new(out).lines().map_while(Result::ok) {
            if to.send(line).is_err() {
                return;
            }
        }
    });
    from
}

/// A running `watch --json`; killed when dropped.
struct Watching {
    child: Child,
    told: Receiver<String>,
}

impl Watching {
    fn next(&self) -> Value {
        let line = self.told.recv_timeout(WAIT_MAX).expect("it tells something in time");
        serde_json::from_str(&line).unwrap_or_else(|error| panic!("{error}: {line}"))
    }

    /// The next event of this kind.
    fn until(&self, event: &str) -> Value {
        loop {
            let next = self.next();
            if next["event"] == event {
                return next;
            }
        }
    }

    /// The exit code, and what was said on standard error.
    fn ended(mut self) -> (Option<i32>, String) {
        let limit = Instant::now() + WAIT_MAX;
        let status = loop {
            if let Some(status) = self.child.try_wait().expect("our own child") {
                break status;
            }
            assert!(Instant::now() < limit, "it does not end");
            thread::sleep(Duration::from_millis(5));
        };
        let mut said = String::new();
        let mut err = self.child.stderr.take().expect("it is piped");
        std::io::Read::read_to_string(&mut err, &mut said).expect("UTF-8");
        (status.code(), said)
    }
}

impl Drop for Watching {
    fn drop(&mut self) {
        drop(self.child.kill());
        drop(self.child.wait());
    }
}

fn check_told(watching: &Watching, port: &mut Port) {
    // A port may be opened in the middle of a line: what comes before the first line end is dropped.
    port.print("\n");
    for (channel, printed, delivered, measured, corrected, fault) in TOLD {
        port.print(&format!("{channel} {printed}\n"));
        let told = watching.until("reading");
        assert_eq!((&told["channel"], &told["machine"]), (&channel.into(), &"dm1".into()), "{told}");
        assert_eq!(told["delivered"].to_string(), delivered, "{told}");
        assert_eq!(told["fault"].as_str(), fault, "{told}");
        for (name, expected) in [("measured_c", measured), ("corrected_c", corrected)] {
            match (told[name].as_f64(), expected) {
                (Some(found), Some(expected)) => assert!((found - expected).abs() < 0.02, "{told}"),
                (found, expected) => assert_eq!(found, expected, "{name}: {told}"),
            }
        }
        let place = match channel {
            "dm1/rinse" => Some("final-rinse"),
            "dm1/wash" => Some("wash-tank"),
            _ => None,
        };
        assert_eq!(told["place"].as_str(), place, "{told}");
        assert!(
            told["at"] == told["arrived"] && told["at"].is_string(),
            "it has no clock of its own: {told}"
        );
    }
}

// The exit codes are those of sysexits.h (4.3BSD): 64 usage, 74 input or output.
#[test]
fn each_value_is_told_alike_from_the_port_and_through_the_service() {
    let (kitchen, mut port) = Kitchen::on_a_port();
    let watching = watch(&kitchen, &["--machine", "dm1"]);
    let up = watching.until("source");
    assert_eq!((&up["source"], &up["up"]), (&"port1".into(), &true.into()), "{up}");
    check_told(&watching, &mut port);
    port.print("dm9/rinse 80\n");
    let refused = watching.until("refused");
    assert_eq!(refused["what"], "dm9/rinse 80", "{refused}");
    assert!(!kitchen.path("ledger.sqlite").exists(), "no ledger is touched");
    drop(watching);

    let service = kitchen.service(&["source is up"]);
    let watching = watch(&kitchen, &[]);
    let begun = watching.next();
    assert_eq!((&begun["event"], &begun["up"]), (&"source".into(), &true.into()), "{begun}");
    check_told(&watching, &mut port);
    let one = watch(&kitchen, &["--probe", "dm1/running"]);
    assert_eq!(one.next()["event"], "source");
    port.print("dm1/rinse 80\ndm1/running false\n");
    assert_eq!(one.until("reading")["channel"], "dm1/running");
    port.unplug();
    let gone = watching.until("source");
    assert_eq!((&gone["up"], gone["cause"].is_string()), (&false.into(), true), "{gone}");

    service.stop();
    for watching in [watching, one] {
        assert_eq!(watching.until("ended")["cause"], "the service is stopping");
        let (code, said) = watching.ended();
        assert_eq!(code, Some(74), "{said}");
        assert!(said.contains("source-lost"), "{said}");
    }
}

#[test]
fn what_is_not_configured_is_named_and_a_time_can_be_given() {
    let (kitchen, _port) = Kitchen::on_a_port();
    for (arguments, code, word) in [
        (["--machine", "dm2", "--seconds", "9"], 64, "give one of dm1"),
        (["--probe", "dm1/cold", "--seconds", "9"], 64, "dm1/rinse, dm1/wash, dm1/terminals, dm1/running"),
        (["--probe", "dm1/rinse", "--seconds", "0"], 0, ""),
    ] {
        let (ended, said) = watch(&kitchen, &arguments).ended();
        assert_eq!(ended, Some(code), "{arguments:?}: {said}");
        assert!(said.contains(word), "{arguments:?}: {said}");
    }
}

// MQTT 3.1.1 §3.1.2.4 and 5.0 §3.1.2.11.2: a session is that of a client identifier. What was
// published while the service was away is the service's, whoever looked on meanwhile.
#[test]
fn looking_on_at_a_broker_takes_nothing_from_the_service() {
    for version in ["5", "3.1.1"] {
        let broker = Broker::start();
        let kitchen = Kitchen::new(&format!(
            "name = \"broker\"\nkind = \"mqtt\"\nhost = \"127.0.0.1\"\nport = {}\nversion = \"{version}\"\n\
             [[source.subscription]]\nfilter = \"kitchen/senml\"\n",
            broker.port()
        ));
        kitchen.service(&["source is up"]).stop();

        let watching = watch(&kitchen, &[]);
        assert_eq!(watching.until("source")["up"], true);
        let pack = "[{\"bn\":\"dm1/\",\"n\":\"rinse\",\"u\":\"Cel\",\"v\":82.5}]";
        let sent = Command::new("mosquitto_pub")
            .args(["-p", &broker.port().to_string(), "-q", "1", "-t", "kitchen/senml", "-m", pack])
            .status();
        assert!(sent.is_ok_and(|status| status.success()), "{version}");
        let told = watching.until("reading");
        assert_eq!((&told["channel"], &told["corrected_c"]), (&"dm1/rinse".into(), &82.0.into()), "{told}");
        drop(watching);

        let service = kitchen.service(&["first reading", "dm1/rinse"]);
        service.stop();
    }
}
