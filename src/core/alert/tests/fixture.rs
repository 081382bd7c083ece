//! A site of two machines and three contacts, and a clock to drive its desk with.

use std::collections::BTreeMap;
use std::time::Duration;

use jiff::tz::TimeZone;

use crate::core::alert::{
    Alert, Condition, Contact, Desk, Effects, Event, Health, Hours, MachineSettings, Notice, Occasion,
    Period, Refusal, Route, Rules, Settings,
};
use crate::core::cycle::plate::{LimitSource, MachineKind, Sanitizing};
use crate::core::cycle::verdict::{Finding, Reason, Verdict};
use crate::core::reader::{Language, Scale};
use crate::core::reading::Fault;
use crate::core::record::{
    Basis, Body, Check, CheckKind, Cycle, DoseBasis, Gap, Notification, Outcome, Record, Rule, WindowFrom,
};
use crate::core::sanitizer;
use crate::core::time::Timestamp;
use crate::core::units::Celsius;

/// Monday, 23 November 2026, noon UTC, in minutes after it.
pub(super) fn at(minutes: f64) -> Timestamp {
    let noon: Timestamp = "2026-11-23T12:00:00Z".parse().expect("an instant");
    if minutes < 0.0 {
        noon.minus(Duration::from_secs_f64(-minutes * 60.0))
    } else {
        noon.plus(Duration::from_secs_f64(minutes * 60.0))
    }
}

pub(super) fn hours(spans: &[&str]) -> Hours {
    Hours::parse(spans.iter().copied()).expect("hours")
}

pub(super) fn contact(name: &str, step: u8, spans: Option<&[&str]>) -> Contact {
    Contact {
        name: name.to_owned(),
        role: None,
        step,
        last_resort: step == 0,
        routes: vec![Route::Email(format!("{name}@example.org"))],
        hours: spans.map(hours),
        language: Language::English,
        units: Scale::Fahrenheit,
    }
}

/// `hot` sanitizes by heat, `chem` by chlorine. Ana is told first, then Ben, both
/// from 06:00 to 22:00 UTC; Eve is the last resort.
pub(super) fn settings() -> Settings {
    let day: &[&str] = &["mon-sun 06:00-22:00"];
    let machine = |name: &str, chemical: bool| MachineSettings {
        sanitizer: chemical.then(|| (Sanitizing::Chlorine, sanitizer::Rules::default())),
        tank_min: Some(Celsius(65.6)),
        rinse_probe: Some(format!("{name}/rinse")),
        wash_probe: Some(format!("{name}/wash")),
        calibrated_until: BTreeMap::new(),
        calibrated_on: BTreeMap::new(),
    };
    Settings {
        zone: TimeZone::UTC,
        machines: BTreeMap::from([
            ("hot".to_owned(), machine("hot", false)),
            ("chem".to_owned(), machine("chem", true)),
        ]),
        contacts: vec![contact("ana", 1, Some(day)), contact("ben", 2, Some(day)), contact("eve", 0, None)],
        shifts: Vec::new(),
        meal_periods: Vec::new(),
        open: None,
        rules: Rules::default(),
    }
}

pub(super) fn period(name: &str, spans: &[&str]) -> Period {
    Period { name: name.to_owned(), hours: hours(spans) }
}

/// A passing cycle of three quarters of a minute that ends at this instant.
pub(super) fn cycle(ended: Timestamp) -> Cycle {
    let before = |seconds| ended.minus(Duration::from_secs(seconds));
    Cycle {
        started: before(58),
        rinse_started: before(10),
        rinse_ended: ended,
        received: ended,
        machine_kind: MachineKind::StationaryRackDualTemperature,
        sanitizing: Sanitizing::HotWater,
        window_from: WindowFrom::Trace,
        verdict: Verdict::Pass,
        reasons: Vec::new(),
        findings: Vec::new(),
        rinse_min_c: Some(85.0),
        rinse_min_raw_c: Some(85.0),
        rinse_min_corrected_c: None,
        basis: Basis::Raw,
        limit_c: 82.2,
        limit_source: LimitSource::FoodCode,
        rinse_peak_c: Some(86.0),
        settled_after_s: Some(2.0),
        dwell_s: 8.0,
        dwell_required_s: 5.0,
        area_below_c_s: 0.0,
        wash_min_c: Some(68.0),
        wash_limit_c: 65.6,
        a0: 40.0,
        hue: 3_600.0,
        dose_basis: DoseBasis::WaterSideEstimate,
        uncertainty_c: 0.8,
        conformance: None,
        rule: Rule::SimpleAcceptance,
        concentration_mg_per_l: None,
        ph: None,
        rinse_readings: 40,
        spikes: 0,
        trace_sha256: None,
    }
}

