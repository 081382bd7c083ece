use jiff::tz::TimeZone;

use super::words::tell;
use super::*;
use crate::core::cycle::fixture::door;
use crate::core::cycle::plate::Sanitizing::{Chlorine, HotWater, Iodine, Quat};
use crate::core::cycle::plate::{Limit, LimitSource, Profile};
use crate::core::reader::{Language, Reader, Scale};
use crate::core::record::{CheckKind, Supply, TEST_STRIP};
use crate::core::sanitizer::Rules;
use crate::core::units::Celsius;

const NOW: Timestamp = Timestamp::from_micros(1_795_698_000_000_000);

fn strip(mg_per_l: f64, ph: Option<f64>, solution_c: Option<f64>) -> Check {
    let method = Some("titration".to_owned());
    Check::Sanitizer { at: NOW, mg_per_l, ph, solution_c, method, by: "AB".to_owned() }
}

fn compared(shown_c: f64, reference_c: f64, tolerance_c: f64) -> Check {
    Check::Thermometer {
        at: NOW,
        what: "dm1/rinse".to_owned(),
        shown_c,
        reference_c,
        tolerance_c,
        reference: "ice bath".to_owned(),
        by: "AB".to_owned(),
    }
}

/// The words of the findings that fail.
fn failing(judgement: &Judgement) -> Vec<&'static str> {
    let word = |finding: &Finding| match finding {
        Finding::TooWeak { .. } => "weak",
        Finding::TooStrong { .. } => "strong",
        Finding::PhTooHigh { .. } => "ph",
        Finding::ColdSolution { .. } => "cold",
        Finding::NotAMeasurement => "number",
        Finding::Short => "short",
        Finding::Off { .. } => "off",
        Finding::Needs { .. } | Finding::PhAssumed | Finding::NotChemical | Finding::Agrees { .. } => "-",
    };
    judgement.findings.iter().filter(|finding| finding.fails()).map(word).collect()
}

// Food Code 4-501.114; 200 mg/L is the ceiling of 40 CFR 180.940 as this program keeps it; quat by
// its label, 200 to 400 mg/L (common practice, no source). Figures in °C: the stricter of the pair.
#[test]
fn sanitizers_are_judged_by_concentration_ph_and_temperature() {
    for (sanitizing, mg_per_l, ph, solution_c, expected) in [
        (Chlorine, 25.0, Some(8.0), Some(49.0), &[] as &[&str]),
        (Chlorine, 24.9, Some(8.0), Some(60.0), &["weak"]),
        (Chlorine, 0.0, None, None, &["weak"]),
        (Chlorine, 50.0, Some(8.0), Some(24.0), &[]),
        (Chlorine, 50.0, Some(8.0), Some(23.9), &["cold"]),
        (Chlorine, 50.0, Some(8.1), Some(37.9), &["cold"]),
        (Chlorine, 50.0, None, Some(37.9), &["cold"]),
        (Chlorine, 50.0, None, None, &[]),
        (Chlorine, 100.0, Some(10.0), Some(13.0), &[]),
        (Chlorine, 100.0, Some(10.1), Some(60.0), &["ph"]),
        (Chlorine, 200.0, Some(7.0), Some(60.0), &[]),
        (Chlorine, 201.0, Some(10.5), Some(60.0), &["strong", "ph"]),
        (Iodine, 12.5, Some(5.0), Some(20.0), &[]),
        (Iodine, 12.5, Some(5.1), Some(20.0), &["ph"]),
        (Iodine, 12.4, Some(5.1), Some(20.0), &["weak", "ph"]),
        (Iodine, 25.0, None, Some(19.0), &["cold"]),
        (Quat, 200.0, Some(12.0), Some(24.0), &[]),
        (Quat, 401.0, None, None, &["strong"]),
    ] {
        let judged = judge(&strip(mg_per_l, ph, solution_c), sanitizing, &Rules::default());
        let row = format!("{sanitizing:?} {mg_per_l} {ph:?} {solution_c:?}");
        assert_eq!(failing(&judged), expected, "{row}");
        assert_eq!(judged.good, Some(expected.is_empty()), "{row}");
    }
    let hot = judge(&strip(100.0, None, None), HotWater, &Rules::default());
    assert_eq!((hot.good, hot.findings), (None, vec![Finding::NotChemical]));
}

