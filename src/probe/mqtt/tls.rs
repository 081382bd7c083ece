//! Secrets and certificates, read once before the first connection, and what a
//! refused handshake means for the person who set them up.

use std::fs;
use std::io;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use rumqttc::tokio_rustls::TlsConnector;
use rustls::pki_types::pem::{self, PemObject};
use rustls::pki_types::{CertificateDer, PrivateKeyDer, ServerName};
use rustls::{AlertDescription, CertificateError, ClientConfig, RootCertStore};

use crate::config::source::{MqttLogin, MqttSource, MqttTls};

/// Why a source could not be prepared: nothing of it changes by waiting.
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
    /// A password file without a password.
    #[error("«{}» holds no password in its first line", path.display())]
    NoPassword {
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
    /// The host can stand in no certificate.
    #[error("«{host}» is no name or address that a certificate can hold")]
    HostName {
        /// The host as configured.
        host: String,
    },
}

impl PrepareError {
    /// What to type or do about it.
    #[must_use]
    pub fn fix(&self) -> String {
        match self {
            Self::Read { path, .. } => {
                format!("check the path and let the service user read {}", path.display())
            }
            Self::Exposed { path } => format!("chmod o= {}", path.display()),
            Self::NoPassword { path } => {
                format!("write the password into the first line of {}", path.display())
            }
            Self::Certificates { path, .. } => {
                format!("put the certificates into {} in PEM form", path.display())
            }
            Self::PrivateKey { path, .. } => {
                format!("put the private key into {} in PEM form", path.display())
            }
            Self::NoSystemRoots => "install the package ca-certificates, or name a ca-file".to_owned(),
            Self::Tls(_) => "check that the key belongs to the certificate".to_owned(),
            Self::HostName { .. } => "correct the host".to_owned(),
        }
    }
}

/// Why a TLS handshake failed, where the cause is known.
#[derive(Clone, Copy, PartialEq, Eq, Debug, thiserror::Error)]
pub enum TlsFault {
    /// The broker's certificate is signed by somebody else.
    #[error("the broker's certificate is not signed by an authority trusted here")]
    UnknownAuthority,
    /// The broker's certificate is for other names.
    #[error("the broker's certificate is for another host name")]
    OtherName,
    /// The broker's certificate is out of date, or the clock is.
    #[error("the broker's certificate is not valid at this time; check the clock too")]
    NotValidNow,
    /// The broker shows the certificate of an authority as its own.
    #[error("the broker shows the certificate of an authority; it needs one of its own, with CA:FALSE")]
    AuthorityAsServer,
    /// The broker wants a client certificate.
    #[error("the broker demands a client certificate")]
    ClientCertificateMissing,
    /// The broker does not accept the client certificate.
    #[error("the broker does not accept the client certificate")]
    ClientCertificateRefused,
    /// What answers does not speak TLS.
    #[error("what answers at this port does not speak TLS")]
    NoTls,
}

/// Says what a failed read, write or handshake over TLS means.
#[expect(
    clippy::wildcard_enum_match_arm,
    reason = "an open enum of rustls; other errors are told in its own words"
)]
pub(super) fn fault(error: &io::Error) -> Option<TlsFault> {
    let error = error.get_ref()?.downcast_ref::<rustls::Error>()?;
    match error {
        rustls::Error::InvalidCertificate(cause) => certificate_fault(cause),
        rustls::Error::AlertReceived(alert) => alert_fault(*alert),
        rustls::Error::InvalidMessage(_) => Some(TlsFault::NoTls),
        _ => None,
    }
}

#[expect(
    clippy::wildcard_enum_match_arm,
    reason = "an open enum of rustls; other causes are told in its own words"
)]
fn certificate_fault(cause: &CertificateError) -> Option<TlsFault> {
    match cause {
        // `BadSignature`: an authority of the same name but another key.
        CertificateError::UnknownIssuer | CertificateError::BadSignature => Some(TlsFault::UnknownAuthority),
        CertificateError::NotValidForName | CertificateError::NotValidForNameContext { .. } => {
            Some(TlsFault::OtherName)
        }
        CertificateError::Expired
        | CertificateError::ExpiredContext { .. }
        | CertificateError::NotValidYet
        | CertificateError::NotValidYetContext { .. } => Some(TlsFault::NotValidNow),
        // An error of the verifier that rustls passes on without a type of its own.
        CertificateError::Other(other) if format!("{other:?}").contains("CaUsedAsEndEntity") => {
            Some(TlsFault::AuthorityAsServer)
        }
        _ => None,
    }
}

