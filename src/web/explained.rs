//! The one rule for refusals: each says in the project's own form that and why nothing was done.
//!
//! Whoever refuses for a reason of their own says so themselves. What is left comes from below: an address in
//! which no number stands where one should, a form that is none, a method that is not known. Such an answer has no
//! page; it gets one here, in the language of whoever asked, or a problem of RFC 9457 where programs ask. Its
//! headers stay.

use std::sync::Arc;

use axum::extract::Request;
use axum::http::{HeaderMap, HeaderName, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::Response;

use super::frame::{self, Site};
use super::pages::{self, Plain};
use super::person::Person;
use super::stranger::Stranger;
use super::{access, api};

/// What an answer without a page says.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Bare {
    /// Nothing is at this address, or not in this way.
    Nowhere,
    /// What was sent is not what is asked for there.
    Garbled,
    /// As many are there already as can be at a time.
    Full,
    /// The gateway made a mistake.
    Mistake,
}

impl Bare {
    /// What an answer means, and the status that says so.
    fn of(method: &Method, status: StatusCode) -> (Self, StatusCode) {
        let asks = matches!(*method, Method::GET | Method::HEAD);
        match status {
            StatusCode::NOT_FOUND | StatusCode::METHOD_NOT_ALLOWED => (Self::Nowhere, status),
            StatusCode::TOO_MANY_REQUESTS | StatusCode::SERVICE_UNAVAILABLE => (Self::Full, status),
            // No link of ours leads there, and whoever only asks sends nothing.
            StatusCode::BAD_REQUEST if asks => (Self::Nowhere, StatusCode::NOT_FOUND),
            StatusCode::BAD_REQUEST | StatusCode::UNSUPPORTED_MEDIA_TYPE => {
                (Self::Garbled, StatusCode::UNPROCESSABLE_ENTITY)
            }
            _ if status.is_server_error() => (Self::Mistake, status),
            _ => (Self::Garbled, status),
        }
    }
}

/// Gives a page to a refusal that has none.
pub(super) async fn explained(request: Request, next: Next) -> Response {
    let (method, path) = (request.method().clone(), request.uri().path().to_owned());
    let stranger = Stranger::of(request.headers(), request.extensions());
    let person = request.extensions().get::<Person>().cloned();
    let site = request.extensions().get::<Arc<Site>>().cloned();
    let response = next.run(request).await;
    let status = response.status();
    let refuses = status.is_client_error() || status.is_server_error();
    if !refuses || has_form(response.headers()) {
        return response;
    }
    let (head, _) = response.into_parts();
    let (bare, said) = Bare::of(&method, status);
    let mut told = match (person, site) {
        _ if api::is_for_programs(&path) => api::unexplained(status),
        (Some(person), Some(site)) => frame::bare(said, bare, &person, &site, frame::depth(&path)),
        _ if status == StatusCode::UNAUTHORIZED => {
            pages::log_in(access::login_from(&path, access::page_of(&path)), stranger)
        }
        _ => pages::say(said, plain(bare), stranger),
    };
    let own = told.headers().clone();
    let more = |name: &HeaderName| !own.contains_key(name) && name != header::CONTENT_LENGTH;
    for (name, value) in head.headers.iter().filter(|(name, _)| more(name)) {
        told.headers_mut().append(name, value.clone());
    }
    told.extensions_mut().extend(head.extensions);
    told
}

const fn plain(bare: Bare) -> Plain {
    match bare {
        Bare::Nowhere => Plain::Unknown,
        Bare::Garbled => Plain::Incomplete,
        Bare::Full | Bare::Mistake => Plain::NotNow,
    }
}

/// Whether an answer is in a form of the project's: a page, or JSON that says what is so.
fn has_form(headers: &HeaderMap) -> bool {
    let kind = headers.get(header::CONTENT_TYPE).and_then(|kind| kind.to_str().ok()).unwrap_or_default();
    ["text/html", "application/json", "application/problem+json"].iter().any(|own| kind.starts_with(own))
}
