//! A gateway with pages, as a process.

use std::fs::{self, File};
use std::io::{BufWriter, Write};
use std::net::{SocketAddr, TcpStream};
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::thread;
use std::time::{Duration, Instant};

use rinseward::core::record::{AccessDeed, AccessEvent, Body, Record};
use rinseward::ledger::Reader;
use rustix::process::{Pid, Signal, kill_process};
use serde_json::Value;
use tempfile::TempDir;

use super::browser::Browser;
use crate::mqtt::broker::free_port;

/// Longest wait for anything.
const WAIT_MAX: Duration = Duration::from_secs(60);

/// A secret in the form of Standard Webhooks: `whsec_` and base64 of 24 bytes.
const SECRET: &str = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw";

/// A gateway's directory and its configuration.
pub(crate) struct Site {
    directory: TempDir,
    pub(crate) port: u16,
}

impl Site {
    /// `web` are further keys of `[web]`.
    pub(crate) fn new(web: &str) -> Self {
        Self::listening("127.0.0.1", web)
    }

    pub(crate) fn listening(address: &str, web: &str) -> Self {
        Self::configured(|port| {
            format!(
                "[site]\nname = \"North kitchen\"\ntime-zone = \"America/New_York\"\n\
             [ledger]\npath = \"ledger.sqlite\"\ncommit-interval = \"20ms\"\n\
             [[machine]]\nname = \"dm1\"\nkind = \"stationary-rack-dual-temperature\"\nprobes = [\"rinse\"]\n\
             [[source]]\nname = \"pipe\"\nkind = \"replay\"\n\
             [alert]\nchecks = []\noff = [\"clock-unsynchronised\", \"disk-filling\"]\n\
             [web]\nenabled = true\nlisten = \"{address}:{port}\"\n{web}"
            )
        })
    }

    /// With a configuration of one's own, for pages at a port. `secret` is a file beside it, as webhooks need.
    pub(crate) fn configured(text: impl FnOnce(u16) -> String) -> Self {
        let directory = TempDir::new().expect("a temporary directory");
        let port = free_port();
        let site = Self { directory, port };
        fs::write(site.path("gateway.toml"), text(port)).expect("a temporary file");
        fs::write(site.path("secret"), SECRET).expect("a temporary file");
        rustix::fs::chmod(site.path("secret"), rustix::fs::Mode::from_bits_retain(0o600))
            .expect("our own file");
        site
    }

    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.directory.path().join(name)
    }

    pub(crate) fn store(&self) -> PathBuf {
        self.path("ledger.sqlite.access")
    }

    /// Runs a command with this configuration.
    pub(crate) fn rinseward(&self, arguments: &[&str]) -> Output {
        let mut command = Command::new(env!("CARGO_BIN_EXE_rinseward"));
        command.args(arguments).arg("--config").arg(self.path("gateway.toml"));
        command.stdin(Stdio::null()).output().expect("the program starts")
    }

    /// What a command that must go well printed as JSON.
    pub(crate) fn json(&self, arguments: &[&str]) -> Value {
        let output = self.rinseward(&[arguments, &["--json"]].concat());
        let said = String::from_utf8_lossy(&output.stderr);
        assert!(output.status.success(), "{arguments:?}: {said}");
        serde_json::from_slice(&output.stdout).expect("JSON")
    }

    /// Makes an account by command; its one-time secret.
    pub(crate) fn add(&self, account: &str, role: &str) -> String {
        let name = format!("{account} the {role}");
        let made = self.json(&["accounts", "add", account, "--name", &name, "--role", role, "--by", "Tom"]);
        made["secret"].as_str().expect("a secret").to_owned()
    }

    /// Makes a token by command; its secret.
    pub(crate) fn token(&self, name: &str, role: &str) -> String {
        let made = self.json(&["accounts", "tokens", "add", name, "--role", role, "--by", "Tom"]);
        made["secret"].as_str().expect("a secret").to_owned()
    }

    /// Every line of the record, as stored.
    pub(crate) fn lines(&self) -> Vec<String> {
        let mut lines = Vec::new();
        let read = Reader::open(&self.path("ledger.sqlite")).and_then(|reader| {
            reader.records(0, |_, _, record| {
                lines.push(String::from_utf8(record.to_bytes()).expect("JSON is text"));
                ControlFlow::Continue(())
            })
        });
        if read.is_ok() { lines } else { Vec::new() }
    }

    /// Every record, in order.
    pub(crate) fn records(&self) -> Vec<Record> {
        let mut records = Vec::new();
        let read = Reader::open(&self.path("ledger.sqlite")).and_then(|reader| {
            reader.records(0, |_, _, record| {
                records.push(record);
                ControlFlow::Continue(())
            })
        });
        if read.is_ok() { records } else { Vec::new() }
    }

    /// Every event of access, in order.
    pub(crate) fn events(&self) -> Vec<AccessEvent> {
        let bodies = self.bodies(&["access"]).into_iter();
        let event = |body| if let Body::Access(event) = body { Some(*event) } else { None };
        bodies.filter_map(event).collect()
    }

    /// What every record of these kinds says, in order.
    pub(crate) fn bodies(&self, kinds: &[&str]) -> Vec<Body> {
        let mut bodies = Vec::new();
        let read = Reader::open(&self.path("ledger.sqlite")).and_then(|reader| {
            reader.records_of(kinds, 0, |_, _, record| {
                bodies.push(record.body);
                ControlFlow::Continue(())
            })
        });
        if read.is_ok() { bodies } else { Vec::new() }
    }

    /// Waits until an event of this account is on record, and gives it.
    pub(crate) fn until_told(&self, account: &str, deed: &AccessDeed) -> AccessEvent {
        let limit = Instant::now() + WAIT_MAX;
        loop {
            let events = self.events();
            if let Some(event) = events.iter().find(|event| event.account == account && event.what == *deed) {
                return event.clone();
            }
            assert!(Instant::now() < limit, "{account} {deed:?} is not among {events:#?}");
            thread::sleep(Duration::from_millis(10));
        }
    }
}

