//! A device on a cable: a pseudo-terminal behind a stable name, as below `/dev/serial/by-id`.

use std::fs::File;
use std::io::Write;
use std::os::unix::ffi::OsStrExt;
use std::path::{Path, PathBuf};

use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{OptionalActions, tcgetattr, tcsetattr};

/// The device, plugged in. No process that a test starts inherits it.
pub(crate) struct Port {
    link: PathBuf,
    device: File,
}

impl Port {
    /// Plugs a device in under this name.
    pub(crate) fn plugged(link: &Path) -> Self {
        let flags = OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC;
        let device = openpt(flags).expect("a pseudo-terminal");
        grantpt(&device).and_then(|()| unlockpt(&device)).expect("our own pseudo-terminal");
        let name = ptsname(&device, Vec::new()).expect("a pseudo-terminal has a name");
        // A terminal would give back what is printed before anybody opens it.
        let mut settings = tcgetattr(&device).expect("our own pseudo-terminal");
        settings.make_raw();
        tcsetattr(&device, OptionalActions::Now, &settings).expect("our own pseudo-terminal");
        let name = Path::new(std::ffi::OsStr::from_bytes(name.as_bytes()));
        std::os::unix::fs::symlink(name, link).expect("a free name");
        Self { link: link.to_owned(), device: File::from(device) }
    }

    /// What the device prints.
    pub(crate) fn print(&mut self, text: &str) {
        self.device.write_all(text.as_bytes()).expect("somebody reads, or there is room");
    }

    /// Pulls the cable. The name goes first, so that it never leads to somebody else's terminal.
    pub(crate) fn unplug(self) {
        std::fs::remove_file(&self.link).expect("plugged in");
    }
}
