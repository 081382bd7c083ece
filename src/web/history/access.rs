//! What happened to accounts, and by them, in a sentence, English and Spanish side by side.

use super::story::{Pair, outcome, put};
use crate::core::access::Right;
use crate::core::counted::Noun;
use crate::core::reader::{Language, Reader};
use crate::core::record::{AccessDeed, AccessEvent, AccessRefusal, AskedChange, FIRST_START, Unchanged};
use crate::web::frame::said;
use crate::web::who::role;

/// What happened.
pub(super) fn told(event: &AccessEvent, reader: &Reader) -> String {
    let language = reader.language;
    let mut text = deed(event, reader);
    if event.times > 1 {
        text.push_str(&put(language, (", {n} times", ", {n} veces"), &[("n", &event.times.to_string())]));
    }
    if let Some(from) = &event.from {
        text.push_str(&put(language, (", from {from}", ", desde {from}"), &[("from", from)]));
    }
    if let Some(by) = &event.by {
        let by = if by == FIRST_START { said(language, FIRST_START, "primer arranque") } else { by };
        text.push_str(&format!(" ({by})"));
    }
    text
}

/// Records left the gateway.
const TOOK_AWAY: Pair = (
    "{account} took records away as {form}: {machines}, {since} to {until}",
    "{account} descargó asientos como {form}: {machines}, de {since} a {until}",
);

/// The record was checked.
const CHECKED: Pair = (
    "{account} had {records} checked: {outcome}, {findings}",
    "{account} hizo comprobar {records}: {outcome}, {findings}",
);

/// Somebody ended what another was at.
const ENDED_WORK: Pair = (
    "{account} ended what {whose} was at, at {place}: nothing of it is on record",
    "{account} terminó lo que {whose} hacía en {place}: nada de ello consta",
);

fn deed(event: &AccessEvent, reader: &Reader) -> String {
    let language = reader.language;
    let account = event.account.as_str();
    let of = |pair, values: &[(&str, &str)]| put(language, pair, &[&[("account", account)], values].concat());
    match &event.what {
        AccessDeed::LoggedIn => of(("{account} logged in", "{account} inició sesión"), &[]),
        AccessDeed::LoggedOut => of(("{account} logged out", "{account} cerró la sesión"), &[]),
        AccessDeed::Refused(why) => of(
            ("{account} was refused: {why}", "{account} fue rechazado: {why}"),
            &[("why", &refusal(*why, event.right, language))],
        ),
        AccessDeed::ChangeRefused { asked, why } => of(
            ("{account}: {asked} was refused: {why}", "{account}: se rechazó {asked}: {why}"),
            &[("asked", self::asked(*asked, language)), ("why", unchanged(*why, language))],
        ),
        AccessDeed::Locked { for_s, there } => {
            let minutes = for_s.div_ceil(60).to_string();
            let pair = if *there {
                ("{account} is locked from there for {n} min", "{account} queda bloqueada desde allí {n} min")
            } else {
                ("{account} is locked for {n} min", "{account} queda bloqueada {n} min")
            };
            of(pair, &[("n", &minutes)])
        }
        AccessDeed::Unlocked => of(("{account} is unlocked", "{account} queda desbloqueada"), &[]),
        AccessDeed::Added { role: given, name } => of(
            ("account {account} for {name}, {role}", "cuenta {account} para {name}, {role}"),
            &[("name", name), ("role", role(*given, language))],
        ),
        AccessDeed::RoleChanged { role: given, before } => of(
            ("{account} is {role}, was {before}", "{account} es {role}, era {before}"),
            &[("role", role(*given, language)), ("before", role(*before, language))],
        ),
        AccessDeed::Disabled => of(("account {account} disabled", "cuenta {account} desactivada"), &[]),
        AccessDeed::Enabled => of(("account {account} enabled", "cuenta {account} activada"), &[]),
        AccessDeed::SecretReset => of(
            (
                "account {account} got a new one-time secret",
                "la cuenta {account} recibió un secreto de un solo uso",
            ),
            &[],
        ),
        AccessDeed::PasswordChanged => {
            of(("{account} chose a password", "{account} eligió una contraseña"), &[])
        }
        AccessDeed::ReaderChanged { language: chosen, scale } => of(
            ("{account} reads in {language} and {scale}", "{account} lee en {language} y {scale}"),
            &[("language", language_word(*chosen, language)), ("scale", scale.symbol())],
        ),
        AccessDeed::Removed => of(("account {account} removed", "cuenta {account} eliminada"), &[]),
        AccessDeed::TokenAdded { role: given, until } => of(
            ("token {account}, {role}, until {until}", "ficha {account}, {role}, hasta {until}"),
            &[("role", role(*given, language)), ("until", &reader.moment(*until))],
        ),
        AccessDeed::TokenRevoked => of(("token {account} revoked", "ficha {account} revocada"), &[]),
        AccessDeed::TookAway { form, since, until, machines } => {
            let all = put(language, ("all machines", "todas las máquinas"), &[]);
            let machines = if machines.is_empty() { all } else { machines.join(", ") };
            let (since, until) = (reader.moment(*since), reader.moment(*until));
            let values =
                [("form", form.as_str()), ("machines", &machines), ("since", &since), ("until", &until)];
            of(TOOK_AWAY, &values)
        }
        AccessDeed::Checked { outcome: found, records, findings } => of(
            CHECKED,
            &[
                ("records", &Noun::Records.of(*records, language)),
                ("outcome", outcome(*found, language)),
                ("findings", &Noun::Findings.of(*findings, language)),
            ],
        ),
        AccessDeed::EndedWork { of: place, whose } => of(ENDED_WORK, &[("whose", whose), ("place", place)]),
    }
}

