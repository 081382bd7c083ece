//! The `data` of an alert's event for webhook and MQTT: the facts, for programs.
//!
//! Fields are added, never renamed or taken away; a field without a value is
//! `null`. Numbers carry their unit beside them, and temperatures are in °C
//! whatever scale the contact reads. Times are RFC 3339 in UTC.

use serde::Serialize;

use crate::core::alert::quantity::{Side, side};
use crate::core::alert::{
    Acknowledgement, Action, Condition, Notice, Occasion, Pattern, Quantity, Rack, Severity,
};
use crate::core::channel::Place;
use crate::core::reader::Language;
use crate::core::time::Timestamp;

/// The facts of one notice.
#[derive(Clone, PartialEq, Debug, Serialize)]
pub struct AlertData {
    /// Whether this is only a test of the way: nothing is wrong then.
    pub test: bool,
    /// Number of the alert, counted over the life of the ledger; 0 for a test.
    pub alert: u64,
    /// What is wrong: `cold`, `brief`, `weak`, `probe-fault`, …
    pub condition: Condition,
    /// How bad it is: `critical`, `serious`, `warning`.
    pub severity: Severity,
    /// Why this was sent: `raised`, `grew`, `escalated`, `cleared`, `closed`, …
    pub occasion: Occasion,
    /// Name of the site.
    pub site: String,
    /// Name of the machine; null where the site itself is meant.
    pub machine: Option<String>,
    /// Place on the machine: `wash-tank`, `final-rinse`, `ware`, `other`.
    pub place: Option<Place>,
    /// When the alert was raised.
    pub raised: Timestamp,
    /// Since when it has been so: of racks, when the final rinse of the first began.
    pub since: Timestamp,
    /// What was measured last.
    pub measured: Option<Measure>,
    /// The worst that was measured.
    pub worst: Option<Measure>,
    /// What it is measured against.
    pub limit: Option<Limit>,
    /// Racks affected.
    pub racks: RackData,
    /// The last good cycle before it, or before it came back: racks after it are in doubt. Null where what had passed is
    /// in doubt itself.
    pub last_good: Option<Rack>,
    /// What the racks look like together: `first-after-idle`, `single`, `repeated`.
    pub pattern: Option<Pattern>,
    /// Probes at fault, checks missing, or routes that fail.
    pub about: Vec<String>,
    /// Who has taken it on, when and how.
    pub acknowledged: Option<Acknowledgement>,
    /// When it recovered.
    pub cleared: Option<Timestamp>,
    /// Whether it closes only with a written corrective action.
    pub needs_action: bool,
    /// The latest corrective action.
    pub action: Option<Action>,
    /// Name of the contact that is told.
    pub contact: String,
    /// Step of the escalation, from 1; 0 for a last resort and for a test.
    pub step: u8,
    /// Language of `summary`: `en`, `es`.
    pub language: Language,
    /// The same in one sentence for people, in the contact's language and scale.
    pub summary: String,
    /// Page on which the alert can be seen and acknowledged; opening it changes nothing.
    pub link: Option<String>,
}

/// A number with its unit.
#[derive(Clone, Copy, PartialEq, Debug, Serialize)]
pub struct Measure {
    /// The number.
    pub value: f64,
    /// Its unit as in SenML (RFC 8428, 12.1, and RFC 8798): `Cel`, `s`, `mg/L`, `pH`, `/` for a share of 1,
    /// `count` for a number of things.
    pub unit: &'static str,
}

/// A limit.
#[derive(Clone, Copy, PartialEq, Debug, Serialize)]
pub struct Limit {
    /// The number, and its unit.
    #[serde(flatten)]
    pub measure: Measure,
    /// On which side of it has to be what was measured: `at-least`, `at-most`; null where nothing was.
    pub side: Option<Side>,
}

/// Racks affected by an alert.
#[derive(Clone, PartialEq, Debug, Serialize)]
pub struct RackData {
    /// How many.
    pub count: u64,
    /// The first and the latest of them: index of each one's record in the ledger, and the end of its final rinse.
    pub named: Vec<Rack>,
}

impl From<Quantity> for Measure {
    fn from(quantity: Quantity) -> Self {
        let (value, unit) = match quantity {
            Quantity::Celsius(celsius) => (celsius, "Cel"),
            Quantity::Seconds(seconds) => (seconds, "s"),
            Quantity::MgPerL(concentration) => (concentration, "mg/L"),
            Quantity::Ph(ph) => (ph, "pH"),
            Quantity::Fraction(share) => (share, "/"),
            Quantity::Count(count) => (count as f64, "count"),
        };
        Self { value, unit }
    }
}

impl AlertData {
    /// Takes the facts from a notice. `summary` is the headline that [`super::compose`] makes.
    #[must_use]
    pub fn new(notice: &Notice, site: &str, summary: String, link: Option<String>) -> Self {
        let alert = &notice.alert;
        Self {
            test: notice.occasion == Occasion::Test,
            alert: alert.number.0,
            condition: alert.condition,
            severity: alert.condition.severity(),
            occasion: notice.occasion,
            site: site.to_owned(),
            machine: alert.machine.clone(),
            place: alert.place,
            raised: alert.raised,
            since: alert.begun(),
            measured: alert.measured.map(Measure::from),
            worst: alert.worst.map(Measure::from),
            limit: alert.limit.map(|limit| Limit {
                measure: limit.into(),
                side: alert.measured.map(|measured| side(alert.condition, measured, limit)),
            }),
            racks: RackData { count: alert.racks.count, named: alert.racks.named.clone() },
            last_good: alert.last_good,
            pattern: alert.pattern,
            about: alert.about.clone(),
            acknowledged: alert.acknowledged.clone(),
            cleared: alert.cleared,
            needs_action: alert.needs_action,
            action: alert.action.clone(),
            contact: notice.contact.clone(),
            step: notice.step,
            language: notice.language,
            summary,
            link,
        }
    }
}
