//! The serial ports of this computer, and what the system knows of them.
//!
//! Nothing is opened here, so that looking disturbs nobody. What is told comes from
//! `/sys/class/tty` (by the `serialport` crate), from the links below `/dev`, from
//! `/proc/<pid>/fd`, from `/proc/tty/drivers` and from the lock files of UUCP (FHS 3.0 §5.9). Of processes of other users
//! only root sees what they hold open. Access control lists are not looked at.

mod users;

use std::fs;
use std::io;
use std::os::unix::fs::{FileTypeExt, MetadataExt};
use std::path::{Path, PathBuf};

use serde::Serialize;
use serialport::SerialPortType;

pub use self::users::{Access, User, Users};

/// Directories of names that stay, the best first: by the converter's serial number, by our own
/// rule for a machine, by the socket.
const NAMES: [&str; 4] = ["dev/serial/by-id", "dev/rinseward", "dev/rinseward/by-path", "dev/serial/by-path"];
/// The drivers of terminals with their numbers (`drivers/tty/tty_io.c` and `fs/proc/proc_tty.c` of Linux).
const TERMINALS: &str = "/proc/tty/drivers";
/// Where UUCP's lock files lie.
const LOCKS: [&str; 2] = ["run/lock", "var/lock"];

/// A serial port.
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
pub struct Port {
    /// The device itself, such as `/dev/ttyUSB0`.
    pub device: PathBuf,
    /// What it hangs on: `usb`, `bluetooth`, `built-in`, `pseudo-terminal`.
    pub kind: &'static str,
    /// What the converter says of itself, where it is one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub usb: Option<Usb>,
    /// The kernel's driver.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub driver: Option<String>,
    /// Names that stay whatever is plugged in first, the best one first.
    pub names: Vec<PathBuf>,
    /// Processes that have it open, as far as this user may see.
    pub held_by: Vec<Holder>,
    /// Who owns it, and who may open it.
    #[serde(flatten)]
    pub access: Access,
}

/// A USB converter.
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
pub struct Usb {
    /// Vendor and product, `0403:6001`.
    pub id: String,
    /// Serial number.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub serial: Option<String>,
    /// Who made it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub manufacturer: Option<String>,
    /// What it is.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub product: Option<String>,
}

/// A process that has a port open.
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
pub struct Holder {
    /// Its number.
    pub pid: u32,
    /// Its command, cut by the kernel to 15 characters.
    pub command: String,
    /// Who runs it.
    pub user: String,
}

/// What was found.
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
pub struct Ports {
    /// The ports, by name.
    pub ports: Vec<Port>,
    /// Paths that were asked for and are none, in that order.
    pub no_ports: Vec<NoPort>,
    /// Whether every process of the computer could be looked at.
    pub all_processes_seen: bool,
}

/// A path that is no serial port.
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
pub struct NoPort {
    /// What was asked for.
    pub path: PathBuf,
    /// Why it is none.
    pub why: WhyNoPort,
}

/// Why a path is no serial port.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum WhyNoPort {
    /// There is no such file.
    Missing,
    /// This user may not look at it.
    Unseen,
    /// It is a file, a directory, anything but a device that bytes come from.
    NoDevice,
    /// It is a device without a line behind it, such as `/dev/null`.
    NoLine,
}

