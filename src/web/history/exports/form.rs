//! The form for an export, and the list of one's own.

use askama::Template;
use axum::extract::State;
use axum::extract::rejection::FormRejection;
use axum::http::StatusCode;
use axum::response::Response;
use jiff::ToSpan;
use jiff::civil::Date;
use serde::Deserialize;

use super::job::stage_word;
use super::{Form, Job, NotBegun, Paper, Presets, Wanted};
use crate::core::alert::hours::local_date;
use crate::core::reader::{Language, Scale};
use crate::web::form::{Fault, Field};
use crate::web::frame::{self, Frame, Refusal, Tab, said};
use crate::web::kitchen::{Kitchen, Pages};
use crate::web::person::Person;

/// What was typed.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub(in crate::web) struct Entered {
    form: String,
    machine: String,
    from: String,
    to: String,
    paper: String,
    scale: String,
    language: String,
    all_traces: String,
}

/// A choice.
struct Choice {
    value: &'static str,
    word: &'static str,
    what: &'static str,
    chosen: bool,
}

/// One of one's own exports.
struct Own {
    number: u64,
    file: String,
    begun: String,
    stage: String,
}

#[derive(Template)]
#[template(path = "web/history/exports/form.html", config = ".askama.toml")]
struct FormPage<'a> {
    frame: Frame<'a>,
    forms: Vec<Choice>,
    machines: Vec<(String, bool)>,
    from: Field,
    to: Field,
    papers: Vec<Choice>,
    scales: Vec<Choice>,
    languages: Vec<Choice>,
    all_traces: bool,
    refused: Option<&'static str>,
    missing: bool,
    own: Vec<Own>,
}

/// Shows the form.
pub(in crate::web) async fn show<K: Kitchen>(
    State(pages): State<Pages<K>>,
    axum::extract::Query(preset): Presets,
    person: Person,
) -> Response {
    let today = local_date(&person.reader.zone, pages.kitchen.time()).unwrap_or_default();
    let or = |text: &str, day: Date| text.parse::<Date>().unwrap_or(day).to_string();
    let week = today.checked_sub(6.days()).unwrap_or(today);
    let entered = Entered {
        form: preset.form,
        machine: preset.machine,
        from: or(&preset.from, week),
        to: or(&preset.to, today),
        paper: paper_of(&person).to_owned(),
        scale: person.reader.scale.as_str().to_owned(),
        language: person.reader.language.code().to_owned(),
        all_traces: String::new(),
    };
    let (from, to) = (Field::with(&entered.from), Field::with(&entered.to));
    answer(&pages, &person, &entered, (from, to), None).await
}

/// What paper the reader has at hand: letter where °F is read (own choice: the same countries).
const fn paper_of(person: &Person) -> &'static str {
    match person.reader.scale {
        Scale::Fahrenheit => "letter",
        Scale::Celsius => "a4",
    }
}

/// Begins an export, and leads to its page.
pub(in crate::web) async fn begin<K: Kitchen>(
    State(pages): State<Pages<K>>,
    person: Person,
    form: Result<axum::extract::Form<Entered>, FormRejection>,
) -> Response {
    let entered = form.map(|axum::extract::Form(entered)| entered).unwrap_or_default();
    let language = person.reader.language;
    let (mut from, mut to) = (Field::with(&entered.from), Field::with(&entered.to));
    let day = |typed: &str| match typed.trim() {
        "" => Err(Fault::Missing),
        typed => typed.parse::<Date>().map_err(|_| Fault::NotATime),
    };
    let days = (from.take(day(&entered.from), language), to.take(day(&entered.to), language));
    let form = Form::ALL.into_iter().find(|form| form.as_str() == entered.form);
    let ((Some(first), Some(last)), Some(form)) = (days, form) else {
        return answer(&pages, &person, &entered, (from, to), None).await;
    };
    let wanted = Wanted {
        form,
        from: first,
        to: last,
        machine: Some(entered.machine.clone()).filter(|machine| !machine.is_empty()),
        all_traces: !entered.all_traces.is_empty(),
        paper: if entered.paper == "letter" { Paper::Letter } else { Paper::A4 },
        scale: entered.scale.parse().unwrap_or(person.reader.scale),
        language: entered.language.parse().unwrap_or(language),
    };
    match pages.kitchen.begin_export(wanted, &person).await {
        Ok(number) => frame::go(&format!("exports/{number}")),
        Err(why) => answer(&pages, &person, &entered, (from, to), Some(why)).await,
    }
}

