use std::time::Duration;

use ratatui::Terminal;
use ratatui::backend::TestBackend;

use super::*;
use crate::core::channel::{Channel, Place, Probe, Role, Signal};
use crate::core::cycle::plate::{Limit, LimitSource, MachineKind, PlateTimes, Profile, RinseFrom};
use crate::core::cycle::verdict::Reason;
use crate::core::id::{ChannelId, ChannelName, MachineId};
use crate::core::reading::{Sample, Value};
use crate::core::record::{Body, Record};
use crate::core::site::Event;
use crate::core::units::Celsius;
use crate::ledger::Input;
use crate::report::row::samples;
use crate::runtime::driver::Published;

fn machine(name: &str, sanitizing: Sanitizing) -> Profile {
    let limit = |celsius| Limit { at: Celsius(celsius), source: LimitSource::FoodCode };
    Profile {
        name: name.to_owned(),
        kind: MachineKind::StationaryRackDualTemperature,
        sanitizing,
        rinse_from: RinseFrom::FreshLine,
        times: PlateTimes {
            wash: Duration::from_secs(45),
            pause: Duration::from_secs(2),
            rinse: Duration::from_secs(12),
        },
        rinse_min: limit(82.222),
        rinse_max: limit(90.0),
        wash_min: limit(65.556),
        dwell_min: Duration::from_secs(5),
        disorder_window: Duration::from_secs(5),
        check_valid_for: Duration::from_secs(8 * 3600),
    }
}

fn probe(id: u16, machine: u16, name: &str, place: Place) -> Channel {
    let role = Role::Probe(Probe {
        place,
        signal: Signal::Celsius,
        calibration: Default::default(),
        budget: Default::default(),
        tau: None,
        silent_after: Duration::from_secs(10),
        stuck_after: None,
    });
    let name = ChannelName::try_from(name.to_owned()).expect("a legal name");
    Channel { id: ChannelId(id), name, machine: MachineId(machine), role }
}

/// Two machines, two minutes of readings, a pass and a cold rack.
fn scene() -> Scene {
    let machines = [machine("dm1", Sanitizing::HotWater), machine("dm2", Sanitizing::Chlorine)];
    let channels = [
        probe(0, 0, "dm1/wash", Place::WashTank),
        probe(1, 0, "dm1/rinse", Place::FinalRinse),
        probe(2, 1, "dm2/rinse", Place::FinalRinse),
    ];
    let mut scene = Scene::new(&machines, &channels);
    let reason = Reason::RinseBelowLimit { measured_c: 71.31, limit_c: 82.222 };
    let cold = samples::cycle(240, Verdict::Cold, 71.31, vec![reason]);
    let pass = samples::cycle(120, Verdict::Pass, 85.0, Vec::new());
    let mut inputs = Vec::new();
    for second in 0..120_u32 {
        let at = pass.started.plus(Duration::from_secs(second.into()));
        for (channel, celsius) in [(0, 67.0), (1, 55.0 + f64::from(second) / 4.0), (2, 50.0)] {
            let sample = Sample { channel: ChannelId(channel), at, value: Value::Number(celsius) };
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
    let setting =
        Setting { zone: TimeZone::UTC, speed: "60× real time".to_owned(), scenario: "demo".to_owned() };
    let mut terminal = Terminal::new(TestBackend::new(width, height)).expect("a test terminal opens");
    terminal.draw(|frame| draw(frame, &scene(), &setting)).expect("a test terminal draws");
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
            "The final rinse settled",
            "q quits",
            "scalds",
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
