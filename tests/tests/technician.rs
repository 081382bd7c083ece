//! A technician at a probe, by the real program: calibrations and response tests on pseudo-terminals.

#![expect(clippy::wildcard_enum_match_arm, reason = "each test looks at the records it is about")]

#[path = "technician/at_work.rs"]
mod at_work;
#[path = "technician/dialogs.rs"]
mod dialogs;
#[path = "technician/kitchen.rs"]
mod kitchen;
#[path = "technician/other_clock.rs"]
mod other_clock;

use std::process::Command;

use rinseward::core::cycle::verdict::Verdict;
use rinseward::core::reading::Value;
use rinseward::core::record::{Body, Cycle};
use rinseward::core::time::Timestamp;
use rinseward::ledger::Reader;

use self::kitchen::{Kitchen, Running, Service, TOO_HIGH_C};
use crate::live::terminal::Terminal;

/// Boiling at 1002.5 hPa (IAPWS-IF97, equation 31).
const BOILING_C: f64 = 99.677;

const ICE_AND_BOILING: [&str; 9] =
    ["calibrate", "dm1/rinse", "--ice", "--boiling", "--pressure", "1002.5hPa", "--by", "Eli", "--yes"];

/// Ice, then boiling water, from the second on.
fn session(kitchen: &mut Kitchen, from: f64) -> String {
    let mut calibrating = Running::start(kitchen, &ICE_AND_BOILING);
    calibrating.until("Point 1 of 2: ice and water, 0.00 °C");
    kitchen.measure(from, 30.0, |_| 0.0);
    calibrating.until("Point 2 of 2: boiling water at 1002.5 ±1.0 hPa, 99.68 °C ±0.23 °C");
    kitchen.measure(from + 40.0, 30.0, |_| BOILING_C);
    let (code, said) = calibrating.ended();
    assert_eq!(code, Some(0), "{said}");
    said
}

#[derive(Clone, Copy, PartialEq, Debug)]
enum Way {
    Service,
    KilledAfterIt,
    Alone,
}

// Own promise: the correction counts from its record on, through the service, over a kill, and made
// without a service; what was delivered stays as it was. 82.0 °C is below the 82.2 °C (180 °F) of Food Code
// 4-501.112, and a probe that shows 0.6 °C too much hides it.
#[test]
fn a_calibration_counts_from_then_on() {
    for way in [Way::Service, Way::KilledAfterIt, Way::Alone] {
        let mut kitchen = Kitchen::new();
        let mut service = Service::start(&kitchen);
        kitchen.rack(0.0);
        let before = service.judged(&kitchen, 50.0);
        assert_eq!(before.verdict, Verdict::Narrow, "a pass, if a narrow one; {way:?}: {before:?}");
        if way == Way::Alone {
            service.stop();
            let said = session(&mut kitchen, 150.0);
            assert!(said.contains("found +0.60 °C, left +0.00 °C"), "{said}");
            service = Service::start(&kitchen);
        } else {
            let said = session(&mut kitchen, 150.0);
            assert!(said.contains("in force from now on"), "{said}");
            if way == Way::KilledAfterIt {
                service.kill();
                service = Service::start(&kitchen);
                service.until(|log| log.contains("is in force before the configuration"));
            }
        }
        kitchen.measure(230.0, 60.0, |_| 60.0);
        kitchen.rack(300.0);
        let after = service.judged(&kitchen, 350.0);
        assert_eq!(after.verdict, Verdict::Cold, "{way:?}: {after:?}");
        let min = |cycle: &Cycle| cycle.rinse_min_c.expect("measured");
        assert!((min(&before) - min(&after) - TOO_HIGH_C).abs() < 0.05, "{way:?}: {before:?} {after:?}");
        assert!(after.uncertainty_c < before.uncertainty_c, "{way:?}");
        service.stop();
        check_record(&kitchen, way);
    }
}

