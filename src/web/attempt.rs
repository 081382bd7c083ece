//! What a technician does at a probe or at a machine, on a phone beside it: step by step, big buttons.
//!
//! What is under way is kept by the gateway, so that a page may be reloaded or a phone laid down: the
//! page only shows where it stands. Nothing goes on record but by its button. What changes by
//! itself is one part without anything to press; when a step is over the page is asked for anew.

mod around;
mod form;
mod live;
mod marked;
mod stage;
mod words;

use std::time::Duration;

use askama::Template;
use axum::extract::rejection::FormRejection;
use axum::extract::{Form, Path, State};
use axum::http::{StatusCode, Uri};
use axum::response::Response;

pub(super) use self::around::not_taken;
use self::around::{InTheWay, at_work, ended_here, ends, shown_now, water};
use self::form::{Fault, WorkForm};
pub(super) use self::live::{live, shape};
pub(super) use self::marked::{Marked, worked_on};
pub use self::marked::{NotOver, OpenAt};
use self::stage::Step;
use self::words::{Words, words};
use super::frame::{self, Frame, Refusal, Tab};
use super::kitchen::{Kitchen, Pages};
use super::now::Card;
use super::person::Person;
use super::probes::{Kind, kind};
use super::query;
use super::renew::{self, Renewal};
use crate::core::calibration::Calibration;
use crate::core::cautions;
use crate::core::channel::Place;
use crate::core::technician::attempt::{Press, Stands};
use crate::core::technician::bath::Bath;
use crate::core::technician::words as shared;
use crate::core::time::Timestamp;
use crate::core::wiring::Warmth;

/// What is to begin.
#[derive(Clone, PartialEq, Debug)]
pub struct Begin {
    /// What it is.
    pub what: What,
    /// Whether the machine is told to be worked on, so that nobody is called for what its probes show meanwhile.
    pub announced: bool,
}

/// What is to begin, and at what. Probes are named `<machine>/<probe>`.
#[derive(Clone, PartialEq, Debug)]
pub enum What {
    /// A calibration.
    Calibration {
        /// Of which probe.
        probe: String,
        /// The first bath.
        bath: Bath,
    },
    /// A response test of this probe.
    Response(String),
    /// A proof of the wiring.
    Proof {
        /// Of which machine.
        machine: String,
        /// With what its probes are warmed.
        warmth: Warmth,
    },
}

/// What somebody is at.
#[derive(Clone, PartialEq, Debug)]
pub struct Under {
    /// What it is.
    pub kind: Kind,
    /// Who.
    pub by: String,
    /// By which account: nobody else goes on with it.
    pub account: String,
    /// Since when.
    pub begun: Timestamp,
    /// When it ends by itself unless something is pressed.
    pub ends: Timestamp,
    /// Where the probe sits, and how long the final rinse of its machine is.
    pub judged: Option<(Place, Duration)>,
    /// The correction in force.
    pub correction: Calibration,
    /// Whether its machine was said to be worked on as long as it lasts.
    pub announced: bool,
    /// Where it stands.
    pub stands: Stands,
    /// Why it did not come on record when that was asked for.
    pub problem: Option<Said>,
}

/// That what somebody was at ended without them.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Ended {
    /// Name of whoever ended it; `None` where it ended by itself, since nothing was pressed.
    pub by: Option<String>,
    /// Name of whoever was at it.
    pub whose: String,
    /// What it was.
    pub kind: Kind,
    /// When it began.
    pub begun: Timestamp,
    /// When it ended.
    pub at: Timestamp,
}

/// Why something was not done, as the record said it.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Said {
    /// What is wrong.
    pub summary: String,
    /// What to do.
    pub advice: Option<String>,
}

/// That somebody is at a probe or machine.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Taken {
    /// Name of whoever is at it.
    pub by: String,
    /// By which account.
    pub account: String,
    /// What it is.
    pub kind: Kind,
    /// At what: `<machine>/<probe>`, or the machine.
    pub of: String,
}

/// Why nothing was done.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum NotDone {
    /// There is no such probe or machine.
    Unknown,
    /// Somebody is at it, maybe whoever asks, with something else.
    TakenBy(Taken),
    /// Nothing is under way there, or it is not so far.
    NotSoFar,
    /// It is refused.
    Refused(Said),
}

/// At what somebody is.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(super) struct Spot {
    pub(super) kind: Kind,
    pub(super) machine: String,
    pub(super) probe: Option<String>,
}

