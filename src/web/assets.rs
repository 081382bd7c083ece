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

#[cfg(test)]
mod tests {
    use super::*;

    /// The colour of a variable in the light and in the dark, each part from 0 to 1.
    fn colours(name: &str) -> Vec<[f64; 3]> {
        let part = |hex: &str| f64::from(u8::from_str_radix(hex, 16).expect("hexadecimal")) / 255.0;
        let colour = |text: &str| {
            let hex: String = text.chars().take_while(char::is_ascii_hexdigit).collect();
            let doubled = || hex.chars().flat_map(|digit| [digit, digit]).collect::<String>();
            let hex = if hex.len() == 3 { doubled() } else { hex.clone() };
            [&hex[0..2], &hex[2..4], &hex[4..6]].map(part)
        };
        STYLE.split(&format!("--{name}:#")).skip(1).take(2).map(colour).collect()
    }

    /// Relative luminance (WCAG 2.2, «relative luminance»).
    fn luminance(colour: [f64; 3]) -> f64 {
        let [red, green, blue] = colour
            .map(|part| if part <= 0.04045 { part / 12.92 } else { ((part + 0.055) / 1.055).powf(2.4) });
        0.2126 * red + 0.7152 * green + 0.0722 * blue
    }

    // WCAG 2.2: 1.4.11 asks for 3:1 between the edge of a field and what it stands on, 1.4.3 for 4.5:1 of what is written
    // in it while it is empty. Black on white is 21:1 by definition.
    #[test]
    fn fields_can_be_seen_in_the_light_and_in_the_dark() {
        let contrast = |one, other| {
            let (one, other) = (luminance(one) + 0.05, luminance(other) + 0.05);
            f64::max(one, other) / f64::min(one, other)
        };
        assert!((contrast([0.0; 3], [1.0; 3]) - 21.0).abs() < 1e-9);
        let (quiet, paper) = (colours("quiet"), colours("paper"));
        assert_eq!((quiet.len(), paper.len()), (2, 2));
        for (quiet, paper) in quiet.into_iter().zip(paper) {
            assert!(contrast(quiet, paper) >= 4.5, "{}", contrast(quiet, paper));
        }
        let rule = |of: &str| STYLE.lines().find(|line| line.starts_with(of)).expect("a rule");
        for of in ["input,textarea,select{", ".choice{"] {
            assert!(rule(of).contains("border:2px solid var(--quiet)"), "{of}");
        }
        assert!(rule("::placeholder{").contains("color:var(--quiet)"));
    }
}
