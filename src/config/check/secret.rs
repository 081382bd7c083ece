//! Files with secrets: named by path, never read here, never open to everybody.

use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use crate::config::problem::{Fault, Findings};
use crate::config::reader::Reader;

/// Reads the path of a secret. A file that others may read is refused; one that
/// cannot be seen from here (check on another computer) is only warned of.
pub(super) fn read_secret(
    reader: &mut Reader<'_>,
    key: &'static str,
    findings: &mut Findings,
) -> Option<PathBuf> {
    let path = reader.path(key, findings)?;
    look_at(reader, key, &path, findings);
    Some(path)
}

/// The same for a list of secrets.
pub(super) fn read_secrets(
    reader: &mut Reader<'_>,
    key: &'static str,
    findings: &mut Findings,
) -> Option<Vec<PathBuf>> {
    let paths = reader.paths(key, findings)?;
    for path in &paths {
        look_at(reader, key, path, findings);
    }
    Some(paths)
}

fn look_at(reader: &Reader<'_>, key: &'static str, path: &Path, findings: &mut Findings) {
    match std::fs::metadata(path) {
        Ok(file) => {
            let mode = file.permissions().mode() & 0o777;
            if mode & 0o007 != 0 {
                let fault = Fault::SecretReadable { path: path.to_owned(), mode };
                findings.problems.push(reader.problem(key, fault));
            }
        }
        Err(error) => {
            let fault = Fault::SecretUnseen { path: path.to_owned(), source: Arc::new(error) };
            findings.warnings.push(reader.problem(key, fault));
        }
    }
}
