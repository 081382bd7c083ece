//! A node on a serial line: one pseudo-terminal per machine, one SenML pack a line.
//!
//! Like a UART, a pseudo-terminal has no flow control here, but a short patience: while nobody
//! reads, a line waits up to two seconds of real time and is then lost whole; the next
//! lines are lost at once until there is room again. No line is ever cut.

use std::io;
use std::os::fd::OwnedFd;
use std::os::unix::ffi::OsStrExt;
use std::path::{Path, PathBuf};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

use rustix::event::{PollFd, PollFlags, Timespec, poll};
use rustix::fs::{Mode, OFlags, fcntl_setfl, open};
use rustix::io::Errno;
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{OptionalActions, QueueSelector, tcflush, tcgetattr, tcsetattr};

use super::{Emission, Pace, Stop};
use crate::truth::TruthEntry;
use crate::world::World;

/// How long a line waits for room.
const PATIENCE: Duration = Duration::from_secs(2);
/// Longest wait between two looks at the stop flag.
const SLICE: Timespec = Timespec { tv_sec: 0, tv_nsec: 50_000_000 };

/// A pseudo-terminal could not be used.
#[derive(Debug, thiserror::Error)]
pub enum SerialError {
    /// The system gave no pseudo-terminal.
    #[error("cannot open a pseudo-terminal")]
    Open {
        /// Cause.
        source: io::Error,
    },
    /// The link to it could not be made.
    #[error("cannot link {link} to the pseudo-terminal")]
    Link {
        /// Path of the link.
        link: PathBuf,
        /// Cause.
        source: io::Error,
    },
    /// Writing failed.
    #[error("cannot write to the pseudo-terminal {path}")]
    Write {
        /// Path of the port.
        path: PathBuf,
        /// Cause.
        source: io::Error,
    },
}

/// A pseudo-terminal: we hold one end, the gateway opens the other as its serial port.
#[derive(Debug)]
pub struct PseudoTerminal {
    master: OwnedFd,
    // Held open, so that the port outlives a gateway that closes and opens it.
    slave: OwnedFd,
    path: PathBuf,
    link: Option<PathBuf>,
    unwritten: Vec<u8>,
    crowded: bool,
    lost: u64,
}