/// A thermometer in ice and water, good to 1 °C.
pub(super) fn in_ice(at: Timestamp, what: &str, shown_c: f64) -> Check {
    Check::Thermometer {
        at,
        what: what.to_owned(),
        shown_c,
        reference_c: 0.0,
        tolerance_c: 1.0,
        reference: "ice bath".to_owned(),
        by: "ana".to_owned(),
    }
}

/// One kind of cycle, as the tables below name it.
#[derive(Clone, Copy, PartialEq, Debug)]
pub(super) enum Rack {
    Good,
    Minimum(f64),
    Narrow,
    Cold,
    Brief,
    Weak,
    WashLow,
    /// Its wash probe was at fault in a wash that was not seen to be low.
    WashUnproven,
    Hot,
    Fault(Fault),
    /// Below the limit by the readings there were, with a probe that was at fault meanwhile.
    ColdWithFault,
    NoCheck,
    Gappy,
    /// Cold and too hot by its readings, made while somebody worked on the machine.
    WorkedOn,
}

impl Rack {
    pub(super) fn cycle(self, ended: Timestamp) -> Cycle {
        let mut cycle = cycle(ended);
        let unproven = |cycle: &mut Cycle, reason| {
            cycle.verdict = Verdict::Unproven;
            cycle.reasons = vec![reason];
            cycle.rinse_min_c = None;
        };
        match self {
            Self::Good => {}
            Self::Minimum(minimum) => cycle.rinse_min_c = Some(minimum),
            Self::Narrow => {
                cycle.verdict = Verdict::Narrow;
                cycle.rinse_min_c = Some(82.5);
            }
            Self::Cold => {
                cycle.verdict = Verdict::Cold;
                cycle.rinse_min_c = Some(71.0);
                cycle.reasons = vec![Reason::RinseBelowLimit { measured_c: 71.0, limit_c: 82.2 }];
            }
            Self::Brief => {
                cycle.verdict = Verdict::Brief;
                cycle.dwell_s = 2.0;
                cycle.reasons = vec![Reason::DwellTooShort { dwell_s: 2.0, required_s: 5.0 }];
            }
            Self::Weak => {
                cycle.verdict = Verdict::Weak;
                cycle.concentration_mg_per_l = Some(20.0);
            }
            Self::WashLow => cycle.findings = vec![Finding::WashLow { measured_c: 60.0, limit_c: 65.6 }],
            Self::WashUnproven => {
                cycle.findings = vec![Finding::WashUnproven { fault: Some(Fault::OpenCircuit) }];
                cycle.wash_min_c = None;
            }
            Self::Hot => cycle.findings = vec![Finding::RinseTooHot { measured_c: 92.0, limit_c: 90.0 }],
            Self::Fault(fault) => unproven(&mut cycle, Reason::RinseProbe { fault }),
            Self::ColdWithFault => {
                let below = Reason::RinseBelowLimit { measured_c: 60.0, limit_c: 82.2 };
                cycle.reasons = vec![below, Reason::GapInRinse { gap_s: 6.0 }];
                cycle.put_in_doubt(Reason::RinseProbe { fault: Fault::OpenCircuit });
            }
            Self::NoCheck => unproven(&mut cycle, Reason::NoConcentrationCheck),
            Self::WorkedOn => {
                cycle.findings = vec![Finding::RinseTooHot { measured_c: 99.0, limit_c: 90.0 }];
                cycle.reasons = vec![Reason::RinseBelowLimit { measured_c: 0.1, limit_c: 82.2 }];
                cycle.put_in_doubt(Reason::WorkedOn);
            }
            Self::Gappy => unproven(&mut cycle, Reason::GapInRinse { gap_s: 4.0 }),
        }
        if self == Self::WashLow {
            cycle.wash_min_c = Some(60.0);
        }
        cycle
    }
}

/// A desk on its clock.
#[derive(Debug)]
pub(super) struct Play {
    pub(super) desk: Desk,
    pub(super) settings: Settings,
    pub(super) now: Timestamp,
    /// Index of the next record.
    pub(super) next: u64,
    pub(super) effects: Effects,
    /// Whether the desk is stored and brought back before every event.
    pub(super) restores: bool,
}

impl Play {
    pub(super) fn new(settings: Settings) -> Self {
        let desk = Desk::new(settings.clone());
        let mut play =
            Self { desk, settings, now: at(-1.0), next: 0, effects: Effects::default(), restores: false };
        play.handle(Event::Tick).expect("time is never refused");
        play
    }

    pub(super) fn handle(&mut self, event: Event<'_>) -> Result<(), Refusal> {
        if self.restores {
            self.desk = Desk::restore(self.settings.clone(), &self.desk.state()).expect("its own state");
        }
        self.desk.handle(self.now, event, &mut self.effects)
    }