// A number that slipped past `admit` is never good.
#[test]
fn what_is_no_number_is_never_good() {
    for mg_per_l in [f64::NAN, f64::INFINITY, -1.0] {
        assert_eq!(judge(&strip(mg_per_l, None, None), Chlorine, &Rules::default()).good, Some(false));
    }
    assert_eq!(judge(&compared(f64::NAN, 0.0, 1.0), HotWater, &Rules::default()).good, Some(false));
}

// Food Code 4-203.11 (food: ±1 °C, ±2 °F) and 4-203.12 (water: ±1.5 °C, ±3 °F): 3 °F are 1.667 °C.
#[test]
fn thermometers_are_judged_by_their_tolerance() {
    for (device, rounding, expected) in [
        (Device::Water, Rounding::Stricter, 1.5),
        (Device::Water, Rounding::Celsius, 1.5),
        (Device::Water, Rounding::Fahrenheit, 3.0 / 1.8),
        (Device::Food, Rounding::Stricter, 1.0),
        (Device::Food, Rounding::Fahrenheit, 2.0 / 1.8),
    ] {
        assert!((device.tolerance_c(rounding) - expected).abs() < 1e-12, "{device:?} {rounding:?}");
    }
    // 82.3 − 81.3 is more than 1 in binary by some 1e-14.
    for (shown_c, reference_c, tolerance_c, good) in [
        (0.4, 0.0, 1.0, true),
        (82.3, 81.3, 1.0, true),
        (80.3, 81.3, 1.0, true),
        (82.4, 81.3, 1.0, false),
        (98.4, 100.0, 1.5, false),
    ] {
        let judged = judge(&compared(shown_c, reference_c, tolerance_c), HotWater, &Rules::default());
        assert_eq!(judged.good, Some(good), "{shown_c} against {reference_c}");
    }
}

#[test]
fn supplies_and_cleaning() {
    let supply =
        |enough| Check::Supply { at: NOW, enough, short: Vec::new(), note: None, by: "AB".to_owned() };
    assert_eq!(judge(&supply(true), Chlorine, &Rules::default()).good, Some(true));
    assert_eq!(failing(&judge(&supply(false), Chlorine, &Rules::default())), ["short"]);
    let drained = Check::DrainAndClean { at: NOW, note: None, by: "AB".to_owned() };
    assert_eq!(judge(&drained, Chlorine, &Rules::default()), Judgement::default());
}

// Own ranges, each at its ends.
#[test]
fn refuses_what_cannot_be() {
    for (check, sanitizing, expected) in [
        (strip(2_000.0, Some(14.0), Some(100.0)), Chlorine, None),
        (strip(0.0, Some(0.0), Some(0.0)), Chlorine, None),
        (
            strip(-1.0, None, None),
            Chlorine,
            Some("a concentration in mg/L of -1 cannot be: it lies from 0 to 2000"),
        ),
        (
            strip(f64::NAN, None, None),
            Chlorine,
            Some("a concentration in mg/L of NaN cannot be: it lies from 0 to 2000"),
        ),
        (strip(50.0, Some(15.0), None), Chlorine, Some("a pH of 15 cannot be: it lies from 0 to 14")),
        (
            strip(50.0, None, Some(300.0)),
            Chlorine,
            Some("a solution in °C of 300 cannot be: it lies from 0 to 100"),
        ),
        (
            // 300 °F.
            strip(50.0, None, Some(1_340.0 / 9.0)),
            Chlorine,
            Some("a solution in °C of 148.89 cannot be: it lies from 0 to 100"),
        ),
        (
            strip(50.0, None, Some(100.001)),
            Chlorine,
            Some("a solution in °C of 100.001 cannot be: it lies from 0 to 100"),
        ),
        (
            strip(50.0, None, None),
            HotWater,
            Some("this machine sanitizes by hot water: no concentration counts on it"),
        ),
        (compared(0.2, 0.0, 1.0), HotWater, None),
        (
            compared(300.0, 0.0, 1.0),
            HotWater,
            Some("what it showed in °C, 300 cannot be: it lies from -40 to 150"),
        ),
        (
            compared(0.2, f64::NAN, 1.0),
            HotWater,
            Some("the reference in °C, NaN cannot be: it lies from -40 to 150"),
        ),
        (compared(0.2, 0.0, 0.0), HotWater, Some("a tolerance in °C of 0 cannot be: it lies from 0.05 to 5")),
    ] {
        let said = admit(&check, Some(sanitizing), NOW, false).err().map(|error| error.to_string());
        assert_eq!(said.as_deref(), expected, "{check:?}");
    }
}