/// A running `rinseward run`; killed when dropped.
pub(crate) struct Gateway {
    child: Child,
    log: PathBuf,
    base: String,
}

impl Gateway {
    /// Starts it, and waits until it listens.
    pub(crate) fn start(site: &Site) -> Self {
        let gateway = Self::begin(site);
        let address = SocketAddr::from(([127, 0, 0, 1], site.port));
        let limit = Instant::now() + WAIT_MAX;
        let socket = site.path("ledger.sqlite.socket");
        while TcpStream::connect(address).is_err() || !socket.exists() {
            assert!(Instant::now() < limit, "it does not listen: {}", gateway.log());
            thread::sleep(Duration::from_millis(10));
        }
        gateway
    }

    /// Starts it.
    pub(crate) fn begin(site: &Site) -> Self {
        let log = site.path("gateway.log");
        let file = File::options().create(true).append(true).open(&log).expect("a temporary file");
        let child = Command::new(env!("CARGO_BIN_EXE_rinseward"))
            .args(["run", "--config"])
            .arg(site.path("gateway.toml"))
            .stdin(Stdio::piped())
            .stdout(Stdio::null())
            .stderr(file)
            .spawn()
            .expect("the program starts");
        Self { child, log, base: format!("http://127.0.0.1:{}", site.port) }
    }

    pub(crate) fn browser(&self) -> Browser {
        Browser::new(&self.base)
    }

    /// Hands lines to its standard input.
    pub(crate) fn feed<'a>(&mut self, lines: impl Iterator<Item = &'a str>) {
        let mut pipe = BufWriter::new(self.child.stdin.as_mut().expect("it is piped"));
        for line in lines {
            writeln!(pipe, "{line}").expect("it reads");
        }
        pipe.flush().expect("it reads");
    }

    pub(crate) fn log(&self) -> String {
        fs::read_to_string(&self.log).unwrap_or_default()
    }

    /// Waits until the log says this.
    pub(crate) fn until_logged(&self, text: &str) {
        let limit = Instant::now() + WAIT_MAX;
        while !self.log().contains(text) {
            assert!(Instant::now() < limit, "«{text}» is not in {}", self.log());
            thread::sleep(Duration::from_millis(10));
        }
    }

    /// Ends it at once.
    pub(crate) fn kill(mut self) {
        self.child.kill().expect("our own child");
        self.child.wait().expect("our own child");
    }

    /// Ends it in order.
    pub(crate) fn stop(mut self) {
        kill_process(Pid::from_child(&self.child), Signal::TERM).expect("our own child");
        let status = self.child.wait().expect("our own child");
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

/// The one-time secret that the first start printed.
pub(crate) fn first_secret(log: &str) -> String {
    let line = log.lines().find(|line| line.contains("one-time secret:")).expect("a secret is printed");
    line.rsplit(' ').next().expect("a word").to_owned()
}

/// Somebody who has an account, and a password by now.
pub(crate) async fn member(site: &Site, gateway: &Gateway, account: &str, role: &str) -> Browser {
    let secret = site.add(account, role);
    let mut browser = gateway.browser();
    assert_eq!(browser.login(account, &secret).await.status, 303, "{account}");
    let answer = choose(&mut browser, "", PASSWORD).await;
    assert_eq!((answer.status, answer.location()), (303, "./account"), "{}", answer.body);
    browser
}

/// A password that is taken.
pub(crate) const PASSWORD: &str = "kettle rain seven";

/// Chooses a password.
pub(crate) async fn choose(browser: &mut Browser, current: &str, new: &str) -> super::browser::Answer {
    let form = [("deed", "password"), ("current", current), ("new", new), ("again", new)];
    browser.post("/account", &form).await
}

/// Whether a folder holds this text in any file, as bytes.
pub(crate) fn holds(folder: &Path, text: &str) -> Vec<PathBuf> {
    let entries = fs::read_dir(folder).expect("our own folder").filter_map(Result::ok);
    let files = entries.map(|entry| entry.path()).filter(|path| path.is_file());
    let has = |path: &PathBuf| {
        fs::read(path).is_ok_and(|bytes| bytes.windows(text.len()).any(|part| part == text.as_bytes()))
    };
    files.filter(has).collect()
}
