//! The real process, to be killed.

use std::fs::{self, File};
use std::os::unix::process::ExitStatusExt;
use std::path::PathBuf;
use std::process::{Child, ChildStdin, ExitStatus, Stdio};
use std::thread;
use std::time::{Duration, Instant};

use rustix::process::{Pid, Signal, kill_process};

use super::kitchen::{Site, rinseward, text};

/// Longest wait for a process to end by itself.
const WAIT_MAX: Duration = Duration::from_secs(60);

/// A running `rinseward run`; killed when dropped.
pub(crate) struct Gateway {
    child: Child,
    log: PathBuf,
}

impl Gateway {
    /// Starts it; `failpoints` arms points of the writer (with the feature of that name).
    pub(crate) fn start(site: &Site, failpoints: &str) -> Self {
        let log = site.path("gateway.log");
        let file = File::create(&log).expect("a temporary file");
        let child = rinseward(&["run", "--config", text(&site.configuration())])
            .env("FAILPOINTS", failpoints)
            .stdin(Stdio::piped())
            .stdout(Stdio::null())
            .stderr(file)
            .spawn()
            .expect("the program starts");
        Self { child, log }
    }

    /// Ends it as the kernel would when memory is out, and waits for that.
    pub(crate) fn kill(mut self) {
        let ended = self.child.try_wait().expect("our own child");
        assert!(ended.is_none(), "it ended by itself, {ended:?}: {}", self.log());
        self.child.kill().expect("our own child");
        let status = self.child.wait().expect("our own child");
        assert_eq!(status.signal(), Some(Signal::KILL.as_raw()), "{}", self.log());
    }

    /// Waits until a failpoint has ended it (SIGABRT); `Err` gives it back where that does not come.
    #[cfg(feature = "failpoints")]
    pub(crate) fn aborted(mut self, within: Duration) -> Result<(), Self> {
        match self.ended(within) {
            Some(status) => {
                assert_eq!(status.signal(), Some(Signal::ABORT.as_raw()), "{status}: {}", self.log());
                Ok(())
            }
            None => Err(self),
        }
    }

    /// Ends it as the service manager does, once it is up; gives its status and how long it took.
    pub(crate) fn stop(mut self, signal: Signal) -> (ExitStatus, Duration) {
        let limit = Instant::now() + WAIT_MAX;
        while !self.log().contains("ledger is open") {
            assert!(Instant::now() < limit, "it does not come up: {}", self.log());
            thread::sleep(Duration::from_millis(2));
        }
        let began = Instant::now();
        kill_process(Pid::from_child(&self.child), signal).expect("our own child");
        let status = self.ended(WAIT_MAX);
        (status.unwrap_or_else(|| panic!("it does not end: {}", self.log())), began.elapsed())
    }

    /// Its standard input.
    pub(crate) fn pipe(&mut self) -> ChildStdin {
        self.child.stdin.take().expect("taken once")
    }

    /// Waits until it ends by itself.
    pub(crate) fn end(mut self) -> ExitStatus {
        let status = self.ended(WAIT_MAX);
        status.unwrap_or_else(|| panic!("it does not end: {}", self.log()))
    }

    /// What it logged.
    pub(crate) fn log(&self) -> String {
        fs::read_to_string(&self.log).unwrap_or_default()
    }

    fn ended(&mut self, within: Duration) -> Option<ExitStatus> {
        let limit = Instant::now() + within;
        loop {
            let status = self.child.try_wait().expect("our own child");
            if status.is_some() || Instant::now() >= limit {
                return status;
            }
            thread::sleep(Duration::from_millis(2));
        }
    }
}

impl Drop for Gateway {
    fn drop(&mut self) {
        // Has no effect on a child that has ended.
        drop(self.child.kill());
        drop(self.child.wait());
    }
}
