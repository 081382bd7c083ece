//! Whether the record is whole: the last check, a check now, and the public key to take away.

use std::future::Future;

use askama::Template;
use axum::extract::State;
use axum::http::{HeaderValue, StatusCode, Uri, header};
use axum::response::{IntoResponse, Response};
use tokio::sync::watch;

use super::findings::plain;
use super::story::{lasting, outcome, put};
use crate::core::access::Right;
use crate::core::audit::{Outcome, Report};
use crate::core::counted::Noun;
use crate::core::reader::{Language, Reader};
use crate::core::time::Timestamp;
use crate::web::frame::{self, Frame, Refusal, Tab, said};
use crate::web::kitchen::{Kitchen, Pages};
use crate::web::now::Card;
use crate::web::person::Person;
use crate::web::query;
use crate::web::renew::{self, Renewal};
use crate::web::who::instead;

/// Most findings of one page; a report holds more.
const FINDINGS_SHOWN: usize = 100;

/// A check under way.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Running {
    /// Name of whoever wanted it.
    pub by: String,
    /// Records so far.
    pub far: u64,
    /// How many there are.
    pub of: u64,
}

/// Whose word a check goes by.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Trusted {
    /// The public key that lies on the gateway, beside the ledger.
    Placed,
    /// The key that the ledger names itself, since none that can be read lies beside it: a ledger that
    /// somebody put in the place of this one would hold as well.
    Own,
}

/// A check that is over.
#[derive(Clone, PartialEq, Debug)]
pub struct Checked {
    /// When it ended.
    pub at: Timestamp,
    /// Name of whoever wanted it.
    pub by: String,
    /// What it came to.
    pub outcome: Outcome,
    /// Records that were looked at.
    pub records: u64,
    /// Number of findings.
    pub findings: u64,
    /// All that was found, and how long it took, s; absent where it ended before this start of the
    /// gateway: then only the record tells of it.
    pub report: Option<(Report, f64)>,
    /// By whose key; absent as the report is.
    pub trusted: Option<Trusted>,
}

/// Where checking stands.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Standing {
    /// The one under way.
    pub running: Option<Running>,
    /// The last one.
    pub last: Option<Checked>,
    /// Why the last one could not be made, in English as every message of the gateway.
    pub failed: Option<String>,
}

/// How the record is sealed.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Sealed {
    /// Number of records.
    pub records: u64,
    /// How many of them the newest checkpoint counts, and when it was made.
    pub checkpoint: Option<(u64, Timestamp)>,
    /// That checkpoint as a signed note.
    pub note: Option<String>,
    /// The public key in force, and the record that named it.
    pub key: Option<(String, u64)>,
    /// SHA-256 of the file that holds that key and a line end, in hexadecimal.
    pub fingerprint: Option<String>,
}

/// What the page asks of whoever keeps the record.
pub trait Checks: Clone + Send + Sync + 'static {
    /// How the record is sealed.
    fn sealed(&self) -> impl Future<Output = Result<Sealed, Refusal>> + Send;

    /// Where checking stands.
    fn standing(&self) -> impl Future<Output = Result<Standing, Refusal>> + Send;

    /// Changes while a check goes on.
    fn check_stirs(&self) -> watch::Receiver<u64>;

    /// Begins a check of everything; one that goes on already is not begun again.
    fn check(&self, person: &Person);
}

/// A finding in words.
struct FindingTold {
    means: String,
    exact: String,
    record: Option<u64>,
}

/// What changes while it is checked.
#[derive(Template)]
#[template(path = "web/history/integrity_part.html", config = ".askama.toml")]
struct Part<'a> {
    language: Language,
    standing: &'a Standing,
    say_word: String,
    /// What it came to, of how many records and when: of a check that is over never a statement of the present.
    headline: String,
    when: String,
    took: String,
    findings: Vec<FindingTold>,
    more: u64,
    remarks: Vec<String>,
    /// Up to which record it was sealed then, and how many were not.
    sealed: String,
}

impl Part<'_> {
    fn records(&self, count: &u64) -> String {
        Noun::Records.of(*count, self.language)
    }

    const fn say(&self, english: &'static str, spanish: &'static str) -> &'static str {
        said(self.language, english, spanish)
    }

    /// Whole under a key that the ledger did not bring along; of a check before this start that is not known.
    fn is_whole(&self) -> bool {
        self.standing.last.as_ref().is_some_and(|last| last.outcome == Outcome::Whole) && !self.is_own()
    }

    fn is_own(&self) -> bool {
        self.trusted() == Some(Trusted::Own)
    }

    fn is_placed(&self) -> bool {
        self.trusted() == Some(Trusted::Placed)
    }

    fn trusted(&self) -> Option<Trusted> {
        self.standing.last.as_ref()?.trusted
    }
}

