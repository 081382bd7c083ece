//! A kitchen whose booster fails in the rush, its gateway, and the people who are told.

use std::fs::{self, File};
use std::io::Write;
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::thread;
use std::time::{Duration, Instant};

use rinseward::core::record::{Body, Record};
use rinseward::ledger::Reader;
use rinseward_simulator::scenario::Scenario;
use rinseward_simulator::time::MIDNIGHT_MICROS;
use rinseward_simulator::world::World;
use rustix::process::{Pid, Signal, kill_process};
use serde_json::Value;
use tempfile::TempDir;

use crate::alert::peer::Peer;
use crate::mqtt::broker::free_port;

/// Longest wait for anything.
const WAIT_MAX: Duration = Duration::from_secs(60);
/// A secret in the form of Standard Webhooks: `whsec_` and base64 of 24 bytes.
const SECRET: &str = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw";

/// The mail server and the receiver of webhooks.
pub(crate) struct Peers {
    pub(crate) mail: Peer,
    pub(crate) webhook: Peer,
}

impl Peers {
    pub(crate) fn start() -> Self {
        let webhook = Peer::start("webhook.py", &["--secret", SECRET]);
        Self { mail: Peer::start("smtp.py", &[]), webhook }
    }
}

/// A gateway's directory and its configuration.
pub(crate) struct Office {
    directory: TempDir,
    /// Port of the pages.
    pub(crate) port: u16,
}

impl Office {
    /// One hot-water machine; `ana` is told first, by mail and webhook, `ben` where she does not
    /// answer. `source` is the `[[source]]`, `rules` are further keys of `[alert]`.
    pub(crate) fn new(peers: &Peers, source: &str, rules: &str) -> Self {
        let directory = TempDir::new().expect("a temporary directory");
        let port = free_port();
        let secret = directory.path().join("secret");
        fs::write(&secret, SECRET).expect("a temporary file");
        rustix::fs::chmod(&secret, rustix::fs::Mode::from_bits_retain(0o600)).expect("our own file");
        let (mail, webhook) = (peers.mail.port(), peers.webhook.port());
        let text = format!(
            "[site]\nname = \"North kitchen\"\ntime-zone = \"America/New_York\"\n\
             call = \"Acme Service, +1 555 0100\"\n\
             [ledger]\npath = \"ledger.sqlite\"\ncommit-interval = \"20ms\"\n\
             [[machine]]\nname = \"dm1\"\nkind = \"stationary-rack-dual-temperature\"\nwash-time = \"44s\"\n\
             rinse-time = \"12s\"\ndisorder-window = \"1s\"\nprobes = [\"wash\", \"rinse\"]\n\
             {source}\n\
             [[contact]]\nname = \"ana\"\nrole = \"kitchen manager\"\nunits = \"celsius\"\n\
             routes = [\"email:ana@example.org\", \"webhook:office\"]\n\
             [[contact]]\nname = \"ben\"\nstep = 2\nlanguage = \"es\"\nroutes = [\"email:ben@example.org\"]\n\
             [alert]\nchecks = []\noff = [\"clock-unsynchronised\", \"disk-filling\"]\n{rules}\n\
             [mail]\nhost = \"127.0.0.1\"\nport = {mail}\nsecurity = \"none\"\nfrom = \"kitchen@example.org\"\n\
             messages-per-minute = 6000\n\
             [[webhook]]\nname = \"office\"\nurl = \"http://127.0.0.1:{webhook}/ok\"\nsecret-files = [\"secret\"]\n\
             allow-http = true\nmessages-per-minute = 6000\n\
             [web]\nenabled = true\nlisten = \"127.0.0.1:{port}\"\npublic-url = \"http://127.0.0.1:{port}\"\n"
        );
        let office = Self { directory, port };
        fs::write(office.configuration(), text).expect("a temporary file");
        office
    }

    /// Whose readings come by standard input.
    pub(crate) fn at_the_pipe(peers: &Peers, rules: &str) -> Self {
        Self::new(peers, "[[source]]\nname = \"pipe\"\nkind = \"replay\"", rules)
    }

    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.directory.path().join(name)
    }

    pub(crate) fn configuration(&self) -> PathBuf {
        self.path("gateway.toml")
    }

    pub(crate) fn ledger(&self) -> PathBuf {
        self.path("ledger.sqlite")
    }

    /// Runs a command with this configuration.
    pub(crate) fn rinseward(&self, arguments: &[&str]) -> Output {
        let output = Command::new(env!("CARGO_BIN_EXE_rinseward"))
            .args(arguments)
            .arg("--config")
            .arg(self.configuration())
            .output();
        output.expect("the program starts")
    }

    /// Every record, in order.
    pub(crate) fn records(&self) -> Vec<Record> {
        let mut records = Vec::new();
        let read = Reader::open(&self.ledger()).and_then(|reader| {
            reader.records(0, |_, _, record| {
                records.push(record);
                ControlFlow::Continue(())
            })
        });
        if read.is_ok() { records } else { Vec::new() }
    }

    /// Waits until the ledger holds so many records that fit.
    pub(crate) fn until_recorded(&self, gateway: &Gateway, wanted: &str, fits: impl Fn(&Body) -> bool) {
        until(
            || self.records().iter().any(|record| fits(&record.body)),
            || {
                let kinds: Vec<&str> = self.records().iter().map(|record| record.body.kind()).collect();
                format!("{wanted} is not on record: {kinds:?}\n{}", gateway.log())
            },
        );
    }
}

