//! The program from outside: its commands, its exit codes, its orderly end.

use std::fs::{self, File};
use std::io::{BufRead, BufReader, Write};
use std::os::unix::net::UnixDatagram;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::time::{Duration, Instant};

use rinseward::ledger::Reader;
use rinseward_simulator::scenario::Scenario;
use rinseward_simulator::time::MIDNIGHT_MICROS;
use rinseward_simulator::world::World;
use rustix::process::{Pid, Signal, kill_process};
use serialport::{SerialPort, TTYPort};
use tempfile::TempDir;

use crate::ledger::fixture::records;

/// Longest wait for a process to do what is awaited.
const WAIT_MAX: Duration = Duration::from_secs(30);

fn rinseward(arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_rinseward"));
    command.args(arguments).env_remove("RUST_LOG").env("TZ", "UTC").stdin(Stdio::null());
    command
}

fn output(arguments: &[&str]) -> Output {
    rinseward(arguments).output().expect("the program starts")
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).expect("the program prints UTF-8")
}

/// A directory with a configuration for `dm1` and a ledger beside it.
struct Site {
    directory: TempDir,
}

impl Site {
    fn new(source: &str) -> Self {
        let directory = TempDir::new().expect("a temporary directory");
        let site = Self { directory };
        let ledger = site.ledger();
        let configuration = format!(
            "[ledger]\npath = \"{}\"\ncommit-interval = \"20ms\"\n\n[[machine]]\nname = \"dm1\"\n\
             kind = \"stationary-rack-dual-temperature\"\nwash-time = \"44s\"\nrinse-time = \"12s\"\n\
             probes = [\"wash\", \"rinse\"]\n{source}",
            ledger.display()
        );
        fs::write(site.configuration(), configuration).expect("a temporary file");
        site
    }

    fn configuration(&self) -> PathBuf {
        self.directory.path().join("gateway.toml")
    }

    fn ledger(&self) -> PathBuf {
        self.directory.path().join("ledger.sqlite")
    }

    /// Twenty minutes of a dual-temperature machine, one pack a line.
    fn trace(&self) -> PathBuf {
        let mut plan = Scenario::Demo.plan();
        plan.hours = 0.3;
        plan.machines.truncate(1);
        let path = self.directory.path().join("trace.senml");
        let mut file = File::create(&path).expect("a temporary file");
        for emission in World::of(&plan, 1, MIDNIGHT_MICROS) {
            writeln!(file, "{}", emission.line()).expect("a temporary file");
        }
        path
    }

    fn kinds(&self) -> Vec<&'static str> {
        records(&self.ledger()).iter().map(|record| record.body.kind()).collect()
    }
}

fn path(path: &Path) -> &str {
    path.to_str().expect("temporary paths are text")
}

// Exit codes of sysexits.h (4.3BSD): 64 usage, 74 input/output, 78 configuration.
#[test]
fn mistakes_are_told_in_one_form_with_their_exit_code() {
    let site = Site::new("");
    let broken = site.directory.path().join("broken.toml");
    fs::write(&broken, "[[machine]]\nname = \"dm1\"\nkind = \"oven\"\nrinse-tyme = \"3s\"\n")
        .expect("a temporary file");
    let (configuration, broken) = (site.configuration(), broken);
    let rows: [(&[&str], i32, &[&str]); 8] = [
        (&[], 64, &["error[usage]"]),
        (&["fly"], 64, &["error[usage]", "fly"]),
        (&["history"], 78, &["error[config-file]", "/etc/rinseward/gateway.toml"]),
        (&["demo", "--scenario", "none"], 64, &["error[usage]", "rush"]),
        (&["check-config", path(&broken)], 78, &["error[config-value]", "error[config-key]", "rinse-time"]),
        (&["run", "--config", path(&configuration)], 78, &["error[config-source]"]),
        (&["history", "--ledger", "/nowhere/ledger"], 74, &["error[ledger-open]", "do:"]),
        (
            &["replay", "--config", path(&configuration), "/nowhere/trace"],
            74,
            &["error[trace-open]", "where: /nowhere/trace", "No such file"],
        ),
    ];
    for (arguments, code, told) in rows {
        let output = output(arguments);
        let err = text(&output.stderr);
        assert_eq!(output.status.code(), Some(code), "{arguments:?}: {err}");
        for part in told {
            assert!(err.contains(part), "{arguments:?} should tell «{part}»: {err}");
        }
        assert!(output.stdout.is_empty(), "{arguments:?} answers nothing");
    }
}

