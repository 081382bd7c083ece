//! Every page for people, and the right that each takes: the one list that the router is made of.

use std::convert::Infallible;

use axum::Router;
use axum::extract::{DefaultBodyLimit, Request, State};
use axum::http::{Method, StatusCode, Uri};
use axum::middleware::{self, Next};
use axum::response::Response;
use axum::routing::{MethodRouter, get, post};

use super::frame::{self, Refusal};
use super::kitchen::{Kitchen, Pages};
use super::person::Person;
use super::query::{self, Given};
use super::{
    alerts, api, assets, attempt, cycle, history, live, logbook, machine, now, probes, settings, sign_off,
};
use crate::core::access::Right;

/// Longest form, in bytes: a few texts, each byte written as three (URL standard).
const FORM_BYTES_MAX: usize = 64 * 1024;

/// A place of the site and what answers there.
struct Route<K> {
    /// In the form of the router.
    path: &'static str,
    /// How it is asked: to see, or to do something.
    method: Method,
    right: Right,
    /// Whether it understands anything behind the `?` of its address, and refuses the rest of it by itself.
    asks: bool,
    answer: MethodRouter<Pages<K>, Infallible>,
}

fn routes<K: Kitchen>() -> Vec<Route<K>> {
    let see = |path, right, answer| Route { path, method: Method::GET, right, asks: false, answer };
    let ask = |path, right, answer| Route { path, method: Method::GET, right, asks: true, answer };
    let send = |path, right, answer| Route { path, method: Method::POST, right, asks: false, answer };
    vec![
        ask("/", Right::Look, get(now::show::<K>)),
        see("/live", Right::Look, get(live::events::<K>)),
        ask("/machines/{name}", Right::Look, get(machine::show::<K>)),
        see("/machines/{name}/live", Right::Look, get(live::of_machine::<K>)),
        see("/cycles/{record}", Right::Look, get(cycle::show::<K>)),
        see("/cycles/{record}/proof", Right::Look, get(cycle::proof::<K>)),
        ask("/history", Right::Look, get(history::show::<K>)),
        ask("/alerts", Right::Look, get(alerts::list::<K>)),
        see("/alerts/{number}", Right::Look, get(alerts::show::<K>)),
        send("/alerts/{number}/acknowledge", Right::Acknowledge, post(alerts::acknowledge::<K>)),
        send("/alerts/{number}/act", Right::Act, post(alerts::act::<K>)),
        ask("/live/alerts", Right::Look, get(live::alerts::<K>)),
        ask("/live/alerts/{number}", Right::Look, get(live::alert::<K>)),
        ask("/logbook", Right::Look, get(logbook::show::<K>)),
        see("/live/logbook", Right::Look, get(live::logbook::<K>)),
        ask("/logbook/{check}", Right::Enter, get(logbook::ask::<K>)),
        send("/logbook/{check}", Right::Enter, post(logbook::enter::<K>)),
        see("/logbook/entries/{record}", Right::Look, get(logbook::show_entry::<K>)),
        send("/logbook/entries/{record}", Right::Amend, post(logbook::amend::<K>)),
        send("/logbook/entries/{record}/own", Right::Enter, post(logbook::amend_own::<K>)),
        send("/logbook/entries/{record}/comment", Right::Enter, post(logbook::comment::<K>)),
        see("/more", Right::Look, get(settings::more::<K>)),
        see("/settings", Right::Settings, get(settings::show::<K>)),
        send("/settings/test", Right::Act, post(settings::test::<K>)),
        see("/maintenance", Right::Maintain, get(settings::show_maintenance::<K>)),
        send("/maintenance", Right::Maintain, post(settings::begin::<K>)),
    ]
    .into_iter()
    .chain(desk())
    .chain(fitting())
    .collect()
}