// The names are those of the record, whose bytes are hashed; they are its own, found by looking at each kind of check.
#[test]
fn a_refusal_names_its_value_as_the_record_does() {
    let supply = Check::Supply {
        at: NOW,
        enough: false,
        short: vec![Supply::Detergent],
        note: Some("x".to_owned()),
        by: "Ana".to_owned(),
    };
    let checks = [strip(50.0, Some(7.0), Some(20.0)), compared(0.2, 0.0, 1.0), supply];
    let names: Vec<String> = checks
        .iter()
        .flat_map(|check| {
            let json = serde_json::to_value(check).expect("it has a JSON form");
            json.as_object().expect("an object").keys().cloned().collect::<Vec<String>>()
        })
        .collect();
    for field in Field::ALL {
        // The machine stands beside the check, and a reason in an amendment.
        let beside = matches!(field, Field::Machine | Field::Reason);
        assert_eq!(names.iter().any(|name| name == field.as_str()), !beside, "{field:?}");
    }
    for (check, field) in [
        (strip(-1.0, None, None), Field::MgPerL),
        (strip(50.0, Some(15.0), None), Field::Ph),
        (strip(50.0, None, Some(300.0)), Field::SolutionC),
        (compared(300.0, 0.0, 1.0), Field::ShownC),
        (compared(0.2, 300.0, 1.0), Field::ReferenceC),
        (compared(0.2, 0.0, 0.0), Field::ToleranceC),
    ] {
        assert_eq!(admit(&check, Some(Chlorine), NOW, false).map_err(|error| error.field()), Err(field));
    }
}

// Two minutes for the clocks and 31 days for paper are own choices.
#[test]
fn times_lie_between_a_month_ago_and_now() {
    let minutes = |count: u64| Duration::from_secs(count * 60);
    assert_eq!(time(NOW.plus(minutes(2)), NOW, true), Ok(()));
    let future = NOW.plus(minutes(2)).plus(Duration::from_micros(1));
    assert_eq!(time(future, NOW, true), Err(Impossible::Future { at: future, now: NOW }));
    assert_eq!(time(NOW.minus(OLDEST), NOW, false), Ok(()));
    let old = NOW.minus(OLDEST + minutes(1));
    assert_eq!(time(old, NOW, false), Err(Impossible::TooOld { at: old }));
    assert_eq!(time(old, NOW, true), Ok(()), "it is meant");
    assert_eq!(lateness(NOW.minus(minutes(15)), NOW), None);
    assert_eq!(lateness(NOW.minus(minutes(16)), NOW), Some(minutes(16)));
    assert_eq!(lateness(NOW.plus(minutes(1)), NOW), None);
}

// Own rule: the record calls late what came more than an hour after it was made (`core::late`), and nothing else.
#[test]
fn it_is_said_to_be_shown_as_late_where_it_is() {
    for (language, said) in [(Language::English, "shows it as late"), (Language::Spanish, "como tardío")] {
        assert!(!super::words::late(3_600.0, language).contains(said));
        assert!(super::words::late(3_601.0, language).contains(said));
    }
}

