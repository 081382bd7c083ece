mod start;

use proptest::prelude::*;

use super::super::cycle::fixture::{self, Flow, at};
use super::super::cycle::plate::RinseFrom;
use super::super::cycle::verdict::{Reason, Verdict};
use super::super::id::{ChannelId, ChannelName};
use super::super::record::{Cycle, Gap};
use super::*;

const WASH: u16 = 0;
const RINSE: u16 = 1;

fn machine() -> Machine {
    let probe = |id: u16, name: &str, place| Channel {
        id: ChannelId(id),
        name: ChannelName::try_from(format!("dm1/{name}")).expect("a legal name"),
        machine: MachineId(0),
        role: Role::Probe(fixture::probe(place, Some(1.0))),
    };
    let channels = vec![probe(WASH, "wash", Place::WashTank), probe(RINSE, "rinse", Place::FinalRinse)];
    Machine::new(MachineId(0), fixture::door(), channels)
}

/// An arrival: the gateway's time in s, and the sample.
type Arrival = (f64, Sample);

/// `seconds` of a machine in service, a rack every 80 s of which every third is cold; each sample
/// arrives as it is measured.
fn service(seconds: f64) -> Vec<Arrival> {
    let rinse = |i: u32| {
        let from = 60.0 + 80.0 * f64::from(i);
        Flow { from, to: from + 10.0, celsius: if i % 3 == 2 { 74.0 } else { 86.0 } }
    };
    let flows: Vec<_> = (0..).map(rinse).take_while(|flow| flow.to < seconds).collect();
    let mut arrivals = Vec::new();
    for (i, reading) in fixture::line(seconds, 60.0, 1.0, &flows).into_iter().enumerate() {
        let wash_c = 68.0 + 0.1 * f64::from(u32::try_from(i % 7).expect("below 7"));
        for (channel, celsius) in [(WASH, wash_c), (RINSE, reading.celsius.0)] {
            let sample =
                Sample { channel: ChannelId(channel), at: reading.at, value: Value::Number(celsius) };
            arrivals.push((reading.at.seconds(), sample));
        }
    }
    arrivals
}

/// Plays arrivals, with every tick that falls due between them; gives what went on record and
/// the last snapshot with the number of arrivals before it.
fn play_on(
    machine: &mut Machine,
    arrivals: &[Arrival],
    end: bool,
) -> (Vec<Record>, Option<(usize, Vec<u8>)>) {
    let (mut records, mut snapshot) = (Vec::new(), None);
    let mut effects = Effects::new();
    for (count, (now, sample)) in arrivals.iter().enumerate() {
        while let Some(deadline) = machine.deadline().filter(|deadline| *deadline < at(*now)) {
            machine.tick(deadline, &mut effects);
        }
        machine.sample(at(*now), usize::from(sample.channel.0), *sample, &mut effects);
        for effect in effects.drain(..) {
            match effect {
                Effect::Record { record, .. } => records.push(*record),
                Effect::Snapshot { state, .. } => snapshot = Some((count + 1, state)),
            }
        }
    }
    if end {
        machine.finish(arrivals.last().map_or(at(0.0), |(now, _)| at(*now)), &mut effects);
        records.extend(effects.into_iter().filter_map(|effect| match effect {
            Effect::Record { record, .. } => Some(*record),
            Effect::Snapshot { .. } => None,
        }));
    }
    (records, snapshot)
}

fn play(arrivals: &[Arrival]) -> Vec<Record> {
    play_on(&mut machine(), arrivals, true).0
}

fn cycles(records: &[Record]) -> Vec<&Cycle> {
    records
        .iter()
        .filter_map(|record| if let Body::Cycle(cycle) = &record.body { Some(&**cycle) } else { None })
        .collect()
}

fn gaps(records: &[Record]) -> Vec<&Gap> {
    records
        .iter()
        .filter_map(|record| if let Body::Gap(gap) = &record.body { Some(gap) } else { None })
        .collect()
}

fn kinds(records: &[Record], kind: &str) -> usize {
    records.iter().filter(|record| record.body.kind() == kind).count()
}