impl PseudoTerminal {
    /// Opens a pseudo-terminal in raw mode.
    ///
    /// # Errors
    /// When the system gives none.
    pub fn open() -> Result<Self, SerialError> {
        let open_one = || -> rustix::io::Result<(OwnedFd, OwnedFd, PathBuf)> {
            // A program started meanwhile must not hold it open: pulling it out would pass unnoticed.
            let master = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC)?;
            grantpt(&master)?;
            unlockpt(&master)?;
            let name = ptsname(&master, Vec::new())?;
            let path = PathBuf::from(std::ffi::OsStr::from_bytes(name.as_bytes()));
            let slave = open(&path, OFlags::RDWR | OFlags::NOCTTY | OFlags::CLOEXEC, Mode::empty())?;
            let mut settings = tcgetattr(&slave)?;
            settings.make_raw();
            tcsetattr(&slave, OptionalActions::Now, &settings)?;
            fcntl_setfl(&master, OFlags::NONBLOCK)?;
            Ok((master, slave, path))
        };
        let (master, slave, path) =
            open_one().map_err(|source| SerialError::Open { source: source.into() })?;
        Ok(Self { master, slave, path, link: None, unwritten: Vec::new(), crowded: false, lost: 0 })
    }

    /// Makes a symbolic link to the port, in place of an older link; it goes when the port goes.
    ///
    /// # Errors
    /// When the link cannot be made.
    pub fn link(&mut self, link: &Path) -> Result<(), SerialError> {
        let failed = |source| SerialError::Link { link: link.to_owned(), source };
        if link.is_symlink() {
            std::fs::remove_file(link).map_err(failed)?;
        }
        std::os::unix::fs::symlink(&self.path, link).map_err(failed)?;
        self.link = Some(link.to_owned());
        Ok(())
    }

    /// Path that the gateway opens.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Our end.
    pub(super) const fn master(&self) -> &OwnedFd {
        &self.master
    }

    /// Lines lost because nobody read.
    #[must_use]
    pub fn lost(&self) -> u64 {
        self.lost
    }

    /// Bytes that lie unread at the other end.
    ///
    /// # Errors
    /// When the system does not say.
    pub fn unread(&self) -> Result<u64, SerialError> {
        rustix::io::ioctl_fionread(&self.slave).map_err(|source| self.unwritable(source))
    }

    /// Drops what lies unread at the other end if it is more than `bytes_max`, as a port does that nobody
    /// has open.
    ///
    /// # Errors
    /// When the system refuses.
    pub fn drop_unread(&mut self, bytes_max: u64) -> Result<(), SerialError> {
        if self.unread()? > bytes_max {
            tcflush(&self.slave, QueueSelector::IFlush).map_err(|source| self.unwritable(source))?;
        }
        Ok(())
    }

    fn unwritable(&self, source: Errno) -> SerialError {
        SerialError::Write { path: self.path.clone(), source: source.into() }
    }

    /// Writes one line, and the line end.
    ///
    /// # Errors
    /// When the system refuses for another reason than a full line.
    pub fn write_line(&mut self, line: &str, pace: &Pace) -> Result<(), SerialError> {
        let patience = if self.crowded { Duration::ZERO } else { PATIENCE };
        // What is left of the line before goes first, so that no line is cut.
        if !self.drain(patience, pace)? {
            self.crowded = true;
            self.lost += 1;
            return Ok(());
        }
        self.crowded = false;
        self.unwritten.extend_from_slice(line.as_bytes());
        self.unwritten.push(b'\n');
        let _rest_follows = self.drain(Duration::ZERO, pace)?;
        Ok(())
    }

    /// Writes what is left; false when there was no room for it.
    fn drain(&mut self, patience: Duration, pace: &Pace) -> Result<bool, SerialError> {
        let began = Instant::now();
        while !self.unwritten.is_empty() {
            match rustix::io::write(&self.master, &self.unwritten) {
                Ok(written) => {
                    let _gone = self.unwritten.drain(..written);
                }
                Err(Errno::AGAIN) => {
                    if began.elapsed() >= patience || pace.is_stopped() {
                        return Ok(false);
                    }
                    let mut ready = [PollFd::new(&self.master, PollFlags::OUT)];
                    // An interrupted wait is followed by another look.
                    let _waited = poll(&mut ready, Some(&SLICE));
                }
                Err(Errno::INTR) => {}
                Err(source) => return Err(self.unwritable(source)),
            }
        }
        Ok(true)
    }
}

impl Drop for PseudoTerminal {
    fn drop(&mut self) {
        if let Some(link) = &self.link {
            // A link that somebody else removed is gone already.
            let _gone = std::fs::remove_file(link);
        }
    }
}

/// Plays a world onto one port per machine, in the calling thread, until its end or a stop.
/// `on_truth` gets each truth entry.
///
/// # Errors
/// When a port fails.
pub fn play(
    world: &mut World,
    ports: &mut [PseudoTerminal],
    speed: f64,
    stop: &Stop,
    mut on_truth: impl FnMut(TruthEntry),
) -> Result<(), SerialError> {
    let pace = Pace::new(world.start_micros(), speed, stop.clone());
    let mut line = String::new();
    while let Some(emission) = world.next() {
        world.take_truth().into_iter().for_each(&mut on_truth);
        if !pace.wait_until(emission.at_micros) {
            return Ok(());
        }
        write(&emission, &mut line, ports, &pace)?;
    }
    world.take_truth().into_iter().for_each(&mut on_truth);
    for port in ports {
        let _all = port.drain(PATIENCE, &pace)?;
    }
    Ok(())
}

fn write(
    emission: &Emission,
    line: &mut String,
    ports: &mut [PseudoTerminal],
    pace: &Pace,
) -> Result<(), SerialError> {
    line.clear();
    emission.write_line(line);
    // With fewer ports than machines the last one carries the rest, as one node may serve several.
    let last = ports.len().saturating_sub(1);
    ports.get_mut(emission.machine.min(last)).map_or(Ok(()), |port| port.write_line(line, pace))
}

