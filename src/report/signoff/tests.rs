//! The words of a sheet: both languages tell the same, and nothing that is open is left out.

use std::path::PathBuf;
use std::time::Duration;

use jiff::tz::TimeZone;

use super::*;
use crate::core::alert::{AlertNumber, Condition};
use crate::core::channel::Place;
use crate::core::cycle::plate::{LimitSource, MachineKind, Sanitizing};
use crate::core::cycle::verdict::{Finding, Reason, Verdict};
use crate::core::effect::TraceReading;
use crate::core::logbook;
use crate::core::reader::Scale;
use crate::core::record::{
    Against, Basis, CalibrationPoint, Correction, DoseBasis, ProvenProbe, Rule, SignedPlate, SignedProbe,
    TestCycle, WindowFrom,
};
use crate::core::sanitizer::Refusal;
use crate::core::signoff::OpenPoint;
use crate::core::time::Timestamp;
use crate::core::units::Celsius;
use crate::core::wiring::Evidence;

fn reader(language: Language, scale: Scale) -> Reader {
    Reader { language, scale, zone: TimeZone::UTC }
}

fn points() -> Vec<OpenPoint> {
    let (probe, until) = (|| "dm1/rinse".to_owned(), || "2026-11-25".to_owned());
    let finding = "swapped".to_owned();
    vec![
        OpenPoint::RinseLimitOfFoodCode { limit_c: 82.0 },
        OpenPoint::WashLimitOfFoodCode { limit_c: 66.0 },
        OpenPoint::NotCalibrated { probe: probe() },
        OpenPoint::CalibrationDoubted { probe: probe(), record: 7 },
        OpenPoint::ResponseDoubted { probe: probe(), record: 8 },
        OpenPoint::CalibrationOverdue { probe: probe(), until: until() },
        OpenPoint::CalibrationDue { probe: probe(), until: until() },
        OpenPoint::Uncertain { probe: probe(), expanded_c: 1.504, granted_c: 1.5 },
        OpenPoint::NoResponse { probe: probe() },
        OpenPoint::TooSlow { probe: probe(), tau_s: 6.0, rinse_s: 12.0 },
        OpenPoint::WiringNotProved,
        OpenPoint::WiringNotGood { probe: Some(probe()), finding: finding.clone() },
        OpenPoint::WiringNotGood { probe: None, finding },
        OpenPoint::WiringLeftOut { probe: probe() },
        OpenPoint::WiringOutdated { since: Some(Timestamp::from_micros(0)) },
        OpenPoint::WiringOutdated { since: None },
        OpenPoint::NoTestCycle,
        OpenPoint::TestCycleOutdated { record: 9 },
        OpenPoint::TestCycleNotGood { record: 9, verdict: Verdict::Unproven, worked_on: false },
        OpenPoint::TestCycleNotGood { record: 9, verdict: Verdict::Unproven, worked_on: true },
        OpenPoint::TestCycleFinding {
            record: 9,
            found: Finding::WashLow { measured_c: 65.99, limit_c: 66.0 },
        },
        OpenPoint::TestCycleFinding { record: 9, found: Finding::WashUnproven { fault: None } },
        OpenPoint::OpenAlert { alert: AlertNumber(7), condition: Condition::ProbeSilent },
    ]
}

fn signed() -> SignedOff {
    let mut signed = samples::signed();
    signed.site = "Harbour\u{202e} kitchen".to_owned();
    signed.plate.sanitizing = Sanitizing::Chlorine;
    (signed.plate.rinse_limit_c, signed.plate.wash_limit_c, signed.probes[0].near_c) = (82.0, 66.0, 82.0);
    (signed.open_points, signed.note) = (points(), Some("one\ntwo".to_owned()));
    signed
}

fn worded(signed: &SignedOff, reader: &Reader) -> Paper {
    let (calibrations, responses, proofs) = (BTreeMap::new(), BTreeMap::new(), BTreeMap::new());
    let facts = Facts {
        machine: "dm1",
        signed,
        record: Some(12),
        calibrations: &calibrations,
        responses: &responses,
        proofs: &proofs,
        cycle: None,
        trace: None,
        seal: None,
    };
    paper(&facts, reader)
}

#[test]
fn every_point_is_told_in_both_languages() {
    for open in points() {
        let [english, spanish] =
            Language::ALL.map(|language| point(&open, &reader(language, Scale::Celsius)));
        assert_ne!(english, spanish);
        for said in [english, spanish] {
            assert!(said.ends_with('.') && !said.contains(['{', '}']), "{said}");
        }
    }
}

