//! A run that is killed and recovered puts the same things on record as one that
//! is not. The input is the simulator's; the expectation is the uninterrupted run.

use rinseward_simulator::scenario::Scenario;
use rinseward_simulator::time::MIDNIGHT_MICROS;
use rinseward_simulator::world::World;

use std::time::Duration;

use super::*;
use crate::config::resolve::Configuration;
use crate::core::channel::{Probe, Role};
use crate::core::cycle::judge::Concentration;
use crate::core::cycle::verdict::Reason;
use crate::core::on_file::OnFile;
use crate::core::reading::Sample;
use crate::core::record::{Amendment, AmendmentChange, CalibrationDone, Check, Correction, ResponseDone};
use crate::wire::decoded::Decoded;
use crate::wire::senml;

const CONFIGURATION: &str = r#"
[[machine]]
name = "dm1"
kind = "stationary-rack-dual-temperature"
wash-time = "44s"
rinse-time = "12s"
probes = ["wash", "rinse"]

[[machine]]
name = "dm2"
kind = "stationary-rack-dual-temperature"
sanitizing = "chlorine"
wash-time = "50s"
rinse-time = "25s"
probes = ["wash", "rinse", "sanitizer", "ph"]
"#;

fn configuration() -> Configuration {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let path = directory.path().join("gateway.toml");
    std::fs::write(&path, CONFIGURATION).expect("a temporary file");
    Configuration::load(&[path], []).expect("a sound configuration").configuration
}

/// A quarter of an hour of two busy machines.
fn samples(configuration: &Configuration) -> Vec<Sample> {
    let mut plan = Scenario::Demo.plan();
    plan.hours = 0.25;
    let directory = configuration.directory();
    let mut decoded = Decoded::default();
    for emission in World::of(&plan, 1, MIDNIGHT_MICROS) {
        let received = Timestamp::from_micros(emission.at_micros);
        senml::decode(emission.line().as_bytes(), &directory, received, &mut decoded);
    }
    assert!(decoded.refusals.is_empty(), "{:?}", decoded.refusals);
    decoded.samples
}

/// What a ledger would hold.
#[derive(Default)]
struct Kept {
    records: Vec<NewRecord>,
    inputs: Vec<Input>,
    snapshots: BTreeMap<MachineId, MachineSnapshot>,
    settled: u64,
    /// Samples that are committed, and so acknowledged.
    acknowledged: usize,
}

impl Kept {
    fn commit(&mut self, gather: &mut Gather, acknowledged: usize) {
        let commit = gather.take();
        assert!(commit.settled >= self.settled, "what is settled stays settled");
        assert!(commit.settled <= (self.inputs.len() + commit.inputs.len()) as u64);
        self.inputs.extend(commit.inputs);
        self.records.extend(commit.records);
        for snapshot in commit.snapshots {
            self.snapshots.insert(snapshot.machine, snapshot);
        }
        self.settled = commit.settled;
        self.acknowledged = acknowledged;
    }

    /// A new process with what the one before had committed.
    fn recover(&self, configuration: &Configuration) -> Gather {
        let mut file = OnFile::default();
        (0..).zip(&self.records).for_each(|(index, new)| file.take(index, &new.record));
        let channels = configuration.channels_in_force(&file, Timestamp::MAX);
        let site = Site::new(&configuration.machines, &channels);
        let mut gather = Gather::new(site, self.inputs.len() as u64 + 1);
        let snapshots: Vec<_> = self.snapshots.values().cloned().collect();
        let numbered = (1_u64..).zip(self.inputs.iter().copied());
        let needed: Vec<_> = numbered.filter(|(number, _)| *number > self.settled).collect();
        gather.recover(&snapshots, &needed);
        gather
    }
}