// Own promise: while a rack is rinsed the machine says since when, and nothing before and after. The rinse of `service` is
// from 60 s to 70 s, and judged when its window has passed.
#[test]
fn what_is_under_way_is_told_while_it_is() {
    for (until, expected) in [(50.0, None), (72.0, Some(60.0)), (130.0, None)] {
        let mut machine = machine();
        play_on(&mut machine, &service(until), false);
        let since = machine.under_way_since().map(Timestamp::seconds);
        let near = |(since, expected): (f64, f64)| (since - expected).abs() <= 3.0;
        assert!(
            since.is_some() == expected.is_some() && since.zip(expected).is_none_or(near),
            "{until}: {since:?}"
        );
    }
}

/// The records without the times of the gateway's clock.
fn timeless(records: &[Record]) -> Vec<Record> {
    let mut records = records.to_vec();
    for record in &mut records {
        record.recorded = at(0.0);
        if let Body::Cycle(cycle) = &mut record.body {
            cycle.received = at(0.0);
        }
    }
    records
}

#[test]
fn a_service_is_recorded() {
    let records = play(&service(1_000.0));
    let verdicts: Vec<_> = cycles(&records).iter().map(|cycle| cycle.verdict == Verdict::Cold).collect();
    assert_eq!(verdicts, (0..12).map(|i| i % 3 == 2).collect::<Vec<_>>());
    assert_eq!(records.len(), 12, "cycles and nothing else");
}

// The source's clock shows an hour less from 500 s on.
// The racks of the service rinse from 60 s on, every 80 s; the second rinses from 140 to 150 s. Which hears of the work
// before it and which after a restart judge alike: of the work no more than a forgotten tank is kept in the state.
#[test]
fn a_rack_made_while_somebody_works_is_marked_and_no_pass() {
    let work = vec![Work { from: at(120.0), until: at(160.0) }];
    let arrivals = service(400.0);
    let plain = play(&arrivals);
    let mut worked_on = machine();
    worked_on.work(work.clone());
    let (records, snapshot) = play_on(&mut worked_on, &arrivals[..1_000], false);
    let (count, state) = snapshot.expect("a minute has passed");
    let mut again = machine();
    again.restore(&state).expect("it is of this machine");
    again.work(work);
    let before = cycles(&records).len();
    let mut records = records;
    let known = cycles(&play_on(&mut machine(), &arrivals[..count], false).0).len();
    records.extend(play_on(&mut again, &arrivals[count..], true).0.into_iter().skip(before - known));
    let (plain, marked) = (cycles(&plain), cycles(&records));
    assert_eq!(marked.len(), plain.len());
    for (place, (plain, marked)) in plain.iter().zip(&marked).enumerate() {
        let mut expected = (*plain).clone();
        expected.received = marked.received;
        if place == 1 {
            expected.put_in_doubt(Reason::WorkedOn);
            assert_eq!(
                (marked.verdict, marked.rinse_min_c, marked.reasons.first()),
                (Verdict::Unproven, None, Some(&Reason::WorkedOn))
            );
            assert_eq!(marked.rinse_min_raw_c, plain.rinse_min_raw_c, "what was measured is kept");
        }
        assert_eq!(**marked, expected, "rack {place}");
    }
}

/// Racks that rinse from 60 s on, every 60 s, until 900 s; from 150 s to 270 s the wash probe is at `there_c`.
fn wash_probe_elsewhere(there_c: f64) -> Vec<Arrival> {
    let flows: Vec<_> = (1..14).map(|i| f64::from(i) * 60.0).collect();
    let flows: Vec<_> = flows.into_iter().map(|from| Flow { from, to: from + 10.0, celsius: 86.0 }).collect();
    let mut wash_c = 67.0;
    let mut arrivals = Vec::new();
    for reading in fixture::line(900.0, 60.0, 1.0, &flows) {
        let there = (150.0..270.0).contains(&reading.at.seconds());
        // A probe with a time constant of 2 s, read four times a second.
        wash_c += (if there { there_c } else { 67.0 } - wash_c) * 0.125;
        for (channel, celsius) in [(WASH, wash_c), (RINSE, reading.celsius.0)] {
            let sample =
                Sample { channel: ChannelId(channel), at: reading.at, value: Value::Number(celsius) };
            arrivals.push((reading.at.seconds(), sample));
        }
    }
    arrivals
}

