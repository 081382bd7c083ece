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
use super::{assets, cycle, history, live, machine, now};
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
    vec![
        route("/", Right::Look, get(now::show::<K>)),
        route("/live", Right::Look, get(live::events::<K>)),
        route("/machines/{name}", Right::Look, get(machine::show::<K>)),
        route("/history", Right::Look, get(history::show::<K>)),
        route("/cycles/{record}", Right::Look, get(cycle::show::<K>)),
        route("/cycles/{record}/proof", Right::Look, get(cycle::proof::<K>)),
        route("/machines/{name}/live", Right::Look, get(live::of_machine::<K>)),
    ]
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
