//! The page itself: the question, its answer, and the ways from here.

use askama::Template;
use axum::extract::{Query, State};
use axum::http::StatusCode;
use axum::response::Response;

use super::asked::{Asked, Quick, address, quick};
use super::lines::{DayTold, GapTold, Told, day_told, gap_told, told};
use super::sums::{self, DriftTold, SummedTold};
use super::words::kind_word;
use super::{DRIFT_DAYS_MAX, Found, Integrity, Page, Question, View};
use crate::core::access::Right;
use crate::core::address::escaped;
use crate::core::alert::hours::local_date;
use crate::core::cycle::sign::Sign;
use crate::core::cycle::verdict::Verdict;
use crate::core::cycle::words::verdict as verdict_word;
use crate::core::record::Body;
use crate::web::frame::{self, Frame, Tab, said};
use crate::web::kitchen::{Kitchen, Pages};
use crate::web::machine::zone_of;
use crate::web::person::Person;

/// A choice of a form.
struct Choice<'a> {
    value: &'a str,
    word: &'a str,
    chosen: bool,
}

/// A view that one can go on to.
struct Way {
    word: &'static str,
    address: String,
    chosen: bool,
}

/// What was found, in words.
enum Shown {
    Lines(Vec<Told>),
    Days(Vec<DayTold>),
    Gaps(Vec<GapTold>),
    Summary(Option<SummedTold>),
    Drift(Vec<DriftTold>, String),
}

impl Shown {
    fn is_empty(&self) -> bool {
        match self {
            Self::Lines(lines) => lines.is_empty(),
            Self::Days(days) => days.is_empty(),
            Self::Gaps(gaps) => gaps.is_empty(),
            Self::Summary(summed) => summed.is_none(),
            Self::Drift(drift, _) => drift.is_empty(),
        }
    }
}

#[derive(Template)]
#[template(path = "web/history/history.html", config = ".askama.toml")]
struct HistoryPage<'a> {
    frame: Frame<'a>,
    ways: Vec<Way>,
    quick: Vec<Quick>,
    machines: Vec<Choice<'a>>,
    verdicts: Vec<Choice<'a>>,
    kinds: Vec<Choice<'a>>,
    question: &'a Question,
    from: String,
    to: String,
    zone: String,
    shown: Shown,
    newer: Option<String>,
    older: Option<String>,
    damaged: String,
    integrity: &'a Integrity,
    sealed_at: Option<String>,
    exports: String,
    drift_days: i64,
    /// Whether the fields of the form say more than the ways above them.
    narrowed: bool,
    /// What the form is for.
    narrower: &'static str,
}

impl HistoryPage<'_> {
    fn is_list(&self) -> bool {
        match self.shown {
            Shown::Lines(_) | Shown::Days(_) | Shown::Gaps(_) => true,
            Shown::Summary(_) | Shown::Drift(..) => false,
        }
    }
}

