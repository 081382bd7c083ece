//! The words for what came of racks, in both languages: one list for everything that tells of them.
//!
//! Terminal, paper, pictures and mail take them from here. The English ones are those of the record, but that a sanitizer
//! which is `weak` by the record, and for programs, may also be too strong or at too high a pH: people read `off-range`.

use super::verdict::Verdict;
use crate::core::reader::{Language, filled};

/// The word of a verdict; the Spanish one goes with «canasta».
#[must_use]
pub const fn verdict(verdict: Verdict, language: Language) -> &'static str {
    let spanish = match verdict {
        Verdict::Cold => "fría",
        Verdict::Brief => "corta",
        Verdict::Weak => "fuera de rango",
        Verdict::Unproven => "sin comprobar",
        Verdict::Narrow => "justa",
        Verdict::Pass => "correcta",
    };
    match (language, verdict) {
        (Language::English, Verdict::Weak) => "off-range",
        (
            Language::English,
            Verdict::Cold | Verdict::Brief | Verdict::Unproven | Verdict::Narrow | Verdict::Pass,
        ) => verdict.as_str(),
        (Language::Spanish, _) => spanish,
    }
}

/// The word of a verdict beside a number of racks: the Spanish one in the plural, but for one.
#[must_use]
pub const fn verdicts(judged: Verdict, count: u64, language: Language) -> &'static str {
    match language {
        Language::Spanish if count != 1 => match judged {
            Verdict::Cold => "frías",
            Verdict::Brief => "cortas",
            Verdict::Weak => "fuera de rango",
            Verdict::Unproven => "sin comprobar",
            Verdict::Narrow => "justas",
            Verdict::Pass => "correctas",
        },
        Language::Spanish | Language::English => verdict(judged, language),
    }
}

/// That a rack which passed is in doubt since what it passed by was found wrong.
#[must_use]
pub const fn in_doubt(language: Language) -> &'static str {
    match language {
        Language::English => "in doubt",
        Language::Spanish => "en duda",
    }
}

/// Stands in the place of a verdict where racks are chosen: those that passed and are in doubt.
pub const IN_DOUBT: &str = "in-doubt";

/// The word of a rack: that of its verdict, and whether it is in doubt since it passed.
#[must_use]
pub fn rack(judged: Verdict, is_in_doubt: bool, language: Language) -> String {
    let word = verdict(judged, language);
    if is_in_doubt { format!("{word}, {}", in_doubt(language)) } else { word.to_owned() }
}

/// The same where it stands out: the verdict in capitals.
#[must_use]
pub fn in_capitals(judged: Verdict, is_in_doubt: bool, language: Language) -> String {
    let word = verdict(judged, language).to_uppercase();
    if is_in_doubt { format!("{word}, {}", in_doubt(language)) } else { word }
}

/// Beside counts by verdict: what stands before the number of those that are in doubt.
#[must_use]
pub const fn of_these_in_doubt(language: Language) -> &'static str {
    match language {
        Language::English => "of these in doubt",
        Language::Spanish => "de ellas en duda",
    }
}

/// Behind counts by verdict, which tell the narrow ones apart: how many of all that passed are in doubt.
#[must_use]
pub fn passed_in_doubt(racks: u64, language: Language) -> String {
    let phrase = match (racks, language) {
        (1, Language::English) => "1 of those that passed, narrowly or plainly, is in doubt",
        (_, Language::English) => "{racks} of those that passed, narrowly or plainly, are in doubt",
        (1, Language::Spanish) => "1 de las correctas, justas o no, está en duda",
        (_, Language::Spanish) => "{racks} de las correctas, justas o no, están en duda",
    };
    filled(phrase, &[("racks", &racks.to_string())])
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

/// What to do with the rack now; empty where nothing is to be done.
#[must_use]
pub const fn advice(verdict: Verdict, language: Language) -> &'static str {
    let (english, spanish) = match verdict {
        Verdict::Cold => (
            "Hold the rack; wash it again once the final rinse is back at its limit. Cold again: stop, call service.",
            "Aparte la canasta; lávela otra vez cuando el enjuague final vuelva a su límite. Fría otra vez: pare, llame al servicio técnico.",
        ),
        Verdict::Brief => (
            "Hold the rack; wash it again and let the cycle run to its end.",
            "Aparte la canasta; lávela otra vez y deje que el ciclo termine.",
        ),
        Verdict::Weak => (
            "Hold the rack; put the sanitizer right, test it, wash the rack again.",
            "Aparte la canasta; corrija el desinfectante, mídalo y lave la canasta otra vez.",
        ),
        Verdict::Unproven => (
            "Check with the machine's gauge or the test kit before the rack is used.",
            "Compruebe con el indicador de la máquina o con el equipo de medida antes de usar la canasta.",
        ),
        Verdict::Narrow => (
            "The rack is good; have the rinse temperature looked at.",
            "La canasta está bien; haga revisar la temperatura del enjuague.",
        ),
        Verdict::Pass => ("", ""),
    };
    match language {
        Language::English => english,
        Language::Spanish => spanish,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Own promise: of every rack that does not plainly pass it is said what to do with it, in either language.
    #[test]
    fn every_rack_that_does_not_plainly_pass_has_its_advice() {
        for judged in Verdict::ALL {
            for language in [Language::English, Language::Spanish] {
                assert_eq!(advice(judged, language).is_empty(), judged == Verdict::Pass, "{judged}");
            }
        }
    }

    // Common Spanish: an adjective agrees with its noun, «canastas»; zero takes the plural.
    #[test]
    fn the_words_beside_a_number_agree_with_it() {
        for (judged, count, english, spanish) in [
            (Verdict::Cold, 33, "cold", "frías"),
            (Verdict::Pass, 259, "pass", "correctas"),
            (Verdict::Weak, 3, "off-range", "fuera de rango"),
            (Verdict::Pass, 1, "pass", "correcta"),
            (Verdict::Narrow, 0, "narrow", "justas"),
            (Verdict::Unproven, 2, "unproven", "sin comprobar"),
        ] {
            assert_eq!(verdicts(judged, count, Language::English), english);
            assert_eq!(verdicts(judged, count, Language::Spanish), spanish);
        }
        for judged in Verdict::ALL {
            assert_eq!(verdicts(judged, 1, Language::Spanish), verdict(judged, Language::Spanish));
        }
    }
}
