//! What the probes show in each place, what the machine does, and the port from outside.

use std::fs::File;
use std::io::{BufRead as _, BufReader, Write as _, pipe};
use std::thread;
use std::time::{Duration, Instant};

use super::*;
use crate::node::serial::PseudoTerminal;

/// An instant of Unix time, µs.
const START_MICROS: i64 = 1_800_000_000_000_000;
const WASH_TAU_S: f64 = 2.5;
const RINSE_TAU_S: f64 = 1.2;

/// Probes without noise, so that their law shows.
fn quiet(wash_off_c: f64, rinse_off_c: f64) -> Bench {
    let probe = |tau_s, offset_c| ProbeSpec {
        tau_s,
        offset_c,
        noise_c: 0.0,
        quantum_c: 0.001,
        ..ProbeSpec::default()
    };
    Bench::new(probe(WASH_TAU_S, wash_off_c), probe(RINSE_TAU_S, rinse_off_c), 1, START_MICROS)
}

/// Lets time pass up to `now_s`; what was said meanwhile.
fn until(bench: &mut Bench, now_s: f64) -> Vec<Emission> {
    let mut said = Vec::new();
    bench.advance(now_s, &mut said);
    said
}

/// Does it, and lets `seconds` pass.
fn after(bench: &mut Bench, line: &str, seconds: f64) -> Vec<Emission> {
    let _answer = bench.obey(line.parse().expect("an order"));
    let now_s = bench.now_s();
    until(bench, now_s + seconds + 1e-9)
}

/// The newest value of a name.
fn newest(said: &[Emission], name: &str) -> Option<RecordValue> {
    let records = said.iter().rev().flat_map(|emission| &emission.records);
    records.into_iter().find(|record| record.name == name).map(|record| record.value.clone())
}

fn shown_c(said: &[Emission], name: &str) -> f64 {
    match newest(said, name) {
        Some(RecordValue::Number(value_c)) => value_c,
        other => panic!("{name} shows {other:?}"),
    }
}

// First-order lag: 1 - 1/e of the step after one time constant (any textbook of control).
#[test]
fn a_step_is_answered_to_63_percent_after_tau() {
    for (name, tau_s) in [("wash", WASH_TAU_S), ("rinse", RINSE_TAU_S)] {
        let mut bench = quiet(0.0, 0.0);
        let room_c = shown_c(&until(&mut bench, 10.0), name);
        let _in_water = after(&mut bench, &format!("{name} pot 80"), tau_s);
        let held = if name == "wash" { &mut bench.wash } else { &mut bench.rinse };
        let Sample::Celsius(shown_c) = held.read(0.0) else { panic!("it is plugged in") };
        let answered = (shown_c - room_c) / (80.0 - room_c);
        assert!((answered - 0.632).abs() < 0.002, "{name}: {answered}");
    }
}

// Ice and water 0 °C; boiling water at 1013.25 hPa 99.974 °C (IAPWS SR1-86, see `boiling`); skin and room
// are own figures.
#[test]
fn every_place_has_its_temperature_and_every_probe_its_error() {
    let mut bench = quiet(-0.4, 0.6);
    for (spot, true_c) in [
        ("ice", 0.0),
        ("pot 80", 80.0),
        ("boil 1013.25", 99.974),
        ("boil 1000", 99.606),
        ("hand", HAND_C),
        ("air", 24.0),
    ] {
        let _begun = after(&mut bench, &format!("wash {spot}"), 0.0);
        let said = after(&mut bench, &format!("rinse {spot}"), 600.0);
        for (name, error_c) in [("wash", -0.4), ("rinse", 0.6)] {
            let shown_c = shown_c(&said, name);
            assert!((shown_c - true_c - error_c).abs() < 0.002, "{name} in {spot}: {shown_c}");
        }
    }
}

// Own choices: a dry hand is slower than water and air is slower still.
#[test]
fn a_hand_is_slower_than_water_and_air_is_slower_still() {
    let part_after_5_s = |from: &str, to: &str| {
        let mut bench = quiet(0.0, 0.0);
        let before_c = shown_c(&after(&mut bench, from, 600.0), "rinse");
        let during_c = shown_c(&after(&mut bench, to, 5.0), "rinse");
        let after_c = shown_c(&until(&mut bench, 2_000.0), "rinse");
        (during_c - before_c) / (after_c - before_c)
    };
    let water = part_after_5_s("rinse air", "rinse pot 34");
    let hand = part_after_5_s("rinse air", "rinse hand");
    let air = part_after_5_s("rinse pot 34", "rinse air");
    assert!(water > 0.95 && (0.5..0.8).contains(&hand) && (0.1..0.4).contains(&air), "{water} {hand} {air}");
}