#[test]
fn texts_are_written_by_hand() {
    for (text_, good) in [("Ana", true), ("", false), (" \n", false), ("a\u{1b}[2Jb", false)] {
        assert_eq!(name(Field::By, text_).is_ok(), good, "{text_:?}");
    }
    assert!(name(Field::By, "two\nlines").is_err() && text(Field::Note, "two\nlines").is_ok());
    assert!(name(Field::By, &"a".repeat(NAME_BYTES_MAX)).is_ok());
    assert!(name(Field::By, &"a".repeat(NAME_BYTES_MAX + 1)).is_err());
    assert!(text(Field::Note, &"a".repeat(TEXT_BYTES_MAX + 1)).is_err());
}

// Own promise: the newest withdrawal or correction decides, whatever was said before; a comment decides nothing.
#[test]
fn amendments_say_what_counts() {
    let (check, instead) = (strip(10.0, None, None), strip(100.0, None, None));
    let (comment, withdrawn) = (AmendmentChange::Comment, AmendmentChange::Withdrawn);
    let corrected = AmendmentChange::Corrected(instead.clone());
    for (said, expected) in [
        (vec![], Some((&check, None))),
        (vec![(7, &comment)], Some((&check, None))),
        (vec![(7, &withdrawn), (8, &comment)], None),
        (vec![(7, &corrected), (8, &comment)], Some((&instead, Some(7)))),
        (vec![(7, &corrected), (8, &withdrawn)], None),
        (vec![(7, &withdrawn), (8, &corrected)], Some((&instead, Some(8)))),
    ] {
        assert_eq!(counting(&check, said.clone()), expected, "{said:?}");
    }
}

fn reader(language: Language, scale: Scale) -> Reader {
    Reader { language, scale, zone: TimeZone::UTC }
}

// Own promise: whoever enters a failed check reads why and what to do, in both languages, and
// never without the caution for what they are about to touch.
#[test]
fn a_failed_check_says_what_to_do() {
    let rules = Rules::default();
    let failed = [
        (judge(&strip(10.0, None, None), Chlorine, &rules), CheckKind::Sanitizer, "Too weak: 10 mg/L"),
        (judge(&strip(300.0, None, None), Chlorine, &rules), CheckKind::Sanitizer, "Too strong: 300 mg/L"),
        (judge(&strip(50.0, Some(11.0), None), Chlorine, &rules), CheckKind::Sanitizer, "pH too high: 11"),
        (
            judge(&strip(50.0, Some(7.0), Some(20.0)), Chlorine, &rules),
            CheckKind::Sanitizer,
            "Too cold: 20.0 °C",
        ),
        (
            judge(&compared(83.0, 80.0, 1.5), HotWater, &rules),
            CheckKind::Thermometer,
            "It shows 3.0 °C too much",
        ),
        (
            judge(
                &Check::Supply { at: NOW, enough: false, short: Vec::new(), note: None, by: String::new() },
                HotWater,
                &rules,
            ),
            CheckKind::Supply,
            "Something is short",
        ),
    ];
    for (judgement, kind, why) in failed {
        let english = tell(&judgement, kind, ALERTED, &reader(Language::English, Scale::Celsius));
        let spanish = tell(&judgement, kind, ALERTED, &reader(Language::Spanish, Scale::Celsius));
        assert!(english.verdict.starts_with("FAILED") && spanish.verdict.starts_with("NO CUMPLE"), "{why}");
        assert!(english.why[0].starts_with(why), "{:?}", english.why);
        assert_eq!(english.steps.len(), spanish.steps.len(), "{why}");
        assert!(english.steps.len() >= 2 && english.cautions.len() == 1, "{english:?}");
        let chemical = kind != CheckKind::Thermometer;
        assert_eq!(english.cautions[0].contains("chlorine meet acid"), chemical, "{why}");
        assert_ne!(english.why, spanish.why);
    }
    let good = judge(&strip(100.0, Some(7.0), Some(30.0)), Chlorine, &rules);
    let told = tell(&good, CheckKind::Sanitizer, ALERTED, &reader(Language::English, Scale::Fahrenheit));
    assert_eq!(told.verdict, "The sanitizer is good.");
    assert_eq!(
        told.why,
        [
            "With this, the Food Code asks for 55.4 °F or more for 10 s; the data plate may ask for more. The probe watches it."
        ]
    );
    assert!(told.steps.is_empty() && told.cautions.is_empty());
}

