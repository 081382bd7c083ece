//! A private certificate authority, and TLS before a server that has none.

use std::net::Ipv4Addr;
use std::sync::Arc;

use rcgen::{
    BasicConstraints, CertificateParams, CertifiedIssuer, DnType, ExtendedKeyUsagePurpose, IsCa, KeyPair,
    KeyUsagePurpose, date_time_ymd,
};
use rumqttc::tokio_rustls::TlsAcceptor;
use rustls::pki_types::{PrivateKeyDer, PrivatePkcs8KeyDer};
use tokio::net::{TcpListener, TcpStream};
use tokio::task::JoinHandle;

/// An authority of its own.
pub(crate) struct Authority {
    issuer: CertifiedIssuer<'static, KeyPair>,
}

/// How the server's certificate is.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(crate) enum Leaf {
    /// For localhost and 127.0.0.1, valid.
    Right,
    /// For another name.
    OtherName,
    /// Out of date since 2001.
    Expired,
}

impl Authority {
    /// Makes an authority.
    pub(crate) fn new() -> Self {
        let mut params = CertificateParams::default();
        params.is_ca = IsCa::Ca(BasicConstraints::Unconstrained);
        params.key_usages = vec![KeyUsagePurpose::KeyCertSign];
        params.distinguished_name.push(DnType::CommonName, "kitchen authority");
        let key = KeyPair::generate().expect("a key");
        Self { issuer: CertifiedIssuer::self_signed(params, key).expect("an authority") }
    }

    /// Its certificate, for a `ca-file`.
    pub(crate) fn pem(&self) -> String {
        self.issuer.pem()
    }

    /// A certificate for localhost and 127.0.0.1 and its key, both PEM.
    pub(crate) fn leaf(&self) -> (String, String) {
        let mut params =
            CertificateParams::new(vec!["localhost".to_owned(), "127.0.0.1".to_owned()]).expect("names");
        params.extended_key_usages = vec![ExtendedKeyUsagePurpose::ServerAuth];
        let key = KeyPair::generate().expect("a key");
        let certificate = params.signed_by(&key, &self.issuer).expect("a certificate");
        (certificate.pem(), key.serialize_pem())
    }

    fn config(&self, leaf: Leaf) -> rustls::ServerConfig {
        let names = match leaf {
            Leaf::Right | Leaf::Expired => vec!["localhost".to_owned(), "127.0.0.1".to_owned()],
            Leaf::OtherName => vec!["elsewhere.example".to_owned()],
        };
        let mut params = CertificateParams::new(names).expect("names");
        params.extended_key_usages = vec![ExtendedKeyUsagePurpose::ServerAuth];
        if leaf == Leaf::Expired {
            params.not_before = date_time_ymd(2000, 1, 1);
            params.not_after = date_time_ymd(2001, 1, 1);
        }
        let key = KeyPair::generate().expect("a key");
        let certificate = params.signed_by(&key, &self.issuer).expect("a certificate");
        let key = PrivateKeyDer::Pkcs8(PrivatePkcs8KeyDer::from(key.serialize_der()));
        rustls::ServerConfig::builder_with_provider(Arc::new(rustls::crypto::ring::default_provider()))
            .with_safe_default_protocol_versions()
            .expect("versions of ring")
            .with_no_client_auth()
            .with_single_cert(vec![certificate.der().clone()], key)
            .expect("a certificate and its key")
    }
}

/// TLS before a plain server.
pub(crate) struct TlsFront {
    port: u16,
    task: JoinHandle<()>,
}

impl TlsFront {
    /// Starts TLS before the server at this port of 127.0.0.1.
    pub(crate) async fn start(authority: &Authority, leaf: Leaf, target: u16) -> Self {
        let acceptor = TlsAcceptor::from(Arc::new(authority.config(leaf)));
        let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).await.expect("loopback");
        let port = listener.local_addr().expect("a bound socket").port();
        let task = tokio::spawn(async move {
            while let Ok((link, _)) = listener.accept().await {
                let acceptor = acceptor.clone();
                tokio::spawn(async move {
                    let Ok(mut link) = acceptor.accept(link).await else { return };
                    let Ok(mut server) = TcpStream::connect((Ipv4Addr::LOCALHOST, target)).await else {
                        return;
                    };
                    // Either side may end it.
                    drop(tokio::io::copy_bidirectional(&mut link, &mut server).await);
                });
            }
        });
        Self { port, task }
    }

    /// Its address under this host.
    pub(crate) fn url(&self, host: &str) -> String {
        format!("https://{host}:{}/", self.port)
    }
}

impl Drop for TlsFront {
    fn drop(&mut self) {
        self.task.abort();
    }
}