impl Spot {
    /// By which name it is under way.
    pub(super) fn name(&self) -> String {
        match &self.probe {
            Some(probe) => format!("{}/{probe}", self.machine),
            None => self.machine.clone(),
        }
    }

    /// What of it is to end: what the form names, where that is at this machine.
    fn ended(&self, form: &WorkForm) -> String {
        let machine = form.of.split('/').next();
        if machine == Some(&self.machine) { form.of.clone() } else { self.name() }
    }

    const fn deep(&self) -> usize {
        if self.probe.is_some() { 2 } else { 1 }
    }
}

#[derive(Template)]
#[template(path = "web/attempt/attempt.html", config = ".askama.toml")]
struct WorkPage<'a> {
    frame: Frame<'a>,
    words: &'static Words,
    spot: &'a Spot,
    name: String,
    kind: &'static str,
    /// Where it stands; `None` where it has not begun.
    step: Option<Step>,
    part: String,
    shape: String,
    /// Whether it is this person's.
    own: bool,
    /// What is under way in the way of what was to begin.
    taken: Option<InTheWay>,
    /// That its machine is marked as worked on while it lasts.
    at_work: Option<String>,
    /// Whether it was to be marked so as long as it lasts.
    announced: bool,
    /// That its machine is marked as worked on, where it has not begun.
    marked: Option<Marked>,
    /// Where the end of the work leads back to.
    back: &'static str,
    /// What to do, before it has begun.
    begins_with: String,
    /// What its probe shows, before it has begun.
    shown: Option<String>,
    by: String,
    since: String,
    ends: String,
    problem: Option<Said>,
    /// That somebody ended what another was at here, and whether whoever reads did it.
    ended: Option<(String, bool)>,
    /// Said at the top: what is wrong with what was sent.
    notice: Option<String>,
    fault: Option<Fault>,
    entered: WorkForm,
    cautions: Vec<&'static str>,
    symbol: &'static str,
    /// How warm the water for a proof of the wiring may be.
    water: String,
}

impl WorkPage<'_> {
    /// What is wrong with a field.
    fn fault_of(&self, field: &str) -> Option<&'static str> {
        self.fault.as_ref().filter(|fault| fault.field == field).map(|fault| fault.text)
    }

    fn begins(&self, kind: Kind) -> bool {
        self.step.is_none() && self.spot.kind == kind
    }

    /// Whether a bath is to be chosen.
    fn baths(&self) -> bool {
        self.begins(Kind::Calibration) || self.own && self.step.as_ref().is_some_and(|step| step.baths)
    }

    /// Whether something may be typed into it, which coming anew by itself would take away.
    fn is_typed_into(&self) -> bool {
        self.baths() || self.own && self.step.as_ref().is_some_and(|step| step.record && step.note)
    }
}

/// Shows a calibration.
pub(super) async fn calibration<K: Kitchen>(
    State(pages): State<Pages<K>>,
    Path((machine, probe)): Path<(String, String)>,
    uri: Uri,
    person: Person,
) -> Response {
    let spot = Spot { kind: Kind::Calibration, machine, probe: Some(probe) };
    shown(&pages, &person, &spot, &uri).await
}

/// Shows a response test.
pub(super) async fn response<K: Kitchen>(
    State(pages): State<Pages<K>>,
    Path((machine, probe)): Path<(String, String)>,
    uri: Uri,
    person: Person,
) -> Response {
    let spot = Spot { kind: Kind::Response, machine, probe: Some(probe) };
    shown(&pages, &person, &spot, &uri).await
}

/// Shows a proof of the wiring.
pub(super) async fn proof<K: Kitchen>(
    State(pages): State<Pages<K>>,
    Path(machine): Path<String>,
    uri: Uri,
    person: Person,
) -> Response {
    let spot = Spot { kind: Kind::Proof, machine, probe: None };
    shown(&pages, &person, &spot, &uri).await
}

pub(super) type Sent = Result<Form<WorkForm>, FormRejection>;

/// Goes on with a calibration.
pub(super) async fn calibrate<K: Kitchen>(
    State(pages): State<Pages<K>>,
    Path((machine, probe)): Path<(String, String)>,
    uri: Uri,
    person: Person,
    form: Sent,
) -> Response {
    let spot = Spot { kind: Kind::Calibration, machine, probe: Some(probe) };
    act(&pages, &person, &spot, &uri, form).await
}

