//! What each machine does just now: the page that is looked at with wet hands.
//!
//! One line for the whole site leads to what needs somebody; below it stands a card for each machine, in the order
//! of the configuration, so that whoever knows it finds each at its place. A card says first how the machine stands,
//! then what its last rack was, with what was measured against its limit. All are made once for all who read alike.

pub(in crate::web) mod card;
mod lead;
mod stand;

use std::future::Future;
use std::sync::Arc;
use std::time::Duration;

use askama::Template;
use axum::extract::State;
use axum::http::{StatusCode, Uri};
use axum::response::Response;
use tokio::sync::watch;

pub(super) use card::{Card, ago, card};
pub(super) use lead::lead;

use super::frame::{self, Frame, Refusal, Tab, said};
use super::kitchen::{Kitchen, Pages};
use super::person::Person;
use super::probes::solution::Tested;
use super::query;
use super::renew::{self, Renewal};
use crate::core::alert::{Condition, Severity};
use crate::core::cycle::minimum::Unjudged;
use crate::core::cycle::strength::OffRange;
use crate::core::cycle::verdict::{Finding, Verdict};
use crate::core::reader::{Language, Reader};
use crate::core::record::Worked;
use crate::core::sanitizer::bound::Asked;
use crate::core::technician::work;
use crate::core::time::Timestamp;

/// One machine at a glance.
#[derive(Clone, PartialEq, Debug)]
pub struct Glance {
    /// Its place in the configuration; names the card in the page.
    pub place: usize,
    /// Its name.
    pub machine: String,
    /// Whether it sanitizes by a chemical: then the temperature alone proves nothing.
    pub chemical: bool,
    /// The latest rack on record.
    pub last: Option<LastRack>,
    /// Whether its probes tell of now.
    pub data: Data,
    /// Whether a probe is in its wash tank.
    pub watches_tank: bool,
    /// The sanitizer on file: its newest test that counts, and how old that is.
    pub strength: Option<(Tested, Duration)>,
    /// What is asked of it.
    pub asked: Option<Asked>,
    /// The wash tank, where that probe tells of now.
    pub tank: Option<Tank>,
    /// Racks of today, in the order of [`Verdict::ALL`].
    pub today: [u64; Verdict::ALL.len()],
    /// How many of these that passed are in doubt.
    pub in_doubt: u64,
    /// Its open alerts, the most pressing first.
    pub alerts: Vec<GlanceAlert>,
    /// Until when somebody works on it, or on the whole site.
    pub work_until: Option<Timestamp>,
    /// Whether it is the work on the whole site that lasts until then: it does not end at this machine.
    pub of_site: bool,
    /// What the dialog does that keeps it so for as long as it is open.
    pub kept_by: Option<String>,
    /// Who works on it, and at what.
    pub worked: Vec<Worked>,
}

/// The latest rack of a machine.
#[derive(Clone, PartialEq, Debug)]
pub struct LastRack {
    /// Index of its record.
    pub record: u64,
    /// When its final rinse began, by which lists tell it.
    pub rinsed: Timestamp,
    /// When its final rinse ended.
    pub ended: Timestamp,
    /// How it was judged.
    pub verdict: Verdict,
    /// Whether what it passed by was found wrong since.
    pub in_doubt: bool,
    /// What was found beside the verdict.
    pub findings: Vec<Finding>,
    /// Settled minimum that was judged, °C.
    pub settled_c: Option<f64>,
    /// One that was not.
    pub unjudged: Option<Unjudged>,
    /// Limit, °C.
    pub limit_c: f64,
    /// Expanded uncertainty (k = 2), °C.
    pub uncertainty_c: f64,
    /// Sanitizer on file, mg/L.
    pub mg_per_l: Option<f64>,
    /// The strength of the sanitizer, where it was outside its range.
    pub off_range: Option<OffRange>,
}

/// The wash tank of a machine.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Tank {
    /// Its temperature, °C.
    pub celsius: f64,
    /// Its lowest permitted temperature, °C.
    pub least_c: f64,
    /// How old the value is, where it is too old to be shown without that.
    pub aged: Option<Duration>,
}

/// Whether the probes of a machine tell of now.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Data {
    /// They do.
    Live,
    /// One of them tells nothing of now: its last reading was that of then. Without a time nothing came of one of them
    /// since the gateway started.
    Old(Option<Timestamp>),
    /// Nothing came of any of them since the gateway started.
    None,
}

/// An open alert in one line.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct GlanceAlert {
    /// Its number.
    pub number: u64,
    /// What is wrong and what to do, in the words of the reader; for programs.
    pub headline: String,
    /// What is wrong in two or three words of the reader.
    pub title: String,
    /// What is wrong.
    pub condition: Condition,
    /// What it is about in detail, see [`crate::core::alert::Alert::about`].
    pub about: Vec<String>,
    /// Since when.
    pub since: Timestamp,
    /// How many racks are affected.
    pub racks: u64,
    /// When the first and the last of those were rinsed that nobody has accounted for, else of all; `None` where that is not
    /// known.
    pub washed: Option<(Timestamp, Timestamp)>,
    /// Their records as far as they are named, see [`crate::core::alert::Racks`].
    pub named: Vec<u64>,
    /// Whether it still lasts; one that does not has recovered.
    pub lasts: bool,
    /// Where the corrective action is missing: of how many racks.
    pub uncovered: Option<u64>,
    /// Who takes care of it.
    pub taken_by: Option<String>,
}

