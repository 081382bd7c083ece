//! The files of the signing key beside a ledger.
//!
//! | file | mode | holds |
//! |---|---|---|
//! | `<ledger>.signing-key` | 0600 | the secret key, one line (`PRIVATE+KEY+name+id+base64`) |
//! | `<ledger>.verify-key` | 0644 | the public key, one line (`name+id+base64`), to be handed out |
//! | `<ledger>.signing-key.next`, `<ledger>.verify-key.next` | as above | a pair that no record names yet |
//!
//! A new pair is written under its `.next` names, then put on record, and only then
//! takes its place by renaming. Killed anywhere between, the record says which pair
//! is in force: [`settle`] compares it with what lies there, and the next start goes
//! on from there. Whoever changes these files holds the ledger's lock.

use std::fs::{self, File, OpenOptions};
use std::io::{self, Write};
use std::os::unix::fs::{OpenOptionsExt, PermissionsExt};
use std::path::{Path, PathBuf};

use super::failpoint::{Point, reach};
use super::schema::{beside, directory_of};
use crate::core::note::{KeyError, SigningKey, VerifyingKey};

/// Mode of a secret key.
const SECRET: u32 = 0o600;
/// Mode of a public key.
const PUBLIC: u32 = 0o644;
/// Longest key file that is read, bytes: a name of some hundred bytes and a key.
const BYTES_MAX: u64 = 4_096;

/// What is wrong with the files of a key.
#[derive(Debug, thiserror::Error)]
pub enum KeyFileError {
    /// A file cannot be read.
    #[error("cannot read «{}»", path.display())]
    Read {
        /// The file.
        path: PathBuf,
        /// Why.
        source: io::Error,
    },
    /// A secret key that others may read.
    #[error("«{}» holds a secret key, and others than its owner may read it (mode {mode:03o})", path.display())]
    Open {
        /// The file.
        path: PathBuf,
        /// Its mode.
        mode: u32,
    },
    /// The file holds no secret key.
    #[error("«{}» holds no signing key", path.display())]
    Shape {
        /// The file.
        path: PathBuf,
        /// Why; `None` where it is too long for one.
        source: Option<KeyError>,
    },
    /// A file cannot be written or renamed.
    #[error("cannot make «{}»", path.display())]
    Make {
        /// The file.
        path: PathBuf,
        /// Why.
        source: io::Error,
    },
    /// The system gives no random bytes.
    #[error("the system gives no random bytes for a key")]
    Random(#[source] getrandom::Error),
    /// The name that the key should have is none.
    #[error("«{name}» is no name for a key")]
    Name {
        /// The name.
        name: String,
        /// Why.
        source: KeyError,
    },
}

impl KeyFileError {
    /// What to type or do about it.
    #[must_use]
    pub fn fix(&self) -> String {
        match self {
            Self::Read { path, .. } => format!("let the service user read {}", path.display()),
            Self::Open { path, .. } => format!(
                "chmod 600 {}; if somebody may have read it, rinseward key rotate as well",
                path.display()
            ),
            Self::Shape { path, .. } => format!(
                "put the right file in place of {}, or move it away: a new key is then made, which is on record",
                path.display()
            ),
            Self::Make { path, .. } => format!(
                "see that the disk has room and that the service user may write in the directory of {}",
                path.display()
            ),
            Self::Random(_) | Self::Name { .. } => "report it with this message".to_owned(),
        }
    }
}

/// Which of the pairs of a ledger a file belongs to.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Pair {
    /// The one in its place.
    Placed,
    /// The one that waits to be put on record.
    Next,
}

/// What the record and the files say together.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Settled {
    /// The key in its place is the one on record.
    InForce,
    /// The key that waited is on record: it only has to take its place.
    ToPlace,
    /// Nothing is on record, and a key is in its place: it is to be put on record.
    ToRecord,
    /// Nothing is on record, and there is no key: the first is to be made.
    ToMake,
    /// The secret of the key on record is gone: another one is to be made.
    Lost,
    /// Another key than the one on record is in its place.
    Foreign,
}

/// Compares the newest key on record with what lies beside the ledger.
#[must_use]
pub fn settle(
    on_record: Option<&VerifyingKey>,
    placed: Option<&VerifyingKey>,
    next: Option<&VerifyingKey>,
) -> Settled {
    match (on_record, placed) {
        (None, Some(_)) => Settled::ToRecord,
        (None, None) => Settled::ToMake,
        (Some(recorded), Some(placed)) if recorded == placed => Settled::InForce,
        (Some(recorded), _) if next == Some(recorded) => Settled::ToPlace,
        (Some(_), None) => Settled::Lost,
        (Some(_), Some(_)) => Settled::Foreign,
    }
}

/// Where the keys of a ledger lie.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct KeyFiles {
    secret: PathBuf,
    public: PathBuf,
    next_secret: PathBuf,
    next_public: PathBuf,
}

impl KeyFiles {
    /// Those of the ledger at `path`.
    #[must_use]
    pub fn of(path: &Path) -> Self {
        Self {
            secret: beside(path, ".signing-key"),
            public: beside(path, ".verify-key"),
            next_secret: beside(path, ".signing-key.next"),
            next_public: beside(path, ".verify-key.next"),
        }
    }

