//! The pages of access: to log in and out, one's own account, and everybody's.

mod accounts;
mod tokens;

use std::sync::Arc;
use std::time::Duration;

use axum::extract::rejection::FormRejection;
use axum::extract::{DefaultBodyLimit, Form, Request, State};
use axum::http::{HeaderValue, Method, StatusCode, Uri, header};
use axum::middleware::{Next, from_fn};
use axum::response::Response;
use axum::routing::{get, post};
use axum::{Extension, Router};
use serde::Deserialize;

use super::done::Done;
use super::gate::{Visit, person, require};
use super::login::LoginError;
use super::name::AccountName;
use super::own::{NewPassword, OwnError};
use super::pages::{Asker, LoginFields, LoginPage, OwnPage, Round, Said, Wrong, keep, page};
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
        .route(all, get(accounts::show_all).post(accounts::add).layer(from_fn(understood)).layer(accounts()))
        .route(
            one,
            get(accounts::show_one).post(accounts::change_one).layer(from_fn(understood)).layer(accounts()),
        )
        .route("/tokens", post(tokens::add).layer(accounts()))
        .route("/tokens/{token}", post(tokens::revoke).layer(accounts()))
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

async fn show_login(
    State(access): Held,
    Extension(visit): Extension<Visit>,
    uri: Uri,
    stranger: Stranger,
) -> Response {
    let mut given = Given::read(&uri, &["to", "language"]);
    let back = given.take("to", |to| origin::own_path(to).map(str::to_owned).ok_or(Expected::Page));
    let known = || Expected::Named(Language::ALL.map(Language::code).to_vec());
    let chosen = given.take("language", |code| code.parse::<Language>().map_err(|_| known()));
    if given.is_refused() {
        return query::refused_to(&given, stranger);
    }
    let stranger = chosen.map_or(stranger, |language| stranger.reading(language));
    let fields = LoginFields { back: back.as_deref().unwrap_or_default(), ..LoginFields::default() };
    let answer = page(StatusCode::OK, &LoginPage::new(&access.options.site, fields, stranger));
    let kept = chosen.and_then(|language| keep(language, visit.secure));
    std::future::ready(with_cookie(answer, kept)).await
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
        | AccessRefusal::Misdirected
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
    let changed = access.take_done(secret, |done, _| done == Done::Password).is_some();
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
