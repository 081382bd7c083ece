//! The pages of access: to log in and out, one's own account, and everybody's.

use std::sync::Arc;
use std::time::Duration;

use axum::extract::rejection::FormRejection;
use axum::extract::{DefaultBodyLimit, Form, Path, Request, State};
use axum::http::{HeaderValue, Method, StatusCode, Uri, header};
use axum::middleware::{Next, from_fn};
use axum::response::Response;
use axum::routing::{get, post};
use axum::{Extension, Router};
use serde::Deserialize;

use super::change::{Change, ChangeError, ChangeRefusal};
use super::gate::{Visit, person, require};
use super::login::LoginError;
use super::name::AccountName;
use super::own::{NewPassword, OwnError};
use super::pages::{
    AccountsPage, Asker, For, Listed, LoginFields, LoginPage, OnePage, OwnPage, Round, Said, SecretPage,
    Wrong, page, refused,
};
use super::password::{HashError, PasswordRefusal};
use super::store::Account;
use super::{Access, AccessError, origin, words};
use crate::core::access::Right;
use crate::core::reader::{Language, Scale};
use crate::core::record::{AccessRefusal, AskedChange};
use crate::web::frame::{self, Site};
use crate::web::person::Person;
use crate::web::query::{self, Expected, Given};
use crate::web::stranger::Stranger;

/// Longest form, in bytes: a few short fields and two passwords, each byte written as three.
const FORM_BYTES_MAX: usize = 8 * 1024;

type Filled<T> = Result<Form<T>, FormRejection>;
type Held = State<Arc<Access>>;
type Known = Extension<Arc<Site>>;
type By<'a> = (&'a Person, &'a Visit);
type Asked<'a> = (AskedChange, &'a str);

/// Where something is shown.
pub(in crate::web) const PAGES: [&str; 4] = ["/login", "/account", "/accounts", "/accounts/{account}"];

/// The routes, with what each takes.
pub(super) fn routes(access: &Arc<Access>) -> Router {
    let accounts = || require(Right::Accounts);
    let [at_login, own, all, one] = PAGES;
    Router::new()
        .route(at_login, get(show_login).post(login))
        .route("/logout", post(logout))
        .route(own, get(show_own).post(change_own).layer(from_fn(understood)))
        .route(all, get(show_all).post(add).layer(from_fn(understood)).layer(accounts()))
        .route(one, get(show_one).post(change_one).layer(from_fn(understood)).layer(accounts()))
        .route("/tokens", post(add_token).layer(accounts()))
        .route("/tokens/{token}", post(revoke_token).layer(accounts()))
        .layer(DefaultBodyLimit::max(FORM_BYTES_MAX))
        .with_state(Arc::clone(access))
}

/// Refuses what is asked behind the `?`: none of these pages understands anything there, see [`query`]. Whoever is not
/// known is led to the login; whoever has to choose a password is no person yet.
async fn understood(request: Request, next: Next) -> Response {
    let seen = request.extensions();
    let given = Given::read(request.uri(), &[]);
    if request.method() == Method::POST || !given.is_refused() {
        return next.run(request).await;
    }
    let session = seen.get::<Visit>().and_then(|visit| visit.session.as_ref());
    match (seen.get::<Person>(), seen.get::<Arc<Site>>(), session) {
        (Some(person), Some(site), _) => {
            query::refused(&given, person, site, frame::depth(request.uri().path()))
        }
        (_, _, Some((_, account))) => {
            query::refused_to(&given, Stranger::of(request.headers(), seen).reading(account.language))
        }
        (_, _, None) => next.run(request).await,
    }
}

/// Whether this path is open to somebody who has to choose a password first.
pub(super) fn before_password(path: &str) -> bool {
    matches!(path, "/login" | "/logout" | "/account")
        || path == "/favicon.ico"
        || path.starts_with("/assets/")
}