impl Glance {
    /// For how long it stays marked as worked on, which is until a time, in the words of every page.
    pub(in crate::web) fn worked_on(&self, until: Timestamp, now: Timestamp, reader: &Reader) -> String {
        let mut told = work::for_how_long(until, self.kept_by.as_deref(), now, reader);
        if self.of_site {
            told.push_str(said(reader.language, ", with the whole site", ", con toda la cocina"));
        }
        told
    }
}

impl GlanceAlert {
    /// Whether ware may not be fit for use by it just now: racks are bad, or what makes them good is missing or was
    /// found off.
    pub(in crate::web) fn endangers_ware(&self) -> bool {
        let is_missing = matches!(
            self.condition,
            Condition::WashLow | Condition::TankCold | Condition::ThermometerOff | Condition::SuppliesShort
        );
        self.lasts && (is_missing || self.condition.severity() == Severity::Critical)
    }

    /// Whether it has recovered and nothing is to be written of it: it closes by itself.
    pub(in crate::web) const fn is_over(&self) -> bool {
        !self.lasts && self.uncovered.is_none()
    }

    /// Puts those by which ware is in danger, or racks are that nobody has accounted for, before checks that are late,
    /// by which racks become unproven, these before early warnings, which judge none, what is over last, and else
    /// leaves the order.
    pub(crate) fn danger_first(alerts: &mut [Self]) {
        let is_held =
            |alert: &Self| alert.condition.severity() == Severity::Critical && alert.uncovered.is_some();
        let can_wait = |alert: &Self| match alert.condition {
            Condition::CheckOverdue => 1,
            Condition::Drifting => 2,
            Condition::CalibrationOverdue => 3,
            Condition::Cold
            | Condition::Brief
            | Condition::Weak
            | Condition::Unproven
            | Condition::WashLow
            | Condition::RinseHot
            | Condition::Narrow
            | Condition::TankCold
            | Condition::ProbeFault
            | Condition::ProbeSilent
            | Condition::ThermometerOff
            | Condition::SuppliesShort
            | Condition::RecordDamaged
            | Condition::DiskFilling
            | Condition::ClockUnsynchronised
            | Condition::SeriesBacklog
            | Condition::Undelivered => 0,
        };
        alerts.sort_by_key(|alert| {
            (alert.is_over(), !(alert.endangers_ware() || is_held(alert)), can_wait(alert))
        });
    }
}

/// Every machine at one moment.
#[derive(Clone, Debug)]
pub struct AtAGlance {
    /// Each machine, in the order of the configuration.
    pub machines: Arc<[Glance]>,
    /// How many alerts are open, those of no machine among them.
    pub open: usize,
    /// What those are about that are of no machine here, the most pressing first, in two or three words of the reader.
    pub others: Vec<String>,
}

/// What the page asks of whoever knows the machines.
pub trait Glances: Clone + Send + Sync + 'static {
    /// What time it is.
    fn time(&self) -> Timestamp;

    /// Changes when there may be something new to see, and every few seconds.
    fn beat(&self) -> watch::Receiver<u64>;

    /// All machines as they are now, worded for this reader.
    fn glances(&self, reader: &Reader) -> impl Future<Output = Result<AtAGlance, Refusal>> + Send;
}

#[derive(Template)]
#[template(path = "web/now/now.html", config = ".askama.toml")]
struct NowPage<'a> {
    frame: Frame<'a>,
    lead: Option<&'a str>,
    cards: Vec<&'a str>,
    none: &'static str,
}

/// Shows every machine.
pub(super) async fn show<K: Kitchen>(State(pages): State<Pages<K>>, uri: Uri, person: Person) -> Response {
    let renewal = match Renewal::alone(&uri, renew::OFTEN_S) {
        Ok(renewal) => renewal,
        Err(given) => return query::refused(&given, &person, &pages.site, 0),
    };
    let moment = match pages.live.moment(&pages.kitchen, &person.reader, None).await {
        Ok(moment) => moment,
        Err(refused) => return frame::refuse(refused, &person, &pages.site, 0),
    };
    let (title, none) = match person.reader.language {
        Language::English => ("Now", "No machine is configured."),
        Language::Spanish => ("Ahora", "No hay ninguna máquina configurada."),
    };
    let frame = Frame::new(&pages.site, &person, Tab::Now, 0, title).with_open(moment.open).renewing(renewal);
    let cards = moment.cards.iter().map(|card| card.html.as_str()).collect();
    let lead = moment.lead.as_ref().map(|lead| lead.html.as_str());
    frame::page(StatusCode::OK, NowPage { frame, lead, cards, none }.render())
}
