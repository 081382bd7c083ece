//! Routes and their answers.

use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::extract::rejection::FormRejection;
use axum::extract::{DefaultBodyLimit, Form, Path, Request, State};
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::middleware::{self, Next};
use axum::response::Response;
use axum::routing::{get, post};
use serde::Deserialize;
use tokio::net::TcpListener;
use tokio_util::sync::CancellationToken;

use super::access::name::shown;
use super::access::{self, Access};
use super::frame::{self, Site, page};
use super::link::{Link, LinkError, LinkKey};
use super::pages::{self, Plain, say};
use super::sheet::{Alerts, Deed, Refused};
use super::stranger::Stranger;
use super::tls::Identity;
use super::{compress, connections, deadline, guard};
use crate::core::alert::TEXT_BYTES_MAX;
use crate::core::time::Timestamp;

/// Longest form, in bytes: more than two texts of [`TEXT_BYTES_MAX`] and a name, each byte
/// written as three (URL standard, application/x-www-form-urlencoded).
const FORM_BYTES_MAX: usize = 32 * 1024;
/// Longest wait for an answer about an alert.
const ANSWER_MAX: Duration = Duration::from_secs(10);
/// Longest name, in characters.
const NAME_CHARS_MAX: usize = 100;
/// Longest note, in characters.
pub(super) const NOTE_CHARS_MAX: usize = 1_000;
/// Longest part of a corrective action, in characters.
pub(super) const ACTION_CHARS_MAX: usize = 2_000;

/// What every answer stands on.
#[derive(Clone)]
struct Shared<A, N> {
    key: LinkKey,
    alerts: A,
    now: N,
}

/// What time it is.
pub trait Now: Fn() -> Timestamp + Clone + Send + Sync + 'static {}

impl<N: Fn() -> Timestamp + Clone + Send + Sync + 'static> Now for N {}

/// What stands before the pages.
#[derive(Clone, Debug)]
pub struct Front {
    /// Who may come in.
    pub access: Arc<Access>,
    /// What is shown by TLS; plain HTTP where it is `None`.
    pub identity: Option<Arc<Identity>>,
    /// What every page knows of its site.
    pub site: Arc<Site>,
}

/// Serves the pages behind links, and those of `site`, on `listener` until stopped.
///
/// # Errors
/// Where TLS cannot be done at all.
pub async fn serve<A: Alerts>(
    listener: TcpListener,
    front: Front,
    key: LinkKey,
    alerts: A,
    now: impl Now,
    site: Router,
    stop: CancellationToken,
) -> std::io::Result<()> {
    let policy = guard::policy();
    let known = Arc::clone(&front.site);
    let headers = middleware::from_fn(move |mut request: Request, next: Next| {
        request.extensions_mut().insert(Arc::clone(&known));
        guard::headers(policy.clone(), request, next)
    });
    let router = links(Shared { key, alerts, now }).merge(site);
    let router = access::protect(router, &front.access)
        .layer(middleware::from_fn(guard::sized))
        .layer(middleware::from_fn(compress::compressed))
        .layer(middleware::from_fn(deadline::within))
        .layer(headers);
    let acceptor = front.identity.as_ref().map(Identity::acceptor).transpose();
    connections::serve(listener, acceptor.map_err(std::io::Error::other)?, router, stop).await;
    Ok(())
}

fn links<A: Alerts, N: Now>(shared: Shared<A, N>) -> Router {
    Router::new()
        .route("/alert/{token}", get(show::<A, N>))
        .route("/alert/{token}/acknowledge", post(acknowledge::<A, N>))
        .route("/alert/{token}/act", post(act::<A, N>))
        .method_not_allowed_fallback(nowhere)
        .layer(middleware::map_response(kept_secret))
        .layer(DefaultBodyLimit::max(FORM_BYTES_MAX))
        .with_state(shared)
}

#[derive(Deserialize)]
struct AcknowledgeForm {
    name: String,
    #[serde(default)]
    note: String,
}

#[derive(Deserialize)]
struct ActForm {
    name: String,
    racks: String,
    done: String,
    #[serde(default)]
    covers: Option<u64>,
}

async fn show<A: Alerts, N: Now>(
    State(shared): State<Shared<A, N>>,
    Path(token): Path<String>,
    stranger: Stranger,
) -> Response {
    let link = match shared.key.open(&token, (shared.now)()) {
        Ok(link) => link,
        Err(error) => return not_followed(error, stranger),
    };
    match tokio::time::timeout(ANSWER_MAX, shared.alerts.show(link)).await {
        Ok(Ok(sheet)) => page(StatusCode::OK, pages::alert(&sheet, &token, stranger)),
        Ok(Err(refused)) => refuse(refused, stranger),
        Err(_) => refuse(Refused::NotNow, stranger),
    }
}