// Own promise: a channel that cannot work is named before anybody waits for its message.
#[test]
fn channels_that_cannot_work_are_named() {
    let channels = "[[source]]\nname = \"pipe\"\nkind = \"replay\"\n[[contact]]\nname = \"ana\"\n\
         routes = [\"email:ana@example.org\", \"webhook:office\"]\n[mail]\nhost = \"127.0.0.1\"\n\
         security = \"none\"\nfrom = \"kitchen@example.org\"\n[[webhook]]\nname = \"office\"\n\
         url = \"http://127.0.0.1:9/\"\nallow-http = true\nsecret-files = [\"nowhere\"]\n";
    let site = Site::new(channels);
    let configuration = site.configuration();
    let checked = output(&["check-config", path(&configuration)]);
    let said = text(&checked.stdout);
    assert!(checked.status.success(), "{}", text(&checked.stderr));
    assert!(said.contains("1 of 2 channels cannot work here"), "{said}");
    assert!(said.contains("  webhook:office: ") && said.contains("nowhere"), "{said}");
    let ran = output(&["run", "--config", path(&configuration)]);
    let log = text(&ran.stderr);
    assert!(ran.status.success(), "{log}");
    assert!(log.contains("messages by these channels wait") && log.contains("webhook:office"), "{log}");
}

// Own promise: a cable that is not plugged in is no fault of the files, and is named all the same.
#[test]
fn a_device_that_is_not_there_is_told_as_a_warning() {
    let source = "[[source]]\nname = \"port1\"\nkind = \"serial\"\ndevice = \"nowhere\"\n";
    let site = Site::new(source);
    let configuration = site.configuration();
    for there in [false, true] {
        if there {
            std::fs::write(configuration.with_file_name("nowhere"), "").expect("a temporary file");
        }
        let checked = output(&["check-config", path(&configuration)]);
        let said = text(&checked.stderr);
        assert!(checked.status.success(), "{said}");
        let told = said.contains("warning[source-open]: the device of source «port1» is not there now");
        assert_eq!(told, !there, "{said}");
        assert!(text(&checked.stdout).starts_with("ok: "), "it is sound all the same");
    }
}

#[test]
fn replay_and_history_print_the_same_cycles() {
    let site = Site::new("");
    let (configuration, trace, ledger) = (site.configuration(), site.trace(), site.ledger());
    let dry = output(&["replay", "--config", path(&configuration), "--json", path(&trace)]);
    assert!(dry.status.success(), "{}", text(&dry.stderr));
    let cycles: Vec<serde_json::Value> =
        text(&dry.stdout).lines().map(|line| serde_json::from_str(line).expect("an object a line")).collect();
    assert!(cycles.len() >= 5, "twenty busy minutes hold several racks: {}", cycles.len());
    assert!(cycles.iter().all(|cycle| cycle["ledger_index"].is_null()));
    assert!(!ledger.exists(), "no ledger unless asked for");

    let kept = output(&[
        "replay",
        "--config",
        path(&configuration),
        "--json",
        "--ledger",
        path(&ledger),
        path(&trace),
    ]);
    let history = output(&["history", "--ledger", path(&ledger), "--json"]);
    assert_eq!(text(&kept.stdout), text(&history.stdout), "the ledger holds what was printed");
    let without_index = |bytes: &[u8]| -> Vec<serde_json::Value> {
        let object = |line: &str| {
            let mut object: serde_json::Value = serde_json::from_str(line).expect("an object a line");
            object["ledger_index"] = serde_json::Value::Null;
            object
        };
        text(bytes).lines().map(object).collect()
    };
    assert_eq!(without_index(&history.stdout), cycles, "a ledger changes no cycle");

    let input = File::open(&trace).expect("the trace is there");
    let piped = rinseward(&["replay", "--config", path(&configuration), "--json", "-"]).stdin(input).output();
    assert_eq!(piped.expect("the program starts").stdout, dry.stdout, "a file and a pipe are the same");

    let again = output(&[
        "replay",
        "--config",
        path(&configuration),
        "--json",
        "--ledger",
        path(&ledger),
        path(&trace),
    ]);
    assert!(
        again.status.success() && again.stdout.is_empty(),
        "no rack is judged twice: {}",
        text(&again.stdout)
    );
    assert!(text(&again.stderr).contains("not judged again"), "{}", text(&again.stderr));

    let newest = output(&["history", "--config", path(&configuration), "--limit", "1", "--csv"]);
    assert_eq!(text(&newest.stdout).split("\r\n").count(), 3, "header, one row, nothing");
    let mistyped = output(&["history", "--ledger", path(&ledger), "--machine", "dm9"]);
    assert_eq!(mistyped.status.code(), Some(64));
    assert!(text(&mistyped.stderr).contains("dm1"), "it names those it knows: {}", text(&mistyped.stderr));
    let table = text(&output(&["history", "--ledger", path(&ledger)]).stdout);
    assert!(table.contains("UTC+00:00") && table.contains("dm1"), "{table}");
    assert!(!table.contains('\u{1b}'), "no colour into a pipe");
}

