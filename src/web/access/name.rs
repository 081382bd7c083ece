//! The name of an account or a token, and the name that is shown.

use std::fmt;
use std::str::FromStr;

use icu_normalizer::{ComposingNormalizerBorrowed, DecomposingNormalizerBorrowed};
use icu_properties::props::{DefaultIgnorableCodePoint, GeneralCategory, GeneralCategoryGroup};
use icu_properties::{CodePointMapData, CodePointSetData};
use serde::{Deserialize, Serialize};
use unicode_security::RestrictionLevel::HighlyRestrictive;
use unicode_security::confusable_detection::skeleton;
use unicode_security::{MixedScript, RestrictionLevelDetection};

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

/// The text cannot be shown as somebody's name.
#[derive(Clone, PartialEq, Debug, thiserror::Error)]
pub enum NoShown {
    /// It cannot stand in the record.
    #[error(transparent)]
    Impossible(#[from] Impossible),
    /// It holds what is not seen, turns the writing round, or is no plain blank.
    #[error("the name holds a sign that is not seen (U+{:04X})", u32::from(*letter))]
    Unseen {
        /// The first such.
        letter: char,
    },
    /// It holds the sign between machine and place in the name of a probe.
    #[error("the name holds «/»: so the names of probes are written, such as dm1/rinse")]
    Slash,
    /// One of its words is written in letters of more than one script, some of which look alike.
    #[error(
        "the word «{word}» mixes letters of several alphabets, such as Latin and Cyrillic, of which many look alike"
    )]
    MixedScripts {
        /// Which.
        word: String,
    },
    /// It begins or ends with a blank.
    #[error("the name begins or ends with a blank")]
    Blank,
}

/// The shown name, where it can be one.
///
/// # Errors
/// [`NoShown`], which says why not.
pub fn shown(text: &str) -> Result<String, NoShown> {
    logbook::name(logbook::Field::By, text)?;
    if let Some(letter) = text.chars().find(|letter| !is_seen(*letter)) {
        return Err(NoShown::Unseen { letter });
    }
    if text != text.trim() {
        return Err(NoShown::Blank);
    }
    if text.contains(is_slash) {
        return Err(NoShown::Slash);
    }
    if text.chars().count() > SHOWN_CHARS_MAX {
        return Err(Impossible::TooLong { what: logbook::Field::By, max: SHOWN_CHARS_MAX }.into());
    }
    Ok(text.to_owned())
}

/// Whether a sign is seen as what it is: no control, nothing that only changes how others are written, no blank but
/// the plain one (Unicode 17, general category and `Default_Ignorable_Code_Point`).
fn is_seen(letter: char) -> bool {
    // A dot pattern without a dot.
    const BRAILLE_BLANK: char = '\u{2800}';
    let hidden = GeneralCategoryGroup::Other.union(GeneralCategoryGroup::Separator);
    let shows = !hidden.contains(CodePointMapData::<GeneralCategory>::new().get(letter));
    letter == ' '
        || shows
            && letter != BRAILLE_BLANK
            && !CodePointSetData::new::<DefaultIgnorableCodePoint>().contains(letter)
}

/// Whether a sign is the stroke in the name of a probe, or looks like it (UTS #39, confusables of U+002F).
const fn is_slash(letter: char) -> bool {
    matches!(letter, '/' | '\u{2044}' | '\u{2215}' | '\u{2571}' | '\u{29f8}' | '\u{ff0f}')
}

/// Refuses a name of which one word holds letters of more than one script (UTS #39, 5.1, augmented script sets, so that
/// the scripts of Japanese or Korean are one), but for Latin beside those (5.2, «highly restrictive»). Words of a name
/// may each have their own: «Мария Smith».
///
/// # Errors
/// [`NoShown::MixedScripts`], with the first such word.
pub(super) fn one_script_a_word(shown: &str) -> Result<(), NoShown> {
    let groups = CodePointMapData::<GeneralCategory>::new();
    let in_word =
        |letter: char| letter.is_alphanumeric() || GeneralCategoryGroup::Mark.contains(groups.get(letter));
    // An accent of its own is written into its letter: a mark takes on the script of what it stands on.
    let composed = ComposingNormalizerBorrowed::new_nfc().normalize(shown);
    let mut words = composed.split(|letter| !in_word(letter));
    let mixed =
        words.find(|word| !word.is_single_script() && !word.check_restriction_level(HighlyRestrictive));
    mixed.map_or(Ok(()), |word| Err(NoShown::MixedScripts { word: word.to_owned() }))
}

