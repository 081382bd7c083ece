//! One rack: its trace, why it got its verdict, what was in force then, and the proof that its record stands.

mod doubted;
mod told;

use std::future::Future;

use askama::Template;
use axum::extract::{Path, State};
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};

pub use self::doubted::InDoubt;
pub(crate) use self::told::acted;
use self::told::{amended, facts, figures, probes, rows, worked};
use super::frame::{self, Frame, Refusal, Tab, said};
use super::history::moment::damaged_work;
use super::kitchen::{Kitchen, Pages};
use super::logbook::words::amended as logbook_amended;
use super::machine::Plots;
use super::person::Person;
use crate::core::address::escaped;
use crate::core::alert::did::Deeds;
use crate::core::channel::Place;
use crate::core::counted::Noun;
use crate::core::cycle::sign::Sign;
use crate::core::cycle::strength::OffRange;
use crate::core::cycle::verdict::Verdict;
use crate::core::cycle::words::{advice, in_capitals, meaning};
use crate::core::reader::{Language, Reader};
use crate::core::record::{Amendment, CorrectiveAction, Cycle};
use crate::core::sanitizer::Rules;
use crate::core::technician::work::then::WorkThen;
use crate::core::time::Timestamp;
use crate::core::wall_clock::local_date;

/// What is stored at the place of a rack.
#[derive(Clone, PartialEq, Debug)]
pub enum RackFound {
    /// A rack.
    Whole(Box<Rack>),
    /// A record that is not as it was made, or cannot be read.
    Damaged(Sealing),
}

/// One rack, with what concerns it. Texts are in the words of the reader.
#[derive(Clone, PartialEq, Debug)]
pub struct Rack {
    /// Its machine.
    pub machine: String,
    /// What is on record.
    pub cycle: Box<Cycle>,
    /// When it was recorded.
    pub recorded: Timestamp,
    /// Why it got its verdict, the decisive reason first.
    pub reasons: Vec<String>,
    /// What was found beside the verdict.
    pub findings: Vec<String>,
    /// Kind of machine.
    pub kind: &'static str,
    /// Sanitizing method.
    pub method: &'static str,
    /// Where its limit comes from.
    pub limit_source: &'static str,
    /// Its trace.
    pub trace: TraceFound,
    /// Probes that judged it, as they were in force; `None` where that cannot be said.
    pub probes: Option<Vec<ProbeThen>>,
    /// What amends it; `None` for a record that cannot be read.
    pub amendments: Vec<(u64, Option<Amendment>)>,
    /// What was asked of the sanitizer of its machine as configured then; `None` where that is not known.
    pub rules: Option<Rules>,
    /// The sanitizer reading that it was judged by, where it is found on record.
    pub strip: Option<Strip>,
    /// Work on its machine that ran at its time, where it is unproven.
    pub work: Vec<WorkThen>,
    /// Records that are damaged and may tell of more work.
    pub work_damaged: Vec<u64>,
    /// What it did to alerts; those that count it among them.
    pub did: Deeds,
    /// Those that put it in doubt after it had passed.
    pub doubts: Vec<InDoubt>,
    /// What people wrote down that they did about those alerts, in order of the record.
    pub actions: Vec<Acted>,
    /// The rack of the machine before it, by record.
    pub before: Option<u64>,
    /// The one after it.
    pub after: Option<u64>,
    /// How its record is sealed.
    pub sealing: Sealing,
}

/// A corrective action of an alert that a rack is one of.
#[derive(Clone, PartialEq, Debug)]
pub struct Acted {
    /// Its record.
    pub record: u64,
    /// When it was put on record.
    pub at: Timestamp,
    /// What was done.
    pub action: CorrectiveAction,
    /// Whether it covers this rack, as far as that is known.
    pub covers: Option<bool>,
}

/// The sanitizer reading that a rack was judged by.
#[derive(Clone, PartialEq, Debug)]
pub struct Strip {
    /// Its record.
    pub record: u64,
    /// What withdrew or corrected it after the rack was judged, each with its record.
    pub later: Vec<(u64, Amendment)>,
}

