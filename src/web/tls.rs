//! TLS of the pages: the certificate, renewed without a restart, and the encrypted connections.
//!
//! A handshake is part of its connection, not of accepting it: whoever says nothing holds one
//! place of those that `Bounded` gives, and nobody else waits for them. HTTP/1.1
//! alone is offered (RFC 7301): over HTTP/2 browsers lose the answer to a form that is refused
//! before it is read.

use std::fs;
use std::io;
use std::path::PathBuf;
use std::pin::Pin;
use std::sync::{Arc, PoisonError, RwLock};
use std::task::{Context, Poll, ready};
use std::time::{Duration, SystemTime};

use rustls::ServerConfig;
use rustls::pki_types::PrivateKeyDer;
use rustls::pki_types::pem::PemObject;
use rustls::server::{ClientHello, ResolvesServerCert};
use rustls::sign::CertifiedKey;
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::time::Sleep;
use tokio_rustls::server::TlsStream;
use tokio_rustls::{Accept, TlsAcceptor};

use super::guard::{Bounded, Connection};
use crate::config::resolve::TlsFiles;
use crate::transport::certificate;
use crate::transport::secret::{PrepareError, refuse_exposed};

/// Longest handshake (own choice: two round trips over a bad radio link, and more).
const HANDSHAKE_MAX: Duration = Duration::from_secs(10);

/// The certificate that the pages show, and its key.
#[derive(Debug)]
pub struct Identity {
    files: TlsFiles,
    held: RwLock<Held>,
}

#[derive(Debug)]
struct Held {
    key: Arc<CertifiedKey>,
    written: [Option<SystemTime>; 2],
}

impl Identity {
    /// Reads certificate and key.
    ///
    /// # Errors
    /// [`PrepareError`], which names the file.
    pub fn load(files: TlsFiles) -> Result<Arc<Self>, PrepareError> {
        let written = written(&files);
        let key = read(&files)?;
        Ok(Arc::new(Self { files, held: RwLock::new(Held { key, written }) }))
    }

    /// Reads them anew where a file was written since; whether it was. Connections that are open
    /// go on as they are.
    ///
    /// # Errors
    /// [`PrepareError`] where they cannot be used; those before stay in force.
    pub fn renew(&self) -> Result<bool, PrepareError> {
        let found = written(&self.files);
        if self.held.read().unwrap_or_else(PoisonError::into_inner).written == found {
            return Ok(false);
        }
        let key = read(&self.files)?;
        *self.held.write().unwrap_or_else(PoisonError::into_inner) = Held { key, written: found };
        Ok(true)
    }

    /// # Errors
    /// [`PrepareError::Tls`] where ring cannot do TLS at all.
    fn acceptor(self: &Arc<Self>) -> Result<TlsAcceptor, PrepareError> {
        let provider = Arc::new(rustls::crypto::ring::default_provider());
        let mut config = ServerConfig::builder_with_provider(provider)
            .with_safe_default_protocol_versions()
            .map_err(PrepareError::Tls)?
            .with_no_client_auth()
            .with_cert_resolver(Arc::clone(self) as Arc<dyn ResolvesServerCert>);
        config.alpn_protocols = vec![b"http/1.1".to_vec()];
        Ok(TlsAcceptor::from(Arc::new(config)))
    }
}

impl ResolvesServerCert for Identity {
    fn resolve(&self, _hello: ClientHello<'_>) -> Option<Arc<CertifiedKey>> {
        Some(Arc::clone(&self.held.read().unwrap_or_else(PoisonError::into_inner).key))
    }
}

fn read(files: &TlsFiles) -> Result<Arc<CertifiedKey>, PrepareError> {
    let chain = certificate::read(&files.certificate)?;
    refuse_exposed(&files.key)?;
    let failed = |source| PrepareError::PrivateKey { path: files.key.clone(), source };
    let key = PrivateKeyDer::from_pem_file(&files.key).map_err(failed)?;
    let provider = rustls::crypto::ring::default_provider();
    CertifiedKey::from_der(chain, key, &provider).map(Arc::new).map_err(PrepareError::Tls)
}

fn written(files: &TlsFiles) -> [Option<SystemTime>; 2] {
    let of = |path: &PathBuf| fs::metadata(path).and_then(|seen| seen.modified()).ok();
    [of(&files.certificate), of(&files.key)]
}

/// The listener of the pages, with TLS or without.
pub(super) struct Lines {
    listener: Bounded,
    acceptor: Option<TlsAcceptor>,
}

impl Lines {
    /// # Errors
    /// As [`Identity::acceptor`].
    pub(super) fn new(listener: Bounded, identity: Option<&Arc<Identity>>) -> Result<Self, PrepareError> {
        let acceptor = identity.map(Identity::acceptor).transpose()?;
        Ok(Self { listener, acceptor })
    }
}

impl axum::serve::Listener for Lines {
    type Io = Line;
    type Addr = std::net::SocketAddr;

