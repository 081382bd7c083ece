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

use super::access::name::{NoShown, shown};
use super::access::{self, Access};
use super::form::{self, Field};
use super::frame::{self, Site, page};
use super::link::{Link, LinkError, LinkKey};
use super::pages::{self, Plain, Typed, say};
use super::sheet::{Alerts, Deed, Refused};
use super::stranger::Stranger;
use super::tls::Identity;
use super::{compress, connections, deadline, guard};
use crate::core::reader::Language;
use crate::core::time::Timestamp;

/// Longest form, in bytes: more than two texts of [`TEXT_BYTES_MAX`](crate::core::alert::TEXT_BYTES_MAX) and a name, each byte
/// written as three (URL standard, application/x-www-form-urlencoded).
const FORM_BYTES_MAX: usize = 32 * 1024;
/// Longest wait for an answer about an alert.
const ANSWER_MAX: Duration = Duration::from_secs(10);
/// Longest name, in characters.
const NAME_CHARS_MAX: usize = 100;
/// Longest note, in characters.
pub(super) const NOTE_CHARS_MAX: usize = 1_000;

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
    #[serde(default)]
    name: String,
    #[serde(default)]
    note: String,
}

#[derive(Deserialize)]
struct ActForm {
    #[serde(default)]
    name: String,
    #[serde(default)]
    racks: String,
    #[serde(default)]
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
        Err(error) => return not_followed(error, stranger, "../alerts"),
    };
    shown_again(&shared, (&token, ""), link, stranger, (StatusCode::OK, &|_| Typed::default())).await
}

