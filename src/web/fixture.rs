//! A kitchen that knows two machines, for the tests of the pages.

mod answers;
pub(super) mod desk;
mod history;
mod premises;
pub(super) mod rack;
pub(super) mod visit;

use std::sync::Arc;
use std::sync::atomic::AtomicU64;
use std::time::Duration;

use jiff::civil::Date;
use jiff::tz::TimeZone;
use tokio::sync::watch;

use super::alerts::AlertBook;
use super::api::Figures;
use super::attempt::{Begin, Ended, NotDone, OpenAt, Taken, Under};
use super::frame::{Refusal, Site};
use super::kitchen::{Kitchen, Pages};
use super::machine::{DayGap, DayRack, LiveTrace, MachineDay, Machines, Plots, ProbeNow, Readings};
use super::now::{AtAGlance, Data, Glance, GlanceAlert, Glances, LastRack, Tank};
use super::person::Person;
use super::probes::solution::{SolutionSeen, Tested};
use super::probes::{Due, Filed, FiledProof, InForce, Made, Probes, Seen};
use super::sign_off::{Commissioning, Mend, Open, Shown, Stood, TestRack};
use crate::core::access::Role;
use crate::core::alert::Condition;
use crate::core::channel::{Place, Solution};
use crate::core::cycle::figures::{Figures as RackFigures, Overtaken};
use crate::core::cycle::plate::{LimitSource, MachineKind, Sanitizing};
use crate::core::cycle::verdict::Verdict;
use crate::core::on_file;
use crate::core::presence::Recency;
use crate::core::reader::{Language, Reader, Scale};
use crate::core::reading::Fault;
use crate::core::record::{Correction, Cycle, ProvenProbe, SignedPlate};
use crate::core::sanitizer::bound::Bound;
use crate::core::technician::attempt::{Press, Stands};
use crate::core::technician::gauge::Trend;
use crate::core::time::Timestamp;
use crate::core::wiring::Evidence;

/// 2026-11-26T12:00:00Z.
pub(super) const NOW: Timestamp = Timestamp::from_micros(1_795_694_400_000_000);

/// A kitchen whose machines stand still until its test moves them.
#[derive(Clone, Debug)]
pub(super) struct StillKitchen {
    pub(super) glances: watch::Sender<Vec<Glance>>,
    pub(super) beat: watch::Sender<u64>,
    /// Records.
    pub(super) size: Arc<AtomicU64>,
    pub(super) hindrances: Vec<String>,
    pub(super) figures: Figures,
    pub(super) desk: desk::Desk,
    /// What somebody is at, and at what.
    pub(super) under: watch::Sender<Option<(String, Under)>>,
    /// What is in the way of whatever is to begin.
    pub(super) taken: watch::Sender<Option<Taken>>,
    /// What somebody ended that another was at, and at what.
    pub(super) ended: watch::Sender<Option<(String, Ended)>>,
    /// The newest sign-off of `dm1`.
    pub(super) stood: watch::Sender<Option<Stood>>,
    /// Traces wait as long as somebody holds this for writing.
    pub(super) traces: Arc<tokio::sync::RwLock<()>>,
    /// What was asked for that changes something.
    pub(super) deeds: watch::Sender<Vec<String>>,
    /// Whether the accounts cannot be read.
    pub(super) accounts_unreadable: bool,
}

impl StillKitchen {
    pub(super) fn new() -> Self {
        Self {
            glances: watch::Sender::new(vec![cold(), fresh()]),
            beat: watch::Sender::new(0),
            size: Arc::default(),
            hindrances: Vec::new(),
            figures: Figures::default(),
            desk: desk::Desk::default(),
            under: watch::Sender::new(None),
            taken: watch::Sender::new(None),
            ended: watch::Sender::new(None),
            stood: watch::Sender::new(None),
            traces: Arc::default(),
            deeds: watch::Sender::new(Vec::new()),
            accounts_unreadable: false,
        }
    }

    /// The pages over it, until the sender is dropped or told to stop.
    pub(super) fn pages(&self) -> Pages<Self> {
        let site = Site::new("Harbour canteen".to_owned(), false, || NOW);
        Pages::new(self.clone(), site, tokio_util::sync::CancellationToken::new())
    }
}

