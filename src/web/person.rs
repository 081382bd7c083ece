//! Who asks for a page, and how they read.

use axum::extract::FromRequestParts;
use axum::http::request::Parts;
use axum::http::{HeaderValue, Method, StatusCode, header};
use axum::response::{IntoResponse, Response};

use crate::core::access::{Right, Role};
use crate::core::reader::Reader;

/// Somebody who is logged in, or a program that shows a token.
#[derive(Clone, PartialEq, Debug)]
pub struct Person {
    /// Name of the account, as it is typed to log in; of a token, its name.
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

/// Nobody is known to ask.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Unknown {
    /// Somebody at a page, who can log in and come back; so many steps below the top of the site.
    AtPage(usize),
    /// Anybody else.
    Elsewhere,
}

impl<S: Send + Sync> FromRequestParts<S> for Person {
    type Rejection = Unknown;

    /// The person whom the layer of `access` found, see there.
    async fn from_request_parts(parts: &mut Parts, _state: &S) -> Result<Self, Unknown> {
        let known = parts.extensions.get::<Self>().cloned();
        let asks_for_page = parts.method == Method::GET
            && parts
                .headers
                .get(header::ACCEPT)
                .is_some_and(|accept| accept.to_str().is_ok_and(|accept| accept.contains("text/html")));
        let deep = super::frame::depth(parts.uri.path());
        let unknown = if asks_for_page { Unknown::AtPage(deep) } else { Unknown::Elsewhere };
        std::future::ready(known.ok_or(unknown)).await
    }
}

impl IntoResponse for Unknown {
    fn into_response(self) -> Response {
        match self {
            Self::AtPage(deep) => {
                let to = format!("{}login", "../".repeat(deep));
                match HeaderValue::from_str(&to) {
                    Ok(to) => (StatusCode::SEE_OTHER, [(header::LOCATION, to)]).into_response(),
                    Err(_) => StatusCode::UNAUTHORIZED.into_response(),
                }
            }
            Self::Elsewhere => StatusCode::UNAUTHORIZED.into_response(),
        }
    }
}
