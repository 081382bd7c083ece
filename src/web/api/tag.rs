//! Strong entity tags of answers that follow from the record alone (RFC 9110 §8.8.3).

use axum::http::{HeaderMap, HeaderValue, StatusCode, Uri, header};
use axum::response::{IntoResponse, Response};
use sha2::{Digest, Sha256};

/// Bytes of the hash that stand in a tag.
const TAG_BYTES: usize = 16;
/// An answer may be kept by whoever asked, and asks each time whether it still holds.
const KEPT: HeaderValue = HeaderValue::from_static("private, no-cache");

/// Tag of the answer to this question with so many records.
pub(super) fn tag(edition: &str, size: u64, uri: &Uri) -> String {
    let mut hash = Sha256::new();
    for part in [edition, uri.path(), uri.query().unwrap_or_default(), &size.to_string()] {
        hash.update((part.len() as u64).to_be_bytes());
        hash.update(part);
    }
    let hex: String = hash.finalize().iter().take(TAG_BYTES).map(|byte| format!("{byte:02x}")).collect();
    format!("\"{hex}\"")
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
