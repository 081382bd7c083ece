//! Names, holders and rights in a made-up tree; and a real pseudo-terminal.

use std::os::unix::fs::symlink;

use super::users::may_open;
use super::*;

const PASSWD: &str = "root:x:0:0:root:/root:/bin/sh\nmaria:x:1001:1001:M,,,:/srv/maria:/bin/sh\n\
    rinseward:x:998:997::/var/lib/rinseward:/usr/sbin/nologin\n";
const GROUP: &str =
    "root:x:0:\ndialout:x:20:maria\nplugdev:x:46:maria,rinseward\nmaria:x:1001:\nrinseward:x:997:\n";

fn maria() -> Users {
    Users::new(PASSWD.to_owned(), GROUP.to_owned(), 1001, vec![1001])
}

// POSIX XBD 4.7, and root's right to everything. The service is in dialout (20) by its unit, and in
// plugdev (46) by group(5).
#[test]
fn who_may_open_a_port_follows_its_mode() {
    let user = |uid, groups: &[u32]| User { uid, name: String::new(), groups: groups.to_vec() };
    for (mode, owner, group, user, expected) in [
        (0o660, 0, 20, user(1001, &[1001, 20]), true),
        (0o660, 0, 20, user(1001, &[1001]), false),
        (0o640, 0, 20, user(1001, &[20]), false),
        (0o666, 0, 0, user(1001, &[1001]), true),
        (0o606, 0, 20, user(1001, &[20]), false),
        (0o600, 1001, 0, user(1001, &[]), true),
        (0o000, 1001, 0, user(0, &[]), true),
    ] {
        assert_eq!(may_open(mode, owner, group, &user), expected, "{mode:o} {owner}:{group} {user:?}");
    }
    let users = maria();
    let file = tempfile::NamedTempFile::new().expect("a temporary file");
    let access = users.access(file.path());
    assert_eq!((access.mode.as_str(), access.service.is_some()), ("rw-------", true));
    assert!(!Users::new(String::new(), String::new(), 7, Vec::new()).has_service());
}

// Places of FHS 3.0 and of udev; the rest is made up.
#[test]
fn names_driver_and_holders_are_found() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let root = directory.path().canonicalize().expect("it is there");
    let make = |path: &str| {
        let path = root.join(path);
        fs::create_dir_all(path.parent().expect("a parent")).expect("our own directory");
        path
    };
    let device = make("dev/ttyUSB0");
    fs::write(&device, "").expect("our own directory");
    symlink("../../ttyUSB0", make("dev/serial/by-id/usb-maker_adapter_A1-if00-port0")).expect("free");
    symlink("../../ttyUSB1", make("dev/serial/by-id/usb-maker_adapter_A2-if00-port0")).expect("free");
    symlink("../ttyUSB0", make("dev/rinseward/dm1")).expect("free");
    symlink("../../ttyUSB0", make("dev/serial/by-path/pci-usb-0:2:1.0-port0")).expect("free");
    symlink("../../../bus/drivers/ftdi_sio", make("sys/class/tty/ttyUSB0/device/driver")).expect("free");
    fs::write(make("proc/812/comm"), "rinseward\n").expect("our own directory");
    fs::write(make("run/lock/LCK..ttyUSB0"), "       812\n").expect("our own directory");

    let within = |paths: Vec<PathBuf>| -> Vec<String> {
        let inner = |path: &PathBuf| path.strip_prefix(&root).map(|path| path.display().to_string());
        paths.iter().map(|path| inner(path).expect("below the root")).collect()
    };
    assert_eq!(
        within(names(&root, &device)),
        [
            "dev/serial/by-id/usb-maker_adapter_A1-if00-port0",
            "dev/rinseward/dm1",
            "dev/serial/by-path/pci-usb-0:2:1.0-port0"
        ]
    );
    assert_eq!(driver(&root, &device).as_deref(), Some("ftdi_sio"));
    let processes = Processes { open: vec![(4, PathBuf::from("/dev/null"))], all: true };
    let held = processes.holders(&root, &device, &maria());
    assert_eq!(
        held.iter().map(|held| (held.pid, held.command.as_str())).collect::<Vec<_>>(),
        [(812, "rinseward")]
    );

    for (kind, expected) in [("0", false), ("4", true)] {
        fs::write(make("sys/class/tty/ttyS3/type"), kind).expect("our own directory");
        assert_eq!(has_hardware(&root, Path::new("/dev/ttyS3")), expected, "type {kind}");
    }
}

/// Its other end, which keeps it there, and its name.
fn pseudo_terminal() -> (serialport::TTYPort, PathBuf) {
    let (held, line) = serialport::TTYPort::pair().expect("the system has pseudo-terminals");
    let name = serialport::SerialPort::name(&line).expect("it has one");
    (held, PathBuf::from(name))
}

// Own promise: what is not there hides nothing that is.
#[test]
fn what_is_no_device_is_told_beside_the_others() {
    let file = tempfile::NamedTempFile::new().expect("a temporary file");
    let (file, nothing) = (file.path().to_owned(), PathBuf::from("/dev/nothing/of/this/name"));
    let terminal = pseudo_terminal();
    let also = [file.clone(), "/dev/null".into(), nothing.clone(), terminal.1.clone()];
    let found = look(&also, &Users::of_system()).expect("the system lists its ports");
    assert!(found.ports.iter().all(|port| port.device != Path::new("/dev/null")), "{found:?}");
    assert!(found.ports.iter().any(|port| port.device == terminal.1), "{found:?}");
    let none: Vec<_> = found.no_ports.iter().map(|none| (none.path.clone(), none.why)).collect();
    assert_eq!(
        none,
        [(file, WhyNoPort::NoDevice), ("/dev/null".into(), WhyNoPort::NoLine), (nothing, WhyNoPort::Missing)]
    );
}

// Form of proc(5), /proc/tty/drivers, and numbers of the kernel's list of devices (admin-guide/devices.txt):
// memory devices are 1, lines of a computer 4:64 on, of USB converters 188 and 166, pseudo-terminals 136 to 143.
#[test]
fn a_terminal_is_told_by_its_number() {
    let drivers = "/dev/tty             /dev/tty        5       0 system:/dev/tty\n\
        usbserial            /dev/ttyUSB   188 0-511 serial\n\
        serial               /dev/ttyS       4 64-95 serial\n\
        pty_slave            /dev/pts      136 0-1048575 pty:slave\n\
        unknown              /dev/tty        4 1-63 console\nodd\n";
    for (major, minor, expected) in [
        (188, 0, true),
        (188, 512, false),
        (4, 64, true),
        (4, 96, false),
        (136, 7, true),
        (5, 0, true),
        (5, 1, false),
        (1, 3, false),
        (10, 200, false),
    ] {
        assert_eq!(is_terminal(drivers, rustix::fs::makedev(major, minor)), expected, "{major}:{minor}");
    }
}