/// A machine whose last rack was cold, with an open alert.
fn cold() -> Glance {
    let ended = Timestamp::from_micros(NOW.micros() - 120_000_000);
    let last = LastRack {
        record: 48,
        rinsed: ended,
        ended,
        verdict: Verdict::Cold,
        in_doubt: false,
        findings: Vec::new(),
        settled_c: Some(79.4),
        unjudged: None,
        limit_c: 82.2,
        uncertainty_c: 1.1,
        mg_per_l: None,
        off_range: None,
    };
    let alert = GlanceAlert {
        number: 3,
        headline: "Final rinse <too> cold".to_owned(),
        title: "Too <cold>".to_owned(),
        condition: Condition::Cold,
        about: Vec::new(),
        since: NOW,
        racks: 1,
        washed: None,
        named: Vec::new(),
        lasts: true,
        uncovered: Some(1),
        taken_by: None,
    };
    Glance {
        place: 0,
        machine: "dm1".to_owned(),
        chemical: false,
        last: Some(last),
        data: Data::Live,
        watches_tank: true,
        tank: Some(Tank { celsius: 66.4, least_c: 65.6, aged: None }),
        today: [1, 0, 0, 0, 0, 12],
        in_doubt: 2,
        alerts: vec![alert],
        work_until: None,
        of_site: false,
        strength: None,
        asked: None,
        kept_by: None,
        worked: Vec::new(),
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
        watches_tank: true,
        tank: None,
        today: [0; 6],
        in_doubt: 0,
        alerts: Vec::new(),
        work_until: None,
        of_site: false,
        strength: None,
        asked: None,
        kept_by: None,
        worked: Vec::new(),
    }
}

impl Glances for StillKitchen {
    fn time(&self) -> Timestamp {
        NOW
    }

    fn beat(&self) -> watch::Receiver<u64> {
        self.beat.subscribe()
    }

    async fn glances(&self, _reader: &Reader) -> Result<AtAGlance, Refusal> {
        let glances: Arc<[Glance]> = self.glances.borrow().as_slice().into();
        Ok(AtAGlance { machines: glances, open: AlertBook::open(self).await?, others: Vec::new() })
    }
}

impl Machines for StillKitchen {
    async fn day(&self, _machine: &str, date: Option<Date>, _reader: &Reader) -> Result<MachineDay, Refusal> {
        let rack = |record, verdict, settled_c| DayRack {
            record,
            at: Timestamp::from_micros(NOW.micros() - 120_000_000),
            verdict,
            figures: RackFigures { settled_c, unjudged: None, limit_c: 82.2, off_range: None },
            wash_c: Some(66.1),
            in_doubt_by: Vec::new(),
            overtaken: None,
        };
        let judged = Cycle { concentration_mg_per_l: Some(100.0), ..self::rack::cycle() };
        let overtaken = Overtaken::new(&judged, NOW, (10.0, None), Some(Bound::AtLeast(25.0)));
        let doubted = DayRack { in_doubt_by: vec![7], overtaken, ..rack(45, Verdict::Pass, Some(83.0)) };
        let gap = DayGap {
            probe: "dm1/rinse".to_owned(),
            fault: Fault::Silent,
            from: NOW,
            to: None,
            filled: false,
        };
        let today = jiff::civil::date(2026, 11, 26);
        let day = MachineDay {
            date: date.unwrap_or(today),
            racks: vec![doubted, rack(47, Verdict::Pass, Some(84.0)), rack(48, Verdict::Cold, Some(82.19))],
            damaged: vec![46],
            gaps: vec![gap],
            plots: drawn(),
            before: Some(jiff::civil::date(2026, 11, 25)),
            after: None,
        };
        std::future::ready(Ok(day)).await
    }

    async fn trace(&self, machine: &str, _reader: &Reader) -> Result<LiveTrace, Refusal> {
        let probe = ProbeNow {
            channel: format!("{machine}/rinse"),
            place: Place::FinalRinse,
            seen: Some((NOW, Recency::Now)),
            celsius: None,
            fault: Some(Fault::OpenCircuit),
            extremes_c: Some((60.0, 84.5)),
        };
        let aged = |name, place, recency| ProbeNow {
            channel: format!("{machine}/{name}"),
            place,
            seen: Some((NOW, recency)),
            celsius: Some(66.4),
            fault: None,
            extremes_c: None,
        };
        let seconds = Duration::from_secs;
        let tank = aged("wash", Place::WashTank, Recency::Aged(seconds(20)));
        let ware = aged("plate", Place::Ware, Recency::Silent(seconds(600)));
        drop(self.traces.read().await);
        Ok(LiveTrace { plots: drawn(), probes: vec![probe, tank, ware] })
    }

    async fn recent(&self, machine: &str) -> Result<Readings, Refusal> {
        std::future::ready(Ok(rack::readings(machine))).await
    }
}

/// A picture of nothing.
fn drawn() -> Plots {
    Plots { narrow: "<svg id=\"narrow\"></svg>".to_owned(), broad: "<svg id=\"broad\"></svg>".to_owned() }
}

