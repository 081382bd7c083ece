//! The page itself: the question, its answer, and the ways from here.

use std::collections::BTreeSet;

use askama::Template;
use axum::extract::State;
use axum::http::{StatusCode, Uri};
use axum::response::Response;
use jiff::civil::Date;

use super::asked::{Asked, Quick, address, from_gap, quick};
use super::lines::{DayTold, GapTold, Told, day_told, gap_told, told};
use super::missed::{self, MissedDay};
use super::paper;
use super::sums::{self, DriftTold, SummedTold};
use super::words::kind_word;
use super::{DRIFT_DAYS_MAX, Found, GapLine, HistoryPart, Integrity, Listed, Newest, Page, Question, View};
use crate::core::access::Right;
use crate::core::address::escaped;
use crate::core::counted::Noun;
use crate::core::cycle::sign::Sign;
use crate::core::cycle::verdict::Verdict;
use crate::core::cycle::words::{IN_DOUBT, in_doubt, verdict as verdict_word};
use crate::core::reader::{Language, Reader, filled};
use crate::core::record::Body;
use crate::core::time::Timestamp;
use crate::core::wall_clock::day_begins;
use crate::core::wall_clock::local_date;
use crate::web::form::Field;
use crate::web::frame::{self, Frame, Tab, said};
use crate::web::kitchen::{Kitchen, Pages};
use crate::web::machine::zone_of;
use crate::web::person::Person;
use crate::web::query;

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
    Missed(Vec<MissedDay>),
    Gaps(Vec<GapTold>),
    Summary(Option<Box<SummedTold>>),
    Drift(Vec<DriftTold>, String),
}

impl Shown {
    fn of(found: &Found, question: &Question, reader: &Reader, now: Timestamp) -> Self {
        match found {
            Found::Lines(page) => Self::Lines(page.lines.iter().map(|line| told(line, reader)).collect()),
            Found::Days { days, .. } => Self::Days(days.iter().map(|day| day_told(day, reader)).collect()),
            Found::Missed { lines, .. } => Self::Missed(missed::by_day(lines, reader)),
            Found::Gaps(page) => {
                Self::Gaps(page.lines.iter().map(|gap| gap_told(gap, reader, now)).collect())
            }
            Found::Summary(summed) => {
                Self::Summary(summed.as_ref().map(|summed| Box::new(sums::told(summed, question, reader))))
            }
            Found::Drift { machines, span } => {
                let span = span
                    .map(|span| format!("{} – {}", reader.moment(span.from), reader.moment(span.to)))
                    .unwrap_or_default();
                Self::Drift(machines.iter().map(|drift| sums::drift_told(drift, reader)).collect(), span)
            }
        }
    }

    fn is_empty(&self) -> bool {
        match self {
            Self::Lines(lines) => lines.is_empty(),
            Self::Days(days) => days.is_empty(),
            Self::Missed(days) => days.is_empty(),
            Self::Gaps(gaps) => gaps.is_empty(),
            Self::Summary(summed) => summed.is_none(),
            Self::Drift(drift, _) => drift.is_empty(),
        }
    }

    fn is_list(&self) -> bool {
        match self {
            Self::Lines(_) | Self::Days(_) | Self::Missed(_) | Self::Gaps(_) => true,
            Self::Summary(_) | Self::Drift(..) => false,
        }
    }
}

/// The answer to a question that was understood.
struct Answer {
    shown: Shown,
    newer: Option<String>,
    older: Option<String>,
    /// How many records were left out that only move the end of work on a machine, and where they stand.
    folded: Option<(String, String)>,
    /// How many lines there are on all pages.
    hits: Option<String>,
    /// Whether it ends before it is full.
    cut: bool,
    damaged: String,
    /// How the record is sealed, in words.
    sealed: String,
}

