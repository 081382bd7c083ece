//! The pages of access as HTML.

mod said;

use std::convert::Infallible;
use std::sync::Arc;

use askama::Template;
use axum::extract::FromRequestParts;
use axum::http::request::Parts;
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::{Html, IntoResponse, Response};

pub(super) use said::Said;

use super::gate::cookie;
use super::store::{Account, Token};
use super::words::{Words, words};
use crate::core::access::Role;
use crate::core::address::escaped;
use crate::core::reader::{Language, Reader, Scale};
use crate::core::time::Timestamp;
use crate::web::frame::{self, Frame, Site, Tab};
use crate::web::pages::STYLE;
use crate::web::person::Person;
use crate::web::stranger::Stranger;
use crate::web::who;

/// Name of the cookie that holds the language which somebody chose before they logged in. Nothing else is in it.
const LANGUAGE: &str = "rinseward-language";
/// How long a browser keeps it, s (own choice: a year).
const LANGUAGE_S: u32 = 31_536_000;

/// The header that lets a browser keep a language.
pub(super) fn keep(language: Language, secure: bool) -> Option<HeaderValue> {
    let secure = if secure { "; Secure" } else { "" };
    let text =
        format!("{LANGUAGE}={language}; Path=/; Max-Age={LANGUAGE_S}; HttpOnly; SameSite=Strict{secure}");
    HeaderValue::from_str(&text).ok()
}

/// The language that was chosen with this browser before anybody logged in.
fn chosen(headers: &HeaderMap) -> Option<Language> {
    cookie(headers, LANGUAGE)?.parse().ok()
}

/// The language that was chosen, or else that a browser asks for first (RFC 9110 §12.5.4).
pub(in crate::web) fn asked(headers: &HeaderMap) -> Language {
    if let Some(chosen) = chosen(headers) {
        return chosen;
    }
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
    way: Option<(String, &'static str)>,
}

/// A page that says why nothing was done.
pub(super) fn refused(status: StatusCode, said: Said, stranger: Stranger) -> Response {
    let (title, text, advice) = said.words(stranger.language);
    page(
        status,
        &PlainPage {
            words: words(stranger.language),
            title,
            style: STYLE,
            stranger,
            text,
            advice,
            way: None,
        },
    )
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
    languages: [Tongue; 2],
}

/// A language that can be chosen.
struct Tongue {
    code: &'static str,
    name: &'static str,
    /// Where it is chosen.
    to: String,
    chosen: bool,
}

impl Tongue {
    fn of(language: Language, back: &str, own: Language) -> Self {
        let name = match language {
            Language::English => "English",
            Language::Spanish => "Español",
        };
        let to = if back.is_empty() { String::new() } else { format!("&to={}", escaped(back)) };
        let code = language.code();
        Self { code, name, to: format!("login?language={code}{to}"), chosen: language == own }
    }
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
        let languages = Language::ALL.map(|language| Tongue::of(language, back, stranger.language));
        Self { words, title: words.log_in, style: STYLE, stranger, site, account, back, error, languages }
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
    /// When somebody last logged in; of a token, until when it counts.
    when: String,
    state: &'static str,
    live: bool,
}

impl Row {
    fn account(account: Account, reader: &Reader) -> Self {
        let words = words(reader.language);
        Self {
            when: account.last_login.map_or_else(|| words.never.to_owned(), |at| reader.moment(at)),
            state: match (account.disabled, account.must_change) {
                (true, _) => words.disabled,
                (false, true) => words.waits,
                (false, false) => "",
            },
            role: who::role(account.role, reader.language),
            live: !account.disabled,
            name: account.name.into(),
            shown: account.shown,
        }
    }

    fn token(token: Token, now: Timestamp, reader: &Reader) -> Self {
        let live = !token.revoked && now < token.until;
        Self {
            when: reader.moment(token.until),
            state: if live { "" } else { words(reader.language).ended },
            role: who::role(token.role, reader.language),
            live,
            shown: String::new(),
            name: token.name.into(),
        }
    }
}

/// All accounts and tokens for whoever may only look at them.
#[derive(Template)]
#[template(path = "web/access/pages/listed.html", config = ".askama.toml")]
struct ListedPart {
    words: &'static Words,
    accounts: Vec<Row>,
    tokens: Vec<Row>,
}

/// All accounts and tokens, as the page of accounts tells them, ready to be put into another.
pub(in crate::web) fn listed(
    accounts: Vec<Account>,
    tokens: Vec<Token>,
    now: Timestamp,
    reader: &Reader,
) -> Result<String, askama::Error> {
    let part = ListedPart {
        words: words(reader.language),
        accounts: accounts.into_iter().map(|one| Row::account(one, reader)).collect(),
        tokens: tokens.into_iter().map(|one| Row::token(one, now, reader)).collect(),
    };
    part.render()
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
        Self {
            frame,
            words,
            accounts: accounts.into_iter().map(|one| Row::account(one, reader)).collect(),
            tokens: tokens.into_iter().map(|one| Row::token(one, now, reader)).collect(),
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
    error: String,
    done: Option<String>,
}

impl<'a> OnePage<'a> {
    pub(super) fn new(
        account: &'a Account,
        (error, done): (String, Option<String>),
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

    // RFC 6265 §4.1.2: no script reads the cookie and no other site sends it. Own promise: the language that was chosen
    // goes before the browser's, and what is none counts for nothing.
    #[test]
    fn a_language_is_kept_in_a_strict_cookie() {
        for (secure, end) in
            [(false, "HttpOnly; SameSite=Strict"), (true, "HttpOnly; SameSite=Strict; Secure")]
        {
            let header = keep(Language::Spanish, secure).expect("a header");
            let text = header.to_str().expect("ASCII");
            assert!(text.starts_with("rinseward-language=es; Path=/; ") && text.ends_with(end), "{text}");
        }
        for (cookie, browser, expected) in [
            ("rinseward-language=es", "en", Language::Spanish),
            ("a=b; rinseward-language=en", "es-MX", Language::English),
            ("rinseward-language=tlh", "es", Language::Spanish),
            ("a=b", "en", Language::English),
        ] {
            let mut headers = HeaderMap::new();
            headers.insert(header::COOKIE, HeaderValue::from_static(cookie));
            headers.insert(header::ACCEPT_LANGUAGE, HeaderValue::from_static(browser));
            assert_eq!(asked(&headers), expected, "{cookie} {browser}");
        }
    }
}