#[expect(
    clippy::wildcard_enum_match_arm,
    reason = "an open enum of rustls; other alerts are told in its own words"
)]
fn alert_fault(alert: AlertDescription) -> Option<TlsFault> {
    match alert {
        // TLS 1.3 has an alert of its own for it (RFC 8446 §6.2), 1.2 has not (RFC 5246 §7.4.6).
        AlertDescription::CertificateRequired | AlertDescription::HandshakeFailure => {
            Some(TlsFault::ClientCertificateMissing)
        }
        AlertDescription::BadCertificate
        | AlertDescription::UnknownCA
        | AlertDescription::CertificateUnknown
        | AlertDescription::CertificateExpired
        | AlertDescription::DecryptError
        | AlertDescription::AccessDenied => Some(TlsFault::ClientCertificateRefused),
        _ => None,
    }
}

/// Makes what TLS connections to the broker need; `None` for plain TCP.
pub(super) fn connector(
    config: &MqttSource,
) -> Result<Option<(TlsConnector, ServerName<'static>)>, PrepareError> {
    let Some(tls) = &config.tls else {
        return Ok(None);
    };
    let name = ServerName::try_from(config.host.clone())
        .map_err(|_| PrepareError::HostName { host: config.host.clone() })?;
    let builder = ClientConfig::builder_with_provider(Arc::new(rustls::crypto::ring::default_provider()))
        .with_safe_default_protocol_versions()
        .map_err(PrepareError::Tls)?
        .with_root_certificates(roots(tls)?);
    let client = match &tls.client {
        Some((chain, key)) => {
            refuse_exposed(key)?;
            let key = PrivateKeyDer::from_pem_file(key)
                .map_err(|source| PrepareError::PrivateKey { path: key.clone(), source })?;
            builder.with_client_auth_cert(certificates(chain)?, key).map_err(PrepareError::Tls)?
        }
        None => builder.with_no_client_auth(),
    };
    Ok(Some((TlsConnector::from(Arc::new(client)), name)))
}

fn roots(tls: &MqttTls) -> Result<RootCertStore, PrepareError> {
    let mut store = RootCertStore::empty();
    match &tls.ca_file {
        Some(path) => {
            for certificate in certificates(path)? {
                store.add(certificate).map_err(PrepareError::Tls)?;
            }
        }
        None => {
            let found = rustls_native_certs::load_native_certs();
            for error in &found.errors {
                tracing::warn!(%error, "part of this computer's certificates cannot be read");
            }
            store.add_parsable_certificates(found.certs);
            if store.is_empty() {
                return Err(PrepareError::NoSystemRoots);
            }
        }
    }
    Ok(store)
}

fn certificates(path: &Path) -> Result<Vec<CertificateDer<'static>>, PrepareError> {
    let bytes = fs::read(path).map_err(|source| PrepareError::Read { path: path.to_owned(), source })?;
    let found: Vec<_> = CertificateDer::pem_slice_iter(&bytes)
        .collect::<Result<_, _>>()
        .map_err(|source| PrepareError::Certificates { path: path.to_owned(), source: Some(source) })?;
    if found.is_empty() {
        return Err(PrepareError::Certificates { path: path.to_owned(), source: None });
    }
    Ok(found)
}

/// User and password; without `Debug`, so that no log can hold them.
pub(super) struct Login {
    /// User name.
    pub(super) user: String,
    /// Password.
    pub(super) password: String,
}

impl Login {
    /// Reads the password from its file.
    pub(super) fn read(login: &MqttLogin) -> Result<Self, PrepareError> {
        let path = &login.password_file;
        refuse_exposed(path)?;
        let text =
            fs::read_to_string(path).map_err(|source| PrepareError::Read { path: path.clone(), source })?;
        match text.lines().next() {
            Some(password) if !password.is_empty() => {
                Ok(Self { user: login.user.clone(), password: password.to_owned() })
            }
            _ => Err(PrepareError::NoPassword { path: path.clone() }),
        }
    }
}

fn refuse_exposed(path: &Path) -> Result<(), PrepareError> {
    let seen = fs::metadata(path).map_err(|source| PrepareError::Read { path: path.to_owned(), source })?;
    if seen.permissions().mode() & 0o007 != 0 {
        return Err(PrepareError::Exposed { path: path.to_owned() });
    }
    Ok(())
}
