//! For whoever watches over the gateway: whether it lives, whether it does its work, and its figures.
//!
//! `/health` answers while the process turns; it hangs on nothing else, so that nobody ends a gateway
//! whose disk is full. `/ready` says whether readings come in and go on record: 503 with the reasons
//! where not. Neither takes a login, and neither names what it is about. `/metrics` names machines and
//! probes, and takes the right to look: that a request comes from this computer says nothing of who asks, since a
//! proxy on it may hide that it is one.

use axum::Router;
use axum::extract::{Request, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use serde::Serialize;

use super::call::json;
use super::problem::Problem;
use super::{metrics, roles};
use crate::core::access::Right;
use crate::web::kitchen::{Kitchen, Pages};
use crate::web::person::Person;

/// The three, for every site.
pub(in crate::web) fn router<K: Kitchen>() -> Router<Pages<K>> {
    Router::new()
        .route("/health", get(health))
        .route("/ready", get(ready::<K>))
        .route("/metrics", get(figures::<K>))
}

async fn health() -> Response {
    std::future::ready(json(StatusCode::OK, "{\"alive\":true}".to_owned())).await
}

#[derive(Serialize)]
struct Readiness {
    ready: bool,
    reasons: Vec<String>,
}

async fn ready<K: Kitchen>(State(pages): State<Pages<K>>) -> Response {
    let reasons = pages.kitchen.hindrances().await;
    let ready = reasons.is_empty();
    let status = if ready { StatusCode::OK } else { StatusCode::SERVICE_UNAVAILABLE };
    json(status, serde_json::to_string(&Readiness { ready, reasons }).unwrap_or_default())
}

async fn figures<K: Kitchen>(State(pages): State<Pages<K>>, request: Request) -> Response {
    let extensions = request.extensions();
    match extensions.get::<Person>() {
        None => return Problem::stranger().into_response(),
        Some(person) if !person.may(Right::Look) => {
            return Problem::not_yours(&roles(Right::Look)).into_response();
        }
        Some(_) => {}
    }
    let figures = match pages.kitchen.figures().await {
        Ok(figures) => figures,
        Err(trouble) => return Problem::from(trouble).into_response(),
    };
    match metrics::text(&figures) {
        Ok(text) => ([(header::CONTENT_TYPE, metrics::OPEN_METRICS)], text).into_response(),
        Err(error) => {
            tracing::error!(%error, "the figures could not be written");
            Problem::from(super::Trouble::NotNow).into_response()
        }
    }
}