async fn show_login(State(access): Held, uri: Uri, stranger: Stranger) -> Response {
    let mut given = Given::read(&uri, &["to"]);
    let back = given.take("to", |to| origin::own_path(to).map(str::to_owned).ok_or(Expected::Page));
    if given.is_refused() {
        return query::refused_to(&given, stranger);
    }
    let fields = LoginFields { back: back.as_deref().unwrap_or_default(), ..LoginFields::default() };
    std::future::ready(page(StatusCode::OK, &LoginPage::new(&access.options.site, fields, stranger))).await
}

#[derive(Deserialize)]
struct LoginForm {
    account: String,
    password: String,
    #[serde(default)]
    to: String,
}

async fn login(
    State(access): Held,
    Extension(visit): Extension<Visit>,
    stranger: Stranger,
    form: Filled<LoginForm>,
) -> Response {
    let form = match form {
        Ok(Form(form)) => form,
        Err(rejection) => return incomplete(&rejection, &Asker::Stranger(stranger)),
    };
    let language = stranger.language;
    let back = origin::own_path(&form.to).unwrap_or_default();
    let before = visit.session.as_ref().map(|(secret, _)| secret.as_str());
    let begun = access.login(&form.account, form.password, before, &visit.from).await;
    let mut wait = None;
    let (status, error) = match begun {
        Ok(begun) => {
            let place = if begun.account.must_change { "./account".to_owned() } else { format!("./{back}") };
            return with_cookie(frame::go(&place), visit.cookie(&begun.secret));
        }
        Err(LoginError::Refused(turned)) => {
            wait = turned.wait;
            (refusal_status(turned.why), words::turned_away(turned, language))
        }
        Err(LoginError::Hash(HashError::Busy)) => {
            (StatusCode::SERVICE_UNAVAILABLE, words::not_now(language).to_owned())
        }
        Err(error @ (LoginError::Hash(_) | LoginError::Access(_))) => {
            tracing::error!(%error, "nobody can log in");
            (StatusCode::SERVICE_UNAVAILABLE, words::not_now(language).to_owned())
        }
    };
    // Of what was typed only a possible account comes back: the rest may be a password.
    let typed = form.account.parse().map(|name: AccountName| String::from(name)).unwrap_or_default();
    let fields = LoginFields { account: &typed, back, error };
    waiting(page(status, &LoginPage::new(&access.options.site, fields, stranger)), wait)
}

/// Says when to come again, the very number that the page says.
fn waiting(mut answer: Response, wait: Option<Duration>) -> Response {
    if let Some(wait) = wait {
        answer.headers_mut().insert(header::RETRY_AFTER, HeaderValue::from(words::wait_s(wait)));
    }
    answer
}

const fn refusal_status(why: AccessRefusal) -> StatusCode {
    match why {
        AccessRefusal::Locked | AccessRefusal::TooMany => StatusCode::TOO_MANY_REQUESTS,
        AccessRefusal::Wrong
        | AccessRefusal::Disabled
        | AccessRefusal::Expired
        | AccessRefusal::NotAllowed
        | AccessRefusal::Foreign
        | AccessRefusal::UnknownToken => StatusCode::UNPROCESSABLE_ENTITY,
    }
}

fn with_cookie(mut response: Response, cookie: Option<HeaderValue>) -> Response {
    if let Some(cookie) = cookie {
        response.headers_mut().append(header::SET_COOKIE, cookie);
    }
    response
}

fn incomplete(rejection: &FormRejection, asker: &Asker) -> Response {
    asker.refused(rejection.status(), Said::Incomplete)
}

/// What was sent as a role is none: says which there are.
async fn no_role(access: &Arc<Access>, (person, visit): By<'_>, asked: Asked<'_>, asker: &Asker) -> Response {
    access.role_refused(asked, &person.account, &visit.from.told).await;
    asker.refused(StatusCode::UNPROCESSABLE_ENTITY, Said::NoRole)
}

