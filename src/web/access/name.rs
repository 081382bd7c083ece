//! The name of an account or a token, and the name that is shown.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use crate::core::logbook::{self, Impossible};

/// Longest name, in characters (own choice).
const CHARS_MAX: usize = 32;

/// What is typed to log in: 1 to 32 of a–z, 0–9, `.`, `_`, `-`, beginning with a letter or a
/// digit. Capitals are taken for small letters, since phones put them by themselves.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct AccountName(String);

/// The text is no name of an account.
#[derive(Clone, Copy, PartialEq, Eq, Debug, thiserror::Error)]
#[error("a name has 1 to {CHARS_MAX} of the characters a-z, 0-9, . _ - and begins with a letter or a digit")]
pub struct NoName;

impl AccountName {
    /// The name.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for AccountName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&self.0)
    }
}

impl FromStr for AccountName {
    type Err = NoName;

    fn from_str(text: &str) -> Result<Self, NoName> {
        let name = text.trim().to_ascii_lowercase();
        let legal = |byte: u8| byte.is_ascii_lowercase() || byte.is_ascii_digit() || b"._-".contains(&byte);
        let begins = name.bytes().next().is_some_and(|byte| byte.is_ascii_alphanumeric());
        if begins && name.len() <= CHARS_MAX && name.bytes().all(legal) {
            Ok(Self(name))
        } else {
            Err(NoName)
        }
    }
}

impl TryFrom<String> for AccountName {
    type Error = NoName;

    fn try_from(text: String) -> Result<Self, NoName> {
        text.parse()
    }
}

impl From<AccountName> for String {
    fn from(name: AccountName) -> Self {
        name.0
    }
}

/// Longest shown name, in characters: as that of whoever acts by a link.
const SHOWN_CHARS_MAX: usize = 100;

/// The shown name without the blanks around it.
///
/// # Errors
/// [`Impossible`] where it cannot stand in the record.
pub fn shown(text: &str) -> Result<String, Impossible> {
    let text = text.trim();
    logbook::name("the name", text)?;
    if text.chars().count() > SHOWN_CHARS_MAX {
        return Err(Impossible::TooLong { what: "the name", max: SHOWN_CHARS_MAX });
    }
    Ok(text.to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    // Own rule; a name never holds what a path, a header, HTML or a terminal would obey.
    #[test]
    fn names_are_plain() {
        for (typed, name) in
            [("ana", Some("ana")), (" Ana ", Some("ana")), ("0.a_b-c", Some("0.a_b-c")), ("", None)]
        {
            assert_eq!(typed.parse().ok().map(|name: AccountName| name.0).as_deref(), name, "{typed}");
        }
        for typed in ["..", "a/b", "a b", "a\r\nb", "<b>", "ñandú", "-a", &"a".repeat(33)] {
            assert_eq!(typed.parse::<AccountName>(), Err(NoName), "{typed}");
        }
    }
}
