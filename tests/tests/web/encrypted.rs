//! The pages over TLS, with a certificate of a private authority.

use std::fs;
use std::net::TcpStream;

use reqwest::Certificate;
use rustix::fs::Mode;

use super::browser::{Browser, builder};
use super::gateway::{Gateway, PASSWORD, Site, choose, first_secret};
use crate::series::authority::Authority;

/// A site with certificate and key in its directory, open to the network.
fn site(authority: &Authority) -> Site {
    let site = Site::listening("0.0.0.0", "certificate = \"pages.pem\"\nkey = \"pages.key\"\n");
    let (certificate, key) = authority.leaf();
    fs::write(site.path("pages.pem"), certificate).expect("a temporary file");
    fs::write(site.path("pages.key"), key).expect("a temporary file");
    rustix::fs::chmod(site.path("pages.key"), Mode::from_bits_retain(0o600)).expect("our own file");
    site
}

fn trusting(authority: &Authority) -> reqwest::ClientBuilder {
    let root = Certificate::from_pem(authority.pem().as_bytes()).expect("a certificate");
    builder().tls_certs_only([root])
}

// RFC 6797 for HSTS, RFC 6265bis §4.1.3.2 for the name of the cookie, RFC 7301 for the protocol.
#[tokio::test(flavor = "multi_thread")]
async fn pages_are_served_by_tls() {
    let authority = Authority::new();
    let site = site(&authority);
    let gateway = Gateway::start(&site);
    let base = format!("https://localhost:{}", site.port);
    let told = format!("https://<this computer's address>:{}/login", site.port);
    assert!(gateway.log().contains(&told), "{}", gateway.log());
    let mut browser = Browser::with(trusting(&authority), &base);
    let answer = browser.login("administrator", &first_secret(&gateway.log())).await;
    let set = answer.header("set-cookie");
    assert!(
        set.starts_with(&format!("__Host-rinseward-{}=", site.port))
            && set.ends_with("; Path=/; HttpOnly; SameSite=Strict; Secure"),
        "{set}"
    );
    assert_eq!(answer.header("strict-transport-security"), "max-age=31536000");
    assert_eq!(choose(&mut browser, "", PASSWORD).await.status, 303);
    assert_eq!(browser.get("/accounts").await.status, 200);
    // The cookie of a page without TLS, which others may have set, is none here.
    browser.cookie = browser.cookie.map(|cookie| cookie.replace("__Host-", ""));
    assert_eq!(browser.get("/accounts").await.status, 303);

    let plain = builder().build().expect("a client").get(format!("http://localhost:{}/login", site.port));
    assert!(plain.send().await.is_err(), "nothing is said without TLS");
    let stranger = builder().build().expect("a client").get(format!("{base}/login"));
    assert!(stranger.send().await.is_err(), "another authority is not trusted");
}

// Own promise: whoever says nothing holds a place for ten seconds of a handshake at most, and the
// others come in after that. All places are taken here.
#[tokio::test(flavor = "multi_thread")]
async fn silent_connections_keep_nobody_out_for_long() {
    let authority = Authority::new();
    let site = site(&authority);
    let _gateway = Gateway::start(&site);
    let silent: Vec<TcpStream> =
        (0..640).map(|_| TcpStream::connect(("127.0.0.1", site.port)).expect("it listens")).collect();
    let mut browser = Browser::with(trusting(&authority), &format!("https://localhost:{}", site.port));
    assert_eq!(browser.get("/login").await.status, 200);
    drop(silent);
}

// Exit code 78 of sysexits.h; what is refused is the project's own promise.
#[test]
fn nothing_is_served_openly() {
    let site = Site::listening("0.0.0.0", "");
    let output = site.rinseward(&["run"]);
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(78), "{said}");
    assert!(said.contains("config-value") && said.contains("listen"), "{said}");
}

// Own promise: a key that does not fit stops no recording, is told, and is tried again.
#[tokio::test(flavor = "multi_thread")]
async fn a_wrong_key_is_told_and_stops_no_recording() {
    let authority = Authority::new();
    let site = site(&authority);
    let right = fs::read(site.path("pages.key")).expect("our own file");
    let (_, other) = authority.leaf();
    fs::write(site.path("pages.key"), other).expect("our own file");
    let gateway = Gateway::begin(&site);
    gateway.until_logged("web-tls");
    fs::write(site.path("pages.key"), right).expect("our own file");
    gateway.until_logged("pages are served");
    let mut browser = Browser::with(trusting(&authority), &format!("https://localhost:{}", site.port));
    assert_eq!(browser.get("/login").await.status, 200);
    gateway.stop();
}
