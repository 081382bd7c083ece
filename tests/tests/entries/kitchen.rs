//! A kitchen at which people enter things, and a service that runs in it.

use std::fs::{self, File};
use std::io::Write;
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use std::thread;
use std::time::{Duration, Instant};

use jiff::ToSpan;
use rinseward::core::record::Record;
use rustix::process::{Pid, Signal, kill_process};
use tempfile::TempDir;

use super::now;
use crate::ledger::fixture;

/// Longest wait for a process to do what is awaited.
const WAIT_MAX: Duration = Duration::from_secs(60);

/// A hot-water machine `dm1` and a chlorine machine `dm2`; a shift began two hours ago.
pub(super) struct Kitchen {
    directory: TempDir,
}

impl Kitchen {
    pub(super) fn new() -> Self {
        let kitchen = Self { directory: TempDir::new().expect("a temporary directory") };
        let clock = |hours: i64| {
            let at = now().checked_add(hours.hours()).expect("a near time");
            jiff::tz::TimeZone::UTC.to_datetime(at).strftime("%H:%M").to_string()
        };
        let (from, to) = (clock(-2), clock(6));
        let machine = |name: &str, more: &str| {
            format!(
                "[[machine]]\nname = \"{name}\"\nkind = \"stationary-rack-dual-temperature\"\n\
                 wash-time = \"50s\"\nrinse-time = \"25s\"\ndisorder-window = \"1s\"\n{more}\
                 probes = [\"wash\", \"rinse\"]\n"
            )
        };
        let text = format!(
            "[site]\ntime-zone = \"UTC\"\n[ledger]\npath = \"ledger.sqlite\"\ncommit-interval = \"20ms\"\n\
             {}{}[[source]]\nname = \"pipe\"\nkind = \"replay\"\n\
             [[shift]]\nname = \"day\"\nhours = [\"mon-sun {from}-{to}\"]\n\
             [[contact]]\nname = \"ana\"\nroutes = [\"email:ana@example.org\"]\n\
             [mail]\nhost = \"127.0.0.1\"\nport = 9\nsecurity = \"none\"\nfrom = \"kitchen@example.org\"\n",
            machine("dm1", ""),
            machine("dm2", "sanitizing = \"chlorine\"\n")
        );
        fs::write(kitchen.path("gateway.toml"), text).expect("a temporary file");
        kitchen
    }

    pub(super) fn path(&self, name: &str) -> PathBuf {
        self.directory.path().join(name)
    }

    pub(super) fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_rinseward"));
        command.args(arguments).arg("--config").arg(self.path("gateway.toml"));
        // Not the zone of the site: times are typed by the clock at its wall.
        command.env_remove("RUST_LOG").env("TZ", "Asia/Tokyo");
        command
    }

    /// Exit code and everything said.
    pub(super) fn say(&self, arguments: &[&str]) -> (Option<i32>, String) {
        let output = self.command(arguments).stdin(Stdio::null()).output().expect("the program starts");
        let said = [output.stdout, output.stderr].concat();
        (output.status.code(), String::from_utf8(said).expect("UTF-8"))
    }

    /// A run whose input has ended leaves a ledger behind.
    pub(super) fn opened(self) -> Self {
        let (code, said) = self.say(&["run"]);
        assert_eq!(code, Some(0), "{said}");
        self
    }

    pub(super) fn records(&self) -> Vec<Record> {
        fixture::records(&self.path("ledger.sqlite"))
    }

    /// Enters something that is taken, and gives the number of its record.
    pub(super) fn enter(&self, arguments: &[&str]) -> u64 {
        let (code, said) = self.say(&[&["enter"], arguments, &["--json"]].concat());
        assert_eq!(code, Some(0), "{arguments:?}: {said}");
        let done: serde_json::Value = serde_json::from_str(&said).expect("JSON");
        done["record"].as_u64().unwrap_or_else(|| panic!("{arguments:?}: {said}"))
    }
}

/// A running service; killed when dropped.
pub(super) struct Service {
    child: Child,
    log: PathBuf,
}

impl Service {
    pub(super) fn start(kitchen: &Kitchen) -> Self {
        let log = kitchen.path("gateway.log");
        let file = File::create(&log).expect("a temporary file");
        let child =
            kitchen.command(&["run"]).stdin(Stdio::piped()).stdout(Stdio::null()).stderr(file).spawn();
        let service = Self { child: child.expect("the program starts"), log };
        service.until(|| service.log().contains("control socket"));
        service
    }

    pub(super) fn log(&self) -> String {
        fs::read_to_string(&self.log).unwrap_or_default()
    }

    pub(super) fn until(&self, holds: impl Fn() -> bool) {
        let limit = Instant::now() + WAIT_MAX;
        while !holds() {
            assert!(Instant::now() < limit, "{}", self.log());
            thread::sleep(Duration::from_millis(10));
        }
    }

    pub(super) fn feed(&mut self, lines: &[String]) {
        let pipe = self.child.stdin.as_mut().expect("it is piped");
        for line in lines {
            writeln!(pipe, "{line}").expect("it reads");
        }
        pipe.flush().expect("it reads");
    }

    pub(super) fn stop(mut self) {
        kill_process(Pid::from_child(&self.child), Signal::TERM).expect("our own child");
        let status = self.child.wait().expect("our own child");
        assert!(status.success(), "{status}: {}", self.log());
    }
}

impl Drop for Service {
    fn drop(&mut self) {
        // Has no effect on a child that has ended.
        drop(self.child.kill());
        drop(self.child.wait());
    }
}