fn check_record(kitchen: &Kitchen, way: Way) {
    let done = kitchen.records().into_iter().find_map(|record| match record.body {
        Body::Calibration(done) => Some(*done),
        _ => None,
    });
    let done = done.expect("a calibration");
    assert_eq!((done.found.gain, done.found.offset_c), (1.0, 0.0), "{way:?}: {done:?}");
    assert!(
        (done.left.gain - 1.0).abs() < 0.001 && (done.left.offset_c + TOO_HIGH_C).abs() < 0.02,
        "{done:?}"
    );
    assert!((0.2..0.3).contains(&done.expanded_c) && done.until.is_some(), "{done:?}");
    assert!(done.by.starts_with("Eli (user "), "{done:?}");
    let reader = Reader::open(&kitchen.path("ledger.sqlite")).expect("a ledger");
    let stored = reader.readings("dm1/rinse", Timestamp::MIN, Timestamp::MAX).expect("readings");
    let of = |at: f64, number: f64| format!("{at:.2} {number}");
    let stored: Vec<String> = stored
        .iter()
        .map(|reading| {
            let Value::Number(number) = reading.value else { panic!("a number") };
            of(reading.at.seconds(), number)
        })
        .collect();
    let delivered: Vec<String> = kitchen.delivered.iter().map(|(at, value)| of(*at, *value)).collect();
    let missing = delivered.iter().filter(|reading| !stored.contains(reading)).count();
    // Without a service what the probe showed in the baths went to the command alone.
    let expected = if way == Way::Alone { 240 } else { 0 };
    assert_eq!((missing, stored.len()), (expected, delivered.len() - expected), "{way:?}");
    let (code, said) = kitchen.say(&["history", "--show", "in-force"]);
    assert_eq!((code, said.contains("  calibration    dm1/rinse: × ")), (Some(0), true), "{said}");
    // The work goes on a little after the dialog; without a service nobody tells of it.
    let work = if way == Way::Alone {
        "  work           none on a machine is on record"
    } else {
        "  work           dm1: Eli (user "
    };
    assert!(said.contains(work), "{said}");
    let file = kitchen.path("gateway.toml");
    let output = Command::new(env!("CARGO_BIN_EXE_rinseward")).arg("check-config").arg(file).output();
    let said = String::from_utf8(output.expect("the program starts").stdout).expect("UTF-8");
    assert!(said.contains("on record: dm1/rinse: calibration of record"), "{said}");
}

// Own promise: what is refused says why, ends with 1, and changes nothing.
#[test]
fn what_is_no_calibration_changes_nothing() {
    let mut kitchen = Kitchen::new();
    Service::start(&kitchen).stop();
    type Shows = Box<dyn Fn(f64) -> f64>;
    let cases: [(&[&str], Shows, &str); 3] = [
        (&["--ice"], Box::new(|_| 22.0), "it is steady at 22.60 °C, which is too far from 0.00 °C"),
        (&["--ice"], Box::new(|t| t / 30.0), "it drifts by +2.0"),
        (&["--ice"], Box::new(|t| 2.0 * (t * 11.0).sin()), "it swings by 1.4"),
    ];
    for (place, (points, shows, wanted)) in cases.iter().enumerate() {
        let head = ["calibrate", "dm1/rinse", "--by", "Eli", "--yes", "--seconds-max", "3"];
        let mut calibrating = Running::start(&kitchen, &[&head[..], points].concat());
        calibrating.until("Point 1");
        kitchen.measure(100.0 * place as f64, 60.0, shows);
        let (code, said) = calibrating.ended();
        assert_eq!((code, said.contains(wanted)), (Some(1), true), "«{wanted}»: {said}");
        assert!(
            said.contains("error[calibration-refused]") && said.contains("nothing was recorded"),
            "{said}"
        );
    }
    for (arguments, code, wanted) in [
        (&["calibrate", "dm1/rinse", "--ice", "--by", "Eli"] as &[&str], 64, "add --yes"),
        (&["calibrate", "dm1/tank", "--ice", "--by", "Eli", "--yes"], 64, "give one of dm1/rinse"),
        (&["calibrate", "dm1/running", "--ice", "--by", "Eli", "--yes"], 64, "no temperature probe"),
        (
            &["calibrate", "dm1/rinse", "--boiling", "--pressure", "1002kPa", "--by", "Eli", "--yes"],
            64,
            "no air pressure of a kitchen",
        ),
        (&["respond", "dm1/rinse", "--by", "Eli"], 64, "add --yes"),
        // Said before anybody waits at a bath.
        (
            &[
                "calibrate",
                "dm1/rinse",
                "--by",
                "Eli",
                "--yes",
                "--against",
                "82C",
                "--against",
                "82.2C",
                "--reference",
                "T7",
                "--reference-uncertainty",
                "0.01C",
            ],
            1,
            "the baths are only 0.20 °C apart, so they count as one",
        ),
    ] {
        let (found, said) = kitchen.say(arguments);
        assert_eq!((found, said.contains(wanted)), (Some(code), true), "{arguments:?}: {said}");
    }
    assert_eq!(kitchen.calibrations(), 0);
}

