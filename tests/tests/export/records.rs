//! A record of each kind, made up.

use rinseward::core::access::{Right, Role};
use rinseward::core::alert::trial::{Fact, Told};
use rinseward::core::alert::{
    AlertNumber, Amended, ByProbe, Condition, Earlier, Occasion, Pattern, Quantity, Rack, Racks, Route,
};
use rinseward::core::channel::Place;
use rinseward::core::cycle::plate::{LimitSource, MachineKind, Sanitizing};
use rinseward::core::cycle::verdict::{Finding, Reason, Verdict};
use rinseward::core::reader::{Language, Scale};
use rinseward::core::reading::Fault;
use rinseward::core::record::Basis;
use rinseward::core::record::{
    AccessDeed, AccessEvent, AccessRefusal, AlertAcknowledged, AlertChanged, AlertCleared, AlertClosed,
    AlertRaised, Amendment, AmendmentChange, AskedChange, Body, Change, Check, CheckKind, Clearing, Clock,
    ClockStep, ConfigurationChange, Correction, CorrectiveAction, DialogWork, Gap, Import, KeyChange,
    LawfulHold, MachineFailure, Maintenance, MissedDue, Note, Notification, Outcome, ProvenProbe, Pruned,
    Record, Restored, SignedOff, SignedPlate, SignedProbe, SigningKeyChange, TestCycle, Unchanged,
    WiringProofDone, Worked,
};
use rinseward::core::sanitizer::Refusal;
use rinseward::core::signoff::OpenPoint;
use rinseward::core::time::Timestamp;
use rinseward::core::wiring::{Evidence, Off};

use crate::ledger::fixture::{at, cycle, start, stop};

/// A text that would be a formula, breaks the line and holds what CSV and JSON quote.
pub(crate) const HOSTILE: &str = "=HYPERLINK(\"http://x\",\"a, b\")\r\nsecond line «ü»";

const CONFIGURATION: &str = "[site]\nname = \"Harbour kitchen\"\ntime-zone = \"America/New_York\"\n\n\
    [[machine]]\nname = \"dm1\"\nkind = \"stationary-rack-dual-temperature\"\nwash-time = \"44s\"\n\
    rinse-time = \"12s\"\nprobes = [\"wash\", \"rinse\"]\n\n\
    [[machine]]\nname = \"dm2\"\nkind = \"stationary-rack-dual-temperature\"\nwash-time = \"44s\"\n\
    rinse-time = \"12s\"\nprobes = [\"rinse\"]\n";

/// Seconds after New Year at which the first cycle rinses: noon of 1 January in New York.
pub(crate) const NOON_S: f64 = 17.0 * 3_600.0;

