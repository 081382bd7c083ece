//! What programs ask, under `/api/v1`: the record, the alerts, the checks and the readings as JSON.
//!
//! `route` is the one list that the router and the description of the interface (OpenAPI 3.1,
//! `spec`) are both made of. JSON is that of the commands: one row of a list is one line of
//! `history --json`, an alert that of `alerts list --json`, what an entry came to that of
//! `enter … --json`. [`Answers`] hands it over as text, so that no second form can arise here.
//!
//! Every refusal is a problem of RFC 9457. Every answer that is looked up, but for streams, bears a strong ETag.
//! That of one that follows from the record alone is made of the number of records and of the question: nothing
//! that is on record changes, so that the same number of records gives the same answer. That of any other, or where
//! a record came while the answer was read, is made of its bytes.
//!
//! Beside it stand `/health`, `/ready` and `/metrics` (`vitals`), for whoever watches over the gateway.

mod call;
mod deeds;
mod lists;
mod live;
mod metrics;
mod params;
mod problem;
mod route;
mod shapes;
mod single;
mod spec;
mod tag;
mod vitals;

use std::future::Future;

use axum::body::Body;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use jiff::civil::Date;
use prometheus_client::metrics::histogram::Histogram;

use crate::core::access::{Right, Role};
use crate::core::cycle::verdict::Verdict;
use crate::core::record::{Check, CheckKind};
use crate::core::time::Timestamp;

use problem::Problem;
pub(super) use route::router;
pub(super) use vitals::router as vitals;

/// Most rows of one page.
pub const LIMIT_MAX: usize = 1_000;
/// Rows of a page where nobody says how many.
pub const LIMIT: usize = 100;

/// A list that can be asked for.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum View {
    /// The machines at a glance.
    Machines,
    /// The cycles.
    Cycles,
    /// The days in numbers.
    Days,
    /// The days summed up.
    Summary,
    /// What is missing of the readings.
    Gaps,
    /// The alerts.
    Alerts,
    /// The checks.
    Checks,
    /// The checks that are due.
    Due,
    /// Every record that is no cycle.
    Records,
    /// The probes and what they show.
    Probes,
}

/// Where a span begins or ends.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum When {
    /// At this instant.
    Instant(Timestamp),
    /// With this day of the site.
    Day(Date),
}

/// Whether alerts are over.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum State {
    /// They last, or wait for their corrective action.
    Open,
    /// They are over.
    Closed,
}

/// What is asked of a list. What a list does not know is not given.
#[derive(Clone, PartialEq, Debug)]
pub struct Asked {
    /// Which list.
    pub view: View,
    /// Only of this machine.
    pub machine: Option<String>,
    /// From when on.
    pub from: Option<When>,
    /// Until when: a whole day, or before an instant.
    pub to: Option<When>,
    /// Only with these verdicts; empty means any.
    pub verdicts: Vec<Verdict>,
    /// Only, or beside those, cycles that passed and are in doubt.
    pub in_doubt: bool,
    /// Only this kind of check.
    pub check: Option<CheckKind>,
    /// Only these kinds of record; empty means any.
    pub kinds: Vec<String>,
    /// Only alerts that stand so.
    pub state: Option<State>,
    /// The oldest first; else the newest.
    pub oldest_first: bool,
    /// Most rows, 1 to [`LIMIT_MAX`].
    pub limit: usize,
    /// The cursor that the page before gave.
    pub after: Option<String>,
}

/// One page of a list.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Rows {
    /// Each row, as JSON.
    pub items: Vec<String>,
    /// Cursor of the page that follows, where there is more.
    pub next: Option<String>,
    /// Records among them that are damaged, so that they are no rows.
    pub damaged: Vec<u64>,
    /// Number of records that it follows from; `None` where it follows from more than the record, or
    /// a record came while it was read.
    pub size: Option<u64>,
}

/// One thing.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct One {
    /// As JSON.
    pub json: String,
    /// As for [`Rows`].
    pub size: Option<u64>,
}