/// In a settled rinse the line is colder than the booster by what its bare pipe loses to the body:
/// heat balance of a flow, ΔT = UA (T - Tbody) / (flow × cp), with the measures of the catalog.
#[test]
fn a_rack_rinses_with_what_the_booster_and_the_line_give() {
    let mut bench = quiet(0.0, 0.0);
    let _wash = after(&mut bench, "wash line", 0.0);
    let _settled = after(&mut bench, "rinse line", 120.0);
    let answer = bench.obey(Order::Rack { cold: false });
    assert!(answer.starts_with("rack: wash 44 s, pause 3 s, final rinse 12 s; tank 6"), "{answer}");
    assert!(bench.obey(Order::Rack { cold: false }).contains("runs already"));
    let (began_s, mut ran_s, mut settled) = (bench.now_s(), 0.0_f64, Vec::new());
    for tick in 1..400_u32 {
        let said = until(&mut bench, began_s + 0.25 * f64::from(tick) + 1e-9);
        let (tank_c, wash_c) = (bench.machine().plant().tank().water_c(), shown_c(&said, "wash"));
        assert!((wash_c - tank_c).abs() < 0.3, "{tick}: {wash_c} in a tank of {tank_c}");
        ran_s += if bench.machine().is_running() { 0.25 } else { 0.0 };
        if let crate::machine::Stage::Rinse { until_s } = bench.machine().stage()
            && until_s - bench.now_s() < 3.0
        {
            let plant = bench.machine().plant();
            let booster_c = plant.booster_c().expect("it has one");
            let lost_c = 14.0 * (booster_c - plant.body_c()) / (0.29 * 4_186.0);
            settled.push(shown_c(&said, "rinse"));
            let error_c = shown_c(&said, "rinse") - (booster_c - lost_c);
            assert!(error_c.abs() < 0.5, "{error_c} K from {booster_c} less {lost_c}");
        }
    }
    // Data plate of the catalog: 44 + 3 + 12 s, each timer within 0.45 s; limit 180 °F (4-501.112).
    assert!((ran_s - 59.0).abs() < 1.7, "{ran_s}");
    assert!(settled.len() > 8 && settled.iter().all(|shown_c| *shown_c > 82.3), "{settled:?}");
}

/// Without its booster a machine rinses with the building's hot water: 57 ± 2 °C and its wander (catalog).
#[test]
fn a_cold_rack_rinses_with_supply_water_and_the_next_one_is_good() {
    let mut bench = quiet(0.0, 0.0);
    let _in_line = after(&mut bench, "rinse line", 120.0);
    let coldest = |bench: &mut Bench, line: &str| {
        let mut settled_c: f64 = 100.0;
        let _begun = after(bench, line, 0.25);
        while bench.machine().is_running() {
            let now_s = bench.now_s();
            let said = until(bench, now_s + 0.25 + 1e-9);
            if let crate::machine::Stage::Rinse { until_s } = bench.machine().stage()
                && until_s - now_s < 4.0
            {
                settled_c = settled_c.min(shown_c(&said, "rinse"));
            }
        }
        settled_c
    };
    let cold_c = coldest(&mut bench, "cold rack");
    assert!((52.0..63.0).contains(&cold_c), "{cold_c}");
    let now_s = bench.now_s();
    let _heated = until(&mut bench, now_s + 300.0);
    let good_c = coldest(&mut bench, "rack");
    assert!(good_c > 82.3, "{good_c}");
}

/// Racks one after another: nobody waits for a tank that has got a little colder.
#[test]
fn every_rack_begins_at_once() {
    let mut bench = quiet(0.0, 0.0);
    for rest_s in [0.0, 10.0, 60.0, 121.0, 600.0, 119.0, 130.0] {
        let _idle = after(&mut bench, "rinse line", rest_s);
        let said = after(&mut bench, "rack", 0.1);
        assert_eq!(newest(&said, "running"), Some(RecordValue::Boolean(true)), "after {rest_s} s");
        let _cycle = after(&mut bench, "wash line", 61.0);
        assert!(!bench.machine().is_running());
    }
}

#[test]
fn leads_are_swapped_pulled_and_put_back() {
    let mut bench = quiet(0.0, 0.0);
    let _wash = after(&mut bench, "wash ice", 0.0);
    let said = after(&mut bench, "rinse pot 80", 60.0);
    assert!(shown_c(&said, "wash") < 0.1 && shown_c(&said, "rinse") > 79.9);
    let said = after(&mut bench, "swap", 0.25);
    assert!(shown_c(&said, "rinse") < 0.1 && shown_c(&said, "wash") > 79.9);
    let said = after(&mut bench, "swap", 0.25);
    assert!(shown_c(&said, "wash") < 0.1 && shown_c(&said, "rinse") > 79.9);
    let said = after(&mut bench, "unplug rinse", 0.25);
    let emission = said.last().expect("a reading");
    // The fault words of the gateway's plain lines and of its SenML (a string value at the probe's name).
    let plain = Format::Plain.lines(emission);
    assert!(plain[0].starts_with("dm1/wash ") && plain[1] == "dm1/rinse open-circuit", "{plain:?}");
    let [senml] = &Format::Senml.lines(emission)[..] else { panic!("one pack") };
    assert!(senml.ends_with("{\"n\":\"rinse\",\"vs\":\"open-circuit\"}]"), "{senml}");
    let said = after(&mut bench, "plug rinse", 0.25);
    assert!(shown_c(&said, "rinse") > 79.9);
}

