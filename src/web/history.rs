//! What is on record, page by page, and how it is sealed.
//!
//! Racks, days in numbers, checks, alerts, gaps and every other record, by machine, span and verdict.

mod words;

use std::future::Future;

use askama::Template;
use axum::extract::{Query, State};
use axum::http::StatusCode;
use axum::response::Response;
use jiff::civil::Date;
use serde::Deserialize;

use self::words::kind_word;
use super::frame::{self, Frame, Tab, said};
use super::kitchen::{Kitchen, Pages};
use super::machine::{DayRack, zone_of};
use super::person::Person;
use crate::core::cycle::sign::Sign;
use crate::core::cycle::verdict::Verdict;
use crate::core::cycle::words::verdict as verdict_word;
use crate::core::daily::MachineDay;
use crate::core::reader::{Language, Reader};
use crate::core::time::Timestamp;
use crate::web::frame::Refusal;

/// Lines of one page.
pub const LINES_MAX: usize = 50;
/// Most days of one page: two months of one machine.
pub const DAYS_MAX: i64 = 62;

/// What is looked at.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum View {
    /// Racks.
    Racks,
    /// Days in numbers.
    Days,
    /// What people entered.
    Checks,
    /// Alerts, as they were raised.
    Alerts,
    /// Stretches in which nothing is known.
    Gaps,
    /// Every other record.
    Records,
}

impl View {
    const ALL: [Self; 6] = [Self::Racks, Self::Days, Self::Checks, Self::Alerts, Self::Gaps, Self::Records];

    const fn as_str(self) -> &'static str {
        match self {
            Self::Racks => "racks",
            Self::Days => "days",
            Self::Checks => "checks",
            Self::Alerts => "alerts",
            Self::Gaps => "gaps",
            Self::Records => "records",
        }
    }

    const fn word(self, language: Language) -> &'static str {
        match self {
            Self::Racks => said(language, "Racks", "Canastas"),
            Self::Days => said(language, "Days", "Días"),
            Self::Checks => said(language, "Checks", "Controles"),
            Self::Alerts => said(language, "Alerts", "Alertas"),
            Self::Gaps => said(language, "Gaps", "Huecos"),
            Self::Records => said(language, "All other records", "Todos los demás asientos"),
        }
    }
}

/// Which page of what is found.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Page {
    /// The newest.
    Newest,
    /// What is older than this record.
    Older(u64),
    /// What is newer than this record.
    Newer(u64),
}

/// What somebody asks.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Question {
    /// What is looked at.
    pub view: View,
    /// Of this machine only.
    pub machine: Option<String>,
    /// From this day of the site on.
    pub from: Option<Date>,
    /// To this day, included.
    pub to: Option<Date>,
    /// Of racks, only those of this verdict.
    pub verdict: Option<Verdict>,
    /// Which page.
    pub page: Page,
}

/// One line of the history.
#[derive(Clone, PartialEq, Debug)]
pub enum HistoryLine {
    /// A rack.
    Rack {
        /// What was measured.
        rack: DayRack,
        /// Its machine.
        machine: String,
        /// Whether it was recorded late.
        late: bool,
        /// Whether something amends it.
        amended: bool,
    },
    /// Any other record.
    Record {
        /// Its index.
        record: u64,
        /// Its kind, as in the record.
        kind: &'static str,
        /// Its machine; absent for the site.
        machine: Option<String>,
        /// Where it stands in time.
        at: Timestamp,
        /// What it says, in English as all records.
        said: String,
        /// The alert it is about.
        alert: Option<u64>,
        /// What amends it, in English; empty where nothing does.
        amended: Vec<String>,
    },
    /// A record that is not as it was made, or cannot be read.
    Damaged(u64),
}

/// How the record is sealed.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Integrity {
    /// Number of records.
    pub records: u64,
    /// How many of them the newest checkpoint counts, and when it was made.
    pub checkpoint: Option<(u64, Timestamp)>,
    /// The public key that signed it, where one in force vouches for it.
    pub key: Option<String>,
}

/// A page of the history.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct HistoryPart {
    /// Machines that anything is on record of.
    pub machines: Vec<String>,
    /// The lines, the newest first.
    pub lines: Vec<HistoryLine>,
    /// Days in numbers, the newest first, where they are asked for.
    pub days: Vec<MachineDay>,
    /// The record after which the next newer page ends.
    pub newer: Option<u64>,
    /// The record after which the next older page begins.
    pub older: Option<u64>,
    /// How the record is sealed.
    pub integrity: Integrity,
}

/// What the page asks of whoever keeps the record.
pub trait Histories: Clone + Send + Sync + 'static {
    /// A page of what is on record.
    fn history(
        &self,
        question: Question,
        reader: &Reader,
    ) -> impl Future<Output = Result<HistoryPart, Refusal>> + Send;
}

/// A question as it stands in an address. What makes no sense is as if it had not been asked; the form
/// shows what was.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub(super) struct Asked {
    show: String,
    machine: String,
    from: String,
    to: String,
    verdict: String,
    older: String,
    newer: String,
}

impl Asked {
    fn question(&self) -> Question {
        let page = match (self.older.parse(), self.newer.parse()) {
            (Ok(record), _) => Page::Older(record),
            (_, Ok(record)) => Page::Newer(record),
            _ => Page::Newest,
        };
        Question {
            view: View::ALL.into_iter().find(|view| view.as_str() == self.show).unwrap_or(View::Racks),
            machine: Some(self.machine.clone()).filter(|machine| !machine.is_empty()),
            from: self.from.parse().ok(),
            to: self.to.parse().ok(),
            verdict: Verdict::ALL.into_iter().find(|verdict| verdict.as_str() == self.verdict),
            page,
        }
    }
}