// A node whose clock is set back an hour goes on measuring: its readings carry earlier times, and
// every rack is judged all the same. History that is sent again, with the same times, is not judged twice.
#[test]
fn replay_goes_on_where_the_clock_of_a_node_steps_back() {
    let site = Site::new("");
    let (configuration, trace) = (site.configuration(), site.trace());
    let cycles = |lines: &[String]| {
        let trace = site.directory.path().join("disturbed.senml");
        fs::write(&trace, lines.join("\n")).expect("a temporary file");
        let replayed = output(&["replay", "--config", path(&configuration), "--json", path(&trace)]);
        assert!(replayed.status.success(), "{}", text(&replayed.stderr));
        text(&replayed.stdout).lines().count()
    };
    let whole: Vec<String> =
        fs::read_to_string(&trace).expect("the trace is there").lines().map(str::to_owned).collect();
    let expected = cycles(&whole);

    let mut stepped: Vec<serde_json::Value> =
        whole.iter().map(|line| serde_json::from_str(line).expect("a pack a line")).collect();
    let middle = stepped.len() / 2;
    for pack in &mut stepped[middle..] {
        let time = pack[0]["bt"].as_f64().expect("a base time");
        pack[0]["bt"] = serde_json::json!(time - 3_600.0);
    }
    let stepped: Vec<String> = stepped.iter().map(ToString::to_string).collect();
    // One rack may be under way at the step; what is known of it does not make a cycle.
    let found = cycles(&stepped);
    assert!(found + 1 >= expected && found <= expected, "{found} of {expected} cycles");

    let again: Vec<String> = whole.iter().chain(&whole).cloned().collect();
    assert_eq!(cycles(&again), expected, "history that is sent again");
}

#[test]
fn run_records_and_ends_in_order() {
    let (mut node, gateway) = TTYPort::pair().expect("a pseudo-terminal");
    let device = gateway.name().expect("a pseudo-terminal has a name");
    let site =
        Site::new(&format!("\n[[source]]\nname = \"node\"\nkind = \"serial\"\ndevice = \"{device}\"\n"));
    let configuration = site.configuration();
    let mut daemon = Daemon::start(rinseward(&["run", "--config", path(&configuration)]), "source is up");
    node.write_all(b"[{\"bn\":\"dm1/\",\"n\":\"rinse\",\"u\":\"Cel\",\"v\":60}]\n\xff\xfe{]\n")
        .expect("a line");

    let second = output(&["run", "--config", path(&configuration)]);
    assert_eq!(second.status.code(), Some(74));
    assert!(text(&second.stderr).contains("error[ledger-locked]"), "{}", text(&second.stderr));

    // The service's start and its configuration before anything else, then the key of the new ledger.
    poll("the first records", || {
        let read = Reader::open(&site.ledger()).and_then(|reader| reader.size());
        read.is_ok_and(|size| size >= 3)
    });
    daemon.signal(Signal::TERM);
    let (status, took) = daemon.wait();
    assert!(status.success(), "{status}: {}", daemon.log());
    assert!(took < Duration::from_secs(5), "ended within {took:?}");
    assert_eq!(site.kinds(), ["service-start", "configuration-change", "signing-key", "service-stop"]);
}

#[test]
fn a_second_signal_ends_at_once() {
    let (_node, gateway) = TTYPort::pair().expect("a pseudo-terminal");
    let device = gateway.name().expect("a pseudo-terminal has a name");
    let site =
        Site::new(&format!("\n[[source]]\nname = \"node\"\nkind = \"serial\"\ndevice = \"{device}\"\n"));
    let configuration = site.configuration();
    let mut daemon = Daemon::start(rinseward(&["run", "--config", path(&configuration)]), "source is up");
    daemon.signal(Signal::INT);
    daemon.signal(Signal::TERM);
    let (status, _) = daemon.wait();
    // In order where the end was faster than the second signal, else 128 + SIGINT.
    assert!([Some(0), Some(130)].contains(&status.code()), "{status}");
}