    /// The file of the secret key.
    #[must_use]
    pub fn secret(&self) -> &Path {
        &self.secret
    }

    /// The file of the public key.
    #[must_use]
    pub fn public(&self) -> &Path {
        &self.public
    }

    /// Reads a secret key; `None` where there is none.
    ///
    /// # Errors
    /// [`KeyFileError`] where it cannot be read, others may read it, or it is none.
    pub fn load(&self, pair: Pair) -> Result<Option<SigningKey>, KeyFileError> {
        let path = match pair {
            Pair::Placed => &self.secret,
            Pair::Next => &self.next_secret,
        };
        let failed = |source| KeyFileError::Read { path: path.clone(), source };
        let file = match File::open(path) {
            Ok(file) => file,
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(None),
            Err(source) => return Err(failed(source)),
        };
        // Asked of the open file, so that nobody puts another one there in between.
        let seen = file.metadata().map_err(failed)?;
        let mode = seen.permissions().mode() & 0o777;
        if mode & 0o077 != 0 {
            return Err(KeyFileError::Open { path: path.clone(), mode });
        }
        let shape = |source| KeyFileError::Shape { path: path.clone(), source };
        if seen.len() > BYTES_MAX {
            return Err(shape(None));
        }
        let text = io::read_to_string(file).map_err(failed)?;
        SigningKey::from_secret_text(&text).map(Some).map_err(|source| shape(Some(source)))
    }

    /// Draws a new key and writes the pair under its `.next` names, in place of any that waited
    /// there and was never put on record. It is on the device when this returns.
    ///
    /// # Errors
    /// [`KeyFileError`]; nothing that is in force was touched.
    pub fn make_next(&self, name: &str) -> Result<SigningKey, KeyFileError> {
        let mut seed = [0; 32];
        getrandom::fill(&mut seed).map_err(KeyFileError::Random)?;
        let key = SigningKey::from_seed(name, &seed)
            .map_err(|source| KeyFileError::Name { name: name.to_owned(), source })?;
        write_new(&self.next_public, &format!("{}\n", key.verifying()), PUBLIC)?;
        write_new(&self.next_secret, &format!("{}\n", key.secret_text()), SECRET)?;
        sync_directory(&self.next_secret)?;
        reach(Point::KeyWritten);
        Ok(key)
    }

    /// Puts the pair that waited into its place; it must be on record.
    ///
    /// # Errors
    /// [`KeyFileError::Make`]; the next start tries again.
    pub fn place_next(&self) -> Result<(), KeyFileError> {
        reach(Point::KeyRecorded);
        rename(&self.next_secret, &self.secret)?;
        reach(Point::KeyHalfPlaced);
        rename(&self.next_public, &self.public)?;
        sync_directory(&self.secret)
    }

    /// Takes away a pair that waited and that no record names.
    ///
    /// # Errors
    /// [`KeyFileError::Make`].
    pub fn drop_next(&self) -> Result<(), KeyFileError> {
        remove(&self.next_secret)?;
        remove(&self.next_public)
    }

    /// Sees to it that the public key in its place is that of `key`, and that no pair waits.
    ///
    /// # Errors
    /// [`KeyFileError::Make`].
    pub fn tidy(&self, key: &VerifyingKey) -> Result<(), KeyFileError> {
        let line = format!("{key}\n");
        if !fs::read_to_string(&self.public).is_ok_and(|found| found == line) {
            write_new(&self.next_public, &line, PUBLIC)?;
            rename(&self.next_public, &self.public)?;
        }
        self.drop_next()
    }
}

/// Writes a file that was not there, with `mode` from its first byte on, to the device.
fn write_new(path: &Path, text: &str, mode: u32) -> Result<(), KeyFileError> {
    // Whatever lies there is no file of ours: one of another mode, or a link to elsewhere.
    remove(path)?;
    let failed = |source| KeyFileError::Make { path: path.to_owned(), source };
    let mut file = OpenOptions::new().write(true).create_new(true).mode(mode).open(path).map_err(failed)?;
    // The mask of the process may have taken something away from it.
    file.set_permissions(fs::Permissions::from_mode(mode)).map_err(failed)?;
    file.write_all(text.as_bytes()).and_then(|()| file.sync_all()).map_err(failed)
}

fn rename(from: &Path, to: &Path) -> Result<(), KeyFileError> {
    match fs::rename(from, to) {
        // It took its place before the process was killed, or was never there; `tidy` mends that.
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(()),
        renamed => renamed.map_err(|source| KeyFileError::Make { path: to.to_owned(), source }),
    }
}

fn remove(path: &Path) -> Result<(), KeyFileError> {
    match fs::remove_file(path) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(()),
        removed => removed.map_err(|source| KeyFileError::Make { path: path.to_owned(), source }),
    }
}

/// A new name is on the device only with its directory.
fn sync_directory(path: &Path) -> Result<(), KeyFileError> {
    let synced = File::open(directory_of(path)).and_then(|directory| directory.sync_all());
    synced.map_err(|source| KeyFileError::Make { path: path.to_owned(), source })
}

#[cfg(test)]
mod tests;
