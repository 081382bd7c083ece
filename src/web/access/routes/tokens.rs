//! Making and revoking tokens.

use axum::Extension;
use axum::extract::{Form, Path, State};
use axum::http::StatusCode;
use axum::response::Response;
use serde::Deserialize;

use super::accounts::{all, keep, unchanged};
use super::{Filled, Held, Known, incomplete, no_role};
use crate::core::record::AskedChange;
use crate::web::access::done::Done;
use crate::web::access::gate::Visit;
use crate::web::access::pages::{Asker, For, Round, Said, SecretPage, Wrong, page};
use crate::web::access::wanted::{Change, ChangeError, ChangeRefusal};
use crate::web::access::words;
use crate::web::frame;
use crate::web::person::Person;

#[derive(Deserialize)]
pub(super) struct TokenForm {
    token: String,
    role: String,
    days: u32,
}

/// Makes a token.
pub(super) async fn add(
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
            let (stored, secret) = (changed.name.unwrap_or_default(), changed.secret.unwrap_or_default());
            let what = (For::Token, changed.until);
            page(StatusCode::OK, &SecretPage::new(&stored, &secret, what, round))
        }
        Err(ChangeError::Refused(why)) => {
            let field = if why == ChangeRefusal::Days { "days" } else { "token" };
            let wrong = Wrong::at(field, words::unchanged(&why, language));
            let typed = [String::new(), String::new(), name];
            all(&access, round, (StatusCode::UNPROCESSABLE_ENTITY, None), wrong, typed).await
        }
        Err(error) => unchanged(&error, &asker),
    }
}

/// Revokes a token.
pub(super) async fn revoke(
    State(access): Held,
    Extension(person): Extension<Person>,
    Extension(visit): Extension<Visit>,
    asker: Asker,
    Path(token): Path<String>,
) -> Response {
    let name = token.clone();
    match access.change(Change::RevokeToken { token }, &person.account, Some(&visit.from.told)).await {
        Ok(_) => {
            keep(&access, &visit, Some(Done::Revoked), &name);
            frame::go("../accounts")
        }
        Err(ChangeError::Refused(_)) => asker.refused(StatusCode::NOT_FOUND, Said::Unknown),
        Err(error) => unchanged(&error, &asker),
    }
}
