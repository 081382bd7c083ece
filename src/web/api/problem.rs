//! Refusals as problems of RFC 9457, whoever makes them.

use axum::http::{HeaderName, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::Serialize;

use super::Trouble;

/// Media type (RFC 9457 §6.1).
pub(super) const PROBLEM: &str = "application/problem+json";
/// When one that found no place may come again, s.
const AGAIN_S: &str = "30";

/// One field that is wrong.
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
pub(super) struct Wrong {
    /// Name of a parameter of path or query.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) parameter: Option<String>,
    /// JSON pointer (RFC 6901) into the body.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) pointer: Option<String>,
    pub(super) detail: String,
}

/// A problem, with the members of our own that RFC 9457 §3.2 allows.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(super) struct Problem(Box<Members>);

#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
struct Members {
    #[serde(rename = "type")]
    kind: String,
    title: &'static str,
    status: u16,
    detail: String,
    /// What to do.
    #[serde(rename = "do")]
    advice: String,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    errors: Vec<Wrong>,
    #[serde(skip)]
    headers: Vec<(HeaderName, HeaderValue)>,
}

/// What a type of problem is called: the same for each of them (RFC 9457, section 3.1).
fn title(slug: &str) -> &'static str {
    match slug {
        "api-access" => "no token, or one whose role does not reach that far",
        "api-busy" => "to be asked again later",
        "api-request" => "asked for what there is not, or for what cannot be",
        _ => "what was asked is refused",
    }
}

impl Problem {
    /// A problem of this slug: what is wrong, and what to do.
    pub(super) fn new(
        status: StatusCode,
        slug: &str,
        detail: impl Into<String>,
        advice: impl Into<String>,
    ) -> Self {
        Self(Box::new(Members {
            kind: format!("urn:rinseward:problem:{slug}"),
            title: title(slug),
            status: status.as_u16(),
            detail: detail.into(),
            advice: advice.into(),
            errors: Vec::new(),
            headers: Vec::new(),
        }))
    }

    fn header(mut self, name: HeaderName, value: &'static str) -> Self {
        self.0.headers.push((name, HeaderValue::from_static(value)));
        self
    }

    /// Nobody is known to ask.
    pub(super) fn stranger() -> Self {
        let advice = "send Authorization: Bearer and a token, or log in with a browser";
        Self::new(StatusCode::UNAUTHORIZED, "api-access", "nobody is known to ask", advice)
            .header(header::WWW_AUTHENTICATE, "Bearer")
    }

    /// The role of whoever asks does not reach that far.
    pub(super) fn not_yours(roles: &str) -> Self {
        let advice = format!("this takes one of the roles {roles}: ask the administrator for one of them");
        Self::new(StatusCode::FORBIDDEN, "api-access", "your role does not reach that far", advice)
    }

    /// There is nothing at this address.
    pub(super) fn nowhere() -> Self {
        let advice = "see /api/v1/openapi.json for all there is";
        Self::new(StatusCode::NOT_FOUND, "api-request", "there is nothing at this address", advice)
    }

    /// Parameters or fields that cannot be.
    pub(super) fn fields(errors: Vec<Wrong>) -> Self {
        let detail = errors.first().map_or_else(String::new, |wrong| {
            let field = match (wrong.parameter.as_deref(), wrong.pointer.as_deref()) {
                (Some(""), _) => "the query",
                (Some(field), _) => field,
                (None, Some("") | None) => "the body",
                (None, Some(field)) => field,
            };
            format!("{field}: {}", wrong.detail)
        });
        let advice = "mend what errors names; /api/v1/openapi.json says what each field takes";
        let mut problem = Self::new(StatusCode::UNPROCESSABLE_ENTITY, "api-request", detail, advice);
        problem.0.errors = errors;
        problem
    }

    /// As many do it already as can at a time.
    pub(super) fn busy() -> Self {
        let advice = "come again after the time that Retry-After says";
        Self::new(StatusCode::TOO_MANY_REQUESTS, "api-busy", Trouble::Busy.to_string(), advice)
            .header(header::RETRY_AFTER, AGAIN_S)
    }
}

impl Wrong {
    /// A parameter of path or query.
    pub(super) fn parameter(name: &str, detail: impl Into<String>) -> Self {
        Self { parameter: Some(name.to_owned()), pointer: None, detail: detail.into() }
    }

    /// A field of the body.
    pub(super) fn pointer(pointer: impl Into<String>, detail: impl Into<String>) -> Self {
        Self { parameter: None, pointer: Some(pointer.into()), detail: detail.into() }
    }
}

impl From<Trouble> for Problem {
    fn from(trouble: Trouble) -> Self {
        match trouble {
            Trouble::Unknown { detail, advice } => {
                Self::new(StatusCode::NOT_FOUND, "api-request", detail, advice)
            }
            Trouble::Wrong { field, detail } if field.is_empty() || field.starts_with('/') => {
                Self::fields(vec![Wrong::pointer(field, detail)])
            }
            Trouble::Wrong { field, detail } => Self::fields(vec![Wrong::parameter(&field, detail)]),
            Trouble::Refused { slug, detail, advice, pointer } => {
                let status = match slug.as_str() {
                    "entry-refused" => StatusCode::UNPROCESSABLE_ENTITY,
                    "bug" => StatusCode::INTERNAL_SERVER_ERROR,
                    slug if slug.starts_with("ledger-") => StatusCode::SERVICE_UNAVAILABLE,
                    _ => StatusCode::CONFLICT,
                };
                let advice = advice.unwrap_or_else(|| instead(status).to_owned());
                let errors = pointer.map(|pointer| Wrong::pointer(pointer, detail.clone()));
                let mut problem = Self::new(status, &slug, detail, advice);
                problem.0.errors = errors.into_iter().collect();
                problem
            }
            Trouble::NotYours(right) => Self::not_yours(&super::roles(right)),
            Trouble::Busy => Self::busy(),
            Trouble::NotNow => {
                let advice = "nothing is lost; try again in a minute, and see the log of the gateway";
                Self::new(StatusCode::SERVICE_UNAVAILABLE, "api-busy", Trouble::NotNow.to_string(), advice)
                    .header(header::RETRY_AFTER, AGAIN_S)
            }
        }
    }
}

/// What to do about a deed that was refused by whoever does not say so.
fn instead(status: StatusCode) -> &'static str {
    match status {
        StatusCode::UNPROCESSABLE_ENTITY => {
            "mend what was sent; /api/v1/openapi.json says what each field takes"
        }
        StatusCode::CONFLICT => "ask how it stands with GET, and send only what is still to be done",
        _ => "see the log of the gateway, and tell whoever looks after it",
    }
}

impl IntoResponse for Problem {
    fn into_response(self) -> Response {
        let status = StatusCode::from_u16(self.0.status).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR);
        // Texts and numbers always fit into JSON.
        let text = serde_json::to_string(&self.0).unwrap_or_default();
        let mut response = (status, [(header::CONTENT_TYPE, PROBLEM)], text).into_response();
        response.headers_mut().extend(self.0.headers);
        response
    }
}
