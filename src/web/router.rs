//! Every page for people, and the right that each takes: the one list that the router is made of.

use std::convert::Infallible;

use axum::Router;
use axum::extract::{DefaultBodyLimit, Request, State};
use axum::http::Uri;
use axum::middleware::{self, Next};
use axum::response::Response;
use axum::routing::{MethodRouter, get};

use super::frame::{self, Refusal};
use super::kitchen::{Kitchen, Pages};
use super::person::Person;
use super::{assets, live, now, probes, sign_off, work};
use crate::core::access::Right;

/// Longest form, in bytes: a few texts, each byte written as three (URL standard).
const FORM_BYTES_MAX: usize = 64 * 1024;

/// A place of the site and what answers there.
struct Route<K> {
    /// In the form of the router.
    path: &'static str,
    right: Right,
    answer: MethodRouter<Pages<K>, Infallible>,
}

fn routes<K: Kitchen>() -> Vec<Route<K>> {
    let route = |path, right, answer| Route { path, right, answer };
    let mut routes = vec![
        route("/", Right::Look, get(now::show::<K>)),
        route("/live", Right::Look, get(live::events::<K>)),
    ];
    routes.extend([
        route("/probes", Right::Look, get(probes::show::<K>)),
        route("/probes/{machine}", Right::Look, get(probes::machine::<K>)),
        route("/probes/{machine}/sheet", Right::Look, get(sign_off::sheet::<K>)),
        route("/probes/{machine}/{probe}", Right::Look, get(probes::one::<K>)),
        route("/live/probes", Right::Look, get(live::probes::<K>)),
        route("/live/probes/{machine}", Right::Look, get(live::machine::<K>)),
        route("/live/probes/{machine}/{probe}", Right::Look, get(live::probe::<K>)),
        route("/live/work/{machine}", Right::Measure, get(live::proof::<K>)),
        route("/live/work/{machine}/{probe}", Right::Measure, get(live::work::<K>)),
        route("/prove/{machine}", Right::Measure, get(work::proof::<K>).post(work::prove::<K>)),
        route(
            "/calibrate/{machine}/{probe}",
            Right::Measure,
            get(work::calibration::<K>).post(work::calibrate::<K>),
        ),
        route(
            "/respond/{machine}/{probe}",
            Right::Measure,
            get(work::response::<K>).post(work::respond::<K>),
        ),
        route("/sign-off/{machine}", Right::Measure, get(sign_off::show::<K>).post(sign_off::sign::<K>)),
    ]);
    routes
}

/// Every page, each behind the right that it takes. Who asks is found by a layer above, which puts
/// the [`Person`] into the request.
pub fn site<K: Kitchen>(pages: Pages<K>) -> Router {
    let mut router = Router::new();
    for Route { path, right, answer } in routes::<K>() {
        let shared = pages.clone();
        let guard = move |person: Person, request: Request, next: Next| {
            let shared = shared.clone();
            async move {
                let deep = frame::depth(request.uri().path());
                if person.may(right) {
                    next.run(request).await
                } else {
                    frame::refuse(Refusal::NotYours, &person, &shared.site, deep)
                }
            }
        };
        router = router.route(path, answer.layer(middleware::from_fn(guard)));
    }
    router
        .fallback(nowhere::<K>)
        .method_not_allowed_fallback(nowhere::<K>)
        .layer(DefaultBodyLimit::max(FORM_BYTES_MAX))
        // What a browser may keep and anybody may have.
        .route(assets::PATH, get(assets::serve))
        .with_state(pages)
}

async fn nowhere<K: Kitchen>(State(pages): State<Pages<K>>, person: Person, uri: Uri) -> Response {
    let deep = frame::depth(uri.path());
    std::future::ready(frame::refuse(Refusal::Unknown, &person, &pages.site, deep)).await
}

#[cfg(test)]
mod tests;
