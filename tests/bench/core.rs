//! Readings per second through the core on one core: conversion, order,
//! recognition and judgement, nothing stored. The time is the thread's processor
//! time, so that other work on the machine disturbs little.
//!
//! Workload: one stationary dual-temperature machine, wash and final-rinse probe
//! at 4 Hz each, a rinse every 90 s, two hours of event time, as delivered in °C
//! and as type K voltage with its cold junction.

#[path = "machine.rs"]
mod machine;

use std::hint::black_box;
use std::time::Duration;

use rinseward::core::calibration::Calibration;
use rinseward::core::channel::{Channel, Place, Probe, Role, Signal};
use rinseward::core::id::{ChannelId, ChannelName, MachineId};
use rinseward::core::reading::{Sample, Value};
use rinseward::core::site::{Event, Site};
use rinseward::core::thermocouple::{self, ThermocoupleType};
use rinseward::core::time::Timestamp;
use rinseward::core::uncertainty::Budget;
use rinseward::core::units::Celsius;
use rustix::time::{ClockId, clock_gettime};

use machine::profile;

const RUNS: usize = 9;

#[expect(clippy::print_stdout, reason = "a bench prints its result")]
fn main() {
    for (name, kind) in [("°C", None), ("type K voltage", Some(ThermocoupleType::K))] {
        let (channels, samples) = workload(kind);
        let mut rates: Vec<f64> = (0..RUNS).map(|_| run(&channels, &samples)).collect();
        rates.sort_unstable_by(f64::total_cmp);
        println!(
            "core, {name}: {:.2} million readings/s (median of {RUNS}; {:.2} to {:.2}), budget 5",
            rates[RUNS / 2] / 1e6,
            rates[0] / 1e6,
            rates[RUNS - 1] / 1e6
        );
    }
}

fn run(channels: &[Channel], samples: &[Sample]) -> f64 {
    let mut site = Site::new(&[profile()], channels);
    let mut effects = Vec::new();
    let begin = thread_cpu();
    for sample in samples {
        site.handle(sample.at, Event::Sample(*sample), &mut effects);
        if effects.len() > 64 {
            effects.clear();
        }
    }
    black_box(&effects);
    samples.len() as f64 / (thread_cpu() - begin).as_secs_f64()
}

/// Processor time of this thread so far.
fn thread_cpu() -> Duration {
    let time = clock_gettime(ClockId::ThreadCPUTime);
    Duration::try_from(time).expect("a time that is not negative")
}

fn workload(kind: Option<ThermocoupleType>) -> (Vec<Channel>, Vec<Sample>) {
    let cold = Celsius(31.0);
    let signal =
        kind.map_or(Signal::Celsius, |kind| Signal::Thermocouple { kind, cold_junction: ChannelId(2) });
    let probe = |place, signal| {
        Role::Probe(Probe {
            place,
            signal,
            calibration: Calibration::Offset(0.1),
            budget: Budget::default(),
            tau: Some(Duration::from_millis(1500)),
            silent_after: Duration::from_secs(10),
            stuck_after: Some(Duration::from_secs(1800)),
        })
    };
    let roles = [
        ("dm1/wash", probe(Place::WashTank, signal)),
        ("dm1/rinse", probe(Place::FinalRinse, signal)),
        ("dm1/cj", Role::ColdJunction { signal: Signal::Celsius }),
    ];
    let channels = roles
        .into_iter()
        .zip(0..)
        .map(|((name, role), id)| Channel {
            id: ChannelId(id),
            name: ChannelName::try_from(name.to_owned()).expect("a legal name"),
            machine: MachineId(0),
            role,
        })
        .collect();
    let mut samples = Vec::new();
    for i in 0..28_800_i64 {
        let t = i as f64 * 0.25;
        let at = Timestamp::from_micros(1_767_225_600_000_000 + i * 250_000);
        if kind.is_some() && i % 4 == 0 {
            samples.push(Sample { channel: ChannelId(2), at, value: Value::Number(cold.0) });
        }
        for (channel, celsius) in [(0, 67.0 + (t * 0.01).sin()), (1, rinse_line(t))] {
            let celsius = (celsius * 16.0).round() / 16.0;
            let number = kind.map_or(celsius, |kind| volts(kind, celsius, cold));
            samples.push(Sample { channel: ChannelId(channel), at, value: Value::Number(number) });
        }
    }
    (channels, samples)
}

/// A line that is flushed with 84 °C for 10 s every 90 s and cools with 400 s towards 40 °C.
fn rinse_line(t: f64) -> f64 {
    let phase = t % 90.0;
    let rested = |seconds: f64| 40.0 + 44.0 * (-seconds / 400.0).exp();
    if phase < 10.0 { 84.0 - (84.0 - rested(80.0)) * (-phase / 1.5).exp() } else { rested(phase - 10.0) }
}

fn volts(kind: ThermocoupleType, celsius: f64, cold: Celsius) -> f64 {
    let emf = |at| thermocouple::emf(kind, at).expect("inside the range").0;
    (emf(Celsius(celsius)) - emf(cold)) / 1e3
}
