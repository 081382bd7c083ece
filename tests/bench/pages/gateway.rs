//! The service as a process: its configuration, what goes into it, what it takes.

use std::fmt::Write as _;
use std::fs::File;
use std::io::Write as _;
use std::net::{Ipv4Addr, TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::thread;
use std::time::{Duration, Instant};

use rinseward::core::time::Timestamp;
use rinseward::ledger::Reader;
use serde_json::Value;

use crate::years::{MACHINES, ZONE};

/// Time between two readings of a probe.
const PERIOD: Duration = Duration::from_millis(250);
/// Ticks of the processor times in proc(5) per second (`getconf CLK_TCK`, 100 on every Linux of today).
const TICKS_PER_S: f64 = 100.0;
/// Longest wait for anything.
const WAIT_MAX: Duration = Duration::from_secs(120);

/// The configuration; `port` is that of the pages.
pub(crate) fn configuration(port: u16) -> String {
    let mut text = format!(
        "[site]\nname = \"North kitchen\"\ntime-zone = \"{ZONE}\"\n\
         [ledger]\npath = \"ledger.sqlite\"\ncommit-interval = \"100ms\"\n\
         [[shift]]\nname = \"early\"\nhours = [\"mon-sun 05:00-14:00\"]\n\
         [[shift]]\nname = \"late\"\nhours = [\"mon-sun 14:00-23:00\"]\n\
         [[source]]\nname = \"pipe\"\nkind = \"replay\"\n\
         [alert]\noff = [\"clock-unsynchronised\", \"disk-filling\"]\n\
         [web]\nenabled = true\nlisten = \"127.0.0.1:{port}\"\nbehind-proxy = true\n"
    );
    for machine in 0..MACHINES {
        write!(
            text,
            "[[machine]]\nname = \"dm{machine}\"\nkind = \"stationary-rack-dual-temperature\"\n\
             wash-time = \"44s\"\nrinse-time = \"12s\"\nprobes = [\"wash\", \"rinse\"]\n"
        )
        .expect("text");
    }
    text
}

/// A port that nobody listens on.
pub(crate) fn free_port() -> u16 {
    let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).expect("loopback");
    listener.local_addr().expect("bound").port()
}

/// The program; killed, by its number, when dropped.
pub(crate) struct Gateway {
    child: Child,
    directory: PathBuf,
    feeding: Arc<AtomicBool>,
    pipe: Arc<Mutex<ChildStdin>>,
}

impl Gateway {
    /// Starts it in a directory with its configuration, and waits until it answers; also says how long that took.
    pub(crate) fn start(directory: &Path, port: u16) -> (Self, Duration) {
        let log = File::create(directory.join("gateway.log")).expect("our own directory");
        let began = Instant::now();
        let mut child = Command::new(env!("CARGO_BIN_EXE_rinseward"))
            .args(["run", "--config"])
            .arg(directory.join("gateway.toml"))
            .stdin(Stdio::piped())
            .stdout(Stdio::null())
            .stderr(log)
            .spawn()
            .expect("the program starts");
        while TcpStream::connect((Ipv4Addr::LOCALHOST, port)).is_err() {
            let over = began.elapsed() > WAIT_MAX || child.try_wait().expect("our own child").is_some();
            let log = || std::fs::read_to_string(directory.join("gateway.log")).unwrap_or_default();
            assert!(!over, "it does not listen: {}", log());
            thread::sleep(Duration::from_millis(2));
        }
        let took = began.elapsed();
        let pipe = Arc::new(Mutex::new(child.stdin.take().expect("it is piped")));
        let feeding = Arc::new(AtomicBool::new(true));
        let gateway = Self { child, directory: directory.to_path_buf(), feeding, pipe };
        gateway.feed();
        (gateway, took)
    }

    /// Writes all probes once a period, on a thread of its own.
    fn feed(&self) {
        let (feeding, pipe) = (Arc::clone(&self.feeding), Arc::clone(&self.pipe));
        thread::spawn(move || {
            let mut round = 0_u32;
            while feeding.load(Ordering::Relaxed) {
                write_round(&pipe, round);
                round = round.wrapping_add(1);
                thread::sleep(PERIOD);
            }
        });
    }

    /// Writes one reading more, and gives the time until it is in the ledger.
    pub(crate) fn until_kept(&self, reader: &Reader) -> Duration {
        let (began, written) = (Instant::now(), now());
        write_round(&self.pipe, 0);
        loop {
            if reader.last_recorded().expect("the state").is_some_and(|last| last >= written) {
                return began.elapsed();
            }
            assert!(began.elapsed() < WAIT_MAX, "a reading was not kept");
            thread::sleep(Duration::from_micros(500));
        }
    }

    /// Makes an account by command; its one-time secret.
    pub(crate) fn account(&self, account: &str, role: &str) -> String {
        let output = Command::new(env!("CARGO_BIN_EXE_rinseward"))
            .args(["accounts", "add", account, "--name", account, "--role", role, "--by", "Tom", "--json"])
            .arg("--config")
            .arg(self.directory.join("gateway.toml"))
            .output()
            .expect("the program starts");
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
        let made: Value = serde_json::from_slice(&output.stdout).expect("JSON");
        made["secret"].as_str().expect("a secret").to_owned()
    }

    /// Processor time so far in user and system mode, s (proc(5), `stat`, fields 14 and 15).
    pub(crate) fn cpu_s(&self) -> f64 {
        let text = self.proc("stat");
        let (_, after_name) = text.rsplit_once(')').expect("a name in parentheses");
        let ticks = after_name.split_ascii_whitespace().skip(11).take(2);
        ticks.map(|ticks| ticks.parse::<f64>().expect("a number")).sum::<f64>() / TICKS_PER_S
    }

    /// Resident now and at most so far, MB of 10⁶ bytes.
    pub(crate) fn resident_mb(&self) -> (f64, f64) {
        let text = self.proc("status");
        let size = |key: &str| {
            let line = text.lines().find_map(|line| line.strip_prefix(key)).expect("a key of status");
            line.trim().trim_end_matches(" kB").parse::<f64>().expect("a number") * 1024.0 / 1e6
        };
        (size("VmRSS:"), size("VmHWM:"))
    }

    fn proc(&self, file: &str) -> String {
        let path = format!("/proc/{}/{file}", self.child.id());
        std::fs::read_to_string(path).expect("the gateway runs")
    }
}

impl Drop for Gateway {
    fn drop(&mut self) {
        self.feeding.store(false, Ordering::Relaxed);
        self.child.kill().expect("our own child");
        self.child.wait().expect("our own child");
    }
}

/// The computer's clock.
pub(crate) fn now() -> Timestamp {
    Timestamp::from_micros(jiff::Timestamp::now().as_microsecond())
}

fn write_round(pipe: &Mutex<ChildStdin>, round: u32) {
    let mut pipe = pipe.lock().expect("no holder panics");
    let (time, wander) = (now().seconds(), f64::from(round % 16) / 16.0);
    let mut lines = String::new();
    for machine in 0..MACHINES {
        let (wash, rinse) = (67.0 + wander / 4.0, 55.0 + wander / 8.0);
        writeln!(
            lines,
            r#"[{{"bn":"dm{machine}/","bt":{time:.6},"n":"wash","u":"Cel","v":{wash:.4}}},{{"n":"rinse","u":"Cel","v":{rinse:.4}}}]"#
        )
        .expect("text");
    }
    // It may have ended.
    drop(pipe.write_all(lines.as_bytes()));
}
