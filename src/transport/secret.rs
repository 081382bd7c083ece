//! Secrets by path, and why a link cannot be prepared.
//!
//! A secret is the first line of a file of its own, which others may not read.
//! What is read here has no `Debug` that could show it.

use std::fs;
use std::io;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};

use rustls::pki_types::pem;

use crate::core::alert::trial::Fact;
use crate::core::reader::Language;

/// Why a link could not be prepared: nothing of it changes by waiting.
#[derive(Debug, thiserror::Error)]
pub enum PrepareError {
    /// A file cannot be read.
    #[error("{}", self.fact())]
    Read {
        /// The file.
        path: PathBuf,
        /// Why.
        source: io::Error,
    },
    /// A secret that every user of this computer can read.
    #[error("{}", self.fact())]
    Exposed {
        /// The file.
        path: PathBuf,
    },
    /// A secret file without a secret.
    #[error("{}", self.fact())]
    Empty {
        /// The file.
        path: PathBuf,
    },
    /// A file that should hold certificates does not.
    #[error("{}", self.fact())]
    Certificates {
        /// The file.
        path: PathBuf,
        /// Why; `None` where it was read but holds none.
        source: Option<pem::Error>,
    },
    /// A file that should hold a private key does not.
    #[error("{}", self.fact())]
    PrivateKey {
        /// The file.
        path: PathBuf,
        /// Why.
        source: pem::Error,
    },
    /// This computer has no list of certificate authorities.
    #[error("{}", self.fact())]
    NoSystemRoots,
    /// TLS does not accept a certificate or key.
    #[error("{}", self.fact())]
    Tls(#[source] rustls::Error),
    /// A signing secret in another form.
    #[error("{}", self.fact())]
    SigningSecret {
        /// The file.
        path: PathBuf,
    },
    /// A text that is no address of e-mail.
    #[error("{}", self.fact())]
    Address {
        /// The text.
        address: String,
    },
    /// The client for HTTP cannot be made.
    #[error("{}", self.fact())]
    Client(#[source] reqwest::Error),
    /// The host can stand in no certificate.
    #[error("{}", self.fact())]
    HostName {
        /// The host as configured.
        host: String,
    },
}

impl PrepareError {
    /// The file that it is about, where it is about one.
    #[must_use]
    pub fn path(&self) -> Option<&Path> {
        match self {
            Self::Read { path, .. }
            | Self::Exposed { path }
            | Self::Empty { path }
            | Self::Certificates { path, .. }
            | Self::PrivateKey { path, .. }
            | Self::SigningSecret { path } => Some(path),
            Self::NoSystemRoots
            | Self::Tls(_)
            | Self::Address { .. }
            | Self::Client(_)
            | Self::HostName { .. } => None,
        }
    }

    /// Whether the rights of whoever reads are at fault: somebody else may be able to.
    #[must_use]
    pub fn is_of_rights(&self) -> bool {
        match self {
            Self::Read { source, .. } => source.kind() == io::ErrorKind::PermissionDenied,
            Self::Certificates { source, .. } => {
                matches!(source, Some(pem::Error::Io(error)) if error.kind() == io::ErrorKind::PermissionDenied)
            }
            Self::PrivateKey { source, .. } => {
                matches!(source, pem::Error::Io(error) if error.kind() == io::ErrorKind::PermissionDenied)
            }
            Self::Exposed { .. }
            | Self::Empty { .. }
            | Self::SigningSecret { .. }
            | Self::NoSystemRoots
            | Self::Tls(_)
            | Self::Address { .. }
            | Self::Client(_)
            | Self::HostName { .. } => false,
        }
    }

    /// It as the fact that people are told, in each language.
    #[must_use]
    pub fn fact(&self) -> Fact {
        let shown = |path: &Path| path.display().to_string();
        match self {
            Self::Read { path, .. } => Fact::Unreadable { path: shown(path) },
            Self::Exposed { path } => Fact::Exposed { path: shown(path) },
            Self::Empty { path } => Fact::Empty { path: shown(path) },
            Self::Certificates { path, .. } => Fact::NoCertificate { path: shown(path) },
            Self::PrivateKey { path, .. } => Fact::NoPrivateKey { path: shown(path) },
            Self::NoSystemRoots => Fact::NoAuthorities {},
            Self::Tls(_) => Fact::NotForTls {},
            Self::SigningSecret { path } => Fact::NoSigningSecret { path: shown(path) },
            Self::Address { address } => Fact::NoAddress { to: address.clone() },
            Self::Client(_) => Fact::NoHttpClient {},
            Self::HostName { host } => Fact::NoHostName { name: host.clone() },
        }
    }

    /// What to type or do about it, in English.
    #[must_use]
    pub fn fix(&self) -> String {
        // Each of these facts is one of settings, which all have advice.
        self.fact().advice(Language::English).unwrap_or_default()
    }
}

/// The first line of a file that only the service may read.
///
/// # Errors
/// Where it cannot be read, others may read it, or its first line is empty.
pub fn first_line(path: &Path) -> Result<String, PrepareError> {
    refuse_exposed(path)?;
    let text =
        fs::read_to_string(path).map_err(|source| PrepareError::Read { path: path.to_owned(), source })?;
    match text.lines().next() {
        Some(secret) if !secret.is_empty() => Ok(secret.to_owned()),
        _ => Err(PrepareError::Empty { path: path.to_owned() }),
    }
}

/// Refuses a file that every user of this computer can open.
///
/// # Errors
/// [`PrepareError::Exposed`], or [`PrepareError::Read`] where it is not there.
pub fn refuse_exposed(path: &Path) -> Result<(), PrepareError> {
    let seen = fs::metadata(path).map_err(|source| PrepareError::Read { path: path.to_owned(), source })?;
    if seen.permissions().mode() & 0o007 != 0 {
        return Err(PrepareError::Exposed { path: path.to_owned() });
    }
    Ok(())
}
