//! A small device of a test's own, to be filled.

use std::path::Path;
use std::process::Command;

/// A file system of its own, taken away at the end.
pub(crate) struct Tmpfs(tempfile::TempDir);

impl Tmpfs {
    pub(crate) fn mount(size: &str) -> Self {
        let directory = tempfile::tempdir().expect("room for a directory");
        let mounted = Command::new("mount")
            .args(["-t", "tmpfs", "-o", &format!("size={size}"), "tmpfs"])
            .arg(directory.path())
            .status();
        assert!(
            mounted.as_ref().is_ok_and(std::process::ExitStatus::success),
            "this test fills a device: it needs the right to mount a tmpfs (root, or CAP_SYS_ADMIN), got {mounted:?}"
        );
        Self(directory)
    }

    pub(crate) fn remount(&self, option: &str) {
        let status =
            Command::new("mount").args(["-o", &format!("remount,{option}")]).arg(self.0.path()).status();
        assert!(status.as_ref().is_ok_and(std::process::ExitStatus::success), "remount gave {status:?}");
    }
}

impl Tmpfs {
    /// Where it is mounted.
    pub(crate) fn path(&self) -> &Path {
        self.0.path()
    }
}

impl Drop for Tmpfs {
    fn drop(&mut self) {
        if let Err(error) = Command::new("umount").arg("-l").arg(self.0.path()).status() {
            panic!("umount: {error}");
        }
    }
}
