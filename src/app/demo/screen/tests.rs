use std::time::Duration;

use ratatui::Terminal;
use ratatui::backend::TestBackend;

use super::*;
use crate::app::access::login_by;
use crate::config::resolve::Configuration;
use crate::core::cycle::verdict::Reason;
use crate::core::reading::{Sample, Value};
use crate::core::record::{Body, Record};
use crate::core::site::Event;
use crate::ledger::Input;
use crate::report::row::samples;
use crate::runtime::driver::Published;

const CONFIGURATION: &str = r#"
[[machine]]
name = "dm1"
kind = "stationary-rack-dual-temperature"
probes = ["wash", "rinse"]

[[machine]]
name = "dm2"
kind = "stationary-rack-single-temperature"
sanitizing = "chlorine"
probes = ["wash", "rinse"]
"#;

fn configuration() -> Configuration {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let path = directory.path().join("gateway.toml");
    std::fs::write(&path, CONFIGURATION).expect("a temporary file");
    Configuration::load(&[path], []).expect("a sound configuration").configuration
}

/// Two machines, two minutes of readings, a pass and a cold rack.
fn scene() -> Scene {
    let configuration = configuration();
    let channel = |name: &str| {
        let found = configuration.channels.iter().find(|channel| channel.name.as_str() == name);
        found.expect("a configured channel").id
    };
    let mut scene = Scene::new(&configuration.machines, &configuration.channels);
    let reason = Reason::RinseBelowLimit { measured_c: 71.31, limit_c: 82.222 };
    let cold = samples::cycle(240, Verdict::Cold, 71.31, vec![reason]);
    let pass = samples::cycle(120, Verdict::Pass, 85.0, Vec::new());
    let mut inputs = Vec::new();
    for second in 0..120_u32 {
        let at = pass.started.plus(Duration::from_secs(second.into()));
        for (name, celsius) in
            [("dm1/wash", 67.0), ("dm1/rinse", 55.0 + f64::from(second) / 4.0), ("dm2/rinse", 50.0)]
        {
            let sample = Sample { channel: channel(name), at, value: Value::Number(celsius) };
            inputs.push(Input { now: at, event: Event::Sample(sample) });
        }
    }
    let record = |machine: &str, cycle| Record::new(pass.received, Some(machine.to_owned()), cycle);
    let records = vec![
        (4, record("dm2", Body::Cycle(Box::new(pass.clone())))),
        (5, record("dm1", Body::Cycle(Box::new(cold)))),
    ];
    assert_eq!(scene.take(&Published { inputs, records }).len(), 2);
    scene
}

fn drawn(width: u16, height: u16) -> String {
    drawn_of(&scene(), width, height)
}

fn drawn_of(scene: &Scene, width: u16, height: u16) -> String {
    let setting = Setting {
        zone: TimeZone::UTC,
        speed: "60× real time".to_owned(),
        scenario: "demo".to_owned(),
        login: Some(login_by("http://127.0.0.1:8480/login", "2bmbk-4d2cj-qxkx7-t4s7v")),
        kept_in: "/tmp/rinseward-demo-4711-0".to_owned(),
    };
    let mut terminal = Terminal::new(TestBackend::new(width, height)).expect("a test terminal opens");
    terminal.draw(|frame| draw(frame, scene, &setting)).expect("a test terminal draws");
    terminal.backend().to_string()
}

// What a person must find on the screen without colour, at a common and at a small size.
#[test]
fn verdicts_stand_in_words_with_their_reason() {
    for (width, height) in [(100, 40), (80, 24)] {
        let screen = drawn(width, height);
        for text in [
            "SIMULATED",
            "dm1 · hot water",
            "dm2 · chlorine",
            "✗ COLD",
            "71.3 / 82.2 °C",
            "✓ PASS",
            "limit 82.2 °C",
            "→ Hold the rack",
            "The final rinse settled",
            "q quits",
            "pages: http://127.0.0.1:8480/login (log in, then choose a password)",
            "account: administrator   one-time secret: 2bmbk-4d2cj-qxkx7-t4s7v",
            "scalds",
            "stay needed.",
        ] {
            assert!(screen.contains(text), "{text} at {width}×{height}:\n{screen}");
        }
    }
}