/// The ports come back with the result, so that a reader may finish what was written before they
/// close.
type Played = (Vec<PseudoTerminal>, Result<(), SerialError>);

/// A world playing in its own thread. The ports stay open until it is stopped or dropped.
#[derive(Debug)]
pub struct Player {
    stop: Stop,
    paths: Vec<PathBuf>,
    thread: Option<JoinHandle<Played>>,
}

impl Player {
    /// Opens one port per machine and plays the world onto them at `speed` simulated seconds a
    /// second. The truth is handed to `on_truth` in that thread.
    ///
    /// # Errors
    /// When the system gives no pseudo-terminal or no thread.
    pub fn start(
        mut world: World,
        speed: f64,
        on_truth: impl FnMut(TruthEntry) + Send + 'static,
    ) -> Result<Self, SerialError> {
        let count = world.facts().count();
        let mut ports = (0..count).map(|_| PseudoTerminal::open()).collect::<Result<Vec<_>, _>>()?;
        let paths = ports.iter().map(|port| port.path().to_owned()).collect();
        let stop = Stop::default();
        let asked = stop.clone();
        let thread = thread::Builder::new()
            .name("simulator".to_owned())
            .spawn(move || {
                let result = play(&mut world, &mut ports, speed, &asked, on_truth);
                (ports, result)
            })
            .map_err(|source| SerialError::Open { source })?;
        Ok(Self { stop, paths, thread: Some(thread) })
    }

    /// Path of each machine's port, in the order of the world's machines.
    #[must_use]
    pub fn paths(&self) -> &[PathBuf] {
        &self.paths
    }

    /// Whether the world has come to its end.
    #[must_use]
    pub fn is_finished(&self) -> bool {
        self.thread.as_ref().is_none_or(JoinHandle::is_finished)
    }

    /// Stops, and waits for the thread.
    ///
    /// # Errors
    /// When a port failed while playing.
    pub fn stop(mut self) -> Result<(), SerialError> {
        self.stop.stop();
        match self.thread.take().map(JoinHandle::join) {
            Some(Ok((_ports, result))) => result,
            Some(Err(panic)) => std::panic::resume_unwind(panic),
            None => Ok(()),
        }
    }
}

impl Drop for Player {
    fn drop(&mut self) {
        self.stop.stop();
    }
}

#[cfg(test)]
mod tests {
    use std::io::BufRead as _;

    use super::*;
    use crate::scenario::Scenario;

    /// What is read from a port is what the same world gives in memory: nothing lost, nothing cut.
    #[test]
    fn a_reader_gets_every_line() {
        let mut plan = Scenario::Demo.plan();
        plan.hours = 0.1;
        let start_micros = 1_800_000_000_000_000;
        let expected: Vec<String> = World::starting_at(&plan, 5, start_micros)
            .filter(|emission| emission.machine == 0)
            .map(|emission| emission.line())
            .collect();
        let player =
            Player::start(World::starting_at(&plan, 5, start_micros), 1_000.0, |_| ()).expect("a pty");
        let open = |path: &PathBuf| io::BufReader::new(std::fs::File::open(path).expect("the port is there"));
        let mut ports = player.paths().iter().map(open);
        let (first, second) = (ports.next().expect("two machines"), ports.next().expect("two machines"));
        // The other port is read as well, or the player would wait for it.
        let _other = thread::spawn(move || second.lines().take_while(Result::is_ok).count());
        let lines: Vec<String> =
            first.lines().take(expected.len()).collect::<Result<_, _>>().expect("readable");
        assert_eq!(lines, expected);
        player.stop().expect("it played well");
    }

    /// A port that nobody reads neither blocks the player for ever nor keeps it from stopping.
    #[test]
    fn nobody_reading_is_survived() {
        let world = World::new(Scenario::Demo, 5);
        let player = Player::start(world, 10_000.0, |_| ()).expect("a pty");
        thread::sleep(Duration::from_millis(300));
        let began = Instant::now();
        player.stop().expect("it stops");
        assert!(began.elapsed() < Duration::from_secs(1));
    }
}
