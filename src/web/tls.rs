//! TLS of the pages: the certificate, renewed without a restart.
//!
//! HTTP/1.1 alone is offered (RFC 7301): over HTTP/2 browsers lose the answer to a form that is
//! refused before it is read.

use std::fs;
use std::path::PathBuf;
use std::sync::{Arc, PoisonError, RwLock};
use std::time::SystemTime;

use rustls::ServerConfig;
use rustls::pki_types::PrivateKeyDer;
use rustls::pki_types::pem::PemObject;
use rustls::server::{ClientHello, ResolvesServerCert};
use rustls::sign::CertifiedKey;
use tokio_rustls::TlsAcceptor;

use crate::config::resolve::TlsFiles;
use crate::transport::certificate;
use crate::transport::secret::{PrepareError, refuse_exposed};

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

    /// What encrypts a connection by them.
    ///
    /// # Errors
    /// [`PrepareError::Tls`] where ring cannot do TLS at all.
    pub(super) fn acceptor(self: &Arc<Self>) -> Result<TlsAcceptor, PrepareError> {
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

#[cfg(test)]
mod tests {
    use std::os::unix::fs::PermissionsExt;
    use std::time::Duration;

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