async fn logout(State(access): Held, Extension(visit): Extension<Visit>, asker: Asker) -> Response {
    if let Some((secret, account)) = &visit.session
        && let Err(error) = access.logout(&account.name, secret, &visit.from).await
    {
        return not_now(&error, &asker);
    }
    with_cookie(frame::go("./login"), visit.no_cookie())
}

fn not_now(error: &AccessError, asker: &Asker) -> Response {
    tracing::error!(%error, "the accounts cannot be used");
    asker.refused(StatusCode::SERVICE_UNAVAILABLE, Said::NotNow)
}

async fn show_own(
    State(access): Held,
    Extension(site): Known,
    Extension(visit): Extension<Visit>,
) -> Response {
    let Some((secret, account)) = &visit.session else { return frame::go("./login?to=account") };
    let changed = access.take_chosen(secret);
    let person = person(account, &access.options.zone);
    let round = Round { site: &site, person: &person, deep: 0 };
    std::future::ready(page(StatusCode::OK, &OwnPage::new(account, round, changed, Wrong::default()))).await
}

#[derive(Deserialize)]
#[serde(tag = "deed", rename_all = "kebab-case")]
enum OwnForm {
    Password {
        #[serde(default)]
        current: String,
        new: String,
        again: String,
    },
    Reader {
        language: Language,
        scale: Scale,
    },
}

async fn change_own(
    State(access): Held,
    Extension(site): Known,
    Extension(visit): Extension<Visit>,
    asker: Asker,
    stranger: Stranger,
    form: Filled<OwnForm>,
) -> Response {
    let Some((secret, account)) = &visit.session else {
        return asker.refused(StatusCode::UNAUTHORIZED, Said::NotAllowed);
    };
    match form {
        Err(rejection) => incomplete(&rejection, &asker),
        Ok(Form(OwnForm::Password { current, new, again })) => {
            let asked = NewPassword { current, new, again };
            let chosen = access.choose_password(&account.name, secret, asked, &visit.from).await;
            match chosen {
                Ok(fresh) => with_cookie(frame::go("./account"), visit.cookie(&fresh)),
                Err(error) => {
                    let person = person(account, &access.options.zone);
                    unchosen(&error, account, Round { site: &site, person: &person, deep: 0 })
                }
            }
        }
        Ok(Form(OwnForm::Reader { .. })) if account.must_change => {
            refused(StatusCode::FORBIDDEN, Said::ChangeFirst, stranger.reading(account.language))
        }
        Ok(Form(OwnForm::Reader { language, scale })) => {
            match access.choose_reader(&account.name, language, scale, &visit.from).await {
                Ok(()) => frame::go("./account"),
                Err(error) => not_now(&error, &asker),
            }
        }
    }
}

fn unchosen(error: &OwnError, account: &Account, round: Round<'_>) -> Response {
    let language = account.language;
    let (status, wrong) = match error {
        OwnError::Password(why) => {
            let field = if *why == PasswordRefusal::Differ { "again" } else { "new" };
            (StatusCode::UNPROCESSABLE_ENTITY, Wrong::at(field, words::no_password(*why, language)))
        }
        OwnError::Refused(turned) => {
            (refusal_status(turned.why), Wrong::at("current", words::turned_away(*turned, language)))
        }
        OwnError::Hash(HashError::Busy) => {
            (StatusCode::SERVICE_UNAVAILABLE, Wrong::at("new", words::not_now(language)))
        }
        OwnError::Hash(_) | OwnError::Access(_) => {
            tracing::error!(%error, "a password cannot be changed");
            (StatusCode::SERVICE_UNAVAILABLE, Wrong::at("new", words::not_now(language)))
        }
    };
    let wait = if let OwnError::Refused(turned) = error { turned.wait } else { None };
    waiting(page(status, &OwnPage::new(account, round, false, wrong)), wait)
}

async fn show_all(
    State(access): Held,
    Extension(site): Known,
    Extension(person): Extension<Person>,
) -> Response {
    let round = Round { site: &site, person: &person, deep: 0 };
    all(&access, round, StatusCode::OK, Wrong::default(), Default::default()).await
}