async fn acknowledge<A: Alerts, N: Now>(
    State(shared): State<Shared<A, N>>,
    Path(token): Path<String>,
    from: (HeaderMap, Stranger),
    form: Result<Form<AcknowledgeForm>, FormRejection>,
) -> Response {
    let deed = form.ok().and_then(|Form(form)| {
        Some(Deed::Acknowledge { by: named(&form.name)?, note: field(&form.note, NOTE_CHARS_MAX)? })
    });
    perform(&shared, &token, &from, deed.ok_or(INCOMPLETE)).await
}

async fn act<A: Alerts, N: Now>(
    State(shared): State<Shared<A, N>>,
    Path(token): Path<String>,
    from: (HeaderMap, Stranger),
    form: Result<Form<ActForm>, FormRejection>,
) -> Response {
    let written = |text: &str, chars_max| field(text, chars_max).filter(|text| !text.is_empty());
    let unnumbered = form.as_ref().is_ok_and(|Form(form)| form.covers.is_none());
    let deed = form.ok().filter(|_| !unnumbered).and_then(|Form(form)| {
        Some(Deed::Act {
            by: named(&form.name)?,
            racks: written(&form.racks, ACTION_CHARS_MAX)?,
            done: written(&form.done, ACTION_CHARS_MAX)?,
            covers: form.covers,
        })
    });
    let missing = if unnumbered { (StatusCode::CONFLICT, Plain::Unnumbered) } else { INCOMPLETE };
    perform(&shared, &token, &from, deed.ok_or(missing)).await
}

/// What a form is told that is not whole.
const INCOMPLETE: (StatusCode, Plain) = (StatusCode::UNPROCESSABLE_ENTITY, Plain::Incomplete);

/// A name that can stand on record, see [`shown`].
fn named(text: &str) -> Option<String> {
    field(text, NAME_CHARS_MAX).filter(|name| shown(name).is_ok())
}

/// A field without the blanks around it; `None` where it is longer than its form says, or than
/// the desk takes, which counts bytes.
fn field(text: &str, chars_max: usize) -> Option<String> {
    let text = text.trim();
    (text.chars().count() <= chars_max && text.len() <= TEXT_BYTES_MAX).then(|| text.to_owned())
}

/// Does it, and sends the browser back to the page, so that a reload sends nothing twice.
async fn perform<A: Alerts, N: Now>(
    shared: &Shared<A, N>,
    token: &str,
    (headers, stranger): &(HeaderMap, Stranger),
    deed: Result<Deed, (StatusCode, Plain)>,
) -> Response {
    if guard::is_foreign(headers) {
        return say(StatusCode::FORBIDDEN, Plain::ForeignForm, *stranger);
    }
    let link: Link = match shared.key.open(token, (shared.now)()) {
        Ok(link) => link,
        Err(error) => return not_followed(error, *stranger),
    };
    let deed = match deed {
        Ok(deed) => deed,
        Err((status, said)) => return say(status, said, *stranger),
    };
    match tokio::time::timeout(ANSWER_MAX, shared.alerts.act(link, deed)).await {
        // Relative, so that it leads back below whatever path a proxy serves it at.
        Ok(Ok(())) => frame::go(&format!("../{token}")),
        Ok(Err(Refused::Unknown)) => refuse(Refused::Unknown, *stranger),
        // The desk may have it already, and puts it on record as soon as it can.
        Ok(Err(Refused::NotNow)) | Err(_) => {
            say(StatusCode::SERVICE_UNAVAILABLE, Plain::Unanswered, *stranger)
        }
    }
}

/// The address is the secret, and stands in the page.
async fn kept_secret(mut response: Response) -> Response {
    let policy = HeaderValue::from_static("no-referrer");
    response.headers_mut().insert(header::REFERRER_POLICY, policy);
    response.extensions_mut().insert(compress::Secret);
    std::future::ready(response).await
}

async fn nowhere(stranger: Stranger) -> Response {
    std::future::ready(say(StatusCode::NOT_FOUND, Plain::Unknown, stranger)).await
}

fn not_followed(error: LinkError, stranger: Stranger) -> Response {
    match error {
        LinkError::Forged => say(StatusCode::NOT_FOUND, Plain::Unknown, stranger),
        LinkError::Expired => say(StatusCode::GONE, Plain::Expired, stranger),
    }
}

fn refuse(refused: Refused, stranger: Stranger) -> Response {
    match refused {
        Refused::Unknown => say(StatusCode::NOT_FOUND, Plain::Unknown, stranger),
        Refused::NotNow => say(StatusCode::SERVICE_UNAVAILABLE, Plain::NotNow, stranger),
    }
}

#[cfg(test)]
mod tests;
