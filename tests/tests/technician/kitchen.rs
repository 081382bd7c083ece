//! A kitchen at whose probe a technician works, and the processes that run in it.

use std::fs::{self, File};
use std::io::{BufRead, BufReader, Read};
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, sync_channel};
use std::thread;
use std::time::{Duration, Instant};

use rinseward::core::record::{Body, Cycle, Record};
use rustix::process::{Pid, Signal, kill_process};
use tempfile::TempDir;

use crate::ledger::fixture;
use crate::live::port::Port;

/// Longest wait for a process to do what is awaited.
pub(super) const WAIT_MAX: Duration = Duration::from_secs(90);
/// Every temperature that the probe shows is so much too high, °C.
pub(super) const TOO_HIGH_C: f64 = 0.6;

/// A machine with a rinse of 12 s on a port, and a clock that runs a quarter of an hour behind, so that
/// what it measures over minutes can be delivered at once.
pub(super) struct Kitchen {
    pub(super) directory: TempDir,
    pub(super) port: Port,
    pub(super) begun: f64,
    pub(super) delivered: Vec<(f64, f64)>,
}

impl Kitchen {
    pub(super) fn new() -> Self {
        let directory = TempDir::new().expect("a temporary directory");
        let text = "[site]\ntime-zone = \"UTC\"\n[ledger]\npath = \"ledger.sqlite\"\ncommit-interval = \"20ms\"\n\
            [[machine]]\nname = \"dm1\"\nkind = \"stationary-rack-dual-temperature\"\n\
            wash-time = \"44s\"\nrinse-time = \"12s\"\ndisorder-window = \"1s\"\n\
            [[probe]]\nname = \"dm1/rinse\"\ntau = \"1.2s\"\n[[probe]]\nname = \"dm1/running\"\n\
            [[source]]\nname = \"port1\"\nkind = \"serial\"\ndevice = \"device\"\nformat = \"senml\"\n";
        fs::write(directory.path().join("gateway.toml"), text).expect("a temporary file");
        let port = Port::plugged(&directory.path().join("device"));
        let begun = jiff::Timestamp::now().as_second() as f64 - 900.0;
        Self { directory, port, begun, delivered: Vec::new() }
    }

    pub(super) fn path(&self, name: &str) -> PathBuf {
        self.directory.path().join(name)
    }

    pub(super) fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_rinseward"));
        command.args(arguments).arg("--config").arg(self.path("gateway.toml")).env_remove("RUST_LOG");
        command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
        command
    }

    /// Exit code and everything said.
    pub(super) fn say(&self, arguments: &[&str]) -> (Option<i32>, String) {
        let output = self.command(arguments).output().expect("the program starts");
        (output.status.code(), String::from_utf8_lossy(&[output.stdout, output.stderr].concat()).into_owned())
    }

    /// The probe shows this from `from` s on, four times a second for `seconds`.
    pub(super) fn measure(&mut self, from: f64, seconds: f64, celsius: impl Fn(f64) -> f64) {
        self.measure_every(0.25, from, seconds, celsius);
    }

    pub(super) fn measure_every(
        &mut self,
        apart: f64,
        from: f64,
        seconds: f64,
        celsius: impl Fn(f64) -> f64,
    ) {
        let times = (0..).map(|i| f64::from(i) * apart).take_while(|t| *t < seconds);
        for t in times {
            let noise = 0.03 * ((from + t) * 37.0).sin();
            let value = ((celsius(t) + TOO_HIGH_C + noise) * 100.0).round() / 100.0;
            let at = self.begun + from + t;
            self.delivered.push((at, value));
            self.port.print(&format!("[{{\"n\":\"dm1/rinse\",\"t\":{at:.2},\"v\":{value}}}]\n"));
        }
    }

    /// A line at rest, a rack whose rinse flows with 82.0 °C for 12 s from the 50th second on, and rest again.
    pub(super) fn rack(&mut self, from: f64) {
        self.rack_of(82.0, from);
    }

    /// The same with a rinse of this temperature, °C.
    pub(super) fn rack_of(&mut self, rinse_c: f64, from: f64) {
        self.measure(from, 120.0, |t| {
            let cooling = |from: f64, since: f64| from - 0.12 * since;
            if t < 50.0 {
                60.0
            } else if t < 62.0 {
                rinse_c - (rinse_c - 60.0) * (-(t - 50.0) / 1.2).exp()
            } else {
                cooling(rinse_c, t - 62.0)
            }
        });
    }

    pub(super) fn records(&self) -> Vec<Record> {
        fixture::records(&self.path("ledger.sqlite"))
    }

    /// The cycle whose rinse began near this second.
    pub(super) fn cycle_at(&self, second: f64) -> Option<Cycle> {
        let wanted = self.begun + second;
        self.records().into_iter().find_map(|record| match record.body {
            Body::Cycle(cycle) if (cycle.rinse_started.seconds() - wanted).abs() < 3.0 => Some(*cycle),
            _ => None,
        })
    }

    pub(super) fn calibrations(&self) -> usize {
        let records = self.records();
        records
            .iter()
            .filter(|record| matches!(record.body, Body::Calibration(_) | Body::Response(_)))
            .count()
    }
}

