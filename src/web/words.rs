//! The words of a page, English and Spanish side by side.

use crate::core::reader::Language;

/// Makes `Words`, what each says in both languages, and the function `words` that gives those of one:
/// `name: "English", "Spanish";`.
macro_rules! words {
    ($($name:ident: $english:literal, $spanish:literal;)*) => {
        /// Words of the pages.
        #[derive(Debug)]
        pub(super) struct Words { $(pub(super) $name: &'static str),* }

        static ENGLISH: Words = Words { $($name: $english),* };
        static SPANISH: Words = Words { $($name: $spanish),* };

        /// Words of the pages in one language.
        pub(super) const fn words(language: $crate::core::reader::Language) -> &'static Words {
            match language {
                $crate::core::reader::Language::English => &ENGLISH,
                $crate::core::reader::Language::Spanish => &SPANISH,
            }
        }
    };
}

pub(super) use words;

/// What a page says that shows nothing: what happened, what that means, what to do.
pub(super) struct Telling {
    pub(super) english: (&'static str, &'static str, &'static str),
    pub(super) spanish: (&'static str, &'static str, &'static str),
}

impl Telling {
    /// The three in one language.
    pub(super) const fn told(&self, language: Language) -> (&'static str, &'static str, &'static str) {
        match language {
            Language::English => self.english,
            Language::Spanish => self.spanish,
        }
    }
}