impl Kitchen for StillKitchen {}

/// The sanitizer of dm1 as its line measured it, and its pH as somebody entered it.
pub(in crate::web) fn solutions() -> Vec<SolutionSeen> {
    let age = std::time::Duration::from_secs(8_460);
    let seen = |number, probe: &str, solution, value, by: Option<&str>| SolutionSeen {
        number,
        machine: "dm1".to_owned(),
        probe: probe.to_owned(),
        solution,
        tested: Some(Tested {
            value,
            at: NOW.minus(age),
            by: by.map(str::to_owned),
            channel: by.is_none().then(|| format!("dm1/{probe}")),
            record: by.map(|_| 12),
        }),
        age: Some(age),
        arrived: None,
        silent: false,
        off: false,
        asked: None,
        holds: std::time::Duration::from_secs(8 * 3600),
        down: Vec::new(),
    };
    vec![
        seen(7, "sanitizer", Solution::Strength, 100.0, None),
        seen(8, "ph", Solution::Ph, 7.5, Some("Ana <b>")),
    ]
}

/// A technician's view of dm1: its rinse probe in service, its wash probe silent.
pub(in crate::web) fn probes() -> Vec<Seen> {
    let in_force = InForce {
        correction: Some(Correction { gain: 1.0, offset_c: 0.4 }),
        calibration: Some(17),
        until: Some("2027-03-01".to_owned()),
        due: Due::Holds,
        tau_s: Some(1.5),
        response: Some(18),
        expanded_c: (0.6, 82.2),
    };
    let rinse = Seen {
        number: 1,
        machine: "dm1".to_owned(),
        probe: "rinse".to_owned(),
        place: Place::FinalRinse,
        shown_c: Some((79.4, 79.8)),
        fault: None,
        recency: Some(Recency::Now),
        trend: Some(Trend::Rising),
        per_s: Some(4.0),
        minute: vec![(1.0, 79.0), (0.5, 79.4), (0.0, 79.8)],
        down: Vec::new(),
        off: None,
        in_force: in_force.clone(),
        work: None,
    };
    let wash = Seen {
        number: 0,
        probe: "wash".to_owned(),
        place: Place::WashTank,
        recency: Some(Recency::Silent(Duration::from_secs(600))),
        trend: None,
        down: vec![("port<1>".to_owned(), "no such device".to_owned())],
        in_force: InForce { due: Due::Never, correction: None, calibration: None, until: None, ..in_force },
        ..rinse.clone()
    };
    vec![wash, rinse]
}

impl Probes for StillKitchen {
    fn glimpses(&self) -> watch::Receiver<u64> {
        self.beat.subscribe()
    }

    async fn probes(&self) -> Result<Arc<[Seen]>, Refusal> {
        std::future::ready(Ok(probes().into())).await
    }

    async fn solutions(&self) -> Result<Arc<[SolutionSeen]>, Refusal> {
        std::future::ready(Ok(solutions().into())).await
    }

    async fn filed(&self, _probe: String) -> Result<Filed, Refusal> {
        let found = ProvenProbe {
            probe: "dm1/rinse".to_owned(),
            good: false,
            finding: "swapped".to_owned(),
            seen: Evidence::OtherRose { other_c: 9.0, same_machine: true },
            instead: Some("dm1/wash".to_owned()),
        };
        let (by, withdrawn) = ("Eli <b>".to_owned(), false);
        let proofs = vec![FiledProof { index: 16, at: NOW, by, found, withdrawn }];
        let done = history::response();
        // Record 18 took its place.
        let responses = vec![on_file::Filed { index: 15, since: NOW, withdrawn: None, done }];
        let compared = Some(history::compared());
        std::future::ready(Ok(Filed { responses, proofs, compared, ..Filed::default() })).await
    }

    fn under(&self, of: &str) -> Option<Under> {
        self.under.borrow().as_ref().filter(|(name, _)| name == of).map(|(_, under)| under.clone())
    }

    fn open_at(&self, machine: &str) -> Vec<OpenAt> {
        let under = self.under.borrow();
        let own = under.iter().filter(|(of, _)| of.split('/').next() == Some(machine));
        let open = own.map(|(of, under)| OpenAt {
            kind: under.kind,
            of: of.clone(),
            by: under.by.clone(),
            account: under.account.clone(),
            begun: under.begun,
            has_found: matches!(&under.stands, Stands::Calibration(stands) if !stands.points.is_empty()),
        });
        open.collect()
    }