/// One thing that can be asked for.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Single {
    /// A machine at a glance.
    Machine(String),
    /// A cycle, by its record.
    Cycle(u64),
    /// The readings that it was judged on.
    Trace(u64),
    /// That it is in the ledger that a checkpoint seals.
    Proof(u64),
    /// An alert with its trail.
    Alert(u64),
    /// A record as it is stored.
    Record {
        /// Which.
        index: u64,
        /// Whether whoever asks may see the configuration, all of which stands in the record of its change.
        settings: bool,
    },
    /// The newest checkpoint.
    Checkpoint,
}

/// What somebody does.
#[derive(Clone, PartialEq, Debug)]
pub enum Deed {
    /// Takes an alert on.
    Acknowledge {
        /// Which.
        alert: u64,
        /// What they add.
        note: Option<String>,
    },
    /// Writes the corrective action.
    Act {
        /// For which alert.
        alert: u64,
        /// What happened to the racks.
        racks: String,
        /// What was done.
        done: String,
        /// How many of its racks the writer was shown, and so covers; without it all that it counts.
        covers: Option<u64>,
    },
    /// Enters a check.
    Check {
        /// At which machine; `None` is the whole site.
        machine: Option<String>,
        /// The check, made by whoever enters it.
        check: Check,
        /// Whether one from long ago is meant.
        late: bool,
    },
}

/// In which form records are taken away.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Form {
    /// The cycles as a table, RFC 4180.
    Csv,
    /// The account of the span.
    Json,
    /// Every record, one a line.
    Jsonl,
    /// The records with what proves them.
    Evidence,
}

/// Which records are taken away.
#[derive(Clone, PartialEq, Debug)]
pub struct Taken {
    /// In which form.
    pub form: Form,
    /// From when on.
    pub from: When,
    /// Until when; now where it is `None`.
    pub to: Option<When>,
    /// Only of these machines; empty means all.
    pub machines: Vec<String>,
    /// Whether the readings of every cycle go with it, not only of those that did not plainly pass.
    pub all_traces: bool,
}

/// Why there is no answer.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum Trouble {
    /// There is no such thing.
    #[error("{detail}")]
    Unknown {
        /// What there is not.
        detail: String,
        /// What there is in its place, or how to find it.
        advice: String,
    },
    /// What was asked for cannot be.
    #[error("{detail}")]
    Wrong {
        /// Name of the parameter, or JSON pointer (RFC 6901) into the body; empty where it is the whole.
        field: String,
        /// What is wrong.
        detail: String,
    },
    /// What somebody does cannot be done.
    #[error("{detail}")]
    Refused {
        /// Slug of the message.
        slug: String,
        /// What is wrong.
        detail: String,
        /// What to do.
        advice: Option<String>,
        /// JSON pointer (RFC 6901) to the value of the body that it is about.
        pointer: Option<String>,
    },
    /// It takes a right that whoever asks does not have.
    #[error("your role does not reach that far")]
    NotYours(Right),
    /// As many do it already as can at a time.
    #[error("as many of these are under way as can be at a time")]
    Busy,
    /// The record cannot be read or written just now.
    #[error("the record cannot be read or written just now")]
    NotNow,
}

impl Trouble {
    /// There is no machine of this name, but there are these.
    #[must_use]
    pub fn no_machine(name: &str, mut known: Vec<String>) -> Self {
        known.sort_unstable();
        known.dedup();
        let advice = if known.is_empty() {
            "there is none yet: see the configuration of the gateway".to_owned()
        } else {
            format!("ask of one of these machines: {}", known.join(", "))
        };
        Self::Unknown { detail: format!("no machine is called «{name}»"), advice }
    }

    /// A span that ends before it begins.
    #[must_use]
    pub fn backwards() -> Self {
        let detail = "the span ends before it begins: to names the last day, or the first instant after it";
        Self::Wrong { field: "to".to_owned(), detail: detail.to_owned() }
    }
}

/// A column of a list, for its description.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Field {
    /// Its key.
    pub key: String,
    /// What it holds.
    pub kind: FieldKind,
}

