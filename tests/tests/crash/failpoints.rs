//! The process ends itself at each named point of the ledger's writer.

use std::time::Duration;

use rustix::process::Signal;

use super::audit::{check, until_recorded};
use super::gateway::Gateway;
use super::kitchen::{Site, Stream};
use super::publisher::{Publisher, until_listening};
use crate::mqtt::broker::Broker;

/// The points, and how many times each is passed before it ends the process. Commits come every
/// 20 ms. A round of compaction takes 8,192 readings of two probes and writes each in turn; one
/// that did not come to its end waits for the next start.
const POINTS: [(&str, [u32; 2]); 7] = [
    ("before-begin", [0, 3]),
    ("after-inputs", [0, 3]),
    ("after-records", [0, 3]),
    ("before-commit", [0, 3]),
    ("after-commit", [0, 3]),
    ("during-compaction", [0, 1]),
    ("after-compaction", [0, 1]),
];
/// Simulated hours: readings for five rounds.
const HOURS: f64 = 1.5;
/// Simulated seconds in one, which is as many messages.
const SPEED: f64 = 500.0;
/// Longest wait for a point to be reached.
const REACHED_WITHIN: Duration = Duration::from_secs(120);

// Shows that the real process, ended at each step of a commit and of compaction, again and
// again while readings come in, ends up with what an unbroken run has.
#[test]
fn nothing_is_lost_or_doubled_wherever_the_writer_ends() {
    let stream = Stream::of(1, HOURS, 7);
    let broker = Broker::start();
    let site = Site::with_broker(1, broker.port());
    let gateway = Gateway::start(&site, "");
    until_listening(&gateway, &site, &stream, broker.port());
    gateway.kill();
    let expected = site.expected_cycles(&stream).len();

    let publisher = Publisher::start(broker.port(), stream.packs.clone(), SPEED);
    for (point, passes) in POINTS {
        for passes in passes {
            let gateway = Gateway::start(&site, &format!("ledger::{point}={passes}*off->return"));
            if let Err(gateway) = gateway.aborted(REACHED_WITHIN) {
                panic!("{point} is not reached after {passes} passes: {}", gateway.log());
            }
        }
    }
    publisher.finish();
    let gateway = Gateway::start(&site, "");
    until_recorded(&gateway, &site.ledger(), expected);
    let (status, _) = gateway.stop(Signal::TERM);
    assert!(status.success(), "{status}");
    check(&site, &stream);
}
