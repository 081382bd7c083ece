//! A kitchen that knows two machines, for the tests of the pages.

pub(super) mod desk;
mod premises;
pub(super) mod visit;

use std::sync::Arc;

use jiff::tz::TimeZone;
use tokio::sync::watch;

use super::frame::{Refusal, Site};
use super::kitchen::{Kitchen, Pages};
use super::now::{Data, Glance, GlanceAlert, Glances, LastRack};
use super::person::Person;
use crate::core::access::Role;
use crate::core::cycle::verdict::Verdict;
use crate::core::reader::{Language, Reader, Scale};
use crate::core::time::Timestamp;

/// 2026-11-26T12:00:00Z.
pub(super) const NOW: Timestamp = Timestamp::from_micros(1_795_694_400_000_000);

/// A kitchen whose machines stand still until its test moves them.
#[derive(Clone, Debug)]
pub(super) struct StillKitchen {
    pub(super) glances: watch::Sender<Vec<Glance>>,
    pub(super) beat: watch::Sender<u64>,
    pub(super) desk: desk::Desk,
}

impl StillKitchen {
    pub(super) fn new() -> Self {
        Self {
            glances: watch::Sender::new(vec![cold(), fresh()]),
            beat: watch::Sender::new(0),
            desk: desk::Desk::default(),
        }
    }

    /// The pages over it, until the sender is dropped or told to stop.
    pub(super) fn pages(&self) -> Pages<Self> {
        let site = Site { name: "Harbour canteen".to_owned(), simulated: false };
        Pages::new(self.clone(), site, tokio_util::sync::CancellationToken::new())
    }
}

/// A machine whose last rack was cold, with an open alert.
fn cold() -> Glance {
    let ended = Timestamp::from_micros(NOW.micros() - 120_000_000);
    let last = LastRack {
        record: 48,
        ended,
        verdict: Verdict::Cold,
        findings: Vec::new(),
        settled_c: Some(79.4),
        limit_c: 82.2,
        uncertainty_c: 1.1,
        mg_per_l: None,
    };
    let alert = GlanceAlert { number: 3, headline: "Final rinse <too> cold".to_owned(), taken_by: None };
    Glance {
        place: 0,
        machine: "dm1".to_owned(),
        chemical: false,
        last: Some(last),
        data: Data::Live,
        tank: Some((66.4, 65.6)),
        today: [1, 0, 0, 0, 0, 12],
        alerts: vec![alert],
        work_until: None,
    }
}

/// A machine of which nothing is known yet.
fn fresh() -> Glance {
    Glance {
        place: 1,
        machine: "dm2".to_owned(),
        chemical: true,
        last: None,
        data: Data::None,
        tank: None,
        today: [0; 6],
        alerts: Vec::new(),
        work_until: None,
    }
}

impl Glances for StillKitchen {
    fn time(&self) -> Timestamp {
        NOW
    }

    fn beat(&self) -> watch::Receiver<u64> {
        self.beat.subscribe()
    }

    async fn glances(&self, _reader: &Reader) -> Result<Arc<[Glance]>, Refusal> {
        let glances: Arc<[Glance]> = self.glances.borrow().as_slice().into();
        std::future::ready(Ok(glances)).await
    }
}

impl Kitchen for StillKitchen {}

/// Somebody of this role who reads this language.
pub(super) fn person(role: Role, language: Language) -> Person {
    let reader = Reader { language, scale: Scale::Celsius, zone: TimeZone::UTC };
    Person { account: "ana".to_owned(), name: "Ana".to_owned(), role, reader }
}