impl Answer {
    fn of(part: &HistoryPart, question: &Question, reader: &Reader, now: Timestamp) -> Self {
        let step = |key: &str, value: String| format!("{}&{key}={value}", address(question));
        let record = |key, record: Option<u64>| record.map(|record| step(key, record.to_string()));
        let (newer, older) = match &part.found {
            Found::Lines(Listed { newer, older, .. }) => (record("newer", *newer), record("older", *older)),
            Found::Gaps(Listed { lines, newer, older, .. }) => {
                let gap = |key, record: Option<u64>, line: Option<&GapLine>| {
                    let probe = line.and_then(|line| line.blank.probe.as_deref());
                    record.map(|record| step(key, from_gap(record, probe)))
                };
                (gap("newer", *newer, lines.first()), gap("older", *older, lines.last()))
            }
            Found::Days { before, .. } | Found::Missed { before, .. } => {
                (None, before.map(|day| step("until", day.to_string())))
            }
            Found::Summary(_) | Found::Drift { .. } => (None, None),
        };
        Self {
            shown: Shown::of(&part.found, question, reader, now),
            newer,
            older,
            hits: hits(&part.found, question.view, reader.language),
            cut: matches!(&part.found, Found::Lines(Listed { cut: true, .. })),
            folded: match &part.found {
                Found::Lines(Listed { folded, .. }) if *folded > 0 => {
                    let kind = Some("maintenance");
                    let all = address(&Question { kind, ..question.clone() });
                    Some((Noun::Records.of(*folded, reader.language), all))
                }
                Found::Lines(_)
                | Found::Days { .. }
                | Found::Missed { .. }
                | Found::Gaps(_)
                | Found::Summary(_)
                | Found::Drift { .. } => None,
            },
            // A record can be found damaged in more than one way.
            damaged: part
                .damaged
                .iter()
                .collect::<BTreeSet<_>>()
                .into_iter()
                .take(20)
                .map(u64::to_string)
                .collect::<Vec<_>>()
                .join(", "),
            sealed: sealed(&part.integrity, reader),
        }
    }
}

/// How many lines a list has, in words; `None` where that is not counted.
fn hits(found: &Found, view: View, language: Language) -> Option<String> {
    let (hits, folded) = match found {
        Found::Lines(page) => (page.hits?, page.folded),
        Found::Gaps(page) => (page.hits?, 0),
        Found::Days { .. } | Found::Missed { .. } | Found::Summary(_) | Found::Drift { .. } => return None,
    };
    let noun = match view {
        View::Racks => Noun::Racks,
        View::Gaps => Noun::Gaps,
        View::Checks | View::Alerts | View::Records => Noun::Records,
        View::Days | View::Missed | View::Summary | View::Drift => return None,
    };
    let mut text = grouped(hits.count, language);
    if hits.more {
        text.insert_str(0, said(language, "more than ", "más de "));
    }
    text = format!("{text} {}", noun.word(hits.count, language));
    if folded > 0 {
        text.push_str(said(language, ", with those left out below", ", con los que se omiten abajo"));
    }
    Some(text)
}

/// A number with its thousands apart, as the reader's language writes it: Spanish has a blank there, which is no sign of
/// decimals anywhere, and none in a number of four digits (Ortografía de la lengua española, 2010).
fn grouped(count: u64, language: Language) -> String {
    let (between, least) = match language {
        Language::English => (',', 1_000),
        Language::Spanish => ('\u{a0}', 10_000),
    };
    let digits = count.to_string();
    if count < least {
        return digits;
    }
    let mut text = String::new();
    for (place, digit) in digits.chars().enumerate() {
        if place > 0 && (digits.len() - place).is_multiple_of(3) {
            text.push(between);
        }
        text.push(digit);
    }
    text
}

/// How the record is sealed.
fn sealed(integrity: &Integrity, reader: &Reader) -> String {
    let language = reader.language;
    let mut text = format!("{}; ", Noun::Records.of(integrity.records, language));
    match integrity.checkpoint {
        Some(Newest { records, at }) => {
            let sealed = said(language, "sealed", "sellados");
            text.push_str(&format!("{sealed}: {records}, {}", reader.moment(at)));
        }
        None => text.push_str(said(language, "none is sealed yet", "ninguno sellado todavía")),
    }
    if integrity.key.is_none() {
        let none = "; NO KEY in force vouches for it";
        text.push_str(said(language, none, "; NINGUNA CLAVE vigente responde por él"));
    }
    text
}

