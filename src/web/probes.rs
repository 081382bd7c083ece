//! The probes: what each shows just now, and what is on record of it.
//!
//! [`Probes`] says what the pages of the technician ask for. Values are those that are delivered, before they
//! are put in order or on record; the part of a probe is replaced at most twice a second.

mod card;
pub(super) mod filed;
mod list;
mod signed;
pub mod solution;
mod words;

use std::future::Future;
use std::sync::Arc;

use askama::Template;
use axum::extract::{Path, State};
use axum::http::{StatusCode, Uri};
use axum::response::Response;
use tokio::sync::watch;

pub(super) use card::cards;
pub(super) use list::{machine, show};
pub(super) use words::{kind, place, solution as solution_word};

use self::solution::SolutionSeen;
use super::attempt::{Begin, Ended, Marked, NotDone, OpenAt, Under};
use super::frame::{self, Frame, Refusal, Tab};
use super::kitchen::{Kitchen, Pages};
use super::person::Person;
use super::query::{self, Given};
use super::renew::{self, Renewal};
use super::sign_off::{Commissioning, Shown, Stood};
use crate::core::access::Right;
use crate::core::alert::AlertNumber;
use crate::core::channel::Place;
use crate::core::on_file::Filed as OnFile;
use crate::core::presence::Recency;
use crate::core::reading::Fault;
use crate::core::record::{CalibrationDone, Check, Correction, ProvenProbe, ResponseDone};
use crate::core::technician::attempt::Press;
use crate::core::technician::gauge::Trend;
use crate::core::time::Timestamp;

/// One probe as it is just now.
#[derive(Clone, PartialEq, Debug)]
pub struct Seen {
    /// Its place among the channels; names its part of the page.
    pub number: u16,
    /// Name of its machine.
    pub machine: String,
    /// Its own name.
    pub probe: String,
    /// Where it sits.
    pub place: Place,
    /// Before and after the correction in force, °C.
    pub shown_c: Option<(f64, f64)>,
    /// Why there is no usable value.
    pub fault: Option<Fault>,
    /// How far its newest value tells of now; `None` where it was never heard.
    pub recency: Option<Recency>,
    /// Which way it moves.
    pub trend: Option<Trend>,
    /// Readings a second.
    pub per_s: Option<f64>,
    /// The last minute: seconds before the newest value, and °C.
    pub minute: Vec<(f64, f64)>,
    /// Sources that are down and could deliver it, and why.
    pub down: Vec<(String, String)>,
    /// The open alert by which a comparison found it off.
    pub off: Option<AlertNumber>,
    /// What is in force of it.
    pub in_force: InForce,
    /// What somebody is at with it: who.
    pub work: Option<(Kind, String)>,
}

/// What is in force of a probe.
#[derive(Clone, PartialEq, Debug)]
pub struct InForce {
    /// The correction; `None` where there is none.
    pub correction: Option<Correction>,
    /// The record of the calibration, where one on record counts.
    pub calibration: Option<u64>,
    /// Last day on which it holds, as `2027-03-01`.
    pub until: Option<String>,
    /// How that day lies.
    pub due: Due,
    /// Time constant, s.
    pub tau_s: Option<f64>,
    /// The record of the response test, where one on record counts.
    pub response: Option<u64>,
    /// Expanded uncertainty (k = 2) at the limit of its place, and that limit, °C.
    pub expanded_c: (f64, f64),
}

/// How the end of a calibration lies.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Due {
    /// It never was calibrated.
    Never,
    /// It corrects and counts for nothing: a record that may have taken its place is damaged.
    Doubted,
    /// It holds, or nobody said for how long.
    Holds,
    /// It ends within 30 days.
    Soon,
    /// It has ended.
    Over,
}

/// What a technician is at.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum Kind {
    /// A calibration.
    Calibration,
    /// A response test.
    Response,
    /// A proof of the wiring.
    Proof,
}

/// What is on record of one probe, the newest first.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Filed {
    /// Its calibrations.
    pub calibrations: Vec<OnFile<CalibrationDone>>,
    /// Its response tests.
    pub responses: Vec<OnFile<ResponseDone>>,
    /// What proofs of the wiring found of it.
    pub proofs: Vec<FiledProof>,
    /// The newest comparison with another thermometer that counts.
    pub compared: Option<Compared>,
}

