//! The name of an account or a token, and the name that is shown.

use std::fmt;
use std::str::FromStr;

use icu_normalizer::DecomposingNormalizerBorrowed;
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

/// Word that stands on record before the name of a token.
pub(super) const TOKEN: &str = "token";

/// Whether a shown name reads on record like the name of a program, `token NAME`, in whatever letters and blanks
/// it is written: those that look alike, and what is not seen, count for nothing (Unicode UAX #15, form NFKD; the
/// letters that look alike by UTS #39, those of this one word).
pub(super) fn reads_as_token(shown: &str) -> bool {
    let plain = DecomposingNormalizerBorrowed::new_nfkd().normalize(shown).to_lowercase();
    let seen = plain.chars().filter_map(|letter| match letter {
        // Marks above letters, and what has no width.
        '\u{300}'..='\u{36f}' | '\u{ad}' | '\u{200b}'..='\u{200f}' | '\u{2060}'..='\u{2064}' | '\u{feff}' => {
            None
        }
        'т' | 'τ' => Some('t'),
        'о' | 'ο' | 'σ' | '0' => Some('o'),
        'к' | 'κ' => Some('k'),
        'е' | 'ε' | '3' => Some('e'),
        'п' | 'ν' | 'η' | 'ո' => Some('n'),
        letter => Some(letter),
    });
    let seen: String = seen.collect();
    seen.split(|letter: char| !letter.is_alphanumeric()).find(|word| !word.is_empty()) == Some(TOKEN)
}

#[cfg(test)]
mod tests {
    use super::*;

    // Own rule: nobody's name can be taken for that of a program.
    #[test]
    fn nobody_is_called_like_a_program() {
        for name in [
            "token export",
            "Token  export",
            "TOKEN",
            " token\u{a0}export",
            "token\u{2800}export",
            "tok\u{200b}en export",
            "token-export",
            "«token» export",
            "ｔｏｋｅｎ export",
            "tóken export",
            "t0ken export",
            "tоkеn export",
        ] {
            assert!(reads_as_token(name), "{name:?}");
        }
        for name in ["Ana Díaz", "Tokenia Smith", "Anna Token", "Олег Петров", "田中"] {
            assert!(!reads_as_token(name), "{name:?}");
        }
    }

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
