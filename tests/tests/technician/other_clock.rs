//! Commands beside a service whose clock is another than the computer's: that of a demo, a week behind and sixty
//! times as fast.

use std::collections::BTreeSet;
use std::fs::{self, File};
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use std::thread;
use std::time::{Duration, Instant};

use rinseward::core::record::{Body, Maintenance, Record};
use rinseward::core::time::Timestamp;
use rustix::process::{Pid, Signal, kill_process};
use tempfile::TempDir;

use super::kitchen::WAIT_MAX;
use crate::ledger::fixture;

/// How far an instant that a command gives may lie from that of its record, on the clock of the demo: the length
/// of the command at sixty times the real speed.
const NEAR: Duration = Duration::from_secs(3_600);

/// A running demo; killed when dropped.
struct Demo {
    directory: TempDir,
    child: Child,
}

impl Demo {
    fn start() -> Self {
        let directory = TempDir::new().expect("a temporary directory");
        let log = File::create(directory.path().join("demo.log")).expect("a temporary file");
        let child = Command::new(env!("CARGO_BIN_EXE_rinseward"))
            .args(["demo", "--plain", "--ledger"])
            .arg(directory.path())
            .env_remove("RUST_LOG")
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(log)
            .spawn()
            .expect("the program starts");
        let demo = Self { directory, child };
        demo.wait(|| demo.path("ledger.sqlite.socket").exists());
        demo
    }

    fn wait(&self, holds: impl Fn() -> bool) {
        let limit = Instant::now() + WAIT_MAX;
        while !holds() {
            let log = || fs::read_to_string(self.path("demo.log"));
            assert!(Instant::now() < limit, "{:?}", log());
            thread::sleep(Duration::from_millis(10));
        }
    }

    /// Waits until this is so of what is on record.
    fn until(&self, holds: impl Fn(&[Record]) -> bool) {
        self.wait(|| holds(&self.records()));
    }

    fn path(&self, name: &str) -> PathBuf {
        self.directory.path().join(name)
    }

    /// Exit code and everything said by a command by the configuration of the demo.
    fn say(&self, arguments: &[&str]) -> (Option<i32>, String) {
        let configuration = self.path("gateway.toml");
        self.run(&[arguments, &["--config", configuration.to_str().expect("a name in Unicode")]].concat())
    }

    fn run(&self, arguments: &[&str]) -> (Option<i32>, String) {
        let mut command = Command::new(env!("CARGO_BIN_EXE_rinseward"));
        command.args(arguments).env_remove("RUST_LOG").stdin(Stdio::null());
        let output = command.output().expect("the program starts");
        (output.status.code(), String::from_utf8_lossy(&[output.stdout, output.stderr].concat()).into_owned())
    }

    fn records(&self) -> Vec<Record> {
        fixture::records(&self.path("ledger.sqlite"))
    }

    /// When the newest record of the demo was made.
    fn last(&self) -> Timestamp {
        self.records().last().expect("its start is on record").recorded
    }

    fn work(&self) -> Vec<(Timestamp, Maintenance)> {
        let work = self.records().into_iter().filter_map(|record| match record.body {
            Body::Maintenance(work) => Some((record.recorded, work)),
            _ => None,
        });
        work.collect()
    }
}

impl Drop for Demo {
    fn drop(&mut self) {
        // One that has ended already needs no signal.
        let _ended = kill_process(Pid::from_child(&self.child), Signal::TERM);
        drop(self.child.wait());
    }
}

fn apart(one: Timestamp, other: Timestamp) -> Duration {
    one.since(other).max(other.since(one))
}

