//! Every route, with its right and its description: the one list of which router and OpenAPI are made.

use std::convert::Infallible;

use axum::Router;
use axum::extract::{DefaultBodyLimit, Request, State};
use axum::http::StatusCode;
use axum::middleware::{self, Next};
use axum::response::{IntoResponse, Response};
use axum::routing::{MethodRouter, get, post};

use super::call::{Call, guard};
use super::params::{
    AFTER, CHECK, FORM, FROM, KIND, MACHINE, MACHINES, ORDER, PAGE_SIZE, Param, STATE, TO, TRACES, VERDICT,
    must,
};
use super::problem::Problem;
use super::{View, deeds, lists, live, single, spec, tag};
use crate::core::access::Right;
use crate::web::kitchen::{Kitchen, Pages};

/// Longest body, in bytes.
pub(super) const BODY_BYTES_MAX: usize = 64 * 1024;

/// What a route answers with.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Gives {
    /// A page of a list, whose rows are of this shape.
    Page(View, &'static str),
    /// JSON of this shape.
    Shape(&'static str),
    /// The same, and something was made.
    Made(&'static str),
    /// Lines of JSON, each of this shape.
    Lines(&'static str),
    /// A file.
    File,
}

/// One route.
pub(super) struct Route<K> {
    /// Below `/api/v1`, in the form of the router.
    pub(super) path: &'static str,
    pub(super) right: Right,
    pub(super) params: &'static [Param],
    pub(super) about: &'static str,
    /// Shape of the body of a POST; a GET has none.
    pub(super) body: Option<&'static str>,
    pub(super) gives: Gives,
    pub(super) answer: MethodRouter<Pages<K>, Infallible>,
}

impl<K> Route<K> {
    const fn looked(mut self, params: &'static [Param]) -> Self {
        self.params = params;
        self
    }

    /// Whether the answer bears a tag: each that is looked up and fits into memory.
    pub(super) const fn has_tag(&self) -> bool {
        matches!(self.gives, Gives::Page(..) | Gives::Shape(_)) && self.body.is_none()
    }
}

fn look<K>(
    path: &'static str,
    gives: Gives,
    about: &'static str,
    answer: MethodRouter<Pages<K>, Infallible>,
) -> Route<K> {
    Route { path, right: Right::Look, params: &[], about, body: None, gives, answer }
}

/// All of them.
pub(super) fn routes<K: Kitchen>() -> Vec<Route<K>> {
    [looks(), asked_once(), others()].into_iter().flatten().collect()
}

/// The lists.
fn looks<K: Kitchen>() -> Vec<Route<K>> {
    const SPAN: &[Param] = &[MACHINE, FROM, TO];
    let page = Gives::Page;
    vec![
        look(
            "/machines",
            page(View::Machines, "Machine"),
            "The machines at a glance.",
            get(lists::machines::<K>),
        ),
        look("/cycles", page(View::Cycles, "Cycle"), "The cycles, page by page.", get(lists::cycles::<K>))
            .looked(&[MACHINE, FROM, TO, VERDICT, ORDER, PAGE_SIZE, AFTER]),
        look("/days", page(View::Days, "Day"), "The days of each machine in numbers.", get(lists::days::<K>))
            .looked(&[MACHINE, FROM, TO, ORDER, PAGE_SIZE, AFTER]),
        look(
            "/summary",
            page(View::Summary, "Summary"),
            "The days summed up, a row a machine.",
            get(lists::summary::<K>),
        )
        .looked(SPAN),
        look("/gaps", page(View::Gaps, "Gap"), "What is missing of the readings.", get(lists::gaps::<K>))
            .looked(&[MACHINE, FROM, TO, ORDER, PAGE_SIZE, AFTER]),
        look("/alerts", page(View::Alerts, "Alert"), "The alerts, page by page.", get(lists::alerts::<K>))
            .looked(&[MACHINE, FROM, TO, STATE, ORDER, PAGE_SIZE, AFTER]),
        look("/checks", page(View::Checks, "Check"), "The checks, page by page.", get(lists::checks::<K>))
            .looked(&[MACHINE, FROM, TO, CHECK, ORDER, PAGE_SIZE, AFTER]),
        look("/due", page(View::Due, "Due"), "The checks that are due.", get(lists::due::<K>))
            .looked(&[MACHINE]),
        look(
            "/records",
            page(View::Records, "RecordLine"),
            "Every record that is no cycle.",
            get(lists::records::<K>),
        )
        .looked(&[MACHINE, FROM, TO, KIND, ORDER, PAGE_SIZE, AFTER]),
        look(
            "/probes",
            page(View::Probes, "Probe"),
            "The probes, and what they show.",
            get(lists::probes::<K>),
        )
        .looked(&[MACHINE]),
    ]
}

/// One thing at a time.
fn asked_once<K: Kitchen>() -> Vec<Route<K>> {
    let shape = Gives::Shape;
    vec![
        look("/machines/{name}", shape("Machine"), "A machine at a glance.", get(single::machine::<K>)),
        look("/cycles/{record}", shape("Cycle"), "A cycle, by its record.", get(single::cycle::<K>)),
        look(
            "/cycles/{record}/trace",
            shape("Trace"),
            "The readings that it was judged on.",
            get(single::trace::<K>),
        ),
        look(
            "/cycles/{record}/proof",
            shape("Proof"),
            "That it is in the ledger that the newest checkpoint seals (RFC 9162).",
            get(single::proof::<K>),
        ),
        look("/alerts/{number}", shape("AlertTrail"), "An alert with its trail.", get(single::alert::<K>)),
        look(
            "/records/{record}",
            shape("StoredRecord"),
            "A record as it is stored.",
            get(single::record::<K>),
        ),
        look(
            "/checkpoints/newest",
            shape("Checkpoint"),
            "The newest checkpoint.",
            get(single::checkpoint::<K>),
        ),
        look("/whoami", shape("Whoami"), "Who asks, and what they may do.", get(single::whoami)),
    ]
}

/// Deeds, what is sent for long, and the description of all of it.
fn others<K: Kitchen>() -> Vec<Route<K>> {
    const EXPORTED: &[Param] = &[FORM, must(FROM), TO, MACHINES, TRACES];
    let deed = |path, right, body, gives, about, answer| Route {
        right,
        body: Some(body),
        ..look(path, gives, about, answer)
    };
    vec![
        deed(
            "/alerts/{number}/acknowledge",
            Right::Acknowledge,
            "Acknowledging",
            Gives::Shape("Done"),
            "Takes an alert on.",
            post(deeds::acknowledge::<K>),
        ),
        deed(
            "/alerts/{number}/act",
            Right::Act,
            "Acting",
            Gives::Shape("Done"),
            "Writes the corrective action of an alert.",
            post(deeds::act::<K>),
        ),
        deed(
            "/checks",
            Right::Enter,
            "Entering",
            Gives::Made("Done"),
            "Enters a check, and says what it came to.",
            post(deeds::check::<K>),
        ),
        look("/readings/live", Gives::Lines("Event"), "Readings as they come in.", get(live::readings::<K>)),
        Route {
            right: Right::Export,
            params: EXPORTED,
            ..look(
                "/export",
                Gives::File,
                "Records as a file, sent while they are read.",
                get(live::export::<K>),
            )
        },
        look("/openapi.json", Gives::Shape("Description"), "This description.", get(described::<K>)),
    ]
}

/// The interface, each route behind its right. Who asks is found by a layer above, which puts the
/// [`crate::web::person::Person`] into the request.
pub(in crate::web) fn router<K: Kitchen>() -> Router<Pages<K>> {
    let mut router = Router::new();
    for route in routes::<K>() {
        let has_tag = route.has_tag();
        let Route { path, right, params, answer, .. } = route;
        let answer = if has_tag { answer.layer(middleware::from_fn(tag::by_its_bytes)) } else { answer };
        let guard = move |request: Request, next: Next| guard(right, params, request, next);
        router = router.route(path, answer.layer(middleware::from_fn(guard)));
    }
    router
        .fallback(nowhere)
        .method_not_allowed_fallback(no_method)
        .layer(DefaultBodyLimit::max(BODY_BYTES_MAX))
}

async fn described<K: Kitchen>(State(_): State<Pages<K>>, _call: Call) -> Response {
    std::future::ready(super::call::json(StatusCode::OK, spec::text::<K>())).await
}

async fn nowhere() -> Response {
    std::future::ready(Problem::nowhere().into_response()).await
}

async fn no_method() -> Response {
    let (status, detail) = (StatusCode::METHOD_NOT_ALLOWED, "this address does not know this method");
    let problem = Problem::new(status, "api-request", detail, "use one that the header Allow names");
    std::future::ready(problem.into_response()).await
}

#[cfg(test)]
mod tests;
