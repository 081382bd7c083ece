//! TLS with a private authority: right, unknown, for another name, out of date, and none at all.

use rinseward::series::answer::{Fault, Outcome, TlsFault};
use rinseward::series::http::PrepareError;
use rinseward::series::sender::Sender;
use rinseward::transport::secret;

use super::authority::{Authority, Leaf, TlsFront};
use super::influx::Influx;
use super::{batch, options, sender};

#[tokio::test]
async fn only_the_right_certificate_is_taken() {
    let server = Influx::start().await;
    let (authority, other) = (Authority::new(), Authority::new());
    let directory = tempfile::tempdir().expect("a temporary directory");
    let (ours, theirs) = (directory.path().join("ca.pem"), directory.path().join("other.pem"));
    std::fs::write(&ours, authority.pem()).expect("our own directory");
    std::fs::write(&theirs, other.pem()).expect("our own directory");
    let tls = |fault| Outcome::Later(Fault::Tls(fault));
    for (name, leaf, host, ca_file, expected) in [
        ("right", Leaf::Right, "127.0.0.1", Some(&ours), Outcome::Taken),
        ("right by name", Leaf::Right, "localhost", Some(&ours), Outcome::Taken),
        ("signed by another", Leaf::Right, "localhost", Some(&theirs), tls(TlsFault::UnknownAuthority)),
        ("unknown to the system", Leaf::Right, "localhost", None, tls(TlsFault::UnknownAuthority)),
        ("for another name", Leaf::OtherName, "localhost", Some(&ours), tls(TlsFault::OtherName)),
        ("out of date", Leaf::Expired, "localhost", Some(&ours), tls(TlsFault::NotValidNow)),
    ] {
        let front = TlsFront::start(&authority, leaf, server.port()).await;
        let mut options = options(&front.url(host));
        options.ca_file = ca_file.cloned();
        let outcome = sender(&options).write(batch(3).lines()).await;
        assert_eq!(outcome, expected, "{name}");
        if let Some(told) = outcome.explain(&options) {
            assert_eq!(told.slug, "series-tls", "{name}");
        }
    }
    let mut plain = options(&format!("https://127.0.0.1:{}/", server.port()));
    plain.ca_file = Some(ours);
    assert_eq!(sender(&plain).write(batch(1).lines()).await, tls(TlsFault::NoTls));
    assert_eq!(server.behaviour().points.len(), 3);
}

#[test]
fn certificates_that_are_none_are_told_of_at_once() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let path = directory.path().join("ca.pem");
    let mut options = options("https://localhost:1/");
    options.ca_file = Some(path.clone());
    let prepared = |expected: fn(&PrepareError) -> bool| {
        let error = Sender::new(&options).expect_err("no certificates");
        assert!(expected(&error), "{error}");
        assert!(error.fix().contains(&path.display().to_string()), "{}", error.fix());
    };
    prepared(|error| matches!(error, PrepareError::Files(secret::PrepareError::Read { .. })));
    std::fs::write(&path, "no certificate").expect("our own directory");
    prepared(|error| {
        matches!(error, PrepareError::Files(secret::PrepareError::Certificates { source: None, .. }))
    });
}
