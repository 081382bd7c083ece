//! Certificates: whom to trust, what to show, and what a refused handshake means
//! for the person who set them up.

use std::error::Error;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use rustls::pki_types::pem::PemObject;
use rustls::pki_types::{CertificateDer, PrivateKeyDer};
use rustls::{AlertDescription, CertificateError, ClientConfig, ConfigBuilder, RootCertStore, WantsVerifier};

use super::secret::{PrepareError, refuse_exposed};
use crate::core::alert::trial::Fact;

/// Why a TLS handshake failed, where the cause is known.
#[derive(Clone, Copy, PartialEq, Eq, Debug, thiserror::Error)]
pub enum TlsFault {
    /// The server's certificate is signed by somebody else.
    #[error("{}", self.fact())]
    UnknownAuthority,
    /// The server's certificate is for other names.
    #[error("{}", self.fact())]
    OtherName,
    /// The server's certificate is out of date, or the clock is.
    #[error("{}", self.fact())]
    NotValidNow,
    /// The server shows the certificate of an authority as its own.
    #[error("{}", self.fact())]
    AuthorityAsServer,
    /// The server wants a client certificate.
    #[error("{}", self.fact())]
    ClientCertificateMissing,
    /// The server does not accept the client certificate.
    #[error("{}", self.fact())]
    ClientCertificateRefused,
    /// What answers does not speak TLS.
    #[error("{}", self.fact())]
    NoTls,
}

impl TlsFault {
    /// It as the fact that people are told, in each language.
    #[must_use]
    pub const fn fact(self) -> Fact {
        match self {
            Self::UnknownAuthority => Fact::AuthorityUnknown {},
            Self::OtherName => Fact::NameOther {},
            Self::NotValidNow => Fact::NotValidNow {},
            Self::AuthorityAsServer => Fact::AuthorityAsServer {},
            Self::ClientCertificateMissing => Fact::ClientCertificateMissing {},
            Self::ClientCertificateRefused => Fact::ClientCertificateRefused {},
            Self::NoTls => Fact::NoTls {},
        }
    }
}

/// Says what a failed read, write or handshake over TLS means.
#[must_use]
pub fn fault(error: &io::Error) -> Option<TlsFault> {
    fault_of(error_within(error)?)
}

/// The error of TLS behind a failed read, write or handshake.
#[must_use]
pub fn error_within(error: &io::Error) -> Option<&rustls::Error> {
    let inner = error.get_ref()?;
    // Each layer over a connection may wrap the error of the one below.
    inner.downcast_ref().or_else(|| error_within(inner.downcast_ref()?))
}

/// The same for an error of a library, somewhere among whose causes it is.
#[must_use]
pub fn fault_among(error: &(dyn Error + 'static)) -> Option<TlsFault> {
    let mut next = Some(error);
    while let Some(cause) = next {
        let of_io = cause.downcast_ref::<io::Error>().and_then(fault);
        if let Some(found) = of_io.or_else(|| cause.downcast_ref::<rustls::Error>().and_then(fault_of)) {
            return Some(found);
        }
        next = cause.source();
    }
    None
}

/// Says what an error of TLS means.
#[must_use]
#[expect(
    clippy::wildcard_enum_match_arm,
    reason = "an open enum of rustls; other errors are told in its own words"
)]
pub fn fault_of(error: &rustls::Error) -> Option<TlsFault> {
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

/// The client's side of TLS, with ring.
///
/// `ca_file` holds the certificates of a private CA; the system's roots serve
/// where it is `None`. `client` is the chain and key that the client shows.
///
/// # Errors
/// [`PrepareError`] names the file.
pub fn client(
    ca_file: Option<&Path>,
    client: Option<&(PathBuf, PathBuf)>,
) -> Result<Arc<ClientConfig>, PrepareError> {
    let builder = builder()?.with_root_certificates(roots(ca_file)?);
    let config = match client {
        Some((chain, key)) => {
            refuse_exposed(key)?;
            let key = PrivateKeyDer::from_pem_file(key)
                .map_err(|source| PrepareError::PrivateKey { path: key.clone(), source })?;
            builder.with_client_auth_cert(read(chain)?, key).map_err(PrepareError::Tls)?
        }
        None => builder.with_no_client_auth(),
    };
    Ok(Arc::new(config))
}

/// A client's side of TLS that trusts nobody, for links which are never encrypted.
///
/// # Errors
/// [`PrepareError::Tls`], where ring cannot do TLS at all.
pub fn trusts_nobody() -> Result<Arc<ClientConfig>, PrepareError> {
    Ok(Arc::new(builder()?.with_root_certificates(RootCertStore::empty()).with_no_client_auth()))
}

fn builder() -> Result<ConfigBuilder<ClientConfig, WantsVerifier>, PrepareError> {
    ClientConfig::builder_with_provider(Arc::new(rustls::crypto::ring::default_provider()))
        .with_safe_default_protocol_versions()
        .map_err(PrepareError::Tls)
}

fn roots(ca_file: Option<&Path>) -> Result<RootCertStore, PrepareError> {
    let mut store = RootCertStore::empty();
    match ca_file {
        Some(path) => {
            for certificate in read(path)? {
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

/// The certificates of a PEM file; at least one.
///
/// # Errors
/// [`PrepareError`] where there is none.
pub fn read(path: &Path) -> Result<Vec<CertificateDer<'static>>, PrepareError> {
    let bytes = fs::read(path).map_err(|source| PrepareError::Read { path: path.to_owned(), source })?;
    let found: Vec<_> = CertificateDer::pem_slice_iter(&bytes)
        .collect::<Result<_, _>>()
        .map_err(|source| PrepareError::Certificates { path: path.to_owned(), source: Some(source) })?;
    if found.is_empty() {
        return Err(PrepareError::Certificates { path: path.to_owned(), source: None });
    }
    Ok(found)
}
