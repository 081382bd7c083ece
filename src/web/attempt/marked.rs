//! That a machine is marked as worked on: until when, by whom, what is open there, and the way to end it.
//!
//! Whoever says that the work is over ends what is open at the machine too, whosever it is, and is told so before.
//! What has found something that is not on record is not ended that way: it would be lost.

use crate::core::access::Right;
use crate::core::reader::{Language, Reader, filled};
use crate::core::technician::work;
use crate::core::time::Timestamp;
use crate::web::frame::{Refusal, said};
use crate::web::kitchen::{Kitchen, Pages};
use crate::web::now::Glance;
use crate::web::person::Person;
use crate::web::probes::{Kind, kind};

/// What somebody is at, at a machine or at one of its probes.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct OpenAt {
    /// What it is.
    pub kind: Kind,
    /// At what: `<machine>/<probe>`, or the machine.
    pub of: String,
    /// Name of whoever is at it.
    pub by: String,
    /// By which account.
    pub account: String,
    /// Since when.
    pub begun: Timestamp,
    /// Whether it has found something that is not on record, or is being put there: it ends by itself alone.
    pub has_found: bool,
}

impl OpenAt {
    /// What tells it from any other: whoever ends it was shown this.
    #[must_use]
    pub fn mark(&self) -> String {
        format!("{}@{}", self.of, self.begun.micros())
    }
}

/// Why the work at a machine did not end.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum NotOver {
    /// Something is open there that was not shown, or that has found something.
    Open,
    /// It is refused.
    Refused(Refusal),
}

/// Something that is open at a machine, in words, and its page from the top, for those who may see it.
pub(in crate::web) struct OpenTold {
    pub(in crate::web) text: String,
    pub(in crate::web) way: Option<String>,
}

/// A machine that is marked as worked on, or at which something is open.
pub(in crate::web) struct Marked {
    pub(in crate::web) machine: String,
    /// For how long it is marked; `None` where it is not.
    pub(in crate::web) until: Option<String>,
    /// Who works there, and at what.
    pub(in crate::web) who: Option<String>,
    pub(in crate::web) open: Vec<OpenTold>,
    /// Whether something is open that must come to its own end first.
    pub(in crate::web) has_found: bool,
    /// The [`OpenAt::mark`] of each that is open.
    pub(in crate::web) marks: String,
    /// Whether whoever reads may end it.
    pub(in crate::web) may_end: bool,
    /// Whether it is the whole site that is marked: that ends by command.
    pub(in crate::web) of_site: bool,
}

impl Marked {
    /// How a machine stands.
    pub(in crate::web) fn new<K: Kitchen>(pages: &Pages<K>, person: &Person, glance: &Glance) -> Self {
        let reader = &person.reader;
        let open = pages.kitchen.open_at(&glance.machine);
        let who = Some(work::who(&glance.worked, reader.language)).filter(|who| !who.is_empty());
        Self {
            until: glance.work_until.map(|until| glance.worked_on(until, pages.kitchen.time(), reader)),
            who: who.filter(|_| glance.work_until.is_some()),
            has_found: open.iter().any(|open| open.has_found),
            marks: open.iter().map(OpenAt::mark).collect::<Vec<_>>().join(" "),
            open: open.iter().map(|open| told(open, person)).collect(),
            may_end: person.may(Right::Maintain) && !glance.of_site,
            of_site: glance.of_site,
            machine: glance.machine.clone(),
        }
    }

    /// How this machine stands; `None` where it is not marked, and where nothing is known.
    pub(in crate::web) async fn of<K: Kitchen>(
        pages: &Pages<K>,
        person: &Person,
        machine: &str,
    ) -> Option<Self> {
        let glances = pages.kitchen.glances(&person.reader).await.ok()?.machines;
        let glance = glances.iter().find(|glance| glance.machine == machine)?;
        glance.work_until.map(|_| Self::new(pages, person, glance))
    }
}

/// Each machine that is marked as worked on, with that in a line: for how long, and by whom.
pub(in crate::web) async fn worked_on<K: Kitchen>(
    pages: &Pages<K>,
    person: &Person,
) -> Vec<(String, String)> {
    let reader = &person.reader;
    let Ok(glances) = pages.kitchen.glances(reader).await else { return Vec::new() };
    let line = |glance: &Glance| {
        let until = glance.worked_on(glance.work_until?, pages.kitchen.time(), reader);
        let who = work::who(&glance.worked, reader.language);
        let phrase = match (reader.language, who.is_empty()) {
            (Language::English, true) => "Marked as worked on {until}: its racks are unproven.",
            (Language::English, false) => {
                "Marked as worked on {until}: its racks are unproven. Who works there: {who}."
            }
            (Language::Spanish, true) => "Consta como en trabajo {until}: sus canastas quedan sin comprobar.",
            (Language::Spanish, false) => {
                "Consta como en trabajo {until}: sus canastas quedan sin comprobar. Quién trabaja: {who}."
            }
        };
        Some((glance.machine.clone(), filled(phrase, &[("until", &until), ("who", &who)])))
    };
    glances.machines.iter().filter_map(line).collect()
}

fn told(open: &OpenAt, person: &Person) -> OpenTold {
    let Reader { language, .. } = person.reader;
    let phrase = match (open.has_found, open.account == person.account) {
        (false, true) => said(
            language,
            "You have this open: {what}, {of}, since {begun}. The end of the work ends it too; it has found nothing yet.",
            "Usted tiene esto abierto: {what}, {of}, desde {begun}. El fin del trabajo lo termina también; aún no ha hallado nada.",
        ),
        (false, false) => said(
            language,
            "{by} has this open: {what}, {of}, since {begun}. The end of the work ends it too; it has found nothing yet.",
            "{by} tiene esto abierto: {what}, {of}, desde {begun}. El fin del trabajo lo termina también; aún no ha hallado nada.",
        ),
        (true, true) => said(
            language,
            "You have this open: {what}, {of}, since {begun}. What it has found is not on record: put it on record or give it up there, then the work can be over.",
            "Usted tiene esto abierto: {what}, {of}, desde {begun}. Lo que ha hallado no está registrado: regístrelo o abandónelo allí, y entonces el trabajo puede terminar.",
        ),
        (true, false) => said(
            language,
            "{by} has this open: {what}, {of}, since {begun}. What it has found is not on record: it is put on record or given up there, then the work can be over.",
            "{by} tiene esto abierto: {what}, {of}, desde {begun}. Lo que ha hallado no está registrado: se registra o se abandona allí, y entonces el trabajo puede terminar.",
        ),
    };
    let begun = person.reader.clock_and_zone(open.begun);
    let values =
        [("by", open.by.as_str()), ("what", kind(open.kind, language)), ("of", &open.of), ("begun", &begun)];
    OpenTold {
        text: filled(phrase, &values),
        way: person.may(Right::Measure).then(|| page_of(open.kind, &open.of)),
    }
}

/// The page of something that is open, from the top.
pub(super) fn page_of(kind: Kind, of: &str) -> String {
    let page = match kind {
        Kind::Calibration => "calibrate",
        Kind::Response => "respond",
        Kind::Proof => "prove",
    };
    format!("{page}/{of}")
}