/// A record of each kind, with and without what may be absent.
pub(crate) fn records() -> Vec<Record> {
    let alert = AlertNumber(1);
    let instant = at(NOON_S + 100.0);
    let mut cold = cycle("dm1", NOON_S, Verdict::Cold);
    if let Body::Cycle(cycle) = &mut cold.body {
        cycle.trace_sha256 = Some("11".repeat(32));
        cycle.reasons.extend(every_reason());
        cycle.findings = vec![
            Finding::WashLow { measured_c: 60.0, limit_c: 65.6 },
            Finding::RinseTooHot { measured_c: 95.0, limit_c: 90.0 },
            Finding::WashUnproven { fault: Some(Fault::Short) },
        ];
    }
    let strip = |mg_per_l| Check::Sanitizer {
        at: instant,
        mg_per_l,
        ph: Some(7.0),
        solution_c: Some(50.0),
        method: Some("-1+1".to_owned()),
        by: HOSTILE.to_owned(),
    };
    let mut records = vec![start(NOON_S - 60.0), cold];
    records.push(cycle("dm1", NOON_S + 120.0, Verdict::Pass));
    records.push(cycle("dm2", NOON_S + 240.0, Verdict::Narrow));
    let thermometer = Check::Thermometer {
        at: instant,
        what: "gauge".to_owned(),
        shown_c: -0.5,
        reference_c: 0.0,
        tolerance_c: 1.0,
        reference: "ice".to_owned(),
        by: "Ana".to_owned(),
    };
    let bare = Check::DrainAndClean { at: instant, note: None, by: "Ana".to_owned() };
    let supply = Check::Supply {
        at: instant,
        enough: false,
        short: Vec::new(),
        note: Some(HOSTILE.to_owned()),
        by: "Ana".to_owned(),
    };
    let amend = |of, change| {
        Body::Amendment(Box::new(Amendment { of, reason: "slip".to_owned(), by: "Tom".to_owned(), change }))
    };
    let bodies: Vec<(Option<&str>, Body)> = vec![
        (
            None,
            Body::ConfigurationChange(ConfigurationChange {
                sha256: "00".to_owned(),
                toml: CONFIGURATION.to_owned(),
            }),
        ),
        (Some("dm1"), gap(None)),
        (Some("dm1"), gap(Some(NOON_S + 400.0))),
        (Some("dm1"), Body::Check(strip(50.0))),
        (Some("dm1"), Body::Check(supply)),
        (Some("dm1"), Body::Check(bare)),
        (Some("dm1"), Body::Check(thermometer)),
        (None, Body::ClockStep(ClockStep { clock: Clock::Source, from: instant, to: at(0.0) })),
        (Some("dm2"), Body::MachineFailure(MachineFailure { cause: "index".to_owned(), stopped: false })),
        (Some("dm1"), Body::AlertRaised(Box::new(raised(alert, Some(1))))),
        (None, Body::AlertRaised(Box::new(raised(AlertNumber(2), None)))),
        (
            Some("dm1"),
            Body::AlertChanged(AlertChanged {
                alert,
                condition: Some(Condition::Cold),
                change: Change::Grew,
                racks: 2,
                pattern: Some(Pattern::Repeated),
                measured: Some(Quantity::Celsius(70.0)),
                limit: Some(Quantity::Celsius(82.2)),
                about: vec!["dm1/rinse".to_owned()],
                cause: Some(1),
                last_good: Some(0),
                earlier: None,
                missed: Some(MissedDue { check: CheckKind::Supply, due: instant, counts_from: instant }),
                released: Some("Ana".to_owned()),
                amended: Some(Box::new(Amended {
                    by: "Ana".to_owned(),
                    at: at(NOON_S),
                    of: Some(1),
                    was: Quantity::MgPerL(10.0),
                    counts: Some(Quantity::MgPerL(100.0)),
                })),
                worst: Some(Quantity::Celsius(70.0)),
            }),
        ),
        (
            Some("dm1"),
            Body::AlertAcknowledged(AlertAcknowledged {
                alert,
                by: "Ana".to_owned(),
                via: "command".to_owned(),
                note: Some("on it".to_owned()),
            }),
        ),
        (
            Some("dm1"),
            Body::AlertCleared(AlertCleared {
                alert,
                clearing: Clearing::Recovered,
                racks: 2,
                worst: Some(Quantity::Ph(10.5)),
                limit: Some(Quantity::Ph(10.0)),
                cause: None,
            }),
        ),
        (
            Some("dm1"),
            Body::CorrectiveAction(CorrectiveAction {
                alert,
                by: "Ana".to_owned(),
                racks: HOSTILE.to_owned(),
                done: "@SUM(A1)".to_owned(),
                last_good: Some(at(0.0)),
                covers: Some(2),
            }),
        ),
        (Some("dm1"), Body::AlertClosed(AlertClosed { alert, racks: 2, needed_action: true })),
        (None, Body::Notification(Box::new(notification(alert)))),
        (
            Some("dm1"),
            Body::Maintenance(Maintenance {
                until: instant,
                by: Some("Tom".to_owned()),
                why: Some("calibration of dm1/rinse".to_owned()),
                ended: true,
                begun: Some(at(0.0)),
                dialog: Some(DialogWork::Over),
                worked: vec![Worked { by: HOSTILE.to_owned(), why: Some("=1+1".to_owned()) }],
            }),
        ),
        (Some("dm1"), Body::Note(Note { at: Some(instant), text: HOSTILE.to_owned(), by: "Tom".to_owned() })),
        (Some("dm1"), amend(1, AmendmentChange::Comment)),
        (Some("dm1"), amend(7, AmendmentChange::Corrected(strip(100.0)))),
        (Some("dm1"), amend(8, AmendmentChange::Withdrawn)),
        (
            None,
            Body::SigningKey(Box::new(SigningKeyChange {
                key: "a+b+c".to_owned(),
                change: KeyChange::First,
                before: None,
                endorsed: None,
                by: None,
            })),
        ),
        (None, Body::LawfulHold(LawfulHold { on: true, reason: "case 7".to_owned(), by: "Tom".to_owned() })),
        (None, Body::Pruned(Pruned { before: at(0.0), readings: 12 })),
        (
            None,
            Body::Import(Import {
                file: "day.senml".to_owned(),
                sha256: "22".to_owned(),
                readings: 9,
                repeats: 1,
                from: Some(at(0.0)),
                to: None,
                by: "Tom".to_owned(),
            }),
        ),
        (None, Body::Restored(Restored { records: 3, root: "33".to_owned(), by: "Tom".to_owned() })),
        (Some("dm1"), Body::WiringProof(Box::new(proof(instant)))),
        (Some("dm1"), Body::SignOff(Box::new(signed(instant, true)))),
        (Some("dm1"), Body::SignOff(Box::new(signed(instant, false)))),
    ];
    let recorded = |(machine, body): (Option<&str>, Body)| {
        Record::new(at(NOON_S + 500.0), machine.map(str::to_owned), body)
    };
    records.extend(bodies.into_iter().map(recorded));
    records.extend(access(instant).into_iter().map(|body| recorded((None, body))));
    records.push(stop(NOON_S + 600.0));
    records
}