/// What a column holds, beside nothing.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum FieldKind {
    /// A text.
    Text,
    /// An instant, RFC 3339.
    Instant,
    /// A day.
    Day,
    /// A number.
    Number,
    /// Yes or no.
    Flag,
}

/// What is measured of the gateway itself, since it started.
#[derive(Clone, Debug, Default)]
pub struct Figures {
    /// Readings received, by source.
    pub readings: Vec<(String, u64)>,
    /// Cycles put on record, by machine and verdict.
    pub cycles: Vec<(String, Verdict, u64)>,
    /// Open alerts, by condition.
    pub alerts: Vec<(String, u64)>,
    /// Records in the ledger.
    pub records: u64,
    /// Bytes of the ledger on disk.
    pub ledger_bytes: u64,
    /// Letters that wait, by channel.
    pub letters: Vec<(String, u64)>,
    /// Age of the oldest reading that the series server has not taken, s; `None` without series.
    pub series_behind_s: Option<f64>,
    /// Age of the newest reading, by probe, s.
    pub ages_s: Vec<(String, f64)>,
    /// Time from handing a commit over to having it on the device, s; `None` where nothing measures it.
    pub commits_s: Option<Histogram>,
}

/// What the interface asks of whoever knows the kitchen.
pub trait Answers: Clone + Send + Sync + 'static {
    /// What changes an answer beside the record and the question: version and configuration.
    fn edition(&self) -> String;

    /// Number of records.
    fn size(&self) -> u64;

    /// Columns of a list that is made of columns.
    fn fields(view: View) -> Vec<Field>;

    /// One page of a list.
    fn rows(&self, asked: Asked) -> impl Future<Output = Result<Rows, Trouble>> + Send;

    /// One thing, as JSON.
    fn single(&self, asked: Single) -> impl Future<Output = Result<One, Trouble>> + Send;

    /// Does what a person asks for, in their name; answers as JSON when it is on record.
    fn perform(&self, deed: Deed, by: &str) -> impl Future<Output = Result<String, Trouble>> + Send;

    /// Records as a file, read while they are sent; puts on record first that this account takes them away.
    fn export(&self, taken: Taken, account: &str) -> impl Future<Output = Result<Body, Trouble>> + Send;

    /// Readings as they come in, one event a line, until the gateway stops.
    fn readings(&self) -> Body;

    /// Why the gateway does not do its work just now; empty where it does.
    fn hindrances(&self) -> impl Future<Output = Vec<String>> + Send;

    /// What is measured of it.
    fn figures(&self) -> impl Future<Output = Result<Figures, Trouble>> + Send;
}

/// Whether programs ask at this path, so that a refusal is a problem (RFC 9457), not a page.
pub(super) fn is_for_programs(path: &str) -> bool {
    path.starts_with("/api/") || matches!(path, "/health" | "/ready" | "/metrics")
}

/// Whether this path is asked by whoever looks after the process, without saying who they are.
pub(super) fn is_for_probes(path: &str) -> bool {
    matches!(path, "/health" | "/ready")
}

/// A refusal that is made before a call is looked at.
pub(super) fn refused(status: StatusCode, detail: &str, advice: &str) -> Response {
    // What was sent is at fault there, whoever sent it.
    let of_request = [StatusCode::PAYLOAD_TOO_LARGE, StatusCode::REQUEST_TIMEOUT].contains(&status);
    let slug = if of_request { "api-request" } else { "api-access" };
    Problem::new(status, slug, detail, advice).into_response()
}

/// A refusal of which nothing more is known.
pub(super) fn unexplained(status: StatusCode) -> Response {
    match status {
        StatusCode::NOT_FOUND => Problem::nowhere().into_response(),
        StatusCode::UNAUTHORIZED => Problem::stranger().into_response(),
        status => {
            let advice = "see /api/v1/openapi.json for all there is";
            Problem::new(status, "api-request", "this cannot be asked here in this way", advice)
                .into_response()
        }
    }
}

/// Names of the roles, for what says who may do what.
fn roles(right: Right) -> String {
    let may = Role::ALL.into_iter().filter(|role| role.may(right)).map(Role::as_str);
    may.collect::<Vec<_>>().join(", ")
}