/// How it is sealed at the moment, which changes with the part above it: both are told of the same records.
#[derive(Template)]
#[template(path = "web/history/integrity_seal.html", config = ".askama.toml")]
struct Seal<'a> {
    language: Language,
    sealed: &'a Sealed,
    /// Up to which record it is sealed, and how many are not yet.
    sealed_now: String,
    sealed_at: String,
}

impl Seal<'_> {
    fn records(&self, count: &u64) -> String {
        Noun::Records.of(*count, self.language)
    }

    const fn say(&self, english: &'static str, spanish: &'static str) -> &'static str {
        said(self.language, english, spanish)
    }
}

#[derive(Template)]
#[template(path = "web/history/integrity.html", config = ".askama.toml")]
struct IntegrityPage<'a> {
    frame: Frame<'a>,
    sealed: &'a Sealed,
    part: String,
    seal: String,
    /// Who may have it checked, for those who may not.
    instead: Option<String>,
}

/// The parts of the page that change: how checking stands, and how the record is sealed.
///
/// # Errors
/// The templates'.
pub(in crate::web) fn parts(
    standing: &Standing,
    sealed: &Sealed,
    reader: &Reader,
) -> Result<[Card; 2], askama::Error> {
    Ok([part(standing, sealed.records, reader)?, seal(sealed, reader)?])
}

fn seal(sealed: &Sealed, reader: &Reader) -> Result<Card, askama::Error> {
    let language = reader.language;
    let counted = sealed.checkpoint.map_or(0, |(size, _)| size);
    let seal = Seal {
        language,
        sealed,
        sealed_now: sealed_up_to(counted, sealed.records.saturating_sub(counted), language),
        sealed_at: sealed.checkpoint.map_or_else(String::new, |(_, at)| reader.moment(at)),
    };
    Ok(Card { html: seal.render()? })
}

/// How checking stands, where there are so many records by now.
fn part(standing: &Standing, records: u64, reader: &Reader) -> Result<Card, askama::Error> {
    let language = reader.language;
    let last = standing.last.as_ref();
    let report = last.and_then(|last| last.report.as_ref());
    let shown = report.iter().flat_map(|(report, _)| report.findings.iter().take(FINDINGS_SHOWN));
    let findings: Vec<FindingTold> = shown
        .map(plain)
        .map(|plain| FindingTold {
            means: put(language, plain.means, &[]),
            exact: plain.exact,
            record: plain.record,
        })
        .collect();
    let say_word = match (&standing.running, last) {
        (Some(_), _) => said(language, "Checking", "Comprobando").to_owned(),
        (None, Some(Checked { outcome: Outcome::Whole, trusted: Some(Trusted::Own), .. })) => {
            said(language, "WHOLE by its own key only", "ÍNTEGRO solo según su propia clave").to_owned()
        }
        (None, Some(last)) => outcome(last.outcome, language).to_owned(),
        (None, None) => String::new(),
    };
    let part = Part {
        language,
        standing,
        headline: last.map_or_else(String::new, |last| headline(last, &say_word, records, reader)),
        say_word,
        when: last.map_or_else(String::new, |last| reader.moment(last.at)),
        took: report.map_or_else(String::new, |(_, seconds)| lasting(*seconds)),
        more: last.map_or(0, |last| last.findings).saturating_sub(findings.len() as u64),
        findings,
        remarks: report
            .map_or_else(Vec::new, |(report, _)| report.remarks.iter().map(ToString::to_string).collect()),
        sealed: report.map_or_else(String::new, |(report, _)| sealed_then(report, language)),
    };
    Ok(Card { html: part.render()? })
}

/// «WHOLE at …, 1206 records; 104 records came since».
fn headline(last: &Checked, word: &str, records: u64, reader: &Reader) -> String {
    let language = reader.language;
    let at = reader.moment(last.at);
    let of = Noun::Records.of(last.records, language);
    let pair = ("{word} at {at}, {of}", "{word} a {at}, {of}");
    let checked = put(language, pair, &[("word", word), ("at", &at), ("of", &of)]);
    let since = records.saturating_sub(last.records);
    if since == 0 {
        return checked;
    }
    let pair = match since {
        1 => ("{checked}; {since} came since", "{checked}; desde entonces llegó {since}"),
        _ => ("{checked}; {since} came since", "{checked}; desde entonces llegaron {since}"),
    };
    put(language, pair, &[("checked", &checked), ("since", &Noun::Records.of(since, language))])
}