// A probe in ice, in the air, in a hand or in boiling water says nothing of the tank it was taken from. The work is
// over three minutes after the probe is back, or as it is.
#[test]
fn no_rack_goes_unseen_while_somebody_has_the_wash_probe_out() {
    for there_c in [0.4, 21.0, 35.0, 45.0, 55.0, 99.7] {
        for until in [285.0, 450.0] {
            let mut worked_on = machine();
            worked_on.work(vec![Work { from: at(145.0), until: at(until) }]);
            let (records, _) = play_on(&mut worked_on, &wash_probe_elsewhere(there_c), true);
            let cycles = cycles(&records);
            assert_eq!(cycles.len(), 13, "at {there_c} °C, work until {until} s");
            for cycle in cycles {
                let touched = cycle.started <= at(until) && cycle.rinse_ended >= at(145.0);
                let marked = cycle.reasons.first() == Some(&Reason::WorkedOn);
                assert_eq!(marked, touched, "at {there_c} °C: {cycle:?}");
                assert_eq!(cycle.verdict == Verdict::Unproven, touched, "at {there_c} °C: {cycle:?}");
            }
        }
    }
}

// Nobody said that the machine is worked on: what is not known is on record as that.
#[test]
fn no_rack_goes_unseen_when_the_wash_probe_leaves_the_tank() {
    for there_c in [0.4, 21.0, 35.0, 45.0, 55.0, 99.7] {
        let records = play(&wash_probe_elsewhere(there_c));
        let cycles = cycles(&records);
        assert_eq!(cycles.len(), 13, "at {there_c} °C");
        let unseen = |cycle: &&&Cycle| cycle.reasons.first() == Some(&Reason::TankUnseen);
        assert!(cycles.iter().filter(unseen).count() >= 1, "at {there_c} °C: {cycles:#?}");
        for cycle in cycles {
            let near = cycle.rinse_ended >= at(150.0) && cycle.started <= at(450.0);
            let expected = if unseen(&&cycle) { Verdict::Unproven } else { Verdict::Pass };
            assert_eq!(cycle.verdict, expected, "at {there_c} °C: {cycle:?}");
            assert!(near || !unseen(&&cycle), "at {there_c} °C: {cycle:?}");
        }
    }
}

#[test]
fn a_clock_that_steps_back_is_recorded_once_and_nothing_is_lost() {
    let mut arrivals = service(1_000.0);
    for (_, sample) in arrivals.iter_mut().filter(|(now, _)| *now >= 500.0) {
        sample.at = sample.at.minus(Duration::from_secs(3_600));
    }
    for (_, sample) in &mut arrivals {
        sample.at = sample.at.plus(Duration::from_secs(7_200));
    }
    let records = play(&arrivals);
    assert_eq!(kinds(&records, "clock-step"), 1);
    assert_eq!(kinds(&records, "gap"), 0, "all that was measured was heard");
    let step = records
        .iter()
        .find_map(|record| if let Body::ClockStep(step) = &record.body { Some(step) } else { None });
    let step = step.expect("one was counted");
    assert!((step.from.seconds_since(step.to) - 3_600.0).abs() < 1.0, "{step:?}");
    let cycles = cycles(&records);
    assert_eq!(cycles.len(), 12, "none lost, none twice");
    assert!(cycles[6..].iter().all(|cycle| cycle.rinse_started < cycles[5].rinse_started));
    assert_eq!(cycles.iter().filter(|cycle| cycle.verdict == Verdict::Cold).count(), 4);
}

#[test]
fn an_hour_sent_late_is_judged_in_full_with_both_times() {
    let live = play(&service(1_000.0));
    // From 300 s on the node keeps what it measures, and sends it all at 4600 s within a minute.
    let arrivals: Vec<Arrival> = service(1_000.0)
        .into_iter()
        .map(
            |(now, sample)| {
                if now < 300.0 { (now, sample) } else { (4_600.0 + (now - 300.0) / 20.0, sample) }
            },
        )
        .collect();
    let late = play(&arrivals);
    let of = |records: &[Record]| {
        let cycles = cycles(records);
        cycles
            .iter()
            .map(|cycle| (cycle.rinse_started, cycle.verdict, cycle.trace_sha256.clone()))
            .collect::<Vec<_>>()
    };
    assert_eq!(of(&live), of(&late));
    let last = *cycles(&late).last().expect("twelve");
    assert!(last.received >= at(4_600.0) && last.rinse_ended < at(1_000.0), "{last:?}");
    let gaps = gaps(&late);
    assert_eq!(gaps.len(), 4, "two probes, each opened and closed: {gaps:?}");
    assert!(gaps[2..].iter().all(|gap| gap.filled), "{gaps:?}");
}

