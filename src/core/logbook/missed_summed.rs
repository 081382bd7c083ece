//! Missed checks of a span in a sentence: one for pages and paper.

use crate::core::reader::{Language, filled, said};
use crate::core::time::Timestamp;

/// Missed checks of a span.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct MissedSummed {
    /// How many were due in it.
    pub due: u64,
    /// How many of them were made after all.
    pub made: u64,
    /// How many were due before it, and not entered when it began.
    pub before: u64,
}

impl MissedSummed {
    /// Counts those of a span that begins at an instant, or of all: of each when it was due, and whether it was made
    /// after all.
    pub fn of(from: Option<Timestamp>, missed: impl Iterator<Item = (Timestamp, bool)>) -> Self {
        missed.fold(Self::default(), |sum, (due, made)| match from {
            Some(from) if due < from => Self { before: sum.before + 1, ..sum },
            Some(_) | None => Self { due: sum.due + 1, made: sum.made + u64::from(made), ..sum },
        })
    }

    /// «5 missed: 2 entered late, 3 not entered», and how many there are from before.
    #[must_use]
    pub fn told(self, language: Language) -> String {
        let Self { due, made, before } = self;
        let left = due.saturating_sub(made);
        let word = |count, one, more| if count == 1 { one } else { more };
        let (missed, late, not_made) = (
            word(due, said(language, "missed", "omitido"), said(language, "missed", "omitidos")),
            word(made, said(language, "entered", "anotado"), said(language, "entered", "anotados")),
            word(left, said(language, "entered", "anotado"), said(language, "entered", "anotados")),
        );
        let phrase = said(
            language,
            "{due} {missed}: {made} {late} late, {left} not {not_made}",
            "{due} {missed}: {made} {late} tarde, {left} no {not_made}",
        );
        let [due, made, left, before_said] = [due, made, left, before].map(|count| count.to_string());
        let text = filled(
            phrase,
            &[
                ("due", due.as_str()),
                ("missed", missed),
                ("made", &made),
                ("late", late),
                ("left", &left),
                ("not_made", not_made),
            ],
        );
        if before == 0 {
            return text;
        }
        let phrase = said(
            language,
            "{text}; due before the span and not entered when it began: {n}",
            "{text}; de antes del período y sin anotar al empezar: {n}",
        );
        filled(phrase, &[("text", &text), ("n", &before_said)])
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Own promise: one is counted as one.
    #[test]
    fn one_missed_check_is_counted_as_one() {
        for (due, made, english, spanish) in [
            (1, 1, "1 missed: 1 entered late, 0 not entered", "1 omitido: 1 anotado tarde, 0 no anotados"),
            (1, 0, "1 missed: 0 entered late, 1 not entered", "1 omitido: 0 anotados tarde, 1 no anotado"),
            (3, 2, "3 missed: 2 entered late, 1 not entered", "3 omitidos: 2 anotados tarde, 1 no anotado"),
        ] {
            let sum = MissedSummed { due, made, before: 0 };
            assert_eq!(sum.told(Language::English), english);
            assert_eq!(sum.told(Language::Spanish), spanish);
        }
    }
}
