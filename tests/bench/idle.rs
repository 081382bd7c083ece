//! What an idle site costs: the daemon with 16 probes at 4 Hz on one serial port.
//!
//! `cargo bench --bench idle` starts `rinseward run` on a pseudo-terminal, feeds it
//! SenML lines, and reads from proc(5) what it took after a start of some seconds:
//! resident memory at the end and at its highest, and processor time as a share of
//! one core. `IDLE_SECONDS` sets the time measured.

#![expect(clippy::disallowed_methods, reason = "a bench spawns and measures wall time")]
#![expect(clippy::print_stdout, reason = "a bench prints what it measured")]

use std::fmt::Write as _;
use std::io::Write as _;
use std::process::{Child, Command, Stdio};
use std::thread;
use std::time::{Duration, Instant};

use serialport::{SerialPort, TTYPort};
use tempfile::TempDir;

/// Machines with a wash and a final-rinse probe each.
const MACHINES: usize = 8;
/// Time between two readings of a probe.
const PERIOD: Duration = Duration::from_millis(250);
/// Fed before anything is measured.
const START: Duration = Duration::from_secs(5);
/// Ticks of the processor times in proc(5) per second (`getconf CLK_TCK`, 100 on every Linux of today).
const TICKS_PER_S: f64 = 100.0;

fn main() {
    let seconds = std::env::var("IDLE_SECONDS").ok().and_then(|text| text.parse().ok()).unwrap_or(60);
    let directory = TempDir::new().expect("a temporary directory");
    let (mut node, port) = TTYPort::pair().expect("a pseudo-terminal");
    let device = port.name().expect("a pseudo-terminal has a name");
    let configuration = directory.path().join("site.toml");
    let ledger = directory.path().join("ledger.sqlite");
    let text = configuration_text(&device, &ledger.display().to_string());
    std::fs::write(&configuration, text).expect("a writable directory");
    let daemon = Daemon(
        Command::new(env!("CARGO_BIN_EXE_rinseward"))
            .arg("run")
            .arg("--config")
            .arg(&configuration)
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("the program starts"),
    );
    let mut round = 0;
    feed(&mut node, &mut round, START);
    let (cpu, began) = (daemon.cpu_s(), Instant::now());
    feed(&mut node, &mut round, Duration::from_secs(seconds));
    let share = (daemon.cpu_s() - cpu) / began.elapsed().as_secs_f64();
    println!(
        "idle site, {} probes at 4 Hz, {seconds} s: {:.2} % of one core (budget 1), {:.1} MB resident, {:.1} at most (budget 25)",
        2 * MACHINES,
        100.0 * share,
        daemon.status_mb("VmRSS:"),
        daemon.status_mb("VmHWM:"),
    );
}

/// Writes all probes once a period; one line for each machine.
fn feed(node: &mut TTYPort, round: &mut u32, time: Duration) {
    let began = Instant::now();
    let mut next = began;
    while began.elapsed() < time {
        let mut lines = String::new();
        let wander = f64::from(*round % 16) / 16.0;
        for machine in 1..=MACHINES {
            let (wash, rinse) = (67.0 + wander / 4.0, 55.0 + wander / 8.0);
            writeln!(
                lines,
                r#"[{{"bn":"dm{machine}/","n":"wash","u":"Cel","v":{wash:.4}}},{{"n":"rinse","u":"Cel","v":{rinse:.4}}}]"#
            )
            .expect("text");
        }
        node.write_all(lines.as_bytes()).expect("the daemon reads");
        *round += 1;
        next += PERIOD;
        thread::sleep(next.saturating_duration_since(Instant::now()));
    }
}

fn configuration_text(device: &str, ledger: &str) -> String {
    let mut text = format!("[site]\nname = \"bench\"\n[ledger]\npath = \"{ledger}\"\n");
    for machine in 1..=MACHINES {
        write!(
            text,
            "[[machine]]\nname = \"dm{machine}\"\nkind = \"stationary-rack-dual-temperature\"\nwash-time = \"45s\"\nrinse-time = \"10s\"\nprobes = [\"wash\", \"rinse\"]\n"
        )
        .expect("text");
    }
    write!(text, "[[source]]\nname = \"node\"\nkind = \"serial\"\ndevice = \"{device}\"\n").expect("text");
    text
}

/// The program; killed, by its number, when dropped.
struct Daemon(Child);

impl Daemon {
    /// Processor time so far in user and system mode, s (proc(5), `stat`, fields 14 and 15).
    fn cpu_s(&self) -> f64 {
        let text = self.proc("stat");
        let (_, after_name) = text.rsplit_once(')').expect("a name in parentheses");
        let ticks = after_name.split_ascii_whitespace().skip(11).take(2);
        ticks.map(|ticks| ticks.parse::<f64>().expect("a number")).sum::<f64>() / TICKS_PER_S
    }

    /// A size of proc(5), `status`, in MB of 10⁶ bytes.
    fn status_mb(&self, key: &str) -> f64 {
        let text = self.proc("status");
        let line = text.lines().find_map(|line| line.strip_prefix(key)).expect("a key of status");
        let kib = line.trim().trim_end_matches(" kB").parse::<f64>().expect("a number");
        kib * 1024.0 / 1e6
    }

    fn proc(&self, file: &str) -> String {
        let path = format!("/proc/{}/{file}", self.0.id());
        std::fs::read_to_string(path).expect("the daemon runs")
    }
}

impl Drop for Daemon {
    fn drop(&mut self) {
        self.0.kill().expect("our own child");
        self.0.wait().expect("our own child");
    }
}
