//! The real process: killed while it sends, asked how it stands, asked to send again.

use std::fmt::Write as _;
use std::fs::File;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;
use std::time::{Duration, Instant, SystemTime};

use rustix::process::{Pid, Signal, kill_process};
use serialport::{SerialPort, TTYPort};

use super::kitchen::readings;
use super::pumping::assert_the_server_has;
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
            let status = self.status();
            if is_so(&status) {
                return status;
            }
            assert!(Instant::now() < deadline, "waited for {what}: {status}\n{}", self.log());
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

fn on_the_server(site: &Path, server: &Victoria) {
    let names = ["dm1/wash", "dm1/rinse"].into_iter().map(str::to_owned);
    assert_the_server_has(&readings(site, names), server);
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
    let status = site.until("all to be sent", |status| status["readings_behind"] == 0);
    assert_eq!((&status["records_behind"], &status["set_aside_points"]), (&0.into(), &0.into()), "{status}");
    on_the_server(&site.path("ledger.sqlite"), &server);
    gateway.stop();

    let human = site.says(&["series", "status"]);
    for part in
        ["state       the server takes points", "waiting     about ", "set aside   0 points in 0 rows"]
    {
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
    on_the_server(&site.path("ledger.sqlite"), &server);
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