#[test]
fn a_probe_speaks_four_times_a_second_and_the_same_seed_says_the_same() {
    let spec = ProbeSpec::default();
    let said = |seed| {
        let mut bench = Bench::new(spec, spec, seed, START_MICROS);
        until(&mut bench, 10.0 + 1e-9)
    };
    let (first, again, other) = (said(1), said(1), said(2));
    assert_eq!(first, again);
    assert_ne!(first, other);
    let of = |name: &str| first.iter().filter(|emission| emission.records[0].name == name).count();
    assert_eq!((of("wash"), of("running")), (40, 11));
    let times: Vec<i64> = first.iter().map(|emission| emission.time_micros - START_MICROS).collect();
    assert!(times.is_sorted() && times.last() == Some(&10_000_000), "{times:?}");
    // A zero from below has no sign, and a value four decimals.
    let records = vec![Record { name: "rinse", unit: Some("Cel"), value: RecordValue::Number(-0.0) }];
    let emission = Emission { records, ..first[0].clone() };
    assert_eq!(Format::Plain.lines(&emission), ["dm1/rinse 0.0000"]);
}

/// The whole command but its arguments: a person's words through a pipe, the lines through a port.
#[test]
fn a_person_and_a_port_meet_in_real_time() {
    let mut port = PseudoTerminal::open().expect("a pty");
    let lines = BufReader::new(File::open(port.path()).expect("the port is there")).lines();
    let (input, mut words) = pipe().expect("a pipe");
    let (answers, mut output) = pipe().expect("a pipe");
    let mut answers = BufReader::new(answers).lines().map(|line| line.expect("an answer"));
    let playing = thread::spawn(move || {
        let mut bench = quiet(0.0, 0.0);
        play(&mut bench, &mut port, Format::Plain, BufReader::new(input), &mut output)
    });
    let mut ask = |line: &str| {
        writeln!(words, "{line}").expect("somebody listens");
        answers.next().expect("an answer")
    };
    let mut heard = lines.map(|line| line.expect("readable"));
    assert!(heard.next().is_some_and(|line| line == "dm1/running false"), "the contact comes first");
    assert_eq!(ask("help"), HELP);
    assert_eq!(
        ask("rinse oven"),
        "rinse oven: a tip goes to air, hand, ice, pot 80, boil, boil 1002.5 or line"
    );
    assert_eq!(ask("wash boil 1013.25"), "wash: in boiling water, 99.97 °C at a pressure of 1013.25 hPa");
    assert_eq!(ask("unplug rinse"), "rinse: its lead is out; what it goes to says open-circuit");
    assert!(heard.any(|line| line == "dm1/rinse open-circuit"));
    assert!(
        ask("rack")
            .ends_with("; the wash probe is not in the machine; the rinse probe is not in the machine")
    );
    assert!(heard.any(|line| line == "dm1/running true"));
    assert_eq!(ask("quit"), "quit: the port closes");
    playing.join().expect("no panic").expect("it played well");
}

/// Who opens a port late hears what is, not what was; and the end of the input is the end.
#[test]
fn what_nobody_reads_is_dropped() {
    let mut port = PseudoTerminal::open().expect("a pty");
    let pace = crate::node::Pace::new(0, 1.0, crate::node::Stop::default());
    let began = Instant::now();
    for reading in 0..200 {
        port.drop_unread(1_024).expect("it can");
        let before = port.unread().expect("it says");
        port.write_line(&format!("dm1/rinse {reading}"), &pace).expect("it can");
        // The system hands a line over in its own time.
        while port.unread().expect("it says") == before {
            assert!(began.elapsed() < Duration::from_secs(20), "line {reading} never arrives");
            thread::yield_now();
        }
    }
    assert_eq!(port.lost(), 0);
    let first = BufReader::new(File::open(port.path()).expect("the port is there")).lines().next();
    let first = first.expect("a line").expect("readable");
    let reading: u32 = first.strip_prefix("dm1/rinse ").expect("a whole line").parse().expect("a number");
    // A line has 13 bytes at most: 1,024 bytes are 79 lines or more.
    assert!(reading > 70, "{reading}");
    let mut bench = quiet(0.0, 0.0);
    play(&mut bench, &mut port, Format::Senml, std::io::empty(), &mut Vec::new())
        .expect("the input has ended");
}