/// A process whose lines are looked at as they come; killed when dropped.
pub(super) struct Running {
    pub(super) child: Child,
    pub(super) told: Receiver<String>,
    pub(super) heard: Vec<String>,
}

impl Running {
    pub(super) fn start(kitchen: &Kitchen, arguments: &[&str]) -> Self {
        let mut child = kitchen.command(arguments).spawn().expect("the program starts");
        let out = child.stdout.take().expect("it is piped");
        let (to, told) = sync_channel(1_024);
        thread::spawn(move || {
            for line in BufReader::new(out).lines().map_while(Result::ok) {
                if to.send(line).is_err() {
                    return;
                }
            }
        });
        Self { child, told, heard: Vec::new() }
    }

    /// Waits for a line with this in it.
    pub(super) fn until(&mut self, part: &str) {
        let limit = Instant::now() + WAIT_MAX;
        loop {
            let left = limit.saturating_duration_since(Instant::now());
            match self.told.recv_timeout(left) {
                Ok(line) => {
                    self.heard.push(line);
                    if self.heard.last().is_some_and(|line| line.contains(part)) {
                        return;
                    }
                }
                Err(error) => {
                    let complaint = self.complaint();
                    panic!("{error}: «{part}» after {:#?}{complaint}", self.heard)
                }
            }
        }
    }

    pub(super) fn complaint(&mut self) -> String {
        drop(self.child.kill());
        let mut said = String::new();
        if let Some(err) = self.child.stderr.as_mut() {
            drop(err.read_to_string(&mut said));
        }
        said
    }

    pub(super) fn signal(&self, signal: Signal) {
        kill_process(Pid::from_child(&self.child), signal).expect("our own child");
    }

    pub(super) fn ended(mut self) -> (Option<i32>, String) {
        let status = self.child.wait().expect("our own child");
        self.heard.extend(self.told.iter());
        let said = self.complaint();
        (status.code(), self.heard.join("\n") + &said)
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        drop(self.child.kill());
        drop(self.child.wait());
    }
}

/// A running service; killed when dropped.
pub(super) struct Service {
    pub(super) child: Child,
    pub(super) log: PathBuf,
}

impl Service {
    pub(super) fn start(kitchen: &Kitchen) -> Self {
        let log = kitchen.path("gateway.log");
        let file = File::create(&log).expect("a temporary file");
        let child = kitchen.command(&["run"]).stdout(Stdio::null()).stderr(file).spawn();
        let service = Self { child: child.expect("the program starts"), log };
        service.until(|log| log.contains("control socket"));
        service
    }

    pub(super) fn until(&self, holds: impl Fn(&str) -> bool) {
        let limit = Instant::now() + WAIT_MAX;
        loop {
            let log = fs::read_to_string(&self.log).unwrap_or_default();
            if holds(&log) {
                return;
            }
            assert!(Instant::now() < limit, "{log}");
            thread::sleep(Duration::from_millis(10));
        }
    }

    pub(super) fn judged(&self, kitchen: &Kitchen, second: f64) -> Cycle {
        self.until(|_| kitchen.cycle_at(second).is_some());
        kitchen.cycle_at(second).expect("it was there")
    }

    pub(super) fn stop(mut self) {
        kill_process(Pid::from_child(&self.child), Signal::TERM).expect("our own child");
        assert!(self.child.wait().expect("our own child").success());
    }

    pub(super) fn kill(mut self) {
        self.child.kill().expect("our own child");
        self.child.wait().expect("our own child");
    }
}

impl Drop for Service {
    fn drop(&mut self) {
        // Has no effect on a child that has ended.
        drop(self.child.kill());
        drop(self.child.wait());
    }
}
