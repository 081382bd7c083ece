//! The words for what came of racks, in both languages: one list for everything that tells of them.
//!
//! Terminal, files, paper, pictures and mail take them from here; the English ones are those of
//! the record.

use super::verdict::Verdict;
use crate::core::reader::Language;

/// The word of a verdict; the Spanish one goes with «canasta».
#[must_use]
pub const fn verdict(verdict: Verdict, language: Language) -> &'static str {
    let spanish = match verdict {
        Verdict::Cold => "fría",
        Verdict::Brief => "corta",
        // What is weak by the record may also be too strong.
        Verdict::Weak => "fuera de rango",
        Verdict::Unproven => "sin comprobar",
        Verdict::Narrow => "justa",
        Verdict::Pass => "correcta",
    };
    match language {
        Language::English => verdict.as_str(),
        Language::Spanish => spanish,
    }
}

/// What a verdict means, in half a sentence.
#[must_use]
pub const fn meaning(verdict: Verdict, language: Language) -> &'static str {
    let (english, spanish) = match verdict {
        Verdict::Cold => ("final rinse below its limit", "enjuague final por debajo de su límite"),
        Verdict::Brief => ("limit held too short", "límite sostenido menos tiempo del exigido"),
        Verdict::Weak => ("sanitizer outside its range", "desinfectante fuera de su rango"),
        Verdict::Unproven => ("evidence missing: not a pass", "falta la evidencia: no cuenta como correcta"),
        Verdict::Narrow => ("passes, within the uncertainty", "pasa, dentro de la incertidumbre"),
        Verdict::Pass => ("passes", "pasa"),
    };
    match language {
        Language::English => english,
        Language::Spanish => spanish,
    }
}