/// Drives all samples, commits every `commit_every` of them, and is killed every
/// `kill_every`; what was not committed is delivered again.
fn drive(configuration: &Configuration, samples: &[Sample], commit_every: usize, kill_every: usize) -> Kept {
    let mut kept = Kept::default();
    let mut gather = kept.recover(configuration);
    let (mut next, mut kill_at) = (0, kill_every);
    while next < samples.len() {
        let sample = samples[next];
        gather.tick_as_due(sample.at);
        gather.apply(sample.at, Event::Sample(sample));
        next += 1;
        if next % commit_every == 0 {
            kept.commit(&mut gather, next);
        }
        if next == kill_at {
            kill_at += kill_every;
            gather = kept.recover(configuration);
            next = kept.acknowledged;
        }
    }
    kept.commit(&mut gather, next);
    kept
}

#[test]
fn killed_or_not_the_records_are_the_same() {
    let configuration = configuration();
    let samples = samples(&configuration);
    let whole = drive(&configuration, &samples, 997, usize::MAX);
    let cycles = whole.records.iter().filter(|new| new.record.body.kind() == "cycle").count();
    assert!(cycles >= 5, "a busy quarter of an hour holds several racks: {cycles}");
    for (commit_every, kill_every) in [(1, 211), (64, 500), (97, 1013), (640, 1999)] {
        let killed = drive(&configuration, &samples, commit_every, kill_every);
        assert_eq!(killed.records.len(), whole.records.len(), "commit {commit_every}, kill {kill_every}");
        for (one, other) in killed.records.iter().zip(&whole.records) {
            assert_eq!(one, other, "commit {commit_every}, kill {kill_every}");
        }
        assert!(killed.settled + 2_000 > killed.inputs.len() as u64, "idle machines let go of their inputs");
    }
}

/// Inputs that a new start has to apply again after these samples, taken at these times.
fn to_apply_again(configuration: &Configuration, taken: impl Iterator<Item = (Timestamp, Sample)>) -> u64 {
    let mut gather = Kept::default().recover(configuration);
    for (now, sample) in taken {
        gather.tick_as_due(now);
        gather.apply(now, Event::Sample(sample));
    }
    let commit = gather.take();
    commit.inputs.len() as u64 - commit.settled
}

// Own promise: what a start has to apply again is minutes of readings (two busy machines
// make about 1,000 inputs a minute), whatever the machines and their nodes do.
#[test]
fn a_machine_that_falls_silent_holds_the_others_back_for_minutes_at_most() {
    let configuration = configuration();
    let samples = samples(&configuration);
    let start = samples[0].at;
    let of_dm2 = |sample: &Sample| configuration.channels[usize::from(sample.channel.0)].machine.0 == 1;
    for silent_after_s in (60..240).step_by(25) {
        let silent_from = start.plus(std::time::Duration::from_secs(silent_after_s));
        let heard = samples.iter().filter(|sample| sample.at < silent_from || !of_dm2(sample));
        let again = to_apply_again(&configuration, heard.map(|sample| (sample.at, *sample)));
        assert!(again < 3_000, "dm2 silent after {silent_after_s} s: {again} inputs");
    }
}

#[test]
fn what_a_node_had_kept_is_not_applied_again_as_a_whole() {
    let configuration = configuration();
    let samples = samples(&configuration);
    let at_once = samples.iter().map(|sample| (samples[samples.len() - 1].at, *sample));
    let again = to_apply_again(&configuration, at_once);
    assert!(again < 3_000, "{again} of {} inputs", samples.len());
}

/// Whether a sample comes from anything but a meter for the sanitizer.
fn without_a_meter(configuration: &Configuration) -> impl Fn(&Sample) -> bool + '_ {
    |sample| {
        let role = &configuration.channels[usize::from(sample.channel.0)].role;
        !matches!(role, Role::Concentration | Role::Ph)
    }
}

/// Reasons of the cycles of dm2, and the concentration each was judged by.
fn of_dm2(records: &[NewRecord]) -> Vec<(bool, Option<f64>)> {
    let cycles = records.iter().filter(|new| new.record.machine.as_deref() == Some("dm2"));
    let cycles = cycles.filter_map(|new| {
        let Body::Cycle(cycle) = &new.record.body else { return None };
        let missing = cycle.reasons.iter().any(|reason| matches!(reason, Reason::NoConcentrationCheck));
        Some((missing, cycle.concentration_mg_per_l))
    });
    cycles.collect()
}

