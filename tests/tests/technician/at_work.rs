//! What a technician's commands do puts their machine under work while it lasts.

use std::fs;

use rinseward::core::cycle::verdict::{Reason, Verdict};
use rinseward::core::record::{Body, Maintenance, Record};
use rustix::process::Signal;

use super::{Kitchen, Running, Service};

/// The second of the kitchen that is now, since its clock runs a quarter of an hour behind.
const NOW: f64 = 900.0;

/// A kitchen whose readings may lie ahead of the gateway's clock, so that racks after the work need not be waited for.
fn ahead() -> Kitchen {
    let kitchen = Kitchen::new();
    let path = kitchen.path("gateway.toml");
    let text = fs::read_to_string(&path).expect("our own file");
    let text = text.replace("[site]\n", "[site]\nahead-max = \"2h\"\n");
    fs::write(&path, text).expect("our own file");
    kitchen
}

fn work(kitchen: &Kitchen) -> Vec<Maintenance> {
    let work = kitchen.records().into_iter().filter_map(|record| match record.body {
        Body::Maintenance(work) => Some(work),
        _ => None,
    });
    work.collect()
}

fn raised(kitchen: &Kitchen) -> usize {
    kitchen.records().iter().filter(|record| matches!(record.body, Body::AlertRaised(_))).count()
}

/// A command at the probe that is under way by this line.
fn begun(kitchen: &Kitchen, command: &[&str], line: &str) -> Running {
    let arguments = [command, &["--by", "Eli", "--yes"]].concat();
    let mut running = Running::start(kitchen, &arguments);
    running.until(line);
    running
}

// Own promise: nobody has to say before that the machine is worked on. 75 °C are below the 82.2 °C (180 °F) of
// Food Code 4-501.112, so this rack is cold where it is believed.
#[test]
fn racks_while_a_probe_is_calibrated_are_marked_and_raise_nothing() {
    let mut kitchen = ahead();
    let service = Service::start(&kitchen);
    let command = ["calibrate", "dm1/rinse", "--ice"];
    let mut calibrating = begun(&kitchen, &command, "From now on dm1 counts as worked on");
    calibrating.until("Point 1");
    kitchen.rack_of(75.0, NOW - 40.0);
    let during = service.judged(&kitchen, NOW + 10.0);
    assert_eq!(during.verdict, Verdict::Unproven, "{during:?}");
    assert!(during.reasons.contains(&Reason::WorkedOn), "{during:?}");
    kitchen.measure(NOW + 100.0, 30.0, |_| 0.0);
    let (code, said) = calibrating.ended();
    assert_eq!(code, Some(0), "{said}");
    assert!(said.contains("Racks of dm1 are marked unproven until"), "{said}");
    assert_eq!(raised(&kitchen), 0, "nothing is raised by them");

    kitchen.measure(NOW + 400.0, 60.0, |_| 60.0);
    kitchen.rack_of(75.0, NOW + 470.0);
    let after = service.judged(&kitchen, NOW + 520.0);
    assert_eq!(after.verdict, Verdict::Cold, "judged as ever: {after:?}");
    service.until(|_| raised(&kitchen) == 1);
    service.stop();
    let marked = |record: &Record| matches!(&record.body, Body::Cycle(cycle) if cycle.is_worked_on());
    let marked = kitchen.records().iter().filter(|record| marked(record)).count();
    for (show, told) in [
        ("summary", format!("Unproven while somebody worked on the machine: dm1 {marked}.")),
        ("days", format!("Unproven while somebody worked on the machine: dm1 {marked}.")),
        ("cycles", format!("Of these {marked} made while somebody worked on the machine.")),
    ] {
        let (code, said) = kitchen.say(&["history", "--show", show]);
        assert_eq!((code, said.contains(&told)), (Some(0), true), "«{told}»: {said}");
    }
    let work = work(&kitchen);
    assert_eq!(work.len(), 2, "a beginning, and an end that is to come: {work:?}");
    for record in &work {
        assert!(!record.ended && record.by.as_deref().is_some_and(|by| by.starts_with("Eli (user ")));
        assert_eq!(record.why.as_deref(), Some("calibration of dm1/rinse"));
    }
}

// Own promise: each of the three says so in its own way, also where a program reads, in either language, and
// where it ends without a result.
#[test]
fn each_command_says_who_works_there_and_why() {
    let kitchen = ahead();
    let service = Service::start(&kitchen);
    let rows: [(&[&str], &str, i32); 3] = [
        (&["calibrate", "dm1/rinse", "--ice", "--seconds-max", "1"], "calibration of dm1/rinse", 1),
        (&["respond", "dm1/rinse", "--seconds-max", "1", "--json"], "response test of dm1/rinse", 1),
        (&["prove", "dm1", "--seconds-each", "1"], "proof of the wiring of dm1", 1),
    ];
    for (place, (command, why, code)) in rows.into_iter().enumerate() {
        let arguments = [command, &["--by", "Eli", "--yes", "--language", "es"]].concat();
        let (found, said) = kitchen.say(&arguments);
        assert_eq!(found, Some(code), "{said}");
        assert!(said.contains("se trabaja en dm1") && said.contains("quedan sin comprobar hasta"), "{said}");
        let work = work(&kitchen);
        assert_eq!(work.len(), 2 * (place + 1), "{work:?}");
        assert!(work.last().is_some_and(|last| last.why.as_deref() == Some(why)), "{work:?}");
    }
    service.stop();
    // Where nobody judges racks none is marked.
    let (_, said) =
        kitchen.say(&["calibrate", "dm1/rinse", "--ice", "--seconds-max", "1", "--by", "Eli", "--yes"]);
    assert!(!said.contains("worked on"), "{said}");
    assert_eq!(work(&kitchen).len(), 6);
}

// Own promise: whoever breaks it off leaves the machine under work no longer than one who has finished.
#[test]
fn a_signal_ends_the_work_in_order() {
    let kitchen = ahead();
    let service = Service::start(&kitchen);
    let rows: [(&[&str], Signal); 2] =
        [(&["calibrate", "dm1/rinse", "--ice"], Signal::INT), (&["respond", "dm1/rinse"], Signal::TERM)];
    for (place, (command, signal)) in rows.into_iter().enumerate() {
        let running = begun(&kitchen, command, "From now on dm1 counts as worked on");
        running.signal(signal);
        let (code, said) = running.ended();
        assert_eq!(code, Some(1), "{said}");
        assert!(said.contains("was broken off; nothing was recorded"), "{said}");
        assert!(said.contains("Racks of dm1 are marked unproven until"), "{said}");
        let work = work(&kitchen);
        assert_eq!(work.len(), 2 * (place + 1), "a beginning and an end each: {work:?}");
    }
    service.stop();
}
