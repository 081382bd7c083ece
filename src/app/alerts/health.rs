//! How the gateway itself is doing: disk and clock.

use std::path::Path;
use std::time::Duration;

use crate::core::alert::Health;

/// Where systemd-timesyncd says that it has set the clock (systemd-timesyncd.service(8)).
const TIMESYNC: &str = "/run/systemd/timesync";

/// Looks at disk and clock; `series_behind` comes from whoever sends the series. Blocks for some
/// milliseconds.
pub(super) fn look(ledger: &Path, series_behind: Option<Duration>) -> Health {
    Health { disk_free: disk_free(ledger), clock_synchronised: clock_synchronised(), series_behind }
}

/// Free share of the disk that the ledger lies on, as far as its user may fill it.
fn disk_free(ledger: &Path) -> Option<f64> {
    let disk = rustix::fs::statvfs(ledger).ok()?;
    (disk.f_blocks > 0).then(|| disk.f_bavail as f64 / disk.f_blocks as f64)
}

/// What the kernel's clock discipline says (adjtimex(2)), asked of whoever may ask it: the file
/// of systemd-timesyncd, else `timedatectl`, which knows of other time services too.
fn clock_synchronised() -> Option<bool> {
    let timesync = Path::new(TIMESYNC);
    if timesync.is_dir() {
        return Some(timesync.join("synchronized").exists());
    }
    let asked = std::process::Command::new("timedatectl")
        .args(["show", "--property=NTPSynchronized", "--value"])
        .stdin(std::process::Stdio::null())
        .stderr(std::process::Stdio::null())
        .output()
        .ok()?;
    match String::from_utf8_lossy(&asked.stdout).trim() {
        "yes" => Some(true),
        "no" => Some(false),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // A share lies between nothing and all; statvfs(3) of a directory that is there has one.
    #[test]
    fn a_disk_has_a_free_share() {
        let directory = tempfile::tempdir().expect("a temporary directory");
        let free = look(directory.path(), None).disk_free.expect("a disk");
        assert!((0.0..=1.0).contains(&free), "{free}");
        assert_eq!(look(Path::new("/nowhere/at/all"), None).disk_free, None);
    }
}