// What is past its limit never looks equal to it: the wash by 0.01 °C, the uncertainty by 0.004 °C.
#[test]
fn too_much_never_looks_as_if_it_were_enough() {
    for scale in Scale::ALL {
        let said: Vec<String> =
            points().iter().map(|open| point(open, &reader(Language::English, scale))).collect();
        let about = |part: &str| said.iter().find(|point| point.contains(part)).expect("it is among them");
        let (uncertain, wash) = (about("at its limit, more than"), about("below its limit of"));
        let expected = match scale {
            Scale::Celsius => (
                "±1.504 °C (k = 2) at its limit, more than the ±1.500 °C",
                "65.99 °C, below its limit of 66.00 °C",
            ),
            Scale::Fahrenheit => (
                "±2.71 °F (k = 2) at its limit, more than the ±2.70 °F",
                "150.78 °F, below its limit of 150.80 °F",
            ),
        };
        assert!(uncertain.contains(expected.0), "{uncertain}");
        assert!(wash.contains(expected.1), "{wash}");
    }
}

#[test]
fn terminal_and_paper_hold_the_same_words() {
    let signed = signed();
    for language in Language::ALL {
        let paper = worded(&signed, &reader(language, Scale::Celsius));
        let mut shown = Vec::new();
        text::write(&mut shown, &paper).expect("memory takes it");
        let shown = String::from_utf8(shown).expect("UTF-8");
        let html = html::write(&paper).replace('\u{a0}', " ");
        let words =
            |text: &str| text.split_whitespace().map(str::to_owned).collect::<Vec<String>>().join(" ");
        for open in points() {
            let said = point(&open, &reader(language, Scale::Celsius));
            assert!(html.contains(&said.replace('&', "&#38;")), "{said}\n{html}");
            assert!(words(&shown).contains(&words(&said)), "{said}\n{shown}");
        }
        // A calibration that is named and cannot be read is told so, and so is what is only configured.
        let unread = match language {
            Language::English => {
                ["record 3 (cannot be read)", "1.20 s, as configured; none on record", "chlorine"]
            }
            Language::Spanish => {
                ["asiento 3 (no se puede leer)", "1.20 s, según la configuración; no consta", "cloro"]
            }
        };
        for wanted in unread {
            assert!(html.contains(wanted) && words(&shown).contains(wanted), "{wanted}\n{shown}");
        }
        assert!(html.contains("Harbour kitchen · dm1"), "no mark turns the writing");
        assert!(shown.lines().all(|line| line.chars().count() <= 100), "{shown}");
    }
}

/// A machine of four probes, with all that a sheet can hold: calibrations, tests, proof, trace, open points,
/// and a note as long as one may be.
struct Whole {
    signed: SignedOff,
    calibrations: BTreeMap<u64, CalibrationDone>,
    responses: BTreeMap<u64, ResponseDone>,
    proof: WiringProofDone,
    cycle: Cycle,
    trace: Trace,
}

fn at(seconds: f64) -> Timestamp {
    // 2026-11-25T15:00:00Z.
    Timestamp::from_seconds(1_795_618_800.0 + seconds).expect("a time of this century")
}

fn calibrated(probe: &str, gain: f64, offset_c: f64) -> CalibrationDone {
    let point = |against, reference_c: f64, found_error_c| CalibrationPoint {
        against,
        reference_c,
        reference_expanded_c: 0.1,
        indicated_c: reference_c + found_error_c,
        spread_c: 0.04,
        readings: 240,
        lasted_s: 60.0,
        found_error_c,
        left_error_c: 0.02,
    };
    CalibrationDone {
        probe: probe.to_owned(),
        at: at(-7_200.0),
        points: vec![
            point(Against::Ice, 0.0, 0.4),
            point(Against::BoilingAtAltitude { altitude_m: 120.0 }, 99.2, 0.9),
        ],
        found: Correction { gain: 1.0, offset_c: 0.0 },
        left: Correction { gain, offset_c },
        expanded_c: 0.3,
        until: Some("2027-11-25".to_owned()),
        note: None,
        by: "Tom Baker (user tom)".to_owned(),
    }
}

fn trace(started: Timestamp) -> Trace {
    let reading = |quarter: u32, celsius: f64| TraceReading {
        at: started.plus(Duration::from_millis(u64::from(quarter) * 250)),
        celsius: Celsius((celsius * 16.0).round() / 16.0),
    };
    let rinse = |quarter: u32| match f64::from(quarter) / 4.0 {
        second @ ..48.0 => 55.0 + (second * 1.7).sin() * 0.3,
        second @ 48.0..60.0 => 85.0 - 30.0 * (-(second - 48.0) / 1.4).exp(),
        second => 60.0 + 25.0 * (-(second - 60.0) / 20.0).exp(),
    };
    let wash = |quarter: u32| 67.3 + (f64::from(quarter) / 30.0).sin() * 0.6;
    Trace {
        rinse: (0..264).map(|quarter| reading(quarter, rinse(quarter))).collect(),
        wash: (0..192).map(|quarter| reading(quarter, wash(quarter))).collect(),
    }
}