    async fn accept(&mut self) -> (Self::Io, Self::Addr) {
        let (connection, far) = axum::serve::Listener::accept(&mut self.listener).await;
        let line = match &self.acceptor {
            None => Line::Plain(connection),
            Some(acceptor) => {
                let end = Box::pin(tokio::time::sleep(HANDSHAKE_MAX));
                Line::Begun(Box::new(acceptor.accept(connection)), end)
            }
        };
        (line, far)
    }

    fn local_addr(&self) -> io::Result<Self::Addr> {
        axum::serve::Listener::local_addr(&self.listener)
    }
}

/// A connection.
pub(super) enum Line {
    /// Without TLS.
    Plain(Connection),
    /// In its handshake, until then.
    Begun(Box<Accept<Connection>>, Pin<Box<Sleep>>),
    /// Encrypted.
    Encrypted(Box<TlsStream<Connection>>),
}

impl Line {
    /// Goes on with the handshake, where there is one.
    fn poll_ready(&mut self, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        let Self::Begun(accept, end) = self else { return Poll::Ready(Ok(())) };
        if end.as_mut().poll(context).is_ready() {
            return Poll::Ready(Err(io::ErrorKind::TimedOut.into()));
        }
        let stream = ready!(Pin::new(&mut **accept).poll(context))?;
        *self = Self::Encrypted(Box::new(stream));
        Poll::Ready(Ok(()))
    }
}

impl AsyncRead for Line {
    fn poll_read(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        buffer: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        ready!(self.poll_ready(context))?;
        match &mut *self {
            Self::Plain(stream) => Pin::new(stream).poll_read(context, buffer),
            Self::Encrypted(stream) => Pin::new(&mut **stream).poll_read(context, buffer),
            Self::Begun(..) => Poll::Pending,
        }
    }
}

impl AsyncWrite for Line {
    fn poll_write(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        bytes: &[u8],
    ) -> Poll<io::Result<usize>> {
        ready!(self.poll_ready(context))?;
        match &mut *self {
            Self::Plain(stream) => Pin::new(stream).poll_write(context, bytes),
            Self::Encrypted(stream) => Pin::new(&mut **stream).poll_write(context, bytes),
            Self::Begun(..) => Poll::Pending,
        }
    }

    fn poll_flush(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        match &mut *self {
            Self::Plain(stream) => Pin::new(stream).poll_flush(context),
            Self::Encrypted(stream) => Pin::new(&mut **stream).poll_flush(context),
            // Nothing was written that could be flushed.
            Self::Begun(..) => Poll::Ready(Ok(())),
        }
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        match &mut *self {
            Self::Plain(stream) => Pin::new(stream).poll_shutdown(context),
            Self::Encrypted(stream) => Pin::new(&mut **stream).poll_shutdown(context),
            // Dropped, it closes.
            Self::Begun(..) => Poll::Ready(Ok(())),
        }
    }
}

#[cfg(test)]
mod tests {
    use std::os::unix::fs::PermissionsExt;

    use super::*;

    /// Writes a certificate for this name and its key, and gives the certificate's bytes.
    fn write(files: &TlsFiles, name: &str) -> Vec<u8> {
        let made = rcgen::generate_simple_self_signed([name.to_owned()]).expect("a certificate");
        fs::write(&files.certificate, made.cert.pem()).expect("a temporary file");
        fs::write(&files.key, made.signing_key.serialize_pem()).expect("a temporary file");
        fs::set_permissions(&files.key, fs::Permissions::from_mode(0o600)).expect("our own file");
        made.cert.der().to_vec()
    }

    fn touch(path: &PathBuf, seconds: u64) {
        let file = fs::File::options().append(true).open(path).expect("our own file");
        let at = SystemTime::UNIX_EPOCH + Duration::from_secs(seconds);
        file.set_modified(at).expect("our own file");
    }

    fn shown(identity: &Identity) -> Vec<u8> {
        identity.held.read().expect("no holder panics").key.cert[0].to_vec()
    }

    // Own promise: a renewed certificate is shown without a restart; one that cannot be used leaves
    // the one before in force, and is looked at again; a key that others may read is refused.
    #[test]
    fn a_renewed_certificate_is_shown() {
        let directory = tempfile::tempdir().expect("a temporary directory");
        let files = TlsFiles {
            certificate: directory.path().join("pages.pem"),
            key: directory.path().join("pages.key"),
        };
        let first = write(&files, "one.example");
        let identity = Identity::load(files.clone()).expect("they fit");
        assert!(!identity.renew().expect("nothing changed"));

        fs::write(&files.certificate, "no certificate").expect("our own file");
        touch(&files.certificate, 1_000);
        assert!(matches!(identity.renew(), Err(PrepareError::Certificates { .. })));
        assert!(identity.renew().is_err(), "it is looked at again");
        assert_eq!(shown(&identity), first);

        let second = write(&files, "two.example");
        touch(&files.certificate, 2_000);
        assert!(identity.renew().expect("they fit"));
        assert_eq!(shown(&identity), second);
        assert_ne!(first, second);

        fs::set_permissions(&files.key, fs::Permissions::from_mode(0o644)).expect("our own file");
        assert!(matches!(Identity::load(files), Err(PrepareError::Exposed { .. })));
    }
}