/// The page of an alert, with what was typed and not taken, in the language of the page.
async fn shown_again<A: Alerts, N: Now>(
    shared: &Shared<A, N>,
    (token, up): (&str, &'static str),
    link: Link,
    stranger: Stranger,
    (status, typed): (StatusCode, &(dyn Fn(Language) -> Typed + Sync)),
) -> Response {
    match tokio::time::timeout(ANSWER_MAX, shared.alerts.show(link)).await {
        Ok(Ok(sheet)) => {
            let typed = typed(sheet.language);
            page(status, pages::alert(&sheet, token, stranger, &typed, up))
        }
        Ok(Err(refused)) => refuse(refused, stranger),
        Err(_) => refuse(Refused::NotNow, stranger),
    }
}

async fn acknowledge<A: Alerts, N: Now>(
    State(shared): State<Shared<A, N>>,
    Path(token): Path<String>,
    from: (HeaderMap, Stranger),
    sent: Result<Form<AcknowledgeForm>, FormRejection>,
) -> Response {
    let Ok(Form(AcknowledgeForm { name, note })) = sent else {
        return perform(&shared, &token, &from, Err(Untaken::Plain(INCOMPLETE))).await;
    };
    let deed = named(&name).ok().zip(form::optional(&note, NOTE_CHARS_MAX).ok());
    let deed = deed.map(|(by, note)| Deed::Acknowledge { by, note: note.unwrap_or_default() });
    let typed = move |language| {
        let mut typed = Typed { name: Field::with(&name), note: Field::with(&note), ..Typed::default() };
        typed.name.fault = named(&name).err().map(|fault| fault.say(language));
        typed.note.take(form::optional(&note, NOTE_CHARS_MAX), language);
        typed
    };
    perform(&shared, &token, &from, deed.ok_or_else(|| Untaken::Typed(Box::new(typed)))).await
}

async fn act<A: Alerts, N: Now>(
    State(shared): State<Shared<A, N>>,
    Path(token): Path<String>,
    from: (HeaderMap, Stranger),
    sent: Result<Form<ActForm>, FormRejection>,
) -> Response {
    let Ok(Form(ActForm { name, racks, done, covers })) = sent else {
        return perform(&shared, &token, &from, Err(Untaken::Plain(INCOMPLETE))).await;
    };
    if covers.is_none() {
        let unnumbered = Untaken::Plain((StatusCode::CONFLICT, Plain::Unnumbered));
        return perform(&shared, &token, &from, Err(unnumbered)).await;
    }
    let deed = match (named(&name), form::action(&racks), form::action(&done)) {
        (Ok(by), Ok(racks), Ok(done)) => Some(Deed::Act { by, racks, done, covers }),
        _ => None,
    };
    let typed = move |language| {
        let (who, held, did) = (Field::with(&name), Field::with(&racks), Field::with(&done));
        let mut typed = Typed { who, racks: held, done: did, covers, ..Typed::default() };
        typed.who.fault = named(&name).err().map(|fault| fault.say(language));
        typed.racks.take(form::action(&racks), language);
        typed.done.take(form::action(&done), language);
        typed
    };
    perform(&shared, &token, &from, deed.ok_or_else(|| Untaken::Typed(Box::new(typed)))).await
}

/// Why a form is not taken.
enum Untaken {
    /// It is none of this page.
    Plain((StatusCode, Plain)),
    /// Something was typed that cannot be taken: the form as it is shown again, in the language of the page.
    Typed(Box<dyn Fn(Language) -> Typed + Send + Sync>),
}

/// Why a name cannot stand on record.
enum NoName {
    /// Nothing stands there, or too much.
    Field(form::Fault),
    /// It would not be read as a name.
    Shown(NoShown),
}

impl NoName {
    fn say(&self, language: Language) -> String {
        match self {
            Self::Field(fault) => fault.say(language),
            Self::Shown(why) => access::name_refused(why, language),
        }
    }
}

/// What a form is told that is not whole.
const INCOMPLETE: (StatusCode, Plain) = (StatusCode::UNPROCESSABLE_ENTITY, Plain::Incomplete);

/// A name that can stand on record, see [`shown`].
fn named(typed: &str) -> Result<String, NoName> {
    let name = form::text(typed, NAME_CHARS_MAX).map_err(NoName::Field)?;
    shown(&name).map_err(NoName::Shown)
}

/// Does it, and sends the browser back to the page, so that a reload sends nothing twice.
async fn perform<A: Alerts, N: Now>(
    shared: &Shared<A, N>,
    token: &str,
    (headers, stranger): &(HeaderMap, Stranger),
    deed: Result<Deed, Untaken>,
) -> Response {
    if guard::is_foreign(headers) {
        return say(StatusCode::FORBIDDEN, Plain::ForeignForm, *stranger);
    }
    let link: Link = match shared.key.open(token, (shared.now)()) {
        Ok(link) => link,
        Err(error) => return not_followed(error, *stranger, "../../alerts"),
    };
    let deed = match deed {
        Ok(deed) => deed,
        Err(Untaken::Plain((status, said))) => return say(status, said, *stranger),
        Err(Untaken::Typed(typed)) => {
            let again = (StatusCode::UNPROCESSABLE_ENTITY, &*typed as &(dyn Fn(Language) -> Typed + Sync));
            return shown_again(shared, (token, "../"), link, *stranger, again).await;
        }
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

/// A link that leads nowhere any more, with the way to the alerts for whoever may log in.
fn not_followed(error: LinkError, stranger: Stranger, alerts: &str) -> Response {
    let (status, said) = match error {
        LinkError::Forged => (StatusCode::NOT_FOUND, Plain::Unknown),
        LinkError::Expired => (StatusCode::GONE, Plain::Expired),
    };
    pages::say_with_way(status, said, stranger, alerts)
}

fn refuse(refused: Refused, stranger: Stranger) -> Response {
    match refused {
        Refused::Unknown => say(StatusCode::NOT_FOUND, Plain::Unknown, stranger),
        Refused::NotNow => say(StatusCode::SERVICE_UNAVAILABLE, Plain::NotNow, stranger),
    }
}

#[cfg(test)]
mod tests;
