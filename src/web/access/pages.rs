//! The pages of access as HTML.

use std::convert::Infallible;
use std::sync::Arc;

use askama::Template;
use axum::extract::FromRequestParts;
use axum::http::request::Parts;
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{Html, IntoResponse, Response};

use super::store::{Account, Token};
use super::words::{Words, words};
use crate::core::access::Role;
use crate::core::reader::{Language, Scale};
use crate::core::time::Timestamp;
use crate::web::frame::{self, Frame, Site, Tab};
use crate::web::pages::STYLE;
use crate::web::person::Person;
use crate::web::stranger::Stranger;
use crate::web::who;
use crate::web::words::Telling;

/// What a page that shows nothing says.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Said {
    /// The role does not have the right.
    NotAllowed,
    /// The form came from another site.
    Foreign,
    /// The request names another host.
    Misdirected,
    /// A password must be chosen first.
    ChangeFirst,
    /// There is nothing of this name.
    Unknown,
    /// A field is missing, or too much was sent.
    Incomplete,
    /// What was asked for as a role is none.
    NoRole,
    /// It cannot be done just then.
    NotNow,
}

impl Said {
    /// What happened, what that means, what to do.
    pub(super) const fn words(self, language: Language) -> (&'static str, &'static str, &'static str) {
        let telling = match self {
            Self::NotAllowed => &NOT_ALLOWED,
            Self::Foreign => &FOREIGN,
            Self::Misdirected => &MISDIRECTED,
            Self::ChangeFirst => &CHANGE_FIRST,
            Self::Unknown => &UNKNOWN,
            Self::Incomplete => &INCOMPLETE,
            Self::NoRole => &NO_ROLE,
            Self::NotNow => &NOT_NOW,
        };
        telling.told(language)
    }
}

const NOT_ALLOWED: Telling = Telling {
    english: (
        "Your role does not have this right",
        "Nothing was changed, and that it was tried is on record.",
        "Ask the administrator where it belongs to your work.",
    ),
    spanish: (
        "Su función no tiene este permiso",
        "No se ha cambiado nada; el intento queda registrado.",
        "Pregunte al administrador si forma parte de su trabajo.",
    ),
};

const FOREIGN: Telling = Telling {
    english: (
        "This was sent from another site",
        "Only the pages of this gateway may do this. Nothing was changed.",
        "Open the page here and press the button there. A very old browser cannot be used.",
    ),
    spanish: (
        "Esto se envió desde otro sitio",
        "Solo las páginas de este equipo pueden hacerlo. No se ha cambiado nada.",
        "Abra la página aquí y pulse el botón allí. Un navegador muy antiguo no sirve.",
    ),
};

const MISDIRECTED: Telling = Telling {
    english: (
        "This gateway does not know that name",
        "The address names a host that this gateway was not told is its own, so nothing is shown: a \
                 stranger's name could lead here. Nothing was changed.",
        "Use the address that its messages name, or its address in numbers. If the name is right, whoever \
                 keeps the gateway sets public-url in [web] of its configuration to it; a proxy before it must pass \
                 the name on (header Host).",
    ),
    spanish: (
        "Este equipo no conoce ese nombre",
        "La dirección nombra un servidor que no consta como propio de este equipo, por lo que no se muestra \
                 nada: un nombre ajeno podría llevar aquí. No se ha cambiado nada.",
        "Use la dirección que figura en sus mensajes, o la dirección en números. Si el nombre es correcto, \
                 quien cuida el equipo lo pone como public-url en [web] de su configuración; un proxy delante debe \
                 transmitir el nombre (cabecera Host).",
    ),
};

const CHANGE_FIRST: Telling = Telling {
    english: (
        "Choose a password first",
        "Until then nothing else can be done. Nothing was changed.",
        "Open «Your account».",
    ),
    spanish: (
        "Elija primero una contraseña",
        "Hasta entonces no puede hacerse nada más. No se ha cambiado nada.",
        "Abra «Su cuenta».",
    ),
};

