//! Whether there is a ledger at a place, and whether this user may read it.
//!
//! The file itself is not opened for that: closing it would let go of the locks that the database
//! holds on it in this process (fcntl(2), «Advisory record locking»).

use std::fmt;
use std::os::unix::fs::MetadataExt;
use std::path::{Path, PathBuf};

use rustix::fs::{Access, access};
use rustix::io::Errno;

use super::error::LedgerError;
use crate::transport::accounts::name_in;

/// To whom a file or a directory belongs.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Owner {
    /// Name of the user, or the number where it has none here.
    pub user: String,
    /// Name of the group, or the number where it has none here.
    pub group: String,
    /// Whether members of the group may read it, and enter it where it is a directory.
    pub opens_to_group: bool,
}

impl fmt::Display for Owner {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "user «{}», group «{}»", self.user, self.group)
    }
}

/// Says what bars the way to a ledger that is to be read.
///
/// # Errors
/// [`LedgerError::Missing`] and [`LedgerError::Forbidden`].
pub fn present(path: &Path) -> Result<(), LedgerError> {
    match access(path, Access::READ_OK) {
        Err(Errno::ACCESS | Errno::PERM) => {
            let place = barred(path);
            let owner = owner(&place);
            Err(LedgerError::Forbidden { path: path.to_path_buf(), place, owner })
        }
        Err(Errno::NOENT | Errno::NOTDIR) => Err(LedgerError::Missing { path: path.to_path_buf() }),
        // Whatever else it is, the database will say it better.
        Ok(()) | Err(_) => Ok(()),
    }
}

/// The first directory on the way that may not be entered, else the file.
fn barred(path: &Path) -> PathBuf {
    let whole = std::path::absolute(path).unwrap_or_else(|_| path.to_path_buf());
    let way: Vec<&Path> = whole.ancestors().skip(1).collect();
    let closed = way.into_iter().rev().find(|directory| access(*directory, Access::EXEC_OK).is_err());
    closed.map_or(whole.clone(), Path::to_path_buf)
}

fn owner(place: &Path) -> Option<Owner> {
    let metadata = place.metadata().ok()?;
    let needed = if metadata.is_dir() { 0o050 } else { 0o040 };
    let name = |file: &str, number| {
        let lines = std::fs::read_to_string(file).unwrap_or_default();
        name_in(&lines, number).unwrap_or_else(|| number.to_string())
    };
    Some(Owner {
        user: name("/etc/passwd", metadata.uid()),
        group: name("/etc/group", metadata.gid()),
        opens_to_group: metadata.mode() & needed == needed,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_there_is_missing_and_a_file_is_present() {
        let directory = tempfile::tempdir().expect("a temporary directory");
        let path = directory.path().join("ledger.sqlite");
        assert!(matches!(present(&path), Err(LedgerError::Missing { .. })));
        std::fs::write(&path, b"x").expect("a temporary file");
        assert!(present(&path).is_ok());
        assert!(matches!(present(&path.join("below")), Err(LedgerError::Missing { .. })));
    }
}