/// Why somebody was turned away, and which right their role lacked where the record says so.
fn refusal(why: AccessRefusal, right: Option<Right>, language: Language) -> String {
    let why = match (language, right) {
        (Language::Spanish, Some(_)) if why == AccessRefusal::NotAllowed => "su función no tiene permiso",
        _ => reason(why, language),
    };
    right.map_or_else(|| why.to_owned(), |right| format!("{why} {}", right.words(language)))
}

const fn reason(why: AccessRefusal, language: Language) -> &'static str {
    match language {
        Language::English => why.words(),
        Language::Spanish => match why {
            AccessRefusal::Wrong => "cuenta o contraseña equivocada",
            AccessRefusal::Locked => "demasiados intentos fallidos antes",
            AccessRefusal::Disabled => "la cuenta está desactivada",
            AccessRefusal::Expired => "el secreto ha caducado",
            AccessRefusal::TooMany => "demasiados intentos desde una dirección",
            AccessRefusal::NotAllowed => "su función no tiene ese permiso",
            AccessRefusal::Foreign => "el formulario vino de otro sitio",
            AccessRefusal::Misdirected => "la petición iba a otro equipo",
            AccessRefusal::UnknownToken => "la ficha no se conoce o fue revocada",
        },
    }
}

const fn asked(asked: AskedChange, language: Language) -> &'static str {
    match language {
        Language::English => asked.words(),
        Language::Spanish => match asked {
            AskedChange::Add => "una cuenta nueva",
            AskedChange::Role => "otra función",
            AskedChange::Disable => "desactivar la cuenta",
            AskedChange::Enable => "activar la cuenta",
            AskedChange::Reset => "un secreto nuevo de un solo uso",
            AskedChange::Unlock => "desbloquear la cuenta",
            AskedChange::Remove => "eliminar la cuenta",
            AskedChange::Password => "otra contraseña",
            AskedChange::AddToken => "una ficha nueva",
            AskedChange::RevokeToken => "revocar la ficha",
        },
    }
}