const UNKNOWN: Telling = Telling {
    english: (
        "There is nothing here",
        "There is no account or token of this name. Nothing was changed.",
        "Go back to the list.",
    ),
    spanish: (
        "Aquí no hay nada",
        "No hay ninguna cuenta ni ficha con este nombre. No se ha cambiado nada.",
        "Vuelva a la lista.",
    ),
};

const NO_ROLE: Telling = Telling {
    english: (
        "There is no such role",
        "The roles are auditor, operator, manager, technician and administrator. Nothing was changed.",
        "Go back, choose one of them, and send again.",
    ),
    spanish: (
        "No hay tal función",
        "Las funciones son auditor, operador (operator), encargado (manager), técnico (technician) y administrador \
                 (administrator). No se ha cambiado nada.",
        "Vuelva atrás, elija una de ellas y envíe de nuevo.",
    ),
};

const INCOMPLETE: Telling = Telling {
    english: (
        "Something is missing",
        "A field was missing or too long. Nothing was changed.",
        "Go back, fill in every field that is asked for, and send again.",
    ),
    spanish: (
        "Falta algo",
        "Un campo faltaba o era demasiado largo. No se ha cambiado nada.",
        "Vuelva atrás, rellene todos los campos que se piden y envíe de nuevo.",
    ),
};

const NOT_NOW: Telling = Telling {
    english: (
        "Not possible just now",
        "The accounts cannot be read or written at this moment. Nothing was changed.",
        "Try again in a minute; whoever keeps the gateway finds the cause in its log.",
    ),
    spanish: (
        "No es posible en este momento",
        "Las cuentas no se pueden leer ni escribir ahora mismo. No se ha cambiado nada.",
        "Inténtelo en un minuto; quien cuida el equipo encontrará la causa en su registro.",
    ),
};

/// The language that a browser asks for first (RFC 9110 §12.5.4).
pub(in crate::web) fn asked(headers: &HeaderMap) -> Language {
    let asked = headers.get(header::ACCEPT_LANGUAGE).and_then(|value| value.to_str().ok());
    let spanish = asked.is_some_and(|asked| asked.trim_start().to_ascii_lowercase().starts_with("es"));
    if spanish { Language::Spanish } else { Language::English }
}

#[derive(Template)]
#[template(path = "web/pages/plain.html", config = ".askama.toml")]
struct PlainPage {
    words: &'static Words,
    title: &'static str,
    style: &'static str,
    stranger: Stranger,
    text: &'static str,
    advice: &'static str,
}

/// A page that says why nothing was done.
pub(super) fn refused(status: StatusCode, said: Said, stranger: Stranger) -> Response {
    let (title, text, advice) = said.words(stranger.language);
    page(status, &PlainPage { words: words(stranger.language), title, style: STYLE, stranger, text, advice })
}

/// Who asks, for a page that says why nothing was done: whoever is known gets it with all that is round a page.
#[derive(Clone, Debug)]
pub(super) enum Asker {
    Stranger(Stranger),
    Known { person: Box<Person>, site: Site, deep: usize },
}

impl Asker {
    /// Says why nothing was done.
    pub(super) fn refused(&self, status: StatusCode, said: Said) -> Response {
        match self {
            Self::Stranger(stranger) => refused(status, said, *stranger),
            Self::Known { person, site, deep } => {
                frame::told(status, said.words(person.reader.language), person, site, *deep)
            }
        }
    }
}

impl From<Round<'_>> for Asker {
    fn from(Round { site, person, deep }: Round<'_>) -> Self {
        Self::Known { person: Box::new(person.clone()), site: site.clone(), deep }
    }
}

impl<S: Send + Sync> FromRequestParts<S> for Asker {
    type Rejection = Infallible;