/// Whether two names are read as one: in capitals or not, by whichever signs Unicode counts for the same (UAX #15,
/// form NFKC) or for alike (UTS #39, 4, skeletons), whatever blanks stand between their words, and without what is not
/// seen, as it can be in names of before that was refused.
pub(super) fn reads_alike(one: &str, other: &str) -> bool {
    let nfkc = ComposingNormalizerBorrowed::new_nfkc();
    let written = |name: &str| {
        let seen: String = name.chars().filter(|letter| letter.is_whitespace() || is_seen(*letter)).collect();
        nfkc.normalize(&seen).split_whitespace().collect::<Vec<_>>().join(" ")
    };
    // Upper case first, which writes «ß» as «SS».
    let small = |name: &str| nfkc.normalize(&name.to_uppercase().to_lowercase()).into_owned();
    let (written_one, written_other) = (written(one), written(other));
    let (one, other) = (small(&written_one), small(&written_other));
    // Letters that are unlike in small may look alike in capitals, «ν» and «Ν», and as they were written, «l» and «I».
    // A digit is told from a letter that is written in the other case: «Station 1» from «Station L».
    let alike = |one: &str, other: &str| {
        let digits = |name: &str| {
            let digits = name.char_indices().filter(|(_, letter)| letter.is_ascii_digit());
            digits.collect::<Vec<_>>()
        };
        skeleton(one).eq(skeleton(other)) && digits(one) == digits(other)
    };
    one == other
        || skeleton(&written_one).eq(skeleton(&written_other))
        || alike(&one, &other)
        || alike(&one.to_uppercase(), &other.to_uppercase())
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

    // Categories: Unicode Character Database, UnicodeData.txt and DerivedCoreProperties.txt. A name on record shows all
    // that is in it, and no probe is called like it.
    #[test]
    fn a_shown_name_shows_all_of_itself() {
        for (name, letter) in [
            ("Ana\u{202e}zaíD", '\u{202e}'),
            ("Ana\u{2066}Díaz", '\u{2066}'),
            ("Ana\u{200b}Díaz", '\u{200b}'),
            ("Ana\u{ad}Díaz", '\u{ad}'),
            ("Ana\u{2028}Díaz", '\u{2028}'),
            ("Ana\u{2029}Díaz", '\u{2029}'),
            ("Ana\u{feff}", '\u{feff}'),
            ("Ana\u{3164}", '\u{3164}'),
            ("Ana\u{34f}", '\u{34f}'),
            ("Ana\u{2800}", '\u{2800}'),
            ("Ana\u{a0}Díaz", '\u{a0}'),
            ("Ana\u{3000}Díaz", '\u{3000}'),
            ("Ana\u{fe0f}", '\u{fe0f}'),
            ("Ana\u{e000}", '\u{e000}'),
            ("Ana\u{e0041}", '\u{e0041}'),
        ] {
            assert_eq!(shown(name), Err(NoShown::Unseen { letter }), "{name:?}");
        }
        for name in ["dm2/sanitizer", "dm2\u{ff0f}rinse", "dm2\u{2215}rinse", "/"] {
            assert_eq!(shown(name), Err(NoShown::Slash), "{name:?}");
        }
        for name in [" Ana", "Ana ", " Ana Díaz "] {
            assert_eq!(shown(name), Err(NoShown::Blank), "{name:?}");
        }
        for name in ["Ana\u{7f}", "Ana\nDíaz", "Ana\tDíaz", "", " ", "\u{a0}"] {
            assert!(matches!(shown(name), Err(NoShown::Impossible(_))), "{name:?}");
        }
        for name in ["Ana Díaz", "Ana Di\u{301}az", "田中", "Олег Петров", "María-José O’Neill, Jr.", "नेहा"]
        {
            assert_eq!(shown(name).as_deref(), Ok(name));
        }
    }

    // Unicode UAX #15, form NFKC, and simple case folding: nobody is taken for somebody else.
    #[test]
    fn names_that_read_alike_are_one() {
        for name in [
            "Ana Díaz",
            "ANA DÍAZ",
            "ana di\u{301}az",
            "Ａｎａ Díaz",
            "Ana  Díaz",
            "Ana\u{a0}Díaz ",
            "A\u{200b}na Díaz",
        ] {
            assert!(reads_alike(name, "Ana Díaz"), "{name:?}");
        }
        assert!(reads_alike("STRASSER", "Straßer"));
        for name in ["Ana Diaz", "AnaDíaz", "Ana Díaz 2", "Anna Díaz"] {
            assert!(!reads_alike(name, "Ana Díaz"), "{name:?}");
        }
    }

    // UTS #39: skeletons by confusables.txt; the names of one pair are each of one script, and look the same.
    #[test]
    fn letters_that_look_alike_are_one() {
        for (name, other) in [
            // Cyrillic, Latin.
            ("Оса", "Oca"),
            ("Сара", "Capa"),
            ("ВЕРА", "BEPA"),
            // Greek, Latin.
            ("ΑΝΝΑ", "Anna"),
            ("Мaria", "Maria"),
            // Latin alone.
            ("PauI", "Paul"),
            ("AI Smith", "Al Smith"),
            ("Pau1", "Paul"),
            ("0scar", "Oscar"),
            ("Station l", "Station 1"),
            ("Station O", "Station 0"),
        ] {
            assert!(reads_alike(name, other), "{name:?}");
        }
        for (name, other) in [("Мария", "Maria"), ("Olga", "Ольга"), ("Ana Lee", "Ana Lea"), ("Tom", "Tim")]
            .into_iter()
            .chain([("Station L", "Station 1"), ("Station o", "Station 0"), ("Line 1", "Line 7")])
        {
            assert!(!reads_alike(name, other), "{name:?}");
        }
    }

    // UTS #39, 5.1.
    #[test]
    fn a_word_is_written_in_one_script() {
        for (name, word) in
            [("Мaria", "Мaria"), ("Ana Dіaz", "Dіaz"), ("Tom-Οtto", "Οtto"), ("Mari\u{301}а", "Maríа")]
        {
            assert_eq!(one_script_a_word(name), Err(NoShown::MixedScripts { word: word.to_owned() }));
        }
        let plain = [
            "Ana Díaz",
            "Ana Di\u{301}az",
            "田中",
            "田中さん",
            "Олег Петров",
            "नेहा",
            "Мария Smith",
            "Tom 2nd",
        ];
        for name in plain.into_iter().chain([
            "María-José O’Neill, Jr.",
            "김철수 (Kim)",
            "Straßer",
            "Ken健",
            "K子",
            "नेहा\u{947}",
        ]) {
            assert_eq!(one_script_a_word(name), Ok(()), "{name:?}");
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
