//! Who may talk to whom: passwords and certificates.

use std::fs;
use std::net::Ipv4Addr;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::process::Command;

use rcgen::{
    BasicConstraints, CertificateParams, CertifiedIssuer, DnType, ExtendedKeyUsagePurpose, IsCa, KeyPair,
    KeyUsagePurpose, SanType,
};
use rinseward::config::source::{MqttSource, MqttTls, MqttVersion};
use rinseward::probe::mqtt::Mqtt;
use rinseward::transport::secret::PrepareError;

use super::broker::{Broker, program};
use super::gateway::{Commit, Gateway, VERSIONS, config, limits, login};

/// Waits until the link comes up, or tells why it does not.
async fn outcome(config: &MqttSource) -> Result<(), String> {
    let gateway = Gateway::start(config, Commit::AtOnce, limits());
    let seen = gateway.until("the link says something", |seen| !seen.states.is_empty()).await;
    drop(gateway.stop().await);
    if seen.ups() > 0 { Ok(()) } else { Err(seen.last_cause().unwrap_or_default().to_owned()) }
}

#[tokio::test]
async fn user_and_password() {
    let broker = Broker::start_with(|directory| {
        let file = directory.join("passwd");
        let made = Command::new(program("mosquitto_passwd"))
            .args(["-b", "-c"])
            .arg(&file)
            .args(["gateway", "right horse"])
            .status()
            .expect("mosquitto_passwd runs");
        assert!(made.success());
        format!("allow_anonymous false\npassword_file {}\n", file.display())
    });
    for version in VERSIONS {
        let mut config = config(broker.port(), version);
        config.login = Some(login(&broker.path("right"), "gateway", "right horse"));
        assert_eq!(outcome(&config).await, Ok(()), "{version:?}");

        config.login = Some(login(&broker.path("wrong"), "gateway", "wrong horse"));
        let refused = "the broker refuses the connection: not authorized: user name, password or access list";
        assert_eq!(outcome(&config).await, Err(refused.to_owned()), "{version:?}");
    }
}

/// Two gateways under one identifier would push each other out for ever.
#[tokio::test]
async fn says_that_another_client_has_its_name() {
    let broker = Broker::start();
    let config = config(broker.port(), MqttVersion::V5);
    let first = Gateway::up(&config, Commit::AtOnce).await;

    let second = Gateway::up(&config, Commit::AtOnce).await;

    let seen = first.until("it is pushed out", |seen| seen.last_cause().is_some()).await;
    let cause = seen.last_cause().expect("a cause");
    assert!(cause.ends_with("does another client use the same identifier?"), "{cause}");
    first.vanish().await;
    second.vanish().await;
}

#[test]
fn refuses_a_password_that_everybody_can_read() {
    let directory = tempfile::TempDir::new().expect("a temporary directory");
    let path = directory.path().join("password");
    let mut config = config(1883, MqttVersion::V5);
    config.login = Some(login(&path, "gateway", "right horse"));
    fs::set_permissions(&path, fs::Permissions::from_mode(0o644)).expect("our own file");

    let error = Mqtt::prepare(config.clone()).err().expect("an exposed secret");
    assert!(matches!(error, PrepareError::Exposed { .. }), "{error}");
    assert_eq!(error.fix(), format!("chmod o= {}", path.display()));

    // What it says to type is what helps.
    let typed = Command::new("sh").args(["-c", &error.fix()]).status().expect("a shell");
    assert!(typed.success());
    assert!(Mqtt::prepare(config).is_ok());
}

/// An authority of our own, with a broker and a client that it knows.
pub(crate) struct Authority {
    ca: CertifiedIssuer<'static, KeyPair>,
}

impl Authority {
    pub(crate) fn new() -> Self {
        let mut params = CertificateParams::default();
        params.is_ca = IsCa::Ca(BasicConstraints::Unconstrained);
        params.distinguished_name.push(DnType::CommonName, "An authority");
        params.subject_alt_names = vec![SanType::IpAddress(Ipv4Addr::LOCALHOST.into())];
        params.key_usages = vec![KeyUsagePurpose::KeyCertSign, KeyUsagePurpose::DigitalSignature];
        let key = KeyPair::generate().expect("randomness");
        Self { ca: CertifiedIssuer::self_signed(params, key).expect("a certificate of an authority") }
    }

    pub(crate) fn write(&self, path: &Path) -> PathBuf {
        fs::write(path, self.ca.pem()).expect("a writable directory");
        path.to_owned()
    }