    async fn from_request_parts(parts: &mut Parts, _state: &S) -> Result<Self, Infallible> {
        let deep = frame::depth(parts.uri.path());
        let asker = match (parts.extensions.get::<Person>(), parts.extensions.get::<Arc<Site>>()) {
            (Some(person), Some(site)) => Self::from(Round { site, person, deep }),
            (Some(_), None) | (None, _) => Self::Stranger(Stranger::of(&parts.headers, &parts.extensions)),
        };
        std::future::ready(Ok(asker)).await
    }
}

pub(super) fn page(status: StatusCode, template: &impl Template) -> Response {
    match template.render() {
        Ok(html) => (status, Html(html)).into_response(),
        Err(error) => {
            tracing::error!(%error, "a page could not be made");
            StatusCode::INTERNAL_SERVER_ERROR.into_response()
        }
    }
}

/// The page to log in at.
#[derive(Template)]
#[template(path = "web/access/pages/login.html", config = ".askama.toml")]
pub(super) struct LoginPage<'a> {
    words: &'static Words,
    title: &'static str,
    style: &'static str,
    stranger: Stranger,
    site: &'a str,
    account: &'a str,
    back: &'a str,
    error: String,
}

/// What the login is filled with.
#[derive(Default)]
pub(super) struct LoginFields<'a> {
    pub(super) account: &'a str,
    pub(super) back: &'a str,
    pub(super) error: String,
}

impl<'a> LoginPage<'a> {
    pub(super) fn new(site: &'a str, fields: LoginFields<'a>, stranger: Stranger) -> Self {
        let words = words(stranger.language);
        let LoginFields { account, back, error } = fields;
        Self { words, title: words.log_in, style: STYLE, stranger, site, account, back, error }
    }
}

/// What is round a page: the site, the person, and how deep below the top the page is.
#[derive(Clone, Copy, Debug)]
pub(super) struct Round<'a> {
    pub(super) site: &'a Site,
    pub(super) person: &'a Person,
    pub(super) deep: usize,
}

impl<'a> Round<'a> {
    fn frame(self, title: &'a str) -> Frame<'a> {
        Frame::new(self.site, self.person, Tab::More, self.deep, title)
    }
}

/// What is wrong with which field.
#[derive(Clone, Default, Debug)]
pub(super) struct Wrong {
    pub(super) field: &'static str,
    pub(super) error: String,
}

impl Wrong {
    pub(super) fn at(field: &'static str, error: impl Into<String>) -> Self {
        Self { field, error: error.into() }
    }

    fn is(&self, field: &str) -> bool {
        self.field == field && !self.error.is_empty()
    }
}

/// The page of one's own account.
#[derive(Template)]
#[template(path = "web/access/pages/account.html", config = ".askama.toml")]
pub(super) struct OwnPage<'a> {
    frame: Frame<'a>,
    words: &'static Words,
    account: &'a Account,
    role: &'static str,
    administers: bool,
    changed: bool,
    wrong: Wrong,
}

impl<'a> OwnPage<'a> {
    pub(super) fn new(account: &'a Account, round: Round<'a>, changed: bool, wrong: Wrong) -> Self {
        let words = words(account.language);
        let frame = round.frame(words.own);
        let role = who::role(account.role, account.language);
        let administers = account.role == Role::Administrator && !account.must_change;
        Self { frame, words, account, role, administers, changed, wrong }
    }
}

/// A row of the list of accounts, or of tokens.
#[derive(Debug)]
struct Row {
    name: String,
    shown: String,
    role: &'static str,
    when: String,
    state: &'static str,
    live: bool,
}

/// The page of all accounts and tokens.
#[derive(Template)]
#[template(path = "web/access/pages/accounts.html", config = ".askama.toml")]
pub(super) struct AccountsPage<'a> {
    frame: Frame<'a>,
    words: &'static Words,
    accounts: Vec<Row>,
    tokens: Vec<Row>,
    roles: Vec<Choice>,
    /// What was just done.
    done: Option<String>,
    wrong: Wrong,
    typed: [String; 3],
}