async fn all(
    access: &Arc<Access>,
    round: Round<'_>,
    status: StatusCode,
    wrong: Wrong,
    typed: [String; 3],
) -> Response {
    let (accounts, tokens) = match (access.accounts().await, access.tokens().await) {
        (Ok(accounts), Ok(tokens)) => (accounts, tokens),
        (Err(error), _) | (_, Err(error)) => return not_now(&error, &round.into()),
    };
    let listed = Listed { accounts, tokens, now: access.now() };
    page(status, &AccountsPage::new(listed, round, wrong, typed))
}

#[derive(Deserialize)]
struct AddForm {
    account: String,
    name: String,
    role: String,
    language: Language,
    scale: Scale,
}

async fn add(
    State(access): Held,
    Extension(site): Known,
    Extension(person): Extension<Person>,
    Extension(visit): Extension<Visit>,
    asker: Asker,
    form: Filled<AddForm>,
) -> Response {
    let language = person.reader.language;
    let Form(AddForm { account, name, role, language: theirs, scale }) = match form {
        Ok(form) => form,
        Err(rejection) => return incomplete(&rejection, &asker),
    };
    let Ok(role) = role.parse() else {
        return no_role(&access, (&person, &visit), (AskedChange::Add, &account), &asker).await;
    };
    let typed = [account.clone(), name.clone(), String::new()];
    let shown = account.clone();
    let round = Round { site: &site, person: &person, deep: 0 };
    let change = Change::Add { account, name, role, language: theirs, scale };
    match access.change(change, &person.account, Some(&visit.from.told)).await {
        Ok(changed) => {
            let secret = changed.secret.unwrap_or_default();
            let what = (For::Account, changed.until);
            let template = SecretPage::new(shown.trim(), &secret, what, round);
            page(StatusCode::OK, &template)
        }
        Err(ChangeError::Refused(why)) => {
            let shown = matches!(why, ChangeRefusal::Shown(_) | ChangeRefusal::ReadsAsToken);
            let field = if shown { "name" } else { "account" };
            let wrong = Wrong::at(field, words::unchanged(&why, language));
            all(&access, round, StatusCode::UNPROCESSABLE_ENTITY, wrong, typed).await
        }
        Err(error) => unchanged(&error, &asker),
    }
}

/// Where the cause is not what was asked for.
fn unchanged(error: &ChangeError, asker: &Asker) -> Response {
    tracing::error!(%error, "the accounts cannot be changed");
    asker.refused(StatusCode::SERVICE_UNAVAILABLE, Said::NotNow)
}

async fn one(access: &Arc<Access>, name: &str, error: &'static str, round: Round<'_>) -> Response {
    let accounts = match access.accounts().await {
        Ok(accounts) => accounts,
        Err(error) => return not_now(&error, &round.into()),
    };
    match accounts.iter().find(|account| account.name.as_str() == name) {
        Some(account) => {
            let status = if error.is_empty() { StatusCode::OK } else { StatusCode::UNPROCESSABLE_ENTITY };
            page(status, &OnePage::new(account, error, round))
        }
        None => Asker::from(round).refused(StatusCode::NOT_FOUND, Said::Unknown),
    }
}

async fn show_one(
    State(access): Held,
    Extension(site): Known,
    Extension(person): Extension<Person>,
    Path(name): Path<String>,
) -> Response {
    one(&access, &name, "", Round { site: &site, person: &person, deep: 1 }).await
}

#[derive(Deserialize)]
#[serde(rename_all = "kebab-case")]
enum Deed {
    Role,
    Disable,
    Enable,
    Reset,
    Unlock,
    Remove,
}

#[derive(Deserialize)]
struct OneForm {
    deed: Deed,
    #[serde(default)]
    role: Option<String>,
}