#[test]
fn a_silent_probe_does_not_hold_the_machine() {
    let arrivals: Vec<Arrival> = service(400.0)
        .into_iter()
        .filter(|(now, sample)| sample.channel == ChannelId(WASH) || !(224.0..330.0).contains(now))
        .collect();
    let records = play(&arrivals);
    let unproven: Vec<_> = cycles(&records)
        .into_iter()
        .filter(|cycle| cycle.reasons.iter().any(|reason| matches!(reason, Reason::GapInRinse { .. })))
        .collect();
    assert_eq!(unproven.len(), 1, "{records:#?}");
    assert!(
        unproven[0].received < at(270.0),
        "judged while the probe was silent: {:?}",
        unproven[0].received
    );
    assert_eq!(kinds(&records, "gap"), 2, "opened and closed");
}

#[test]
fn a_probe_whose_clock_runs_behind_the_others_is_silent() {
    let mut arrivals = service(600.0);
    for (_, sample) in &mut arrivals {
        let behind = sample.channel == ChannelId(RINSE) && sample.at > at(200.0);
        let back = if behind { 3_600 } else { 0 };
        sample.at = sample.at.plus(Duration::from_secs(7_200 - back));
    }
    let records = play(&arrivals);
    let silent = gaps(&records)
        .iter()
        .any(|gap| gap.fault == Fault::Silent && gap.to.is_none() && gap.probe == "dm1/rinse");
    assert!(silent, "its readings cannot be judged, and somebody must know: {records:#?}");
    assert_eq!(kinds(&records, "clock-step"), 0, "the machine's clock did not step");
}

#[test]
fn a_check_on_file_outlives_a_step_of_the_clock() {
    let mut machine = machine();
    let check = Concentration { at: at(7_190.0), mg_per_l: 80.0, ph: Some(7.0) };
    machine.state.tracker.check(check);
    machine.state.tracker.restart(machine.profile.rinse_from, Duration::from_secs(3_600));
    let state = serde_json::to_value(&machine.state.tracker).expect("a state has a JSON form");
    let moved: Concentration =
        serde_json::from_value(state["concentration"].clone()).expect("it is still on file");
    assert_eq!(moved, Concentration { at: at(3_590.0), ..check });
}

// The pH of a check may be named after its concentration in the same pack.
#[test]
fn a_check_takes_the_ph_of_its_own_instant() {
    let channel = |id: u16, name: &str, role| Channel {
        id: ChannelId(id),
        name: ChannelName::try_from(format!("dm1/{name}")).expect("a legal name"),
        machine: MachineId(0),
        role,
    };
    let channels = vec![channel(0, "sanitizer", Role::Concentration), channel(1, "ph", Role::Ph)];
    let mut machine = Machine::new(MachineId(0), fixture::door(), channels);
    let mut effects = Effects::new();
    for (seconds, mg_per_l, ph) in [(0.0, 80.0, 7.0), (100.0, 60.0, 9.0)] {
        for (id, number) in [(0, mg_per_l), (1, ph)] {
            let sample = Sample { channel: ChannelId(id), at: at(seconds), value: Value::Number(number) };
            machine.sample(at(seconds), usize::from(id), sample, &mut effects);
        }
    }
    machine.finish(at(200.0), &mut effects);
    let checks: Vec<_> = effects
        .iter()
        .filter_map(|effect| match effect {
            Effect::Record { record, .. } => Some(&record.body),
            Effect::Snapshot { .. } => None,
        })
        .collect();
    let check = |seconds, mg_per_l, ph| {
        let by = "dm1/sanitizer".to_owned();
        Body::Check(Check::Sanitizer {
            at: at(seconds),
            mg_per_l,
            ph: Some(ph),
            solution_c: None,
            method: None,
            by,
        })
    };
    assert_eq!(checks, [&check(0.0, 80.0, 7.0), &check(100.0, 60.0, 9.0)]);
}

