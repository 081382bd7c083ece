//! The commands, with a service and without one.

use rinseward::core::record::{Body, Check};
use rinseward::core::time::Timestamp;
use rinseward_simulator::scenario::Scenario;
use rinseward_simulator::world::World;
use rustix::process::geteuid;

use super::office::{Day, Gateway, Office, Peers, until};

/// Runs a command and gives its exit code and what it said.
fn say(office: &Office, arguments: &[&str]) -> (Option<i32>, String) {
    let output = office.rinseward(arguments);
    let said = [output.stdout, output.stderr].concat();
    (output.status.code(), String::from_utf8(said).expect("UTF-8"))
}

// Exit codes of sysexits.h (4.3BSD); what is said is this project's own.
#[test]
fn people_are_heard_with_a_service_and_without_one() {
    let peers = Peers::start();
    let office = Office::at_the_pipe(&peers, "");
    let day = Day::with_a_dead_booster(&office);
    let (code, said) = say(&office, &["alerts", "acknowledge", "1", "--by", "Ana"]);
    assert_eq!((code, said.contains("there is no ledger")), (Some(74), true), "{said}");

    let mut gateway = Gateway::start(&office, "");
    gateway.feed(&day.between(0, day.first_cold()));
    office.until_recorded(&gateway, "an alert", |body| matches!(body, Body::AlertRaised(_)));
    let rows: [(&[&str], i32, &str); 9] = [
        (&["alerts", "list", "--open"], 0, "cold"),
        (&["alerts", "show", "7"], 64, "no alert has the number 7"),
        (&["alerts", "acknowledge", "7", "--by", "Ana"], 64, "no open alert has the number 7"),
        (&["alerts", "acknowledge", "1", "--by", " "], 64, "missing"),
        (&["alerts", "acknowledge", "1", "--by", "Ana", "--note", "coming"], 0, "is taken care of by Ana"),
        (&["alerts", "acknowledge", "1", "--by", "Ben"], 64, "was acknowledged by Ana"),
        (&["maintenance", "dm9", "--for", "1h", "--by", "Ben"], 64, "no machine is called «dm9»"),
        (&["maintenance", "dm1", "--for", "1h", "--by", "Ben"], 0, "on record as unproven"),
        (&["enter", "supply", "dm1", "--by", "Cy", "--note", "detergent"], 0, "is on record"),
    ];
    for (arguments, code, part) in rows {
        let (found, said) = say(&office, arguments);
        assert_eq!((found, said.contains(part)), (Some(code), true), "{arguments:?}: {said}");
    }
    for (scale, degrees) in [("c", " °C (limit 82.2 °C)"), ("f", " °F (limit 180.0 °F)")] {
        let (code, said) = say(&office, &["alerts", "list", "--scale", scale]);
        assert_eq!((code, said.contains(degrees)), (Some(0), true), "{said}");
        let (_, said) = say(&office, &["alerts", "show", "1", "--scale", scale]);
        assert!(said.contains(&degrees[1..3]) && !said.contains("(1 racks"), "{said}");
    }
    let (code, said) = say(&office, &["run"]);
    assert_eq!((code, said.contains("ledger-locked")), (Some(74), true), "{said}");
    gateway.stop();
    assert!(!office.path("ledger.sqlite.socket").exists(), "removed at the end");

    // No service runs: the same orders go into the ledger itself.
    let words = ["--racks", "rewashed", "--done", "reset"];
    let acted =
        |more: &[&str]| say(&office, &[&["alerts", "act", "1", "--by", "Ana"][..], &words, more].concat());
    let (code, said) = acted(&["--covers", "900"]);
    assert_eq!((code, said.contains("was to cover 900")), (Some(64), true), "{said}");
    let (code, said) = acted(&["--covers", "0"]);
    assert_eq!((code, said.contains("on record. It covers no rack. ")), (Some(0), true), "{said}");
    assert!(said.contains("of its own.") || said.contains("of their own."), "{said}");
    let little = ["alerts", "act", "1", "--by", "Ana", "--racks", "rewashed", "--done", "ok"];
    let (code, said) = say(&office, &little);
    let told = said.contains("alert-refused") && said.contains("what was done says nothing");
    assert_eq!((code, told && said.contains("with --done what was done")), (Some(64), true), "{said}");
    let (code, said) = acted(&["--json"]);
    let told = said.contains("\"rewashed\"") && said.contains("\"covers\"");
    assert_eq!((code, told), (Some(0), true), "{said}");
    let (code, said) =
        say(&office, &["enter", "sanitizer", "dm1", "--by", "Cy", "--mg-per-l", "100", "--ph", "7"]);
    assert_eq!((code, said.contains("sanitizes by hot water")), (Some(64), true), "{said}");
    let (code, _) = say(&office, &["enter", "note", "dm1", "all quiet", "--by", "Cy"]);
    assert_eq!(code, Some(0));
    check(&office);
}

/// What was said is on record with the user who said it.
fn check(office: &Office) {
    let records = office.records();
    let found = |fits: &dyn Fn(&Body) -> Option<String>| {
        let own = records.iter().filter_map(|record| fits(&record.body));
        own.collect::<Vec<String>>()
    };
    let user = if geteuid().is_root() { " (user root)" } else { " (user " };
    let acknowledged = found(&|body| match body {
        Body::AlertAcknowledged(taken) => Some(format!("{} by {}", taken.by, taken.via)),
        _ => None,
    });
    assert!(acknowledged[0].starts_with(&format!("Ana{user}")), "{acknowledged:?}");
    assert!(acknowledged[0].ends_with("by command"), "{acknowledged:?}");
    let checks = found(&|body| match body {
        Body::Check(Check::Supply { note, .. }) => note.clone(),
        Body::Note(note) => Some(note.text.clone()),
        _ => None,
    });
    assert_eq!(checks, ["detergent", "all quiet"]);
    let acted = found(&|body| match body {
        Body::CorrectiveAction(action) => Some(action.racks.clone()),
        _ => None,
    });
    assert_eq!(acted, ["rewashed", "rewashed"]);
    assert_eq!(found(&|body| matches!(body, Body::Maintenance(_)).then(String::new)).len(), 1);
}

