//! The pages of everybody's accounts: to see them, make one, change one.

use std::sync::Arc;

use axum::Extension;
use axum::extract::{Form, Path, State};
use axum::http::StatusCode;
use axum::response::Response;
use serde::Deserialize;

use super::{Filled, Held, Known, incomplete, no_role, not_now};
use crate::core::reader::{Language, Scale};
use crate::core::record::AskedChange;
use crate::web::access::done::{self, Done};
use crate::web::access::gate::Visit;
use crate::web::access::pages::{
    AccountsPage, Asker, For, Listed, OnePage, Round, Said, SecretPage, Wrong, page,
};
use crate::web::access::wanted::{Change, ChangeError, ChangeRefusal};
use crate::web::access::{Access, secret, words};
use crate::web::frame;
use crate::web::person::Person;

pub(super) async fn show_all(
    State(access): Held,
    Extension(site): Known,
    Extension(person): Extension<Person>,
    Extension(visit): Extension<Visit>,
) -> Response {
    let round = Round { site: &site, person: &person, deep: 0 };
    let done = told(&access, &visit, round, |done, _| matches!(done, Done::Removed | Done::Revoked));
    all(&access, round, (StatusCode::OK, done), Wrong::default(), Default::default()).await
}

pub(super) async fn all(
    access: &Arc<Access>,
    round: Round<'_>,
    (status, done): (StatusCode, Option<String>),
    wrong: Wrong,
    typed: [String; 3],
) -> Response {
    let (accounts, tokens) = match (access.accounts().await, access.tokens().await) {
        (Ok(accounts), Ok(tokens)) => (accounts, tokens),
        (Err(error), _) | (_, Err(error)) => return not_now(&error, &round.into()),
    };
    let listed = Listed { accounts, tokens, now: access.now() };
    page(status, &AccountsPage::new(listed, round, (wrong, done), typed))
}

#[derive(Deserialize)]
pub(super) struct AddForm {
    account: String,
    name: String,
    role: String,
    language: Language,
    scale: Scale,
}

pub(super) async fn add(
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
    let round = Round { site: &site, person: &person, deep: 0 };
    let change = Change::Add { account, name, role, language: theirs, scale };
    match access.change(change, &person.account, Some(&visit.from.told)).await {
        Ok(changed) => {
            let (stored, secret) = (changed.name.unwrap_or_default(), changed.secret.unwrap_or_default());
            let what = (For::Account, changed.until);
            let template = SecretPage::new(&stored, &secret, what, round);
            page(StatusCode::OK, &template)
        }
        Err(ChangeError::Refused(why)) => {
            let shown = matches!(
                why,
                ChangeRefusal::Shown(_) | ChangeRefusal::ReadsAsToken | ChangeRefusal::ReadsAlike(_)
            );
            let field = if shown { "name" } else { "account" };
            let wrong = Wrong::at(field, words::unchanged(&why, language));
            all(&access, round, (StatusCode::UNPROCESSABLE_ENTITY, None), wrong, typed).await
        }
        Err(error) => unchanged(&error, &asker),
    }
}

/// Where the cause is not what was asked for.
pub(super) fn unchanged(error: &ChangeError, asker: &Asker) -> Response {
    tracing::error!(%error, "the accounts cannot be changed");
    asker.refused(StatusCode::SERVICE_UNAVAILABLE, Said::NotNow)
}

/// What this session just did, of what is told `here`, in words.
fn told(
    access: &Access,
    visit: &Visit,
    round: Round<'_>,
    here: impl Fn(Done, &str) -> bool,
) -> Option<String> {
    let (secret, _) = visit.session.as_ref()?;
    let taken = access.take_done(secret, here)?;
    Some(done::told(&taken, round.person.reader.language))
}

/// Keeps what this session did until its next page tells it so.
pub(super) fn keep(access: &Access, visit: &Visit, done: Option<Done>, of: &str) {
    if let (Some((session, _)), Some(done)) = (&visit.session, done) {
        access.keep_done(secret::hash(session), done, of);
    }
}

async fn one(
    access: &Arc<Access>,
    name: &str,
    (error, done): (String, Option<String>),
    round: Round<'_>,
) -> Response {
    let accounts = match access.accounts().await {
        Ok(accounts) => accounts,
        Err(error) => return not_now(&error, &round.into()),
    };
    match accounts.iter().find(|account| account.name.as_str() == name) {
        Some(account) => {
            let status = if error.is_empty() { StatusCode::OK } else { StatusCode::UNPROCESSABLE_ENTITY };
            page(status, &OnePage::new(account, (error, done), round))
        }
        None => Asker::from(round).refused(StatusCode::NOT_FOUND, Said::Unknown),
    }
}

pub(super) async fn show_one(
    State(access): Held,
    Extension(site): Known,
    Extension(person): Extension<Person>,
    Extension(visit): Extension<Visit>,
    Path(name): Path<String>,
) -> Response {
    let round = Round { site: &site, person: &person, deep: 1 };
    let here = |done, of: &str| of == name && !matches!(done, Done::Password | Done::Removed | Done::Revoked);
    let done = told(&access, &visit, round, here);
    one(&access, &name, (String::new(), done), round).await
}

#[derive(Clone, Copy, Deserialize)]
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
pub(super) struct OneForm {
    deed: Deed,
    #[serde(default)]
    role: Option<String>,
}

pub(super) async fn change_one(
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
    let done = match deed {
        Deed::Role => Some(Done::Role),
        Deed::Disable => Some(Done::Disabled),
        Deed::Enable => Some(Done::Enabled),
        Deed::Unlock => Some(Done::Unlocked),
        Deed::Remove => Some(Done::Removed),
        // Its secret says so.
        Deed::Reset => None,
    };
    let round = Round { site: &site, person: &person, deep: 1 };
    match access.change(change, &person.account, Some(&visit.from.told)).await {
        Ok(changed) => match &changed.secret {
            Some(secret) => {
                let what = (For::Account, changed.until);
                page(StatusCode::OK, &SecretPage::new(&name, secret, what, round))
            }
            None => {
                keep(&access, &visit, done, &name);
                let gone = matches!(deed, Deed::Remove);
                frame::go(&if gone { "../accounts".to_owned() } else { format!("../accounts/{name}") })
            }
        },
        Err(ChangeError::Refused(ChangeRefusal::Unknown | ChangeRefusal::NoName(_))) => {
            asker.refused(StatusCode::NOT_FOUND, Said::Unknown)
        }
        Err(ChangeError::Refused(why)) => {
            one(&access, &name, (words::unchanged(&why, language), None), round).await
        }
        Err(error) => unchanged(&error, &asker),
    }
}
