//! Whether a machine is signed off: since when and by whom, or why not.

use crate::core::counted::Noun;
use crate::core::reader::filled;
use crate::web::frame::said;
use crate::web::kitchen::{Kitchen, Pages};
use crate::web::person::Person;
use crate::web::sign_off::Stood;

/// How the sign-off of a machine stands, in words.
pub(super) struct Told {
    /// Whether it is signed off and as it was signed.
    pub(super) holds: bool,
    pub(super) text: String,
    /// What is not as it was signed.
    pub(super) lapsed: Vec<String>,
    /// The record of the sign-off, where there is one.
    pub(super) record: Option<u64>,
}

/// Asks how it stands.
pub(super) async fn told<K: Kitchen>(pages: &Pages<K>, person: &Person, machine: &str) -> Told {
    let language = person.reader.language;
    let alone = |text: &str| Told { holds: false, text: text.to_owned(), lapsed: Vec::new(), record: None };
    match pages.kitchen.stood(machine.to_owned(), person).await {
        Ok(Some(stood)) => of(stood, person),
        Ok(None) => alone(said(language, "It was never signed off.", "Nunca se ha firmado.")),
        Err(_) => alone(said(
            language,
            "Whether it is signed off cannot be said just now.",
            "Ahora mismo no se puede decir si está firmada.",
        )),
    }
}

fn of(Stood { record, at, by, accepted, withdrawn, lapsed }: Stood, person: &Person) -> Told {
    let language = person.reader.language;
    let holds = !withdrawn && lapsed.is_empty();
    let phrase = if withdrawn {
        said(
            language,
            "It is not signed off: the sign-off of {at} by {by} was withdrawn.",
            "No está firmada: la firma de {at}, de {by}, se retiró.",
        )
    } else if holds {
        said(language, "It has been signed off since {at}, by {by}.", "Está firmada desde {at}, por {by}.")
    } else {
        said(
            language,
            "It was signed off on {at} by {by}. That no longer holds, since it is not as it was signed:",
            "Se firmó el {at}, por {by}. Ya no vale, porque no está como se firmó:",
        )
    };
    let mut text = filled(phrase, &[("at", &person.reader.moment(at)), ("by", &by)]);
    if holds && accepted > 0 {
        let points = Noun::OpenPoints.of(accepted.try_into().unwrap_or(u64::MAX), language);
        let phrase = said(language, " Accepted with it: {points}.", " Aceptados con ella: {points}.");
        text.push_str(&filled(phrase, &[("points", &points)]));
    }
    // Of one that was withdrawn nothing was to hold.
    Told { holds, text, lapsed: if withdrawn { Vec::new() } else { lapsed }, record: Some(record) }
}
