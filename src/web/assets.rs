//! The style sheet, the script and the icon of the pages: all that a page loads beside itself.
//!
//! Their address holds a short hash of what they are, so that a browser may keep them
//! for ever and never shows a page with the style of another version.

use std::sync::LazyLock;

use axum::extract::Path;
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use sha2::{Digest, Sha256};

/// The style sheet.
const STYLE: &str = include_str!("frame/rinseward.css");
/// The script: it keeps a page live, and nothing else hangs on it.
const SCRIPT: &str = include_str!("frame/rinseward.js");
/// The icon that a browser shows beside the name of a page.
const ICON: &str = include_str!("frame/icon.svg");
/// Where browsers ask for an icon by themselves (HTML standard, «Link type "icon"»).
pub(super) const ICON_PATH: &str = "/favicon.ico";
/// Characters of the hash that stand in the address.
const VERSION_CHARS: usize = 12;

static VERSION: LazyLock<String> = LazyLock::new(|| {
    let digest = Sha256::new().chain_update(STYLE).chain_update(SCRIPT).chain_update(ICON).finalize();
    let hex: String = digest.iter().map(|byte| format!("{byte:02x}")).collect();
    hex[..VERSION_CHARS].to_owned()
});

/// What stands in the address of this version.
pub(super) fn version() -> &'static str {
    &VERSION
}

/// Path of an asset, in the form of the router.
pub(super) const PATH: &str = "/assets/{version}/{name}";

/// Media type of the icon (SVG 2, appendix «Media Type Registration»).
const SVG: &str = "image/svg+xml";

/// Serves the icon to a browser that asks by itself.
pub(super) async fn icon() -> Response {
    let headers = [
        (header::CONTENT_TYPE, HeaderValue::from_static(SVG)),
        (header::CACHE_CONTROL, HeaderValue::from_static("public, max-age=86400")),
    ];
    std::future::ready((headers, ICON).into_response()).await
}

/// Serves one of them. An older version's address answers with what is there now, uncached.
pub(super) async fn serve(Path((version, name)): Path<(String, String)>) -> Response {
    let (kind, text) = match name.as_str() {
        "rinseward.css" => ("text/css; charset=utf-8", STYLE),
        "rinseward.js" => ("text/javascript; charset=utf-8", SCRIPT),
        "icon.svg" => (SVG, ICON),
        _ => return StatusCode::NOT_FOUND.into_response(),
    };
    let kept = if version == *VERSION { "public, max-age=31536000, immutable" } else { "no-store" };
    let headers = [
        (header::CONTENT_TYPE, HeaderValue::from_static(kind)),
        (header::CACHE_CONTROL, HeaderValue::from_static(kept)),
    ];
    std::future::ready((headers, text).into_response()).await
}
