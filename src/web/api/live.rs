//! What is sent for as long as somebody reads: readings as they come in, and exports.

use std::time::Duration;

use axum::body::Body;
use axum::extract::State;
use axum::http::{HeaderValue, header};
use axum::response::{IntoResponse, Response};
use futures_util::StreamExt;
use tokio::time::Instant;

use super::call::{Call, told};
use super::lists::span;
use super::problem::Problem;
use super::{Form, Taken, Trouble, params};
use crate::core::evidence::JSON_LINES;
use crate::core::file_name;
use crate::web::kitchen::{Kitchen, Pages};

/// Longest life of a stream; whoever reads on asks again, so that a token that has ended meanwhile shows no more.
const STREAM_MAX: Duration = Duration::from_secs(600);

/// Sends readings as they come in.
pub(super) async fn readings<K: Kitchen>(State(pages): State<Pages<K>>, call: Call) -> Response {
    let Ok(place) = pages.live.places.take(&call.person.account, call.from) else {
        return std::future::ready(Problem::busy().into_response()).await;
    };
    let end = tokio::time::sleep_until(Instant::now() + STREAM_MAX);
    let parts = pages.kitchen.readings().into_data_stream().take_until(end);
    let parts = parts.map(move |part| {
        let _held = &place;
        part
    });
    ([(header::CONTENT_TYPE, JSON_LINES)], Body::from_stream(parts)).into_response()
}

/// Sends records as a file.
pub(super) async fn export<K: Kitchen>(State(pages): State<Pages<K>>, call: Call) -> Response {
    let taken = match taken(&call) {
        Ok(taken) => taken,
        Err(trouble) => return told(Err(trouble)),
    };
    let (kind, name) = match taken.form {
        Form::Csv => ("text/csv; charset=utf-8", "cycles.csv"),
        Form::Json => ("application/json", "account.json"),
        Form::Jsonl => (JSON_LINES, "records.jsonl"),
        Form::Evidence => (JSON_LINES, "evidence.jsonl"),
    };
    let name = file_name::of_only(name, &taken.machines);
    let named = HeaderValue::from_str(&format!("attachment; filename=\"{name}\""));
    told(pages.kitchen.export(taken, &call.person.account).await.map(|body| {
        let mut response = ([(header::CONTENT_TYPE, kind)], body).into_response();
        if let Ok(named) = named {
            response.headers_mut().insert(header::CONTENT_DISPOSITION, named);
        }
        response
    }))
}

fn taken(call: &Call) -> Result<Taken, Trouble> {
    let given = &call.given;
    let form = match given.text(params::FORM) {
        Some("csv") => Form::Csv,
        Some("jsonl") => Form::Jsonl,
        Some("evidence") => Form::Evidence,
        _ => Form::Json,
    };
    let all_traces = given.flag(params::TRACES);
    if all_traces && form != Form::Evidence {
        let detail = "only evidence holds readings".to_owned();
        return Err(Trouble::Wrong { field: params::TRACES.name.to_owned(), detail });
    }
    let (from, to) = span(given);
    let from = from.ok_or(Trouble::NotNow)?;
    let machines = given.words(params::MACHINES).map(str::to_owned).collect();
    Ok(Taken { form, from, to, machines, all_traces })
}
