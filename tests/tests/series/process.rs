//! The real process: killed while it sends, asked how it stands, asked to send again.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::fs::File;
use std::io::Write as _;
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;
use std::time::{Duration, Instant, SystemTime};

use rinseward::core::alert::{Condition, Quantity};
use rinseward::core::record::Body;
use rinseward::core::time::Timestamp;
use rinseward::ledger::{Append, Bookmark, Names, Options, Reader, Writer};
use rustix::process::{Pid, Signal, kill_process};
use serialport::{SerialPort, TTYPort};

use super::authority::Authority;
use super::influx::Influx;
use super::kitchen::readings;
use super::pumping::{assert_same, assert_the_server_has, cut, on_the_server};
use super::victoria::Victoria;

/// Longest wait for anything here, on a busy computer.
const WAIT_MAX: Duration = Duration::from_secs(60);

/// A site with one machine on a serial port.
struct Site {
    directory: tempfile::TempDir,
}

impl Site {
    fn new(device: &str, url: &str) -> Self {
        let directory = tempfile::tempdir().expect("a directory");
        let text = format!(
            "[ledger]\npath = \"{}\"\n\
             [series]\nurl = \"{url}\"\norganisation = \"kitchens\"\nbucket = \"rinseward\"\n\
             [[machine]]\nname = \"dm1\"\nkind = \"stationary-rack-dual-temperature\"\nprobes = [\"wash\", \"rinse\"]\n\
             [[source]]\nname = \"node\"\nkind = \"serial\"\ndevice = \"{device}\"\n",
            directory.path().join("ledger.sqlite").display()
        );
        std::fs::write(directory.path().join("gateway.toml"), text).expect("our own directory");
        Self { directory }
    }

    fn path(&self, name: &str) -> PathBuf {
        self.directory.path().join(name)
    }

    fn command(&self, words: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_rinseward"));
        command.args(words).arg("--config").arg(self.path("gateway.toml"));
        command
    }

    fn run(&self) -> Gateway {
        let log = File::create(self.path("gateway.log")).expect("our own directory");
        let mut command = self.command(&["run"]);
        let child = command.stdin(Stdio::null()).stdout(Stdio::null()).stderr(log).spawn();
        Gateway(child.expect("the program starts"))
    }

    fn log(&self) -> String {
        std::fs::read_to_string(self.path("gateway.log")).unwrap_or_default()
    }

    /// What the command says, where it succeeds.
    fn says(&self, words: &[&str]) -> String {
        let output = self.command(words).output().expect("the program runs");
        let (out, err) = (String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr));
        assert!(output.status.success(), "{words:?}: {out}{err}");
        out.into_owned()
    }

    fn status(&self) -> serde_json::Value {
        serde_json::from_str(&self.says(&["series", "status", "--json"])).expect("JSON")
    }

    fn until(&self, what: &str, mut is_so: impl FnMut(&serde_json::Value) -> bool) -> serde_json::Value {
        let deadline = Instant::now() + WAIT_MAX;
        loop {
            // Right after the start there may be no ledger yet.
            let output = self.command(&["series", "status", "--json"]).output().expect("the program runs");
            let status = serde_json::from_slice(&output.stdout).unwrap_or_default();
            if output.status.success() && is_so(&status) {
                return status;
            }
            let told = String::from_utf8_lossy(&output.stderr);
            assert!(Instant::now() < deadline, "waited for {what}: {status} {told}\n{}", self.log());
            thread::sleep(Duration::from_millis(100));
        }
    }
}

/// A running gateway; killed, by its number, when dropped.
struct Gateway(Child);

impl Gateway {
    fn kill(mut self) {
        self.0.kill().expect("our own child");
        self.0.wait().expect("our own child");
    }

    fn stop(mut self) {
        kill_process(Pid::from_child(&self.0), Signal::TERM).expect("our own child");
        let deadline = Instant::now() + WAIT_MAX;
        while self.0.try_wait().expect("our own child").is_none() {
            assert!(Instant::now() < deadline, "it does not end");
            thread::sleep(Duration::from_millis(5));
        }
    }
}

impl Drop for Gateway {
    fn drop(&mut self) {
        // Has no effect on a child that has ended.
        drop(self.0.kill());
        drop(self.0.wait());
    }
}

