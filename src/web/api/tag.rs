//! Strong entity tags (RFC 9110 §8.8.3).
//!
//! One of the question and the number of records where the answer follows from those alone, so that it need not be
//! made again; else one of the answer itself, which then need not be sent again.

use axum::body::{Body, to_bytes};
use axum::extract::Request;
use axum::http::{HeaderMap, HeaderValue, StatusCode, Uri, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use sha2::{Digest, Sha256};

use super::Trouble;
use super::problem::Problem;

/// Bytes of the hash that stand in a tag.
const TAG_BYTES: usize = 16;
/// An answer may be kept by whoever asked, and asks each time whether it still holds.
const KEPT: HeaderValue = HeaderValue::from_static("private, no-cache");

/// Tag of the answer to this question with so many records.
pub(super) fn tag(edition: &str, size: u64, uri: &Uri) -> String {
    let size = size.to_string();
    of([edition, uri.path(), uri.query().unwrap_or_default(), &size].map(str::as_bytes))
}

fn of<const N: usize>(parts: [&[u8]; N]) -> String {
    let mut hash = Sha256::new();
    for part in parts {
        hash.update((part.len() as u64).to_be_bytes());
        hash.update(part);
    }
    let hex: String = hash.finalize().iter().take(TAG_BYTES).map(|byte| format!("{byte:02x}")).collect();
    format!("\"{hex}\"")
}

/// Gives an answer that bears none a tag of its own bytes, or says that it is known. For answers that stand in
/// memory as a whole.
pub(super) async fn by_its_bytes(request: Request, next: Next) -> Response {
    let asked = request.headers().clone();
    let answer = next.run(request).await;
    if answer.status() != StatusCode::OK || answer.headers().contains_key(header::ETAG) {
        return answer;
    }
    let (parts, body) = answer.into_parts();
    let bytes = match to_bytes(body, usize::MAX).await {
        Ok(bytes) => bytes,
        Err(error) => {
            tracing::error!(%error, "an answer could not be read");
            return Problem::from(Trouble::NotNow).into_response();
        }
    };
    let tag = of([&bytes]);
    if is_known(&asked, &tag) {
        return unchanged(&tag);
    }
    tagged(Response::from_parts(parts, Body::from(bytes)), &tag)
}

/// Whether whoever asks has this answer already (`If-None-Match`, RFC 9110 §13.1.2).
pub(super) fn is_known(headers: &HeaderMap, tag: &str) -> bool {
    let values = headers.get_all(header::IF_NONE_MATCH).iter().filter_map(|value| value.to_str().ok());
    let mut tags = values.flat_map(|value| value.split(',')).map(str::trim);
    tags.any(|known| known == "*" || known.strip_prefix("W/").unwrap_or(known) == tag)
}

/// Says that the answer is the one that is known.
pub(super) fn unchanged(tag: &str) -> Response {
    tagged(StatusCode::NOT_MODIFIED.into_response(), tag)
}

/// The answer with its tag.
pub(super) fn tagged(mut response: Response, tag: &str) -> Response {
    if let Ok(tag) = HeaderValue::from_str(tag) {
        response.headers_mut().insert(header::ETAG, tag);
        response.headers_mut().insert(header::CACHE_CONTROL, KEPT);
    }
    response
}