/// What an auditor asks beside the history.
fn desk<K: Kitchen>() -> [Route<K>; 13] {
    let see = |path, right, answer| Route { path, method: Method::GET, right, asks: false, answer };
    let ask = |path, right, answer| Route { path, method: Method::GET, right, asks: true, answer };
    let send = |path, answer| Route { path, method: Method::POST, right: Right::Export, asks: false, answer };
    [
        ask("/history/in-force", Right::Look, get(history::moment::show::<K>)),
        see("/history/records/{record}", Right::Look, get(history::record::show::<K>)),
        ask("/history/integrity", Right::Look, get(history::integrity::show::<K>)),
        send("/history/integrity", post(history::integrity::begin::<K>)),
        see("/history/key", Right::Look, get(history::integrity::key::<K>)),
        see("/history/checkpoint", Right::Look, get(history::integrity::checkpoint::<K>)),
        see("/live/integrity", Right::Look, get(live::check::<K>)),
        ask("/history/exports", Right::Export, get(history::exports::show::<K>)),
        send("/history/exports", post(history::exports::begin::<K>)),
        ask("/history/exports/{number}", Right::Export, get(history::exports::shown::<K>)),
        send("/history/exports/{number}/end", post(history::exports::end::<K>)),
        see("/history/exports/{number}/file", Right::Export, get(history::exports::fetch::<K>)),
        see("/live/exports/{number}", Right::Export, get(live::export::<K>)),
    ]
}

/// What a technician needs at the machine.
fn fitting<K: Kitchen>() -> [Route<K>; 17] {
    let see = |path, right, answer| Route { path, method: Method::GET, right, asks: false, answer };
    let ask = |path, right, answer| Route { path, method: Method::GET, right, asks: true, answer };
    let send =
        |path, answer| Route { path, method: Method::POST, right: Right::Measure, asks: false, answer };
    [
        ask("/probes", Right::Look, get(probes::show::<K>)),
        ask("/probes/{machine}", Right::Look, get(probes::machine::<K>)),
        ask("/probes/{machine}/sheet", Right::Look, get(sign_off::sheet::<K>)),
        ask("/probes/{machine}/{probe}", Right::Look, get(probes::one::<K>)),
        see("/live/probes", Right::Look, get(live::probes::<K>)),
        see("/live/probes/{machine}", Right::Look, get(live::machine::<K>)),
        see("/live/probes/{machine}/{probe}", Right::Look, get(live::probe::<K>)),
        ask("/live/attempt/{machine}", Right::Measure, get(live::proof::<K>)),
        ask("/live/attempt/{machine}/{probe}", Right::Measure, get(live::attempt::<K>)),
        ask("/prove/{machine}", Right::Measure, get(attempt::proof::<K>)),
        send("/prove/{machine}", post(attempt::prove::<K>)),
        ask("/calibrate/{machine}/{probe}", Right::Measure, get(attempt::calibration::<K>)),
        send("/calibrate/{machine}/{probe}", post(attempt::calibrate::<K>)),
        ask("/respond/{machine}/{probe}", Right::Measure, get(attempt::response::<K>)),
        send("/respond/{machine}/{probe}", post(attempt::respond::<K>)),
        ask("/sign-off/{machine}", Right::Measure, get(sign_off::show::<K>)),
        send("/sign-off/{machine}", post(sign_off::sign::<K>)),
    ]
}

/// Every page, each behind the right that it takes; an address that asks what its page does not understand is
/// refused. Who asks is found by a layer above, which puts
/// the [`Person`] into the request.
pub fn site<K: Kitchen>(pages: Pages<K>) -> Router {
    let mut router = Router::new();
    for Route { path, method, right, asks, answer } in routes::<K>() {
        let shared = pages.clone();
        let understands = asks || method != Method::GET;
        let guard = move |person: Person, request: Request, next: Next| {
            let shared = shared.clone();
            async move {
                let deep = frame::depth(request.uri().path());
                if !person.may(right) {
                    super::access::not_allowed(request.extensions(), right).await;
                    return frame::not_yours(right, &person, &shared.site, deep);
                }
                let given = if understands { Given::default() } else { Given::read(request.uri(), &[]) };
                if given.is_refused() {
                    return query::refused(&given, &person, &shared.site, deep);
                }
                next.run(request).await
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
        .route(assets::ICON_PATH, get(assets::icon))
        .nest("/api/v1", api::router())
        .merge(api::vitals())
        .with_state(pages)
}

async fn nowhere<K: Kitchen>(State(pages): State<Pages<K>>, person: Person, uri: Uri) -> Response {
    if api::is_for_programs(uri.path()) {
        return api::unexplained(StatusCode::NOT_FOUND);
    }
    let deep = frame::depth(uri.path());
    std::future::ready(frame::refuse(Refusal::Unknown, &person, &pages.site, deep)).await
}

#[cfg(test)]
mod tests;
