//! Each open point by a sign-off that has nothing else against it, and those that nearly have it.

use super::lapse::{Lapse, lapses};
use super::*;
use crate::core::cycle::plate::{MachineKind, Sanitizing};
use crate::core::cycle::verdict::Reason;
use crate::core::reading::Fault;
use crate::core::record::{Basis, DoseBasis, ProvenProbe, Rule, SignedOff, WindowFrom, WiringProofDone};
use crate::core::wiring::Evidence;

fn at(seconds: f64) -> Timestamp {
    Timestamp::from_seconds(seconds).expect("a small number of seconds")
}

/// A machine with nothing open.
struct Kitchen {
    plate: SignedPlate,
    probes: Vec<SignedProbe>,
    proof: Option<WiringProofDone>,
    rewired: Option<Option<Timestamp>>,
    cycle: Option<(u64, Cycle)>,
    alerts: Vec<(AlertNumber, Condition)>,
    doubted: Vec<OpenPoint>,
}

impl Kitchen {
    fn new() -> Self {
        let proven = |probe: &str| ProvenProbe {
            probe: probe.to_owned(),
            good: true,
            finding: "answers".to_owned(),
            seen: Evidence::Rose { from_c: 22.0, to_c: 31.0, off: None, unseen: Vec::new() },
            instead: None,
        };
        Self {
            plate: SignedPlate {
                kind: MachineKind::StationaryRackDualTemperature,
                sanitizing: Sanitizing::HotWater,
                rinse_limit_c: 83.0,
                rinse_limit_source: LimitSource::DataPlate,
                rinse_max_c: Some(90.0),
                wash_limit_c: 66.0,
                wash_limit_source: LimitSource::Site,
                wash_s: 45.0,
                pause_s: 3.0,
                rinse_s: 12.0,
                dwell_s: 6.0,
                chemistry: None,
            },
            probes: vec![probe("dm1/wash", Place::WashTank), probe("dm1/rinse", Place::FinalRinse)],
            proof: Some(WiringProofDone {
                at: at(100.0),
                probes: vec![proven("dm1/wash"), proven("dm1/rinse")],
                good: true,
                by: "Tom".to_owned(),
            }),
            rewired: None,
            cycle: Some((9, cycle())),
            alerts: Vec::new(),
            doubted: Vec::new(),
        }
    }

    fn points(&self) -> Vec<OpenPoint> {
        let mut proofs = Proofs::default();
        if let Some(proof) = &self.proof {
            proofs.take(5, at(100.0), proof);
        }
        open_points(&Seen {
            today: "2026-11-26".parse().expect("a day"),
            plate: &self.plate,
            probes: &self.probes,
            doubted: &self.doubted,
            proofs: &proofs,
            rewired: self.rewired,
            proved_at: Some(at(100.0)),
            cycle: self.cycle.as_ref().map(|(record, cycle)| (*record, cycle)),
            alerts: &self.alerts,
        })
    }

    fn rinse(&mut self) -> &mut SignedProbe {
        &mut self.probes[1]
    }

    fn tried(&mut self) -> &mut Cycle {
        &mut self.cycle.as_mut().expect("it has one").1
    }

    fn proved(&mut self) -> &mut WiringProofDone {
        self.proof.as_mut().expect("it has one")
    }
}

fn probe(name: &str, place: Place) -> SignedProbe {
    SignedProbe {
        probe: name.to_owned(),
        place,
        signal: "celsius".to_owned(),
        calibration: Some(3),
        correction: None,
        calibrated_on: None,
        until: Some("2027-11-25".to_owned()),
        response: Some(4),
        proof: Some(5),
        tau_s: Some(1.5),
        expanded_c: 0.6,
        near_c: 83.0,
    }
}

