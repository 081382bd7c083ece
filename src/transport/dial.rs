//! The way to a server: TCP, and TLS over it where configured.

use std::io;
use std::path::{Path, PathBuf};

use rumqttc::tokio_rustls::TlsConnector;
use rumqttc::tokio_rustls::client::TlsStream;
use rustls::pki_types::ServerName;
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::TcpStream;

use crate::transport::certificate::{self, TlsFault, fault};
use crate::transport::secret::PrepareError;

/// Why there is no connection, or no longer one.
#[derive(Debug, thiserror::Error)]
pub enum DialError {
    /// Nothing answers there.
    #[error("cannot connect to {host}:{port}")]
    Connect {
        /// Host as configured.
        host: String,
        /// Port.
        port: u16,
        /// Why.
        source: io::Error,
    },
    /// TLS was refused for a known reason.
    #[error(transparent)]
    Tls(#[from] TlsFault),
    /// The connection broke.
    #[error("the connection broke")]
    Broken(#[source] io::Error),
}

impl From<io::Error> for DialError {
    fn from(error: io::Error) -> Self {
        match fault(&error) {
            Some(fault) => Self::Tls(fault),
            None => Self::Broken(error),
        }
    }
}

/// A connection, encrypted or not.
pub trait Stream: AsyncRead + AsyncWrite + Send + Unpin {}
impl<S: AsyncRead + AsyncWrite + Send + Unpin> Stream for S {}

/// What TLS connections to one host need.
pub struct Tls {
    connector: TlsConnector,
    name: ServerName<'static>,
}

impl Tls {
    /// Reads the certificates.
    ///
    /// # Errors
    /// [`PrepareError`] names the file, or the host that can stand in no certificate.
    pub fn prepare(
        host: &str,
        ca_file: Option<&Path>,
        client: Option<&(PathBuf, PathBuf)>,
    ) -> Result<Self, PrepareError> {
        let name = ServerName::try_from(host.to_owned())
            .map_err(|_| PrepareError::HostName { host: host.to_owned() })?;
        let connector = TlsConnector::from(certificate::client(ca_file, client)?);
        Ok(Self { connector, name })
    }

    /// Encrypts a connection.
    ///
    /// # Errors
    /// [`DialError`].
    pub async fn over(&self, tcp: TcpStream) -> Result<TlsStream<TcpStream>, DialError> {
        self.connector.connect(self.name.clone(), tcp).await.map_err(|error| {
            // A port without TLS hangs up on what it does not understand.
            let hung_up =
                matches!(error.kind(), io::ErrorKind::UnexpectedEof | io::ErrorKind::ConnectionReset);
            if hung_up { DialError::Tls(TlsFault::NoTls) } else { error.into() }
        })
    }
}

/// Connects; plain TCP where `tls` is `None`.
///
/// # Errors
/// [`DialError`].
pub async fn dial(host: &str, port: u16, tls: Option<&Tls>) -> Result<Box<dyn Stream>, DialError> {
    let tcp = TcpStream::connect((host, port)).await.map_err(|source| DialError::Connect {
        host: host.to_owned(),
        port,
        source,
    })?;
    tcp.set_nodelay(true).map_err(DialError::Broken)?;
    match tls {
        Some(tls) => Ok(Box::new(tls.over(tcp).await?)),
        None => Ok(Box::new(tcp)),
    }
}
