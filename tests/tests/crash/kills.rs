//! SIGKILL at random instants.

use std::thread;
use std::time::{Duration, Instant};

use rinseward_simulator::dice::Dice;
use rustix::process::Signal;

use super::audit::{check, until_reading, until_recorded};
use super::gateway::Gateway;
use super::kitchen::{Site, Stream};
use super::publisher::{Publisher, until_listening};
use crate::crash::killing::{AgainWith, report};
use crate::mqtt::broker::Broker;

/// Kills where `KILLS` does not say.
const KILLS: u32 = 25;
/// Longest life of a gateway, ms: from before its recovery to well into its work.
const LIFE_MS_MAX: f64 = 400.0;
/// Simulated seconds in one: with two machines about 300 messages and 2,400 readings a second.
const SPEED: f64 = 150.0;
/// Length of the stream for each kill, simulated seconds: it goes on as long as the kills do.
const STREAM_S: f64 = 33.0;

// Shows that no instant at which the process is killed costs or doubles anything: a node sends
// a simulated kitchen through a real broker, the gateway is killed and started again all the
// while, ends in order at last, and its ledger is compared with one unbroken pass.
#[test]
fn nothing_is_lost_or_doubled_by_kills_at_random_instants() {
    let again = AgainWith::of_environment("crash::kills", KILLS);
    let (kills, seed) = (again.kills, again.seed);
    let began = Instant::now();
    let stream = Stream::of(2, f64::from(kills) * STREAM_S / 3600.0, seed);
    let broker = Broker::start();
    let site = Site::with_broker(2, broker.port());
    let mut dice = Dice::new(seed, 1);
    let gateway = Gateway::start(&site, "");
    until_listening(&gateway, &site, &stream, broker.port());

    let publisher = Publisher::start(broker.port(), stream.packs.clone(), SPEED);
    gateway.kill();
    let (mut outlasted, killing) = (0, Instant::now());
    for _ in 1..kills {
        let gateway = Gateway::start(&site, slowed(&mut dice));
        thread::sleep(Duration::from_secs_f64(dice.uniform(0.0, LIFE_MS_MAX) / 1e3));
        gateway.kill();
        outlasted += u32::from(publisher.is_done());
    }
    let killing = killing.elapsed();
    publisher.finish();
    let expected = site.expected_cycles(&stream).len();
    let gateway = Gateway::start(&site, "");
    until_recorded(&gateway, &site.ledger(), expected);
    for (channel, readings) in &stream.readings {
        let (last, _) = readings.last_key_value().expect("each channel sends");
        until_reading(&gateway, &site.ledger(), channel, *last);
    }
    let (status, took) = gateway.stop(Signal::TERM);
    assert!(status.success() && took < Duration::from_secs(5), "{status} after {took:?}");

    let kinds = check(&site, &stream);
    report(&format!(
        "{kills} kills in {killing:.1?} ({outlasted} after the stream's end), seed {seed}: {} readings in {} \
         messages and {expected} cycles sent; 0 lost, 0 doubled; on record {kinds:?}; {:.1?} in all",
        stream.count(),
        stream.packs.len(),
        began.elapsed()
    ));
    drop(again);
}

/// At one start of two a point of the writer at which it rests for a moment, now and then.
fn slowed(dice: &mut Dice) -> &'static str {
    const POINTS: [&str; 12] = [
        "ledger::before-begin=20%sleep(40)",
        "ledger::after-inputs=20%sleep(40)",
        "ledger::after-records=20%sleep(40)",
        "ledger::before-commit=20%sleep(40)",
        "ledger::after-commit=20%sleep(40)",
        "ledger::during-compaction=sleep(200);ledger::after-compaction=sleep(200)",
        "",
        "",
        "",
        "",
        "",
        "",
    ];
    let place = dice.uniform(0.0, POINTS.len() as f64);
    POINTS.iter().enumerate().find(|(index, _)| place < *index as f64 + 1.0).map_or("", |(_, point)| point)
}
