//! Secrets by path, and why a link cannot be prepared.
//!
//! A secret is the first line of a file of its own, which others may not read.
//! What is read here has no `Debug` that could show it.

use std::fs;
use std::io;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};

use rustls::pki_types::pem;

/// Why a link could not be prepared: nothing of it changes by waiting.
#[derive(Debug, thiserror::Error)]
pub enum PrepareError {
    /// A file cannot be read.
    #[error("cannot read «{}»", path.display())]
    Read {
        /// The file.
        path: PathBuf,
        /// Why.
        source: io::Error,
    },
    /// A secret that every user of this computer can read.
    #[error("«{}» holds a secret, and every user of this computer can read it", path.display())]
    Exposed {
        /// The file.
        path: PathBuf,
    },
    /// A secret file without a secret.
    #[error("«{}» holds no secret in its first line", path.display())]
    Empty {
        /// The file.
        path: PathBuf,
    },
    /// A file that should hold certificates does not.
    #[error("«{}» holds no certificate in PEM form", path.display())]
    Certificates {
        /// The file.
        path: PathBuf,
        /// Why; `None` where it was read but holds none.
        source: Option<pem::Error>,
    },
    /// A file that should hold a private key does not.
    #[error("«{}» holds no private key in PEM form", path.display())]
    PrivateKey {
        /// The file.
        path: PathBuf,
        /// Why.
        source: pem::Error,
    },
    /// This computer has no list of certificate authorities.
    #[error("this computer has no certificates of public authorities")]
    NoSystemRoots,
    /// TLS does not accept a certificate or key.
    #[error("TLS does not accept the configured certificates")]
    Tls(#[source] rustls::Error),
    /// A signing secret in another form.
    #[error("«{}» holds no signing secret: whsec_ and 24 to 64 bytes in base64", path.display())]
    SigningSecret {
        /// The file.
        path: PathBuf,
    },
    /// A text that is no address of e-mail.
    #[error("«{address}» is no address")]
    Address {
        /// The text.
        address: String,
    },
    /// The client for HTTP cannot be made.
    #[error("the HTTP client cannot be made")]
    Client(#[source] reqwest::Error),
    /// The host can stand in no certificate.
    #[error("«{host}» is no name or address that a certificate can hold")]
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

    /// What to type or do about it.
    #[must_use]
    pub fn fix(&self) -> String {
        match self {
            Self::Read { path, .. } => {
                format!("check the path and let the service user read {}", path.display())
            }
            Self::Exposed { path } => format!("chmod o= {}", path.display()),
            Self::Empty { path } => {
                format!("write the secret into the first line of {}", path.display())
            }
            Self::Certificates { path, .. } => {
                format!("put the certificates into {} in PEM form", path.display())
            }
            Self::PrivateKey { path, .. } => {
                format!("put the private key into {} in PEM form", path.display())
            }
            Self::NoSystemRoots => "install the package ca-certificates, or name a ca-file".to_owned(),
            Self::Tls(_) => "check that the key belongs to the certificate".to_owned(),
            Self::SigningSecret { path } => format!(
                "printf 'whsec_%s\\n' \"$(openssl rand -base64 32)\" > {}, and give the receiver the same line",
                path.display()
            ),
            Self::Address { .. } => "write an address such as kitchen@example.org".to_owned(),
            Self::Client(_) => "check the certificates in ca-file".to_owned(),
            Self::HostName { .. } => "correct the host".to_owned(),
        }
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