#[test]
fn a_state_of_another_configuration_is_refused() {
    let mut one = machine();
    let state = serde_json::to_vec(&one.state).expect("a state has a JSON form");
    assert!(one.restore(&state).is_ok());
    let mut renamed = machine();
    renamed.profile.name = "dm2".into();
    let mut swapped = machine();
    swapped.channels.swap(0, 1);
    let mut sump = machine();
    sump.profile.rinse_from = RinseFrom::Sump;
    for (name, mut other) in [("renamed", renamed), ("channels swapped", swapped), ("a sump", sump)] {
        assert!(matches!(other.restore(&state), Err(StaleState::Machine)), "{name}");
    }
}

#[test]
fn readings_faster_than_any_probe_are_not_kept() {
    let mut machine = machine();
    let mut effects = Effects::new();
    for i in 0..200_000_u32 {
        let now = at(f64::from(i) / 1_000.0);
        let sample =
            Sample { channel: ChannelId(WASH), at: now, value: Value::Number(68.0 + f64::from(i % 3)) };
        machine.sample(now, 0, sample, &mut effects);
    }
    let state = serde_json::to_vec(&machine.state.tracker).expect("a state has a JSON form");
    assert!(state.len() < 800_000, "{} bytes for what a minute or two may hold", state.len());
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(16))]

    // Property: a repeated sample changes nothing, whenever it comes again.
    #[test]
    fn repeats_change_nothing(again in proptest::collection::vec((0_usize..4_000, 1_usize..400), 1..60)) {
        let arrivals = service(500.0);
        let mut doubled: Vec<Arrival> = arrivals.clone();
        for (place, later) in again {
            let (sent, arrived) = (place.min(arrivals.len() - 1), (place + later).min(arrivals.len() - 1));
            doubled.push((arrivals[arrived].0, arrivals[sent].1));
        }
        doubled.sort_by(|a, b| a.0.total_cmp(&b.0));
        prop_assert_eq!(timeless(&play(&arrivals)), timeless(&play(&doubled)));
    }

    // Property: disorder inside the window leaves the records as they were.
    #[test]
    fn disorder_inside_the_window_changes_nothing(shifts in proptest::collection::vec(0.0..4.5_f64, 500)) {
        let arrivals = service(500.0);
        let mut shuffled: Vec<Arrival> = arrivals
            .iter()
            .enumerate()
            .map(|(i, (now, sample))| (now + shifts[i % shifts.len()], *sample))
            .collect();
        shuffled.sort_by(|a, b| a.0.total_cmp(&b.0));
        prop_assert_eq!(timeless(&play(&arrivals)), timeless(&play(&shuffled)));
    }

    // Property: a snapshot and the arrivals after it end in the records of an unbroken run.
    #[test]
    fn a_restart_at_any_point_changes_nothing(cut in 1_usize..4_000) {
        let arrivals = service(500.0);
        let cut = cut.min(arrivals.len());
        let whole = play(&arrivals);
        let mut first = machine();
        let (_, snapshot) = play_on(&mut first, &arrivals[..cut], false);
        let (applied, state) = snapshot.expect("the first sample makes one");
        let (mut records, _) = play_on(&mut machine(), &arrivals[..applied], false);
        let mut second = machine();
        second.restore(&state).expect("its own state");
        records.extend(play_on(&mut second, &arrivals[applied..], true).0);
        prop_assert_eq!(whole, records);
    }

    // Property: the state of every instant, not only of an idle one, survives being stored.
    #[test]
    fn the_state_reads_back_as_it_was(cut in 1_usize..4_000) {
        let arrivals = service(500.0);
        let mut machine = machine();
        play_on(&mut machine, &arrivals[..cut.min(arrivals.len())], false);
        // Whether something came since the last snapshot is not part of what is stored.
        machine.state.changed = false;
        let stored = serde_json::to_vec(&machine.state).expect("a state has a JSON form");
        let read: State = serde_json::from_slice(&stored).expect("its own form");
        prop_assert_eq!(read, machine.state);
    }
}