// Own promise: a machine is under work from the beginning of a dialog to its end, by the clock by which its racks
// are judged. Eight seconds are eight minutes of that clock, and the first window lasts four.
#[test]
fn a_dialog_holds_its_machine_by_the_clock_of_the_service() {
    let demo = Demo::start();
    let rows: [(&[&str], i32); 3] = [
        (&["calibrate", "dm1/rinse", "--ice", "--seconds-max", "8"], 1),
        (&["respond", "dm1/rinse", "--seconds-max", "8"], 1),
        (&["prove", "dm1", "--seconds-each", "4"], 1),
    ];
    for (command, expected) in rows {
        let before = demo.work().len();
        let (code, said) = demo.say(&[command, &["--by", "Eli", "--yes"]].concat());
        assert_eq!(code, Some(expected), "{said}");
        let work = demo.work().split_off(before);
        assert!(work.len() > 2, "begun, gone on, ended: {work:?}");
        for pair in work.windows(2) {
            let ((_, held), (recorded, next)) = (&pair[0], &pair[1]);
            assert!(!next.ended && *recorded <= held.until, "it lapsed meanwhile: {work:?}");
        }
    }
    let proved = demo.records().into_iter().find_map(|record| match record.body {
        Body::WiringProof(proof) => Some((record.recorded, proof.at)),
        _ => None,
    });
    let (recorded, at) = proved.expect("a proof is on record, though not a good one");
    assert!(apart(recorded, at) < NEAR, "proved at {at}, recorded at {recorded}");
}

// Own promise: what a command takes from a clock it takes from that of the service.
#[test]
fn times_of_commands_are_those_of_the_service() {
    let demo = Demo::start();
    let (code, said) = demo.say(&["maintenance", "dm1", "--for", "2h", "--by", "Eli"]);
    assert_eq!(code, Some(0), "{said}");
    let (recorded, work) = demo.work().pop().expect("it is on record");
    assert!(apart(recorded.plus(Duration::from_secs(7_200)), work.until) < NEAR, "{recorded}: {work:?}");
    let (code, said) = demo.say(&["maintenance", "dm1", "--end", "--by", "Eli"]);
    assert_eq!(code, Some(0), "{said}");
    let (recorded, work) = demo.work().pop().expect("it is on record");
    assert!(apart(recorded, work.until) < NEAR, "{recorded}: {work:?}");

    let (code, said) = demo.say(&["enter", "drain-and-clean", "dm1", "--by", "Ana"]);
    assert_eq!(code, Some(0), "{said}");
    let checked = demo.records().into_iter().rev().find_map(|record| match record.body {
        Body::Check(check) => Some((record.recorded, check.at())),
        _ => None,
    });
    let (recorded, at) = checked.expect("it is on record");
    assert!(apart(recorded, at) < NEAR, "made at {at}, recorded at {recorded}");

    // What is due is so for hours at most: by the computer's clock a week has gone by.
    let (code, said) = demo.say(&["enter", "due", "--json"]);
    assert_eq!(code, Some(0), "{said}");
    let mut due = 0;
    for line in said.lines() {
        let row: serde_json::Value = serde_json::from_str(line).expect("a row is JSON");
        let since: Timestamp = row["since"].as_str().and_then(|text| text.parse().ok()).expect("since when");
        assert!(apart(since, demo.last()) < Duration::from_secs(86_400), "{line}");
        due += 1;
    }
    assert!(due > 0, "a chlorine machine asks for a strip in each shift: {said}");

    // The days until now are those of the demo, whether it is found by its configuration or by its ledger, and by its
    // own clock it runs.
    demo.until(|records| records.iter().any(|record| matches!(record.body, Body::Cycle(_))));
    let ledger = demo.path("ledger.sqlite");
    let ledger = ledger.to_str().expect("a name in Unicode");
    for (code, said) in [
        demo.say(&["history", "--show", "days", "--json"]),
        demo.run(&["history", "--show", "days", "--json", "--ledger", ledger]),
    ] {
        assert_eq!(code, Some(0), "{said}");
        let rows = said.lines().map(|line| serde_json::from_str(line).expect("a row is JSON"));
        let days: BTreeSet<String> = rows.map(|row: serde_json::Value| row["day"].to_string()).collect();
        assert_eq!(days.len(), 1, "a demo begins at noon: {said}");
    }
    let (code, said) = demo.say(&["history", "--show", "gaps"]);
    assert!(code == Some(0) && !said.contains("was down"), "{said}");
}