/// Polls until it holds.
pub(crate) fn until(holds: impl Fn() -> bool, otherwise: impl Fn() -> String) {
    let limit = Instant::now() + WAIT_MAX;
    while !holds() {
        assert!(Instant::now() < limit, "{}", otherwise());
        thread::sleep(Duration::from_millis(10));
    }
}

/// A running `rinseward run`; killed when dropped.
pub(crate) struct Gateway {
    child: Child,
    log: PathBuf,
}

impl Gateway {
    pub(crate) fn start(office: &Office, failpoints: &str) -> Self {
        let log = office.path("gateway.log");
        let file = File::create(&log).expect("a temporary file");
        let child = Command::new(env!("CARGO_BIN_EXE_rinseward"))
            .args(["run", "--config"])
            .arg(office.configuration())
            .env("FAILPOINTS", failpoints)
            .stdin(Stdio::piped())
            .stdout(Stdio::null())
            .stderr(file)
            .spawn()
            .expect("the program starts");
        Self { child, log }
    }

    /// Hands lines to its standard input.
    pub(crate) fn feed(&mut self, lines: &[String]) {
        let pipe = self.child.stdin.as_mut().expect("it is piped");
        for line in lines {
            writeln!(pipe, "{line}").expect("it reads");
        }
        pipe.flush().expect("it reads");
    }

    pub(crate) fn log(&self) -> String {
        fs::read_to_string(&self.log).unwrap_or_default()
    }

    pub(crate) fn kill(mut self) {
        let ended = self.child.try_wait().expect("our own child");
        assert!(ended.is_none(), "it ended by itself, {ended:?}: {}", self.log());
        self.child.kill().expect("our own child");
        self.child.wait().expect("our own child");
    }

    /// Ends it in order, within the 5 s that are promised.
    pub(crate) fn stop(mut self) {
        let began = Instant::now();
        kill_process(Pid::from_child(&self.child), Signal::TERM).expect("our own child");
        let status = loop {
            if let Some(status) = self.child.try_wait().expect("our own child") {
                break status;
            }
            assert!(began.elapsed() < Duration::from_secs(6), "it does not end: {}", self.log());
            thread::sleep(Duration::from_millis(5));
        };
        assert!(status.success(), "{status}: {}", self.log());
    }
}

impl Drop for Gateway {
    fn drop(&mut self) {
        // Has no effect on a child that has ended.
        drop(self.child.kill());
        drop(self.child.wait());
    }
}

/// What the probes of a scenario say, and the judged racks among it.
pub(crate) struct Day {
    /// Lines of SenML with the time at which each was measured, µs.
    pub(crate) lines: Vec<(i64, String)>,
    /// End of the final rinse, µs, and whether it was cold, of every rack in order.
    pub(crate) racks: Vec<(i64, bool)>,
}

impl Day {
    /// The rush in which the booster dies and is reset later.
    pub(crate) fn with_a_dead_booster(office: &Office) -> Self {
        let world = World::of(&Scenario::BoosterDead.plan(), 1, MIDNIGHT_MICROS);
        let lines: Vec<(i64, String)> =
            world.map(|emission| (emission.time_micros, emission.line())).collect();
        let trace = office.path("day.senml");
        let text: Vec<&str> = lines.iter().map(|(_, line)| line.as_str()).collect();
        fs::write(&trace, text.join("\n") + "\n").expect("a temporary file");
        let racks = judged(office, &trace);
        Self { lines, racks }
    }

    /// The lines from one instant to another.
    pub(crate) fn between(&self, from: i64, to: i64) -> Vec<String> {
        let own = self.lines.iter().filter(|(at, _)| from <= *at && *at < to);
        own.map(|(_, line)| line.clone()).collect()
    }

    /// When five good racks in a row have followed the first cold ones.
    pub(crate) fn recovered(&self) -> i64 {
        let first = self.racks.iter().position(|(_, cold)| *cold).expect("the booster dies");
        let good = |racks: &[(i64, bool)]| racks.iter().all(|(_, cold)| !cold);
        let later = self.racks[first..].windows(6).find(|racks| good(&racks[..5])).expect("it is reset");
        later[5].0 - 20_000_000
    }

    /// When the first cold rack was surely judged.
    pub(crate) fn first_cold(&self) -> i64 {
        let first = self.racks.iter().position(|(_, cold)| *cold).expect("the booster dies");
        self.racks.get(first + 1).map_or(i64::MAX, |(at, _)| at - 20_000_000)
    }
}

fn judged(office: &Office, trace: &Path) -> Vec<(i64, bool)> {
    let output = office.rinseward(&["replay", "--json", trace.to_str().expect("UTF-8")]);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let racks = String::from_utf8(output.stdout).expect("UTF-8");
    let racks = racks.lines().map(|line| {
        let row: Value = serde_json::from_str(line).expect("JSON");
        let ended = row["rinse_ended"].as_str().or(row["rinse-ended"].as_str()).expect("an end");
        let ended: rinseward::core::time::Timestamp = ended.parse().expect("RFC 3339");
        (ended.micros(), row["verdict"] == "cold")
    });
    racks.collect()
}
