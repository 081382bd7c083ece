//! Who asks for a page, and how they read.

use axum::extract::FromRequestParts;
use axum::http::request::Parts;
use axum::response::Response;

use crate::core::access::{Right, Role};
use crate::core::reader::Reader;

/// Somebody who is logged in, or a program that shows a token.
#[derive(Clone, PartialEq, Debug)]
pub struct Person {
    /// Name of the account, as it is typed to log in; of a token, `token ` and its name, which no account bears.
    pub account: String,
    /// Name that goes on record beside what they do.
    pub name: String,
    /// What they may do.
    pub role: Role,
    /// Language and scale of their own, zone of the site.
    pub reader: Reader,
}

impl Person {
    /// Whether they may do this.
    #[must_use]
    pub const fn may(&self, right: Right) -> bool {
        self.role.may(right)
    }
}

impl<S: Send + Sync> FromRequestParts<S> for Person {
    /// Leads a browser to the login.
    type Rejection = Response;

    /// The person whom the layer of `access` found, see there.
    async fn from_request_parts(parts: &mut Parts, _state: &S) -> Result<Self, Response> {
        let known = parts.extensions.get::<Self>().cloned();
        let unknown = || super::access::to_login(&parts.method, &parts.headers, &parts.uri);
        std::future::ready(known.ok_or_else(unknown)).await
    }
}