// Own promise: a good test says what the data plate asks for where that is on file, and that it may ask for more where
// it is not.
#[test]
fn a_good_test_names_what_the_data_plate_asks_for() {
    let limit = |source| Limit { at: Celsius(49.0), source };
    let why = |source, language| {
        let machine = Profile { rinse_min: limit(source), sanitizing: Chlorine, ..door() };
        let judged = judge_known(&strip(100.0, Some(7.0), Some(50.0)), Some(&machine));
        assert_eq!(judged.good, Some(true));
        tell(&judged, CheckKind::Sanitizer, ALERTED, &reader(language, Scale::Fahrenheit)).why.join(" ")
    };
    for (source, language, wanted) in [
        (
            LimitSource::DataPlate,
            Language::English,
            "for 10 s; the data plate, as it is on file, for 120.2 °F or more. The probe watches both.",
        ),
        (
            LimitSource::DataPlate,
            Language::Spanish,
            "durante 10 s; la placa de datos, según consta, 120.2 °F o más. La sonda vigila ambas cifras.",
        ),
        (
            LimitSource::FoodCode,
            Language::English,
            "; the data plate may ask for more. The probe watches it.",
        ),
        (LimitSource::Site, Language::Spanish, "; la placa puede pedir más. La sonda lo vigila."),
    ] {
        let told = why(source, language);
        assert!(told.ends_with(wanted), "{told}");
    }
}

const ALERTED: Lacking<'_> = Lacking { supplies: &[], sanitizing: None, alerted: true };

// Own rule: what is short is filled up, looked at again and entered; that somebody is told is said only where it is so.
#[test]
fn supplies_that_are_short_say_who_is_told() {
    let short = Check::Supply { at: NOW, enough: false, short: Vec::new(), note: None, by: String::new() };
    let judgement = judge(&short, HotWater, &Rules::default());
    for (alerted, language, expected) in [
        (true, Language::English, "Whoever is on duty for alerts is told."),
        (true, Language::Spanish, "Se avisa a quien esté de turno para las alertas."),
        (false, Language::English, "Tell the person in charge."),
        (false, Language::Spanish, "Avise a la persona a cargo."),
    ] {
        let lacking = Lacking { alerted, ..Lacking::default() };
        let told = tell(&judgement, CheckKind::Supply, lacking, &reader(language, Scale::Celsius));
        let [fill, sanitizer, again, last] = told.steps.as_slice() else { panic!("{:?}", told.steps) };
        assert!(last.starts_with(expected), "{last}");
        let spanish = language == Language::Spanish;
        assert!(fill.starts_with(if spanish { "Rellene o cambie" } else { "Fill up or change" }), "{fill}");
        assert!(sanitizer.contains(if spanish { "deje de cargar" } else { "stop feeding" }), "{sanitizer}");
        assert!(again.contains(if spanish { "Revise otra vez" } else { "Look again" }), "{again}");
    }
}

// 0.04 K more than permitted is told as more: own rule, as for limits.
#[test]
fn a_difference_above_its_tolerance_never_looks_equal_to_it() {
    let judged = judge(&compared(81.54, 80.0, 1.5), HotWater, &Rules::default());
    let told = tell(&judged, CheckKind::Thermometer, ALERTED, &reader(Language::English, Scale::Celsius));
    assert_eq!(told.why, ["It shows 1.54 °C too much, by the reference; ±1.50 °C are permitted."]);
    for (shown, said) in [
        (77.9, "Marca 2.1 °C de menos, según la referencia; se permiten ±1.5 °C."),
        (82.1, "Marca 2.1 °C de más, según la referencia; se permiten ±1.5 °C."),
        (80.0, "Marca lo mismo que la referencia; se permiten ±1.5 °C."),
    ] {
        let judged = judge(&compared(shown, 80.0, 1.5), HotWater, &Rules::default());
        let told = tell(&judged, CheckKind::Thermometer, ALERTED, &reader(Language::Spanish, Scale::Celsius));
        assert_eq!(told.why, [said]);
    }
}