/// A node that sends both probes twenty times a second, each reading with a time of its own.
struct Node {
    port: TTYPort,
    quiet: Arc<AtomicBool>,
    thread: Option<thread::JoinHandle<()>>,
}

impl Node {
    fn start() -> (Self, String) {
        let (mut master, port) = TTYPort::pair().expect("a pseudo-terminal");
        let device = port.name().expect("a pseudo-terminal has a name");
        master.set_timeout(Duration::from_millis(50)).expect("a pseudo-terminal takes a time-out");
        let quiet = Arc::new(AtomicBool::new(false));
        let told = Arc::clone(&quiet);
        let thread = thread::spawn(move || {
            let epoch = SystemTime::now().duration_since(SystemTime::UNIX_EPOCH).expect("after 1970");
            let start = epoch.as_secs() - 3_600;
            for number in 0_u32.. {
                if told.load(Ordering::SeqCst) {
                    break;
                }
                let mut line = String::new();
                let seconds = f64::from(number) * 0.05;
                writeln!(
                    line,
                    r#"[{{"bn":"dm1/","bt":{start},"t":{seconds:.2},"n":"wash","u":"Cel","v":66.5}},{{"t":{seconds:.2},"n":"rinse","u":"Cel","v":58.25}}]"#
                )
                .expect("text");
                // Nobody reads while the gateway is down.
                drop(master.write_all(line.as_bytes()));
                thread::sleep(Duration::from_millis(2));
            }
        });
        (Self { port, quiet, thread: Some(thread) }, device)
    }

    fn stop(mut self) {
        self.quiet.store(true, Ordering::SeqCst);
        self.thread.take().expect("stopped once").join().expect("the node does not fail");
        drop(self.port);
    }
}

fn recorded(ledger: &Path) -> BTreeMap<String, Vec<i64>> {
    readings(ledger, ["dm1/wash", "dm1/rinse"].into_iter().map(str::to_owned))
}

/// Everything on record was sent and is on the server, at an instant at which the gateway takes in
/// nothing more: what the port still holds when its node has ended arrives for a moment.
fn assert_all_is_sent(site: &Site, server: &Victoria) -> serde_json::Value {
    let is_sent =
        |status: &serde_json::Value| status["readings_behind"] == 0 && status["records_behind"] == 0;
    let deadline = Instant::now() + WAIT_MAX;
    loop {
        let wanted = recorded(&site.path("ledger.sqlite"));
        let status = site.until("all to be sent", is_sent);
        let found = on_the_server(&wanted, server);
        if recorded(&site.path("ledger.sqlite")) == wanted {
            assert_same(&found, &cut(&wanted), "readings");
            return status;
        }
        assert!(Instant::now() < deadline, "the port is never empty\n{}", site.log());
    }
}

#[test]
fn killed_while_it_sends_and_asked_to_send_again() {
    let server = Victoria::start();
    let (node, device) = Node::start();
    let site = Site::new(&device, &server.url());
    for number in 0..6_u64 {
        let gateway = site.run();
        // Each at another moment: before the ledger is open, in the first request, later.
        thread::sleep(Duration::from_millis(150 + number * 370));
        gateway.kill();
    }
    let gateway = site.run();
    site.until("the first points", |status| status["last_taken"].is_string());
    node.stop();
    let status = assert_all_is_sent(&site, &server);
    assert_eq!(status["set_aside_points"], 0, "{status}");
    gateway.stop();

    let human = site.says(&["series", "status"]);
    for part in [
        "state       no service runs; the server took what was sent",
        "waiting     about ",
        "set aside   0 points in 0 rows",
    ] {
        assert!(human.contains(part), "{human}");
    }
    // Another server that has nothing; what is asked for while the service is stopped is sent later.
    drop(server);
    let server = Victoria::start();
    let text = std::fs::read_to_string(site.path("gateway.toml")).expect("our own file");
    let line = text.lines().find(|line| line.starts_with("url = ")).expect("a line for it").to_owned();
    let text = text.replace(&line, &format!("url = \"{}\"", server.url()));
    std::fs::write(site.path("gateway.toml"), text).expect("our own directory");
    let told =
        site.says(&["series", "resend", "--from", "2026-01-01T00:00:00Z", "--to", "2099-01-01T00:00:00Z"]);
    assert!(told.contains("the next `rinseward run` sends it"), "{told}");
    assert_eq!(site.status()["spans"][0]["from"], "2026-01-01T00:00:00Z");
    let gateway = site.run();
    site.until("the span to be through", |status| status["spans"] == serde_json::json!([]));
    gateway.stop();
    assert_the_server_has(&recorded(&site.path("ledger.sqlite")), &server);
}

