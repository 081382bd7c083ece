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
        let phrase = said(
            language,
            "{due} missed: {made} entered late, {left} not entered",
            "{due} omitidos: {made} anotados tarde, {left} no anotados",
        );
        let left = due.saturating_sub(made);
        let [due, made, left, before_said] = [due, made, left, before].map(|count| count.to_string());
        let text = filled(phrase, &[("due", &due), ("made", &made), ("left", &left)]);
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