/// A choice of a form.
struct Choice<'a> {
    value: &'a str,
    word: &'a str,
    chosen: bool,
}

/// A line in words.
enum Told {
    Rack(RackTold),
    Record {
        record: u64,
        kind: &'static str,
        when: String,
        machine: String,
        said: String,
        alert: Option<u64>,
        amended: Vec<String>,
    },
    Damaged(u64),
}

/// A rack in words.
struct RackTold {
    record: u64,
    verdict: Verdict,
    word: &'static str,
    when: String,
    machine: String,
    figures: String,
    beside: String,
}

/// A day in words.
struct DayTold {
    machine: String,
    day: String,
    racks: u64,
    counts: String,
    damaged: u64,
    lowest: String,
    median: String,
}

#[derive(Template)]
#[template(path = "web/history/history.html", config = ".askama.toml")]
struct HistoryPage<'a> {
    frame: Frame<'a>,
    views: Vec<Choice<'a>>,
    machines: Vec<Choice<'a>>,
    verdicts: Vec<Choice<'a>>,
    question: &'a Question,
    from: String,
    to: String,
    zone: String,
    lines: Vec<Told>,
    days: Vec<DayTold>,
    newer: Option<u64>,
    older: Option<u64>,
    integrity: &'a Integrity,
    sealed_at: Option<String>,
}

/// Shows a page of what is on record.
pub(super) async fn show<K: Kitchen>(
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
    let title = said(language, "History", "Historial");
    let chosen = |view: &View| *view == question.view;
    let machine = |name: &'_ String| question.machine.as_ref() == Some(name);
    let date = |date: Option<Date>| date.map(|date| date.to_string()).unwrap_or_default();
    let page = HistoryPage {
        frame: Frame::new(&pages.site, &person, Tab::History, 0, title),
        views: View::ALL
            .iter()
            .map(|view| Choice { value: view.as_str(), word: view.word(language), chosen: chosen(view) })
            .collect(),
        machines: part
            .machines
            .iter()
            .map(|name| Choice { value: name, word: name, chosen: machine(name) })
            .collect(),
        verdicts: Verdict::ALL
            .into_iter()
            .map(|verdict| Choice {
                value: verdict.as_str(),
                word: verdict_word(verdict, language),
                chosen: question.verdict == Some(verdict),
            })
            .collect(),
        question: &question,
        from: date(question.from),
        to: date(question.to),
        zone: zone_of(reader, pages.kitchen.time()),
        lines: part.lines.iter().map(|line| told(line, reader)).collect(),
        days: part.days.iter().map(|day| day_told(day, reader)).collect(),
        newer: part.newer,
        older: part.older,
        integrity: &part.integrity,
        sealed_at: part.integrity.checkpoint.map(|(_, at)| reader.moment(at)),
    };
    frame::page(StatusCode::OK, page.render())
}

fn told(line: &HistoryLine, reader: &Reader) -> Told {
    let language = reader.language;
    match line {
        HistoryLine::Rack { rack, machine, late, amended } => {
            let symbol = reader.scale.symbol();
            let (settled, limit) = match rack.settled_c {
                Some(settled) => reader.pair(settled, rack.limit_c),
                None => ("–".to_owned(), format!("{:.1}", reader.scale.temperature(rack.limit_c))),
            };
            let mut beside = Vec::new();
            beside.extend(late.then_some(said(language, "recorded late", "registrada tarde")));
            beside.extend(amended.then_some(said(language, "amended", "enmendada")));
            Told::Rack(RackTold {
                record: rack.record,
                verdict: rack.verdict,
                word: verdict_word(rack.verdict, language),
                when: reader.moment(rack.at),
                machine: machine.clone(),
                figures: format!(
                    "{settled} {symbol}, {} {limit} {symbol}",
                    said(language, "limit", "límite")
                ),
                beside: beside.join(", "),
            })
        }
        HistoryLine::Record { record, kind, machine, at, said: text, alert, amended } => Told::Record {
            record: *record,
            kind: kind_word(kind, language),
            when: reader.moment(*at),
            machine: machine.clone().unwrap_or_else(|| said(language, "site", "sitio").to_owned()),
            said: text.clone(),
            alert: *alert,
            amended: amended.clone(),
        },
        HistoryLine::Damaged(record) => Told::Damaged(*record),
    }
}

fn day_told(day: &MachineDay, reader: &Reader) -> DayTold {
    let numbers = &day.numbers;
    let counts = Verdict::ALL.into_iter().map(|verdict| (verdict, numbers.of(verdict)));
    let counts: Vec<String> = counts
        .filter(|(_, count)| *count > 0)
        .map(|(verdict, count)| format!("{count} {}", verdict_word(verdict, reader.language)))
        .collect();
    let shown = |celsius: Option<f64>| celsius.map_or("–".to_owned(), |value| reader.temperature(value));
    DayTold {
        machine: day.machine.clone(),
        day: day.day.to_string(),
        racks: numbers.cycles(),
        counts: counts.join(", "),
        damaged: numbers.damaged,
        lowest: shown(numbers.rinse_min_c),
        median: shown(numbers.rinse_median_c),
    }
}

#[cfg(test)]
mod tests;