// Food Code 4-501.114: without a concentration nothing is proven. Own promise: one that a person
// enters counts from the next rack on, whether or not the service is killed after it.
#[test]
fn a_concentration_by_hand_is_judged_by_even_after_a_kill() {
    let configuration = configuration();
    let samples: Vec<Sample> =
        samples(&configuration).into_iter().filter(without_a_meter(&configuration)).collect();
    let half = samples.len() / 2;
    for kill in [false, true] {
        let mut kept = Kept::default();
        let mut gather = kept.recover(&configuration);
        for sample in &samples[..half] {
            gather.tick_as_due(sample.at);
            gather.apply(sample.at, Event::Sample(*sample));
        }
        kept.commit(&mut gather, half);
        let at = samples[half - 1].at;
        let check = Check::Sanitizer {
            at,
            mg_per_l: 75.0,
            ph: Some(7.0),
            solution_c: None,
            method: None,
            by: "Cy".to_owned(),
        };
        assert_eq!(
            gather.enter(at, MachineId(1), Entered::Check(check.clone())),
            Some(0),
            "the first of its commit"
        );
        assert!(gather.is_urgent(), "somebody waits for it");
        let before = kept.records.len();
        kept.commit(&mut gather, half);
        assert_eq!(kept.records[before].record.body, Body::Check(check));
        if kill {
            gather = kept.recover(&configuration);
        }
        for sample in &samples[half..] {
            gather.tick_as_due(sample.at);
            gather.apply(sample.at, Event::Sample(*sample));
        }
        kept.commit(&mut gather, samples.len());
        let (without, with) = (of_dm2(&kept.records[..before]), of_dm2(&kept.records[before..]));
        assert!(without.len() >= 2 && without.iter().all(|told| *told == (true, None)), "{without:?}");
        // One rack may have ended before the check and be judged after it.
        let with = with.get(1..).unwrap_or_default();
        assert!(!with.is_empty() && with.iter().all(|told| *told == (false, Some(75.0))), "{kill}: {with:?}");
    }
}

// Own promise: racks are judged by what stands after a check was withdrawn or corrected, and the
// racks before it stay as they were judged; killed in between it is the same.
#[test]
fn an_amended_concentration_counts_as_amended() {
    let configuration = configuration();
    let samples: Vec<Sample> =
        samples(&configuration).into_iter().filter(without_a_meter(&configuration)).collect();
    let at = samples[samples.len() / 2].at;
    let on_file = |minutes: u64, mg_per_l| Concentration {
        at: at.minus(Duration::from_secs(minutes * 60)),
        mg_per_l,
        ph: Some(7.0),
    };
    let entered = |of: Concentration| {
        let (at, mg_per_l, ph, by) = (of.at, of.mg_per_l, of.ph, "Cy".to_owned());
        Entered::Check(Check::Sanitizer { at, mg_per_l, ph, solution_c: None, method: None, by })
    };
    let (first, second, right) = (on_file(20, 60.0), on_file(10, 10.0), on_file(10, 100.0));
    for (standing, expected) in [(vec![first], 60.0), (vec![first, right], 100.0)] {
        for kill in [false, true] {
            let mut kept = Kept::default();
            let mut gather = kept.recover(&configuration);
            for check in [first, second] {
                gather.enter(at, MachineId(1), entered(check));
            }
            let amendment = Box::new(Amendment {
                of: 1,
                reason: "misread".to_owned(),
                by: "Cy".to_owned(),
                change: AmendmentChange::Withdrawn,
            });
            let amended = Entered::Amended { amendment, was: second, standing: standing.clone() };
            assert_eq!(gather.enter(at, MachineId(1), amended), Some(2), "the third of its commit");
            kept.commit(&mut gather, 0);
            if kill {
                gather = kept.recover(&configuration);
            }
            for sample in samples.iter().filter(|sample| sample.at > at) {
                gather.tick_as_due(sample.at);
                gather.apply(sample.at, Event::Sample(*sample));
            }
            kept.commit(&mut gather, samples.len());
            let judged = of_dm2(&kept.records);
            assert!(!judged.is_empty(), "racks follow");
            assert!(judged.iter().all(|told| *told == (false, Some(expected))), "{kill}: {judged:?}");
        }
    }
}