/// The trace of a rack.
#[derive(Clone, PartialEq, Debug)]
pub enum TraceFound {
    /// It is kept.
    Kept {
        /// The curves.
        plots: Plots,
        /// For each second since the wash began the lowest final rinse and the lowest wash, °C.
        seconds: Vec<(i64, Option<f64>, Option<f64>)>,
    },
    /// None is kept.
    Never,
    /// It cannot be read.
    Damaged,
}

/// One probe as it was in force.
#[derive(Clone, PartialEq, Debug)]
pub struct ProbeThen {
    /// Its channel.
    pub channel: String,
    /// Where it sits.
    pub place: Place,
    /// Expanded uncertainty (k = 2) near its limit, °C.
    pub uncertainty_c: f64,
    /// Time constant, s, where it is on file.
    pub tau_s: Option<f64>,
    /// Record of the calibration in force, when it was made, and by whom.
    pub calibration: Option<(u64, Timestamp, String)>,
    /// Day of the calibration that the configuration gives, where that one is in force.
    pub configured_on: Option<String>,
}

/// How a record is sealed.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Sealing {
    /// Its index.
    pub record: u64,
    /// Its leaf hash as stored, in hexadecimal.
    pub leaf: Option<String>,
    /// Records that the newest checkpoint counts, and when it was made; `None` where there is none.
    pub checkpoint: Option<(u64, Timestamp)>,
}

/// What the page asks of whoever knows the racks.
pub trait Racks: Clone + Send + Sync + 'static {
    /// A rack with what concerns it.
    ///
    /// # Errors
    /// [`Refusal::Unknown`] where the record is none of a rack.
    fn rack(&self, record: u64, reader: &Reader) -> impl Future<Output = Result<RackFound, Refusal>> + Send;

    /// The proof that the record of a rack is counted by the newest checkpoint, as JSON.
    ///
    /// # Errors
    /// [`Refusal::Unknown`] where it is not counted yet.
    fn proof(&self, record: u64) -> impl Future<Output = Result<String, Refusal>> + Send;
}

/// The way back: the racks of its day.
struct Back {
    address: String,
    word: String,
}

impl Back {
    fn of(rack: &Rack, reader: &Reader) -> Self {
        let at = rack.cycle.rinse_started;
        let day = local_date(&reader.zone, at).unwrap_or_default();
        let machine = escaped(&rack.machine);
        let word = said(reader.language, "History: the racks of", "Historial: las canastas de");
        Self {
            address: format!("../history?show=racks&machine={machine}&from={day}&to={day}"),
            word: format!("{word} {}, {}", rack.machine, reader.day(at)),
        }
    }
}

/// A fact with its name.
struct Fact {
    name: &'static str,
    value: String,
}

#[derive(Template)]
#[template(path = "web/cycle/cycle.html", config = ".askama.toml")]
struct CyclePage<'a> {
    frame: Frame<'a>,
    back: Back,
    actions: Vec<(bool, String)>,
    rack: &'a Rack,
    verdict: Verdict,
    /// Whether what it passed by was found wrong since.
    in_doubt: bool,
    word: String,
    meaning: &'static str,
    /// What to do with the rack; empty where nothing is to be done, and of one in doubt, of which that is said.
    advice: &'static str,
    /// The sanitizer and its limit, where that spoke against it.
    off_range: Option<String>,
    when: String,
    figures: String,
    facts: Vec<Fact>,
    probes: Vec<Fact>,
    amendments: Vec<String>,
    /// What put it in doubt.
    doubts: Vec<doubted::Told>,
    /// The alerts, each with what it did.
    alerts: Vec<(u64, String)>,
    /// Work on its machine at its time, each with its record.
    work: Vec<(String, u64)>,
    work_damaged: Option<String>,
    /// What was said later of the reading that it was judged by.
    strip_later: Vec<String>,
    sealing: SealingTold<'a>,
    rows: Vec<[String; 3]>,
}

#[derive(Template)]
#[template(path = "web/cycle/damaged.html", config = ".askama.toml")]
struct DamagedPage<'a> {
    frame: Frame<'a>,
    sealing: SealingTold<'a>,
}

/// How a record is sealed, in words.
struct SealingTold<'a> {
    sealing: &'a Sealing,
    /// The checkpoint that counts it.
    counted: Option<String>,
}

