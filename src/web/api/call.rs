//! One call: who asks, what for, and whether they may.

use std::future::Future;
use std::net::IpAddr;

use axum::extract::{FromRequestParts, Request};
use axum::http::request::Parts;
use axum::http::{HeaderMap, StatusCode, Uri, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};

use super::params::{Given, Param};
use super::problem::Problem;
use super::{Answers, Trouble, roles, tag};
use crate::core::access::Right;
use crate::web::access;
use crate::web::person::Person;

/// A call that may be answered.
#[derive(Clone, Debug)]
pub(super) struct Call {
    pub(super) person: Person,
    /// The address that it came from.
    pub(super) from: IpAddr,
    pub(super) given: Given,
    pub(super) uri: Uri,
    pub(super) headers: HeaderMap,
}

/// Lets a call through to its handler where whoever asks may, and what they ask makes sense.
pub(super) async fn guard(
    right: Right,
    params: &'static [Param],
    mut request: Request,
    next: Next,
) -> Response {
    let Some(person) = request.extensions().get::<Person>().cloned() else {
        return Problem::stranger().into_response();
    };
    if !person.may(right) {
        access::not_allowed(request.extensions(), right).await;
        return Problem::not_yours(&roles(right)).into_response();
    }
    let given = match Given::read(params, request.uri()) {
        Ok(given) => given,
        Err(wrong) => return Problem::fields(wrong).into_response(),
    };
    let from = access::whence(request.extensions());
    let (uri, headers) = (request.uri().clone(), request.headers().clone());
    request.extensions_mut().insert(Call { person, from, given, uri, headers });
    next.run(request).await
}

impl<S: Send + Sync> FromRequestParts<S> for Call {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, _state: &S) -> Result<Self, Problem> {
        // Every route stands behind the guard.
        let call = parts.extensions.remove::<Self>().ok_or_else(Problem::stranger);
        std::future::ready(call).await
    }
}

impl Call {
    /// Answers what follows from the record alone: with a tag, or by saying that it is known.
    pub(super) async fn by_the_record<A: Answers>(
        &self,
        answers: &A,
        answer: impl Future<Output = Result<(Response, Option<u64>), Trouble>>,
    ) -> Response {
        let edition = answers.edition();
        let newest = tag::tag(&edition, answers.size(), &self.uri);
        if tag::is_known(&self.headers, &newest) {
            return tag::unchanged(&newest);
        }
        match answer.await {
            Err(trouble) => Problem::from(trouble).into_response(),
            Ok((response, Some(size))) => tag::tagged(response, &tag::tag(&edition, size, &self.uri)),
            Ok((response, None)) => response,
        }
    }
}

/// A JSON text as an answer.
pub(super) fn json(status: StatusCode, text: String) -> Response {
    (status, [(header::CONTENT_TYPE, "application/json")], text).into_response()
}

/// An answer, or the problem in its place.
pub(super) fn told(answer: Result<Response, Trouble>) -> Response {
    answer.unwrap_or_else(|trouble| Problem::from(trouble).into_response())
}