/// A session in ice and boiling water at `at`: the probe shows 0.8 °C too little.
fn calibrated(probe: &str, at: Timestamp) -> CalibrationDone {
    let correction = |offset_c| Correction { gain: 1.0, offset_c };
    CalibrationDone {
        probe: probe.to_owned(),
        at,
        points: Vec::new(),
        found: correction(0.0),
        left: correction(0.8),
        expanded_c: 0.3,
        until: None,
        note: None,
        by: "Eli".to_owned(),
    }
}

/// Peak, which no smoothing touches, uncertainty, and whether a lag was corrected.
fn measured(records: &[NewRecord], machine: &str) -> Vec<(f64, f64, bool)> {
    let cycle = |new: &NewRecord| {
        let Body::Cycle(cycle) = &new.record.body else { return None };
        let own = new.record.machine.as_deref() == Some(machine);
        let corrected = cycle.rinse_min_corrected_c.is_some();
        own.then_some((cycle.rinse_peak_c?, cycle.uncertainty_c, corrected))
    };
    records.iter().filter_map(cycle).collect()
}

// Own promise: a calibration and a time constant count for the racks after them and never for those before;
// the readings stay as they were delivered; killed right after it is the same.
#[test]
fn a_calibration_counts_from_its_record_on() {
    let configuration = configuration();
    let samples = samples(&configuration);
    let half = samples.len() / 2;
    let at = samples[half - 1].at;
    let channel = configuration.probe("dm1/rinse").expect("a probe").0.id;
    let run = |enter: bool, kill: bool| {
        let mut kept = Kept::default();
        let mut gather = kept.recover(&configuration);
        for sample in &samples[..half] {
            gather.tick_as_due(sample.at);
            gather.apply(sample.at, Event::Sample(*sample));
        }
        kept.commit(&mut gather, half);
        let before = kept.records.len();
        if enter {
            let mut file = OnFile::default();
            let done = ResponseDone {
                probe: "dm1/rinse".to_owned(),
                at,
                tau_s: 1.2,
                expanded_s: 0.2,
                residual_c: 0.1,
                from_c: 20.0,
                to_c: 80.0,
                readings: 100,
                fast_enough: Some(true),
                by: "Eli".to_owned(),
            };
            let bodies =
                [Body::Calibration(Box::new(calibrated("dm1/rinse", at))), Body::Response(Box::new(done))];
            for (index, body) in (before as u64..).zip(bodies) {
                file.take(index, &Record::new(at, Some("dm1".to_owned()), body.clone()));
                let in_force = file.in_force("dm1/rinse", None, Timestamp::MAX);
                let probe = in_force.laid_over(configuration.probe("dm1/rinse").expect("a probe").1);
                let entered = Entered::Probe { channel, probe: Box::new(probe), body: Box::new(body) };
                gather.enter(at, MachineId(0), entered);
            }
            assert!(gather.is_urgent(), "somebody waits for it");
            kept.commit(&mut gather, half);
        }
        if kill {
            gather = kept.recover(&configuration);
        }
        for sample in &samples[half..] {
            gather.tick_as_due(sample.at);
            gather.apply(sample.at, Event::Sample(*sample));
        }
        kept.commit(&mut gather, samples.len());
        (before, kept)
    };
    let (_, without) = run(false, false);
    let (before, with) = run(true, false);
    let (_, killed) = run(true, true);
    let told = |kept: &Kept| kept.records.iter().map(|new| new.record.clone()).collect::<Vec<_>>();
    assert!(told(&with) == told(&killed), "killed right after it is the same");
    let delivered = |kept: &Kept| {
        let samples = kept.inputs.iter().filter(|input| matches!(input.event, Event::Sample(_)));
        samples.copied().collect::<Vec<Input>>()
    };
    assert!(delivered(&with) == delivered(&without), "the readings stay as they were delivered");
    let (plain, corrected) = (measured(&without.records, "dm1"), measured(&with.records, "dm1"));
    let early = measured(&with.records[..before], "dm1").len();
    assert!(early >= 2 && plain.len() == corrected.len() && plain.len() >= early + 3, "{}", plain.len());
    assert_eq!(plain[..early], corrected[..early], "what was judged before stays");
    // The rack under way may have been measured partly before it.
    for (plain, corrected) in plain.iter().zip(&corrected).skip(early + 1) {
        assert!((corrected.0 - plain.0 - 0.8).abs() < 1e-6, "{plain:?} {corrected:?}");
        assert!(corrected.1 < plain.1 && corrected.2 && !plain.2, "{plain:?} {corrected:?}");
    }
    let (wash, of_dm2) = (measured(&without.records, "dm2"), measured(&with.records, "dm2"));
    assert_eq!(wash, of_dm2, "another machine never notices");
}