/// Shows a rack.
pub(super) async fn show<K: Kitchen>(
    State(pages): State<Pages<K>>,
    Path(record): Path<String>,
    person: Person,
) -> Response {
    let reader = &person.reader;
    let found = match record.parse() {
        Ok(record) => pages.kitchen.rack(record, reader).await,
        Err(_) => Err(Refusal::Unknown),
    };
    let title = format!("{} {record}", said(reader.language, "Rack", "Canasta"));
    let frame = Frame::new(&pages.site, &person, Tab::History, 1, &title).with_open(pages.open().await);
    match found {
        Err(refused) => frame::refuse(refused, &person, &pages.site, 1),
        Ok(RackFound::Damaged(sealing)) => {
            let sealing = sealing_told(&sealing, reader);
            frame::page(StatusCode::OK, DamagedPage { frame, sealing }.render())
        }
        Ok(RackFound::Whole(rack)) => {
            let cycle = &*rack.cycle;
            let verdict = cycle.verdict;
            let in_doubt = verdict.is_good() && !rack.doubts.is_empty();
            let page = CyclePage {
                frame,
                back: Back::of(&rack, reader),
                actions: rack
                    .actions
                    .iter()
                    .map(|one| (one.covers != Some(false), acted(one, reader)))
                    .collect(),
                verdict,
                in_doubt,
                word: in_capitals(verdict, in_doubt, reader.language),
                meaning: if in_doubt { "" } else { meaning(verdict, reader.language) },
                advice: if rack.doubts.is_empty() { advice(verdict, reader.language) } else { "" },
                alerts: rack
                    .did
                    .iter()
                    .map(|(alert, did)| (alert.0, did.told(alert.0, reader.language)))
                    .collect(),
                off_range: OffRange::of(cycle).map(|off| off.told(reader.language)),
                when: reader.moment(cycle.rinse_started),
                figures: figures(cycle, reader),
                facts: facts(&rack, reader),
                probes: probes(rack.probes.as_deref().unwrap_or_default(), reader),
                amendments: rack
                    .amendments
                    .iter()
                    .map(|(index, what)| amended(*index, what, reader))
                    .collect(),
                doubts: rack.doubts.iter().map(|doubt| doubted::told(doubt, reader)).collect(),
                work_damaged: damaged_work(&rack.work_damaged, reader.language),
                work: rack.work.iter().map(|work| (worked(work, reader), work.record)).collect(),
                strip_later: rack
                    .strip
                    .iter()
                    .flat_map(|strip| &strip.later)
                    .map(|(_, amendment)| logbook_amended(amendment, reader))
                    .collect(),
                sealing: sealing_told(&rack.sealing, reader),
                rows: rows(&rack.trace, reader),
                rack: &rack,
            };
            frame::page(StatusCode::OK, page.render())
        }
    }
}

/// Gives the proof of a record as a file.
pub(super) async fn proof<K: Kitchen>(
    State(pages): State<Pages<K>>,
    Path(record): Path<String>,
    person: Person,
) -> Response {
    let Ok(record) = record.parse::<u64>() else {
        return frame::refuse(Refusal::Unknown, &person, &pages.site, 2);
    };
    match pages.kitchen.proof(record).await {
        Err(refused) => frame::refuse(refused, &person, &pages.site, 2),
        Ok(json) => {
            let name = format!("attachment; filename=\"record-{record}-proof.json\"");
            let mut headers = vec![(header::CONTENT_TYPE, HeaderValue::from_static("application/json"))];
            headers.extend(HeaderValue::try_from(name).map(|name| (header::CONTENT_DISPOSITION, name)));
            let headers: axum::http::HeaderMap = headers.into_iter().collect();
            (headers, json).into_response()
        }
    }
}

fn sealing_told<'a>(sealing: &'a Sealing, reader: &Reader) -> SealingTold<'a> {
    let counted = sealing.checkpoint.filter(|(size, _)| sealing.record < *size);
    let counted = counted
        .map(|(size, at)| format!("{}, {}", Noun::Records.of(size, reader.language), reader.moment(at)));
    SealingTold { sealing, counted }
}

/// How many values were set aside.
fn spikes_told(count: u64, language: Language) -> String {
    let aside = match count {
        1 => said(language, "set aside", "apartado"),
        _ => said(language, "set aside", "apartados"),
    };
    format!("{} {aside}", Noun::Spikes.of(count, language))
}

#[cfg(test)]
mod tests;