/// Shows a page of what is on record.
pub(in crate::web) async fn show<K: Kitchen>(
    State(pages): State<Pages<K>>,
    Query(asked): Query<Asked>,
    person: Person,
) -> Response {
    let reader = &person.reader;
    let question = asked.question();
    let part = match pages.kitchen.history(question.clone(), reader).await {
        Ok(part) => part,
        Err(refused) => return frame::refuse(refused, &person, &pages.site, 0),
    };
    let language = reader.language;
    let now = pages.kitchen.time();
    let today = local_date(&reader.zone, now).unwrap_or_default();
    let title = said(language, "History", "Historial");
    let shown = match &part.found {
        Found::Lines(lines) => Shown::Lines(lines.iter().map(|line| told(line, reader)).collect()),
        Found::Days(days) => Shown::Days(days.iter().map(|day| day_told(day, reader)).collect()),
        Found::Gaps(gaps) => Shown::Gaps(gaps.iter().map(|gap| gap_told(gap, reader, now)).collect()),
        Found::Summary(summed) => {
            Shown::Summary(summed.as_ref().map(|summed| sums::told(summed, &question, reader)))
        }
        Found::Drift(drift, span) => {
            let span = span.map(|(from, to)| format!("{} – {}", reader.moment(from), reader.moment(to)));
            let drift = drift.iter().map(|drift| sums::drift_told(drift, reader)).collect();
            Shown::Drift(drift, span.unwrap_or_default())
        }
    };
    let step = |key: &str, value: String| format!("{}&{key}={value}", address(&question));
    let older = match (part.older, part.days_before) {
        (Some(record), _) => Some(step("older", record.to_string())),
        (None, Some(day)) => Some(step("until", day.to_string())),
        (None, None) => None,
    };
    let quick = quick(&question, today, language);
    let day = |date: Option<jiff::civil::Date>| date.map(|date| date.to_string()).unwrap_or_default();
    let page = HistoryPage {
        frame: Frame::new(&pages.site, &person, Tab::History, 0, title).with_open(pages.open().await),
        ways: ways(&question, language),
        narrowed: question.machine.is_some()
            || question.verdict.is_some()
            || question.kind.is_some()
            || quick.iter().all(|quick| !quick.chosen),
        narrower: match question.view {
            View::Racks => {
                said(language, "Other days, a machine, a verdict", "Otros días, una máquina, un veredicto")
            }
            View::Records => {
                said(language, "Other days, a machine, a kind", "Otros días, una máquina, una clase")
            }
            View::Summary | View::Days | View::Checks | View::Alerts | View::Gaps | View::Drift => {
                said(language, "Other days, a machine", "Otros días, una máquina")
            }
        },
        quick,
        machines: machines(&part.machines, &question),
        verdicts: verdicts(&question, language),
        kinds: kinds(&question, language),
        from: day(question.from),
        to: day(question.to),
        zone: zone_of(reader, now),
        shown,
        newer: part.newer.map(|record| step("newer", record.to_string())),
        older,
        damaged: part.damaged.iter().take(20).map(u64::to_string).collect::<Vec<_>>().join(", "),
        integrity: &part.integrity,
        sealed_at: part.integrity.checkpoint.map(|(_, at)| reader.moment(at)),
        exports: exports(&question),
        question: &question,
        drift_days: DRIFT_DAYS_MAX,
    };
    frame::page(StatusCode::OK, page.render())
}

fn ways(question: &Question, language: crate::core::reader::Language) -> Vec<Way> {
    let way = |view: View| {
        let asked = Question { view, until: None, page: Page::Newest, ..question.clone() };
        Way { word: view.word(language), address: address(&asked), chosen: view == question.view }
    };
    View::ALL.into_iter().map(way).collect()
}

fn machines<'a>(names: &'a [String], question: &Question) -> Vec<Choice<'a>> {
    let choice = |name: &'a String| Choice {
        value: name,
        word: name,
        chosen: question.machine.as_ref() == Some(name),
    };
    names.iter().map(choice).collect()
}

fn verdicts<'a>(question: &Question, language: crate::core::reader::Language) -> Vec<Choice<'a>> {
    let choice = |verdict: Verdict| Choice {
        value: verdict.as_str(),
        word: verdict_word(verdict, language),
        chosen: question.verdict == Some(verdict),
    };
    Verdict::ALL.into_iter().map(choice).collect()
}

fn kinds<'a>(question: &Question, language: crate::core::reader::Language) -> Vec<Choice<'a>> {
    let choice = |kind: &'static str| Choice {
        value: kind,
        word: kind_word(kind, language),
        chosen: question.kind == Some(kind),
    };
    Body::EVENTS.into_iter().map(choice).collect()
}

/// The form for an export of what is looked at.
fn exports(question: &Question) -> String {
    let mut address = "history/exports?form=pdf".to_owned();
    if let Some(machine) = &question.machine {
        address.push_str(&format!("&machine={}", escaped(machine)));
    }
    for (name, day) in [("from", question.from), ("to", question.to)] {
        if let Some(day) = day {
            address.push_str(&format!("&{name}={day}"));
        }
    }
    address
}