#[test]
fn the_running_service_sends_a_span_again() {
    let mut server = Victoria::start();
    let (node, device) = Node::start();
    let site = Site::new(&device, &server.url());
    let gateway = site.run();
    site.until("the first points", |status| status["last_taken"].is_string());
    node.stop();
    let status = assert_all_is_sent(&site, &server);
    assert_eq!(status["service_runs"], true, "{status}");
    // What it has is gone; the gateway cannot know.
    server.restart_empty();
    let told =
        site.says(&["series", "resend", "--from", "2026-01-01T00:00:00Z", "--to", "2099-01-01T00:00:00Z"]);
    assert!(told.contains("the service sends it"), "{told}");
    site.until("the span to be through", |status| status["spans"] == serde_json::json!([]));
    assert_all_is_sent(&site, &server);
    gateway.stop();
    assert_eq!(site.status()["service_runs"], false);
    let human = site.says(&["series", "status"]);
    assert!(human.contains("state       no service runs; the server took what was sent"), "{human}");
}

/// What the server refuses is shown with its words and its line, and a span sent again once the
/// cause is put right takes it off the list.
#[tokio::test(flavor = "multi_thread")]
async fn what_is_set_aside_is_shown_until_it_is_sent_again() {
    let server = Influx::start().await;
    let is_poison =
        |line: &str| line.contains("event=service-start").then(|| "field type conflict".to_owned());
    server.behaviour().refuse = Some(Box::new(is_poison));
    let (node, device) = Node::start();
    let site = Site::new(&device, &server.url());
    tokio::task::block_in_place(|| {
        let gateway = site.run();
        let status = site.until("a row", |status| status["set_aside_rows"] == 1);
        node.stop();
        let row = &status["set_aside"][0];
        let is_told = |name: &str, part: &str| row[name].as_str().is_some_and(|text| text.contains(part));
        assert!(
            is_told("reason", "field type conflict") && is_told("first_line", "service-start"),
            "{status}"
        );
        let human = site.says(&["series", "status"]);
        assert!(human.contains("set aside   1 point in 1 row"), "{human}");
        assert!(
            human.contains("field type conflict") && human.contains("  service,event=service-start,"),
            "{human}"
        );
        server.behaviour().refuse = None;
        site.says(&["series", "resend", "--from", "2026-01-01", "--to", "2099-01-01"]);
        site.until("the row to be settled", |status| status["set_aside_rows"] == 0);
        gateway.stop();
    });
    let has_it = server.behaviour().points.keys().any(|(key, _)| key.contains("event=service-start"));
    assert!(has_it, "the point that was set aside is on the server");
}

/// The desk learns how old the backlog is from the task that sends, across a restart too. Nobody
/// waits an hour here: the bookmark of the first run is made two hours older.
#[test]
fn an_old_backlog_raises_an_alert() {
    let (_node, device) = Node::start();
    let site = Site::new(&device, "http://127.0.0.1:1/");
    let ledger = site.path("ledger.sqlite");
    let gateway = site.run();
    site.until("the reason", |status| status["trouble"].is_object() && status["oldest"].is_string());
    gateway.stop();
    let stored = Reader::open(&ledger).expect("a ledger").bookmark("series").expect("a ledger that is read");
    let mut track: serde_json::Value = serde_json::from_slice(&stored.expect("a bookmark")).expect("JSON");
    let since = track["live_since"].as_i64().expect("microseconds");
    track["live_since"] = (since - 2 * 3_600_000_000).into();
    let options = Options { path: ledger.clone(), block_retention: Duration::from_secs(400 * 86_400) };
    let names = Names { machines: &[], channels: &[] };
    let (writer, _) = Writer::open(&options, names, Timestamp::from_micros(since)).expect("nobody has it");
    let (done, kept) = std::sync::mpsc::sync_channel(1);
    let bookmark = Bookmark { name: "series".to_owned(), state: track.to_string().into_bytes() };
    let append = Append { bookmarks: vec![bookmark], ..Append::default() };
    writer.append(
        append,
        Box::new(move |result| {
            // The receiver waits for it below.
            let _received = done.send(result.is_ok());
        }),
    );
    assert_eq!(kept.recv(), Ok(true));
    writer.close().expect("it closes");

    let _gateway = site.run();
    let deadline = Instant::now() + WAIT_MAX;
    let raised = loop {
        let mut raised = None;
        let reader = Reader::open(&ledger).expect("a ledger");
        let read = reader.records(0, |_, _, record| {
            if let Body::AlertRaised(alert) = record.body {
                raised = raised.take().or((alert.condition == Condition::SeriesBacklog).then_some(alert));
            }
            ControlFlow::Continue(())
        });
        read.expect("a ledger that is read");
        if let Some(raised) = raised {
            break raised;
        }
        assert!(Instant::now() < deadline, "no alert: {}\n{}", site.status(), site.log());
        thread::sleep(Duration::from_millis(100));
    };
    let Some(Quantity::Seconds(age)) = raised.measured else { panic!("{raised:?}") };
    assert!((7_200.0..7_400.0).contains(&age), "{raised:?}");
    assert_eq!(raised.limit, Some(Quantity::Seconds(3_600.0)));
}