/// Everything that can happen to accounts and tokens.
fn access(instant: Timestamp) -> Vec<Body> {
    let (role, before) = (Role::Manager, Role::Operator);
    let refusals = [
        AccessRefusal::Wrong,
        AccessRefusal::Locked,
        AccessRefusal::Disabled,
        AccessRefusal::Expired,
        AccessRefusal::TooMany,
        AccessRefusal::NotAllowed,
        AccessRefusal::Foreign,
        AccessRefusal::Misdirected,
        AccessRefusal::UnknownToken,
    ];
    let deeds = [
        AccessDeed::LoggedIn,
        AccessDeed::LoggedOut,
        AccessDeed::ChangeRefused { asked: AskedChange::AddToken, why: Unchanged::Taken },
        AccessDeed::Locked { for_s: 900, there: false },
        AccessDeed::Locked { for_s: 900, there: true },
        AccessDeed::Unlocked,
        AccessDeed::Added { role, name: HOSTILE.to_owned() },
        AccessDeed::RoleChanged { role, before },
        AccessDeed::Disabled,
        AccessDeed::Enabled,
        AccessDeed::SecretReset,
        AccessDeed::PasswordChanged,
        AccessDeed::ReaderChanged { language: Language::Spanish, scale: Scale::Fahrenheit },
        AccessDeed::Removed,
        AccessDeed::TokenAdded { role, until: instant },
        AccessDeed::TokenRevoked,
    ];
    let all = deeds.into_iter().chain(refusals.map(AccessDeed::Refused)).zip(1..);
    let event = |(what, times): (AccessDeed, u32)| {
        let told = times % 2 == 0;
        let (at, by) = (told.then_some(instant), told.then(|| "Tom (user tom)".to_owned()));
        let from = told.then(|| "192.0.2.7".to_owned());
        let right = (what == AccessDeed::Refused(AccessRefusal::NotAllowed)).then_some(Right::Measure);
        let account = "ana".to_owned();
        Body::Access(Box::new(AccessEvent { account, what, at, from, by, times, right }))
    };
    all.map(event).collect()
}

