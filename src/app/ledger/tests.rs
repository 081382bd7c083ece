use std::time::Duration;

use super::*;
use crate::config::resolve::Configuration;
use crate::core::id::ChannelId;
use crate::core::reading::{Fault, Sample, Value};
use crate::core::record::Gap;
use crate::core::site::Event;

/// 2023-11-14T22:13:20Z.
const BEGAN: Timestamp = Timestamp::from_micros(1_700_000_000_000_000);
const KITCHEN: &str = "[[machine]]\nname = \"dm1\"\nkind = \"stationary-rack-single-temperature\"\n\
                       sanitizing = \"chlorine\"\nprobes = [\"rinse\", \"sanitizer\"]\n";
/// When the service starts again, s; it was stopped a minute after it began.
const AGAIN_S: u64 = 3_600;

fn after(seconds: u64) -> Timestamp {
    BEGAN.plus(Duration::from_secs(seconds))
}

/// What the probe of the final rinse says in these seconds; then the service stops. Gives its gaps.
fn heard(
    (handle, mut gather): (LedgerHandle, Gather),
    seconds: impl IntoIterator<Item = u64>,
) -> Vec<(Fault, Timestamp)> {
    for second in seconds {
        gather.tick_as_due(after(second));
        let value = Value::Number(f64::from(u32::try_from(second % 7).expect("below 7")) + 50.0);
        let sample = Sample { channel: ChannelId(0), at: after(second), value };
        gather.apply(after(second), Event::Sample(sample));
    }
    let commit = gather.take();
    let gap = |new: &NewRecord| {
        let Body::Gap(Gap { probe, fault, from, .. }) = &new.record.body else { return None };
        (probe == "dm1/rinse").then_some((*fault, *from))
    };
    let gaps = commit.records.iter().filter_map(gap).collect();
    let (done, wait) = std::sync::mpsc::sync_channel(1);
    handle.submit(commit, Box::new(move |result| done.send(result.is_ok()).expect("the test waits")));
    assert!(wait.recv().expect("an answer"), "committed");
    handle.close().expect("stored");
    gaps
}

// Own promise: of a time without the service no probe is blamed, and one that stays silent is silent from its start
// on; a file of readings says itself of which time it tells.
#[test]
fn a_probe_is_blamed_for_no_time_without_the_service() {
    let opened = |again: u64, from_file: bool, seconds: &[u64]| {
        let directory = tempfile::tempdir().expect("a directory");
        let (file, path) = (directory.path().join("gateway.toml"), directory.path().join("ledger.sqlite"));
        std::fs::write(&file, KITCHEN).expect("a temporary file");
        let loaded = Configuration::load(&[file], []).expect("a sound configuration");
        let first = open(&loaded, &path, BEGAN).expect("a ledger");
        assert_eq!(heard(first, 1..60), Vec::new());
        let next = if from_file { open_for_replay } else { open };
        heard(next(&loaded, &path, after(again)).expect("a ledger"), seconds.iter().copied())
    };
    let live: Vec<u64> = (AGAIN_S + 2..AGAIN_S + 60).collect();
    assert_eq!(opened(AGAIN_S, false, &live), Vec::new(), "heard again in time");
    let gaps = opened(AGAIN_S, false, &[AGAIN_S + 600]);
    assert_eq!(gaps.first(), Some(&(Fault::Silent, after(AGAIN_S))), "silent still");
    let gaps = opened(AGAIN_S, true, &live);
    assert_eq!(gaps.first(), Some(&(Fault::Silent, after(59))), "missing in the file");
}