fn tested() -> Cycle {
    Cycle {
        started: at(0.0),
        rinse_started: at(48.0),
        rinse_ended: at(60.0),
        received: at(61.0),
        machine_kind: MachineKind::StationaryRackDualTemperature,
        sanitizing: Sanitizing::HotWater,
        window_from: WindowFrom::Trace,
        verdict: Verdict::Pass,
        reasons: Vec::new(),
        findings: Vec::new(),
        rinse_min_c: Some(83.9),
        rinse_min_raw_c: Some(83.5),
        rinse_min_corrected_c: Some(83.9),
        basis: Basis::LagCorrected,
        limit_c: 82.222_222_222_222_23,
        limit_source: LimitSource::DataPlate,
        rinse_peak_c: Some(85.0),
        settled_after_s: Some(3.4),
        dwell_s: 8.4,
        dwell_required_s: 6.0,
        area_below_c_s: 11.0,
        wash_min_c: Some(66.7),
        wash_limit_c: 66.0,
        a0: 41.7,
        hue: 3_700.25,
        dose_basis: DoseBasis::WaterSideEstimate,
        uncertainty_c: 0.57,
        conformance: Some(0.999),
        rule: Rule::SimpleAcceptance,
        concentration_mg_per_l: None,
        ph: None,
        rinse_readings: 48,
        spikes: 0,
        trace_sha256: None,
    }
}

fn whole() -> Whole {
    let probe = |name: &str, place, record: Option<u64>| SignedProbe {
        probe: format!("dishroom-2/{name}"),
        place,
        calibration: record,
        correction: record.map(|_| Correction { gain: 1.004, offset_c: -0.41 }),
        until: record.map(|_| "2027-11-25".to_owned()),
        response: record.map(|record| record + 4),
        tau_s: record.map(|_| 1.42),
        expanded_c: if record.is_some() { 0.57 } else { 1.78 },
        near_c: 82.222_222_222_222_23,
        ..signed().probes.remove(0)
    };
    let probes = vec![
        probe("wash", Place::WashTank, Some(31)),
        probe("rinse", Place::FinalRinse, Some(32)),
        probe("ware", Place::Ware, None),
        SignedProbe {
            correction: Some(Correction { gain: 1.0, offset_c: 0.3 }),
            calibrated_on: Some("2026-10-02".to_owned()),
            until: Some("2026-12-10".to_owned()),
            tau_s: Some(3.0),
            signal: "pt100".to_owned(),
            ..probe("hot-supply", Place::Other, None)
        },
    ];
    let proven = probes.iter().map(|probe| ProvenProbe {
        probe: probe.probe.clone(),
        good: true,
        finding: "answers".to_owned(),
        seen: Evidence::Rose { from_c: 21.4, to_c: 35.6, off: None, unseen: Vec::new() },
        instead: None,
    });
    let proof = WiringProofDone {
        at: at(-3_600.0),
        probes: proven.collect(),
        good: true,
        by: "Tom Baker".to_owned(),
    };
    let sentence = "The booster was set to 88 °C by its own thermostat, and the strainer was cleaned. ";
    let note = sentence.repeat(logbook::TEXT_BYTES_MAX / sentence.len());
    let signed = SignedOff {
        at: at(600.0),
        site: "Harbour kitchen".to_owned(),
        plate: SignedPlate {
            sanitizing: Sanitizing::HotWater,
            rinse_limit_c: 82.222_222_222_222_23,
            rinse_max_c: Some(90.0),
            ..signed().plate
        },
        probes,
        wiring_proof: Some(39),
        test_cycle: Some(TestCycle {
            record: 41,
            verdict: Verdict::Pass,
            rinse_min_c: Some(83.9),
            basis: Basis::LagCorrected,
        }),
        open_points: vec![
            OpenPoint::WashLimitOfFoodCode { limit_c: 66.0 },
            OpenPoint::OpenAlert { alert: AlertNumber(7), condition: Condition::CheckOverdue },
        ],
        note: Some(note),
        by: "Tom Baker (user tom)".to_owned(),
    };
    let calibrations = [(31, "wash"), (32, "rinse")];
    let calibrations = calibrations.map(|(record, name)| (record, calibrated(name, 1.004, -0.41))).into();
    let responded = |(record, name): (u64, &str)| {
        let done = ResponseDone {
            probe: name.to_owned(),
            at: at(-5_400.0),
            tau_s: 1.42,
            expanded_s: 0.08,
            residual_c: 0.2,
            from_c: 24.0,
            to_c: 84.0,
            readings: 80,
            fast_enough: Some(true),
            by: "Tom Baker (user tom)".to_owned(),
        };
        (record, done)
    };
    let responses = [(35, "wash"), (36, "rinse")].map(responded).into();
    Whole { signed, calibrations, responses, proof, cycle: tested(), trace: trace(at(0.0)) }
}