/// A comparison with another thermometer, as it counts.
#[derive(Clone, PartialEq, Debug)]
pub struct Compared {
    /// Index of the record of the entry.
    pub record: u64,
    /// What was entered, with its corrections.
    pub check: Check,
}

/// What a proof of the wiring on record found of a probe.
#[derive(Clone, PartialEq, Debug)]
pub struct FiledProof {
    /// Index of the record.
    pub index: u64,
    /// When it came on record.
    pub at: Timestamp,
    /// By whom.
    pub by: String,
    /// What was found.
    pub found: ProvenProbe,
    /// Whether it was withdrawn.
    pub withdrawn: bool,
}

/// What goes on record of a machine as a whole.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Made {
    /// A proof of the wiring.
    Proof,
    /// A sign-off.
    SignOff,
}

/// What the pages of the technician ask of whoever knows the probes.
pub trait Probes: Clone + Send + Sync + 'static {
    /// Changes about twice a second while somebody looks.
    fn glimpses(&self) -> watch::Receiver<u64>;

    /// Every temperature probe, in the order of the configuration.
    fn probes(&self) -> impl Future<Output = Result<Arc<[Seen]>, Refusal>> + Send;

    /// Every channel of a sanitizing solution, in the order of the configuration.
    fn solutions(&self) -> impl Future<Output = Result<Arc<[SolutionSeen]>, Refusal>> + Send;

    /// What is on record of a probe, `<machine>/<probe>`.
    fn filed(&self, probe: String) -> impl Future<Output = Result<Filed, Refusal>> + Send;

    /// What somebody is at with a machine or with a probe of this name.
    fn under(&self, of: &str) -> Option<Under>;

    /// What is open at a machine and at its probes.
    fn open_at(&self, machine: &str) -> Vec<OpenAt>;

    /// Begins.
    fn begin(&self, begin: Begin, person: &Person) -> impl Future<Output = Result<(), NotDone>> + Send;

    /// Does the next step of what is under way at `of`.
    ///
    /// # Errors
    /// [`NotDone`] where nothing is, or it is somebody else's.
    fn press(&self, of: &str, press: Press, person: &Person) -> Result<(), NotDone>;

    /// Ends what is under way at `of`; nothing of it goes on record, but that somebody else than whoever was at it
    /// ended it.
    fn give_up(&self, of: &str, person: &Person) -> impl Future<Output = ()> + Send;

    /// How what somebody was at ended without them, at `of`, where nothing has begun there since.
    fn ended(&self, of: &str) -> Option<Ended>;

    /// Puts what it came to on record; gives the number of the record.
    fn file(
        &self,
        of: String,
        note: Option<String>,
        person: &Person,
    ) -> impl Future<Output = Result<u64, NotDone>> + Send;

    /// What would be signed of a machine with this rack as the test, else with the newest, worded for this person.
    ///
    /// # Errors
    /// [`Refusal::Unknown`] where the record is no rack of the machine.
    fn commissioning(
        &self,
        machine: String,
        rack: Option<u64>,
        person: &Person,
    ) -> impl Future<Output = Result<Commissioning, Refusal>> + Send;

    /// The newest sign-off of a machine as it stands now; `None` where there is none.
    fn stood(
        &self,
        machine: String,
        person: &Person,
    ) -> impl Future<Output = Result<Option<Stood>, Refusal>> + Send;

    /// Signs a machine off, as it was shown with so many open points; gives the number of the record.
    fn sign(
        &self,
        machine: String,
        note: Option<String>,
        shown: Shown,
        person: &Person,
    ) -> impl Future<Output = Result<u64, NotDone>> + Send;

    /// Whether this record is one of these of this machine, and was not withdrawn; not where it cannot be read.
    fn is_made(&self, machine: String, made: Made, record: u64) -> impl Future<Output = bool> + Send;

    /// The sheet of the sign-off at this record, else of the newest, else of what would be signed with this rack: one
    /// HTML page of its own.
    fn sheet(
        &self,
        machine: String,
        record: Option<u64>,
        rack: Option<u64>,
        person: &Person,
    ) -> impl Future<Output = Result<String, Refusal>> + Send;
}

