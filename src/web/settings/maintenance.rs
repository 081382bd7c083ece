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
use crate::web::attempt::{Marked, NotOver};
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
    marked: Marked,
    /// That somebody works on it, until when and who.
    until: Option<String>,
    who: Option<String>,
}

#[derive(Template)]
#[template(path = "web/settings/maintenance.html", config = ".askama.toml")]
struct MaintenancePage<'a> {
    frame: Frame<'a>,
    words: &'static Words,
    rows: Vec<Row>,
    /// Why nothing was done, with the machine at which.
    notice: Option<(String, String)>,
    spans: [u64; SPANS_MIN.len()],
}

/// Shows every machine with the buttons that begin and end work on it.
pub(in crate::web) async fn show<K: Kitchen>(State(pages): State<Pages<K>>, person: Person) -> Response {
    page(&pages, &person, StatusCode::OK, None).await
}

/// The page; `still_open` is the machine whose work did not end since something is open there.
async fn page<K: Kitchen>(
    pages: &Pages<K>,
    person: &Person,
    status: StatusCode,
    still_open: Option<String>,
) -> Response {
    let reader = &person.reader;
    let AtAGlance { machines: glances, open, .. } = match pages.kitchen.glances(reader).await {
        Ok(glances) => glances,
        Err(refused) => return frame::refuse(refused, person, &pages.site, 0),
    };
    let words = words(reader.language);
    let row = |glance: &Glance| {
        let marked = Marked::new(pages, person, glance);
        Row {
            until: marked.until.as_ref().map(|until| format!("{} {until}", words.until)),
            who: marked.who.as_ref().map(|who| format!("{}: {who}", words.who)),
            marked,
        }
    };
    let page = MaintenancePage {
        frame: Frame::new(&pages.site, person, Tab::More, 0, words.maintenance).with_open(open),
        words,
        rows: glances.iter().map(row).collect(),
        notice: still_open.map(|machine| (format!("{machine}: {}", words.still_open), machine)),
        spans: SPANS_MIN,
    };
    frame::page(status, page.render())
}

/// What is asked for of which machine.
#[derive(Deserialize)]
pub(in crate::web) struct Asked {
    machine: String,
    /// `0` ends it.
    minutes: u64,
    /// What was open there as it was shown, see [`OpenAt::mark`](crate::web::attempt::OpenAt::mark), with blanks
    /// between.
    #[serde(default)]
    shown: String,
    /// Which page of the machine its end leads back to, where not to this one.
    back: Option<Back>,
}

/// A page of the machine.
#[derive(Clone, Copy, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum Back {
    Probes,
    SignOff,
}

impl Back {
    fn way(self, machine: &str) -> String {
        match self {
            Self::Probes => format!("probes/{machine}"),
            Self::SignOff => format!("sign-off/{machine}"),
        }
    }
}

/// Begins, prolongs or ends work on a machine.
pub(in crate::web) async fn begin<K: Kitchen>(
    State(pages): State<Pages<K>>,
    person: Person,
    sent: Result<Form<Asked>, FormRejection>,
) -> Response {
    let Ok(Form(Asked { machine, minutes, shown, back })) = sent else {
        return StatusCode::BAD_REQUEST.into_response();
    };
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
    let way = back.map_or_else(|| "maintenance".to_owned(), |back| back.way(&machine));
    if minutes == 0 {
        if glance.work_until.is_none() || glance.of_site {
            return frame::go(&way);
        }
        let shown = shown.split_whitespace().map(str::to_owned).collect();
        return match pages.kitchen.end_work(machine.clone(), shown, &person).await {
            Ok(()) => frame::go(&way),
            Err(NotOver::Open) => page(&pages, &person, StatusCode::CONFLICT, Some(machine)).await,
            Err(NotOver::Refused(refused)) => frame::refuse(refused, &person, &pages.site, 0),
        };
    }
    let until = pages.kitchen.time().plus(Duration::from_secs(minutes * 60));
    if glance.work_until.is_some_and(|now| is_so(now, until)) {
        return frame::go("maintenance");
    }
    match pages.kitchen.maintain(machine, Some(until), person.name.clone()).await {
        Ok(()) => frame::go("maintenance"),
        Err(refused) => frame::refuse(refused, &person, &pages.site, 0),
    }
}

/// Whether what is asked for is so already.
fn is_so(now: Timestamp, asked: Timestamp) -> bool {
    asked.since(now) <= SAME && now <= asked
}