fn every_reason() -> Vec<Reason> {
    vec![
        Reason::DwellTooShort { dwell_s: 3.0, required_s: 9.0 },
        Reason::RinseAborted { rinse_s: 2.0 },
        Reason::Concentration { refusal: Refusal::TooWeak, mg_per_l: 10.0, limit: Some(25.0) },
        Reason::NoConcentrationCheck,
        Reason::GapInRinse { gap_s: 3.0 },
        Reason::TooFewReadings { readings: 1, needed: 4 },
        Reason::ProbeTooSlow,
        Reason::EndNotSeen,
        Reason::ClockStep,
        Reason::TooSoon { after_s: 12.0, needed_s: 30.0 },
        Reason::Faint { change_c: 1.0 },
        Reason::TankUnseen,
        Reason::WorkedOn,
        Reason::InsideUncertainty { margin_c: 0.5, uncertainty_c: 1.0 },
    ]
}

fn gap(to_s: Option<f64>) -> Body {
    let (probe, fault) = ("dm1/rinse".to_owned(), Fault::OpenCircuit);
    Body::Gap(Gap { probe, fault, from: at(NOON_S + 300.0), to: to_s.map(at), filled: false })
}

fn raised(alert: AlertNumber, cause: Option<u64>) -> AlertRaised {
    AlertRaised {
        alert,
        condition: if cause.is_some() { Condition::Cold } else { Condition::DiskFilling },
        since: at(NOON_S),
        place: cause.map(|_| Place::FinalRinse),
        measured: Some(if cause.is_some() { Quantity::Celsius(71.3) } else { Quantity::Fraction(0.05) }),
        limit: cause.map(|_| Quantity::Celsius(82.2)),
        pattern: cause.map(|_| Pattern::FirstAfterIdle),
        about: Vec::new(),
        cause,
        last_good: cause.map(|_| 0),
        earlier: cause.map(|index| Earlier {
            racks: Racks::of(Rack { index, at: at(NOON_S), began: Some(at(NOON_S - 12.0)) }),
            by_probe: Some(ByProbe {
                probe: "dm1/rinse".to_owned(),
                place: Place::FinalRinse,
                within_k: Some(1.5),
            }),
            beside: Racks::of(Rack { index, at: at(NOON_S), began: None }),
        }),
        missed: cause.map(|_| MissedDue {
            check: CheckKind::Sanitizer,
            due: at(NOON_S),
            counts_from: at(NOON_S - 3_600.0),
        }),
    }
}

fn notification(alert: AlertNumber) -> Notification {
    Notification {
        key: "1-1-ana".to_owned(),
        alert: Some(alert),
        occasion: Some(Occasion::Raised),
        contact: "ana".to_owned(),
        route: Route::Email("ana@example.org".to_owned()),
        outcome: Outcome::GivenUp,
        attempts: 8,
        error: Some("550".to_owned()),
        why: Some(
            Told::from(Fact::EndedAt { stage: "recipient".to_owned() }).at("mx.example").because("550"),
        ),
    }
}

fn proof(at: Timestamp) -> WiringProofDone {
    let (from_c, to_c, c_per_min) = (22.0, 31.5, -1.5);
    let rose = |off, unseen| Evidence::Rose { from_c, to_c, off, unseen };
    let every = [
        rose(None, Vec::new()),
        rose(Some(Off::Hand { max_c: 42.0 }), vec![HOSTILE.to_owned()]),
        rose(Some(Off::Water { water_c: 45.0 }), Vec::new()),
        rose(Some(Off::Rest), Vec::new()),
        Evidence::StillRose { from_c, to_c, c_per_min: None },
        Evidence::StillRose { from_c, to_c, c_per_min: Some(4.0) },
        Evidence::RoseWith { rise_c: 9.5, other_c: 9.0 },
        Evidence::OtherRose { other_c: 9.5, same_machine: true },
        Evidence::TooWarm { at_c: 68.0, warmest_c: 40.5 },
        Evidence::Fell { from_c, to_c: 13.0 },
        Evidence::Cooled { c_per_min, from_c, to_c: 19.0 },
        Evidence::Moved { c_per_min },
        Evidence::Stayed { at_c: 22.0, rise_c: 0.1, least_c: 2.0 },
        Evidence::NoValue { fault: None },
        Evidence::NoValue { fault: Some(Fault::OpenCircuit) },
    ];
    let probe = |seen| ProvenProbe {
        probe: "dm1/rinse".to_owned(),
        good: false,
        finding: "swapped".to_owned(),
        seen,
        instead: Some("dm1/wash".to_owned()),
    };
    WiringProofDone { at, probes: every.map(probe).to_vec(), good: false, by: HOSTILE.to_owned() }
}