fn cycle() -> Cycle {
    Cycle {
        started: at(200.0),
        rinse_started: at(248.0),
        rinse_ended: at(260.0),
        received: at(261.0),
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
        limit_c: 83.0,
        limit_source: LimitSource::DataPlate,
        rinse_peak_c: Some(86.0),
        settled_after_s: Some(2.0),
        dwell_s: 9.0,
        dwell_required_s: 6.0,
        area_below_c_s: 0.0,
        wash_min_c: Some(67.0),
        wash_limit_c: 66.0,
        a0: 40.0,
        hue: 3_700.0,
        dose_basis: DoseBasis::WaterSideEstimate,
        uncertainty_c: 0.6,
        conformance: Some(1.0),
        rule: Rule::SimpleAcceptance,
        concentration_mg_per_l: None,
        ph: None,
        rinse_readings: 48,
        spikes: 0,
        trace_sha256: None,
    }
}

/// What is done to the machine, and the one point that it leaves open, if any.
type Row = (&'static str, fn(&mut Kitchen), Option<OpenPoint>);

fn rinse() -> String {
    "dm1/rinse".to_owned()
}

fn not_good(verdict: Verdict) -> Option<OpenPoint> {
    Some(OpenPoint::TestCycleNotGood { record: 9, verdict, worked_on: false })
}

fn check(rows: Vec<Row>) {
    for (what, done, expected) in rows {
        let mut kitchen = Kitchen::new();
        done(&mut kitchen);
        let expected: Vec<OpenPoint> = expected.into_iter().collect();
        assert_eq!(kitchen.points(), expected, "{what}");
    }
}

// ±1.5 °C: Food Code 4-203.12 as read in DC 25-A 1511. Three time constants within half of the
// rinse, 30 days: this project's own choice.
#[test]
fn probes_and_limits_leave_points_open() {
    check(vec![
        ("nothing", |_| {}, None),
        (
            "no limit of the rinse on the plate",
            |k| k.plate.rinse_limit_source = LimitSource::FoodCode,
            Some(OpenPoint::RinseLimitOfFoodCode { limit_c: 83.0 }),
        ),
        (
            "no limit of the wash on the plate",
            |k| k.plate.wash_limit_source = LimitSource::FoodCode,
            Some(OpenPoint::WashLimitOfFoodCode { limit_c: 66.0 }),
        ),
        (
            "never calibrated",
            |k| k.rinse().calibration = None,
            Some(OpenPoint::NotCalibrated { probe: rinse() }),
        ),
        (
            "a calibration in doubt",
            |k| {
                k.rinse().calibration = None;
                k.doubted = vec![OpenPoint::CalibrationDoubted { probe: rinse(), record: 7 }];
            },
            Some(OpenPoint::CalibrationDoubted { probe: rinse(), record: 7 }),
        ),
        (
            "a response test in doubt",
            |k| {
                k.rinse().tau_s = None;
                k.doubted = vec![OpenPoint::ResponseDoubted { probe: rinse(), record: 8 }];
            },
            Some(OpenPoint::ResponseDoubted { probe: rinse(), record: 8 }),
        ),
        (
            "calibrated as configured",
            |k| {
                k.rinse().calibration = None;
                k.rinse().calibrated_on = Some("2026-11-01".to_owned());
            },
            None,
        ),
        (
            "a probe that is not judged",
            |k| {
                k.rinse().place = Place::Ware;
                k.rinse().calibration = None;
                k.rinse().tau_s = None;
                k.rinse().expanded_c = 9.0;
            },
            None,
        ),
        ("due today", |k| k.rinse().until = Some("2026-11-26".to_owned()), due("2026-11-26", false)),
        ("due in 29 days", |k| k.rinse().until = Some("2026-12-25".to_owned()), due("2026-12-25", false)),
        ("due in 30 days", |k| k.rinse().until = Some("2026-12-26".to_owned()), None),
        ("overdue by a day", |k| k.rinse().until = Some("2026-11-25".to_owned()), due("2026-11-25", true)),
        ("no day at all", |k| k.rinse().until = Some("soon".to_owned()), due("soon", true)),
        ("no due date", |k| k.rinse().until = None, None),
        ("as certain as granted", |k| k.rinse().expanded_c = 1.5, None),
        (
            "less certain than granted",
            |k| k.rinse().expanded_c = 1.51,
            Some(OpenPoint::Uncertain { probe: rinse(), expanded_c: 1.51, granted_c: 1.5 }),
        ),
        ("no time constant", |k| k.rinse().tau_s = None, Some(OpenPoint::NoResponse { probe: rinse() })),
        ("no time constant in the tank", |k| k.probes[0].tau_s = None, None),
        ("just fast enough", |k| k.rinse().tau_s = Some(2.0), None),
        (
            "too slow",
            |k| k.rinse().tau_s = Some(2.01),
            Some(OpenPoint::TooSlow { probe: rinse(), tau_s: 2.01, rinse_s: 12.0 }),
        ),
    ]);
}

fn due(until: &str, over: bool) -> Option<OpenPoint> {
    let (probe, until) = (rinse(), until.to_owned());
    Some(if over {
        OpenPoint::CalibrationOverdue { probe, until }
    } else {
        OpenPoint::CalibrationDue { probe, until }
    })
}

// This project's own rules.
#[test]
fn wiring_cycle_and_alerts_leave_points_open() {
    check(vec![
        ("never proved", |k| k.proof = None, Some(OpenPoint::WiringNotProved)),
        (
            "a probe is reversed",
            |k| {
                k.proved().good = false;
                k.proved().probes[1].good = false;
                k.proved().probes[1].finding = "reversed".to_owned();
            },
            Some(OpenPoint::WiringNotGood { probe: Some(rinse()), finding: "reversed".to_owned() }),
        ),
        (
            "the whole is not good",
            |k| k.proved().good = false,
            Some(OpenPoint::WiringNotGood { probe: None, finding: String::new() }),
        ),
        (
            "a probe was not tried",
            |k| k.proved().probes.truncate(1),
            Some(OpenPoint::WiringLeftOut { probe: rinse() }),
        ),
        (
            "configured anew since",
            |k| k.rewired = Some(Some(at(150.0))),
            Some(OpenPoint::WiringOutdated { since: Some(at(150.0)) }),
        ),
        ("no cycle", |k| k.cycle = None, Some(OpenPoint::NoTestCycle)),
        (
            "a cycle from before",
            |k| k.tried().started = at(99.0),
            Some(OpenPoint::TestCycleOutdated { record: 9 }),
        ),
        ("narrow", |k| k.tried().verdict = Verdict::Narrow, None),
        ("cold", |k| k.tried().verdict = Verdict::Cold, not_good(Verdict::Cold)),
        ("brief", |k| k.tried().verdict = Verdict::Brief, not_good(Verdict::Brief)),
        ("weak", |k| k.tried().verdict = Verdict::Weak, not_good(Verdict::Weak)),
        ("unproven", |k| k.tried().verdict = Verdict::Unproven, not_good(Verdict::Unproven)),
        (
            "a probe at fault",
            |k| k.tried().put_in_doubt(Reason::RinseProbe { fault: Fault::Stuck }),
            not_good(Verdict::Unproven),
        ),
        (
            "somebody worked on it",
            |k| k.tried().put_in_doubt(Reason::WorkedOn),
            Some(OpenPoint::TestCycleNotGood { record: 9, verdict: Verdict::Unproven, worked_on: true }),
        ),
        (
            "the wash was low",
            |k| k.tried().findings = vec![Finding::WashLow { measured_c: 60.0, limit_c: 66.0 }],
            Some(OpenPoint::TestCycleFinding {
                record: 9,
                found: Finding::WashLow { measured_c: 60.0, limit_c: 66.0 },
            }),
        ),
        (
            "an alert is open",
            |k| k.alerts = vec![(AlertNumber(7), Condition::ProbeSilent)],
            Some(OpenPoint::OpenAlert { alert: AlertNumber(7), condition: Condition::ProbeSilent }),
        ),
    ]);
}

// What stands on record must read back for ever.
#[test]
fn open_points_keep_their_form() {
    for (point, json) in [
        (OpenPoint::WiringNotProved, r#"{"point":"wiring-not-proved"}"#),
        (OpenPoint::WiringOutdated { since: None }, r#"{"point":"wiring-outdated"}"#),
        (
            OpenPoint::OpenAlert { alert: AlertNumber(7), condition: Condition::ProbeSilent },
            r#"{"point":"open-alert","alert":7,"condition":"probe-silent"}"#,
        ),
        (
            OpenPoint::TestCycleNotGood { record: 9, verdict: Verdict::Cold, worked_on: false },
            r#"{"point":"test-cycle-not-good","record":9,"verdict":"cold"}"#,
        ),
        (
            OpenPoint::TestCycleNotGood { record: 9, verdict: Verdict::Unproven, worked_on: true },
            r#"{"point":"test-cycle-not-good","record":9,"verdict":"unproven","worked_on":true}"#,
        ),
        (
            OpenPoint::TestCycleFinding { record: 9, found: Finding::WashUnproven { fault: None } },
            r#"{"point":"test-cycle-finding","record":9,"found":{"finding":"wash-unproven","fault":null}}"#,
        ),
    ] {
        assert_eq!(serde_json::to_string(&point).expect("it has a JSON form"), json);
        assert_eq!(serde_json::from_str::<OpenPoint>(json).expect("its own form"), point);
    }
}

/// The machine as it was signed, its wash limit that of the Food Code and accepted so.
fn signed_off() -> SignedOff {
    let Kitchen { plate, probes, .. } = Kitchen::new();
    SignedOff {
        at: at(300.0),
        site: "kitchen".to_owned(),
        plate,
        probes,
        wiring_proof: Some(5),
        test_cycle: None,
        open_points: vec![OpenPoint::WashLimitOfFoodCode { limit_c: 66.0 }],
        note: None,
        by: "Eli".to_owned(),
    }
}

/// What is done to the machine after its sign-off, and what is not as it was signed.
type Lapsed = (&'static str, fn(&mut SignedOff), Vec<Lapse>);

// Own rule, see the head of this module; the limit of the Food Code was accepted.
#[test]
fn what_changed_after_the_sign_off_is_named() {
    let rows: Vec<Lapsed> = vec![
        ("nothing", |_| {}, vec![]),
        (
            "looked at on another day, by another",
            |now| (now.at, now.by, now.note) = (Timestamp::MAX, "Ana".to_owned(), Some("x".to_owned())),
            vec![],
        ),
        ("a limit", |now| now.plate.rinse_limit_c = 80.0, vec![Lapse::Plate]),
        ("calibrated anew", |now| now.probes[1].calibration = Some(9), vec![Lapse::Calibration(rinse())]),
        (
            "response tested anew",
            |now| (now.probes[1].response, now.probes[1].tau_s) = (Some(9), Some(1.0)),
            vec![Lapse::Response(rinse())],
        ),
        ("moved", |now| now.probes[1].place = Place::WashTank, vec![Lapse::Fitted(rinse())]),
        ("proved anew, and well", |now| now.probes[1].proof = Some(9), vec![]),
        (
            "another probe in its place",
            |now| now.probes[1].probe = "dm1/new".to_owned(),
            vec![Lapse::Added("dm1/new".to_owned()), Lapse::Gone(rinse())],
        ),
        (
            "run out",
            |now| {
                let until = "2027-01-01".to_owned();
                now.open_points.push(OpenPoint::CalibrationOverdue { probe: "dm1/rinse".to_owned(), until });
            },
            vec![Lapse::Point(OpenPoint::CalibrationOverdue {
                probe: rinse(),
                until: "2027-01-01".to_owned(),
            })],
        ),
        (
            "due soon, and a rack that is cold",
            |now| {
                let until = "2027-01-01".to_owned();
                now.open_points = vec![
                    OpenPoint::CalibrationDue { probe: "dm1/rinse".to_owned(), until },
                    OpenPoint::TestCycleNotGood { record: 9, verdict: Verdict::Cold, worked_on: false },
                    OpenPoint::NoTestCycle,
                ];
            },
            vec![],
        ),
    ];
    for (what, done, expected) in rows {
        let mut now = signed_off();
        done(&mut now);
        assert_eq!(lapses(&signed_off(), &now), expected, "{what}");
    }
}
