//! A text as one part of an address: a segment of a path, or a value in a query.

use percent_encoding::{AsciiSet, NON_ALPHANUMERIC, utf8_percent_encode};

/// All but what is never escaped (RFC 3986 §2.3).
const RESERVED: &AsciiSet = &NON_ALPHANUMERIC.remove(b'-').remove(b'.').remove(b'_').remove(b'~');

/// The text with all but letters, digits and `-._~` escaped (RFC 3986 §2.1).
///
/// ```
/// assert_eq!(rinseward::core::address::escaped("bar 2/ñ"), "bar%202%2F%C3%B1");
/// ```
#[must_use]
pub fn escaped(text: &str) -> String {
    utf8_percent_encode(text, RESERVED).to_string()
}