/// A sign-off with everything that may be absent, or without it.
fn signed(at: Timestamp, full: bool) -> SignedOff {
    let (probe, until) = ("dm1/rinse".to_owned(), "2026-01-02".to_owned());
    let plate = SignedPlate {
        kind: MachineKind::StationaryRackDualTemperature,
        sanitizing: Sanitizing::HotWater,
        rinse_limit_c: 82.2,
        rinse_limit_source: LimitSource::DataPlate,
        rinse_max_c: full.then_some(90.0),
        wash_limit_c: 66.0,
        wash_limit_source: LimitSource::FoodCode,
        wash_s: 44.0,
        pause_s: 3.0,
        rinse_s: 12.0,
        dwell_s: 6.0,
        chemistry: None,
    };
    let each = SignedProbe {
        probe: probe.clone(),
        place: Place::FinalRinse,
        signal: "thermocouple K".to_owned(),
        calibration: full.then_some(3),
        correction: full.then_some(Correction { gain: 1.0, offset_c: -0.4 }),
        calibrated_on: full.then(|| until.clone()),
        until: full.then(|| until.clone()),
        response: full.then_some(4),
        proof: None,
        tau_s: full.then_some(1.5),
        expanded_c: 1.78,
        near_c: 82.2,
    };
    let tested = TestCycle { record: 2, verdict: Verdict::Pass, rinse_min_c: Some(84.6), basis: Basis::Raw };
    SignedOff {
        at,
        site: HOSTILE.to_owned(),
        plate,
        probes: vec![each],
        wiring_proof: full.then_some(5),
        test_cycle: full.then_some(tested),
        open_points: if full { every_point(&probe, &until, at) } else { Vec::new() },
        note: full.then(|| HOSTILE.to_owned()),
        by: HOSTILE.to_owned(),
    }
}

fn every_point(probe: &str, until: &str, at: Timestamp) -> Vec<OpenPoint> {
    let (probe, until) = (|| probe.to_owned(), || until.to_owned());
    let finding = "swapped".to_owned();
    vec![
        OpenPoint::RinseLimitOfFoodCode { limit_c: 82.2 },
        OpenPoint::WashLimitOfFoodCode { limit_c: 66.0 },
        OpenPoint::NotCalibrated { probe: probe() },
        OpenPoint::CalibrationDoubted { probe: probe(), record: 7 },
        OpenPoint::ResponseDoubted { probe: probe(), record: 8 },
        OpenPoint::CalibrationOverdue { probe: probe(), until: until() },
        OpenPoint::CalibrationDue { probe: probe(), until: until() },
        OpenPoint::Uncertain { probe: probe(), expanded_c: 1.78, granted_c: 1.5 },
        OpenPoint::NoResponse { probe: probe() },
        OpenPoint::TooSlow { probe: probe(), tau_s: 6.0, rinse_s: 12.0 },
        OpenPoint::WiringNotProved,
        OpenPoint::WiringNotGood { probe: Some(probe()), finding: finding.clone() },
        OpenPoint::WiringNotGood { probe: None, finding },
        OpenPoint::WiringLeftOut { probe: probe() },
        OpenPoint::WiringOutdated { since: Some(at) },
        OpenPoint::WiringOutdated { since: None },
        OpenPoint::NoTestCycle,
        OpenPoint::TestCycleOutdated { record: 2 },
        OpenPoint::TestCycleNotGood { record: 2, verdict: Verdict::Unproven, worked_on: true },
        OpenPoint::TestCycleFinding {
            record: 2,
            found: Finding::WashLow { measured_c: 60.0, limit_c: 66.0 },
        },
        OpenPoint::OpenAlert { alert: AlertNumber(7), condition: Condition::ProbeSilent },
    ]
}