/// Goes on with a response test.
pub(super) async fn respond<K: Kitchen>(
    State(pages): State<Pages<K>>,
    Path((machine, probe)): Path<(String, String)>,
    uri: Uri,
    person: Person,
    form: Sent,
) -> Response {
    let spot = Spot { kind: Kind::Response, machine, probe: Some(probe) };
    act(&pages, &person, &spot, &uri, form).await
}

/// Goes on with a proof of the wiring.
pub(super) async fn prove<K: Kitchen>(
    State(pages): State<Pages<K>>,
    Path(machine): Path<String>,
    uri: Uri,
    person: Person,
    form: Sent,
) -> Response {
    let spot = Spot { kind: Kind::Proof, machine, probe: None };
    act(&pages, &person, &spot, &uri, form).await
}

async fn shown<K: Kitchen>(pages: &Pages<K>, person: &Person, spot: &Spot, uri: &Uri) -> Response {
    let renewal = match Renewal::alone(uri, renew::AT_ONCE_S) {
        Ok(renewal) => renewal,
        Err(given) => return query::refused(&given, person, &pages.site, spot.deep()),
    };
    let seen = match pages.kitchen.probes().await {
        Ok(seen) => seen,
        Err(refused) => return frame::refuse(refused, person, &pages.site, spot.deep()),
    };
    let is_there = seen.iter().any(|seen| {
        seen.machine == spot.machine && spot.probe.as_ref().is_none_or(|probe| *probe == seen.probe)
    });
    if !is_there {
        return frame::refuse(Refusal::Unknown, person, &pages.site, spot.deep());
    }
    page(pages, person, spot, StatusCode::OK, Told { renewal, ..Told::default() }).await
}

/// What a page says of what was just sent, and how it is renewed.
#[derive(Default)]
struct Told {
    /// Never of a page that answers a form: it would come anew without what it says.
    renewal: Renewal,
    notice: Option<String>,
    taken: Option<InTheWay>,
    fault: Option<Fault>,
    entered: WorkForm,
}

async fn page<K: Kitchen>(
    pages: &Pages<K>,
    person: &Person,
    spot: &Spot,
    status: StatusCode,
    told: Told,
) -> Response {
    let (reader, name) = (&person.reader, spot.name());
    let language = reader.language;
    let under = pages.kitchen.under(&name).filter(|under| under.kind == spot.kind);
    let step = under.as_ref().map(|under| stage::step(under, reader));
    let part = match &under {
        Some(under) => live(&pages.kitchen, (&name, under), reader).await,
        None => Ok(Card { html: String::new() }),
    };
    let part = match part {
        Ok(card) => card.html,
        Err(error) => return frame::page(status, Err(error)),
    };
    let title = format!("{}: {name}", kind(spot.kind, language));
    let renewal = told.renewal;
    let open = pages.open().await;
    let mut cautions: Vec<&'static str> = match spot.kind {
        Kind::Calibration => shared::calibration_cautions(language).to_vec(),
        Kind::Response => shared::response_cautions(language, reader.scale).to_vec(),
        Kind::Proof => cautions::before_work(language).to_vec(),
    };
    if let Some(step) = &step {
        cautions.clone_from(&step.cautions);
    }
    let page = WorkPage {
        taken: told.taken.filter(|_| step.is_none()),
        at_work: match &under {
            Some(under) => at_work(pages, reader, spot, under).await,
            None => None,
        },
        announced: under.as_ref().is_some_and(|under| under.announced),
        marked: if step.is_none() { Marked::of(pages, person, &spot.machine).await } else { None },
        back: "probes",
        shown: if step.is_none() { shown_now(pages, reader, spot).await } else { None },
        begins_with: match spot.kind {
            Kind::Response => shared::have_ready(language, reader.scale),
            Kind::Proof => words(language).hang.to_owned(),
            Kind::Calibration => String::new(),
        },
        water: water(reader),
        ended: if step.is_none() { ended_here(pages, person, spot).await } else { None },
        words: words(language),
        spot,
        kind: kind(spot.kind, language),
        part,
        shape: under.as_ref().map(|under| shape(Some(under))).unwrap_or_default(),
        own: under.as_ref().is_some_and(|under| under.account == person.account),
        by: under.as_ref().map(|under| under.by.clone()).unwrap_or_default(),
        since: under.as_ref().map(|under| reader.clock_and_zone(under.begun)).unwrap_or_default(),
        ends: under.as_ref().map(|under| ends(under.ends, pages.kitchen.time(), reader)).unwrap_or_default(),
        problem: under.and_then(|under| under.problem),
        notice: told.notice,
        fault: told.fault,
        entered: told.entered,
        step,
        cautions,
        symbol: reader.scale.symbol(),
        name,
        frame: Frame::new(&pages.site, person, Tab::Probes, spot.deep(), &title).with_open(open),
    };
    // What is typed would be gone with a page that comes anew.
    let is_live = page.step.is_some() && !page.is_typed_into();
    let page = if is_live { WorkPage { frame: page.frame.renewing(renewal), ..page } } else { page };
    frame::page(status, page.render())
}

