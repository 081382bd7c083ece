//! Work on a machine in words: what a dialog does there, who worked, and when that is over.
//!
//! What a dialog does stands on record in English, by the same few forms whoever began it; it is read back here,
//! so that it is told in the language of its reader. What has another form stands as it was written.

use crate::core::reader::{Language, filled, said as say};
use crate::core::record::Worked;

/// The beginnings by which a dialog says on record what it does, and each in Spanish; the probe or machine follows.
const FORMS: [(&str, &str); 3] = [
    ("calibration of ", "calibración de "),
    ("response test of ", "prueba de respuesta de "),
    ("proof of the wiring of ", "comprobación del cableado de "),
];

/// What a dialog does, as its reader says it.
#[must_use]
pub fn what(why: &str, language: Language) -> String {
    let of = |(english, spanish): (&str, &str)| {
        let of = why.strip_prefix(english)?;
        Some(match language {
            Language::English => why.to_owned(),
            Language::Spanish => format!("{spanish}{of}"),
        })
    };
    FORMS.into_iter().find_map(of).unwrap_or_else(|| why.to_owned())
}

/// Who worked, and at what: `Ana (calibration of dm1/rinse), Tom`. Nothing where nobody is named.
#[must_use]
pub fn who(worked: &[Worked], language: Language) -> String {
    let mut people: Vec<(&str, Vec<String>)> = Vec::new();
    for Worked { by, why } in worked {
        let place = people.iter().position(|(known, _)| known == by).unwrap_or_else(|| {
            people.push((by, Vec::new()));
            people.len() - 1
        });
        people[place].1.extend(why.as_deref().map(|why| what(why, language)));
    }
    let told = people.into_iter().map(|(by, works)| {
        if works.is_empty() { by.to_owned() } else { format!("{by} ({})", works.join(", ")) }
    });
    told.collect::<Vec<_>>().join(", ")
}

/// That somebody said while a dialog was open that the work on its machine is over.
#[must_use]
pub fn called_off(language: Language, machine: &str) -> String {
    let phrase = say(
        language,
        "Somebody said meanwhile that the work on {machine} is over: from then on its racks were judged by what its \
         probes showed.",
        "Alguien dijo entretanto que el trabajo en {machine} había terminado: desde entonces sus canastas se evaluaron \
         por lo que mostraban sus sondas.",
    );
    filled(phrase, &[("machine", machine)])
}

#[cfg(test)]
mod tests {
    use super::*;

    fn worked(by: &str, why: Option<&str>) -> Worked {
        Worked { by: by.to_owned(), why: why.map(str::to_owned) }
    }

    // Own words; each person once, with all that they did.
    #[test]
    fn work_is_told_by_person_in_either_language() {
        let all = [
            worked("Ana", Some("calibration of dm1/rinse")),
            worked("Tom", None),
            worked("Ana", Some("proof of the wiring of dm1")),
            worked("Eva", Some("new gasket")),
        ];
        assert_eq!(
            who(&all, Language::English),
            "Ana (calibration of dm1/rinse, proof of the wiring of dm1), Tom, Eva (new gasket)"
        );
        assert_eq!(
            who(&all, Language::Spanish),
            "Ana (calibración de dm1/rinse, comprobación del cableado de dm1), Tom, Eva (new gasket)"
        );
        assert_eq!(what("response test of dm1/rinse", Language::Spanish), "prueba de respuesta de dm1/rinse");
        assert_eq!(who(&[], Language::English), "");
    }
}