/// Why the ports cannot be listed.
#[derive(Debug, thiserror::Error)]
pub enum PortsError {
    /// The system tells nothing of them.
    #[error("the serial ports of this computer cannot be listed")]
    List(#[from] serialport::Error),
}

/// The device that a path leads to.
///
/// # Errors
/// Why it leads to none.
pub fn device_at(path: &Path) -> Result<PathBuf, WhyNoPort> {
    let why = |error: io::Error| {
        let denied = error.kind() == io::ErrorKind::PermissionDenied;
        if denied { WhyNoPort::Unseen } else { WhyNoPort::Missing }
    };
    let device = fs::canonicalize(path).map_err(why)?;
    let found = fs::metadata(&device).map_err(why)?;
    if !found.file_type().is_char_device() {
        return Err(WhyNoPort::NoDevice);
    }
    // A kernel that tells nothing of its terminals refuses none: opening it then tells.
    let Ok(drivers) = fs::read_to_string(TERMINALS) else { return Ok(device) };
    if is_terminal(&drivers, found.rdev()) { Ok(device) } else { Err(WhyNoPort::NoLine) }
}

/// Whether a device of this number belongs to a driver of terminals: `drivers` has one a line, with its name, its
/// device, its major number, and the first and last minor number. Unlike a question to the device itself, this opens
/// nothing, so that no modem line moves.
fn is_terminal(drivers: &str, number: u64) -> bool {
    let (major, minor) = (rustix::fs::major(number), rustix::fs::minor(number));
    drivers.lines().any(|line| {
        // The kernel's own name for a driver may hold a space; what follows the device does not.
        let Some((_, numbers)) = line.split_once(" /dev/") else { return false };
        let mut fields = numbers.split_whitespace().skip(1);
        let (Some(of), Some(minors)) = (fields.next(), fields.next()) else { return false };
        let (first, last) = minors.split_once('-').unwrap_or((minors, minors));
        match (of.parse::<u32>(), first.parse::<u32>(), last.parse::<u32>()) {
            (Ok(of), Ok(first), Ok(last)) => of == major && (first..=last).contains(&minor),
            (Err(_), _, _) | (_, Err(_), _) | (_, _, Err(_)) => false,
        }
    })
}

/// Looks at every serial port of this computer, and at these paths beside them.
///
/// # Errors
/// [`PortsError`] where the system tells nothing.
pub fn look(also: &[PathBuf], users: &Users) -> Result<Ports, PortsError> {
    let root = Path::new("/");
    // The crate panics where this directory is not there, as in some containers.
    let listed =
        if root.join("sys/class/tty").is_dir() { serialport::available_ports()? } else { Vec::new() };
    let mut found: Vec<(PathBuf, SerialPortType, Vec<PathBuf>)> = listed
        .into_iter()
        .map(|port| (PathBuf::from(port.port_name), port.port_type, Vec::new()))
        .filter(|(device, _, _)| has_hardware(root, device))
        .collect();
    let mut no_ports = Vec::new();
    for path in also {
        let device = match device_at(path) {
            Ok(device) => device,
            Err(why) => {
                no_ports.push(NoPort { path: path.clone(), why });
                continue;
            }
        };
        let name = (device != *path).then(|| path.clone());
        match found.iter_mut().find(|(known, _, _)| *known == device) {
            Some((_, _, names)) => names.extend(name),
            None => found.push((device, SerialPortType::Unknown, name.into_iter().collect())),
        }
    }
    found.sort_by(|one, other| one.0.cmp(&other.0));
    let processes = Processes::look(root, users);
    let ports =
        found.into_iter().map(|(device, kind, also)| port(root, device, kind, also, &processes, users));
    Ok(Ports { ports: ports.collect(), no_ports, all_processes_seen: processes.all })
}

/// A computer's four built-in ports are there whether or not anything is behind them: the kernel
/// calls those without hardware type 0 (`PORT_UNKNOWN` of linux/serial_core.h).
fn has_hardware(root: &Path, device: &Path) -> bool {
    let kind = device.file_name().map(|name| root.join("sys/class/tty").join(name).join("type"));
    kind.and_then(|path| fs::read_to_string(path).ok()).is_none_or(|kind| kind.trim() != "0")
}

fn port(
    root: &Path,
    device: PathBuf,
    kind: SerialPortType,
    also: Vec<PathBuf>,
    processes: &Processes,
    users: &Users,
) -> Port {
    let (kind, usb) = match kind {
        SerialPortType::UsbPort(info) => {
            let id = format!("{:04x}:{:04x}", info.vid, info.pid);
            let (serial, manufacturer, product) = (info.serial_number, info.manufacturer, info.product);
            ("usb", Some(Usb { id, serial, manufacturer, product }))
        }
        SerialPortType::BluetoothPort => ("bluetooth", None),
        SerialPortType::PciPort | SerialPortType::Unknown if device.starts_with("/dev/pts") => {
            ("pseudo-terminal", None)
        }
        SerialPortType::PciPort | SerialPortType::Unknown => ("built-in", None),
    };
    let mut names = names(root, &device);
    names.extend(also);
    names.dedup();
    Port {
        kind,
        usb,
        driver: driver(root, &device),
        names,
        held_by: processes.holders(root, &device, users),
        access: users.access(&device),
        device,
    }
}

/// The links of [`NAMES`] that lead to this device, with their place as a person types it.
fn names(root: &Path, device: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for directory in NAMES {
        let Ok(entries) = fs::read_dir(root.join(directory)) else { continue };
        let leads_there = |path: &PathBuf| fs::canonicalize(path).is_ok_and(|target| target == device);
        let mut here: Vec<PathBuf> =
            entries.filter_map(Result::ok).map(|entry| entry.path()).filter(leads_there).collect();
        here.sort();
        found.extend(here);
    }
    found
}

fn driver(root: &Path, device: &Path) -> Option<String> {
    let link = root.join("sys/class/tty").join(device.file_name()?).join("device/driver");
    Some(fs::read_link(link).ok()?.file_name()?.to_string_lossy().into_owned())
}

/// What the processes of this computer have open.
struct Processes {
    /// Process, and the device.
    open: Vec<(u32, PathBuf)>,
    all: bool,
}

impl Processes {
    fn look(root: &Path, users: &Users) -> Self {
        let mut processes = Self { open: Vec::new(), all: true };
        let entries = fs::read_dir(root.join("proc")).into_iter().flatten().filter_map(Result::ok);
        for entry in entries {
            let Some(pid) = entry.file_name().to_str().and_then(|name| name.parse().ok()) else { continue };
            match fs::read_dir(entry.path().join("fd")) {
                Ok(open) => {
                    let targets =
                        open.filter_map(Result::ok).filter_map(|file| fs::read_link(file.path()).ok());
                    let devices = targets.filter(|target| target.starts_with("/dev"));
                    processes.open.extend(devices.map(|device| (pid, device)));
                }
                // Of one's own one may be past looking at as well, such as one that has just ended.
                Err(_) if fs::metadata(entry.path()).is_ok_and(|found| found.uid() == users.me().uid) => {}
                Err(_) => processes.all = false,
            }
        }
        processes
    }

    fn holders(&self, root: &Path, device: &Path, users: &Users) -> Vec<Holder> {
        let mut pids: Vec<u32> =
            self.open.iter().filter(|(_, open)| open == device).map(|(pid, _)| *pid).collect();
        pids.extend(locked_by(root, device));
        pids.sort_unstable();
        pids.dedup();
        pids.into_iter().filter_map(|pid| holder(root, pid, users)).collect()
    }
}

/// The process that a lock file of UUCP names: its number in ten columns.
fn locked_by(root: &Path, device: &Path) -> Option<u32> {
    let name = format!("LCK..{}", device.file_name()?.to_string_lossy());
    let lock = LOCKS.iter().find_map(|place| fs::read_to_string(root.join(place).join(&name)).ok())?;
    lock.trim().parse().ok()
}

/// `None` for a process that is not there any more.
fn holder(root: &Path, pid: u32, users: &Users) -> Option<Holder> {
    let process = root.join("proc").join(pid.to_string());
    let command = fs::read_to_string(process.join("comm")).ok()?.trim().to_owned();
    let uid = fs::metadata(process).ok()?.uid();
    Some(Holder { pid, command, user: users.name(uid) })
}

#[cfg(test)]
mod tests;