async fn act<K: Kitchen>(pages: &Pages<K>, person: &Person, spot: &Spot, uri: &Uri, form: Sent) -> Response {
    let renewal = Renewal::alone(uri, renew::AT_ONCE_S).unwrap_or_default();
    let Ok(Form(form)) = form else {
        let notice = Some(not_taken(&NotDone::NotSoFar, person));
        return page(
            pages,
            person,
            spot,
            StatusCode::UNPROCESSABLE_ENTITY,
            Told { notice, ..Told::default() },
        )
        .await;
    };
    let name = spot.name();
    let kitchen = &pages.kitchen;
    let done = match form.act.as_str() {
        "begin" => match begin(spot, &form, person) {
            Ok(begin) => kitchen.begin(begin, person).await.map(|()| None),
            Err(fault) => return faulty(pages, person, spot, fault, form).await,
        },
        "bath" => match form.bath(&person.reader) {
            Ok(bath) => kitchen.press(&name, Press::Bath(bath), person).map(|()| None),
            Err(fault) => return faulty(pages, person, spot, fault, form).await,
        },
        "go" => kitchen.press(&name, Press::Go, person).map(|()| None),
        "back" => kitchen.press(&name, Press::Back, person).map(|()| None),
        "end" => {
            kitchen.give_up(&spot.ended(&form), person).await;
            Ok(None)
        }
        "record" => kitchen.file(name, form.note(), person).await.map(Some),
        _ => Err(NotDone::NotSoFar),
    };
    match done {
        Ok(record) => back(spot, record, renewal),
        // It is told beside what is under way.
        Err(NotDone::Refused(_)) if kitchen.under(&spot.name()).is_some() => back(spot, None, renewal),
        Err(NotDone::Unknown) => frame::refuse(Refusal::Unknown, person, &pages.site, spot.deep()),
        Err(why) => {
            let notice = Some(not_taken(&why, person));
            let taken = match why {
                NotDone::TakenBy(taken) => Some(InTheWay::new(taken, person)),
                NotDone::Unknown | NotDone::NotSoFar | NotDone::Refused(_) => None,
            };
            let told = Told { notice, taken, entered: form, ..Told::default() };
            page(pages, person, spot, StatusCode::CONFLICT, told).await
        }
    }
}

async fn faulty<K: Kitchen>(
    pages: &Pages<K>,
    person: &Person,
    spot: &Spot,
    fault: Fault,
    entered: WorkForm,
) -> Response {
    let told = Told { fault: Some(fault), entered, ..Told::default() };
    page(pages, person, spot, StatusCode::UNPROCESSABLE_ENTITY, told).await
}

fn begin(spot: &Spot, form: &WorkForm, person: &Person) -> Result<Begin, Fault> {
    let what = match spot.kind {
        Kind::Calibration => What::Calibration { probe: spot.name(), bath: form.bath(&person.reader)? },
        Kind::Response => What::Response(spot.name()),
        Kind::Proof => What::Proof { machine: spot.name(), warmth: form.warmth(&person.reader)? },
    };
    Ok(Begin { what, announced: form.announced.is_some() })
}

/// Back to the page, so that a reload sends nothing twice, renewed as it was; with a record, to where it shows.
fn back(spot: &Spot, record: Option<u64>, renewal: Renewal) -> Response {
    let to = match (record, &spot.probe) {
        (Some(record), Some(probe)) => format!("../../probes/{}/{probe}?recorded={record}", spot.machine),
        (Some(record), None) => format!("../sign-off/{}?recorded={record}", spot.machine),
        (None, Some(probe)) => probe.clone(),
        (None, None) => spot.machine.clone(),
    };
    frame::go(&if record.is_some() { to } else { format!("./{to}{}", renewal.asked()) })
}

#[cfg(test)]
pub(in crate::web) mod tests;
