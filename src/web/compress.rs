//! Pages on the wire: compressed for browsers that take it, so that a long day is a short wait on a phone.
//!
//! Only what a browser asks to see, and what comes whole: pages, style and script. Streams of events, files
//! and what answers a form, such as a one-time secret, go as they are. A page that holds a secret beside
//! text from outside could be guessed at by its length (BREACH): the page of a link, which holds its own
//! token, is marked [`Secret`] and goes as it is. No other page that is asked for holds one, and cookies
//! are not sent along from other sites.

use std::io::Write;

use axum::body::{Body, HttpBody};
use axum::extract::Request;
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::Response;
use flate2::Compression;
use flate2::write::GzEncoder;

/// Less than this fits into one packet as it is, bytes (own choice).
const BYTES_MIN: u64 = 1_024;
/// More than this is no page, bytes (own choice).
const BYTES_MAX: u64 = 2 << 20;
/// How hard it is tried (own choice: half a millisecond for a long page; the next levels save little).
const LEVEL: u32 = 3;

/// Marks an answer that holds a secret.
#[derive(Clone, Copy, Debug)]
pub(super) struct Secret;

/// Compresses an answer where it helps.
pub(super) async fn compressed(request: Request, next: Next) -> Response {
    let wanted = *request.method() == Method::GET && takes_gzip(request.headers());
    let mut response = next.run(request).await;
    let secret = response.extensions().get::<Secret>().is_some();
    if secret || response.status() != StatusCode::OK || !is_page(response.headers()) {
        return response;
    }
    response.headers_mut().append(header::VARY, HeaderValue::from_static("accept-encoding"));
    let length = response.body().size_hint().exact();
    if !wanted || !length.is_some_and(|length| (BYTES_MIN..=BYTES_MAX).contains(&length)) {
        return response;
    }
    let (mut head, body) = response.into_parts();
    // It is as long as was said, in memory.
    let Ok(plain) = axum::body::to_bytes(body, usize::MAX).await else {
        return Response::from_parts(head, Body::empty());
    };
    let mut encoder = GzEncoder::new(Vec::with_capacity(plain.len() / 4), Compression::new(LEVEL));
    let small = encoder.write_all(&plain).and_then(|()| encoder.finish());
    let Ok(small) = small else { return Response::from_parts(head, Body::from(plain)) };
    head.headers.remove(header::CONTENT_LENGTH);
    head.headers.insert(header::CONTENT_ENCODING, HeaderValue::from_static("gzip"));
    Response::from_parts(head, Body::from(small))
}

/// Whether a browser says that it takes gzip (RFC 9110 §12.5.3).
fn takes_gzip(headers: &HeaderMap) -> bool {
    let said = headers.get_all(header::ACCEPT_ENCODING).iter().filter_map(|said| said.to_str().ok());
    let mut codings = said.flat_map(|said| said.split(','));
    codings.any(|coding| {
        let (name, weight) = coding.split_once(';').unwrap_or((coding, ""));
        let refused = weight.trim().strip_prefix("q=").and_then(|q| q.parse::<f32>().ok());
        name.trim().eq_ignore_ascii_case("gzip") && refused.is_none_or(|q| q > 0.0)
    })
}

/// Whether an answer is one that a browser shows or shows pages with, as it is.
fn is_page(headers: &HeaderMap) -> bool {
    let kind = headers.get(header::CONTENT_TYPE).and_then(|kind| kind.to_str().ok()).unwrap_or_default();
    let shown = ["text/html", "text/css", "text/javascript"].iter().any(|page| kind.starts_with(page));
    shown
        && !headers.contains_key(header::CONTENT_ENCODING)
        && !headers.contains_key(header::CONTENT_DISPOSITION)
}

#[cfg(test)]
mod tests {
    use std::io::Read;

    use axum::Router;
    use axum::middleware::from_fn;
    use axum::response::IntoResponse;
    use axum::routing::{get, post};
    use flate2::read::GzDecoder;
    use tower::ServiceExt;

    use super::*;

    fn page(bytes: usize) -> Response {
        axum::response::Html("a page ".repeat(bytes / 7)).into_response()
    }

    fn site() -> Router {
        let file = || async {
            (
                [(header::CONTENT_TYPE, "text/csv"), (header::CONTENT_DISPOSITION, "attachment")],
                "a,b\n".repeat(999),
            )
        };
        Router::new()
            .route("/long", get(|| async { page(50_000) }))
            .route("/short", get(|| async { page(700) }))
            .route("/file", get(file))
            .route("/secret", post(|| async { page(50_000) }))
            .layer(from_fn(compressed))
    }

    async fn ask(method: Method, path: &str, takes: &str) -> (HeaderMap, Vec<u8>) {
        let request = Request::builder().method(method).uri(path).header(header::ACCEPT_ENCODING, takes);
        let answer =
            site().oneshot(request.body(Body::empty()).expect("a request")).await.expect("an answer");
        let (head, body) = answer.into_parts();
        (head.headers, axum::body::to_bytes(body, usize::MAX).await.expect("a body").to_vec())
    }

    // RFC 9110 §8.4 and §12.5.3: what is compressed says so, unpacks to the same, and nobody gets it who
    // did not ask; the other rows are the module's own rules.
    #[tokio::test]
    async fn pages_are_compressed_for_whoever_takes_it() {
        for (method, path, takes, expected) in [
            (Method::GET, "/long", "gzip, deflate, br", true),
            (Method::GET, "/long", "br;q=1.0, GZIP;q=0.5", true),
            (Method::GET, "/long", "gzip;q=0", false),
            (Method::GET, "/long", "identity", false),
            (Method::GET, "/long", "x-gzip-not", false),
            (Method::GET, "/short", "gzip", false),
            (Method::GET, "/file", "gzip", false),
            (Method::POST, "/secret", "gzip", false),
        ] {
            let (plain, whole) = ask(method.clone(), path, "").await;
            let (headers, body) = ask(method, path, takes).await;
            assert_eq!(headers.contains_key(header::CONTENT_ENCODING), expected, "{path} {takes}");
            assert_eq!(headers.get(header::VARY), plain.get(header::VARY), "{path} {takes}");
            let mut unpacked = body.clone();
            if expected {
                unpacked.clear();
                GzDecoder::new(body.as_slice()).read_to_end(&mut unpacked).expect("gzip");
                assert!(body.len() < whole.len() / 3, "{} of {}", body.len(), whole.len());
            }
            assert_eq!(unpacked, whole, "{path} {takes}");
        }
    }
}
