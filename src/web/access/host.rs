//! For which host a request is meant: only one that is this gateway's own is served.
//!
//! A name of somebody else can be made to lead here (DNS rebinding): a browser would then take the pages for
//! those of that somebody, whose scripts may read them. Of names the gateway therefore knows the one of
//! `public-url` and those that mean «this computer» everywhere (RFC 6761 §6.3). An address of numbers is always
//! served: a browser that was given one asked for this very gateway, whatever stands between that changes
//! addresses, and no name was looked up that could have lied.

use std::net::IpAddr;

use axum::http::uri::Authority;
use axum::http::{HeaderMap, Uri, header};

/// Whether a request is meant for this gateway, by all that it says of that: its target, where that is a whole
/// address (RFC 9112 §3.2.2, or `:authority` of RFC 9113), and `Host`. One that says nothing is not.
pub(super) fn is_own(uri: &Uri, headers: &HeaderMap, public_url: Option<&str>) -> bool {
    let public = public_url.and_then(|url| url.parse::<Uri>().ok());
    let public = public.as_ref().and_then(|url| url.host()).map(plain);
    all(uri, headers, |host| {
        is_here(host) || host.parse::<IpAddr>().is_ok() || public.as_deref() == Some(host)
    })
}

fn is_here(host: &str) -> bool {
    host == "localhost" || host.ends_with(".localhost")
}

/// Whether it holds of each host that a request names, and it names one.
fn all(uri: &Uri, headers: &HeaderMap, holds: impl Fn(&str) -> bool) -> bool {
    let target = uri.host().map(plain).map(Some);
    let said = headers.get_all(header::HOST).iter().map(|said| {
        let said = said.to_str().ok()?.parse::<Authority>().ok()?;
        // Nobody logs in by an address (RFC 9110 §4.2.4).
        (!said.as_str().contains('@')).then(|| plain(said.host()))
    });
    let mut hosts = target.into_iter().chain(said).peekable();
    hosts.peek().is_some() && hosts.all(|host| host.is_some_and(|host| holds(&host)))
}

/// A host in one form: small letters, no root's dot, no brackets of IPv6.
fn plain(host: &str) -> String {
    let host = host.strip_prefix('[').and_then(|host| host.strip_suffix(']')).unwrap_or(host);
    host.strip_suffix('.').unwrap_or(host).to_ascii_lowercase()
}

#[cfg(test)]
mod tests {
    use axum::http::HeaderValue;

    use super::*;

    // RFC 6761 §6.3 for localhost, RFC 9112 §3.2 for what stands where; the rest is the module's own rule.
    #[test]
    fn names_of_others_are_not_ours() {
        for (target, hosts, own) in [
            ("/", &["127.0.0.1:8480"][..], true),
            ("/", &["localhost:8480"], true),
            ("/", &["LOCALHOST."], true),
            ("/", &["dish.localhost"], true),
            ("/", &["[::1]:8480"], true),
            ("/", &["[::ffff:127.0.0.1]"], true),
            ("/", &["192.168.1.7:8480"], true),
            ("/", &["[2001:db8::7]:8480"], true),
            ("/", &["kitchen.example.org"], true),
            ("/", &["Kitchen.Example.org.:443"], true),
            ("http://localhost:8480/", &["localhost:8480"], true),
            ("http://localhost:8480/", &[], true),
            ("/", &["evil.example"], false),
            ("/", &["kitchen.example.org.evil.example"], false),
            ("/", &["evil-localhost"], false),
            ("/", &["127.0.0.1.evil.example:8480"], false),
            ("/", &["127.0.0.1@evil.example"], false),
            ("/", &["localhost@127.0.0.1"], false),
            ("/", &["localhost:8480", "evil.example"], false),
            ("http://evil.example/", &["localhost:8480"], false),
            ("http://localhost:8480/", &["evil.example"], false),
            ("/", &[""], false),
            ("/", &["a b"], false),
            ("/", &[], false),
        ] {
            let mut headers = HeaderMap::new();
            for host in hosts {
                headers.append(header::HOST, HeaderValue::from_static(host));
            }
            let uri: Uri = target.parse().expect("a target");
            let public = Some("https://kitchen.example.org/dish");
            assert_eq!(is_own(&uri, &headers, public), own, "{target} {hosts:?}");
        }
        let mut headers = HeaderMap::new();
        headers.insert(header::HOST, HeaderValue::from_static("kitchen.example.org"));
        assert!(!is_own(&Uri::from_static("/"), &headers, None), "no name is known but what is configured");
    }
}
