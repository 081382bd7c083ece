//! Work on a machine in words: what a dialog does there, who worked, and when that is over.
//!
//! What a dialog does stands on record in English, by the same few forms whoever began it; it is read back here,
//! so that it is told in the language of its reader. What has another form stands as it was written.

pub mod then;

use crate::core::alert::dialog::LEAST;
use crate::core::reader::{Language, Reader, filled, said as say};
use crate::core::record::Worked;
use crate::core::time::Timestamp;

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

/// For how long a machine stays marked as worked on and its messages are held: while the dialog is open that keeps it
/// so (what it does, as [`what`] takes it), else until a time. It goes on behind «is marked as worked on».
#[must_use]
pub fn for_how_long(until: Timestamp, dialog: Option<&str>, now: Timestamp, reader: &Reader) -> String {
    let language = reader.language;
    let Some(why) = dialog else {
        let until = reader.near(until.full_minute(), now);
        return match language {
            Language::English => format!("until {until}"),
            Language::Spanish => format!("hasta {}", reader.with_article(until)),
        };
    };
    let form = FORMS.into_iter().find(|(english, _)| why.starts_with(english));
    let what = form.map_or(say(language, "dialog", "diálogo"), |(english, spanish)| {
        say(language, english.trim_end_matches(" of "), spanish.trim_end_matches(" de "))
    });
    let what = what.trim_end_matches(" of the wiring").trim_end_matches(" del cableado");
    let phrase = match (language, form) {
        (Language::English, _) => "for as long as the {what} is open, and {after} min after it",
        (Language::Spanish, Some(_)) => "mientras la {what} esté abierta, y {after} min después",
        (Language::Spanish, None) => "mientras el {what} esté abierto, y {after} min después",
    };
    filled(phrase, &[("what", what), ("after", &(LEAST.as_secs() / 60).to_string())])
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

    // Own promise: every page says for how long a machine stays marked in these words; a time that moves on by itself is
    // none.
    #[test]
    fn work_lasts_as_long_as_its_dialog_or_until_a_time() {
        let now = Timestamp::from_micros(1_795_694_400_000_000);
        let until = now.plus(std::time::Duration::from_secs(600));
        for (dialog, english, spanish) in [
            (None, "until 12:10 UTC", "hasta las 12:10 UTC"),
            (
                Some("proof of the wiring of dm1"),
                "for as long as the proof is open, and 3 min after it",
                "mientras la comprobación esté abierta, y 3 min después",
            ),
            (
                Some("response test of dm1/rinse"),
                "for as long as the response test is open, and 3 min after it",
                "mientras la prueba de respuesta esté abierta, y 3 min después",
            ),
            (
                Some("something else"),
                "for as long as the dialog is open, and 3 min after it",
                "mientras el diálogo esté abierto, y 3 min después",
            ),
        ] {
            for (language, told) in [(Language::English, english), (Language::Spanish, spanish)] {
                let zone = jiff::tz::TimeZone::UTC;
                let reader = Reader { language, scale: crate::core::reader::Scale::Celsius, zone };
                assert_eq!(for_how_long(until, dialog, now, &reader), told);
            }
        }
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