/// A file that was put right is found without a restart, and nobody who asks waits for it.
#[test]
fn certificates_that_are_missing_stop_nothing_else() {
    let (_node, device) = Node::start();
    // Nothing listens there.
    let site = Site::new(&device, "https://127.0.0.1:1/\"\nca-file = \"ca.pem");
    let _gateway = site.run();
    let reason = |status: &serde_json::Value, slug: &str| status["trouble"]["slug"] == slug;
    let status = site.until("the reason", |status| reason(status, "series-tls"));
    let text = status["trouble"]["text"].as_str().expect("words");
    assert!(text.contains("ca.pem"), "{text}");
    let time = status["trouble"]["since"].as_str().map(str::parse::<Timestamp>);
    assert!(matches!(time, Some(Ok(_))), "{status}");
    let human = site.says(&["series", "status"]);
    assert!(human.contains("\ndo          check the path and let the service user read "), "{human}");
    site.until("readings to be kept", |status| status["readings_behind"].as_u64() > Some(0));
    site.says(&["series", "resend", "--from", "2026-01-01", "--to", "2026-01-01"]);
    std::fs::write(site.path("ca.pem"), Authority::new().pem()).expect("our own directory");
    site.until("the next reason", |status| reason(status, "series-unreachable"));
}

#[test]
fn what_cannot_be_asked_is_told() {
    let (_node, device) = Node::start();
    let site = Site::new(&device, "http://127.0.0.1:1/");
    for (words, code, part) in [
        (vec!["series", "status"], 74, "there is no ledger"),
        (vec!["series", "resend", "--from", "2026-01-02", "--to", "2026-01-01"], 64, "nothing lies between"),
        (vec!["series", "resend", "--from", "2026-01-01", "--to", "2026-01-02"], 74, "there is no ledger"),
    ] {
        let output = site.command(&words).output().expect("the program runs");
        let told = String::from_utf8_lossy(&output.stderr);
        assert_eq!(output.status.code(), Some(code), "{words:?}: {told}");
        assert!(told.contains(part), "{words:?}: {told}");
    }
    assert!(!site.path("ledger.sqlite").exists(), "asking makes no ledger");
}

// The site is in New York, at UTC−05:00 in winter; the computer on which it is typed is put to Tokyo.
#[test]
fn days_that_are_typed_are_those_of_the_site() {
    let (_node, device) = Node::start();
    let site = Site::new(&device, "http://127.0.0.1:1/");
    let file = site.path("gateway.toml");
    let text = std::fs::read_to_string(&file).expect("our own file");
    std::fs::write(&file, format!("[site]\ntime-zone = \"America/New_York\"\n{text}")).expect("our own file");
    let words = ["series", "resend", "--from", "2026-01-02", "--to", "2025-12-31"];
    let output = site.command(&words).env("TZ", "Asia/Tokyo").output().expect("the program runs");
    let told = String::from_utf8_lossy(&output.stderr);
    assert!(told.contains("between 2026-01-02T05:00:00Z and 2026-01-01T05:00:00Z"), "{told}");
}
