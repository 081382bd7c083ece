//! A person at a terminal: a pseudo-terminal of a given size with a program on it, and what is seen there.

use std::fs::{File, OpenOptions};
use std::io::{Read, Write};
use std::num::NonZero;
use std::os::unix::ffi::OsStrExt;
use std::os::unix::fs::OpenOptionsExt;
use std::path::Path;
use std::process::{Child, Command, ExitStatus, Stdio};
use std::sync::{Arc, Mutex};
use std::thread;
use std::time::{Duration, Instant};

use rustix::fs::OFlags;
use rustix::process::{Pid, Signal, kill_process};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{LocalModes, Winsize, tcgetattr, tcsetwinsize};

/// Longest wait for something to be seen, or for the program to end.
const WAIT_MAX: Duration = Duration::from_secs(60);

/// The terminal; its program is killed when it is dropped.
pub(crate) struct Terminal {
    child: Child,
    keys: File,
    /// Keeps the settings of the terminal when the program has gone.
    line: File,
    screen: Arc<Mutex<vt100::Parser>>,
}

impl Terminal {
    /// Starts the program on a terminal of so many columns and rows.
    pub(crate) fn start(command: &mut Command, columns: u16, rows: u16) -> Self {
        let flags = OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC;
        let keys = openpt(flags).expect("a pseudo-terminal");
        grantpt(&keys).and_then(|()| unlockpt(&keys)).expect("our own pseudo-terminal");
        let size = Winsize { ws_row: rows, ws_col: columns, ws_xpixel: 0, ws_ypixel: 0 };
        tcsetwinsize(&keys, size).expect("our own pseudo-terminal");
        let name = ptsname(&keys, Vec::new()).expect("it has a name");
        let name = Path::new(std::ffi::OsStr::from_bytes(name.as_bytes()));
        let no_control = i32::try_from(OFlags::NOCTTY.bits()).expect("a flag of open(2)");
        let line = OpenOptions::new().read(true).write(true).custom_flags(no_control).open(name);
        let line = line.expect("our own pseudo-terminal");
        let end = || Stdio::from(line.try_clone().expect("room for a file"));
        let child = command.env("TERM", "xterm").stdin(end()).stdout(end()).stderr(end()).spawn();
        let keys = File::from(keys);
        let screen = Arc::new(Mutex::new(vt100::Parser::new(cells(rows), cells(columns), 0)));
        let (mut shown, seen) = (keys.try_clone().expect("room for a file"), Arc::clone(&screen));
        thread::spawn(move || {
            let mut bytes = [0; 4_096];
            while let Ok(count) = shown.read(&mut bytes) {
                seen.lock().expect("no holder panics").process(&bytes[..count]);
            }
        });
        Self { child: child.expect("the program starts"), keys, line, screen }
    }

    /// What a person sees, a row a line.
    pub(crate) fn seen(&self) -> String {
        self.screen.lock().expect("no holder panics").screen().contents()
    }

    /// The row that begins with this, marks left out, once `holds` is true of it.
    pub(crate) fn row(&self, begin: &str, holds: impl Fn(&str) -> bool) -> String {
        let row = || {
            let seen = self.seen();
            let mut rows = seen.lines().filter(|row| row.trim_start_matches(['!', ' ']).starts_with(begin));
            rows.find(|row| holds(row)).map(str::to_owned)
        };
        self.wait(&format!("a row of {begin}"), row)
    }

    /// Waits until this is seen.
    pub(crate) fn until(&self, text: &str) {
        self.wait(text, || self.seen().contains(text).then_some(()));
    }

    /// Waits until this is so.
    pub(crate) fn holds(&self, what: &str, so: impl Fn() -> bool) {
        self.wait(what, || so().then_some(()));
    }

    fn wait<T>(&self, what: &str, found: impl Fn() -> Option<T>) -> T {
        let limit = Instant::now() + WAIT_MAX;
        loop {
            if let Some(found) = found() {
                return found;
            }
            assert!(Instant::now() < limit, "not seen: {what}\n{}", self.seen());
            thread::sleep(Duration::from_millis(10));
        }
    }

    /// Presses keys.
    pub(crate) fn press(&mut self, keys: &str) {
        self.keys.write_all(keys.as_bytes()).expect("our own pseudo-terminal");
    }

    /// The process of the program.
    pub(crate) fn pid(&self) -> u32 {
        self.child.id()
    }

    /// Sends the program a signal.
    pub(crate) fn signal(&self, signal: Signal) {
        kill_process(Pid::from_child(&self.child), signal).expect("our own child");
    }

    /// Waits for the end of the program; the terminal must be as it was: lines are edited, keys
    /// are shown, no other screen covers what was there, the cursor is back.
    pub(crate) fn ended(&mut self) -> ExitStatus {
        let limit = Instant::now() + WAIT_MAX;
        let status = loop {
            if let Some(status) = self.child.try_wait().expect("our own child") {
                break status;
            }
            assert!(Instant::now() < limit, "it does not end:\n{}", self.seen());
            thread::sleep(Duration::from_millis(5));
        };
        let modes = tcgetattr(&self.line).expect("our own pseudo-terminal").local_modes;
        assert!(modes.contains(LocalModes::ICANON | LocalModes::ECHO | LocalModes::ISIG), "{modes:?}");
        self.wait("the screen that was there", || {
            let screen = self.screen.lock().expect("no holder panics");
            (!screen.screen().alternate_screen() && !screen.screen().hide_cursor()).then_some(())
        });
        status
    }
}

fn cells(count: u16) -> NonZero<u16> {
    NonZero::new(count).expect("a terminal has a size")
}

impl Drop for Terminal {
    fn drop(&mut self) {
        drop(self.child.kill());
        drop(self.child.wait());
    }
}