/// All that the page of accounts shows.
pub(super) struct Listed {
    pub(super) accounts: Vec<Account>,
    pub(super) tokens: Vec<Token>,
    pub(super) now: Timestamp,
}

impl<'a> AccountsPage<'a> {
    /// `typed` is what was typed for account, name and token, and was not taken.
    pub(super) fn new(
        listed: Listed,
        round: Round<'a>,
        (wrong, done): (Wrong, Option<String>),
        typed: [String; 3],
    ) -> Self {
        let reader = &round.person.reader;
        let language = reader.language;
        let words = words(language);
        let frame = round.frame(words.accounts);
        let Listed { accounts, tokens, now } = listed;
        let account = |account: Account| Row {
            when: account.last_login.map_or_else(|| words.never.to_owned(), |at| reader.moment(at)),
            state: match (account.disabled, account.must_change) {
                (true, _) => words.disabled,
                (false, true) => words.waits,
                (false, false) => "",
            },
            role: who::role(account.role, language),
            live: !account.disabled,
            name: account.name.into(),
            shown: account.shown,
        };
        let token = |token: Token| {
            let live = !token.revoked && now < token.until;
            Row {
                when: reader.moment(token.until),
                state: if live { "" } else { words.ended },
                role: who::role(token.role, language),
                live,
                shown: String::new(),
                name: token.name.into(),
            }
        };
        Self {
            frame,
            words,
            accounts: accounts.into_iter().map(account).collect(),
            tokens: tokens.into_iter().map(token).collect(),
            roles: roles(language),
            done,
            wrong,
            typed,
        }
    }
}

/// A role to choose: as it is sent, its word, and what it may do.
type Choice = (&'static str, &'static str, &'static str);

fn roles(language: Language) -> Vec<Choice> {
    let told = |role: Role| (role.as_str(), who::role(role, language), who::may(role, language));
    Role::ALL.into_iter().map(told).collect()
}

/// The page of one account, for an administrator.
#[derive(Template)]
#[template(path = "web/access/pages/one.html", config = ".askama.toml")]
pub(super) struct OnePage<'a> {
    frame: Frame<'a>,
    words: &'static Words,
    account: &'a Account,
    roles: Vec<Choice>,
    error: &'static str,
    done: Option<String>,
}

impl<'a> OnePage<'a> {
    pub(super) fn new(
        account: &'a Account,
        (error, done): (&'static str, Option<String>),
        round: Round<'a>,
    ) -> Self {
        let language = round.person.reader.language;
        let frame = round.frame(account.name.as_str());
        Self { frame, words: words(language), account, roles: roles(language), error, done }
    }
}

/// The page that shows a secret once.
#[derive(Template)]
#[template(path = "web/access/pages/secret.html", config = ".askama.toml")]
pub(super) struct SecretPage<'a> {
    frame: Frame<'a>,
    words: &'static Words,
    name: &'a str,
    secret: &'a str,
    how: &'static str,
    until: String,
    /// What whoever gets it does with it.
    then: &'static str,
}

/// What a secret is for.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum For {
    /// One login.
    Account,
    /// A program.
    Token,
}

impl<'a> SecretPage<'a> {
    pub(super) fn new(
        name: &'a str,
        secret: &'a str,
        (what, until): (For, Option<Timestamp>),
        round: Round<'a>,
    ) -> Self {
        let words = words(round.person.reader.language);
        let frame = round.frame(words.secret);
        let (how, then) = match what {
            For::Account => (words.secret_account, words.secret_then),
            For::Token => (words.secret_token, ""),
        };
        let until = until.map_or_else(String::new, |until| round.person.reader.moment(until));
        Self { frame, words, name, secret, how, until, then }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Own promise: the answer names every role that there is.
    #[test]
    fn each_role_is_named_in_both_languages() {
        for language in Language::ALL {
            let (_, which, _) = Said::NoRole.words(language);
            for role in Role::ALL {
                assert!(which.contains(role.as_str()) && which.contains(who::role(role, language)), "{role}");
            }
        }
    }
}