/// «every record up to 1192; 13 newer ones within the hour after».
fn sealed_then(report: &Report, language: Language) -> String {
    sealed_up_to(report.records.saturating_sub(report.not_sealed), report.not_sealed, language)
}

/// Which of the records checkpoints count, and when the others will be.
fn sealed_up_to(sealed: u64, newer: u64, language: Language) -> String {
    let pair = match (sealed, newer) {
        (0, _) => ("none yet; within the hour", "ninguno todavía; dentro de la hora"),
        (_, 0) => ("every record up to {last}", "cada asiento hasta el {last}"),
        (_, 1) => (
            "every record up to {last}; 1 newer one within the hour",
            "cada asiento hasta el {last}; 1 más nuevo, dentro de la hora",
        ),
        (_, _) => (
            "every record up to {last}; {newer} newer ones within the hour",
            "cada asiento hasta el {last}; {newer} más nuevos, dentro de la hora",
        ),
    };
    let last = sealed.saturating_sub(1).to_string();
    put(language, pair, &[("last", &last), ("newer", &newer.to_string())])
}

/// Shows whether the record is whole, as far as that is known.
pub(in crate::web) async fn show<K: Kitchen>(
    State(pages): State<Pages<K>>,
    uri: Uri,
    person: Person,
) -> Response {
    let renewal = match Renewal::alone(&uri, renew::AT_ONCE_S) {
        Ok(renewal) => renewal,
        Err(given) => return query::refused(&given, &person, &pages.site, 1),
    };
    let reader = &person.reader;
    let found = match (pages.kitchen.sealed().await, pages.kitchen.standing().await) {
        (Ok(sealed), Ok(standing)) => Ok((sealed, standing)),
        (Err(refused), _) | (_, Err(refused)) => Err(refused),
    };
    let (sealed, standing) = match found {
        Ok(found) => found,
        Err(refused) => return frame::refuse(refused, &person, &pages.site, 1),
    };
    let [part, seal] = match parts(&standing, &sealed, reader) {
        Ok(parts) => parts.map(|part| part.html),
        Err(error) => return frame::page(StatusCode::OK, Err(error)),
    };
    let title = said(reader.language, "Whether the record is whole", "Si el registro está íntegro");
    let what = said(reader.language, "Check now", "Comprobar ahora");
    let page = IntegrityPage {
        frame: Frame::new(&pages.site, &person, Tab::History, 1, title)
            .with_open(pages.open().await)
            .renewing(renewal),
        sealed: &sealed,
        part,
        seal,
        instead: instead(&person, Right::Export, what),
    };
    frame::page(StatusCode::OK, page.render())
}

/// Begins a check.
pub(in crate::web) async fn begin<K: Kitchen>(State(pages): State<Pages<K>>, person: Person) -> Response {
    pages.kitchen.check(&person);
    std::future::ready(frame::go("integrity")).await
}

/// The newest checkpoint as a file, to be kept elsewhere: what `verify --checkpoint` takes.
pub(in crate::web) async fn checkpoint<K: Kitchen>(
    State(pages): State<Pages<K>>,
    person: Person,
) -> Response {
    let note = match pages.kitchen.sealed().await {
        Ok(Sealed { note: Some(note), .. }) => note,
        Ok(Sealed { note: None, .. }) => return frame::refuse(Refusal::Unknown, &person, &pages.site, 1),
        Err(refused) => return frame::refuse(refused, &person, &pages.site, 1),
    };
    let headers = [
        (header::CONTENT_TYPE, HeaderValue::from_static("text/plain; charset=utf-8")),
        (header::CONTENT_DISPOSITION, HeaderValue::from_static("attachment; filename=\"site.checkpoint\"")),
    ];
    (headers, note).into_response()
}

/// Hands out the public key.
pub(in crate::web) async fn key<K: Kitchen>(State(pages): State<Pages<K>>, person: Person) -> Response {
    let key = match pages.kitchen.sealed().await {
        Ok(Sealed { key: Some((key, _)), .. }) => key,
        Ok(Sealed { key: None, .. }) => return frame::refuse(Refusal::Unknown, &person, &pages.site, 1),
        Err(refused) => return frame::refuse(refused, &person, &pages.site, 1),
    };
    let headers = [
        (header::CONTENT_TYPE, HeaderValue::from_static("text/plain; charset=utf-8")),
        (header::CONTENT_DISPOSITION, HeaderValue::from_static("attachment; filename=\"site.verify-key\"")),
    ];
    (headers, format!("{key}\n")).into_response()
}
