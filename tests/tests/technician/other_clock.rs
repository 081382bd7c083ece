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

/// The windows of a dialog, as `core::alert::dialog` gives them: the first one; the shortest that is prolonged; what
/// is left after the end.
const WINDOWS: [Duration; 3] = [Duration::from_secs(240), Duration::from_secs(300), Duration::from_secs(180)];

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
        demo.until(|records| !records.is_empty());
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

// Own promise: a machine is under work from the beginning of a dialog to its end, by the clock by which its racks
// are judged. Eight seconds are eight minutes of that clock, and the first window lasts four: a dialog that goes by
// the computer's clock says nothing more in them. A slow computer makes the dialog longer on both clocks.
#[test]
fn a_dialog_holds_its_machine_by_the_clock_of_the_service() {
    let demo = Demo::start();
    let rows: [(&[&str], i32); 3] = [
        (&["calibrate", "dm1/rinse", "--ice", "--seconds-max", "8"], 1),
        // The tank, since the final rinse of a rack would be taken for the step.
        (&["respond", "dm1/wash", "--seconds-max", "8"], 1),
        (&["prove", "dm1", "--seconds-each", "4"], 1),
    ];
    for (command, expected) in rows {
        let (before, begun) = (demo.work().len(), demo.last());
        let (code, said) = demo.say(&[command, &["--by", "Eli", "--yes"]].concat());
        assert_eq!(code, Some(expected), "{said}");
        let work = demo.work().split_off(before);
        assert!(work.len() > 2, "begun, gone on, ended: {work:?}");
        assert!(work.is_sorted_by_key(|(recorded, _)| *recorded), "{work:?}");
        assert!(work[0].0 >= begun && work.iter().all(|(_, one)| !one.ended), "{work:?}");
        let [first, prolonged, left] = WINDOWS;
        let windows: Vec<Duration> = work.iter().map(|(at, one)| one.until.since(*at)).collect();
        let (last, held) = windows.split_last().expect("its end");
        assert!(held[0] == first && *last == left, "{windows:?}");
        assert!(held[1..].iter().all(|window| *window >= prolonged), "{windows:?}");
    }
    let proved = demo.records().into_iter().find_map(|record| match record.body {
        Body::WiringProof(proof) => Some((record.recorded, proof.at)),
        _ => None,
    });
    let (recorded, at) = proved.expect("a proof is on record, though not a good one");
    let begun = demo.work().iter().map(|(at, _)| *at).min().expect("dialogs are on record");
    assert!(
        begun <= at && at <= recorded,
        "proved at {at}, recorded at {recorded}, the first dialog at {begun}"
    );
}

// Own promise: what a command takes from a clock it takes from that of the service: it lies between the last record
// before the command and the command's own, however long that takes.
#[test]
fn times_of_commands_are_those_of_the_service() {
    let demo = Demo::start();
    let hours = Duration::from_secs(7_200);
    for (arguments, ahead) in [(&["--for", "2h"][..], hours), (&["--end"], Duration::ZERO)] {
        let before = demo.last();
        let (code, said) = demo.say(&[&["maintenance", "dm1", "--by", "Eli"], arguments].concat());
        assert_eq!(code, Some(0), "{said}");
        let (recorded, work) = demo.work().pop().expect("it is on record");
        let between = before.plus(ahead) <= work.until && work.until <= recorded.plus(ahead);
        assert!(between, "{before}, {recorded}: {work:?}");
    }

    let before = demo.last();
    let (code, said) = demo.say(&["enter", "drain-and-clean", "dm1", "--by", "Ana"]);
    assert_eq!(code, Some(0), "{said}");
    let checked = demo.records().into_iter().rev().find_map(|record| match record.body {
        Body::Check(check) => Some((record.recorded, check.at())),
        _ => None,
    });
    let (recorded, at) = checked.expect("it is on record");
    assert!(before <= at && at <= recorded, "made at {at}, recorded at {recorded}, after {before}");

    // What is due is so since this day, by the demo's clock: by the computer's a week has gone by.
    let begun = demo.records().first().expect("its start is on record").recorded;
    let day = Duration::from_secs(86_400);
    let (code, said) = demo.say(&["enter", "due", "--json"]);
    assert_eq!(code, Some(0), "{said}");
    let mut due = 0;
    for line in said.lines() {
        let row: serde_json::Value = serde_json::from_str(line).expect("a row is JSON");
        let since: Timestamp = row["since"].as_str().and_then(|text| text.parse().ok()).expect("since when");
        assert!(begun.minus(day) <= since && since <= demo.last().plus(day), "{line}");
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