    /// Writes certificate and key of a leaf.
    pub(crate) fn leaf(
        &self,
        directory: &Path,
        name: &str,
        use_for: ExtendedKeyUsagePurpose,
    ) -> (PathBuf, PathBuf) {
        let mut params = CertificateParams::new(vec![name.to_owned()]).expect("a legal name");
        params.is_ca = IsCa::NoCa;
        params.distinguished_name.push(DnType::CommonName, name);
        params.extended_key_usages = vec![use_for];
        let key = KeyPair::generate().expect("randomness");
        let certificate = params.signed_by(&key, &self.ca).expect("a signed certificate");
        let (chain, secret) = (directory.join(format!("{name}.pem")), directory.join(format!("{name}.key")));
        fs::write(&chain, certificate.pem()).expect("a writable directory");
        fs::write(&secret, key.serialize_pem()).expect("a writable directory");
        fs::set_permissions(&secret, fs::Permissions::from_mode(0o600)).expect("our own file");
        (chain, secret)
    }
}

fn tls_broker(authority: &Authority, name: &str, more: &str) -> Broker {
    Broker::start_with(|directory| {
        let ca = authority.write(&directory.join("ca.pem"));
        let (chain, key) = authority.leaf(directory, name, ExtendedKeyUsagePurpose::ServerAuth);
        let (ca, chain, key) = (ca.display(), chain.display(), key.display());
        format!("allow_anonymous true\ncafile {ca}\ncertfile {chain}\nkeyfile {key}\n{more}")
    })
}

#[tokio::test]
async fn private_authority() {
    let (ours, theirs) = (Authority::new(), Authority::new());
    let broker = tls_broker(&ours, "127.0.0.1", "");
    let ours = ours.write(&broker.path("ours.pem"));
    let theirs = theirs.write(&broker.path("theirs.pem"));
    let unknown = "the server's certificate is not signed by an authority trusted here";
    for version in VERSIONS {
        for (ca_file, expected) in
            [(Some(&ours), Ok(())), (Some(&theirs), Err(unknown)), (None, Err(unknown))]
        {
            let mut config = config(broker.port(), version);
            config.tls = Some(MqttTls { ca_file: ca_file.cloned(), client: None });
            let expected = expected.map_err(str::to_owned);
            assert_eq!(outcome(&config).await, expected, "{version:?} {ca_file:?}");
        }
    }
}

#[tokio::test]
async fn certificate_for_another_host() {
    let authority = Authority::new();
    let broker = tls_broker(&authority, "broker.example", "");
    let mut config = config(broker.port(), MqttVersion::V5);
    config.tls = Some(MqttTls { ca_file: Some(broker.path("ca.pem")), client: None });
    let expected = "the server's certificate is for another host name";
    assert_eq!(outcome(&config).await, Err(expected.to_owned()));
}

/// What people make first: `openssl req -x509` gives the certificate of an authority.
#[tokio::test]
async fn certificate_of_an_authority_as_the_brokers_own() {
    let authority = Authority::new();
    let broker = Broker::start_with(|directory| {
        let chain = authority.write(&directory.join("ca.pem"));
        let key = directory.join("ca.key");
        fs::write(&key, authority.ca.key().serialize_pem()).expect("a writable directory");
        format!("allow_anonymous true\ncertfile {}\nkeyfile {}\n", chain.display(), key.display())
    });
    let mut config = config(broker.port(), MqttVersion::V5);
    config.tls = Some(MqttTls { ca_file: Some(broker.path("ca.pem")), client: None });
    let expected = "the server shows the certificate of an authority; it needs one of its own, with CA:FALSE";
    assert_eq!(outcome(&config).await, Err(expected.to_owned()));
}

#[tokio::test]
async fn tls_at_a_port_without() {
    let broker = Broker::start();
    let ca_file = Authority::new().write(&broker.path("ca.pem"));
    let mut config = config(broker.port(), MqttVersion::V5);
    config.tls = Some(MqttTls { ca_file: Some(ca_file), client: None });
    assert_eq!(outcome(&config).await, Err("what answers at this port does not speak TLS".to_owned()));
}

#[tokio::test]
async fn client_certificate() {
    let (ours, theirs) = (Authority::new(), Authority::new());
    let broker = tls_broker(&ours, "127.0.0.1", "require_certificate true\n");
    fs::create_dir(broker.path("theirs")).expect("a writable directory");
    let known = ours.leaf(&broker.path("."), "gateway", ExtendedKeyUsagePurpose::ClientAuth);
    let unknown = theirs.leaf(&broker.path("theirs"), "gateway", ExtendedKeyUsagePurpose::ClientAuth);
    for version in VERSIONS {
        for (client, expected) in [
            (Some(&known), Ok(())),
            (None, Err("the server demands a client certificate")),
            (Some(&unknown), Err("the server does not accept the client certificate")),
        ] {
            let mut config = config(broker.port(), version);
            config.tls = Some(MqttTls { ca_file: Some(broker.path("ca.pem")), client: client.cloned() });
            let expected = expected.map_err(str::to_owned);
            assert_eq!(outcome(&config).await, expected, "{version:?} {client:?}");
        }
    }
}
