//! The page of one export: how far it is, and the way to its file.

use askama::Template;
use axum::extract::{Path, State};
use axum::http::{StatusCode, Uri};
use axum::response::Response;

use super::form::{form_word, unknown};
use super::{Form, Job, Stage, Wanted, of};
use crate::core::counted::Noun;
use crate::core::reader::{Language, Reader};
use crate::web::frame::{self, Frame, Tab, said};
use crate::web::history::story::put;
use crate::web::kitchen::{Kitchen, Pages};
use crate::web::now::Card;
use crate::web::person::Person;
use crate::web::query;
use crate::web::renew::{self, Renewal};

/// What changes while it is made.
#[derive(Template)]
#[template(path = "web/history/exports/part.html", config = ".askama.toml")]
struct Part<'a> {
    language: Language,
    job: &'a Job,
    word: String,
    /// How far it is, of how much; absent where nobody can say.
    progress: Option<(u64, u64)>,
    size: String,
    damaged: String,
    /// When the first record was made, where the ledger begins only after the span.
    begins: Option<String>,
    /// How the file is verified, where it can be.
    verify: Option<String>,
}

impl Part<'_> {
    const fn say(&self, english: &'static str, spanish: &'static str) -> &'static str {
        said(self.language, english, spanish)
    }

    /// How much was read, or laid out: a PDF holds an account and its evidence, and each is read by itself, so that
    /// most of its records are counted twice.
    fn far_of(&self, far: &u64, of: &u64) -> String {
        let is_laid = matches!(self.job.stage, Stage::Typesetting { .. });
        let pair = match self.job.wanted.form {
            Form::Pdf if is_laid && far == of => (
                "All traces and charts are laid out ({laid}); the file is put together.",
                "Todas las curvas y los gráficos están compuestos ({laid}); se arma el archivo.",
            ),
            Form::Pdf if is_laid => (
                "{far} of {laid} traces and charts laid out",
                "Curvas y gráficos compuestos: {far} de {laid}",
            ),
            Form::Pdf => (
                "{percent} %: first the account, then the records that prove it",
                "{percent} %: primero el informe, luego los asientos que lo prueban",
            ),
            Form::Evidence | Form::Csv | Form::JsonLines | Form::Json => {
                ("{far} of about {of}", "{far} de unos {of}")
            }
        };
        let percent = far.saturating_mul(100).checked_div(*of).unwrap_or(0).to_string();
        let (far, laid) = (far.to_string(), of.to_string());
        let of = Noun::Records.of(*of, self.language);
        put(self.language, pair, &[("percent", &percent), ("far", &far), ("laid", &laid), ("of", &of)])
    }
}

#[derive(Template)]
#[template(path = "web/history/exports/job.html", config = ".askama.toml")]
struct JobPage<'a> {
    frame: Frame<'a>,
    job: &'a Job,
    form: &'static str,
    span: String,
    begun: String,
    machine: String,
    part: String,
}

/// How far an export is, in words.
pub(super) fn stage_word(stage: &Stage, language: Language) -> String {
    let pair = match stage {
        Stage::Waiting => ("Waiting for its turn", "Espera su turno"),
        Stage::Reading { .. } => ("Reading the records", "Leyendo los asientos"),
        Stage::Typesetting { .. } => ("Making the pages", "Componiendo las páginas"),
        Stage::Done { .. } => ("Ready", "Listo"),
        Stage::Failed { .. } => ("NOT MADE", "NO SE HIZO"),
    };
    put(language, pair, &[])
}

/// A length in bytes, for people.
fn size(bytes: u64) -> String {
    let kilo = bytes as f64 / 1000.0;
    if kilo < 1000.0 { format!("{kilo:.1} kB") } else { format!("{:.1} MB", kilo / 1000.0) }
}

/// The part of the page that changes.
///
/// # Errors
/// The template's.
pub(in crate::web) fn part(job: &Job, reader: &Reader) -> Result<Card, askama::Error> {
    let language = reader.language;
    let progress = match job.stage {
        Stage::Reading { far, of } => Some((far.min(of), of)),
        Stage::Typesetting { laid, of } => (of > 0).then_some((laid.min(of), of)),
        Stage::Waiting | Stage::Done { .. } | Stage::Failed { .. } => None,
    };
    let (mut length, mut damaged, mut begins, mut verify) = (String::new(), String::new(), None, None);
    if let Stage::Done { bytes, damaged: unread, begins: first, sealed: _ } = &job.stage {
        begins = first.map(|first| reader.moment(first));
        length = size(*bytes);
        let named: Vec<String> = unread.iter().take(20).map(u64::to_string).collect();
        damaged = named.join(", ");
        if unread.len() > named.len() {
            damaged.push_str(" …");
        }
        verify = match job.wanted.form {
            Form::Pdf | Form::Evidence => {
                Some(format!("rinseward verify {} --key site.verify-key", job.file))
            }
            Form::Csv | Form::JsonLines => {
                Some(format!("rinseward verify {} --with EVIDENCE --key site.verify-key", job.file))
            }
            Form::Json => None,
        };
    }
    let word = stage_word(&job.stage, language);
    let made = Part { language, job, word, progress, size: length, damaged, begins, verify };
    Ok(Card { html: made.render()? })
}

/// The days of an export, as its reader has them; one day once.
fn days(wanted: &Wanted, reader: &Reader) -> String {
    let (from, to) = (reader.date(wanted.from), reader.date(wanted.to));
    if from == to { from } else { format!("{from} – {to}") }
}

/// Shows an export.
pub(in crate::web) async fn shown<K: Kitchen>(
    State(pages): State<Pages<K>>,
    Path(number): Path<u64>,
    uri: Uri,
    person: Person,
) -> Response {
    let renewal = match Renewal::alone(&uri, renew::AT_ONCE_S) {
        Ok(renewal) => renewal,
        Err(given) => return query::refused(&given, &person, &pages.site, 2),
    };
    let reader = &person.reader;
    let Some(job) = of(number, pages.kitchen.exports(&person.account)) else {
        return unknown(&pages, &person);
    };
    let language = reader.language;
    let title = said(language, "Export", "Exportación");
    let part = match part(&job, reader) {
        Ok(part) => part.html,
        Err(error) => return frame::page(StatusCode::OK, Err(error)),
    };
    let all = said(language, "all", "todas");
    let frame = Frame::new(&pages.site, &person, Tab::History, 2, title).with_open(pages.open().await);
    let page = JobPage {
        // What is over does not change.
        frame: if job.stage.is_over() { frame } else { frame.renewing(renewal) },
        form: form_word(job.wanted.form, reader.language),
        span: days(&job.wanted, reader),
        begun: reader.moment(job.begun),
        machine: job.wanted.machine.clone().unwrap_or_else(|| all.to_owned()),
        job: &job,
        part,
    };
    frame::page(StatusCode::OK, page.render())
}