#[test]
fn draws_into_any_size() {
    for (width, height) in [(1, 1), (20, 5), (40, 60), (300, 100)] {
        assert!(!drawn(width, height).is_empty());
    }
}

// Own rule: what to do must not scroll away while somebody fetches the rack.
#[test]
fn the_last_rack_to_hold_stays_on_the_screen() {
    let mut scene = scene();
    let records = (0..30_u64)
        .map(|rack| {
            let pass = samples::cycle(400 + 100 * rack, Verdict::Pass, 85.0, Vec::new());
            (6 + rack, Record::new(pass.received, Some("dm1".to_owned()), Body::Cycle(Box::new(pass))))
        })
        .collect();
    assert_eq!(scene.take(&Published { inputs: Vec::new(), records }).len(), 30);
    for (width, height) in [(100, 40), (80, 24)] {
        let screen = drawn_of(&scene, width, height);
        for text in ["last rack to hold", "✗ cold", "→ Hold the rack"] {
            assert!(screen.contains(text), "{text} at {width}×{height}:\n{screen}");
        }
    }
}

// Own promise: the newest message can be read to its end on the smallest common terminal, beside everything that
// may stand there, and where the demo keeps its things. What has no room is told by «…» or as a number.
#[test]
fn the_newest_message_is_seen_to_its_end() {
    let mut scene = scene();
    scene.notice = Some(
        "message to duty: Final rinse too cold – dm1: 75.0 °C (limit 82.2 °C), 1 rack since 12:08 UTC. Hold the \
         racks; run an empty one."
            .to_owned(),
    );
    let open =
        |place: u32| format!("open: cold at dm1, {place} racks since 12:08:16 (lasts; nobody has answered)");
    scene.open = (0..5).map(open).collect();
    for (width, height) in [(100, 40), (80, 24)] {
        let screen = drawn_of(&scene, width, height);
        for text in [
            "! message to duty: Final rinse too cold",
            "run an empty one.",
            "kept in: /tmp/rinseward-demo-4711-0",
            "! open: cold at dm1, 0 racks",
            "… and 3 more open",
            "pages: http://127.0.0.1:8480/login (log in, then choose a password)",
            "account: administrator   one-time secret: 2bmbk-4d2cj-qxkx7-t4s7v",
            "→ Hold the rack",
            "last: ",
            "limit 82.2 °C",
            "stay needed.",
        ] {
            assert!(screen.contains(text), "{text} at {width}×{height}:\n{screen}");
        }
    }
}

// Own rule: no line ends in the middle of a word without a sign of it.
#[test]
fn what_is_cut_is_told() {
    let mut scene = scene();
    scene.notice = Some("a word and ".repeat(60));
    scene.open = vec!["open: ".to_owned() + &"very ".repeat(20) + "cold"];
    scene.counts = [1000; Verdict::ALL.len()];
    let mut row = scene.cycles[0].clone();
    (row.verdict, row.rinse_min_c) = (Verdict::Unproven, None);
    scene.machines[0].last = Some(row);
    let screen = drawn_of(&scene, 80, 24);
    let lines: Vec<&str> = screen.lines().map(|line| line.trim_matches('"').trim_end()).collect();
    for begin in [" ! open: very", " racks: ✗ 1000"] {
        let line =
            lines.iter().find(|line| line.starts_with(begin)).unwrap_or_else(|| panic!("{begin}: {screen}"));
        assert!(line.ends_with('…'), "{line}");
    }
    let told = lines.iter().filter(|line| line.contains("a word and")).count();
    assert_eq!(told, NOTICE_LINES_MAX, "{screen}");
    assert!(lines[1 + NOTICE_LINES_MAX].ends_with('…'), "{screen}");
    assert!(screen.contains("? UNPROVEN  – / 82.2 °C"), "{screen}");
}