/// The fields of a question, with what is wrong beside each.
struct Form<'a> {
    from: Field,
    to: Field,
    machine: Field,
    machines: Vec<Choice<'a>>,
    /// Of racks alone.
    verdict: Option<(Field, Vec<Choice<'a>>)>,
    /// Of other records alone.
    kind: Option<(Field, Vec<Choice<'a>>)>,
    /// Whether any of it is set that is asked for less often, or is wrong.
    open: bool,
}

impl<'a> Form<'a> {
    /// The form, and all that is wrong with the question: whoever reads from the top meets it first.
    fn of(asked: &Asked, known: &'a [String], quick: &[Quick], language: Language) -> (Self, Vec<String>) {
        let Asked { question, given } = asked;
        let field = |name, english, spanish| given.field(name, said(language, english, spanish), language);
        let mut fields = vec!["from", "to", "machine"];
        let verdict = (question.view == View::Racks)
            .then(|| (field("verdict", "Verdict", "Veredicto"), verdicts(question, language)));
        fields.extend(verdict.as_ref().map(|_| "verdict"));
        let kind = (question.view == View::Records)
            .then(|| (field("kind", "Kind", "Clase"), kinds(question, language)));
        fields.extend(kind.as_ref().map(|_| "kind"));
        let form = Self {
            from: field("from", "From day", "Desde el día"),
            to: field("to", "To day", "Hasta el día"),
            machine: field("machine", "Machine", "Máquina"),
            machines: machines(known, question),
            verdict,
            kind,
            open: ["machine", "verdict", "kind"].into_iter().any(|name| given.has(name))
                || quick.iter().any(|quick| quick.chosen && !quick.first)
                    && !quick.iter().any(|quick| quick.chosen && quick.first),
        };
        let others = [&form.verdict, &form.kind].into_iter().flatten().map(|(field, _)| field);
        let marked = [&form.from, &form.to, &form.machine].into_iter().chain(others);
        let wrong = marked.filter_map(|field| field.fault.clone()).chain(given.beside(&fields, language));
        let wrong = wrong.collect();
        (form, wrong)
    }

    /// The type of the input of a day: a browser empties one of days where what was typed is none.
    fn input_of(&self, field: &Field) -> &'static str {
        if field.value.is_empty() || query::day(&field.value).is_ok() { "date" } else { "text" }
    }
}

#[derive(Template)]
#[template(path = "web/history/history.html", config = ".askama.toml")]
struct HistoryPage<'a> {
    frame: Frame<'a>,
    view: &'static str,
    ways: Vec<Way>,
    /// Spans that are asked for first, and the others.
    quick: [Vec<Quick>; 2],
    form: Form<'a>,
    /// What is wrong with the question.
    wrong: Vec<String>,
    zone: String,
    /// Absent where the question was refused.
    answer: Option<Answer>,
    exports: String,
    /// The day on which the record begins, where earlier days are asked for.
    before: Option<String>,
    /// What was asked for, in words: paper has no form.
    asked_for: String,
    /// Which part of it the page holds, where it does not hold all.
    part: Option<String>,
    /// Whether the question is narrower than an export of its span can be.
    all_of_span: bool,
    /// The alert whose racks or records are looked at, and the address of all of them.
    of_alert: Option<(u64, String)>,
    /// Whether records are.
    of_records: bool,
    drift_days: i64,
}

/// Shows a page of what is on record.
pub(in crate::web) async fn show<K: Kitchen>(
    State(pages): State<Pages<K>>,
    uri: Uri,
    person: Person,
) -> Response {
    let reader = &person.reader;
    let now = pages.kitchen.time();
    let today = local_date(&reader.zone, now).unwrap_or_default();
    let machines = match pages.kitchen.known_machines().await {
        Ok(machines) => machines,
        Err(refused) => return frame::refuse(refused, &person, &pages.site, 0),
    };
    let mut asked = Asked::read(&uri, &machines, today);
    let part = if asked.given.is_refused() {
        None
    } else {
        match pages.kitchen.history(asked.question.clone(), reader).await {
            Ok(Some(part)) => Some(part),
            Ok(None) => {
                asked.astray();
                None
            }
            Err(refused) => return frame::refuse(refused, &person, &pages.site, 0),
        }
    };
    let (question, language) = (&asked.question, reader.language);
    let quick = quick(question, today, language);
    let (form, wrong) = Form::of(&asked, &machines, &quick, language);
    let (asked_first, others) = quick.into_iter().partition(|quick| quick.first);
    let title = said(language, "History", "Historial");
    let begins = part.as_ref().and_then(|part| part.begins);
    let first = question.from.or(question.to);
    let asked_before = begins.filter(|begins| first.is_some_and(|first| first < *begins));
    let page = HistoryPage {
        frame: Frame::new(&pages.site, &person, Tab::History, 0, title).with_open(pages.open().await),
        view: question.view.as_str(),
        ways: ways(&asked, language),
        quick: [asked_first, others],
        form,
        wrong,
        zone: zone_of(reader, now),
        exports: exports(question, begins, today),
        asked_for: asked_for(question, reader),
        part: part
            .as_ref()
            .and_then(|part| paper::part_of(&part.found, question, part.begins, today, reader)),
        all_of_span: question.is_narrow(),
        of_records: question.view == View::Records,
        of_alert: question.alert.map(|alert| (alert, address(&Question { alert: None, ..question.clone() }))),
        answer: part.map(|part| Answer::of(&part, question, reader, now)),
        before: asked_before.map(|day| reader.day(day_begins(day, &reader.zone))),
        drift_days: DRIFT_DAYS_MAX,
    };
    let status = if page.answer.is_some() { StatusCode::OK } else { StatusCode::UNPROCESSABLE_ENTITY };
    frame::page(status, page.render())
}

