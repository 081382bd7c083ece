//! A peer in a process of its own: it tells what it sees, one JSON object a line.

use std::fs;
use std::io::{BufRead, BufReader};
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, RecvTimeoutError, sync_channel};
use std::sync::{Arc, Mutex};
use std::thread;
use std::time::Duration;

use rcgen::ExtendedKeyUsagePurpose;
use rinseward::config::delivery::Pace;
use rinseward::core::time::Timestamp;
use rumqttc::tokio_rustls::TlsAcceptor;
use rustls::pki_types::pem::PemObject;
use rustls::pki_types::{CertificateDer, PrivateKeyDer};
use serde_json::Value;
use tempfile::TempDir;

use crate::mqtt::access::Authority;

/// Longest wait for a peer (own choice: far above what a loaded computer needs).
const WAIT_MAX: Duration = Duration::from_secs(20);

/// 2023-11-14T22:13:20Z.
pub(crate) const AT: Timestamp = Timestamp::from_micros(1_700_000_000_000_000);

/// A pace that is in nobody's way.
pub(crate) const PACE: Pace =
    Pace { per_minute: 60_000, give_up_after: Duration::from_secs(86_400), attempts_max: 200 };

/// A peer; ended, by its number, when dropped.
pub(crate) struct Peer {
    child: Child,
    said: Mutex<Receiver<String>>,
    port: u16,
}

impl Peer {
    /// Starts `peers/<script>` and waits for its port.
    pub(crate) fn start(script: &str, args: &[&str]) -> Self {
        let root = Path::new(env!("CARGO_MANIFEST_DIR"));
        let python = root.join("target/peers/bin/python");
        assert!(
            python.is_file(),
            "the peers of these tests are missing: python3 -m venv target/peers && \
             target/peers/bin/pip install -r tests/tests/alert/peers/requirements.txt"
        );
        let mut command = Command::new(python);
        command.arg(root.join("tests/tests/alert/peers").join(script)).args(args);
        let mut peer = Self::listen(command);
        let port = peer.next("its port")["port"].as_u64().and_then(|port| u16::try_from(port).ok());
        peer.port = port.expect("the first line tells the port");
        peer
    }

    /// Starts any program whose lines are to be heard.
    pub(crate) fn listen(mut command: Command) -> Self {
        let mut child = command
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::inherit())
            .spawn()
            .expect("the program of the peer starts");
        let out = BufReader::new(child.stdout.take().expect("it is piped"));
        let (sender, said) = sync_channel(1_000);
        thread::spawn(move || {
            for line in out.lines().map_while(Result::ok) {
                if sender.send(line).is_err() {
                    return;
                }
            }
        });
        Self { child, said: Mutex::new(said), port: 0 }
    }

    /// Its port on 127.0.0.1.
    pub(crate) fn port(&self) -> u16 {
        self.port
    }

    /// The next line.
    pub(crate) fn line(&self, wanted: &str) -> String {
        let said = self.said.lock().expect("one test listens");
        match said.recv_timeout(WAIT_MAX) {
            Ok(line) => line,
            Err(RecvTimeoutError::Timeout) => panic!("the peer says nothing; {wanted} was expected"),
            Err(RecvTimeoutError::Disconnected) => panic!("the peer has ended; {wanted} was expected"),
        }
    }

    /// What it says next.
    pub(crate) fn next(&self, wanted: &str) -> Value {
        let line = self.line(wanted);
        serde_json::from_str(&line).unwrap_or_else(|error| panic!("{error}: {line}"))
    }

    /// A line that it has said already.
    pub(crate) fn heard(&self) -> Option<String> {
        self.said.lock().expect("one test listens").try_recv().ok()
    }

    /// Asserts that it has said nothing more so far.
    pub(crate) fn assert_silent(&self) {
        assert_eq!(self.heard(), None);
    }
}

impl Drop for Peer {
    fn drop(&mut self) {
        self.child.kill().expect("our own child");
        self.child.wait().expect("our own child");
    }
}

/// A directory with the certificate and key of a server called `name`, and the CA's certificate.
pub(crate) struct Identity {
    directory: TempDir,
    chain: PathBuf,
    key: PathBuf,
}

impl Identity {
    pub(crate) fn of(name: &str) -> Self {
        let directory = TempDir::new().expect("a temporary directory");
        let authority = Authority::new();
        authority.write(&directory.path().join("ca.pem"));
        let (chain, key) = authority.leaf(directory.path(), name, ExtendedKeyUsagePurpose::ServerAuth);
        Self { directory, chain, key }
    }

    pub(crate) fn ca(&self) -> PathBuf {
        self.directory.path().join("ca.pem")
    }

    /// Arguments of a peer that shows it.
    pub(crate) fn args(&self) -> [&str; 4] {
        [
            "--cert",
            self.chain.to_str().expect("a plain path"),
            "--key",
            self.key.to_str().expect("a plain path"),
        ]
    }

    /// The side of a server inside this process.
    pub(crate) fn acceptor(&self) -> TlsAcceptor {
        let chain = CertificateDer::pem_file_iter(&self.chain).expect("our own file");
        let chain = chain.collect::<Result<Vec<_>, _>>().expect("our own certificate");
        let key = PrivateKeyDer::from_pem_file(&self.key).expect("our own key");
        let provider = Arc::new(rustls::crypto::ring::default_provider());
        let config = rustls::ServerConfig::builder_with_provider(provider)
            .with_safe_default_protocol_versions()
            .expect("versions of ring")
            .with_no_client_auth()
            .with_single_cert(chain, key)
            .expect("a certificate and its key");
        TlsAcceptor::from(Arc::new(config))
    }

    /// Writes a secret of one line beside it.
    pub(crate) fn secret(&self, name: &str, text: &str) -> PathBuf {
        let path = self.directory.path().join(name);
        fs::write(&path, format!("{text}\n")).expect("our own directory");
        fs::set_permissions(&path, fs::Permissions::from_mode(0o600)).expect("our own file");
        path
    }
}
