//! A look at the supplies: one press says that all is there, or which of them is short.

use super::words::say;
use crate::core::cycle::plate::Sanitizing;
use crate::core::reader::Language;
use crate::web::form::Fault;

/// What a machine can run short of, as the forms name it. What is none of these is written into the note.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Supply {
    Detergent,
    Additive,
    Sanitizer,
    Strips,
}

impl Supply {
    const ALL: [Self; 4] = [Self::Detergent, Self::Additive, Self::Sanitizer, Self::Strips];

    /// The word of the form.
    pub(super) const fn value(self) -> &'static str {
        match self {
            Self::Detergent => "detergent",
            Self::Additive => "rinse-additive",
            Self::Sanitizer => "sanitizer",
            Self::Strips => "test-strips",
        }
    }

    /// Its name for a reader.
    pub(super) const fn name(self, language: Language) -> &'static str {
        let pair = match self {
            Self::Detergent => ("detergent", "detergente"),
            Self::Additive => ("rinse additive", "abrillantador"),
            Self::Sanitizer => ("sanitizer", "desinfectante"),
            Self::Strips => ("test strips", "tiras reactivas"),
        };
        say(language, pair)
    }

    /// What a machine can run short of: one that sanitizes with hot water takes no sanitizer and no strips.
    pub(super) fn of(sanitizing: Option<Sanitizing>) -> impl Iterator<Item = Self> {
        let hot_only = sanitizing.is_some_and(|own| !own.is_chemical());
        let fits = move |supply: &Self| !hot_only || matches!(supply, Self::Detergent | Self::Additive);
        Self::ALL.into_iter().filter(fits)
    }
}

/// Whether everything was there, and the note of it: what was pressed stands before what was typed. Short of what
/// no button names is short of nothing that anybody could fetch, unless it is written.
pub(super) fn looked(
    pressed: &str,
    note: Option<String>,
    language: Language,
) -> Result<(bool, Option<String>), Fault> {
    match (pressed, note) {
        ("yes", note) => Ok((true, note)),
        ("no", Some(note)) => Ok((false, Some(note))),
        ("no", None) => Err(Fault::Missing),
        (pressed, note) => {
            let supply = Supply::ALL.into_iter().find(|supply| supply.value() == pressed);
            let name = supply.ok_or(Fault::NoChoice)?.name(language);
            let note = note.map_or_else(|| name.to_owned(), |note| format!("{name}, {note}"));
            Ok((false, Some(note)))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Own promise: what is short goes on record in words, whoever presses; a machine is not asked for what it has not.
    #[test]
    fn what_is_short_is_said() {
        let typed = || Some("half a can left".to_owned());
        for (pressed, note, expected) in [
            ("yes", None, Ok((true, None))),
            ("yes", typed(), Ok((true, typed()))),
            ("detergent", None, Ok((false, Some("detergente".to_owned())))),
            ("rinse-additive", typed(), Ok((false, Some("abrillantador, half a can left".to_owned())))),
            ("no", typed(), Ok((false, typed()))),
            ("no", None, Err(Fault::Missing)),
            ("maybe", typed(), Err(Fault::NoChoice)),
        ] {
            assert_eq!(looked(pressed, note, Language::Spanish), expected, "{pressed}");
        }
        let of = |sanitizing| Supply::of(sanitizing).collect::<Vec<_>>();
        assert_eq!(of(Some(Sanitizing::HotWater)), [Supply::Detergent, Supply::Additive]);
        assert_eq!(of(Some(Sanitizing::Chlorine)), Supply::ALL);
        assert_eq!(of(None), Supply::ALL, "of the whole site");
    }
}