/// What is asked for, in words.
fn asked_for(question: &Question, reader: &Reader) -> String {
    let language = reader.language;
    let (english, spanish) = match (question.from, question.to) {
        (Some(from), Some(to)) if from == to => ("{from}", "{from}"),
        (Some(_), Some(_)) => ("{from} to {to}", "{from} a {to}"),
        (Some(_), None) => ("from {from} on", "desde el {from}"),
        (None, Some(_)) => ("until {to}", "hasta el {to}"),
        (None, None) => ("all days on record", "todos los días que constan"),
    };
    let day = |day: Option<Date>| day.map(|day| reader.date(day)).unwrap_or_default();
    let span =
        filled(said(language, english, spanish), &[("from", &day(question.from)), ("to", &day(question.to))]);
    let machine = match &question.machine {
        Some(machine) => format!("{}: {machine}", said(language, "Machine", "Máquina")),
        None => said(language, "all machines", "todas las máquinas").to_owned(),
    };
    let verdict = question.verdict.map(|verdict| verdict_word(verdict, language));
    let verdict = verdict.or(question.in_doubt.then(|| in_doubt(language)));
    let verdict = verdict.map(|word| format!("{}: {word}", said(language, "Verdict", "Veredicto")));
    let kind = question
        .kind
        .map(|kind| format!("{}: {}", said(language, "Kind", "Clase"), kind_word(kind, language)));
    let view = question.view.word(language).to_owned();
    let parts = [Some(view), Some(span), Some(machine), verdict, kind];
    parts.into_iter().flatten().collect::<Vec<_>>().join(" · ")
}

fn ways(asked: &Asked, language: Language) -> Vec<Way> {
    let question = &asked.question;
    let known = !asked.given.is_wrong("show");
    let way = |view: View| {
        let other = Question { view, until: None, page: Page::Newest, probe: None, ..question.clone() };
        Way { word: view.word(language), address: address(&other), chosen: known && view == question.view }
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

fn verdicts<'a>(question: &Question, language: Language) -> Vec<Choice<'a>> {
    let choice = |verdict: Verdict| Choice {
        value: verdict.as_str(),
        word: verdict_word(verdict, language),
        chosen: question.verdict == Some(verdict),
    };
    let word = in_doubt(language);
    let doubted = Choice { value: IN_DOUBT, word, chosen: question.in_doubt };
    Verdict::ALL.into_iter().map(choice).chain([doubted]).collect()
}

fn kinds<'a>(question: &Question, language: Language) -> Vec<Choice<'a>> {
    let choice = |kind: &'static str| Choice {
        value: kind,
        word: kind_word(kind, language),
        chosen: question.kind == Some(kind),
    };
    Body::EVENTS.into_iter().map(choice).collect()
}

/// The form for an export of the span that is looked at, with both its ends: one that was left open is where the
/// record begins, or today. An export knows no verdict and no kind.
fn exports(question: &Question, begins: Option<Date>, today: Date) -> String {
    let from = question.from.or(begins.map(|begins| question.to.map_or(begins, |to| begins.min(to))));
    let to = question.to.or(Some(from.map_or(today, |from| from.max(today))));
    let mut address = "history/exports?form=pdf".to_owned();
    if let Some(machine) = &question.machine {
        address.push_str(&format!("&machine={}", escaped(machine)));
    }
    for (name, day) in [("from", from), ("to", to)] {
        if let Some(day) = day {
            address.push_str(&format!("&{name}={day}"));
        }
    }
    address
}