/// The record that was just made, as the address says that led to the page, and how the page is renewed. Anybody may
/// write an address: what is said of the record is said by the record.
pub(super) fn asked(uri: &Uri) -> Result<(Option<u64>, Renewal), Given> {
    let mut given = Given::read(uri, &["recorded", renew::NAME]);
    let record = given.take("recorded", query::record);
    let renewal = Renewal::of(&mut given, renew::AT_ONCE_S);
    if given.is_refused() { Err(given) } else { Ok((record, renewal)) }
}

/// The record, where it is one of these of this machine.
pub(super) async fn made<K: Kitchen>(
    pages: &Pages<K>,
    machine: &str,
    made: Made,
    record: Option<u64>,
) -> Option<u64> {
    let record = record?;
    pages.kitchen.is_made(machine.to_owned(), made, record).await.then_some(record)
}

#[derive(Template)]
#[template(path = "web/probes/one.html", config = ".askama.toml")]
struct OnePage<'a> {
    frame: Frame<'a>,
    words: &'static words::Words,
    seen: &'a Seen,
    card: &'a str,
    filed: [filed::Kept; 3],
    /// The newest comparison in words, and its record.
    compared: Option<(filed::Item, u64)>,
    may_measure: bool,
    /// What is said of the record that the address names, and its number.
    recorded: Option<(&'static str, u64)>,
    /// That its machine is marked as worked on.
    marked: Option<Marked>,
    /// Where the end of the work leads back to.
    back: &'static str,
}

/// What a record is to a probe; nothing where it is none of its calibrations and response tests.
fn told(record: u64, seen: &Seen, filed: &Filed, words: &words::Words) -> Option<(&'static str, u64)> {
    let in_force = [seen.in_force.calibration, seen.in_force.response];
    let mut its = filed
        .calibrations
        .iter()
        .map(|calibration| calibration.index)
        .chain(filed.responses.iter().map(|response| response.index));
    if in_force.contains(&Some(record)) {
        Some((words.recorded, record))
    } else {
        its.any(|index| index == record).then_some((words.aside, record))
    }
}

/// Shows one probe, and what is on record of it.
pub(super) async fn one<K: Kitchen>(
    State(pages): State<Pages<K>>,
    Path((machine, probe)): Path<(String, String)>,
    uri: Uri,
    person: Person,
) -> Response {
    let (recorded, renewal) = match asked(&uri) {
        Ok(asked) => asked,
        Err(given) => return query::refused(&given, &person, &pages.site, 2),
    };
    let name = format!("{machine}/{probe}");
    let refuse = |refused| frame::refuse(refused, &person, &pages.site, 2);
    let seen = match pages.kitchen.probes().await {
        Ok(seen) => seen,
        Err(refused) => return refuse(refused),
    };
    let Some(seen) = seen.iter().find(|seen| seen.machine == machine && seen.probe == probe) else {
        return refuse(Refusal::Unknown);
    };
    let filed = match pages.kitchen.filed(name.clone()).await {
        Ok(filed) => filed,
        Err(refused) => return refuse(refused),
    };
    let frame = Frame::new(&pages.site, &person, Tab::Probes, 2, &name)
        .with_open(pages.open().await)
        .renewing(renewal);
    let card = match cards([seen], &person.reader, frame.up) {
        Ok(made) => made.into_iter().map(|card| card.html).collect::<String>(),
        Err(error) => return frame::page(StatusCode::OK, Err(error)),
    };
    let words = words::words(person.reader.language);
    let page = OnePage {
        words,
        seen,
        card: &card,
        filed: filed::kept(&filed, &person.reader),
        compared: filed
            .compared
            .as_ref()
            .map(|compared| (filed::compared(compared, &person.reader), compared.record)),
        may_measure: person.may(Right::Measure),
        recorded: recorded.and_then(|record| told(record, seen, &filed, words)),
        marked: Marked::of(&pages, &person, &machine).await,
        back: "probes",
        frame,
    };
    frame::page(StatusCode::OK, page.render())
}

#[cfg(test)]
mod tests;
