use super::super::channel::{Place as At, Role};
use super::super::cycle::fixture::{self, at};
use super::super::effect::Effect;
use super::super::id::{ChannelId, ChannelName};
use super::super::reading::Value;
use super::*;

/// Two machines with one final-rinse probe each, channels 0 and 1.
fn two_machines() -> Site {
    let channel = |id: u16| Channel {
        id: ChannelId(id),
        name: ChannelName::try_from(format!("dm{id}/rinse")).expect("a legal name"),
        machine: MachineId(id),
        role: Role::Probe(fixture::probe(At::FinalRinse, Some(1.0))),
    };
    Site::new(&[fixture::door(), fixture::door()], &[channel(0), channel(1)])
}

fn sample(channel: u16, seconds: f64) -> Event {
    Event::Sample(Sample { channel: ChannelId(channel), at: at(seconds), value: Value::Number(60.0) })
}

fn failures(effects: &Effects) -> Vec<MachineFailure> {
    let of = |effect: &Effect| {
        let Effect::Record { record, .. } = effect else { return None };
        let Body::MachineFailure(failure) = &record.body else { return None };
        Some(failure.clone())
    };
    effects.iter().filter_map(of).collect()
}

// From the promise that one machine's failure never stops another's.
#[test]
fn a_failing_machine_is_recorded_and_stops_no_other() {
    let mut site = two_machines();
    let mut effects = Effects::new();
    for second in 0..5 {
        let now = f64::from(second);
        site.machines[0].machine.poison = Some(at(now));
        site.handle(at(now), sample(0, now), &mut effects);
        site.handle(at(now), sample(1, now), &mut effects);
    }
    let told = failures(&effects);
    assert_eq!(told.iter().map(|failure| failure.stopped).collect::<Vec<_>>(), [false, false, true]);
    assert!(told.iter().all(|failure| failure.cause.contains("poisoned")), "{told:?}");
    assert_eq!(site.take_counts(MachineId(1)).taken, 5, "the other machine takes its samples");
    let (_, next) = site.deadline().expect("the other machine waits for its silence");
    assert_eq!(next, MachineId(1), "a stopped machine asks for nothing");
}

#[test]
fn a_stopped_machine_lets_go_of_its_inputs() {
    let mut site = two_machines();
    let mut effects = Effects::new();
    site.machines[0].failures = FAILURES_MAX;
    for second in 0..121 {
        site.handle(at(f64::from(second)), sample(0, f64::from(second)), &mut effects);
    }
    let snapshots = effects.iter().filter(|effect| matches!(effect, Effect::Snapshot { .. })).count();
    assert_eq!(snapshots, 3, "one a minute, so that nothing is kept back for it");
}