async fn change_one(
    State(access): Held,
    Extension(site): Known,
    Extension(person): Extension<Person>,
    Extension(visit): Extension<Visit>,
    asker: Asker,
    Path(account): Path<String>,
    form: Filled<OneForm>,
) -> Response {
    let language = person.reader.language;
    let Form(OneForm { deed, role }) = match form {
        Ok(form) => form,
        Err(rejection) => return incomplete(&rejection, &asker),
    };
    let name = account.clone();
    let change = match (deed, role) {
        (Deed::Role, role) => match role.as_deref().map(str::parse) {
            Some(Ok(role)) => Change::Role { account, role },
            Some(Err(_)) | None => {
                return no_role(&access, (&person, &visit), (AskedChange::Role, &account), &asker).await;
            }
        },
        (Deed::Disable, _) => Change::Disable { account },
        (Deed::Enable, _) => Change::Enable { account },
        (Deed::Reset, _) => Change::Reset { account },
        (Deed::Unlock, _) => Change::Unlock { account },
        (Deed::Remove, _) => Change::Remove { account },
    };
    let gone = matches!(change, Change::Remove { .. });
    let round = Round { site: &site, person: &person, deep: 1 };
    match access.change(change, &person.account, Some(&visit.from.told)).await {
        Ok(changed) => match &changed.secret {
            Some(secret) => {
                let what = (For::Account, changed.until);
                page(StatusCode::OK, &SecretPage::new(&name, secret, what, round))
            }
            None if gone => frame::go("../accounts"),
            None => frame::go(&format!("../accounts/{name}")),
        },
        Err(ChangeError::Refused(ChangeRefusal::Unknown | ChangeRefusal::NoName(_))) => {
            asker.refused(StatusCode::NOT_FOUND, Said::Unknown)
        }
        Err(ChangeError::Refused(why)) => one(&access, &name, words::unchanged(&why, language), round).await,
        Err(error) => unchanged(&error, &asker),
    }
}

#[derive(Deserialize)]
struct TokenForm {
    token: String,
    role: String,
    days: u32,
}

async fn add_token(
    State(access): Held,
    Extension(site): Known,
    Extension(person): Extension<Person>,
    Extension(visit): Extension<Visit>,
    asker: Asker,
    form: Filled<TokenForm>,
) -> Response {
    let language = person.reader.language;
    let Form(TokenForm { token, role, days }) = match form {
        Ok(form) => form,
        Err(rejection) => return incomplete(&rejection, &asker),
    };
    let Ok(role) = role.parse() else {
        return no_role(&access, (&person, &visit), (AskedChange::AddToken, &token), &asker).await;
    };
    let name = token.clone();
    let round = Round { site: &site, person: &person, deep: 0 };
    match access.change(Change::AddToken { token, role, days }, &person.account, Some(&visit.from.told)).await
    {
        Ok(changed) => {
            let secret = changed.secret.unwrap_or_default();
            let what = (For::Token, changed.until);
            page(StatusCode::OK, &SecretPage::new(name.trim(), &secret, what, round))
        }
        Err(ChangeError::Refused(why)) => {
            let field = if why == ChangeRefusal::Days { "days" } else { "token" };
            let wrong = Wrong::at(field, words::unchanged(&why, language));
            let typed = [String::new(), String::new(), name];
            all(&access, round, StatusCode::UNPROCESSABLE_ENTITY, wrong, typed).await
        }
        Err(error) => unchanged(&error, &asker),
    }
}

async fn revoke_token(
    State(access): Held,
    Extension(person): Extension<Person>,
    Extension(visit): Extension<Visit>,
    asker: Asker,
    Path(token): Path<String>,
) -> Response {
    match access.change(Change::RevokeToken { token }, &person.account, Some(&visit.from.told)).await {
        Ok(_) => frame::go("../accounts"),
        Err(ChangeError::Refused(_)) => asker.refused(StatusCode::NOT_FOUND, Said::Unknown),
        Err(error) => unchanged(&error, &asker),
    }
}
