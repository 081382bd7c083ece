//! JSON pointers (RFC 6901).

use std::str::FromStr;

use serde_json::Value;

/// A JSON pointer that was read and found well-formed.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct JsonPointer {
    /// Reference tokens with `~1` and `~0` put back.
    tokens: Vec<String>,
}

/// Why a text is no JSON pointer.
#[derive(Clone, Copy, PartialEq, Eq, Debug, thiserror::Error)]
pub enum JsonPointerError {
    /// Neither empty nor beginning with `/`.
    #[error("a JSON pointer is empty or begins with / (RFC 6901 §3)")]
    Slash,
    /// A `~` without `0` or `1` behind it.
    #[error("~ stands only in ~0 (for ~) and ~1 (for /) (RFC 6901 §3)")]
    Escape,
}

impl FromStr for JsonPointer {
    type Err = JsonPointerError;

    fn from_str(text: &str) -> Result<Self, JsonPointerError> {
        if text.is_empty() {
            return Ok(Self { tokens: Vec::new() });
        }
        let tokens = text.strip_prefix('/').ok_or(JsonPointerError::Slash)?;
        let tokens = tokens.split('/').map(unescape).collect::<Result<_, _>>()?;
        Ok(Self { tokens })
    }
}

fn unescape(token: &str) -> Result<String, JsonPointerError> {
    let mut plain = String::with_capacity(token.len());
    let mut characters = token.chars();
    while let Some(character) = characters.next() {
        plain.push(match character {
            '~' => match characters.next() {
                Some('0') => '~',
                Some('1') => '/',
                Some(_) | None => return Err(JsonPointerError::Escape),
            },
            other => other,
        });
    }
    Ok(plain)
}

impl JsonPointer {
    /// What the pointer leads to (RFC 6901 §4); `None` where there is nothing.
    #[must_use]
    pub fn find<'v>(&self, document: &'v Value) -> Option<&'v Value> {
        self.tokens.iter().try_fold(document, |value, token| match value {
            Value::Object(fields) => fields.get(token),
            Value::Array(values) => values.get(array_index(token)?),
            Value::Null | Value::Bool(_) | Value::Number(_) | Value::String(_) => None,
        })
    }
}

/// Digits without leading zeros (RFC 6901 §4); `-`, the place past the end, holds nothing.
fn array_index(token: &str) -> Option<usize> {
    let digits = token.bytes().all(|byte| byte.is_ascii_digit());
    (digits && (token == "0" || !token.starts_with('0'))).then(|| token.parse().ok()).flatten()
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    fn example() -> Value {
        json!({
            "foo": ["bar", "baz"], "": 0, "a/b": 1, "c%d": 2, "e^f": 3, "g|h": 4,
            "i\\j": 5, "k\"l": 6, " ": 7, "m~n": 8
        })
    }

    // The document and the pointers of RFC 6901 §5.
    #[test]
    fn finds_the_examples_of_rfc_6901() {
        let document = example();
        for (pointer, expected) in [
            ("", document.clone()),
            ("/foo", json!(["bar", "baz"])),
            ("/foo/0", json!("bar")),
            ("/", json!(0)),
            ("/a~1b", json!(1)),
            ("/c%d", json!(2)),
            ("/e^f", json!(3)),
            ("/g|h", json!(4)),
            ("/i\\j", json!(5)),
            ("/k\"l", json!(6)),
            ("/ ", json!(7)),
            ("/m~0n", json!(8)),
        ] {
            let parsed: JsonPointer = pointer.parse().expect("an example of RFC 6901 §5");
            assert_eq!(parsed.find(&document), Some(&expected), "{pointer}");
        }
    }

    // RFC 6901 §3 (escapes, «~01» is «~1») and §4 (no leading zeros, «-» is past the end).
    #[test]
    fn refuses_what_rfc_6901_refuses() {
        for (pointer, error) in [
            ("foo", JsonPointerError::Slash),
            ("/~", JsonPointerError::Escape),
            ("/a~2b", JsonPointerError::Escape),
        ] {
            assert_eq!(pointer.parse::<JsonPointer>(), Err(error), "{pointer}");
        }
        let document = json!({"x": [10, 20], "~1": 3, "/": 4});
        for (pointer, expected) in [
            ("/x/1", Some(20)),
            ("/x/01", None),
            ("/x/00", None),
            ("/x/-", None),
            ("/x/+1", None),
            ("/x/", None),
            ("/x/2", None),
            ("/x/99999999999999999999999", None),
            ("/x/0/0", None),
            ("/y", None),
            ("/~01", Some(3)),
            ("/~1", Some(4)),
        ] {
            let parsed: JsonPointer = pointer.parse().expect("well-formed");
            assert_eq!(parsed.find(&document).and_then(Value::as_i64), expected, "{pointer}");
        }
    }
}
