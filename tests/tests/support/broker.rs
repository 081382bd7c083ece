//! A real Mosquitto on a free loopback port, with the settings that are shipped.

use std::fmt::Write as _;
use std::fs;
use std::net::{Ipv4Addr, TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::thread;
use std::time::{Duration, Instant};

use rustix::process::{Pid, Signal, kill_process};
use tempfile::TempDir;

/// Longest wait for a broker to answer or to end.
const WAIT_MAX: Duration = Duration::from_secs(10);

/// What Mosquitto logs once it listens.
const RUNNING: &str = " running";

/// A broker process; killed, by its number, when dropped.
pub(crate) struct Broker {
    directory: TempDir,
    port: u16,
    child: Option<Child>,
}

impl Broker {
    /// Starts a broker that lets everybody in.
    pub(crate) fn start() -> Self {
        Self::start_with(|_| "allow_anonymous true\n".to_owned())
    }

    /// Starts a broker; `settings` gets its directory and answers the rest of its configuration.
    ///
    /// What it writes stays in memory where the system has a place for that: a
    /// killed process leaves the same files there, and it writes with every message.
    pub(crate) fn start_with(settings: impl FnOnce(&Path) -> String) -> Self {
        let directory =
            TempDir::new_in("/dev/shm").or_else(|_| TempDir::new()).expect("a temporary directory");
        Self::start_in(directory, settings)
    }

    /// As [`Self::start_with`], in this directory.
    pub(crate) fn start_in(directory: TempDir, settings: impl FnOnce(&Path) -> String) -> Self {
        let settings = settings(directory.path());
        let mut broker = Self { directory, port: 0, child: None };
        // The port is free when it is asked for, but another test may take it first.
        for _ in 0..5 {
            broker.port = free_port();
            broker.write_configuration(&settings);
            if broker.spawn() {
                return broker;
            }
        }
        panic!("mosquitto does not start:\n{}", broker.log());
    }

    /// Its port on 127.0.0.1.
    pub(crate) fn port(&self) -> u16 {
        self.port
    }

    /// A file or directory of its own.
    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.directory.path().join(name)
    }

    /// Ends it as a restart of the service does (SIGTERM), and waits for its end.
    pub(crate) fn stop(&mut self) {
        self.end(Signal::TERM);
    }

    /// Ends it as a power cut would end the process (SIGKILL).
    pub(crate) fn kill(&mut self) {
        self.end(Signal::KILL);
    }

    /// Lets it hang: it keeps its sockets and answers nothing.
    pub(crate) fn freeze(&self) {
        self.signal(Signal::STOP);
    }

    /// Ends [`Self::freeze`].
    pub(crate) fn thaw(&self) {
        self.signal(Signal::CONT);
    }

    fn signal(&self, signal: Signal) {
        let child = self.child.as_ref().expect("a running broker");
        kill_process(Pid::from_child(child), signal).expect("our own child");
    }

    /// Starts it again on the same port, with what it has on disk.
    pub(crate) fn restart(&mut self) {
        assert!(self.spawn(), "mosquitto does not start again:\n{}", self.log());
    }

    /// Forgets every session and message that is on disk.
    pub(crate) fn wipe(&mut self) {
        assert!(self.child.is_none(), "a running broker would write it again");
        fs::remove_file(self.path("mosquitto.db")).expect("the broker wrote its sessions");
    }

    /// Waits until this payload is on disk.
    pub(crate) fn until_saved(&self, payload: &[u8]) {
        let deadline = Instant::now() + WAIT_MAX;
        let saved = |bytes: Vec<u8>| bytes.windows(payload.len()).any(|window| window == payload);
        while !fs::read(self.path("mosquitto.db")).is_ok_and(saved) {
            assert!(Instant::now() < deadline, "mosquitto does not save:\n{}", self.log());
            thread::sleep(Duration::from_millis(5));
        }
    }

    fn write_configuration(&self, settings: &str) {
        let mut text = String::new();
        let shipped = Path::new(env!("CARGO_MANIFEST_DIR")).join("deploy/mosquitto");
        writeln!(text, "include_dir {}", shipped.display()).expect("text");
        writeln!(text, "persistence_location {}/", self.directory.path().display()).expect("text");
        writeln!(text, "log_dest file {}", self.path("broker.log").display()).expect("text");
        // Started by root it would else become a user who cannot write here.
        writeln!(text, "user root\nlistener {} 127.0.0.1", self.port).expect("text");
        text.push_str(settings);
        fs::write(self.path("broker.conf"), text).expect("the configuration");
    }

    /// Starts the process; says whether it answers.
    fn spawn(&mut self) -> bool {
        let log = self.path("broker.log");
        let starts = self.log().matches(RUNNING).count();
        let child = Command::new(program("mosquitto"))
            .arg("-c")
            .arg(self.path("broker.conf"))
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("mosquitto is installed");
        let child = self.child.insert(child);
        let deadline = Instant::now() + WAIT_MAX;
        while Instant::now() < deadline {
            if child.try_wait().expect("our own child").is_some() {
                self.child = None;
                return false;
            }
            // Both, for a foreign broker may have come to the port first.
            if TcpStream::connect((Ipv4Addr::LOCALHOST, self.port)).is_ok()
                && fs::read_to_string(&log).is_ok_and(|log| log.matches(RUNNING).count() > starts)
            {
                return true;
            }
            thread::sleep(Duration::from_millis(5));
        }
        false
    }

    fn end(&mut self, signal: Signal) {
        self.signal(signal);
        let mut child = self.child.take().expect("a running broker");
        let deadline = Instant::now() + WAIT_MAX;
        while child.try_wait().expect("our own child").is_none() {
            assert!(Instant::now() < deadline, "mosquitto does not end:\n{}", self.log());
            thread::sleep(Duration::from_millis(5));
        }
    }

    fn log(&self) -> String {
        fs::read_to_string(self.path("broker.log")).unwrap_or_else(|error| format!("(no log: {error})"))
    }
}

impl Drop for Broker {
    fn drop(&mut self) {
        if self.child.is_some() {
            self.kill();
        }
    }
}

/// A program of the broker's package; its absence fails the test.
pub(crate) fn program(name: &str) -> PathBuf {
    let found = ["/usr/sbin", "/usr/bin", "/usr/local/sbin", "/usr/local/bin"]
        .into_iter()
        .map(|directory| Path::new(directory).join(name))
        .find(|path| path.is_file());
    found.unwrap_or_else(|| {
        panic!(
            "{name} is not installed, and the MQTT tests run against the real one: apt-get install mosquitto"
        )
    })
}

pub(crate) fn free_port() -> u16 {
    let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).expect("loopback");
    listener.local_addr().expect("a bound socket").port()
}