const fn why(why: NotBegun, language: Language) -> &'static str {
    match why {
        NotBegun::Many => said(
            language,
            "You have as many exports as one may have. Take one away below, then begin this one.",
            "Ya tiene tantas exportaciones como se permite. Quite una abajo y empiece esta.",
        ),
        NotBegun::Busy => said(
            language,
            "The gateway makes as many exports as it can. Try again in a minute.",
            "El equipo ya hace tantas exportaciones como puede. Inténtelo en un minuto.",
        ),
        NotBegun::NoReport => said(
            language,
            "PDF reports need the program rinseward-report, which is not installed at the gateway. Whoever runs it puts it beside rinseward, from the same release. All other forms need nothing.",
            "Los informes PDF necesitan el programa rinseward-report, que no está instalado en el equipo. Quien lo administra lo pone junto a rinseward, de la misma versión. Las demás formas no necesitan nada.",
        ),
        NotBegun::UnknownMachine => said(
            language,
            "No machine of this name is on record.",
            "No consta ninguna máquina con ese nombre.",
        ),
        NotBegun::Empty => said(
            language,
            "This span is empty: it ends before it begins, or has not begun yet.",
            "Este período está vacío: termina antes de empezar, o aún no ha empezado.",
        ),
        NotBegun::NotNow => said(
            language,
            "It cannot be put on record just now that you take records away. Nothing is lost; try again in a minute.",
            "Ahora no se puede dejar constancia de que se lleva asientos. No se pierde nada; inténtelo en un minuto.",
        ),
    }
}

async fn answer<K: Kitchen>(
    pages: &Pages<K>,
    person: &Person,
    entered: &Entered,
    (from, to): (Field, Field),
    refused: Option<NotBegun>,
) -> Response {
    let machines = match pages.kitchen.known_machines().await {
        Ok(machines) => machines,
        Err(refused) => return frame::refuse(refused, person, &pages.site, 1),
    };
    let language = person.reader.language;
    let title = said(language, "Take records away", "Llevarse asientos");
    let faulty = from.fault.is_some() || to.fault.is_some();
    let status = if refused.is_some() || faulty { StatusCode::UNPROCESSABLE_ENTITY } else { StatusCode::OK };
    let own = pages.kitchen.exports(&person.account);
    let page = FormPage {
        frame: Frame::new(&pages.site, person, Tab::History, 1, title).with_open(pages.open().await),
        forms: forms(&entered.form, language),
        machines: machines.into_iter().map(|name| (name.clone(), name == entered.machine)).collect(),
        from,
        to,
        papers: papers(&entered.paper),
        scales: scales(&entered.scale),
        languages: languages(&entered.language),
        all_traces: !entered.all_traces.is_empty(),
        refused: refused.map(|refused| why(refused, language)),
        missing: !pages.kitchen.has_report(),
        own: own.iter().map(|job| own_job(job, person)).collect(),
    };
    frame::page(status, page.render())
}

fn own_job(job: &Job, person: &Person) -> Own {
    Own {
        number: job.number,
        file: job.file.clone(),
        begun: person.reader.moment(job.begun),
        stage: stage_word(&job.stage, person.reader.language),
    }
}

fn forms(chosen: &str, language: Language) -> Vec<Choice> {
    let chosen = Form::ALL.into_iter().find(|form| form.as_str() == chosen).unwrap_or(Form::Pdf);
    let all = Form::ALL.into_iter().map(|form| {
        let (word, what) = match form {
            Form::Pdf => (
                "PDF",
                said(
                    language,
                    "Report on paper; racks, account and proof are attached to it.",
                    "Informe en papel; lleva adjuntas las canastas, la cuenta y la prueba.",
                ),
            ),
            Form::Evidence => (
                said(language, "Evidence", "Prueba"),
                said(
                    language,
                    "The records with what proves them, for rinseward verify on your own computer.",
                    "Los asientos con lo que los prueba, para rinseward verify en su propio ordenador.",
                ),
            ),
            Form::Csv => (
                "CSV",
                said(
                    language,
                    "A table of the racks, for a spreadsheet.",
                    "Una tabla de las canastas, para una hoja de cálculo.",
                ),
            ),
            Form::JsonLines => (
                "JSON Lines",
                said(
                    language,
                    "Every record of the span, one a line, for a program.",
                    "Cada asiento del período, uno por línea, para un programa.",
                ),
            ),
            Form::Json => (
                "JSON",
                said(
                    language,
                    "The account of the span in one object, for a program.",
                    "La cuenta del período en un objeto, para un programa.",
                ),
            ),
        };
        Choice { value: form.as_str(), word, what, chosen: form == chosen }
    });
    all.collect()
}

fn papers(chosen: &str) -> Vec<Choice> {
    let all = [("letter", "Letter"), ("a4", "A4")];
    all.into_iter().map(|(value, word)| Choice { value, word, what: "", chosen: value == chosen }).collect()
}

fn scales(chosen: &str) -> Vec<Choice> {
    let of = |scale: Scale| Choice {
        value: scale.as_str(),
        word: scale.symbol(),
        what: "",
        chosen: scale.as_str() == chosen,
    };
    Scale::ALL.into_iter().map(of).collect()
}

fn languages(chosen: &str) -> Vec<Choice> {
    let of = |language: Language| Choice {
        value: language.code(),
        word: match language {
            Language::English => "English",
            Language::Spanish => "español",
        },
        what: "",
        chosen: language.code() == chosen,
    };
    Language::ALL.into_iter().map(of).collect()
}

/// That a page of exports leads nowhere.
pub(super) fn unknown<K: Kitchen>(pages: &Pages<K>, person: &Person) -> Response {
    frame::refuse(Refusal::Unknown, person, &pages.site, 2)
}