const fn unchanged(why: Unchanged, language: Language) -> &'static str {
    match language {
        Language::English => why.words(),
        Language::Spanish => match why {
            Unchanged::NoName => "lo tecleado no es nombre de cuenta ni de ficha",
            Unchanged::Shown => "el nombre mostrado no puede constar",
            Unchanged::ReadsAsToken => "el nombre mostrado se lee como el de un programa",
            Unchanged::Unknown => "no hay ninguna con ese nombre",
            Unchanged::Taken => "ya hay una con ese nombre, o hay demasiadas",
            Unchanged::LastAdministrator => "es el último administrador que puede iniciar sesión",
            Unchanged::Same => "ya está así",
            Unchanged::Days => "ninguna ficha dura esos días",
            Unchanged::Password => "la contraseña no cumple las reglas",
            Unchanged::NoRole => "no existe tal función",
        },
    }
}

/// The name of a language in another.
const fn language_word(of: Language, language: Language) -> &'static str {
    match of {
        Language::English => said(language, "English", "inglés"),
        Language::Spanish => said(language, "Spanish", "español"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::access::Role;
    use crate::core::reader::{Language, Scale};

    // Own words: what the program wrote of itself is told in the reader's language, a name stays as it was typed.
    #[test]
    fn who_made_an_account_is_told_to_each_reader() {
        for (by, language, expected) in [
            (FIRST_START, Language::English, "(first start)"),
            (FIRST_START, Language::Spanish, "(primer arranque)"),
            ("Ana First", Language::Spanish, "(Ana First)"),
        ] {
            let what = AccessDeed::Added { role: Role::Manager, name: "Luz".to_owned() };
            let (account, by) = ("luz".to_owned(), Some(by.to_owned()));
            let event = AccessEvent { account, what, at: None, from: None, by, times: 1, right: None };
            let reader = Reader { language, scale: Scale::Celsius, zone: jiff::tz::TimeZone::UTC };
            let said = told(&event, &reader);
            assert!(said.ends_with(expected), "{said}");
        }
    }

    // Regression: a look at the settings and the making of an administrator were told alike where they were refused.
    // What an earlier version put on record names no right.
    #[test]
    fn a_refusal_says_which_right_was_missing() {
        for (right, language, expected) in [
            (None, Language::English, "olga was refused: the role does not have the right"),
            (None, Language::Spanish, "olga fue rechazado: su función no tiene ese permiso"),
            (
                Some(Right::Settings),
                Language::English,
                "olga was refused: the role does not have the right to see and try the settings",
            ),
            (
                Some(Right::Accounts),
                Language::English,
                "olga was refused: the role does not have the right to change accounts and tokens",
            ),
            (
                Some(Right::Accounts),
                Language::Spanish,
                "olga fue rechazado: su función no tiene permiso para cambiar cuentas y fichas",
            ),
        ] {
            let what = AccessDeed::Refused(AccessRefusal::NotAllowed);
            let account = "olga".to_owned();
            let event = AccessEvent { account, what, at: None, from: None, by: None, times: 1, right };
            let reader = Reader { language, scale: Scale::Celsius, zone: jiff::tz::TimeZone::UTC };
            assert_eq!(told(&event, &reader), expected);
            assert!(language == Language::Spanish || event.sentence() == expected, "{}", event.sentence());
        }
    }

    // Regression: the language was told by its code, «reads in es».
    #[test]
    fn a_language_has_its_name() {
        for (chosen, language, expected) in [
            (Language::Spanish, Language::English, "luz reads in Spanish and °F"),
            (Language::Spanish, Language::Spanish, "luz lee en español y °F"),
            (Language::English, Language::Spanish, "luz lee en inglés y °F"),
        ] {
            let what = AccessDeed::ReaderChanged { language: chosen, scale: Scale::Fahrenheit };
            let account = "luz".to_owned();
            let event = AccessEvent { account, what, at: None, from: None, by: None, times: 1, right: None };
            let reader = Reader { language, scale: Scale::Celsius, zone: jiff::tz::TimeZone::UTC };
            assert_eq!(told(&event, &reader), expected);
        }
    }
}
