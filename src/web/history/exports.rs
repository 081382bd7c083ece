//! Taking records away as a file: what is wanted, how far it is, and the file.
//!
//! An export is a job of whoever began it: nobody else sees it. The page of a job shows how far it is,
//! live or by reload, and hands the file out when it is whole. Who took what away is on record.

mod form;
mod job;

use std::future::Future;

use axum::body::Body;
use axum::extract::{Path, State};
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use jiff::civil::Date;
use tokio::sync::watch;

pub(in crate::web) use self::form::{begin, show};
pub(in crate::web) use self::job::{part, shown};
use crate::core::evidence::JSON_LINES;
use crate::core::reader::{Language, Scale};
use crate::core::time::Timestamp;
use crate::web::frame::{self, Refusal};
use crate::web::kitchen::{Kitchen, Pages};
use crate::web::person::Person;

/// Form of a file.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Form {
    /// The account of the span on paper, with the cycles, the account and the evidence attached.
    Pdf,
    /// The records of the span with what proves them.
    Evidence,
    /// The racks as a table (RFC 4180).
    Csv,
    /// Every record of the span, one JSON object a line.
    JsonLines,
    /// The account of the span as one JSON object.
    Json,
}

impl Form {
    /// Every form, in the order of the page.
    pub const ALL: [Self; 5] = [Self::Pdf, Self::Evidence, Self::Csv, Self::JsonLines, Self::Json];

    /// Its word on the command line, in an address and on record.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Pdf => "pdf",
            Self::Evidence => "evidence",
            Self::Csv => "csv",
            Self::JsonLines => "jsonl",
            Self::Json => "json",
        }
    }

    /// How the name of a file of it ends.
    #[must_use]
    pub const fn ending(self) -> &'static str {
        match self {
            Self::Pdf => "pdf",
            Self::Evidence => "evidence.jsonl",
            Self::Csv => "csv",
            Self::JsonLines => "jsonl",
            Self::Json => "json",
        }
    }

    /// Whether readings of racks go into it.
    #[must_use]
    pub const fn has_traces(self) -> bool {
        match self {
            Self::Pdf | Self::Evidence => true,
            Self::Csv | Self::JsonLines | Self::Json => false,
        }
    }

    const fn media(self) -> &'static str {
        match self {
            Self::Pdf => "application/pdf",
            Self::Csv => "text/csv; charset=utf-8; header=present",
            Self::Evidence | Self::JsonLines => JSON_LINES,
            Self::Json => "application/json",
        }
    }
}

/// Size of the paper of a PDF.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Paper {
    /// US letter.
    Letter,
    /// A4.
    A4,
}

/// What is wanted.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Wanted {
    /// In which form.
    pub form: Form,
    /// From this day of the site on.
    pub from: Date,
    /// To this day, included.
    pub to: Date,
    /// Of this machine only.
    pub machine: Option<String>,
    /// With the readings of every rack, not only of those that did not plainly pass.
    pub all_traces: bool,
    /// Paper of a PDF.
    pub paper: Paper,
    /// Scale of a PDF; all other forms are in °C.
    pub scale: Scale,
    /// Language of a PDF; all other forms are for programs.
    pub language: Language,
}

/// How far a job is.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Stage {
    /// Others are made first.
    Waiting,
    /// It reads: so many records of about so many.
    Reading {
        /// Records so far.
        far: u64,
        /// About how many there are.
        of: u64,
    },
    /// The report program is at work: so many of its pictures are laid out.
    Typesetting {
        /// Pictures so far.
        laid: u64,
        /// How many there are; 0 while nobody knows.
        of: u64,
    },
    /// The file is whole.
    Done {
        /// Its length.
        bytes: u64,
        /// Records that could not be read, so that it has nothing of them.
        damaged: Vec<u64>,
        /// Whether a checkpoint proves what it says; absent for a form that has none in itself.
        sealed: Option<bool>,
        /// When the first record was made, where the whole span lies before it and so nothing is in the file.
        begins: Option<Timestamp>,
    },
    /// There is no file.
    Failed {
        /// What went wrong and what to do, in English as every message of the gateway.
        said: String,
    },
}

impl Stage {
    /// Whether nothing more happens to it.
    #[must_use]
    pub const fn is_over(&self) -> bool {
        match self {
            Self::Waiting | Self::Reading { .. } | Self::Typesetting { .. } => false,
            Self::Done { .. } | Self::Failed { .. } => true,
        }
    }
}

/// One export.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Job {
    /// Its number.
    pub number: u64,
    /// What is wanted.
    pub wanted: Wanted,
    /// Name of the file: letters, digits, points and hyphens only.
    pub file: String,
    /// When it was begun.
    pub begun: Timestamp,
    /// How far it is.
    pub stage: Stage,
}

/// Why an export was not begun.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum NotBegun {
    /// The person has as many as one may have.
    Many,
    /// The gateway makes as many as it can.
    Busy,
    /// The program that makes PDF files is not installed.
    NoReport,
    /// There is no such machine.
    UnknownMachine,
    /// The span ends before it begins, or has not begun.
    Empty,
    /// It cannot be put on record just now.
    NotNow,
}

/// What the pages ask of whoever makes exports.
pub trait Exports: Clone + Send + Sync + 'static {
    /// Changes while an export goes on.
    fn stir(&self) -> watch::Receiver<u64>;

    /// Whether PDF files can be made.
    fn has_report(&self) -> bool;

    /// Begins one, and puts on record who takes what away; gives its number.
    fn begin_export(
        &self,
        wanted: Wanted,
        person: &Person,
    ) -> impl Future<Output = Result<u64, NotBegun>> + Send;

    /// Those of an account, the newest first.
    fn exports(&self, account: &str) -> Vec<Job>;

    /// Ends one, and takes its file away.
    fn end_export(&self, number: u64, account: &str);

    /// The file.
    ///
    /// # Errors
    /// [`Refusal::Unknown`] where there is none of this account.
    fn fetch(&self, number: u64, account: &str) -> impl Future<Output = Result<Body, Refusal>> + Send;
}

fn of(number: u64, jobs: Vec<Job>) -> Option<Job> {
    jobs.into_iter().find(|job| job.number == number)
}

/// Hands the file out.
pub(in crate::web) async fn fetch<K: Kitchen>(
    State(pages): State<Pages<K>>,
    Path(number): Path<u64>,
    person: Person,
) -> Response {
    let job = of(number, pages.kitchen.exports(&person.account));
    let Some(Job { wanted, file, stage: Stage::Done { bytes, .. }, .. }) = job else {
        return frame::refuse(Refusal::Unknown, &person, &pages.site, 3);
    };
    let body = match pages.kitchen.fetch(number, &person.account).await {
        Ok(body) => body,
        Err(refused) => return frame::refuse(refused, &person, &pages.site, 3),
    };
    // The name is of characters that need no quoting (RFC 6266 §4.1).
    let Ok(named) = HeaderValue::from_str(&format!("attachment; filename=\"{file}\"")) else {
        return StatusCode::INTERNAL_SERVER_ERROR.into_response();
    };
    let headers = [
        (header::CONTENT_TYPE, HeaderValue::from_static(wanted.form.media())),
        (header::CONTENT_DISPOSITION, named),
        (header::CONTENT_LENGTH, HeaderValue::from(bytes)),
    ];
    (headers, body).into_response()
}

/// Ends an export.
pub(in crate::web) async fn end<K: Kitchen>(
    State(pages): State<Pages<K>>,
    Path(number): Path<u64>,
    person: Person,
) -> Response {
    pages.kitchen.end_export(number, &person.account);
    std::future::ready(frame::go("../../exports")).await
}
