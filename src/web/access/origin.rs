//! Whose form it is, and where a login may lead.

use axum::http::HeaderMap;

/// Longest way back, in bytes.
const PATH_BYTES_MAX: usize = 512;

/// Whether a form was sent by a page of this site, as browsers say it: `Sec-Fetch-Site` (W3C Fetch
/// Metadata §2.3), which they leave out without TLS, else `Origin` (Fetch standard §3.2). One that
/// says neither is not believed. `own` is the origin under which the site is known beside the
/// `Host` of the request, for a proxy that changes that; `scheme` is the one by which browsers reach
/// it, where that is known.
pub(super) fn is_own(headers: &HeaderMap, own: Option<&str>, scheme: Option<&str>) -> bool {
    let value = |name: &str| headers.get(name).map(|value| value.to_str().unwrap_or("?"));
    if let Some(site) = value("sec-fetch-site") {
        return site == "same-origin";
    }
    let Some(origin) = value("origin") else { return false };
    if own.is_some_and(|own| origin.eq_ignore_ascii_case(own)) {
        return true;
    }
    let Some((said, host)) = origin.split_once("://") else { return false };
    !host.is_empty()
        && scheme.is_none_or(|scheme| said.eq_ignore_ascii_case(scheme))
        && value("host").is_some_and(|own| own.eq_ignore_ascii_case(host))
}

/// The origin of an address: scheme, host and port (RFC 6454 §4).
pub(super) fn of(url: &str) -> Option<&str> {
    let start = url.find("://")? + 3;
    Some(&url[..url[start..].find('/').map_or(url.len(), |end| start + end)])
}

/// A way within this site, relative to its top, that a login may lead back to; `None` for any
/// other, which might lead to a site that looks like this one.
pub(super) fn own_path(text: &str) -> Option<&str> {
    let legal = text.bytes().all(|byte| byte.is_ascii_alphanumeric() || b"-._~/?=&%+,".contains(&byte));
    let path = text.split('?').next().unwrap_or(text);
    let plain = path.split('/').all(|part| !part.is_empty() && part != "." && part != "..");
    let encoded = path.contains('%');
    (legal && plain && !encoded && text.len() <= PATH_BYTES_MAX).then_some(text)
}

#[cfg(test)]
mod tests {
    use axum::http::{HeaderValue, header};

    use super::*;

    // Values of `Sec-Fetch-Site` by W3C Fetch Metadata §2.3; `Origin` by the Fetch standard §3.2.
    #[test]
    fn forms_of_other_sites_are_told_apart() {
        for (site, origin, own) in [
            (Some("same-origin"), None, true),
            (Some("same-origin"), Some("null"), true),
            (Some("none"), None, false),
            (Some("same-site"), Some("http://gateway:8480"), false),
            (Some("cross-site"), Some("http://gateway:8480"), false),
            (None, Some("http://gateway:8480"), true),
            (None, Some("https://kitchen.example.org"), true),
            (None, Some("https://kitchen.example.org.evil.example"), false),
            (None, Some("https://gateway:8480"), false),
            (None, Some("http://elsewhere.example"), false),
            (None, Some("http://gateway"), false),
            (None, Some("null"), false),
            (None, Some("http://"), false),
            (None, None, false),
        ] {
            let mut headers = HeaderMap::new();
            headers.insert("host", HeaderValue::from_static("gateway:8480"));
            for (name, value) in [("sec-fetch-site", site), ("origin", origin)] {
                if let Some(value) = value {
                    headers.insert(name, HeaderValue::from_static(value));
                }
            }
            let known = of("https://kitchen.example.org/x");
            assert_eq!(is_own(&headers, known, Some("http")), own, "{site:?} {origin:?}");
        }
        let headers = |origin| {
            let origin = HeaderValue::from_static(origin);
            HeaderMap::from_iter([
                (header::HOST, HeaderValue::from_static("gateway")),
                (header::ORIGIN, origin),
            ])
        };
        for (scheme, by_http, by_https) in
            [(Some("http"), true, false), (Some("https"), false, true), (None, true, true)]
        {
            assert_eq!(is_own(&headers("http://gateway"), None, scheme), by_http, "{scheme:?}");
            assert_eq!(is_own(&headers("https://gateway"), None, scheme), by_https, "{scheme:?}");
        }
    }

    // OWASP, Unvalidated Redirects and Forwards Cheat Sheet (from memory), and own tries.
    #[test]
    fn a_login_leads_nowhere_else() {
        for good in ["history", "machine/dm1?day=2026-11-23", "alerts/3?a=b%20c"] {
            assert_eq!(own_path(good), Some(good));
        }
        for bad in [
            "",
            "/",
            "//evil.example",
            "/history",
            "https://evil.example",
            "javascript:alert(1)",
            "\\\\evil",
            "a//b",
            "../x",
            "a/../../x",
            "./x",
            "a/%2e%2e/x",
            "a\r\nSet-Cookie: x",
            "a b",
            "ñ",
            "a/b/",
        ] {
            assert_eq!(own_path(bad), None, "{bad:?}");
        }
    }
}
