//! A real server that takes the write API of InfluxDB 2: Debian's victoria-metrics, on a free
//! loopback port, started and ended by its number.
//!
//! It cuts times to milliseconds, makes one series of each field, keeps a text field as a zero, keeps
//! about fifteen digits of a number, shows a new series only after ten seconds unless it is told to
//! flush, and answers 204 even to lines it throws away (all measured with version 1.79). What arrived
//! is therefore always read back.

use std::collections::BTreeMap;
use std::fs;
use std::io::{Read, Write};
use std::net::{Ipv4Addr, TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::thread;
use std::time::{Duration, Instant};

use rustix::process::{Pid, Signal, kill_process};
use tempfile::TempDir;

/// Longest wait for the server to answer or to end.
const WAIT_MAX: Duration = Duration::from_secs(20);

/// One series as the server has it: one field of one set of tags.
#[derive(Clone, PartialEq, Debug, serde::Deserialize)]
pub(crate) struct Series {
    /// Its name, `measurement_field`, as `__name__`, and its tags.
    pub(crate) metric: BTreeMap<String, String>,
    /// Values, in order of time.
    pub(crate) values: Vec<f64>,
    /// Milliseconds since the epoch.
    pub(crate) timestamps: Vec<i64>,
}

/// A server process; killed, by its number, when dropped.
pub(crate) struct Victoria {
    directory: TempDir,
    port: u16,
    child: Option<Child>,
}

impl Victoria {
    /// Starts a server with nothing in it.
    pub(crate) fn start() -> Self {
        let directory =
            TempDir::new_in("/dev/shm").or_else(|_| TempDir::new()).expect("a temporary directory");
        let mut server = Self { directory, port: 0, child: None };
        // The port is free when it is asked for, but another test may take it first.
        for _ in 0..5 {
            server.port = free_port();
            if server.spawn() {
                return server;
            }
        }
        panic!("victoria-metrics does not start:\n{}", server.log());
    }

    /// Its address.
    pub(crate) fn url(&self) -> String {
        format!("http://127.0.0.1:{}/", self.port)
    }

    /// Ends it as a power cut would end the process.
    pub(crate) fn kill(&mut self) {
        self.end(Signal::KILL);
    }

    /// Ends it in order, so that all it took is on disk.
    pub(crate) fn stop(&mut self) {
        self.end(Signal::INT);
    }

    /// Starts it again on the same port, with what it has on disk.
    pub(crate) fn restart(&mut self) {
        assert!(self.spawn(), "victoria-metrics does not start again:\n{}", self.log());
    }

    /// Starts it again on the same port, with nothing.
    pub(crate) fn restart_empty(&mut self) {
        self.kill();
        fs::remove_dir_all(self.path("data")).expect("our own directory");
        self.restart();
    }

    /// Every series whose name begins with one of our measurements, all times, in order of name and tags.
    pub(crate) fn export(&self) -> Vec<Series> {
        self.export_matching("{__name__!=\"\"}")
    }

    /// The series that match a selector of PromQL.
    pub(crate) fn export_matching(&self, selector: &str) -> Vec<Series> {
        self.ask("/internal/force_flush");
        let selector: String = selector.bytes().map(|byte| format!("%{byte:02X}")).collect();
        let body = self.ask(&format!("/api/v1/export?match%5B%5D={selector}&start=1&reduce_mem_usage=1"));
        let mut series: BTreeMap<BTreeMap<String, String>, BTreeMap<i64, f64>> = BTreeMap::new();
        for line in body.lines() {
            let part: Series = serde_json::from_str(line).unwrap_or_else(|error| panic!("{error}: {line}"));
            // One series may come in several lines, one for each block on disk.
            let points = series.entry(part.metric).or_default();
            points.extend(part.timestamps.into_iter().zip(part.values));
        }
        let whole = |(metric, points): (_, BTreeMap<i64, f64>)| Series {
            metric,
            timestamps: points.keys().copied().collect(),
            values: points.into_values().collect(),
        };
        series.into_iter().map(whole).collect()
    }

    /// The series that match a selector, once `is_whole` says that they are: for some milliseconds
    /// a flush of the server's own hides what it is just writing, which the flush that is asked for
    /// does not wait for. What arrives meanwhile ends the patience, so that nothing that was still
    /// on its way passes for what was there.
    pub(crate) fn export_whole(
        &self,
        selector: &str,
        mut is_whole: impl FnMut(&[Series]) -> bool,
    ) -> Vec<Series> {
        let taken = self.rows_taken();
        let deadline = Instant::now() + WAIT_MAX;
        loop {
            let series = self.export_matching(selector);
            if is_whole(&series) || self.rows_taken() != taken || Instant::now() > deadline {
                return series;
            }
            thread::sleep(Duration::from_millis(50));
        }
    }

    /// Points of line protocol that it has taken since it started.
    fn rows_taken(&self) -> u64 {
        let metrics = self.ask("/metrics");
        let count =
            metrics.lines().find_map(|line| line.strip_prefix("vm_rows_inserted_total{type=\"influx\"} "));
        count.expect("it counts what it takes").parse().expect("a number")
    }

    /// Asks in MetricsQL; `range` is `query?time=…` or `query_range?start=…&end=…&step=…`.
    pub(crate) fn question(&self, question: &str, range: &str) -> serde_json::Value {
        self.ask("/internal/force_flush");
        let question: String = question.bytes().map(|byte| format!("%{byte:02X}")).collect();
        let body = self.ask(&format!("/api/v1/{range}&query={question}&nocache=1"));
        serde_json::from_str(&body).unwrap_or_else(|error| panic!("{error}: {body}"))
    }

    /// The body of an answer with status 200.
    fn ask(&self, path: &str) -> String {
        let mut link = TcpStream::connect((Ipv4Addr::LOCALHOST, self.port)).expect("a running server");
        link.set_read_timeout(Some(WAIT_MAX)).expect("a time-out");
        write!(link, "GET {path} HTTP/1.0\r\nHost: localhost\r\n\r\n").expect("a request");
        let mut answer = Vec::new();
        link.read_to_end(&mut answer).expect("an answer");
        let answer = String::from_utf8(answer).expect("text");
        let (head, body) = answer.split_once("\r\n\r\n").expect("a head and a body");
        assert!(head.lines().next().is_some_and(|line| line.contains(" 200 ")), "{path}: {answer}");
        body.to_owned()
    }

    /// Starts the process; says whether it answers.
    fn spawn(&mut self) -> bool {
        let log = fs::File::create(self.path("server.log")).expect("our own directory");
        let child = Command::new(program())
            .arg(format!("-storageDataPath={}", self.path("data").display()))
            .arg(format!("-httpListenAddr=127.0.0.1:{}", self.port))
            .args(["-retentionPeriod=100y", "-dedup.minScrapeInterval=1ms", "-memory.allowedBytes=256MB"])
            .args(["-storage.minFreeDiskSpaceBytes=1MB", "-search.maxExportDuration=5m"])
            .stdout(Stdio::null())
            .stderr(log)
            .spawn()
            .expect("victoria-metrics is installed");
        let child = self.child.insert(child);
        let deadline = Instant::now() + WAIT_MAX;
        while Instant::now() < deadline {
            if child.try_wait().expect("our own child").is_some() {
                self.child = None;
                return false;
            }
            if healthy(self.port) {
                return true;
            }
            thread::sleep(Duration::from_millis(10));
        }
        false
    }

    fn end(&mut self, signal: Signal) {
        let mut child = self.child.take().expect("a running server");
        kill_process(Pid::from_child(&child), signal).expect("our own child");
        let deadline = Instant::now() + WAIT_MAX;
        while child.try_wait().expect("our own child").is_none() {
            assert!(Instant::now() < deadline, "victoria-metrics does not end:\n{}", self.log());
            thread::sleep(Duration::from_millis(5));
        }
    }

    fn path(&self, name: &str) -> PathBuf {
        self.directory.path().join(name)
    }

    /// What it logged; lines it threw away are told of there.
    pub(crate) fn log(&self) -> String {
        fs::read_to_string(self.path("server.log")).unwrap_or_else(|error| format!("(no log: {error})"))
    }
}

impl Drop for Victoria {
    fn drop(&mut self) {
        if self.child.is_some() {
            self.kill();
        }
    }
}

fn healthy(port: u16) -> bool {
    let ask = || -> std::io::Result<String> {
        let mut link = TcpStream::connect((Ipv4Addr::LOCALHOST, port))?;
        link.set_read_timeout(Some(Duration::from_secs(1)))?;
        link.write_all(b"GET /health HTTP/1.0\r\n\r\n")?;
        let mut answer = String::new();
        link.read_to_string(&mut answer)?;
        Ok(answer)
    };
    ask().is_ok_and(|answer| answer.ends_with("OK"))
}

/// The program of the package; its absence fails the test.
fn program() -> PathBuf {
    let found = ["/usr/bin", "/usr/local/bin", "/usr/sbin"]
        .into_iter()
        .map(|directory| Path::new(directory).join("victoria-metrics"))
        .find(|path| path.is_file());
    found.unwrap_or_else(|| {
        panic!(
            "victoria-metrics is not installed, and the tests of the series write to the real one: \
             apt-get install victoria-metrics"
        )
    })
}

fn free_port() -> u16 {
    let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).expect("loopback");
    listener.local_addr().expect("a bound socket").port()
}
