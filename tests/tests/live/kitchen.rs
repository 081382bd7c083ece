//! A kitchen of one machine, and the service in it.

use std::fs::{self, File};
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use std::thread;
use std::time::{Duration, Instant};

use rustix::process::{Pid, Signal, kill_process};
use tempfile::TempDir;

use super::port::Port;

/// Longest wait for a process to do what is awaited.
const WAIT_MAX: Duration = Duration::from_secs(60);

/// A machine with a rinse probe that reads half a degree high, and a thermocouple in its tank.
const MACHINE: &str = "[site]\ntime-zone = \"UTC\"\n[ledger]\npath = \"ledger.sqlite\"\n\
    [[machine]]\nname = \"dm1\"\nkind = \"stationary-rack-dual-temperature\"\n\
    wash-time = \"45s\"\nrinse-time = \"10s\"\n\
    [[probe]]\nname = \"dm1/rinse\"\n[probe.calibration]\noffset = \"-0.5 K\"\n\
    [[probe]]\nname = \"dm1/wash\"\nsignal = \"thermocouple\"\nthermocouple = \"K\"\n\
    cold-junction = \"dm1/terminals\"\n\
    [[probe]]\nname = \"dm1/terminals\"\nrole = \"cold-junction\"\n\
    [[probe]]\nname = \"dm1/running\"\n";

/// The kitchen's configuration in a directory of its own.
pub(crate) struct Kitchen {
    directory: TempDir,
}

impl Kitchen {
    pub(crate) fn new(source: &str) -> Self {
        let kitchen = Self { directory: TempDir::new().expect("a temporary directory") };
        let text = format!("{MACHINE}[[source]]\n{source}");
        fs::write(kitchen.path("gateway.toml"), text).expect("a temporary file");
        kitchen
    }

    pub(crate) fn on_a_port() -> (Self, Port) {
        let kitchen =
            Self::new("name = \"port1\"\nkind = \"serial\"\ndevice = \"device\"\nformat = \"plain\"\n");
        let port = Port::plugged(&kitchen.path("device"));
        (kitchen, port)
    }

    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.directory.path().join(name)
    }

    /// The program with these arguments and this configuration.
    pub(crate) fn program(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_rinseward"));
        command.args(arguments).arg("--config").arg(self.path("gateway.toml")).env_remove("RUST_LOG");
        command
    }

    /// A running service, once all of this is in its log.
    pub(crate) fn service(&self, said: &[&str]) -> Service {
        let log = self.path("gateway.log");
        let file = File::create(&log).expect("a temporary file");
        let mut program = self.program(&["run"]);
        let child = program.stdin(Stdio::null()).stdout(Stdio::null()).stderr(file).spawn();
        let service = Service { child: child.expect("the program starts"), log };
        service.until(&[&["control socket"], said].concat());
        service
    }

    /// Adds to the configuration.
    pub(crate) fn append(&self, text: &str) {
        let path = self.path("gateway.toml");
        let before = fs::read_to_string(&path).expect("our own file");
        fs::write(path, before + text).expect("our own file");
    }
}

/// A running service; killed when dropped.
pub(crate) struct Service {
    child: Child,
    log: PathBuf,
}

impl Service {
    fn log(&self) -> String {
        fs::read_to_string(&self.log).unwrap_or_default()
    }

    /// Waits until all of this is in its log.
    fn until(&self, said: &[&str]) {
        let limit = Instant::now() + WAIT_MAX;
        loop {
            let log = self.log();
            if said.iter().all(|word| log.contains(word)) {
                return;
            }
            assert!(Instant::now() < limit, "{log}");
            thread::sleep(Duration::from_millis(10));
        }
    }

    /// Ends it as the service manager does.
    pub(crate) fn stop(mut self) {
        kill_process(Pid::from_child(&self.child), Signal::TERM).expect("our own child");
        let status = self.child.wait().expect("our own child");
        assert!(status.success(), "{status}: {}", self.log());
    }
}

impl Drop for Service {
    fn drop(&mut self) {
        drop(self.child.kill());
        drop(self.child.wait());
    }
}