    async fn begin(&self, begin: Begin, _person: &Person) -> Result<(), NotDone> {
        if let Some(taken) = self.taken.borrow().clone() {
            return Err(NotDone::TakenBy(taken));
        }
        self.deeds.send_modify(|deeds| deeds.push(format!("{begin:?}")));
        std::future::ready(Ok(())).await
    }

    fn press(&self, of: &str, press: Press, _person: &Person) -> Result<(), NotDone> {
        self.deeds.send_modify(|deeds| deeds.push(format!("{of} {press:?}")));
        if self.under(of).is_some() { Ok(()) } else { Err(NotDone::NotSoFar) }
    }

    async fn give_up(&self, of: &str, person: &Person) {
        self.deeds.send_modify(|deeds| deeds.push(format!("{of} given up by {}", person.name)));
        std::future::ready(()).await
    }

    fn ended(&self, of: &str) -> Option<Ended> {
        self.ended.borrow().as_ref().filter(|(name, _)| name == of).map(|(_, ended)| ended.clone())
    }

    async fn file(&self, of: String, note: Option<String>, person: &Person) -> Result<u64, NotDone> {
        self.deeds.send_modify(|deeds| deeds.push(format!("{of} put by {}: {note:?}", person.name)));
        std::future::ready(Ok(99)).await
    }

    async fn commissioning(
        &self,
        machine: String,
        rack: Option<u64>,
        _person: &Person,
    ) -> Result<Commissioning, Refusal> {
        if machine != "dm1" || rack.is_some_and(|rack| !(46..49).contains(&rack)) {
            return std::future::ready(Err(Refusal::Unknown)).await;
        }
        let plate = SignedPlate {
            kind: MachineKind::StationaryRackDualTemperature,
            sanitizing: Sanitizing::HotWater,
            rinse_limit_c: 82.2,
            rinse_limit_source: LimitSource::DataPlate,
            rinse_max_c: Some(90.0),
            wash_limit_c: 65.6,
            wash_limit_source: LimitSource::FoodCode,
            wash_s: 45.0,
            pause_s: 2.0,
            rinse_s: 12.0,
            dwell_s: 8.0,
            chemistry: None,
        };
        let open = vec![Open {
            text: "dm1/wash was never calibrated.".to_owned(),
            mend: Mend::Calibration("dm1/wash".to_owned()),
        }];
        let told = |record| TestRack {
            record,
            at: NOW.minus(Duration::from_secs((48 - record) * 60)),
            verdict: if record == 48 { Verdict::Cold } else { Verdict::Pass },
            figures: RackFigures {
                settled_c: Some(if record == 48 { 82.19 } else { 84.0 }),
                unjudged: None,
                limit_c: 82.2,
                off_range: None,
            },
        };
        let chosen = rack.unwrap_or(48);
        let others = [48, 47, 46].into_iter().filter(|record| *record != chosen).map(told).collect();
        let (probes, newest, mark) = (Vec::new(), Some(42), "4f1c".to_owned());
        Ok(Commissioning { plate, probes, open, tested: Some(told(chosen)), others, newest, mark })
    }

    async fn stood(&self, machine: String, _person: &Person) -> Result<Option<Stood>, Refusal> {
        let stood = self.stood.borrow().clone().filter(|_| machine == "dm1");
        std::future::ready(Ok(stood)).await
    }

    async fn sign(
        &self,
        machine: String,
        note: Option<String>,
        shown: Shown,
        person: &Person,
    ) -> Result<u64, NotDone> {
        let deed = format!(
            "{machine} signed by {} with {} open ({}, rack {:?}): {note:?}",
            person.name, shown.open, shown.mark, shown.rack
        );
        self.deeds.send_modify(|deeds| deeds.push(deed));
        std::future::ready(Ok(98)).await
    }

    async fn is_made(&self, machine: String, made: Made, record: u64) -> bool {
        let its = match made {
            Made::Proof => 16,
            Made::SignOff => 42,
        };
        std::future::ready(machine == "dm1" && record == its).await
    }

    async fn sheet(
        &self,
        _machine: String,
        _record: Option<u64>,
        _rack: Option<u64>,
        _person: &Person,
    ) -> Result<String, Refusal> {
        let sheet = "<!DOCTYPE html><style>p { margin: 0 }</style><p>Sheet";
        std::future::ready(Ok(sheet.to_owned())).await
    }
}

/// Somebody of this role who reads this language.
pub(super) fn person(role: Role, language: Language) -> Person {
    let reader = Reader { language, scale: Scale::Celsius, zone: TimeZone::UTC };
    Person { account: "ana".to_owned(), name: "Ana".to_owned(), role, reader }
}
