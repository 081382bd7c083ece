//! Work on a machine: its racks are marked unproven meanwhile, and its messages are held.

use std::time::Duration;

use askama::Template;
use axum::extract::rejection::FormRejection;
use axum::extract::{Form, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use serde::Deserialize;

use super::words::{Words, words};
use crate::core::time::Timestamp;
use crate::web::frame::{self, Frame, Refusal, Tab};
use crate::web::kitchen::{Kitchen, Pages};
use crate::web::now::{AtAGlance, Glance};
use crate::web::person::Person;

/// How long work is said to take, min (own choice: a strainer, a probe, a booster, a pump).
const SPANS_MIN: [u64; 4] = [15, 30, 60, 120];
/// A second press this soon asks for the same.
const SAME: Duration = Duration::from_secs(30);

/// A machine and whether somebody works on it.
struct Row {
    name: String,
    until: Option<String>,
}

#[derive(Template)]
#[template(path = "web/settings/maintenance.html", config = ".askama.toml")]
struct MaintenancePage<'a> {
    frame: Frame<'a>,
    words: &'static Words,
    rows: Vec<Row>,
    spans: [u64; SPANS_MIN.len()],
}

/// Shows every machine with the buttons that begin and end work on it.
pub(in crate::web) async fn show<K: Kitchen>(State(pages): State<Pages<K>>, person: Person) -> Response {
    let reader = &person.reader;
    let AtAGlance { machines: glances, open } = match pages.kitchen.glances(reader).await {
        Ok(glances) => glances,
        Err(refused) => return frame::refuse(refused, &person, &pages.site, 0),
    };
    let words = words(reader.language);
    let row = |glance: &Glance| Row {
        name: glance.machine.clone(),
        until: glance
            .work_until
            .map(|until| format!("{} {}", words.until, reader.moment(until.full_minute()))),
    };
    let page = MaintenancePage {
        frame: Frame::new(&pages.site, &person, Tab::More, 0, words.maintenance).with_open(open),
        words,
        rows: glances.iter().map(row).collect(),
        spans: SPANS_MIN,
    };
    frame::page(StatusCode::OK, page.render())
}

/// What is asked for of which machine.
#[derive(Deserialize)]
pub(in crate::web) struct Asked {
    machine: String,
    /// `0` ends it.
    minutes: u64,
}

/// Begins, prolongs or ends work on a machine.
pub(in crate::web) async fn begin<K: Kitchen>(
    State(pages): State<Pages<K>>,
    person: Person,
    sent: Result<Form<Asked>, FormRejection>,
) -> Response {
    let Ok(Form(Asked { machine, minutes })) = sent else { return StatusCode::BAD_REQUEST.into_response() };
    if minutes != 0 && !SPANS_MIN.contains(&minutes) {
        return StatusCode::BAD_REQUEST.into_response();
    }
    let glances = match pages.kitchen.glances(&person.reader).await {
        Ok(seen) => seen.machines,
        Err(refused) => return frame::refuse(refused, &person, &pages.site, 0),
    };
    let Some(glance) = glances.iter().find(|glance| glance.machine == machine) else {
        return frame::refuse(Refusal::Unknown, &person, &pages.site, 0);
    };
    let until = (minutes > 0).then(|| pages.kitchen.time().plus(Duration::from_secs(minutes * 60)));
    if is_so(glance.work_until, until) {
        return frame::go("maintenance");
    }
    match pages.kitchen.maintain(machine, until, person.name.clone()).await {
        Ok(()) => frame::go("maintenance"),
        Err(refused) => frame::refuse(refused, &person, &pages.site, 0),
    }
}

/// Whether what is asked for is so already.
fn is_so(now: Option<Timestamp>, asked: Option<Timestamp>) -> bool {
    match (now, asked) {
        (None, None) => true,
        (Some(now), Some(asked)) => asked.since(now) <= SAME && now <= asked,
        (Some(_), None) | (None, Some(_)) => false,
    }
}