// A first-order answer of 1.2 s has a closed form; the rule of half the rinse is the tracker's.
#[test]
fn a_response_test_puts_its_time_constant_in_force() {
    for with_service in [true, false] {
        let mut kitchen = Kitchen::new();
        let service = Service::start(&kitchen);
        let service = if with_service {
            Some(service)
        } else {
            service.stop();
            None
        };
        let step =
            |tau_s: f64| move |t: f64| if t < 8.1 { 21.0 } else { 82.0 - 61.0 * (-(t - 8.1) / tau_s).exp() };
        for (place, (apart, tau_s, code, wanted)) in [
            (0.25, 1.5, 0, "✓ It has answered after 4.5 s, within half of the 12 s rinse"),
            (0.25, 4.0, 0, "✗ It has answered only after 12.0 s"),
            (1.0, 1.2, 1, "it must be read at least every 0.4"),
        ]
        .into_iter()
        .enumerate()
        {
            let arguments = ["respond", "dm1/rinse", "--by", "Eli", "--yes", "--seconds-max", "20"];
            let mut responding = Running::start(&kitchen, &arguments);
            responding.until("hold it still in the air");
            kitchen.measure_every(apart, 100.0 * place as f64, 50.0, step(tau_s));
            let (found, said) = responding.ended();
            assert_eq!((found, said.contains(wanted)), (Some(code), true), "{with_service} {tau_s}: {said}");
        }
        let taus: Vec<(f64, Option<bool>)> = kitchen
            .records()
            .into_iter()
            .filter_map(|record| match record.body {
                Body::Response(done) => Some((done.tau_s, done.fast_enough)),
                _ => None,
            })
            .collect();
        assert_eq!(taus.len(), 2, "{taus:?}");
        assert!((taus[0].0 - 1.5).abs() < 0.05 && taus[0].1 == Some(true), "{taus:?}");
        assert!((taus[1].0 - 4.0).abs() < 0.1 && taus[1].1 == Some(false), "{taus:?}");
        if let Some(service) = service {
            service.stop();
        }
    }
}

// What a person sees and answers: nothing is in force before they say yes, and what was measured before
// the probe was in the ice does not count.
#[test]
fn a_person_is_guided_and_asked() {
    let mut kitchen = Kitchen::new();
    Service::start(&kitchen).stop();
    for (place, (language, enter, watching, steady, question, answer, told, recorded)) in [
        ("en", "Press Enter", "watching", "steady: 0.6", "in force? [y/n]", "n\r", "Nothing was recorded", 0),
        (
            "es",
            "Pulse Intro",
            "observando",
            "estable: 0.6",
            "en vigor? [s/n]",
            "s\r",
            "en vigor desde ahora",
            1,
        ),
    ]
    .into_iter()
    .enumerate()
    {
        let arguments = ["calibrate", "dm1/rinse", "--ice", "--by", "Eli", "--language", language];
        let mut terminal = Terminal::start(&mut kitchen.command(&arguments), 200, 60);
        terminal.until(enter);
        let from = 200.0 * place as f64;
        kitchen.measure(from, 60.0, |_| 2.0);
        terminal.press("\r");
        terminal.until(watching);
        kitchen.measure(from + 70.0, 100.0, |_| 0.0);
        terminal.until(steady);
        terminal.until(question);
        assert_eq!(kitchen.calibrations(), 0, "nobody has said yes");
        terminal.press(answer);
        terminal.until(told);
        assert!(terminal.ended().success(), "{}", terminal.seen());
        assert_eq!(kitchen.calibrations(), recorded, "{}", terminal.seen());
    }
}

// Own promise: a withdrawn calibration counts no more, and the one before it is in force again.
#[test]
fn a_withdrawn_calibration_leaves_the_one_before() {
    let mut kitchen = Kitchen::new();
    let service = Service::start(&kitchen);
    let mut numbers = Vec::new();
    for (place, shown_c) in [0.0, 1.0].into_iter().enumerate() {
        let arguments = ["calibrate", "dm1/rinse", "--ice", "--by", "Eli", "--yes"];
        let mut calibrating = Running::start(&kitchen, &arguments);
        calibrating.until("Point 1");
        kitchen.measure(100.0 * place as f64, 90.0, |_| shown_c);
        let (code, said) = calibrating.ended();
        assert_eq!(code, Some(0), "{said}");
        let number = said.split("[record ").nth(1).and_then(|rest| rest.split(']').next());
        numbers.push(number.expect("the number of the record").to_owned());
    }
    let in_force = |number: &str| {
        let file = kitchen.path("gateway.toml");
        let output = Command::new(env!("CARGO_BIN_EXE_rinseward")).arg("check-config").arg(file).output();
        let said = String::from_utf8(output.expect("the program starts").stdout).expect("UTF-8");
        assert!(said.contains(&format!("calibration of record {number} ")), "{number}: {said}");
    };
    in_force(&numbers[1]);
    let amend = |number: &str, more: &[&str]| {
        let head = ["enter", "amendment", number, "--reason", "the ice was gone", "--by", "Eli"];
        kitchen.say(&[&head[..], more].concat())
    };
    let (code, said) = amend(&numbers[1], &["--shown", "0C"]);
    assert_eq!((code, said.contains("withdrawn and made anew")), (Some(64), true), "{said}");
    let (code, said) = amend(&numbers[1], &["--withdraw"]);
    assert_eq!(code, Some(0), "{said}");
    in_force(&numbers[0]);
    let (code, said) = amend(&numbers[1], &["--withdraw"]);
    assert_eq!((code, said.contains("was withdrawn before")), (Some(64), true), "{said}");
    service.stop();
}
