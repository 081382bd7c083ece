//! The words of a sheet: both languages tell the same, and nothing that is open is left out.

use jiff::tz::TimeZone;

use super::*;
use crate::core::alert::{AlertNumber, Condition};
use crate::core::channel::Place;
use crate::core::cycle::plate::{LimitSource, MachineKind, Sanitizing};
use crate::core::cycle::verdict::{Finding, Verdict};
use crate::core::reader::Scale;
use crate::core::record::{SignedPlate, SignedProbe};
use crate::core::signoff::OpenPoint;
use crate::core::time::Timestamp;

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
        OpenPoint::TestCycleNotGood { record: 9, verdict: Verdict::Unproven },
        OpenPoint::TestCycleFinding {
            record: 9,
            found: Finding::WashLow { measured_c: 65.99, limit_c: 66.0 },
        },
        OpenPoint::TestCycleFinding { record: 9, found: Finding::WashUnproven { fault: None } },
        OpenPoint::OpenAlert { alert: AlertNumber(7), condition: Condition::ProbeSilent },
    ]
}

fn signed() -> SignedOff {
    SignedOff {
        at: Timestamp::from_micros(0),
        site: "Harbour\u{202e} kitchen".to_owned(),
        plate: SignedPlate {
            kind: MachineKind::StationaryRackDualTemperature,
            sanitizing: Sanitizing::Chlorine,
            rinse_limit_c: 82.0,
            rinse_limit_source: LimitSource::DataPlate,
            rinse_max_c: None,
            wash_limit_c: 66.0,
            wash_limit_source: LimitSource::FoodCode,
            wash_s: 45.0,
            pause_s: 3.0,
            rinse_s: 12.0,
            dwell_s: 6.0,
        },
        probes: vec![SignedProbe {
            probe: "dm1/rinse".to_owned(),
            place: Place::FinalRinse,
            signal: "thermocouple K".to_owned(),
            calibration: Some(3),
            correction: None,
            calibrated_on: None,
            until: None,
            response: None,
            tau_s: Some(1.2),
            expanded_c: 1.78,
            near_c: 82.0,
        }],
        wiring_proof: Some(5),
        test_cycle: None,
        open_points: points(),
        note: Some("one\ntwo".to_owned()),
        by: "Tom".to_owned(),
    }
}

fn worded(signed: &SignedOff, reader: &Reader) -> Paper {
    let (calibrations, responses) = (BTreeMap::new(), BTreeMap::new());
    let facts = Facts {
        machine: "dm1",
        signed,
        record: Some(12),
        calibrations: &calibrations,
        responses: &responses,
        proof: None,
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
        let (uncertain, wash) = (&said[5], &said[17]);
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
        let html = html::write(&paper);
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
