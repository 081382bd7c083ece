//! What protects a page: the headers of every answer, how large a form may be, and where it may come from.

use axum::extract::Request;
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::middleware::Next;
use axum::response::Response;
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use futures_util::StreamExt;
use sha2::{Digest, Sha256};

use super::api;
use super::pages::{self, Plain, STYLE};
use super::stranger::Stranger;

/// Content Security Policy (W3C CSP level 3): the site's own style, script and events, the one style
/// inside the page of a link, and forms that stay here.
pub(super) fn policy() -> HeaderValue {
    let hash = STANDARD.encode(Sha256::digest(STYLE.as_bytes()));
    let policy = format!(
        "default-src 'none'; style-src 'self' 'sha256-{hash}'; script-src 'self'; connect-src 'self'; \
         img-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
    );
    HeaderValue::from_str(&policy).expect("base64 is legal in a header")
}

/// That of a page for paper, which holds its one style inside and nothing else that acts or fetches.
pub(super) fn policy_of_paper(html: &str) -> HeaderValue {
    let style = html.split_once("<style>").and_then(|(_, after)| after.split_once("</style>"));
    let hash = STANDARD.encode(Sha256::digest(style.map_or("", |(style, _)| style).as_bytes()));
    let policy = format!(
        "default-src 'none'; style-src 'sha256-{hash}'; form-action 'none'; base-uri 'none'; \
         frame-ancestors 'none'"
    );
    HeaderValue::from_str(&policy).expect("base64 is legal in a header")
}

/// Largest body that any page takes, in bytes.
const BODY_BYTES_MAX: u64 = 64 * 1024;
/// So much of a larger one is read and thrown away, so that the refusal arrives: a connection that is
/// closed with bytes unread is reset, and a browser then shows no answer at all (RFC 9112 §9.6).
const DRAINED_BYTES_MAX: usize = 1024 * 1024;

/// Refuses a body that says of itself that it is too large: programs by a problem, people by a page.
pub(super) async fn sized(request: Request, next: Next) -> Response {
    let length = request.headers().get(header::CONTENT_LENGTH).and_then(|length| length.to_str().ok());
    let large =
        length.and_then(|length| length.parse::<u64>().ok()).is_some_and(|bytes| bytes > BODY_BYTES_MAX);
    if !large {
        return next.run(request).await;
    }
    let (head, body) = request.into_parts();
    let mut body = body.into_data_stream();
    let mut left = DRAINED_BYTES_MAX;
    while let Some(Ok(chunk)) = body.next().await {
        let Some(less) = left.checked_sub(chunk.len()) else { break };
        left = less;
    }
    let status = StatusCode::PAYLOAD_TOO_LARGE;
    if api::is_for_programs(head.uri.path()) {
        let detail = format!("the body is larger than {BODY_BYTES_MAX} bytes; nothing was done");
        return api::refused(status, &detail, "send less at a time");
    }
    pages::say(status, Plain::TooLarge, Stranger::of(&head.headers, &head.extensions))
}

/// Puts the headers on every answer.
pub(super) async fn headers(policy: HeaderValue, request: Request, next: Next) -> Response {
    let mut response = next.run(request).await;
    let headers = response.headers_mut();
    // A sheet for paper brings a stricter one.
    headers.entry(header::CONTENT_SECURITY_POLICY).or_insert(policy);
    for (name, value) in [(header::X_CONTENT_TYPE_OPTIONS, "nosniff"), (header::X_FRAME_OPTIONS, "DENY")] {
        headers.insert(name, HeaderValue::from_static(value));
    }
    // With `no-referrer`, which the pages behind links have, browsers hide the origin of forms too.
    headers.entry(header::REFERRER_POLICY).or_insert(HeaderValue::from_static("same-origin"));
    // The style and the script, which name their version, say themselves how long they hold.
    headers.entry(header::CACHE_CONTROL).or_insert(HeaderValue::from_static("no-store"));
    response
}

/// Whether a form was sent from a page of another site, by what browsers say of it (Fetch
/// Metadata, `Sec-Fetch-Site`; `Origin` of the Fetch standard). A browser that knows neither, or
/// hides the origin as our own referrer policy has it do, is let pass: the secret is in the path.
pub(super) fn is_foreign(headers: &HeaderMap) -> bool {
    let value = |name: &str| headers.get(name).map(|value| value.to_str().unwrap_or("?"));
    if let Some(site) = value("sec-fetch-site") {
        return !matches!(site, "same-origin" | "none");
    }
    match (value("origin"), value("host")) {
        (None | Some("null"), _) => false,
        (Some(origin), Some(host)) => origin.split_once("://").is_none_or(|(_, origin)| origin != host),
        (Some(_), None) => true,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Values of `Sec-Fetch-Site` by W3C Fetch Metadata §2.3; `Origin` by the Fetch standard §3.2.
    #[test]
    fn forms_of_other_sites_are_told_apart() {
        for (site, origin, foreign) in [
            (Some("same-origin"), Some("null"), false),
            (Some("none"), None, false),
            (Some("cross-site"), None, true),
            (Some("same-site"), Some("http://gateway:8080"), true),
            (None, None, false),
            (None, Some("null"), false),
            (None, Some("http://gateway:8080"), false),
            (None, Some("https://gateway:8080"), false),
            (None, Some("http://elsewhere.example"), true),
            (None, Some("gateway:8080"), true),
        ] {
            let mut headers = HeaderMap::new();
            headers.insert("host", HeaderValue::from_static("gateway:8080"));
            if let Some(site) = site {
                headers.insert("sec-fetch-site", HeaderValue::from_static(site));
            }
            if let Some(origin) = origin {
                headers.insert("origin", HeaderValue::from_static(origin));
            }
            assert_eq!(is_foreign(&headers), foreign, "{site:?} {origin:?}");
        }
    }
}