#[test]
fn the_demo_needs_nothing_and_shows_everybody_their_work() {
    let directory = TempDir::new().expect("a temporary directory");
    let arguments = ["demo", "--seconds", "6", "--speed", "200", "--ledger", path(directory.path())];
    let output = output(&arguments);
    let (out, err) = (text(&output.stdout), text(&output.stderr));
    assert!(output.status.success(), "{err}");
    for part in [
        "SIMULATED",
        "dm1",
        "held/required",
        "» message to duty: ",
        "rinseward history --ledger",
        "messages.jsonl",
    ] {
        assert!(out.contains(part), "{part}: {out}\n{err}");
    }
    let ledger = directory.path().join("ledger.sqlite");
    let reader = Reader::open(&ledger).expect("the ledger opens");
    assert!(reader.size().expect("the ledger reads") >= 4, "start, configuration, a rack, stop");
    let configuration = directory.path().join("gateway.toml");
    let due = self::output(&["enter", "due", "--config", path(&configuration)]);
    assert!(due.status.success(), "{}", text(&due.stderr));
    let messages = std::fs::read_to_string(directory.path().join("messages.jsonl")).expect("a file");
    assert!(messages.contains("\"condition\":\"cold\""), "{messages}");
    // Started again there, it has accounts already: where the pages are is told all the same.
    assert!(err.contains("one-time secret: "), "{err}");
    let again = self::output(&["demo", "--seconds", "1", "--ledger", path(directory.path())]);
    let err = text(&again.stderr);
    assert!(err.contains("The pages are at http://127.0.0.1:") && !err.contains("secret"), "{err}");
}

/// A running program and what it logs.
struct Daemon {
    child: Child,
    log: BufReader<std::process::ChildStderr>,
    seen: String,
}

impl Daemon {
    /// Starts it and waits until it logs `ready`.
    fn start(mut command: Command, ready: &str) -> Self {
        let mut child =
            command.stdout(Stdio::null()).stderr(Stdio::piped()).spawn().expect("the program starts");
        let log = BufReader::new(child.stderr.take().expect("a pipe was asked for"));
        let mut daemon = Self { child, log, seen: String::new() };
        while !daemon.seen.contains(ready) {
            let read = daemon.log.read_line(&mut daemon.seen).expect("the log is text");
            assert!(read > 0, "ended before «{ready}»: {}", daemon.seen);
        }
        daemon
    }

    fn signal(&self, signal: Signal) {
        let pid = Pid::from_child(&self.child);
        // A process that has ended already needs no signal; it is waited for below.
        let _ended = kill_process(pid, signal);
    }

    #[expect(clippy::disallowed_methods, reason = "a test measures how long the end takes")]
    fn wait(&mut self) -> (std::process::ExitStatus, Duration) {
        let started = Instant::now();
        let mut status = None;
        poll("the end of the program", || {
            status = self.child.try_wait().expect("the child is ours");
            status.is_some()
        });
        (status.expect("polled until there is one"), started.elapsed())
    }

    fn log(&mut self) -> &str {
        while self.log.read_line(&mut self.seen).is_ok_and(|read| read > 0) {}
        &self.seen
    }
}

impl Drop for Daemon {
    fn drop(&mut self) {
        // Has no effect on a child that has ended.
        drop(self.child.kill());
        drop(self.child.wait());
    }
}

#[expect(clippy::disallowed_methods, reason = "a test gives up after a while")]
fn poll(what: &str, mut done: impl FnMut() -> bool) {
    let limit = Instant::now() + WAIT_MAX;
    while !done() {
        assert!(Instant::now() < limit, "waited too long for {what}");
        std::thread::sleep(Duration::from_millis(10));
    }
}

// Shows what the service manager is told, by sd_notify(3): ready once records are kept, signs of
// life while the driver turns, and the stop. The socket is a real one, as systemd would name it.
#[test]
fn the_service_manager_is_told() {
    let site = Site::new("\n[[source]]\nname = \"port1\"\nkind = \"serial\"\ndevice = \"/dev/none\"\n");
    let manager = site.directory.path().join("notify");
    let socket = UnixDatagram::bind(&manager).expect("a socket");
    socket.set_read_timeout(Some(WAIT_MAX)).expect("a socket takes a limit");
    let mut command = rinseward(&["run", "--config", path(&site.configuration())]);
    command.env("NOTIFY_SOCKET", &manager).env("WATCHDOG_USEC", "100000");
    let mut daemon = Daemon::start(command, "commands are taken");
    let next = || {
        let mut buffer = [0; 512];
        let length = socket.recv(&mut buffer).expect("a word within the limit");
        text(&buffer[..length]).trim_end().to_owned()
    };
    let (mut ready, mut alive) = (false, 0);
    while !ready || alive < 3 {
        match &*next() {
            "READY=1" => ready = true,
            "WATCHDOG=1" => alive += 1,
            other => panic!("{other}"),
        }
    }
    assert!(site.ledger().exists());
    daemon.signal(Signal::TERM);
    while next() != "STOPPING=1" {}
    assert!(daemon.wait().0.success());
}