    /// Lets time pass, with a tick at each deadline.
    pub(super) fn until(&mut self, minutes: f64) {
        let to = at(minutes);
        while let Some(due) = self.desk.deadline().filter(|due| *due <= to) {
            self.now = self.now.max(due);
            self.handle(Event::Tick).expect("time is never refused");
            let next = self.desk.deadline();
            assert!(
                next.is_none_or(|next| next > self.now),
                "nothing is due twice: {next:?} at {}",
                self.now
            );
        }
        self.now = self.now.max(to);
    }

    pub(super) fn record(&mut self, machine: &str, body: Body) {
        self.commit(Some(machine.to_owned()), body);
    }

    /// Commits a record of a machine, or of the site.
    pub(super) fn commit(&mut self, machine: Option<String>, body: Body) {
        let record = Record::new(self.now, machine, body);
        let index = self.next;
        self.next += 1;
        self.handle(Event::Record { index, record: &record }).expect("a record is never refused");
    }

    /// Gives what the desk said since its place on record, as the ledger does: the next record comes behind it.
    pub(super) fn put_down(&mut self) -> Vec<(u64, Record)> {
        let own: Vec<(u64, Record)> = (self.next..).zip(std::mem::take(&mut self.effects.records)).collect();
        self.next += own.len() as u64;
        own
    }

    /// A rack that ends at this minute.
    pub(super) fn rack(&mut self, minutes: f64, machine: &str, rack: Rack) {
        self.until(minutes);
        self.record(machine, Body::Cycle(Box::new(rack.cycle(self.now))));
    }

    /// Racks one after another, a minute apart, from this minute on.
    pub(super) fn racks(&mut self, minutes: f64, machine: &str, racks: &[Rack]) {
        for (place, rack) in racks.iter().enumerate() {
            self.rack(minutes + place as f64, machine, *rack);
        }
    }

    pub(super) fn gap(&mut self, minutes: f64, probe: &str, fault: Fault, over: bool) {
        self.until(minutes);
        let from = self.now.minus(Duration::from_secs(30));
        let gap = Gap { probe: probe.to_owned(), fault, from, to: over.then_some(self.now), filled: false };
        let machine = probe.split('/').next().unwrap_or_default().to_owned();
        self.record(&machine, Body::Gap(gap));
    }

    pub(super) fn check(&mut self, minutes: f64, machine: &str, kind: CheckKind) {
        self.until(minutes);
        let (at, by) = (self.now, "ana".to_owned());
        let check = match kind {
            CheckKind::Sanitizer => {
                Check::Sanitizer { at, mg_per_l: 100.0, ph: None, solution_c: None, method: None, by }
            }
            CheckKind::Supply => Check::Supply { at, enough: true, short: Vec::new(), note: None, by },
            CheckKind::DrainAndClean => Check::DrainAndClean { at, note: None, by },
            CheckKind::Thermometer => in_ice(at, &format!("{machine}/rinse"), 0.2),
        };
        self.record(machine, Body::Check(check));
    }

    pub(super) fn health(&mut self, minutes: f64, health: Health) {
        self.until(minutes);
        self.handle(Event::Health(health)).expect("health is never refused");
    }

    pub(super) fn tank(&mut self, minutes: f64, machine: &str, celsius: Option<f64>) {
        self.until(minutes);
        let (at, celsius) = (self.now, celsius.map(Celsius));
        self.handle(Event::Tank { machine, at, celsius }).expect("a reading is never refused");
    }

    /// The letter of a notice by its first route was delivered, or given up.
    pub(super) fn letter(&mut self, minutes: f64, notice: &Notice, outcome: Outcome) {
        self.until(minutes);
        let body = Notification {
            key: notice.key.clone(),
            alert: Some(notice.alert.number),
            occasion: Some(notice.occasion),
            contact: notice.contact.clone(),
            route: notice.routes[0].clone(),
            outcome,
            attempts: 8,
            error: None,
            why: None,
        };
        self.record("", Body::Notification(Box::new(body)));
    }

    pub(super) fn open(&self, condition: Condition) -> Option<&Alert> {
        self.desk.alerts().find(|alert| alert.condition == condition)
    }

    /// The words of all records of alerts so far.
    pub(super) fn story(&self) -> Vec<&'static str> {
        self.effects.records.iter().map(|record| record.body.kind()).collect()
    }

    /// Who was told what so far: contact and occasion.
    pub(super) fn told(&self) -> Vec<(&str, Occasion)> {
        self.effects.notices.iter().map(|notice| (notice.contact.as_str(), notice.occasion)).collect()
    }
}