// Own promise: a reading of a file is judged by what was in force when it was measured, killed or not; at
// once after the file the newest counts.
#[test]
fn a_file_of_the_past_is_judged_by_what_was_in_force_then() {
    let configuration = configuration();
    let samples = samples(&configuration);
    let at = samples[samples.len() / 2].at;
    let mut file = OnFile::default();
    let body = Body::Calibration(Box::new(calibrated("dm1/rinse", at)));
    file.take(0, &Record::new(at, Some("dm1".to_owned()), body));
    let run = |course: &[(Timestamp, ChannelId, Probe)], kill_at: usize| {
        let mut kept = Kept::default();
        let start = |kept: &Kept| {
            let mut gather = Gather::new(
                Site::new(&configuration.machines, &configuration.channels),
                kept.inputs.len() as u64 + 1,
            );
            gather.follow(course.iter().cloned());
            let snapshots: Vec<_> = kept.snapshots.values().cloned().collect();
            let numbered = (1_u64..).zip(kept.inputs.iter().copied());
            let needed: Vec<_> = numbered.filter(|(number, _)| *number > kept.settled).collect();
            gather.recover(&snapshots, &needed);
            gather
        };
        let mut gather = start(&kept);
        for (place, sample) in samples.iter().enumerate() {
            if place == kill_at {
                kept.commit(&mut gather, place);
                gather = start(&kept);
            }
            gather.tick_as_due(sample.at);
            gather.apply(sample.at, Event::Sample(*sample));
        }
        kept.commit(&mut gather, samples.len());
        measured(&kept.records, "dm1")
    };
    let course = configuration.course(&file);
    let corrected: Vec<_> =
        course.iter().map(|(_, id, probe)| (Timestamp::MIN, *id, probe.clone())).collect();
    let (plain, newest, judged) =
        (run(&[], usize::MAX), run(&corrected, usize::MAX), run(&course, usize::MAX));
    assert_eq!((plain.len(), newest.len()), (judged.len(), judged.len()));
    assert!(plain.len() >= 5 && plain[0] != newest[0], "{plain:?}");
    let after = judged.iter().zip(&newest).rev().take_while(|(one, other)| one == other).count();
    let before = judged.iter().zip(&plain).take_while(|(one, other)| one == other).count();
    // The rack under way at that instant was measured partly before and partly after it.
    assert!(before >= 2 && after >= 2 && before + after + 1 >= judged.len(), "{judged:?}");
    for kill_at in [1, samples.len() / 2 - 1, samples.len() / 2 + 1, samples.len() - 1] {
        assert_eq!(run(&course, kill_at), judged, "killed at {kill_at}");
    }
    let mut gather = Kept::default().recover(&configuration);
    gather.follow(course.clone());
    gather.live();
    for sample in &samples {
        gather.tick_as_due(sample.at);
        gather.apply(sample.at, Event::Sample(*sample));
    }
    assert_eq!(measured(&gather.take().records, "dm1"), newest, "live again");
}
