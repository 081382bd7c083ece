//! What must hold of a ledger, however often its writer was killed.

use std::collections::BTreeMap;
use std::ops::ControlFlow;
use std::path::Path;
use std::thread;
use std::time::{Duration, Instant};

use rinseward::core::merkle::{Hash, leaf_hash, node_hash};
use rinseward::core::reading::Value;
use rinseward::core::record::Body;
use rinseward::core::time::Timestamp;
use rinseward::ledger::{CycleFilter, Reader};

use super::gateway::Gateway;
use super::kitchen::{Site, Stream};

/// Longest wait for a gateway to take what the broker holds.
const WAIT_MAX: Duration = Duration::from_secs(60);

/// How many records of a kind are in a ledger that verifies.
pub(crate) type Kinds = BTreeMap<&'static str, usize>;

/// Waits until so many cycles are on record.
pub(crate) fn until_recorded(gateway: &Gateway, ledger: &Path, cycles: usize) {
    let limit = Instant::now() + WAIT_MAX;
    loop {
        let found = Reader::open(ledger).map_or(0, |reader| count_cycles(&reader));
        if found >= cycles {
            return;
        }
        assert!(Instant::now() < limit, "{found} of {cycles} cycles on record: {}", gateway.log());
        thread::sleep(Duration::from_millis(20));
    }
}

/// Waits until the reading of this channel and time, µs, is on record.
pub(crate) fn until_reading(gateway: &Gateway, ledger: &Path, channel: &str, at: i64) {
    let limit = Instant::now() + WAIT_MAX;
    let (from, to) = (Timestamp::from_micros(at - 1_000_000), Timestamp::from_micros(at + 1_000_000));
    let read = |reader: Reader| reader.readings(channel, from, to);
    while !Reader::open(ledger).and_then(read).is_ok_and(|readings| !readings.is_empty()) {
        assert!(Instant::now() < limit, "waited in vain for a reading: {}", gateway.log());
        thread::sleep(Duration::from_millis(10));
    }
}

fn count_cycles(reader: &Reader) -> usize {
    let mut count = 0;
    let read = reader.cycles(&CycleFilter::default(), |_, _, _| {
        count += 1;
        ControlFlow::Continue(())
    });
    read.map_or(0, |()| count)
}

/// Checks everything that this module stands for against one unbroken pass over the stream.
pub(crate) fn check(site: &Site, stream: &Stream) -> Kinds {
    let kinds = verify(&site.ledger());
    check_readings(&site.ledger(), stream);
    let (recorded, expected) = (site.recorded_cycles(), site.expected_cycles(stream));
    for (recorded, expected) in recorded.iter().zip(&expected) {
        assert_eq!(recorded, expected, "the cycle of an unbroken run");
    }
    assert_eq!(recorded.len(), expected.len(), "no cycle lost, none twice");
    kinds
}

/// Recomputes the root over the stored bytes by the definition of RFC 6962 §2.1, and sees that
/// the times of records never run back where no record says that a clock stepped: among those of
/// the driver, among those of the alerts, and among the keys, which are committed beside each other.
pub(crate) fn verify(ledger: &Path) -> Kinds {
    let reader = Reader::open(ledger).expect("the ledger opens");
    let (mut leaves, mut kinds, mut lasts) = (Vec::new(), Kinds::new(), [None::<Timestamp>; 3]);
    reader
        .records(0, |index, bytes, record| {
            assert_eq!(index, leaves.len() as u64, "no hole");
            let stepped = matches!(record.body, Body::ClockStep(_));
            let kind = record.body.kind();
            let of_alerts = kind.starts_with("alert-") || kind == "notification";
            let lane = if kind == "signing-key" { 2 } else { usize::from(of_alerts) };
            let last = &mut lasts[lane];
            let runs_back = last.is_some_and(|last| record.recorded < last);
            assert!(stepped || !runs_back, "record {index} of {} after {last:?}", record.recorded);
            *last = Some(record.recorded);
            *kinds.entry(record.body.kind()).or_default() += 1;
            leaves.push(leaf_hash(bytes));
            ControlFlow::Continue(())
        })
        .expect("every record is sound");
    assert_eq!(reader.size().expect("a size"), leaves.len() as u64);
    assert_eq!(reader.root().expect("a root"), root(&leaves).0, "the stored root");
    kinds
}

/// Each reading that was sent is found exactly once, and nothing else.
fn check_readings(ledger: &Path, stream: &Stream) {
    let reader = Reader::open(ledger).expect("the ledger opens");
    for (channel, sent) in &stream.readings {
        let found: Vec<(i64, u64)> = reader
            .readings(channel, Timestamp::MIN, Timestamp::MAX)
            .expect("the readings read")
            .iter()
            .map(|reading| match reading.value {
                Value::Number(number) => (reading.at.micros(), number.to_bits()),
                Value::Flag(_) | Value::Fault(_) => panic!("{channel} sent numbers"),
            })
            .collect();
        let sent: Vec<(i64, u64)> = sent.iter().map(|(at, number)| (*at, number.to_bits())).collect();
        let lost: Vec<i64> =
            sent.iter().filter(|reading| found.binary_search(reading).is_err()).map(|(at, _)| *at).collect();
        let sent_until = sent.last().map(|(at, _)| *at);
        assert_eq!(
            (lost.len(), found.len()),
            (0, sent.len()),
            "{channel}: lost from {:?} to {:?} of what was sent until {sent_until:?}, and found beside sent",
            lost.first(),
            lost.last()
        );
    }
    let tally = reader.tally().expect("a tally");
    assert_eq!(tally.contradictions, 0, "no reading has two values");
}

/// MTH of RFC 6962 §2.1, as it is written there.
fn root(leaves: &[Hash]) -> Hash {
    match leaves {
        [] => panic!("a gateway that started has records"),
        [leaf] => *leaf,
        _ => {
            let split = leaves.len().next_power_of_two() / 2;
            node_hash(&root(&leaves[..split]), &root(&leaves[split..]))
        }
    }
}