// Own words, those of the form; what somebody typed is nobody's to translate.
#[test]
fn a_method_that_the_form_wrote_is_told_to_each_reader() {
    assert_eq!(words::method(TEST_STRIP, Language::English), "test strip");
    assert_eq!(words::method(TEST_STRIP, Language::Spanish), "tira reactiva");
    for (on_record, english, spanish) in [
        ("strip", "test strip", "tira reactiva"),
        ("titration", "titration", "valoración"),
        ("meter", "meter", "medidor"),
        (" Titration", "titration", "valoración"),
        ("TEST STRIP", "test strip", "tira reactiva"),
    ] {
        assert_eq!(words::method(on_record, Language::English), english);
        assert_eq!(words::method(on_record, Language::Spanish), spanish);
    }
    assert_eq!(words::method("Test strip, blue", Language::Spanish), "Test strip, blue");
}

// Colours of strips: common practice, no source. Own promise: what is said to be read from a strip is one of its
// colours, by whichever way it is entered; what another kit shows is a number of its own.
#[test]
fn a_strip_shows_its_colours_and_nothing_between() {
    let strip = |mg_per_l: f64, method: Option<&str>| Check::Sanitizer {
        at: NOW,
        mg_per_l,
        ph: None,
        solution_c: None,
        method: method.map(str::to_owned),
        by: "AB".to_owned(),
    };
    for (sanitizing, mg_per_l, method, fits) in [
        (Sanitizing::Chlorine, 50.0, Some("test strip"), true),
        (Sanitizing::Chlorine, 33.0, Some("test strip"), false),
        (Sanitizing::Chlorine, 33.0, Some(" Strip"), false),
        (Sanitizing::Chlorine, 33.0, Some("titration"), true),
        (Sanitizing::Chlorine, 33.0, Some("strip of 0 to 150"), true),
        (Sanitizing::Chlorine, 33.0, None, true),
        (Sanitizing::Chlorine, 12.5, Some("strip"), false),
        (Sanitizing::Iodine, 12.5, Some("strip"), true),
        (Sanitizing::Quat, 0.0, Some("strip"), true),
        (Sanitizing::Quat, -0.0, Some("strip"), true),
        (Sanitizing::Quat, 25.0, Some("strip"), false),
    ] {
        let admitted = admit(&strip(mg_per_l, method), Some(sanitizing), NOW, false);
        assert_eq!(admitted.is_ok(), fits, "{sanitizing:?} {mg_per_l} {method:?}: {admitted:?}");
    }
    // As it came on record, as it is to count.
    for (was, is, fits) in [
        ((33.0, Some("strip")), (33.0, Some("strip")), true),
        ((33.0, Some("strip")), (33.0, Some("Test strip")), true),
        ((33.0, Some("strip")), (34.0, Some("strip")), false),
        ((33.0, Some("strip")), (50.0, Some("strip")), true),
        ((33.0, Some("strip")), (33.0, Some("titration")), true),
        ((33.0, Some("titration")), (33.0, Some("strip")), false),
        ((33.0, None), (33.0, Some("strip")), false),
    ] {
        let (before, after) = (strip(was.0, was.1), strip(is.0, is.1));
        let admitted = admit_correction(&before, &after, Some(Sanitizing::Chlorine), NOW);
        assert_eq!(admitted.is_ok(), fits, "{was:?} {is:?}: {admitted:?}");
    }
    let refused = admit(&strip(33.0, Some("strip")), Some(Sanitizing::Iodine), NOW, false);
    let refused = refused.expect_err("no colour").to_string();
    assert!(refused.contains("33 mg/L") && refused.contains("0, 12.5, 25, 50"), "{refused}");
}