// A marked test goes through every channel and tells each step; what fails says where.
#[test]
fn a_test_tells_each_step_of_each_channel() {
    let peers = Peers::start();
    let office = Office::at_the_pipe(&peers, "");
    let gateway = Gateway::start(&office, "");
    until(|| gateway.log().contains("control socket"), || gateway.log());
    let (code, said) = say(&office, &["alerts", "test", "ana"]);
    assert_eq!(code, Some(0), "{said}");
    assert!(said.contains("✓ email:ana@example.org") && said.contains("✓ webhook:office"), "{said}");
    let mail = peers.mail.next("the test mail");
    assert!(
        mail["texts"]["plain"].as_str().is_some_and(|text| text.to_lowercase().contains("test")),
        "{mail}"
    );
    assert_eq!(peers.webhook.next("the test event")["event"]["type"], "dev.rinseward.alert.test");
    let (code, said) = say(&office, &["alerts", "test", "zoe"]);
    assert_eq!((code, said.contains("ana, ben")), (Some(64), true), "{said}");
    // Files that were changed since the start are not what the service runs with.
    let text = std::fs::read_to_string(office.configuration()).expect("it is there");
    std::fs::write(office.configuration(), text.replace("kitchen@example.org", "other@example.org"))
        .expect("a temporary file");
    let (code, said) = say(&office, &["alerts", "test", "ana"]);
    assert_eq!(
        (code, said.contains("the service runs with another configuration")),
        (Some(74), true),
        "{said}"
    );
    gateway.stop();
    // Without a service, and with a mail server that is gone.
    drop(peers);
    let (code, said) = say(&office, &["alerts", "test", "ana"]);
    assert_eq!((code, said.contains("✗ email:ana@example.org")), (Some(74), true), "{said}");
}

/// A second machine, which sanitizes by chlorine; no test kit is wired to it.
const CHEMICAL: &str = "[[machine]]\nname = \"dm2\"\nkind = \"stationary-rack-dual-temperature\"\n\
     sanitizing = \"chlorine\"\nwash-time = \"50s\"\nrinse-time = \"25s\"\ndisorder-window = \"1s\"\n\
     probes = [\"wash\", \"rinse\"]";

// Food Code 4-501.114: a rack of a chemical machine is proven only with a concentration on file.
// What is entered counts for the racks after it, with a service and without one.
#[test]
fn a_concentration_that_is_entered_is_judged_by() {
    let peers = Peers::start();
    let office = Office::at_the_pipe(&peers, CHEMICAL);
    let mut plan = Scenario::Demo.plan();
    plan.hours = 0.75;
    let from = jiff::Timestamp::now().as_microsecond() - 2_700_000_000;
    let world = World::starting_at(&plan, 1, from).filter(|emission| {
        let line = emission.line();
        line.contains("\"dm2/\"") && line.contains("\"rinse\"")
    });
    let lines: Vec<(i64, String)> = world.map(|emission| (emission.time_micros, emission.line())).collect();
    let start = lines[0].0;
    let part = |third: i64| {
        let own = |at: &i64| (at - start) / 900_000_000 == third;
        lines.iter().filter(|(at, _)| own(at)).map(|(_, line)| line.clone()).collect::<Vec<_>>()
    };
    let entered = |third: i64, mg_per_l: &str| {
        let at = Timestamp::from_micros(start + third * 900_000_000).to_string();
        let who = ["enter", "sanitizer", "dm2", "--by", "Cy", "--ph", "7", "--at", &at];
        let (code, said) = say(&office, &[&who[..], &["--mg-per-l", mg_per_l]].concat());
        assert_eq!((code, said.contains("is on record")), (Some(0), true), "{said}");
    };
    let found = || {
        let cycles = office.records().into_iter().filter_map(|record| match record.body {
            Body::Cycle(cycle) => Some((cycle.verdict.to_string(), cycle.concentration_mg_per_l)),
            _ => None,
        });
        cycles.collect::<Vec<_>>()
    };
    let judged = |by: Option<f64>| found().iter().filter(|(_, mg_per_l)| *mg_per_l == by).count();

    let mut gateway = Gateway::start(&office, "");
    gateway.feed(&part(0));
    until(|| judged(None) >= 2, || format!("{:?}\n{}", found(), gateway.log()));
    assert!(found().iter().all(|(verdict, _)| verdict == "unproven"), "{:?}", found());
    entered(1, "75");
    gateway.feed(&part(1));
    until(|| judged(Some(75.0)) >= 2, || format!("{:?}\n{}", found(), gateway.log()));
    gateway.stop();
    entered(2, "90");
    let mut gateway = Gateway::start(&office, "");
    gateway.feed(&part(2));
    until(|| judged(Some(90.0)) >= 2, || format!("{:?}\n{}", found(), gateway.log()));
    let proven = found().iter().filter(|(verdict, _)| verdict == "pass").count();
    assert!(proven >= 3, "{:?}", found());
    gateway.stop();
    let who = office.records().into_iter().filter_map(|record| match record.body {
        Body::Check(Check::Sanitizer { by, .. }) => Some(by),
        _ => None,
    });
    let who: Vec<String> = who.collect();
    assert!(who.len() == 2 && who.iter().all(|by| by.starts_with("Cy (user ")), "{who:?}");
}