impl Whole {
    fn worded(&self, reader: &Reader) -> Paper {
        let seal = Seal {
            checkpoint: String::new(),
            key: String::new(),
            size: 43,
            root: "5c61f63e8b7f0f6b5e2a4b1d8c9e7a3f5c61f63e8b7f0f6b5e2a4b1d8c9e7a3f".to_owned(),
        };
        let facts = Facts {
            machine: "dishroom-2",
            signed: &self.signed,
            record: Some(42),
            calibrations: &self.calibrations,
            responses: &self.responses,
            proofs: &BTreeMap::from([(39, self.proof.clone())]),
            cycle: Some(&self.cycle),
            trace: Some(&self.trace),
            seal: Some(&seal),
        };
        paper(&facts, reader)
    }
}

fn golden(name: &str, found: &str) {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/golden/signoff").join(name);
    if std::env::var_os("UPDATE_GOLDEN").is_some() {
        std::fs::create_dir_all(path.parent().expect("a folder")).expect("the folder can be made");
        std::fs::write(&path, found).expect("the golden file is writable");
    }
    let kept = std::fs::read_to_string(&path).expect("a golden file; UPDATE_GOLDEN=1 writes it");
    assert_eq!(found, kept, "{name}; UPDATE_GOLDEN=1 rewrites it");
}

// Two pages of A4 and of Letter when printed, the note as long as it may be; looked at by eye.
#[test]
fn sheets_read_as_agreed() {
    for (language, scale) in [(Language::English, Scale::Celsius), (Language::Spanish, Scale::Fahrenheit)] {
        let paper = whole().worded(&reader(language, scale));
        golden(&format!("sheet-{language}.html"), &html::write(&paper));
        let mut shown = Vec::new();
        text::write(&mut shown, &paper).expect("memory takes it");
        golden(&format!("sheet-{language}.txt"), &String::from_utf8(shown).expect("UTF-8"));
    }
}

// Own promise: on a screen in the dark the sheet is dark as the pages are, its charts too; on paper it is black on white.
#[test]
fn a_sheet_is_dark_in_the_dark_and_white_on_paper() {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("src/web/frame/rinseward.css");
    let pages = std::fs::read_to_string(path).expect("the style sheet of the pages");
    let charts = pages.lines().find_map(|line| Some(&line[line.find(".plot-ground{")?..]));
    let charts = charts.expect("dark colours of a chart").trim_end_matches('}');
    let sheet = html::write(&whole().worded(&reader(Language::English, Scale::Celsius)));
    let (light, dark) =
        sheet.split_once("@media screen and (prefers-color-scheme: dark) {").expect("colours");
    assert!(light.contains("html { color: #000; background: #fff;") && dark.contains(charts), "{dark}");
    assert!(dark.trim_start().starts_with("html { color-scheme: dark; color: #"), "{dark}");
    assert!(!sheet.contains("solid #000"), "a line that nobody sees in the dark");
}

// Own promise: the sheet of a weak rack tells its sanitizer; the temperature may be fine. 25 mg/L: FDA Food Code
// 4-501.114(A).
#[test]
fn a_weak_rack_is_signed_with_its_sanitizer() {
    let mut whole = whole();
    whole.cycle.sanitizing = Sanitizing::Chlorine;
    whole.cycle.reasons =
        vec![Reason::Concentration { refusal: Refusal::TooWeak, mg_per_l: 10.0, limit: Some(25.0) }];
    for (language, said) in [
        (Language::English, "; sanitizer 10 mg/L (at least 25 mg/L)"),
        (Language::Spanish, "; desinfectante 10 mg/L (al menos 25 mg/L)"),
    ] {
        let mut shown = Vec::new();
        text::write(&mut shown, &whole.worded(&reader(language, Scale::Celsius))).expect("memory takes it");
        let shown = String::from_utf8(shown).expect("UTF-8");
        let shown = shown.split_whitespace().collect::<Vec<&str>>().join(" ");
        assert!(shown.contains(said), "{shown}");
    }
}

// Own promise: a scale beside a probe is never taken for the reader's: it is said to be what the device sends.
#[test]
fn the_scale_of_a_device_is_said_to_be_its_own() {
    for (sent, unit) in [("celsius", "°C"), ("fahrenheit", "°F"), ("kelvin", "K")] {
        let mut signed = signed();
        signed.probes[0].signal = sent.to_owned();
        for scale in [Scale::Celsius, Scale::Fahrenheit] {
            for (language, says) in
                [(Language::English, "the device sends"), (Language::Spanish, "el aparato envía")]
            {
                let page = html::write(&worded(&signed, &reader(language, scale)));
                let said = format!("{says} {unit}").replace(" °", "\u{a0}°");
                assert!(page.contains(&said), "{sent}: {page}");
            }
        }
    }
}
